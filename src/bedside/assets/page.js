// Keeps the bedside screen live. Everything works without this file; the page
// then renews itself every few seconds.
"use strict";

const screen_ = document.getElementById("screen");
const live = document.getElementById("live");
const note = document.getElementById("note");
const words = document.getElementById("words");
document.documentElement.classList.add("live");

// A finger that is on its way to a button must not answer a question that came
// up under it, and a second touch must not answer the next one.
const SETTLED = 600;
let changed = 0;
let pressed = -SETTLED;
let ahead = 0;

const asked = () => document.getElementById("answers").dataset.asked;

function say(text) {
  note.textContent = text;
  note.hidden = text === "";
}

// Puts in the sections that differ; the others keep their focus and their touch.
function show(html) {
  const before = asked();
  const fresh = document.createElement("template");
  fresh.innerHTML = html;
  for (const next of [...fresh.content.children]) {
    const old = document.getElementById(next.id);
    if (!old.isEqualNode(next)) old.replaceWith(next);
  }
  document.getElementById("brief").textContent = document.getElementById("answers").dataset.brief;
  if (asked() !== before) {
    changed = performance.now();
    say("");
  }
  for (const it of document.querySelectorAll("input[name=asked]")) it.value = asked();
  ahead = Number(document.querySelector("[data-now]").dataset.now) - Date.now();
}

// For a screen that is not live just now.
async function renew() {
  const answer = await fetch("/screen");
  if (answer.ok) show(await answer.text());
}

async function give(form, button) {
  const now = performance.now();
  if (now - pressed < SETTLED) return;
  if (now - changed < SETTLED) return say("The screen had just changed. Look again, then answer.");
  pressed = now;
  const body = new URLSearchParams(new FormData(form, button));
  say("");
  try {
    const answer = await fetch(button?.getAttribute("formaction") || form.action, { method: "POST", body, headers: { "x-sayback-live": "1" } });
    const problem = answer.ok ? "" : await answer.text();
    if (events.readyState !== 1 || problem) await renew();
    if (problem) return say(problem);
    form.reset();
    for (const it of document.querySelectorAll("details[open]")) it.open = false;
  } catch {
    say("Not taken: Sayback does not answer.");
  }
}

document.addEventListener("submit", (event) => {
  event.preventDefault();
  give(event.target, event.submitter);
});

document.addEventListener("click", (event) => {
  const button = event.target.closest("button[type=button]");
  if (!button) return;
  const { type, erase, open, close } = button.dataset;
  if (type !== undefined) words.value += type;
  if (erase !== undefined) words.value = words.value.slice(0, -1);
  if (close !== undefined) button.closest("details").open = false;
  if (open !== undefined) {
    const sheet = document.getElementById(open);
    sheet.open = true;
    sheet.scrollIntoView({ block: "nearest" });
    sheet.querySelector("input:not([type=hidden]), form button").focus();
  }
});

// One sheet at a time, and the field ready for a keyboard.
for (const sheet of document.querySelectorAll("details")) {
  sheet.addEventListener("toggle", () => {
    if (!sheet.open) return;
    for (const it of document.querySelectorAll("details[open]")) if (it !== sheet) it.open = false;
    if (sheet.id === "typing" && matchMedia("(hover: hover)").matches) words.focus();
  });
}
document.addEventListener("keydown", (event) => {
  if (event.key !== "Escape") return;
  for (const it of document.querySelectorAll("details[open]")) it.open = false;
});

let events = null;
function listen() {
  events = new EventSource("/live");
  events.addEventListener("open", () => {
    live.textContent = "";
    document.body.classList.remove("stale");
  });
  events.addEventListener("error", () => {
    live.textContent = "Not live: this screen may be old";
    document.body.classList.add("stale");
  });
  events.addEventListener("view", (event) => show(event.data));
}
listen();
// A browser has six connections to this machine for all its pages, and keeps pages
// that were left: one that nobody sees gives its own up. What it shows then may be old.
document.addEventListener("visibilitychange", () => {
  events.close();
  document.body.classList.add("stale");
  if (document.visibilityState === "visible") listen();
});

const two = (it) => String(it).padStart(2, "0");
setInterval(() => {
  const now = Date.now() + ahead;
  for (const it of document.querySelectorAll("[data-until]")) {
    const left = Math.max(0, Math.ceil((it.dataset.until - now) / 1000));
    it.querySelector("b").textContent = Math.floor(left / 60) + ":" + two(left % 60);
  }
  const clock = document.querySelector("[data-now]");
  const offset = Number(clock.dataset.offset) * 1000;
  const there = new Date(now + offset);
  clock.textContent = two(there.getUTCHours()) + ":" + two(there.getUTCMinutes());
}, 1000);
