// The score with its curves. Its notes are put down once for each paper; what a reading lays over and under them is
// exchanged, system by system, where it has changed.

import { emit, on, send } from "./link.js";
import { made, drawn, find } from "./dom.js";
import { Paper } from "./geometry.js";
import { Bow } from "./bow.js";

const PAPERS = [
  ["wide", matchMedia("(min-width: 1200px)")],
  ["middle", matchMedia("(min-width: 640px)")],
  ["narrow", null],
];

// What is shown: the paper, its systems (elements, and how high everything in them lies), the plan's entries by name.
export const shown = { paper: null, systems: [], entries: [], number: 0, chosen: null, awaited: false };

const bow = new Bow(shown);
let music = null;
let picture = null;

// As a drawing names an entry: where it stands, and in which file where that is another one.
export const nameOf = ({ line, column, own, file }) => `${line}:${column}` + (own ? "" : `@${file}`);
export const entryNamed = (name) => shown.entries.find((entry) => nameOf(entry) === name);

export const paperName = () => PAPERS.find(([, wide]) => wide === null || wide.matches)[0];

// -- what comes

on("music", (message) => {
  music = message;
  layOut();
});

on("drawn", (message) => {
  if (message.reading !== 0) return;
  picture = message;
  shown.number = message.number;
  const chosen = carried(shown.entries, message.entries ?? [], shown.chosen);
  shown.entries = message.entries ?? [];
  shown.chosen = chosen ? nameOf(chosen) : null;
  titled(message);
  draw();
  emit("chosen", { entry: chosen });
});

function titled({ piece, title, beside }) {
  find("piece").textContent = piece;
  find("reading").textContent = beside ? `A ${title || "this plan"}, and B ${beside} in broken lines` : title;
  document.title = title ? `${piece}: ${title}` : piece;
}

on("hello", askForPaper);
for (const [, wide] of PAPERS) wide?.addEventListener("change", askForPaper);

function askForPaper() {
  send({ do: "paper", paper: paperName() });
  layOut();
}

on("playhead", (place) => bow.show(place));

// -- the notes

function layOut() {
  const name = paperName();
  if (!music?.papers[name] || (shown.paper?.name === name && shown.paper.key === music.key)) return;
  shown.paper = new Paper(music, name);
  shown.paper.key = music.key;
  shown.systems = shown.paper.systems.map(system);
  const shapes = drawn("svg", { class: "shapes", width: 0, height: 0, "aria-hidden": true });
  shapes.innerHTML = `<defs>${shown.paper.definitions}</defs>`;
  const refused = music.refused ? made("p", { className: "refused" }, `${music.refused}. Its bars are drawn without notes.`) : "";
  const whole = made("div", { className: "whole" });
  find("music").replaceChildren(shapes, refused, whole, ...shown.systems.map(({ element }) => element));
  bow.leave();
  draw();
}

function system({ svg, width, bars }, number) {
  const over = drawn("g", { class: "over" });
  const notes = drawn("g", { class: "score" });
  const under = drawn("g", { class: "under" });
  const hands = drawn("g", { class: "hands" });
  notes.innerHTML = svg;
  const sheet = drawn("svg", { "aria-hidden": true, focusable: false });
  sheet.append(over, notes, under, hands);
  const layers = Object.fromEntries(["bars", "band", "entries", "grips", "signs"].map((each) => [each, made("div", { className: each })]));
  const drawing = made("div", { className: "drawing", data: { system: number } }, sheet, ...Object.values(layers));
  const also = made("p", { className: "also" });
  const names = [bars[0], bars.at(-1)].map(([row]) => shown.paper.bars.name[row]);
  const label = names[0] === names[1] ? `bar ${names[0]}` : `bars ${names[0]} to ${names[1]}`;
  const element = made("div", { className: "system", role: "group", ariaLabel: label }, drawing, also);
  return { element, drawing, sheet, over, notes, under, hands, also, ...layers, number, width, rows: bars, said: {} };
}

// -- what a reading lays over and under them

function draw() {
  const layers = picture?.papers[shown.paper?.name];
  if (!layers || picture.key !== shown.paper.key || layers.length !== shown.systems.length) return;
  find("music").classList.toggle("many", picture.beside !== null);
  layers.forEach((layer, number) => lay(shown.systems[number], layer));
  bow.again();
  document.documentElement.dataset.drawn = picture.number;
  emit("laid", {});
}

const PENCIL = 13; // units between the music and the band of the level, for the bow

function lay(system, layer) {
  for (const name of ["over", "under"]) {
    if (system.said[name] !== layer[name]) system[name].innerHTML = layer[name];
    system.said[name] = layer[name];
  }
  const level = layer.level.map((y) => y + PENCIL);
  Object.assign(system, { height: layer.height + PENCIL, staff: layer.staff, pace: layer.pace, level });
  system.under.setAttribute("transform", `translate(0 ${PENCIL})`);
  system.sheet.setAttribute("viewBox", `0 0 ${system.width} ${system.height}`);
  system.sheet.classList.toggle("many", picture.beside !== null);
  system.notes.setAttribute("transform", `translate(0 ${layer.moved})`);
}

// The entry that was chosen, among those of the next state: what is new where one was asked for; else the same one,
// though it may have moved and its line in the text too.
function carried(before, after, name) {
  const told = ({ section, words, line }) => `${section} ${words} ${line}`;
  if (shown.awaited) {
    const known = new Set(before.map(({ section, words }) => `${section} ${words}`));
    const fresh = after.find(({ section, words }) => !known.has(`${section} ${words}`));
    if (fresh) {
      shown.awaited = false;
      return fresh;
    }
  }
  const entry = before.find((each) => nameOf(each) === name);
  if (!entry) return null;
  const [old, now] = [before, after].map((some) => some.filter(({ section }) => section === entry.section));
  if (old.length === now.length) return now[old.indexOf(entry)];
  return now.find((each) => told(each) === told(entry)) ?? now.find(({ words }) => words === entry.words) ?? null;
}

// -- from the paper to the screen, and back

export function unitsAt(system, { clientX, clientY }) {
  const box = system.sheet.getBoundingClientRect();
  return { x: ((clientX - box.left) * system.width) / box.width, y: ((clientY - box.top) * system.height) / box.height };
}

export const scaleOf = (system) => system.sheet.getBoundingClientRect().width / system.width || 1;

// Put an element where these units are, in parts of the drawing, so that it stays there however wide that is.
export function put(element, system, { x, y, width, height }) {
  const across = (value) => `${(100 * value) / system.width}%`;
  const down = (value) => `${(100 * value) / system.height}%`;
  Object.assign(element.style, { left: across(x), top: down(y) });
  if (width !== undefined) element.style.width = across(width);
  if (height !== undefined) element.style.height = down(height);
  return element;
}

// The curve of the pace at x: of the hearing `pass` where it has one of its own, else of any.
export function paceAt(system, x, pass = null) {
  const curves = [...system.over.querySelectorAll(".reading.a .curve")];
  const mine = curves.filter((curve) => pass !== null && Number(curve.dataset.pass) === pass);
  for (const curve of [...mine, ...curves]) {
    const points = (curve.knots ??= pointsOf(curve.getAttribute("d")));
    if (x < points[0][0] - 0.5 || x > points.at(-1)[0] + 0.5) continue;
    const next = points.findIndex(([there]) => there >= x);
    if (next <= 0) return points[next === 0 ? 0 : points.length - 1][1];
    const [[x0, y0], [x1, y1]] = [points[next - 1], points[next]];
    return y0 + ((y1 - y0) * (x - x0)) / Math.max(x1 - x0, 1e-9);
  }
  return 0;
}

const pointsOf = (data) => data.slice(1).split("L").map((point) => point.split(" ").map(Number));

// -- what is chosen

on("select", ({ section, line, column, from }) => {
  const entry = shown.entries.find((each) => each.section === section && each.line === line && each.column === column);
  choose(entry ?? null);
  if (entry && from !== "music" && from !== "form") find("music").querySelector(".entry.chosen")?.scrollIntoView({ block: "nearest" });
});

export function choose(entry) {
  const name = entry ? nameOf(entry) : null;
  if (name === shown.chosen) return;
  shown.chosen = name;
  emit("chosen", { entry });
}

export function select(entry, from = "music") {
  choose(entry);
  if (entry) emit("select", { section: entry.section, line: entry.line, column: entry.column, from });
}
