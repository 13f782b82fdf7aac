// What there is to say of the plan: each remark at its place in the score, as players mark such places (a pair of
// spectacles), and in a list with its reason, with what would mend it, and with a way to accept it.

import { emit, on } from "./link.js";
import { find, made } from "./dom.js";
import { put, shown } from "./music.js";
import { change } from "./changes.js";

const SPECTACLES = "M1 6a4 4 0 1 0 8 0a4 4 0 1 0-8 0M13 6a4 4 0 1 0 8 0a4 4 0 1 0-8 0M9 5.2q2-1.6 4 0M1.2 4.6L0 2M20.8 4.6L22 2";
const WORDS = { error: "This cannot be played", caution: "Look here", advice: "Advice" };

let remarks = [];

on("remarks", (message) => {
  if (message.reading !== 0) return;
  remarks = message.remarks;
  list();
  signs();
});
on("laid", signs);

const stands = ({ severity, accepted }) => severity !== "advice" && accepted == null;

// -- in the score

function signs() {
  if (!shown.systems[0]?.staff) return;
  for (const system of shown.systems) system.signs.replaceChildren();
  const taken = new Map();
  for (const remark of remarks.filter(stands)) {
    if (remark.row == null) continue;
    const spot = shown.paper.spot({ row: remark.row, offset: remark.offset ?? 0 });
    if (!spot) continue;
    const system = shown.systems[spot.system];
    const key = `${spot.system} ${Math.round(spot.x / 26)}`;
    const again = taken.get(key) ?? 0;
    taken.set(key, again + 1);
    const button = made("button", { type: "button", className: "sign", ariaLabel: `remark: ${remark.message}`, data: { index: remark.index } });
    button.innerHTML = `<svg viewBox="-1 0 24 12" aria-hidden="true"><path d="${SPECTACLES}"/></svg>`;
    button.addEventListener("click", () => show(remark.index));
    system.signs.append(put(button, system, { x: Math.min(spot.x + 28 * again, system.width - 14), y: -9 }));
  }
}

function show(index) {
  const item = find("remarks").querySelector(`[data-index="${index}"]`);
  for (let parent = item?.parentElement; parent; parent = parent.parentElement) if (parent.tagName === "DETAILS") parent.open = true;
  item?.scrollIntoView({ block: "nearest" });
  item?.querySelector("button")?.focus();
  item?.classList.add("shown");
  setTimeout(() => item?.classList.remove("shown"), 1600);
}

// -- in the list

function list() {
  const held = find("remarks").contains(document.activeElement);
  const typed = new Map([...find("remarks").querySelectorAll("li")].map((item) => [item.dataset.message, item.querySelector("input")?.value ?? ""]));
  const open = remarks.filter(stands);
  const accepted = remarks.filter(({ accepted: because }) => because != null);
  const advice = remarks.filter(({ severity, accepted: because }) => severity === "advice" && because == null);
  const heading = made("h2", {}, open.length ? `Remarks (${open.length})` : "Remarks");
  const none = open.length ? null : made("p", { className: "small" }, "Nothing works against the music.");
  find("remarks").replaceChildren(...[heading, none, items(open, typed), more("Advice", advice, typed), more("Accepted", accepted, typed)].filter(Boolean));
  if (held) heading.setAttribute("tabindex", "-1"), heading.focus({ preventScroll: true });
}

const items = (some, typed) => (some.length ? made("ul", {}, ...some.map((each) => item(each, typed))) : null);

function more(heading, some, typed) {
  return some.length ? made("details", {}, made("summary", {}, `${heading} (${some.length})`), items(some, typed)) : null;
}

const where = ({ bar, beat, pass }) =>
  bar == null ? "the whole piece" : `bar ${bar}${beat != null ? `, beat ${beat}` : ""}${pass != null ? `, pass ${pass}` : ""}`;

function item(remark, typed) {
  const { index, severity, message, suggestion, mends, accepted } = remark;
  const to = made("button", { type: "button", className: "quiet place" }, where(remark));
  to.addEventListener("click", () => follow(remark));
  const said = [
    made("h3", {}, made("span", { className: "unseen" }, `${WORDS[severity] ?? ""}: `), to),
    made("p", { className: "message" }, message),
    suggestion && !remark.fix ? made("p", { className: "suggestion" }, suggestion) : null,
    accepted != null ? made("p", { className: "small" }, `Accepted because ${accepted}`) : null,
    accepted == null ? answers(remark, typed.get(message)) : null,
  ];
  const made_ = made("li", { className: severity, data: { index, message } }, ...said);
  if (mends) made_.querySelector(".answers")?.prepend(made("code", {}, mends));
  return made_;
}

function answers(remark, typed = "") {
  const { index, fix, severity, own } = remark;
  if (own === false) return null;
  const mend = fix ? made("button", { type: "button", className: "mend" }, "Mend it") : null;
  mend?.addEventListener("click", () => change({ what: "mend", index }));
  if (severity !== "caution") return mend && made("div", { className: "answers" }, mend);
  const because = made("input", { type: "text", value: typed, id: `because-${index}`, maxLength: 500, autocomplete: "off" });
  const label = made("label", { htmlFor: because.id }, "or accept, because");
  const accept = made("form", { className: "accept" }, label, because, made("button", { type: "submit" }, "Accept"));
  accept.addEventListener("submit", (event) => {
    event.preventDefault();
    const words = because.value.trim();
    because.setAttribute("aria-invalid", String(!words));
    if (words) change({ what: "accept", index, because: words });
    else because.focus();
  });
  return made("div", { className: "answers" }, mend, accept);
}

function follow({ row, line, column }) {
  const spot = row == null ? null : shown.paper?.spot({ row, offset: 0 });
  if (spot) shown.systems[spot.system].element.scrollIntoView({ block: "center" });
  const entry = shown.entries.find((each) => each.own && each.first <= line && line <= each.last);
  if (entry) emit("select", { section: entry.section, line: entry.line, column: entry.column, from: "remarks" });
  else if (line != null) emit("select", { section: null, line, column: column ?? 1, from: "remarks" });
}
