// The chosen entry: its settings as a small form, and its line of the text.

import { emit, on, sitting } from "./link.js";
import { find, made } from "./dom.js";
import { choose, entryNamed, nameOf, shown } from "./music.js";
import { Drawing, change, removing, setting } from "./changes.js";

const AROUND = 60; // pixels around an entry, so that its grips and its curve are seen
const form = find("form");
let sliding = false; // a slide is being moved: it must stay where it is
let showing = null; // the name of the entry, and what is shown of it

on("chosen", show);

function show() {
  const entry = shown.chosen === null ? null : entryNamed(shown.chosen);
  form.hidden = !entry;
  document.body.classList.toggle("choosing", !!entry);
  const told = JSON.stringify([entry, entry && linesOf(entry)]);
  if (told === showing || sliding) return;
  showing = told;
  if (!entry) return form.replaceChildren();
  const typing = form.contains(document.activeElement) ? document.activeElement : null;
  const same = form.dataset.of === nameOf(entry);
  const unfolded = same && form.querySelector("details.more")?.open;
  form.dataset.of = nameOf(entry);
  form.replaceChildren(...parts(entry, unfolded));
  if (!same) uncovered();
  if (typing?.dataset.key) goOn(form.querySelector(`[data-key="${CSS.escape(typing.dataset.key)}"]`), typing, same);
}

// Where the form lies over the page, what it is about comes out from under it.
function uncovered() {
  if (getComputedStyle(form).position !== "fixed") return;
  const boxes = [...find("music").querySelectorAll(".entry.chosen, .grip.chosen")].map((each) => each.getBoundingClientRect());
  if (!boxes.length) return;
  const [top, bottom] = [Math.min(...boxes.map((box) => box.top)), Math.max(...boxes.map((box) => box.bottom))];
  const under = bottom + AROUND - form.getBoundingClientRect().top;
  if (under > 0) scrollBy({ top: Math.min(under, top - AROUND) });
}

// Whoever had the focus has it still, and what was typed there and not yet said stays.
function goOn(field, before, same) {
  field?.focus({ preventScroll: true });
  if (!same || !field || before.said === undefined || before.value === before.said) return;
  field.value = before.value;
  field.setSelectionRange?.(before.selectionStart, before.selectionEnd);
}

function parts(entry, unfolded) {
  const close = made("button", { type: "button", className: "close", ariaLabel: "let go of this entry", data: { key: "close" } }, "×");
  close.addEventListener("click", () => choose(null));
  const heading = made("h2", { id: "form-heading" }, entry.words);
  const [first, rest] = [true, false].map((main) => entry.fields.filter((field) => isMain(entry, field) === main));
  const fields = first.map((field) => row(entry, field));
  const elsewhere = entry.own ? null : made("p", { className: "small" }, `It stands in ${entry.file}; what is changed here is laid over it.`);
  const head = made("div", { className: "form-head" }, heading, close);
  const settings = made("div", { className: "fields" }, ...fields);
  return [head, elsewhere, settings, more(entry, rest, unfolded), text(entry), doings(entry)].filter(Boolean);
}

// What is said, and what one asks for first; everything else is unfolded.
const ASKED = ["kind", "to", "then", "length", "seconds", "by", "mark", "softer", "louder", "tone", "name", "why"];

function isMain(entry, { key, value }) {
  return value !== null || ASKED.slice(0, entry.section === "phrases" ? undefined : -2).includes(key) || key === "why";
}

function more(entry, rest, unfolded) {
  if (!rest.length) return null;
  const settings = made("div", { className: "fields" }, ...rest.map((field) => row(entry, field)));
  return made("details", { className: "more", open: !!unfolded }, made("summary", {}, "More settings"), settings);
}

function linesOf({ first, last }) {
  const lines = (sitting.text ?? "").split(/\r\n|\n|\r/);
  return lines.slice(first - 1, last).join("\n");
}

function text(entry) {
  const lines = linesOf(entry);
  if (!lines || !entry.own) return null;
  const show = made("button", { type: "button", className: "quiet", data: { key: "text" } }, "in the text");
  show.addEventListener("click", () => {
    find("text").closest("details").open = true;
    emit("select", { section: entry.section, line: entry.line, column: entry.column, from: "form" });
    if (getComputedStyle(form).position === "fixed") choose(null); // it would lie over the text
    find("text").scrollIntoView({ block: "nearest" });
    find("text").querySelector("[contenteditable=true], textarea")?.focus({ preventScroll: true });
  });
  return made("div", { className: "lines" }, made("pre", { tabIndex: 0, ariaLabel: "its text in the plan", role: "region" }, lines), show);
}

function doings(entry) {
  const out = made("button", { type: "button", className: "out", data: { key: "out" } }, "Take it out");
  out.addEventListener("click", () => change(removing(entry)));
  return made("p", { className: "doings" }, out);
}

// -- one setting

function row(entry, field) {
  const id = `field-${field.key.replace(/\W+/g, "-")}`;
  const help = field.help ? made("p", { className: "help", id: `${id}-help` }, field.help) : null;
  const control = controls(entry, field, id);
  if (help) control.main.setAttribute("aria-describedby", help.id);
  return made("div", { className: `field ${field.kind}` }, made("label", { htmlFor: id }, isWhere(entry, field) ? "where" : field.words), ...control.all, help);
}

// The kind of an entry is the key of its place: 'rallentando: 7:1 - 8:3'.
const isWhere = (entry, { key, kind }) => (kind === "range" || kind === "place") && (key === entry.kind || ["bars", "at", "over"].includes(key));

function controls(entry, field, id) {
  const common = { id, data: { key: field.key } };
  const say = (value) => change(setting(entry, { [field.key]: value }));
  if (field.kind === "yes-no") {
    const main = made("input", { type: "checkbox", checked: isYes(field.value ?? field.usual), ...common });
    main.addEventListener("change", () => say(main.checked ? "yes" : "no"));
    return { main, all: [main] };
  }
  if (field.kind === "choice" && !field.open) return choice(field, common, say);
  const line = { type: "text", placeholder: field.usual ?? "", autocomplete: "off", spellcheck: false };
  const main = field.key === "why" ? made("textarea", { rows: 2, ...common }) : made("input", { ...line, ...common });
  main.value = main.said = field.value ?? "";
  main.addEventListener("change", () => {
    main.said = main.value;
    say(main.value.trim() || null);
  });
  main.addEventListener("keydown", (event) => {
    if (event.key === "Escape") main.value = field.value ?? "";
    if (event.key === "Enter" && main.matches("textarea")) {
      event.preventDefault();
      main.blur();
    }
  });
  const steps = stepsOf(field);
  const slide = steps && slideOf(entry, field, main, steps);
  return { main, all: [main, field.choices.length > 0 && choices(field, main), slide].filter(Boolean) };
}

// What is often written there.
function choices(field, main) {
  const list = made("datalist", { id: `${main.id}-choices` }, ...field.choices.map((value) => new Option(value, value)));
  main.setAttribute("list", list.id);
  return list;
}

const isYes = (value) => value === true || /^(yes|true)$/i.test(String(value));

function choice(field, common, say) {
  const values = field.choices.includes(field.value) || field.value == null ? field.choices : [field.value, ...field.choices];
  const main = made("select", common, made("option", { value: "" }, field.usual ? `as usual (${field.usual})` : "–"), ...values.map((value) => new Option(value, value)));
  main.value = field.value ?? "";
  main.addEventListener("change", () => say(main.value || null));
  return { main, all: [main] };
}

// Numbers have a slide as well, which is heard while it moves: as far as one goes in music, not as far as one may.
const UNITS = { percent: ["%", 1, 30, 150], dB: [" dB", 0.5, -12, 12], ms: [" ms", 5, 0, 120], seconds: ["", 0.05, 0, 3] };

function stepsOf({ kind, least, most, value, usual }) {
  if (!(kind in UNITS) || (value ?? usual) == null) return null;
  const [unit, step, low, high] = UNITS[kind];
  const now = number(value ?? usual);
  if (!Number.isFinite(now)) return null;
  return { unit, step, now, low: Math.min(Math.max(low, least ?? low), now), high: Math.max(Math.min(high, most ?? high), now) };
}

const number = (text) => parseFloat(String(text ?? "").replace(",", "."));

function slideOf(entry, field, main, { unit, step, now, low, high }) {
  const slide = made("input", { type: "range", min: low, max: high, step, ariaLabel: field.words, data: { key: `${field.key} slide` } });
  slide.value = now;
  let drawing = null;
  slide.addEventListener("input", () => {
    main.value = `${slide.value}${unit}`;
    drawing ??= new Drawing();
    sliding = true;
    drawing.wish(setting(entry, { [field.key]: main.value }));
  });
  slide.addEventListener("change", () => {
    drawing?.end();
    drawing = null;
    sliding = false;
    show();
  });
  return slide;
}

on("saved", show);
