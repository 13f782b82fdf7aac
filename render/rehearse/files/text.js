// The plan's text on the page. What is typed goes to the server after a moment's stillness; what is changed elsewhere, on
// the page or on disk, comes into the text where it was changed, and the cursor stays.
import { told } from "./completing.js";
import { edits, merged, moved } from "./edits.js";
import { emit, on, send } from "./link.js";

const STILL = 250; // ms without a key before what was typed is sent
const HELP = "Tab indents. Escape, then Tab, leaves the text. F8 goes to the next remark.";
const PLAIN = "The editor did not load in this browser: this is a plain field, and all else works.";

// `base` is the text of the state `number`; `sent` what was typed and is on its way, and `steps` what is to be done once it
// has arrived; `entries` are those of `entriesOf`.
const here = {
  number: -1, base: "", sent: null, steps: [], timer: 0, vocabulary: null, faulty: false, entries: [], entriesOf: "",
  picked: null,
};
let writer = null;

async function begin() {
  const region = document.getElementById("text");
  const frame = region.appendChild(document.createElement("div"));
  frame.className = "writing";
  const said = region.appendChild(document.createElement("p"));
  Object.assign(said, { id: "text-said", className: "small" });
  const help = region.appendChild(document.createElement("p"));
  Object.assign(help, { id: "text-help", className: "small", textContent: HELP });
  const acts = { typed, moved: cursor, undo: step("undo"), redo: step("redo"), left: sendNow, vocabulary: () => here.vocabulary };
  try {
    const { editor } = await import("./editing.js");
    writer = editor(frame, acts, document.querySelector("meta[name=nonce]")?.content ?? "");
  } catch {
    frame.replaceChildren();
    const { plain } = await import("./plaintext.js");
    writer = plain(frame, acts);
    help.textContent = PLAIN;
  }
  for (const [take, message] of waiting.splice(0)) take(message);
}

// What comes before there is something to write in waits.
const waiting = [];
const hear = (kind, take) => on(kind, (message) => (writer ? take(message) : waiting.push([take, message])));

hear("vocabulary", (message) => {
  here.vocabulary = message;
});

for (const kind of ["hello", "told"]) {
  hear(kind, () => {
    here.sent = null; // what was on its way did not arrive, or was refused
  });
}

hear("saved", (message) => {
  const text = message.text.replace(/\r\n?/g, "\n");
  const ours = writer.text();
  const taken = ["undo", "redo", "back"].includes(message.by);
  if (here.number < 0 || ours === here.base) writer.put(text, taken);
  else if (text !== here.sent) writer.put(merged(here.base, ours, text), false);
  Object.assign(here, { number: message.number, base: text, sent: null, faulty: message.faults?.length > 0 });
  if (here.steps.length) sendNow();
  else if (writer.text() !== text) typed();
  if (here.faulty) remark(message.faults);
});

hear("remarks", (message) => {
  if (message.number === here.number && message.reading === 0 && !here.faulty) remark(message.remarks);
});

hear("drawn", (message) => {
  if (message.number !== here.number || message.reading !== 0) return;
  Object.assign(here, { entries: (message.entries ?? []).filter((entry) => entry.own === true), entriesOf: here.base });
  if (here.picked) pick(here.picked, false);
});

hear("chosen", ({ entry }) => {
  here.picked = entry?.own ? entry : null; // among the entries of the next state
  pick(here.picked, false);
});

hear("select", (selected) => {
  here.picked = selected?.line ? selected : null;
  if (selected?.from !== "text") pick(here.picked, true);
});

// -- typing

function typed() {
  clearTimeout(here.timer);
  here.timer = setTimeout(sendNow, STILL);
}

// One thing at a time: the server has to know on which text the next one was written.
function sendNow() {
  clearTimeout(here.timer);
  const text = writer.text();
  if (here.number < 0 || here.sent !== null) return;
  if (text !== here.base) {
    here.sent = text;
    send({ do: "text", text, number: here.number });
  } else if (here.steps.length) send({ do: here.steps.shift() });
}

// To take back is the sitting's, of which typing is a part: what was typed is sent first.
const step = (what) => () => {
  here.steps.push(what);
  sendNow();
};

// -- places

const offset = (text, line, column) => {
  let begin = 0;
  for (let row = 1; row < line; row += 1) begin = text.indexOf("\n", begin) + 1 || text.length;
  return Math.min(begin + Math.max(column - 1, 0), text.length);
};

// Where what stood in the saved text stands in what is written here.
const placed = (text, place) => moved(place, edits(text, writer.text()));

function remark(remarks) {
  const text = here.base;
  writer.remark(remarks.filter((each) => each.own && each.line).map((each) => {
    const from = offset(text, each.line, each.column ?? 1);
    const to = Math.min(spanEnd(text, from), text.length);
    const words = [each.message, each.suggestion, each.accepted && `(accepted: ${each.accepted})`].filter(Boolean).join("\n");
    const mend = { name: each.mends ? `mend it: ${each.mends}` : "mend it", done: () => mended(each) };
    const severity = each.accepted ? "accepted" : each.severity;
    return { from: placed(text, from), to: placed(text, to), severity, message: words, act: each.fix && !each.accepted ? mend : null };
  }));
}

function mended(remark) {
  if (writer.text() !== here.base) {
    sendNow();
    emit("told", { words: "the text was changed meanwhile: a moment more, and then again" });
    return;
  }
  send({ do: "change", number: here.number, change: { what: "mend", index: remark.index } });
}

// The end of what begins at a place: behind its brace, or with its line, its comma, its bracket.
export function spanEnd(text, from) {
  if (!"{[".includes(text[from] ?? " ")) return from + Math.max(/^[^,{}[\]\n#]*[^,{}[\]\n#\s]/.exec(text.slice(from, from + 500))?.[0].length ?? 1, 1);
  let depth = 0;
  let quote = "";
  for (let at = from; at < text.length; at += 1) {
    const sign = text[at];
    if (quote) quote = sign === quote ? "" : quote;
    else if (`"'`.includes(sign) && /[\s,{[:]/.test(text[at - 1])) quote = sign;
    else if ("{[".includes(sign)) depth += 1;
    else if ("}]".includes(sign)) depth -= 1;
    if (depth === 0) return at + 1;
  }
  return text.length;
}

function spanOf(entry) {
  const text = here.entriesOf;
  const from = offset(text, entry.line, entry.column);
  const several = (entry.last ?? entry.line) > entry.line && !"{[".includes(text[from]);
  return { from, to: several ? offset(text, entry.last + 1, 1) - 1 : spanEnd(text, from) };
}

// The innermost entry at a place of what is written here.
function entryAt(place) {
  const there = moved(place, edits(writer.text(), here.entriesOf));
  const around = here.entries.map((entry) => [entry, spanOf(entry)]).filter(([, span]) => span.from <= there && there <= span.to);
  around.sort(([, one], [, other]) => one.to - one.from - (other.to - other.from));
  return around[0]?.[0] ?? null;
}

// Under the text: what is told of the place at which the cursor is, or what the setting there does.
function say(place) {
  const remark = writer.remarkAt(place);
  const setting = !remark && here.vocabulary && told(here.vocabulary, writer.text(), place);
  document.getElementById("text-said").textContent = remark ?? (setting ? `${setting.key}: ${setting.help}` : "");
}

function cursor(place) {
  say(place);
  const entry = entryAt(place);
  if (entry && same(entry, here.picked)) return;
  if (!entry && !here.picked) return;
  here.picked = entry && { section: entry.section, line: entry.line, column: entry.column, from: "text" };
  emit("select", here.picked ?? { from: "text" });
  pick(here.picked, false);
}

const same = (one, other) => one && other && one.section === other.section && one.line === other.line && one.column === other.column;

function pick(selected, there) {
  const entry = here.entries.find((each) => same(each, selected));
  const span = entry && spanOf(entry);
  writer.mark(span ? { from: placed(here.entriesOf, span.from), to: placed(here.entriesOf, span.to) } : null, there);
}

begin();
