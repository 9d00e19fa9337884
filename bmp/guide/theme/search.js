// Looks for words in all pages. The index is a script, since a page opened from a folder may load no data.
"use strict";
const form = document.querySelector(".search"), field = form.querySelector("input");
const found = document.querySelector(".found"), root = document.body.dataset.root;
const MOST = 30, AROUND = 70;
form.hidden = false;
document.querySelector(".trials").hidden = !location.protocol.startsWith("http");
form.addEventListener("submit", (event) => event.preventDefault());
field.addEventListener("input", () => {
  const words = field.value.toLowerCase().split(/\s+/).filter((word) => word.length > 1);
  found.hidden = words.length === 0;
  found.replaceChildren(...(words.length ? results(words) : []));
});
document.addEventListener("keydown", (event) => {
  if (event.key !== "Escape" || found.hidden) return;
  field.value = "";
  found.hidden = true;
});

function results(words) {
  // words of a title count most; what is for engineers comes last
  const points = (one) => words.filter((word) => one.title.toLowerCase().includes(word)).length
    - (one.location.startsWith("developers") ? words.length + 1 : 0);
  const hits = SEARCH_INDEX.filter((one) => {
    const text = (one.title + " " + one.text).toLowerCase();
    return words.every((word) => text.includes(word));
  }).sort((a, b) => points(b) - points(a));
  const said = paragraph(hits.length > MOST ? `${hits.length} places; the first ${MOST}:` : `${hits.length} places`);
  return [said, ...hits.slice(0, MOST).map((one) => entry(one, words[0]))];
}

function entry(one, word) {
  const link = document.createElement("a");
  link.href = root + "/" + one.location;
  link.textContent = one.title;
  link.addEventListener("click", () => { found.hidden = true; });
  const at = Math.max(0, one.text.toLowerCase().indexOf(word) - AROUND);
  const part = document.createElement("small");
  part.textContent = (at ? "… " : "") + one.text.slice(at, at + 2 * AROUND) + " …";
  const whole = paragraph("");
  whole.append(link, part);
  return whole;
}

function paragraph(words) {
  const made = document.createElement("p");
  made.textContent = words;
  return made;
}
