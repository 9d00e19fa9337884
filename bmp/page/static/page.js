// What the pages need beyond plain links and forms: parts that load later, dropping a file,
// one more row, and readings that are kept the moment they are typed.
"use strict";

const make = (tag, words, kind) => {
  const one = document.createElement(tag);
  if (words) one.textContent = words;
  if (kind) one.className = kind;
  return one;
};

// ---------------------------------------------------------------- parts that take a while

async function load(place) {
  try {
    const answer = await fetch(place.dataset.load, { headers: { Accept: "text/html" } });
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const part = page.querySelector("section, main");
    place.replaceChildren(part.tagName === "MAIN" ? make("p", part.innerText, "verdict bad") : part);
  } catch {
    const again = make("button", "Try again", "quiet");
    again.addEventListener("click", () => load(place));
    place.replaceChildren(make("p", "The page does not answer.", "verdict bad"), again);
  }
  place.setAttribute("aria-busy", "false");
}
document.querySelectorAll("[data-load]").forEach(load);

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
    if (event.dataTransfer.files.length) hand(event.dataTransfer.files[0]);
  });
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const file = form.querySelector("input[type=file]").files[0];
    if (file) hand(file);
  });
  async function hand(file) {
    said.textContent = `Handing in ${file.name} …`;
    const body = new FormData();
    body.append("workbook", file);
    try {
      const answer = await fetch(form.action, { method: "POST", body, headers: { Accept: "application/json" } });
      const told = await answer.json();
      if (answer.ok) window.location.assign(told.where);
      else said.replaceChildren(make("span", told.words, "wrong"));
    } catch {
      said.replaceChildren(make("span", "The page did not take it. Is it too large, or is bmp page stopped?", "wrong"));
    }
  }
});

// ---------------------------------------------------------------- readings

const form = document.querySelector("[data-readings]");
if (form) {
  const time = form.dataset.time;
  const prefix = `bmp|${form.dataset.save}|`;
  const lost = document.querySelector("[data-lost]");
  const key = (item) => `${item.jar}|${item.time}`;
  const section = (item) =>
    item.time === time
      ? [...form.querySelectorAll("[data-jar]")].find((one) => one.dataset.jar === item.jar)
      : undefined;
  let sending = false;
  let order = Date.now();

  // Waiting items lie in this browser's store, so that neither a reload nor a stopped server
  // loses them. The server knows each by its request and keeps it once.
  const waiting = () =>
    Object.keys(localStorage)
      .filter((name) => name.startsWith(prefix))
      .map((name) => JSON.parse(localStorage.getItem(name)))
      .sort((a, b) => a.order - b.order);
  const remember = (item) => localStorage.setItem(prefix + item.request, JSON.stringify(item));
  const forget = (item) => localStorage.removeItem(prefix + item.request);

  const identity = () =>
    [...crypto.getRandomValues(new Uint8Array(16))].map((b) => b.toString(16).padStart(2, "0")).join("");

  function keep(one, cells, more = {}) {
    order += 1;
    remember({
      jar: one.dataset.jar, time, cells, version: Number(one.dataset.version),
      request: identity(), order, ...more,
    });
    tell(one, [make("span", "keeping …", "soft")]);
    send();
  }

  async function send() {
    if (sending) return;
    sending = true;
    let item;
    while ((item = waiting()[0])) {
      let answer, told;
      try {
        answer = await fetch(form.dataset.save, {
          method: "POST", keepalive: true, body: JSON.stringify(item),
          headers: { "Content-Type": "application/json", Accept: "application/json" },
        });
        told = await answer.json();
        if (answer.status >= 500) throw new Error(told.words);
      } catch {
        lost.hidden = false;
        const one = section(item);
        if (one) tell(one, [make("span", "not handed in yet; trying again", "ask")]);
        setTimeout(send, 1500);
        break;
      }
      lost.hidden = true;
      forget(item);
      show(item, answer.status, told);
    }
    sending = false;
  }

  function tell(one, parts, kind) {
    one.classList.remove("asks", "refused");
    if (kind) one.classList.add(kind);
    one.querySelector("[data-said]").replaceChildren(...parts);
  }

  function show(item, status, told) {
    const one = section(item);
    if (!one) return;
    if (status === 200) kept(one, item, told);
    else if (status === 409) asked(one, item, told);
    else refused(one, told);
  }

  function kept(one, item, told) {
    one.dataset.version = told.version;
    for (const later of waiting())
      if (key(later) === key(item)) remember({ ...later, version: told.version });
    for (const input of one.querySelectorAll("[data-column]")) {
      const column = input.dataset.column;
      if (column in item.cells && input.value === item.cells[column]) input.value = told.cells[column] || "";
      if (column in item.cells) { input.dataset.kept = input.value; input.removeAttribute("aria-invalid"); }
    }
    const first = one.querySelector(".cells input");
    one.classList.toggle("done", Boolean(one.dataset.jar && first.value));
    const parts = told.slips.map((words) => make("span", words, "ask"));
    tell(one, [make("span", `kept ${told.at} `, "kept"), ...parts], parts.length ? "asks" : "");
    const count = document.querySelector("[data-count]");
    count.textContent = form.querySelectorAll(".reading.done").length;
  }

  const words = (cells) => Object.entries(cells).map(([name, text]) => `${name} ${text}`).join(", ") || "nothing";

  function asked(one, item, told) {
    const choices = make("span", "", "choices");
    const choice = (text, act) => {
      const button = make("button", text, "quiet small");
      button.type = "button";
      button.addEventListener("click", act);
      choices.append(button);
    };
    if (told.near) {
      choice("It is a second reading", () => keep(one, item.cells, { second: true }));
      choice("Go to that one", () => {
        const there = new URL(window.location.href);
        there.searchParams.set("round", told.time);
        window.location.assign(there);
      });
    } else {
      one.dataset.version = told.version;
      choice("Write mine", () => keep(one, item.cells, { version: told.version }));
      choice("Take theirs", () => {
        for (const input of one.querySelectorAll("[data-column]")) {
          input.value = told.now[input.dataset.column] || "";
          input.dataset.kept = input.value;
        }
        tell(one, [make("span", "taken", "kept")]);
      });
    }
    const said = `Not kept: ${told.conflict} (${words(told.now)}).`;
    tell(one, [make("span", said, "ask"), choices], "asks");
  }

  function refused(one, told) {
    const wrong = told.wrong || {};
    for (const input of one.querySelectorAll("[data-column]"))
      if (input.dataset.column in wrong) input.setAttribute("aria-invalid", "true");
    const lines = Object.values(wrong).length ? Object.values(wrong) : [told.words];
    tell(one, lines.map((text) => make("span", `Not kept: ${text}`, "wrong")), "refused");
  }

  function changed(input) {
    if (input.value.trim() === input.dataset.kept.trim()) return;
    input.dataset.kept = input.value;
    keep(input.closest("[data-jar]"), { [input.dataset.column]: input.value });
  }

  const inputs = [...form.querySelectorAll("[data-column]")];
  inputs.forEach((input) => {
    input.dataset.kept = input.value;
    input.addEventListener("change", () => changed(input));
    input.addEventListener("keydown", (event) => {
      if (event.key !== "Enter") return;
      event.preventDefault();
      const shown = inputs.filter((one) => !one.closest("details:not([open])"));
      const next = shown[shown.indexOf(input) + 1];
      if (next) next.focus(); else input.blur();
    });
  });
  form.addEventListener("submit", (event) => event.preventDefault());
  // a page that goes away takes what is in the field it leaves along
  window.addEventListener("pagehide", () => {
    if (inputs.includes(document.activeElement)) changed(document.activeElement);
  });
  send();
}
