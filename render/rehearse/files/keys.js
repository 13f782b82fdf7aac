// Everything by keyboard: from bar to bar, an entry by a beat or a percent (with Shift by a bar or five), and what
// holds on the whole page.

import { find } from "./dom.js";
import { choose, entryNamed, nameOf, select, shown } from "./music.js";
import { Drawing, amounting, change, deepening, moving, removing, step } from "./changes.js";
import { amountOf, busy, numberIn } from "./hands.js";
import { closeOffers, openOffers } from "./offers.js";

const music = find("music");

music.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || busy()) return;
  const { target } = event;
  const act = target.matches(".bar") ? barKey(event) : target.matches(".entry, .grip") ? entryKey(event) : null;
  if (!act) return;
  event.preventDefault();
  event.stopPropagation();
  act();
});

music.addEventListener("focusin", ({ target }) => {
  if (target.matches(".bar")) for (const each of music.querySelectorAll(".bar")) each.tabIndex = each === target ? 0 : -1;
});

// -- bars

function barKey({ key, shiftKey, target }) {
  const row = Number(target.dataset.row);
  const by = { ArrowLeft: -1, ArrowRight: 1 }[key];
  if (by) return () => go(row, row + by, shiftKey);
  if (key === "ArrowUp" || key === "ArrowDown") return () => go(row, rowInNext(row, key === "ArrowDown" ? 1 : -1), shiftKey);
  if (key === "Home") return () => focusBar(0);
  if (key === "End") return () => focusBar(shown.paper.rows - 1);
  if (key === "Enter" || key === "ContextMenu" || (key === "F10" && shiftKey)) return () => ask(row, target);
  return null;
}

// With Shift from where one stood on: the bars of a stretch.
let anchor = null;

function go(row, wished, stretch) {
  const to = Math.min(Math.max(wished, 0), shown.paper.rows - 1);
  anchor = stretch ? (anchor ?? row) : null;
  focusBar(to);
  const [first, last] = anchor === null ? [0, -1] : [Math.min(anchor, to), Math.max(anchor, to)];
  for (const bar of music.querySelectorAll(".bar")) bar.classList.toggle("asked", bar.dataset.row >= first && bar.dataset.row <= last);
}

function ask(row, bar) {
  const [first, last] = [Math.min(anchor ?? row, row), Math.max(anchor ?? row, row)];
  const until = anchor === null ? null : { row: last, offset: shown.paper.bars.length[last] };
  openOffers({ at: { row: first, offset: 0, pass: null }, until, back: bar });
  anchor = null;
}

function focusBar(row) {
  music.querySelector(`.bar[data-row="${row}"]`)?.focus();
}

// The bar above or below.
function rowInNext(row, by) {
  const { system, x } = shown.paper.spot({ row, offset: 0 });
  const other = shown.systems[system + by];
  return other ? (other.rows.findLast(([, left]) => left <= x + 1) ?? other.rows[0])[0] : row;
}

// -- entries

const PAUSE = 600; // milliseconds without an arrow
let held = null; // the entry and what arrows have made of it so far, until the key is let go

function entryKey(event) {
  const { key, target, shiftKey } = event;
  const entry = entryNamed(target.dataset.name);
  if (!entry) return null;
  if (key === "Enter" || key === " ") return target.matches(".grip") ? null : () => (shown.chosen === nameOf(entry) ? toForm(entry) : select(entry));
  if (key === "Delete" || key === "Backspace") return () => removed(entry);
  const across = { ArrowLeft: -1, ArrowRight: 1 }[key];
  const up = { ArrowUp: 1, ArrowDown: -1 }[key];
  const end = target.dataset.end ?? "whole";
  if (across) return () => arrowAcross(entry, end, across, shiftKey);
  if (up) return () => arrowUp(entry, up * (shiftKey ? 5 : 1));
  return null;
}

function removed(entry) {
  letGo();
  change(removing(entry));
}

function toForm(entry) {
  select(entry);
  find("form").querySelector("input, select, textarea")?.focus();
}

function holding(entry, what) {
  clearTimeout(pause);
  if (held?.what !== what || held.name !== nameOf(entry)) {
    letGo();
    select(entry);
    held = { entry, what, drawing: new Drawing() };
  }
  held.name = nameOf(entry);
  return held;
}

// In the middle of a gesture the entry may have moved in the text: it is the one that has the focus.
function arrowAcross(entry, end, by, bars) {
  const which = end === "depth" ? "end" : end;
  if (!entry.handles.includes(which) && !(which === "end" && entry.handles.includes("depth"))) return;
  const now = holding(entry, which);
  const [start, last] = now.entry.spans[0] ?? [];
  if (!start) return;
  now.to = shown.paper.moved(now.to ?? (which === "end" ? last : start), by, { bars, end: which === "end" });
  now.drawing.wish(moving(now.entry, which, { row: now.to.row, offset: now.to.offset, pass: start.pass ?? null }));
}

function arrowUp(entry, by) {
  const deep = entry.handles.includes("depth");
  const found = deep ? fieldOfDepth(entry) : amountOf(entry);
  if (!found) return;
  const now = holding(entry, "much");
  const step = deep ? 0.01 : found.step;
  now.to = Math.max(Math.round(((now.to ?? found.now) + by * step) * 1000) / 1000, 0);
  now.drawing.wish((deep ? deepening : amounting)(now.entry, now.to));
}

function fieldOfDepth(entry) {
  const field = entry.fields.find(({ key }) => key === "to");
  return field?.value != null ? { now: numberIn(field.value), step: 0.01 } : null;
}

// Arrows that follow each other are one gesture.
let pause = 0;

function letGo() {
  clearTimeout(pause);
  held?.drawing.end();
  held = null;
}

addEventListener("keyup", ({ key }) => {
  if (!held || !key.startsWith("Arrow")) return;
  clearTimeout(pause);
  pause = setTimeout(letGo, PAUSE);
});
addEventListener("blur", letGo);
music.addEventListener("pointerdown", letGo, true);

// -- the whole page

addEventListener("keydown", (event) => {
  if (event.key === "Escape" && !event.defaultPrevented) {
    if (held) {
      held.drawing.cancel();
      held = null;
    } else if (!find("text").contains(event.target)) choose(null);
    closeOffers();
    return;
  }
  if (!(event.ctrlKey || event.metaKey) || event.altKey || event.target.closest("input, textarea, [contenteditable=true]")) return;
  const key = event.key.toLowerCase();
  if (key === "z") act(event, event.shiftKey ? "redo" : "undo");
  else if (key === "y") act(event, "redo");
});

function act(event, what) {
  event.preventDefault();
  letGo();
  step(what);
}
