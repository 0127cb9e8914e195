// Keeps a list live, and lets it be walked with j and k. Everything works
// without this file; the page is then as old as its last loading.
"use strict";

const live = document.getElementById("live");
const said = document.getElementById("live-state");

// Someone is typing or choosing in there: do not take it from under them.
function busy() {
  const it = document.activeElement;
  return live.contains(it) && it.matches("input, select, textarea");
}

async function renew() {
  if (busy()) return;
  const answer = await fetch(location.href, { headers: { "x-sayback-live": "1" } });
  if (answer.status === 401) { location.assign("/idle"); return; }
  if (answer.status === 410) { location.reload(); return; }
  if (!answer.ok) return;
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  for (const id of ["notice", "as-of"]) {
    const [told, tells] = [document, page].map((it) => it.getElementById(id));
    if (told && tells && told.innerHTML !== tells.innerHTML) told.replaceChildren(...tells.childNodes);
  }
  const fresh = page.getElementById("live");
  if (!fresh || fresh.innerHTML === live.innerHTML) return;
  const at = document.activeElement;
  const focused = live.contains(at) ? at.getAttribute("href") || at.getAttribute("aria-label") : null;
  live.replaceChildren(...fresh.childNodes);
  if (focused) {
    for (const it of live.querySelectorAll("a, button")) {
      if (it.getAttribute("href") === focused || it.getAttribute("aria-label") === focused) {
        it.focus({ preventScroll: true });
        break;
      }
    }
  }
}

function say(text) { if (said) said.textContent = text; }

if (live) {
  let waiting = null;
  let events = null;
  const listen = () => {
    events = new EventSource("/live");
    events.addEventListener("open", () => say("live"));
    events.addEventListener("error", () => say("not live: the station does not answer"));
    events.addEventListener("changed", () => {
      // A round appends several facts at once: one renewal is enough.
      clearTimeout(waiting);
      waiting = setTimeout(renew, 200);
    });
  };
  listen();
  // A browser has six connections to a station for all its pages, and keeps pages that
  // were left: with six that listen, the next page would never come.
  document.addEventListener("visibilitychange", () => {
    events.close();
    if (document.visibilityState === "hidden") return;
    listen();
    renew();
  });
  // Times on the page grow old by themselves.
  setInterval(renew, 60000);
}

// What was refused is said where it was typed, which may be far down the page, and is typed
// on there.
const refused = document.querySelector("main > .problem[role=alert]");
const typed = ":is(input:not([type=hidden]), select, textarea)";
const field = document.querySelector(`main details[open] ${typed}, main section > form ${typed}`);
if (refused && field) {
  field.form.prepend(refused);
  field.focus();
}

// A page that nobody touches for as long as a session lasts is put away. One
// who is still filling in a form is not: the station hears of that.
const idle = Number(document.body.dataset.idle) * 1000;
if (idle) {
  let touched = Date.now();
  let told = touched;
  const touch = () => {
    touched = Date.now();
    if (touched - told < 60000) return;
    told = touched;
    fetch("/here").catch(() => {});
  };
  for (const it of ["keydown", "pointerdown", "input"]) document.addEventListener(it, touch);
  setInterval(() => {
    if (Date.now() - touched > idle) location.assign("/idle");
  }, 5000);
  // Where the home has cut this station off, a page that stands open is put away too.
  setInterval(async () => {
    const answer = await fetch("/here", { headers: { "x-sayback-live": "1" } }).catch(() => null);
    if (answer && answer.status === 410) location.reload();
  }, 10000);
}

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  if (event.target.matches("input, select, textarea")) return;
  const step = { j: 1, k: -1 }[event.key];
  if (!step) return;
  const stops = [...document.querySelectorAll("main .item a.name, main .rows a.name")];
  if (stops.length === 0) return;
  const now = stops.findIndex((it) => (it.closest(".item, tr") || it).contains(document.activeElement));
  const next = now < 0 ? (step > 0 ? 0 : stops.length - 1) : now + step;
  const stop = stops[Math.min(Math.max(next, 0), stops.length - 1)];
  stop.focus();
  stop.scrollIntoView({ block: "nearest" });
  event.preventDefault();
});
