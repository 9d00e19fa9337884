// What the pages need beyond plain links and forms: parts that load later, dropping a file, one
// more row. What is typed is kept by keep.js.
"use strict";

const make = (tag, words, kind) => {
  const one = document.createElement(tag);
  if (words) one.textContent = words;
  if (kind) one.className = kind;
  return one;
};

// ---------------------------------------------------------------- parts that take a while

const shown = new WeakMap(); // what each part last showed

async function load(place) {
  try {
    const answer = await fetch(place.dataset.load, { headers: { Accept: "text/html" } });
    const text = await answer.text();
    if (shown.get(place) === text) return;
    const page = new DOMParser().parseFromString(text, "text/html");
    const part = page.querySelector("section, main");
    place.replaceChildren(part.tagName === "MAIN" ? make("p", part.innerText, "verdict bad") : part);
    shown.set(place, text);
    place.dispatchEvent(new Event("loaded", { bubbles: true }));
  } catch {
    if (shown.has(place)) return; // what stands there is still true; the next look may go through
    const again = make("button", "Try again", "quiet");
    again.addEventListener("click", () => load(place));
    place.replaceChildren(make("p", "The page does not answer.", "verdict bad"), again);
  } finally {
    place.setAttribute("aria-busy", "false");
  }
}
document.querySelectorAll("[data-load]").forEach(load);

// A page left open, on a projector say, shows new readings by itself; not under a person's hands.
const LOOK_AGAIN_MS = 30000;
setInterval(() => {
  if (document.visibilityState !== "visible") return;
  document.querySelectorAll("[data-load]").forEach((place) => {
    if (!place.contains(document.activeElement)) load(place);
  });
}, LOOK_AGAIN_MS);
document.querySelectorAll("[data-go-on]").forEach((link) => window.location.replace(link.href));

document.querySelectorAll("form[data-busy]").forEach((form) =>
  form.addEventListener("submit", () => {
    const said = form.querySelector("[data-said]");
    if (said) said.textContent = form.dataset.busy;
  }));

// ---------------------------------------------------------------- one more material

document.querySelectorAll("[data-add-row]").forEach((button) =>
  button.addEventListener("click", () => {
    const rows = button.form.querySelectorAll("[data-row]");
    const number = rows.length;
    const row = rows[number - 1].cloneNode(true);
    row.querySelectorAll(".wrong").forEach((one) => one.remove());
    row.setAttribute("aria-label", `Material ${number + 1}`);
    row.querySelectorAll("[id], [for]").forEach((one) => {
      for (const name of ["id", "for", "name"]) {
        const old = one.getAttribute(name);
        if (old) one.setAttribute(name, old.replace(/-\d+-/, `-${number}-`));
      }
      one.removeAttribute("aria-invalid");
      one.removeAttribute("aria-describedby");
      if (one.tagName === "INPUT") one.value = "";
    });
    rows[number - 1].after(row);
    row.querySelector("input").focus();
  }));

// ---------------------------------------------------------------- a workbook dropped

document.querySelectorAll("form[data-drop]").forEach((form) => {
  const said = form.querySelector("[data-said]");
  const over = (event, is) => { event.preventDefault(); form.classList.toggle("over", is); };
  form.addEventListener("dragover", (event) => over(event, true));
  form.addEventListener("dragleave", (event) => over(event, false));
  form.addEventListener("drop", (event) => {
    over(event, false);
    if (event.dataTransfer.files.length) hand(event.dataTransfer.files);
  });
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const chosen = form.querySelector("input[type=file]").files;
    if (chosen.length) hand(chosen);
  });
  async function hand(files) {
    said.textContent = `Uploading ${[...files].map((file) => file.name).join(", ")} …`;
    const body = new FormData();
    for (const file of files) body.append("workbook", file);
    try {
      const answer = await fetch(form.action, { method: "POST", body, headers: { Accept: "application/json" } });
      const told = await answer.json();
      if (answer.ok) window.location.assign(told.where);
      else said.replaceChildren(make("span", told.words, "wrong"));
    } catch {
      said.replaceChildren(make("span", "Not uploaded: the page does not answer. Is bmp page stopped?", "wrong"));
    }
  }
});
