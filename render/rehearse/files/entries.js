// The entries of the plan where they stand in the score: each can be reached and chosen, and taken by its grips.

import { on } from "./link.js";
import { find, made } from "./dom.js";
import { isBefore, samePlace } from "./geometry.js";
import { nameOf, paceAt, put, select, shown } from "./music.js";

const LEAST = 28; // units: the room that each label has on the paper
const UNDER_PACE = /^(rall|rit|allarg|accel|string|a tempo|hurry|linger|late|early|long short|still beats)/;
const HANGING = 9; // units by which the grips of a bracket hang under its hooks
const GRIPS = { start: "the beginning", end: "the end", depth: "the depth", whole: "its place" };

let gripped = null; // the entry whose grips are out

on("laid", layAll);
on("chosen", () => (gripped === shown.chosen ? null : layAll()));

function layAll() {
  if (!shown.systems[0]?.staff) return;
  gripped = shown.chosen;
  const music = find("music");
  const key = music.contains(document.activeElement) ? document.activeElement.dataset.key : undefined;
  const placed = new Set();
  for (const system of shown.systems) layEntries(system, placed);
  layWhole(placed);
  showChosen();
  if (key !== undefined) focused(music, key);
}

// Whoever had the focus has it still, wherever it lies by now; else the chosen entry has.
function focused(music, key) {
  const again = music.querySelector(`[data-key="${CSS.escape(key)}"]`) ?? music.querySelector("button.entry.chosen");
  if (again !== document.activeElement) again?.focus({ preventScroll: true });
}

// -- where they are

// What of an entry's spans lies in a system: from x to x, and whether it begins and ends there.
export function partsIn(system, entry) {
  const { paper } = shown;
  const [first, last] = [system.rows[0][0], system.rows.at(-1)[0]];
  const made = new Map(); // what lies alike on several passes is drawn once
  for (const [start, end] of entry.spans) {
    if (end.row < first || start.row > last || (end.row === first && end.offset === 0 && start.row < first)) continue;
    const [begins, ends] = [start.row >= first, end.row <= last];
    const left = begins ? paper.spot(start).x : paper.knots[system.number].x[0];
    const right = ends ? paper.spot(end).x : system.rows.at(-1)[2];
    const key = `${start.row} ${start.offset} ${end.row} ${end.offset}`;
    if (!made.has(key)) made.set(key, { start, end, begins, ends, left, right: Math.max(left, right) });
  }
  return [...made.values()];
}

// The box of what is written of an entry in a system, in units; null if nothing is.
function labelBox(system, name) {
  const groups = [...system.sheet.querySelectorAll(`[data-entry="${CSS.escape(name)}"]`)];
  if (!groups.length) return null;
  const sheet = system.sheet.getBoundingClientRect();
  const scale = system.width / sheet.width;
  const boxes = groups.map((group) => group.getBoundingClientRect()).filter((box) => box.width || box.height);
  if (!boxes.length) return null;
  const [left, top] = [Math.min(...boxes.map((b) => b.left)), Math.min(...boxes.map((b) => b.top))];
  const [right, bottom] = [Math.max(...boxes.map((b) => b.right)), Math.max(...boxes.map((b) => b.bottom))];
  return { x: (left - sheet.left) * scale, y: (top - sheet.top) * scale, width: (right - left) * scale, height: (bottom - top) * scale };
}

function layEntries(system, placed) {
  const [buttons, grips, also] = [[], [], []];
  for (const entry of shown.entries) {
    const name = nameOf(entry);
    const parts = partsIn(system, entry);
    const box = labelBox(system, name);
    if (box) {
      placed.add(name);
      buttons.push([box.x, entryButton(system, entry, box)]);
      for (const part of parts) grips.push(...gripsOf(system, entry, part, box));
    } else if (!placed.has(name) && parts.some((part) => part.begins)) {
      placed.add(name);
      also.push(plainButton(entry));
    }
  }
  buttons.sort(([a], [b]) => a - b);
  system.entries.replaceChildren(...buttons.map(([, button]) => button));
  system.grips.replaceChildren(...grips);
  system.also.replaceChildren(...also);
}

// What holds for the whole piece, or is heard nowhere.
function layWhole(placed) {
  const line = find("music").querySelector(".whole");
  if (line) line.replaceChildren(...shown.entries.filter((entry) => !placed.has(nameOf(entry))).map(plainButton));
}

const spoken = (entry) => entry.words + (entry.own ? "" : `, from ${entry.file}`);

// What can be touched of a label is its room on the paper: over the music it stands at the foot of it, under the music at
// the top.
function entryButton(system, entry, { x, y, width, height }) {
  const name = nameOf(entry);
  const wide = Math.max(LEAST - width, 0) / 2;
  const tall = Math.max(height, LEAST - 1);
  const top = y < system.staff[0] && !entry.kind.match(UNDER_PACE) ? y + height - tall : y;
  const button = made("button", { type: "button", className: "entry", ariaLabel: spoken(entry), data: { name, key: name } });
  return put(button, system, { x: x - wide, y: top, width: width + 2 * wide, height: tall });
}

function plainButton(entry) {
  const name = nameOf(entry);
  const button = made("button", { type: "button", className: "entry plain", data: { name, key: name } }, entry.words);
  button.addEventListener("click", () => select(entry));
  return button;
}

// -- grips

// Where the grips of an entry are: `end` start, end or depth; `of` its span.
function gripsOf(system, entry, part, box) {
  const can = (handle) => entry.handles.includes(handle);
  const found = [];
  const [first, last] = ends(entry); // repeats may cut it in several: it is drawn at its own ends alone
  const y = heights(system, entry, part, box);
  if (part.begins && can("start") && samePlace(part.start, first)) found.push(["start", part.left, y.start]);
  const over = part.ends && samePlace(part.end, last);
  if (over && can("depth")) found.push(["depth", part.right, y.end]);
  else if (over && can("end")) found.push(["end", part.right, y.end]);
  return found.map(([end, x, at]) => grip(system, entry, part, end, x, at));
}

// Where an entry begins and ends on the page.
function ends({ spans }) {
  const first = spans.map(([start]) => start).reduce((a, b) => (isBefore(b, a) ? b : a));
  const last = spans.map(([, end]) => end).reduce((a, b) => (isBefore(a, b) ? b : a));
  return [first, last];
}

function heights(system, entry, part, box) {
  const middle = box.y + box.height / 2;
  if (entry.section === "slowing") {
    const at = (x) => system.pace[1] + paceAt(system, x, part.start.pass);
    return { start: at(part.left + 0.5), end: at(part.right - 0.5) };
  }
  if (entry.section === "dynamics") return { start: system.level[1], end: system.level[1] };
  if (entry.section === "phrases") return { start: box.y + box.height + HANGING, end: box.y + box.height + HANGING };
  return { start: middle, end: middle };
}

function grip(system, entry, part, end, x, y) {
  const name = nameOf(entry);
  const is = shown.chosen === name;
  const value = end === "depth" ? "" : ` (${shown.paper.told(end === "start" ? part.start : part.end, end !== "start")})`;
  const properties = { className: `grip ${end}`, data: { name, end, key: `${name} ${end} ${system.number}`, x, y } };
  if (is) Object.assign(properties, { type: "button", ariaLabel: `${GRIPS[end]} of ${entry.words}${value}` });
  const element = made(is ? "button" : "span", properties);
  if (!is) element.setAttribute("aria-hidden", "true");
  element.span = part;
  return put(element, system, { x, y });
}

// -- the chosen one

function showChosen() {
  for (const element of find("music").querySelectorAll("[data-name], [data-entry]")) {
    const mine = (element.dataset.name ?? element.dataset.entry) === shown.chosen;
    element.classList.toggle("chosen", mine);
    if (element.matches("button.entry")) element.setAttribute("aria-pressed", String(mine));
  }
}
