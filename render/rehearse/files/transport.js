// Play, pause, and where: the controls that everybody knows, and their keys.

import { emit, on, sitting } from "./link.js";
import { audition, canCompare, choose, clock, jump, now, pause, play, repeat, rooms, volume } from "./sounding.js";

const region = document.getElementById("transport");
const SOFTLY = "Begin with the volume low, above all in headphones.";

function made(tag, properties = {}, ...children) {
  const element = Object.assign(document.createElement(tag), properties);
  element.append(...children);
  return element;
}

function button(id, words, label, act) {
  const element = made("button", { type: "button", id, title: label }, words);
  element.setAttribute("aria-label", label);
  element.addEventListener("click", act);
  return element;
}

const toggle = button("play", "Play", "play or pause", () => (now().playing ? pause() : play()));
const back = button("bar-back", "Bar back", "a bar back", () => step(-1));
const forth = button("bar-on", "Bar on", "a bar on", () => step(1));
const ROOMS = [["planned", "as planned, or small"], ["dry", "none, dry"], ["small", "small"], ["hall", "hall"]];
const place = made("output", { id: "place", className: "place" });
const slider = made("input", { type: "range", id: "where", min: 0, max: 0, step: 1, value: 0 });
slider.setAttribute("aria-label", "bar");
const alone = button("change-alone", "The change", "hear the change by itself", () => hearChange(false));
const turns = button("change-turns", "By turns", "hear the change by turns before and now", () => hearChange(true));
const before = button("before", "Before", "hear it as it was before the last change", () => choose({ before: document.documentElement.dataset.heard !== "before" }));
const other = button("other", "Other plan", "hear the other plan", () => choose({ reading: 1 - now().reading, before: false }));
const from = made("input", { type: "text", id: "repeat-from", size: 4, autocomplete: "off" });
const until = made("input", { type: "text", id: "repeat-until", size: 4, autocomplete: "off" });
const again = made("input", { type: "checkbox", id: "repeat" });
const loud = made("input", { type: "range", id: "volume", min: 0, max: 1, step: 0.01, value: 0.7 });
const room = made("select", { id: "room" }, ...ROOMS.map(([value, words]) => made("option", { value }, words)));
const letters = made("input", { type: "checkbox", id: "letters", checked: true });

const KEYS = [
  ["Space", "play or pause"], [", and .", "a bar back or on"], ["B", "before the last change, or now"],
  ["C", "the change by itself"], ["T", "the change by turns, before and now"], ["O", "the other plan, or this one"],
  ["R", "repeat the bars that are chosen"],
];

region.append(
  made("div", { className: "playing" }, toggle, back, forth),
  made("div", { className: "placed" }, place, slider),
  made("div", { className: "comparing" }, alone, turns, before, other),
  made(
    "details", { className: "more" }, made("summary", {}, "More"),
    made(
      "div", { className: "sheet" },
      made(
        "p", { className: "repeating" },
        made("label", { className: "check" }, again, " repeat"), made("label", {}, " from bar ", from), made("label", {}, " to bar ", until),
      ),
      made("label", { className: "volume" }, "Volume ", loud),
      made("label", { className: "volume" }, "Room ", room),
      made("p", { className: "small" }, SOFTLY),
      made("dl", {}, ...KEYS.flatMap(([key, what]) => [made("dt", {}, key), made("dd", {}, what)])),
      made("label", { className: "check" }, letters, " single letters and signs are keys"),
    ),
  ),
);
for (const each of [before, other]) each.setAttribute("aria-pressed", "false");

let differs = null; // what the last change changed

// -- where it is

// A bar on, or back: to its own beginning first, unless that has just been heard.
function step(by) {
  const there = clock();
  if (!there) return;
  const { quarter, offset } = now();
  const row = there.ordinal(quarter) + (by > 0 ? 1 : offset > 0.5 ? 0 : -1);
  jump(there.bars[Math.min(Math.max(row, 0), there.bars.length - 1)].start);
}

slider.addEventListener("input", () => {
  const bar = clock()?.bars[Number(slider.value)];
  if (bar) jump(bar.start);
});

const minutes = (second) => `${Math.floor(second / 60)}:${String(Math.floor(second % 60)).padStart(2, "0")}`;

on("playhead", ({ quarter, second, name, pass }) => {
  const there = clock();
  if (!there) return;
  const several = there.bars.some((bar) => bar.pass > 1);
  const words = `bar ${name}${several ? `, pass ${pass}` : ""}`;
  const shown = `${words}, ${minutes(second)}`;
  if (place.textContent !== shown) place.textContent = shown;
  const row = there.ordinal(quarter);
  slider.max = there.bars.length - 1;
  if (Number(slider.value) !== row) slider.value = row;
  slider.setAttribute("aria-valuetext", words);
});

on("playing", (playing) => {
  toggle.textContent = playing ? "Pause" : "Play";
  document.documentElement.toggleAttribute("data-playing", playing);
});

// -- before and now, one plan and the other

on("heard", ({ reading, before: older }) => {
  before.setAttribute("aria-pressed", String(older));
  other.setAttribute("aria-pressed", String(reading === 1));
  allowed();
});

on("hello", ({ other: file }) => {
  other.hidden = !file;
  allowed();
});

on("differs", (message) => {
  differs = message.from === null ? null : message;
  allowed();
});

on("whole", allowed);

function allowed() {
  before.disabled = turns.disabled = !canCompare();
  alone.disabled = differs === null;
  turns.disabled ||= differs === null;
}

// From a bar before the change to a bar after it.
function hearChange(byTurns) {
  const there = sitting.clock;
  if (!differs || !there) return;
  const bars = there.bars;
  const first = bars.findLastIndex((bar) => bar.start <= differs.from + 1e-6);
  const last = bars.findIndex((bar) => bar.end >= differs.until - 1e-6);
  choose({ reading: 0, before: false });
  audition(bars[Math.max(first - 1, 0)].start, bars[last < 0 ? bars.length - 1 : Math.min(last + 1, bars.length - 1)].end, { turns: byTurns });
}

// -- again and again

for (const field of [again, from, until]) field.addEventListener("change", () => repeatBars());

function repeatBars() {
  const bars = sitting.clock?.bars ?? [];
  if (!again.checked) return repeat(null);
  const { row } = now();
  const named = (field, fallback) => bars.findIndex((bar) => bar.name === (field.value.trim() || fallback));
  const here = bars.find((bar) => bar.row === row)?.name;
  const first = named(from, here);
  const last = bars.findIndex((bar, at) => at >= first && bar.name === (until.value.trim() || bars[first]?.name));
  if (first < 0 || last < 0) {
    again.checked = false;
    emit("told", { words: "these bars are not heard one after the other" });
    return repeat(null);
  }
  from.value ||= bars[first].name;
  until.value ||= bars[last].name;
  repeat({ from: bars[first].start, until: bars[last].end, turns: false, once: false });
}

on("repeat", (loop) => {
  if (!loop || loop.turns || loop.once) again.checked = false;
});

loud.addEventListener("input", () => volume(Number(loud.value) ** 2));
volume(Number(loud.value) ** 2);
room.value = rooms.choice;
room.addEventListener("change", () => rooms.choose(room.value));

// -- keys

const ACTS = { ",": () => step(-1), ".": () => step(1), b: () => before.click(), c: () => alone.click(), t: () => turns.click(), o: () => other.click(), r: () => again.click() };

addEventListener("keydown", (event) => {
  const { key, target } = event;
  if (event.defaultPrevented || event.ctrlKey || event.metaKey || event.altKey || event.repeat) return;
  if (target.closest("input:not([type=range]):not([type=checkbox]), textarea, select, [contenteditable=true], [role=textbox]")) return;
  if (key === " " && !target.closest("button, summary, input, a, [role=button], [tabindex]:not(.bar)")) act(event, () => toggle.click());
  else if (letters.checked && ACTS[key.toLowerCase()]) act(event, ACTS[key.toLowerCase()]);
});

function act(event, what) {
  event.preventDefault();
  what();
}
