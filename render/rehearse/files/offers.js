// A press on a bar, or on a stretch of them: what can stand there, in the trade's words.

import { emit, on, send } from "./link.js";
import { jump, now, play } from "./sounding.js";
import { find, made } from "./dom.js";
import { shown } from "./music.js";
import { change } from "./changes.js";

let open = null; // { at, until, back, asked }
let asked = 0;
let heard = []; // [row, pass] of the performed bars

on("clock", ({ reading, bars }) => {
  if (reading === 0) heard = bars;
});

const list = made("div", { role: "menu", ariaLabel: "what can stand here", className: "list", tabIndex: -1 });
const where = made("p", { className: "where", id: "offers-where" });
const back = made("button", { type: "button", className: "step", ariaLabel: "a beat earlier" }, "‹");
const on_ = made("button", { type: "button", className: "step", ariaLabel: "a beat later" }, "›");
const times = made("select", { ariaLabel: "on which hearing" });
const close = made("button", { type: "button", className: "close", ariaLabel: "close" }, "×");
const head = made("div", { className: "head" }, back, where, on_, times, close);
const box = made("div", { className: "offers", role: "dialog", ariaLabelledby: "offers-where", hidden: true }, head, list);
box.setAttribute("aria-labelledby", "offers-where");
document.body.append(box);

back.addEventListener("click", () => step(-1));
on_.addEventListener("click", () => step(1));
times.addEventListener("change", () => {
  open.at = { ...open.at, pass: times.value ? Number(times.value) : null };
  if (open.until) open.until = { ...open.until, pass: open.at.pass };
  ask();
});
close.addEventListener("click", () => closeOffers());
addEventListener("pointerdown", ({ target }) => (open && !box.contains(target) ? closeOffers(false) : null), true);

// `near`: where the press was; `back`: what has the focus again afterwards.
export function openOffers({ at, until = null, near = null, back: element = null }) {
  const pass = at.pass ?? null;
  open = { at: { ...at, pass }, until: until && { ...until, pass }, back: element, first: true };
  list.replaceChildren();
  box.hidden = false;
  place(near ?? element.getBoundingClientRect());
  ask();
}

export function closeOffers(focus = true) {
  if (!open) return;
  const { back: element } = open;
  open = null;
  asking();
  box.hidden = true;
  if (focus) element?.focus({ preventScroll: true });
}

// The bars that are asked about are marked.
function asking() {
  const [first, last] = open ? [open.at.row, (open.until ?? open.at).row] : [0, -1];
  for (const bar of find("music").querySelectorAll(".bar")) bar.classList.toggle("asked", bar.dataset.row >= first && bar.dataset.row <= last);
}

function step(by) {
  const { paper } = shown;
  open.at = paper.moved(open.at, by);
  if (open.until) open.until = paper.moved(open.until, by, { end: true });
  ask();
}

function ask() {
  const { at, until } = open;
  where.textContent = until ? `${shown.paper.told(at)}, until ${shown.paper.told(until, true)}` : shown.paper.told(at);
  const passes = [...new Set(heard.filter((bar) => bar.row === at.row).map((bar) => bar.pass))];
  times.hidden = passes.length < 2;
  times.replaceChildren(new Option("each time", ""), ...passes.map((pass) => new Option(`pass ${pass}`, String(pass))));
  times.value = at.pass === null ? "" : String(at.pass);
  asking();
  open.asked = ++asked;
  send({ do: "offers", asked, at, until });
}

on("offers", ({ asked: number, offers }) => {
  if (!open || number !== open.asked) return;
  const groups = Map.groupBy ? Map.groupBy(offers, ({ group }) => group ?? "") : grouped(offers);
  const listen = item("play from here", "", () => playFrom(open.at));
  const made_ = [...groups].map(([name, some]) =>
    made("div", { role: "group", ariaLabel: name || "here" }, name ? made("p", { className: "group", ariaHidden: "true" }, name) : null, ...some.map(offered)));
  list.replaceChildren(made("div", { role: "group", ariaLabel: "listening" }, listen), ...made_);
  for (const each of list.querySelectorAll("[role=menuitem]")) each.tabIndex = -1;
  list.querySelector("[role=menuitem]").tabIndex = 0;
  if (open.first || !box.contains(document.activeElement)) list.querySelector("[role=menuitem]")?.focus({ preventScroll: true });
  open.first = false;
  inView();
});

const grouped = (offers) => offers.reduce((all, each) => all.set(each.group ?? "", [...(all.get(each.group ?? "") ?? []), each]), new Map());

// From a place of the page: on its pass, or on the next one from where it is.
function playFrom({ row, offset, pass }) {
  const { quarter } = now();
  const hearings = heard.filter((bar) => bar.row === row && (pass === null || bar.pass === pass));
  const bar = hearings.find(({ start }) => start >= quarter) ?? hearings[0];
  if (!bar) return emit("told", { words: `bar ${shown.paper.bars.name[row]} is not played` });
  jump(bar.start + Math.min(offset, bar.end - bar.start));
  play();
}

function item(words, entry, act) {
  const said = entry ? made("span", { className: "entry-text" }, entry) : null;
  const button = made("button", { type: "button", role: "menuitem", className: "offer" }, made("span", { className: "words" }, words), said);
  button.addEventListener("click", () => {
    act();
    closeOffers();
  });
  return button;
}

// An entry as one reads it: without the section and the braces around it.
const plainly = (entry) => (entry ?? "").replace(/^[\w ]+: \[\{(.*)\}\]$/, "$1").replace(/^[\w ]+: \[(.*)\]$/, "$1");

// Marks and strings are many, and short: they stand side by side.
const SHORT = [[/^(p{1,3}|mp|mf|f{1,3}) from here$/, "$1"], [/^on string (\d+) \((.*)\)$/, "string $1, $2"]];

function offered(offer) {
  const short = SHORT.find(([words]) => words.test(offer.words));
  const button = item(short ? offer.words.replace(...short) : offer.words, short ? "" : plainly(offer.entry), () => take(offer));
  if (short) {
    button.classList.add("short");
    button.setAttribute("aria-label", offer.words);
  }
  return button;
}

function take({ id }) {
  shown.awaited = true;
  change({ what: "offer", id, at: open.at, until: open.until });
}

list.addEventListener("keydown", (event) => {
  const items = [...list.querySelectorAll("[role=menuitem]")];
  const here = items.indexOf(document.activeElement);
  const to = { ArrowDown: here + 1, ArrowUp: here - 1, Home: 0, End: items.length - 1 }[event.key];
  if (to !== undefined) items[(to + items.length) % items.length]?.focus();
  else if (event.key === "ArrowLeft" || event.key === "ArrowRight") step(event.key === "ArrowLeft" ? -1 : 1);
  else return;
  event.preventDefault();
  event.stopPropagation();
});
box.addEventListener("keydown", (event) => {
  if (event.key === "Escape") {
    event.preventDefault();
    event.stopPropagation();
    closeOffers();
  } else if (event.key === "Tab") {
    const stops = [...box.querySelectorAll(".step, select:not([hidden]), .close, .offer")].filter((each) => each.tabIndex >= 0 || each === document.activeElement);
    const at = stops.indexOf(document.activeElement);
    const next = stops[(at + (event.shiftKey ? -1 : 1) + stops.length) % stops.length];
    event.preventDefault();
    (next ?? list.querySelector("[role=menuitem]"))?.focus();
  }
});

// Beside the press, and within the window.
function place(near) {
  const [x, y] = [near.clientX ?? near.left + 12, near.clientY ?? near.top + Math.min(near.height / 2, 80)];
  Object.assign(open, { x, y });
  inView();
}

function inView() {
  const { width, height } = box.getBoundingClientRect();
  const room = innerHeight - (find("transport")?.offsetHeight ?? 0) - 8;
  box.style.left = `${Math.max(Math.min(open.x + 8, innerWidth - width - 8), 8)}px`;
  box.style.top = `${Math.max(Math.min(open.y + 8, room - height), 8)}px`;
}
