// What hands do on the score: draw a bracket's end to another note, a slowdown deeper, a hairpin on the band of the
// level; press a bar, or draw over several. What is drawn snaps to beats, with Alt it is free; Escape takes it back.

import { on } from "./link.js";
import { drawn, find, made } from "./dom.js";
import { isBefore } from "./geometry.js";
import { entryNamed, nameOf, put, scaleOf, select, shown, unitsAt } from "./music.js";
import { Drawing, amounting, deepening, moving } from "./changes.js";
import { partsIn } from "./entries.js";
import { openOffers } from "./offers.js";

const BEGUN = 6; // pixels: with less a press is a press
const DECIBEL = 5; // pixels up or down
const MOST = 12; // dB that a hand draws at most
const LONG = 550; // milliseconds of a long press

let gesture = null;

export const busy = () => gesture !== null;

// -- bars, and the band of the level, where they can be touched

on("laid", () => {
  for (const system of shown.systems) layBars(system);
});

function layBars(system) {
  if (!system.bars.childElementCount) {
    const { name } = shown.paper.bars;
    const bar = ([row]) => ({ type: "button", className: "bar", tabIndex: -1, ariaLabel: `bar ${name[row]}`, data: { row } });
    system.bars.append(...system.rows.map((each) => made("button", bar(each))));
    if (system.number === 0) system.bars.firstElementChild.tabIndex = 0;
    system.band.append(made("div", { className: "drawable" }));
  }
  system.rows.forEach(([, left, right], number) => {
    put(system.bars.children[number], system, { x: left, y: 0, width: right - left, height: system.height });
  });
  const [top, , bottom] = system.level;
  const middle = system.level[1];
  const half = Math.max(Math.min((bottom - top) / 2, 16), 13);
  const [left, right] = [system.rows[0][1], system.rows.at(-1)[2]];
  put(system.band.firstElementChild, system, { x: left, y: middle - half, width: right - left, height: 2 * half });
}

// -- from press to release

find("music").addEventListener("pointerdown", (event) => {
  if (!event.isPrimary || event.button !== 0 || gesture) return;
  const drawing = event.target.closest(".drawing");
  if (!drawing) return;
  const system = shown.systems[Number(drawing.dataset.system)];
  const begun = begin(event, system);
  if (!begun) return;
  gesture = begun;
  Object.assign(gesture, { id: event.pointerId, from: [event.clientX, event.clientY], system, element: drawing, moved: false });
  drawing.setPointerCapture(event.pointerId);
  if (gesture.held) gesture.timer = setTimeout(() => longPress(event), LONG);
});

function begin(event, system) {
  const at = unitsAt(system, event);
  if (event.target.closest(".sign")) return null;
  if (event.target.closest(".grip")) return gripGesture(nearestGrip(system, at, event.target.closest(".grip")), system, event);
  const entry = event.target.closest(".entry");
  if (entry) return entryGesture(entryNamed(entry.dataset.name), system, at);
  if (event.target.closest(".drawable")) return hairpinGesture(system, at, event);
  const bar = event.target.closest(".bar");
  return bar ? barGesture(bar, system, at) : null;
}

find("music").addEventListener("pointermove", (event) => {
  if (!gesture || event.pointerId !== gesture.id) return;
  const away = Math.hypot(event.clientX - gesture.from[0], event.clientY - gesture.from[1]);
  if (!gesture.moved && away < BEGUN) return;
  if (!gesture.moved) {
    gesture.moved = true;
    clearTimeout(gesture.timer);
    gesture.across = Math.abs(event.clientX - gesture.from[0]) >= Math.abs(event.clientY - gesture.from[1]);
    find("music").classList.add("drawing-now");
  }
  gesture.move?.(systemUnder(event), event);
});

find("music").addEventListener("pointerup", (event) => {
  if (!gesture || event.pointerId !== gesture.id) return;
  const done = leave();
  if (done.moved) done.end?.(event);
  else done.press?.(event);
});

find("music").addEventListener("pointercancel", (event) => (gesture?.id === event.pointerId ? takeBack() : null));
find("music").addEventListener("contextmenu", (event) => {
  const bar = event.target.closest(".bar");
  if (!bar) return;
  event.preventDefault();
  if (gesture) leave();
  longPress(event);
});
addEventListener("keydown", (event) => {
  if (event.key !== "Escape" || !gesture) return;
  event.preventDefault();
  event.stopImmediatePropagation();
  takeBack();
}, true);

function longPress(event) {
  if (gesture) leave();
  const bar = document.elementsFromPoint(event.clientX, event.clientY).find((each) => each.matches?.(".bar"));
  if (bar) openAt(bar, shown.systems[Number(bar.closest(".drawing").dataset.system)], event);
}

function leave() {
  const done = gesture;
  gesture = null;
  clearTimeout(done.timer);
  if (done.element.hasPointerCapture(done.id)) done.element.releasePointerCapture(done.id);
  find("music").classList.remove("drawing-now");
  say(null);
  clearGhost();
  return done;
}

function takeBack() {
  leave().cancel?.();
}

// A hand may draw on into another system.
function systemUnder(event) {
  const { system } = gesture;
  const box = system.drawing.getBoundingClientRect();
  if (event.clientY >= box.top - 40 && event.clientY <= box.bottom + 40) return system;
  const inside = (each) => {
    const { top, bottom } = each.drawing.getBoundingClientRect();
    return event.clientY >= top && event.clientY <= bottom;
  };
  return shown.systems.find(inside) ?? system;
}

function nearestGrip(system, { x, y }, hit) {
  const away = (grip) => Math.hypot(Number(grip.dataset.x) - x, Number(grip.dataset.y) - y) - (grip.classList.contains("chosen") ? 8 : 0);
  return [...system.grips.children].reduce((a, b) => (away(b) < away(a) ? b : a), hit);
}

// -- an end, or the bottom of a slowdown

function gripGesture(grip, system, event) {
  const { name, end } = grip.dataset;
  const entry = entryNamed(name);
  if (!entry) return null;
  const part = grip.span;
  const drawing = new Drawing();
  const last = end !== "start";
  const made = {
    press: () => {
      select(entry);
      refocus(name);
    },
    move(there, moved) {
      if (shown.chosen === null) select(entry);
      const at = unitsAt(there, moved);
      if (end === "depth" && !gesture.across) drawDepth(entry, part, system, at, drawing);
      else drawEnd(entry, part, last, there, at, moved.altKey, drawing);
    },
    end() {
      drawing.end();
      refocus(shown.chosen);
    },
    cancel: () => drawing.cancel(),
  };
  if (event.pointerType === "mouse") select(entry);
  return made;
}

function refocus(name) {
  if (name !== null) find("music").querySelector(`button.entry[data-name="${CSS.escape(name)}"]`)?.focus({ preventScroll: true });
}

function drawEnd(entry, part, last, there, at, free, drawing) {
  const place = shown.paper.snapped(there.number, at.x, { end: last, free });
  const kept = last ? isBefore(part.start, place) : isBefore(place, part.end);
  if (!kept) return;
  const to = { ...place, pass: (last ? part.end : part.start).pass ?? null };
  drawing.wish(moving(entry, last ? "end" : "start", to));
  const { x } = shown.paper.spot(place);
  tick(there, x);
  say(`${last ? "until" : "from"} ${shown.paper.told(place, last)}`, there, { x, y: at.y });
}

function drawDepth(entry, part, system, { y }, drawing) {
  const pace = Math.min(Math.max(shown.paper.paceAt(y - system.pace[1]), 0.2), 1.8);
  const to = Math.round(pace * 100) / 100;
  drawing.wish(deepening(entry, to));
  ghost(system, slowing(system, part, to));
  say(`${Math.round(to * 100)} %`, system, { x: part.right, y });
}

// How a slowdown goes down to a pace: as a runner stops (q = 2).
function slowing(system, part, to) {
  const points = [];
  for (let n = 0; n <= 24; n++) {
    const pace = Math.sqrt(1 + (to * to - 1) * (n / 24));
    points.push(`${part.left + ((part.right - part.left) * n) / 24} ${system.pace[1] + shown.paper.yOfPace(pace)}`);
  }
  return `M${points.join("L")}`;
}

// -- an entry as a whole

function entryGesture(entry, system, at) {
  if (!entry) return null;
  const can = (handle) => entry.handles.includes(handle);
  const part = partsIn(system, entry)[0];
  const drawing = new Drawing();
  return {
    press: () => {
      select(entry);
      refocus(nameOf(entry));
    },
    move(there, event) {
      const now = unitsAt(there, event);
      if (can("amount") && !gesture.across) return drawAmount(entry, system, at, now, drawing);
      if (!can("whole") || !part) return;
      const from = shown.paper.spot(part.start)?.x ?? at.x;
      const place = shown.paper.snapped(there.number, now.x - at.x + from, { free: event.altKey });
      drawing.wish(moving(entry, "whole", { ...place, pass: part.start.pass ?? null }));
      const { x } = shown.paper.spot(place);
      tick(there, x);
      say(`at ${shown.paper.told(place)}`, there, { x, y: now.y });
    },
    end: () => drawing.end(),
    cancel: () => drawing.cancel(),
  };
}

// The field that says how much, and by how much one step changes it.
const AMOUNTS = ["length", "seconds", "by", "softer", "louder", "swell"];
const STEPS = { percent: 0.01, seconds: 0.01, ms: 0.005, number: 0.01, dB: 0.5 };

export function amountOf(entry) {
  const given = entry.fields.filter(({ key, kind, value, usual }) => AMOUNTS.includes(key) && kind in STEPS && (value ?? usual) !== null);
  const field = given.find(({ value }) => value !== null) ?? given[0];
  return field ? { field, step: STEPS[field.kind], now: numberIn(field.value ?? field.usual) } : null;
}

export function numberIn(value) {
  if (typeof value === "number") return value;
  const number = parseFloat(String(value).replace("−", "-"));
  return /%/.test(value) ? number / 100 : /ms/.test(value) ? number / 1000 : number;
}

function drawAmount(entry, system, from, now, drawing) {
  const found = amountOf(entry);
  if (!found) return;
  const steps = Math.round((from.y - now.y) * scaleOf(system) / 3);
  const to = Math.max(Math.round((found.now + steps * found.step) * 1000) / 1000, 0);
  drawing.wish(amounting(entry, to));
  const told = { percent: `${Math.round(to * 100)} %`, seconds: `${to} s`, ms: `${Math.round(1000 * to)} ms`, dB: `${to} dB` }[found.field.kind] ?? String(to);
  say(told, system, now);
}

// -- a hairpin

function hairpinGesture(system, at, event) {
  const from = shown.paper.snapped(system.number, at.x, { free: event.altKey });
  const drawing = new Drawing();
  return {
    press: () => openAt(null, system, event),
    move(there, moved) {
      const now = unitsAt(there, moved);
      const until = shown.paper.snapped(there.number, now.x, { end: true, free: moved.altKey });
      const by = Math.round((gesture.from[1] - moved.clientY) / DECIBEL * 2) / 2;
      const to = Math.min(Math.max(by, -MOST), MOST);
      clearGhost();
      if (!isBefore(from, until)) return;
      wedge(system, there, from, until, to);
      say(to ? `${to > 0 ? "crescendo" : "diminuendo"} ${Math.abs(to)} dB` : "up for louder, down for softer", there, now);
      if (to) {
        shown.awaited = true;
        drawing.wish({ what: "hairpin", from: { ...from, pass: null }, until: { ...until, pass: null }, to });
      }
    },
    end: () => drawing.end(),
    cancel: () => drawing.cancel(),
  };
}

function wedge(system, there, from, until, to) {
  const [left, right] = [shown.paper.spot(from).x, shown.paper.spot(until).x];
  if (system !== there) return;
  const y = system.level[1];
  const open = 3 + Math.abs(to);
  const [a, b] = to >= 0 ? [0, open] : [open, 0];
  ghost(system, `M${left} ${y - a}L${right} ${y - b}M${left} ${y + a}L${right} ${y + b}`);
}

// -- a bar, or several

function barGesture(bar, system, at) {
  const from = shown.paper.snapped(system.number, at.x);
  let until = null;
  return {
    held: true,
    press: (event) => openAt(bar, system, event),
    move(there, event) {
      if (!gesture.across) return;
      const now = unitsAt(there, event);
      until = shown.paper.snapped(there.number, now.x, { end: true, free: event.altKey });
      clearGhost();
      if (!isBefore(from, until)) return (until = null);
      for (const each of shown.systems.slice(system.number, there.number + 1)) underline(each, from, until);
      say(`${shown.paper.told(from)}, until ${shown.paper.told(until, true)}`, there, now);
    },
    end: (event) => (until ? openOffers({ at: from, until, near: event, back: bar }) : null),
  };
}

function underline(system, from, until) {
  const [first, last] = [system.rows[0], system.rows.at(-1)];
  const left = from.row >= first[0] ? shown.paper.spot(from).x : first[1];
  const right = until.row <= last[0] ? shown.paper.spot(until).x : last[2];
  const y = system.staff[1] + 8;
  ghost(system, `M${left} ${y - 5}v5H${right}v-5`, true);
}

function openAt(bar, system, event) {
  const place = shown.paper.snapped(system.number, unitsAt(system, event).x);
  openOffers({ at: place, until: null, near: event, back: bar ?? system.bars.firstElementChild });
}

// -- what is seen while something is drawn

let ghosts = [];

function ghost(system, d, more = false) {
  if (!more) clearGhost();
  const line = drawn("path", { class: "ghost", d });
  system.hands.append(line);
  ghosts.push(line);
}

function clearGhost() {
  for (const line of ghosts) line.remove();
  ghosts = [];
}

function tick(system, x) {
  const y = system.staff[0] - 6;
  ghost(system, `M${x - 4} ${y - 6}L${x} ${y}L${x + 7} ${y - 15}`);
}

const bubble = made("p", { className: "saying", ariaHidden: "true" });

function say(words, system, at) {
  if (words === null) return bubble.remove();
  bubble.textContent = words;
  if (bubble.parentNode !== system.drawing) system.drawing.append(bubble);
  put(bubble, system, { x: Math.min(Math.max(at.x, 30), system.width - 60), y: Math.max(at.y - 42 / scaleOf(system), 2) });
}
