// What is typed is kept the moment a field is left. It first lies in this browser's store, so that
// neither a reload nor a stopped server loses it; the server knows each entry by its request and
// keeps it once. An entry is forgotten only where the server kept it or a person gave it up.
"use strict";

const PREFIX = "bmp-waits|";
const STALE_MS = 2 * 3600 * 1000;
const unstored = new Map(); // what this browser's store could not take
const failing = new Map(); // by request: why the server did not take it the last time
const here = document.querySelector("[data-trial]");
const trial = here ? here.dataset.trial : "";
const readings = document.querySelector("form[data-readings]");
const grid = document.querySelector("form[data-grid]");

// ---------------------------------------------------------------- the store

function stored() {
  const found = [];
  try {
    for (const name of Object.keys(localStorage))
      if (name.startsWith(PREFIX)) {
        try { found.push(JSON.parse(localStorage.getItem(name))); } catch { /* not ours */ }
      }
  } catch { /* this browser has no store */ }
  return found;
}
const waiting = () => [...stored(), ...unstored.values()].sort((a, b) => a.order - b.order);
const mine = () => waiting().filter((item) => item.trial === trial);

function remember(item) {
  try {
    localStorage.setItem(PREFIX + item.request, JSON.stringify(item));
    unstored.delete(item.request);
  } catch {
    unstored.set(item.request, item);
  }
}
function forget(item) {
  unstored.delete(item.request);
  failing.delete(item.request);
  try { localStorage.removeItem(PREFIX + item.request); } catch { /* no store */ }
}
const identity = () =>
  [...crypto.getRandomValues(new Uint8Array(16))].map((b) => b.toString(16).padStart(2, "0")).join("");
const place = (item) =>
  item.table ? `${item.trial}|${item.table}|${item.line}` : `${item.trial}|${item.jar}|${item.time}`;
const address = (item) =>
  `/trials/${encodeURIComponent(item.trial)}/` +
  (item.table ? `tables/${encodeURIComponent(item.table)}/cell` : "readings/save");

let order = Date.now();
function put(typed) {
  order += 1;
  const item = { request: identity(), order, trial, ...typed };
  // who types into a field again gives up what was refused there before
  for (const old of mine())
    if (old.state && place(old) === place(item) && fields(old).every((name) => fields(item).includes(name)))
      forget(old);
  remember(item);
}
const fields = (item) => (item.table ? [item.column] : Object.keys(item.cells));

// ---------------------------------------------------------------- handing it over

let sending = false;
let wait = 1500;
let timer;

async function send() {
  if (sending || !trial) return;
  sending = true;
  clearTimeout(timer);
  const late = new Set();
  let failed = false;
  for (;;) {
    const item = mine().find((one) => !one.state && !late.has(place(one)));
    if (!item) break;
    let answer, told;
    try {
      answer = await fetch(address(item), {
        method: "POST", keepalive: true, body: JSON.stringify(item),
        headers: { "Content-Type": "application/json", Accept: "application/json" },
      });
    } catch {
      failed = true;
      for (const one of mine()) failing.set(one.request, "The page does not answer.");
      break;
    }
    try { told = await answer.json(); } catch { told = {}; }
    if (answer.status === 200) {
      forget(item);
      for (const later of mine()) if (place(later) === place(item)) remember(followed(later, told));
      kept(item, told);
    } else if (answer.status === 409 && told.conflict) {
      remember({ ...item, state: "asks", told });
    } else if (answer.status === 422) {
      remember({ ...item, state: "wrong", told });
    } else {
      // this one waits; the others go on
      failed = true;
      late.add(place(item));
      failing.set(item.request, told.words || `The page answers ${answer.status}.`);
    }
  }
  sending = false;
  draw();
  if (failed) timer = setTimeout(send, wait);
  wait = failed ? Math.min(2 * wait, 30000) : 1500;
}

function followed(later, told) {
  if (!later.table) return { ...later, version: told.version };
  return { ...later, row: told.row, name: told.name };
}

// ---------------------------------------------------------------- what is said

const element = (tag, words, kind) => {
  const one = document.createElement(tag);
  if (words) one.textContent = words;
  if (kind) one.className = kind;
  return one;
};
function button(text, act) {
  const one = element("button", text, "quiet small");
  one.type = "button";
  one.addEventListener("click", act);
  return one;
}
const cellsInWords = (cells) =>
  Object.entries(cells).map(([name, text]) => `${name} ${text || "(empty)"}`).join(", ") || "nothing";
const spoken = (time) => (time.includes("T") ? time.replace("T", " ") : `day ${time}`);
const inWords = (item) =>
  item.table
    ? `table ${item.table}, ${item.name || "new row"}: ${item.column} ${item.after || "(empty)"}`
    : `${item.jar ? `jar ${item.jar}` : "all jars"}, ${spoken(item.time)}: ${cellsInWords(item.cells)}`;

function why(item) {
  if (item.state === "held") return "Which round is it?";
  if (item.state === "asks") return `Not kept: ${item.told.conflict}` +
    (item.told.now && Object.keys(item.told.now).length ? ` (${cellsInWords(item.told.now)}).` : ".");
  if (item.state === "wrong")
    return `Not kept: ${Object.values(item.told.wrong || {}).join(" ") || item.told.words || "it cannot be used."}`;
  return failing.get(item.request) || "";
}

function choices(item) {
  const all = element("span", "", "choices");
  const again = (more) => {
    for (const one of mine())
      if (one.request === item.request || (more.sure && one.state === "asks" && one.time === item.time && one.jar === item.jar))
        remember({ ...one, ...more, state: "", told: undefined, request: one.request });
    send();
  };
  const kind = item.state === "asks" ? item.told.kind : "";
  if (kind === "near") {
    all.append(button("It is a second reading", () => again({ sure: true })));
    all.append(button("Go to that one", () => go(item.told.time)));
  } else if (kind === "time") {
    all.append(button("The time is right", () => {
      if (readings) readings.dataset.timeSure = "yes";
      for (const one of mine()) if (one.time === item.time) remember({ ...one, sure: true, state: "" });
      send();
    }));
  } else if (kind) {
    all.append(button("Write mine", () => again(item.table ? { before: item.told.now[item.column] || "" } : { version: item.told.version })));
  } else if (!item.state) {
    all.append(button("Try again", () => { wait = 1500; send(); }));
  }
  const away = item.state === "asks" && kind === "changed" ? "Take theirs" : "Give it up";
  all.append(button(away, () => { forget(item); gaveUp(item); draw(); }));
  return all;
}

function go(time) {
  window.location.assign(`/trials/${encodeURIComponent(trial)}/readings?round=${encodeURIComponent(time)}`);
}

// A bare number is one in the unit that stands at its field.
function withUnit(input) {
  const bare = /^\s*[-+−]?[\d.,]*\d\s*$/.test(input.value);
  return bare && input.dataset.unit ? `${input.value} ${input.dataset.unit}` : input.value;
}

const section = (item) => {
  if (item.table) return undefined;
  if (!readings || item.trial !== trial) return undefined;
  return [...readings.querySelectorAll("[data-jar]")].find(
    (one) => one.dataset.jar === item.jar && one.dataset.time === item.time);
};

// Draw everything that waits: at its jar where that is on the screen, else in the list on top.
function draw() {
  if (!trial) return drawAll();
  const items = mine();
  const lines = [];
  for (const item of items) {
    const one = section(item);
    if (one && item.state !== "held") atJar(one, item);
    else if (!one && (item.state || failing.has(item.request) || unstored.has(item.request))) {
      const line = element("li", inWords(item));
      line.append(element("span", why(item), item.state === "wrong" ? "wrong" : "ask"), choices(item));
      lines.push(line);
    }
  }
  const list = here.querySelector("[data-list]");
  list.replaceChildren(...lines);
  here.querySelector("[data-waits]").hidden = !lines.length;
  const reasons = [...new Set(items.map((item) => failing.get(item.request)).filter(Boolean))];
  const lost = here.querySelector("[data-lost]");
  lost.hidden = !reasons.length;
  lost.textContent = `Not kept yet: ${reasons.join(" ")} What you type waits in this browser and is tried again.`;
  here.querySelector("[data-full]").hidden = !unstored.size;
}

function atJar(one, item) {
  for (const input of one.querySelectorAll("[data-column]"))
    if (input.dataset.column in item.cells && document.activeElement !== input) {
      input.value = item.cells[input.dataset.column];
      input.dataset.kept = input.value;
      const wrong = item.state === "wrong" && (!item.told.wrong || input.dataset.column in item.told.wrong);
      if (wrong) input.setAttribute("aria-invalid", "true");
    }
  if (item.state === "asks") tell(one, [element("span", why(item), "ask"), choices(item)], "asks");
  else if (item.state === "wrong") tell(one, [element("span", why(item), "wrong")], "refused");
  else tell(one, [element("span", failing.has(item.request) ? "not kept yet; trying again" : "keeping …", "soft")]);
}

function tell(one, parts, kind) {
  one.classList.remove("asks", "refused");
  if (kind) one.classList.add(kind);
  one.querySelector("[data-said]").replaceChildren(...parts);
}

function kept(item, told) {
  const behind = here.querySelector("[data-behind]");
  behind.hidden = !told.behind;
  behind.textContent = told.behind || "";
  if (item.table) return keptCell(item, told);
  const one = section(item);
  if (!one) return;
  one.dataset.version = told.version;
  for (const input of one.querySelectorAll("[data-column]")) {
    const column = input.dataset.column;
    if (!(column in item.cells)) continue;
    if (withUnit(input) === item.cells[column]) input.value = told.shown[column] || "";
    input.dataset.kept = input.value;
    input.removeAttribute("aria-invalid");
  }
  const first = one.querySelector(".cells input");
  one.classList.toggle("done", Boolean(one.dataset.jar && first.value));
  const parts = told.doubts.map((words) => element("span", words, "ask"));
  tell(one, [element("span", `kept ${told.at} `, "kept"), ...parts], parts.length ? "asks" : "");
  document.querySelector("[data-count]").textContent = readings.querySelectorAll(".reading.done").length;
}

function gaveUp(item) {
  const one = section(item);
  if (!one) return;
  const now = (item.told && item.told.shown) || {};
  if (item.state === "asks" && item.told.kind === "changed") one.dataset.version = item.told.version;
  for (const input of one.querySelectorAll("[data-column]"))
    if (input.dataset.column in item.cells) {
      input.value = now[input.dataset.column] || "";
      input.dataset.kept = input.value;
      input.removeAttribute("aria-invalid");
    }
  tell(one, []);
}

// ---------------------------------------------------------------- fields

// Call `act` when a field is left, when the page goes away, and on Enter go to the next field.
function watch(inputs, act) {
  for (const input of inputs) {
    input.dataset.kept = input.value;
    const changed = () => {
      if (input.value.trim() === input.dataset.kept.trim()) return;
      const before = input.dataset.kept;
      input.dataset.kept = input.value;
      act(input, before);
    };
    input.addEventListener("change", changed);
    input.addEventListener("keydown", (event) => {
      if (event.key !== "Enter") return;
      event.preventDefault();
      const shown = inputs.filter((one) => !one.closest("details:not([open])"));
      const next = shown[shown.indexOf(input) + 1];
      if (next) { next.focus(); next.select(); } else input.blur();
    });
    // a page that goes away, or a telephone that is put down, takes the field it is in along
    window.addEventListener("pagehide", () => document.activeElement === input && changed());
    document.addEventListener("visibilitychange", () =>
      document.hidden && document.activeElement === input && changed());
  }
}

if (readings) {
  const opened = Date.now();
  const time = readings.dataset.time;
  const stale = () => readings.dataset.now === "yes" && Date.now() - opened > STALE_MS;
  watch([...readings.querySelectorAll("[data-column]")], (input) => {
    const one = input.closest("[data-jar]");
    put({
      jar: one.dataset.jar, time: one.dataset.time, cells: { [input.dataset.column]: withUnit(input) },
      version: Number(one.dataset.version), state: stale() ? "held" : "",
      sure: readings.dataset.timeSure === "yes",
    });
    if (stale()) return ask();
    draw();
    send();
  });
  readings.addEventListener("submit", (event) => event.preventDefault());

  // A form that was left open over night does not write into yesterday unasked.
  const box = document.querySelector("[data-stale]");
  function ask() {
    box.hidden = false;
    box.scrollIntoView({ block: "nearest" });
    box.querySelector("[data-new]").textContent = `A new round: ${spoken(later())}`;
  }
  function later() {
    const gone = Date.now() - opened;
    if (!time.includes("T")) return String(Math.round(100 * (Number(time) + gone / 86400000)) / 100);
    const at = new Date(Date.parse(`${readings.dataset.clock}Z`) + gone);
    return at.toISOString().slice(0, 16);
  }
  const held = () => mine().filter((item) => item.state === "held");
  box.querySelector("[data-new]").addEventListener("click", () => {
    const now = later();
    for (const item of held()) remember({ ...item, time: now, version: 0, state: "" });
    go(now);
  });
  box.querySelector("[data-old]").addEventListener("click", () => {
    readings.dataset.now = "no";
    box.hidden = true;
    for (const item of held()) remember({ ...item, state: "" });
    send();
  });
  if (held().length) ask();
}

// ---------------------------------------------------------------- tables

if (grid) {
  const header = (input) => grid.querySelector(`[name="h-${input.dataset.c}"]`).value.trim();
  const inputs = [...grid.querySelectorAll("[data-c]")];
  grid.querySelectorAll("[data-plain]").forEach((one) => { one.hidden = true; });
  watch(inputs, (input, before) => {
    const line = input.closest("tr");
    if (!header(input)) return say("Write the header of the new column first.", "wrong");
    put({
      table: grid.dataset.grid, line: line.dataset.line, row: Number(line.dataset.row),
      name: line.dataset.name, column: header(input), before, after: input.value, state: "",
    });
    say("keeping …", "soft");
    draw();
    send();
  });
  grid.addEventListener("submit", (event) => { if (!grid.dataset.asForm) event.preventDefault(); });
  mark(JSON.parse(grid.dataset.problems));
}
function say(text, kind) { grid.querySelector("[data-said]").replaceChildren(element("span", text, kind)); }

function mark(problems) {
  const at = new Map(problems.map((one) => [`${one.row}|${one.column}`, one.words]));
  for (const input of grid.querySelectorAll("[data-c]")) {
    const wrong = at.get(`${input.closest("tr").dataset.row}|${grid.querySelector(`[name="h-${input.dataset.c}"]`).value}`);
    if (wrong) input.setAttribute("aria-invalid", "true"); else input.removeAttribute("aria-invalid");
    if (wrong) input.title = wrong; else input.removeAttribute("title");
  }
  const list = document.querySelector("[data-problems]");
  list.hidden = !problems.length;
  list.querySelector("ul").replaceChildren(...problems.map((one) => element("li", one.place + one.words)));
}

function keptCell(item, told) {
  if (!grid || grid.dataset.grid !== item.table) return;
  const line = [...grid.querySelectorAll("tr[data-line]")].find((one) => one.dataset.line === item.line);
  if (line) {
    // a row that was cleared is gone, and those below it moved up
    if (told.row < 0 && Number(line.dataset.row) >= 0)
      for (const one of grid.querySelectorAll("tr[data-line]"))
        if (Number(one.dataset.row) > Number(line.dataset.row)) one.dataset.row -= 1;
    line.dataset.row = told.row;
    line.dataset.name = told.name;
  }
  say(`kept ${told.at}`, "kept");
  mark(told.problems);
}

// ---------------------------------------------------------------- on the first page

function drawAll() {
  const all = document.querySelector("[data-waits-all]");
  if (!all) return;
  const names = JSON.parse(all.dataset.names);
  const lines = [];
  for (const name of new Set(waiting().map((item) => item.trial))) {
    const items = waiting().filter((item) => item.trial === name);
    const count = items.length === 1 ? "1 entry waits" : `${items.length} entries wait`;
    const known = names.includes(name);
    const line = element("li", `${count} in this browser for “${name}”${known ? ". " : ", which is not here. Was it renamed? "}`);
    if (known) {
      const link = element("a", "Open it");
      link.href = `/trials/${encodeURIComponent(name)}/readings`;
      line.append(link);
    } else {
      const choose = document.createElement("select");
      choose.setAttribute("aria-label", `Trial that the entries for ${name} belong to`);
      names.forEach((one) => choose.append(new Option(one, one)));
      line.append(choose, " ", button("They belong to this trial", () => {
        for (const item of items) remember({ ...item, trial: choose.value });
        window.location.assign(`/trials/${encodeURIComponent(choose.value)}/changes`);
      }), " ", button("Give them up", () => { items.forEach(forget); drawAll(); }));
    }
    lines.push(line);
  }
  all.querySelector("ul").replaceChildren(...lines);
  all.hidden = !lines.length;
}

window.addEventListener("beforeunload", (event) => { if (unstored.size) event.preventDefault(); });
window.addEventListener("storage", (event) => { if (event.key && event.key.startsWith(PREFIX)) draw(); });
window.addEventListener("online", () => { wait = 1500; send(); });
draw();
send();
