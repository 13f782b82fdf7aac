// What taps come to: entries to be ticked, questions with two answers, and what no entry says.

import { made } from "./dom.js";

const percent = (share) => `${Math.round(share * 100)} %`;
const SURE = [[0.99, "sure"], [0.9, "quite sure"], [0.6, "likely"], [0, "not sure"]];
const sureness = (sure) => SURE.find(([least]) => sure >= least)[1];

// Show a fit in `place`. `acts` are what its buttons do: take(names, names that leave), answer(tap, beats), stopAt(row),
// putAway(); `stops` are the beats at which the tapping may have ended, `stopped` the one that is taken for it.
export function showFit(place, fit, acts) {
  const entries = fit.entries.map((entry) => tick("entry", entry.name, entry.words, saidOf(entry)));
  const standing = fit.standing.map((entry) => tick("standing", entry.name, entry.words, ""));
  const none = made("p", {}, "These taps go evenly: there is nothing in them but a tempo.");
  const heading = made("h3", { tabIndex: -1 }, fit.entries.length > 1 ? "What you tapped comes to" : "What you tapped");
  const take = button("Take what is ticked", () => acts.take(ticked(place, "entry"), ticked(place, "standing")));
  place.replaceChildren(heading);
  if (acts.stops.length) place.append(stopping(acts));
  place.append(...fit.questions.map((question) => asking(question, acts)));
  if (fit.entries.length < 2) place.append(none);
  place.append(made("ul", { className: "ticks" }, ...entries));
  if (standing.length) place.append(made("p", { className: "small" }, "In their place these leave the plan:"), made("ul", { className: "ticks" }, ...standing));
  if (fit.leftovers.length) place.append(made("p", { className: "small" }, `What no entry says: ${fit.leftovers.join("; ")}.`));
  if (fit.dropped) place.append(made("p", { className: "small" }, `${fit.dropped} ${fit.dropped > 1 ? "taps are" : "tap is"} left out, for others were too near.`));
  place.append(made(
    "p", { className: "doings" }, take,
    button("All", () => tickAll(place, true)), button("None", () => tickAll(place, false)), button("Put it away", acts.putAway),
  ));
  const fresh = () => {
    take.disabled = !ticked(place, "entry").length && !ticked(place, "standing").length;
  };
  place.onchange = fresh;
  fresh();
  heading.focus({ preventScroll: true });
  heading.scrollIntoView({ block: "start" });
}

function button(words, act) {
  const element = made("button", { type: "button" }, words);
  element.addEventListener("click", act);
  return element;
}

function saidOf({ section, explains, sure, about }) {
  const much = section === "tempo" && !explains ? "the basic tempo" : `explains ${percent(explains)} of what is not even, ${sureness(sure)}`;
  return much + (about ? "; its numbers are rough" : "");
}

function tick(kind, name, words, more) {
  const box = made("input", { type: "checkbox", checked: true, className: kind, value: name });
  return made("li", {}, made("label", { className: "check" }, box, made("span", {}, words, more && made("span", { className: "small more" }, more))));
}

const ticked = (place, kind) => [...place.querySelectorAll(`input.${kind}:checked`)].map(({ value }) => value);

function tickAll(place, is) {
  for (const box of place.querySelectorAll("input[type=checkbox]")) box.checked = is;
  place.onchange();
}

// A beat that is held, or a tap that is missing: the clock cannot tell.
function asking({ tap, words, beats, chosen }, acts) {
  const answer = (count) => {
    const said = count === 1 ? "one beat, held" : count === 2 ? "a tap is missing" : `${count - 1} taps are missing`;
    const element = button(said, () => acts.answer(tap, count));
    element.setAttribute("aria-pressed", String(count === chosen));
    return element;
  };
  return made("div", { className: "question" }, made("p", {}, words[0].toUpperCase() + words.slice(1)), ...beats.map(answer));
}

// Where the tapping ended, if the count of the taps is not right.
function stopping({ stops, stopped, stopAt }) {
  const choice = made("select", {}, ...stops.map(([row, words]) => made("option", { value: row, selected: row === stopped }, words)));
  choice.addEventListener("change", () => stopAt(Number(choice.value)));
  return made("p", {}, made("label", {}, "The last tap was on ", choice));
}
