// Tap it: the beats as one hears them inwardly become entries of the plan.

import { clicks, delayOf } from "./clicks.js";
import { made } from "./dom.js";
import { emit, on, send, sitting } from "./link.js";
import { layPoints } from "./tappoints.js";
import { showFit } from "./tapped.js";
import { clock, now, pause } from "./sounding.js";

const UNITS = [["beat", "beats"], ["half bar", "half bars"], ["bar", "bars"], ["half beat", "half beats"]];
const KEPT = "lentando: the delay of taps"; // in this browser, for this address
const CLICKS = 16;
const APART = 0.6; // seconds
const USUAL_SPREAD = 0.025;
const SAYING = "Hear the piece inwardly, and tap its beats as they should come: with the space bar, or with a finger. "
  + "What you tap becomes a few entries of the plan, and you choose which of them stand. "
  + "Rest when your hand is tired, and stop when anything hurts.";
const ONCE = "Once, before the first time: tap along with sixteen clicks. Then it is known how late your taps come, by key, screen and ear.";

const region = document.getElementById("taps");
const unit = made("select", { id: "tap-unit" }, ...UNITS.map(([value, words]) => made("option", { value }, words)));
const count = made("input", { type: "checkbox", id: "tap-count", checked: true });
const delay = made("p", { className: "small delay" });
const fromHere = button("From where the music stands", () => begin(here()));
const results = made("div", { className: "tapped" });
region.append(
  made("p", { className: "small" }, SAYING),
  made("p", {}, made("label", {}, "I tap ", unit)),
  made("label", { className: "check" }, count, " first some clicks, to count in"),
  made("p", { className: "beginnings" }, button("From the beginning", () => begin(0)), fromHere),
  delay, results,
);

function button(words, act, properties = {}) {
  const element = made("button", { type: "button", ...properties }, words);
  element.addEventListener("click", act);
  return element;
}

// -- where to begin

// The bar line at or before the place where the music stands.
function here() {
  const bars = clock()?.bars ?? [];
  return bars.findLast((bar) => bar.start <= now().quarter + 1e-6)?.start ?? 0;
}

on("playhead", ({ name }) => {
  const words = `From bar ${name}, where the music stands`;
  if (!run && name !== undefined && fromHere.textContent !== words) fromHere.textContent = words;
});

// -- the delay, which is asked for once

function kept() {
  try {
    const { delay: late, spread } = JSON.parse(localStorage.getItem(KEPT));
    return Number.isFinite(late) && Number.isFinite(spread) ? { delay: late, spread } : null;
  } catch {
    return null;
  }
}

function keep(found) {
  try {
    localStorage.setItem(KEPT, JSON.stringify(found));
  } catch {
    // a browser that keeps nothing asks again
  }
  known = found;
  tellDelay();
}

let known = kept();
let declined = false;

function tellDelay() {
  const ms = Math.round((known?.delay ?? 0) * 1000);
  const told = `Your taps come ${Math.abs(ms)} ms ${ms < 0 ? "before" : "after"} the click, and scatter by ${Math.round((known?.spread ?? 0) * 1000)} ms. `;
  delay.replaceChildren(known ? told : "", button(known ? "Measure it again" : "Measure how late taps come", () => measure(null), { className: "quiet" }));
}

async function measure(after) {
  pause();
  const panel = open(after ? ONCE : "Tap along with the clicks.");
  const taps = [];
  run = { tap: (at) => taps.push(at) };
  panel.say("Listen, and tap along");
  const { times, stop } = await clicks(CLICKS, APART, (row) => row % 4 === 0);
  run.stop = stop;
  run.done = () => finished();
  const timer = setTimeout(() => finished(), times.at(-1) - performance.now() + APART * 1000);
  function finished() {
    clearTimeout(timer);
    const found = delayOf(taps, times);
    close();
    if (!found) emit("told", { words: "too few taps met a click: try again, one tap for each click" });
    else keep(found);
    if (found && after) after();
  }
}

// -- tapping

let run = null; // what is being tapped: {tap(at), done(), stop()}
let asked = null; // {since, unit, number} of the beats that were asked for
let tapped = null; // what the last tapping was

function begin(since) {
  if (known || declined) return ask(since);
  const panel = made("div", { className: "asking" }, made("p", {}, ONCE));
  panel.append(
    button("Begin the clicks", () => measure(() => ask(since))),
    button("Without", () => {
      declined = true;
      ask(since);
    }),
  );
  results.replaceChildren(panel);
  panel.querySelector("button").focus();
  return undefined;
}

function ask(since) {
  results.replaceChildren();
  asked = { since, unit: unit.value, number: sitting.saved };
  send({ do: "taps", what: "beats", ...asked });
}

on("taps", (message) => {
  if (message.what === "beats" && asked) tap(message);
  else if (message.what === "fit" && tapped) show(message);
  else if (message.what === "refused") refused(message.words);
});

async function tap({ beats, clicks: clicked, apart }) {
  pause();
  layPoints([]);
  const { since, unit: what, number } = asked;
  asked = null;
  const panel = open("");
  const taps = [];
  let first = 0; // a tap that is earlier belongs to the count-in
  let counting = null;
  const next = () => panel.next(beats[taps.length], taps.length);
  run = {
    tap(at) {
      if (at < first) return;
      taps.push(at);
      follow(beats, taps);
      if (taps.length > beats.length) run.done();
      else next();
    },
    done() {
      close();
      if (taps.length < 4) return emit("told", { words: "that was too little to make something of: tap some bars" });
      const all = taps.length > beats.length;
      tapped = { what: "fit", number, unit: what, since, seconds: taps.map((at) => Math.round(at * 10) / 1e4), answers: [], beats };
      tapped.last = all ? null : taps.length - 1;
      return fit();
    },
    stop: () => counting?.stop(),
  };
  const mine = run;
  if (count.checked) {
    panel.say("Listen");
    first = Number.POSITIVE_INFINITY;
    counting = await clicks(clicked, apart, (row) => row === 0);
    if (run !== mine) return counting.stop();
    first = counting.times.at(-1) + apart * 500;
    counting.times.forEach((time, row) => setTimeout(() => run === mine && !taps.length && panel.say(String(row + 1)), time - performance.now()));
    setTimeout(() => run === mine && !taps.length && next(), first - performance.now());
  } else next();
  return undefined;
}

// Let the bow go along in the music: from the beat that was tapped towards the next one, as quickly as the last beat went.
function follow(beats, taps) {
  const [beat, next] = [beats[taps.length - 1], beats[taps.length]];
  if (!beat) return;
  const lasts = taps.length > 1 ? taps.at(-1) - taps.at(-2) : 0;
  const mine = run;
  const tapped = taps.length;
  const show = (time) => {
    if (run !== mine || taps.length !== tapped) return;
    const part = lasts && next ? Math.min(Math.max((time - taps.at(-1)) / lasts, 0), 0.95) : 0;
    const quarter = beat.quarter + part * ((next?.quarter ?? beat.quarter) - beat.quarter);
    const { row, offset, pass, bar: name } = beat;
    emit("playhead", { reading: 0, quarter, second: clock()?.second(quarter) ?? 0, row, pass, offset: offset + quarter - beat.quarter, name });
    if (part < 0.95 && lasts) requestAnimationFrame(show);
  };
  show(taps.at(-1));
}

function payload() {
  const { beats, last, ...more } = tapped;
  const { delay: latency, spread } = known ?? { delay: 0, spread: USUAL_SPREAD };
  const noise = Math.min(Math.max(spread, 0.008), 0.08);
  const until = last === null ? null : beats[last + 1]?.quarter ?? null; // the last tap is on the beat before
  return { do: "taps", ...more, until, ended: last === null, latency, noise };
}

function fit() {
  results.replaceChildren(made("p", { role: "status" }, "Looking for what you tapped …"));
  send(payload());
}

function refused(words) {
  emit("told", { words });
  results.replaceChildren(made("p", {}, `${words[0].toUpperCase()}${words.slice(1)}.`));
}

function show(message) {
  layPoints(message.points);
  const near = tapped.last === null ? [] : tapped.beats.map((beat, row) => [beat, row]).filter(([, row]) => Math.abs(row - tapped.last) <= 4);
  showFit(results, message, {
    stops: near.map(([beat, row]) => [row, placeName(beat)]), stopped: tapped.last,
    stopAt(row) {
      tapped.last = row;
      fit();
    },
    answer(at, beats) {
      tapped.answers = [...tapped.answers.filter(([other]) => other !== at), [at, beats]];
      fit();
    },
    take(take, leave) {
      send({ ...payload(), what: "take", take, leave });
      putAway();
    },
    putAway,
  });
}

function putAway() {
  layPoints([]);
  results.replaceChildren();
  tapped = null;
  region.querySelector(".beginnings button").focus();
}

const placeName = ({ bar, beat, pass }) => `bar ${bar}, beat ${Math.round(beat * 100) / 100}${pass > 1 ? `, pass ${pass}` : ""}`;

// -- the field that is tapped, over the foot of the page, so that the music stays in sight

function open(words) {
  const field = made("button", { type: "button", className: "pad" }, "");
  const note = made("span", { className: "small" }, words || "Tap here, or with the space bar. Enter: done. Escape: leave off.");
  const panel = made(
    "div", { id: "tapping", role: "group", ariaLabel: "Tapping" }, field, note,
    made("span", { className: "doings" }, button("Done", () => run?.done?.()), button("Leave off", close)),
  );
  document.body.append(panel);
  document.body.classList.add("tapping");
  field.addEventListener("pointerdown", (event) => {
    event.preventDefault();
    field.focus();
    tapAt(event);
  });
  field.focus();
  return {
    say(what) {
      field.textContent = what;
    },
    next(beat) {
      field.textContent = beat ? placeName(beat) : "the end: once more, when the last sound is over";
    },
  };
}

function tapAt(event) {
  run?.tap(event.timeStamp);
  const field = document.querySelector("#tapping .pad");
  field?.classList.toggle("odd");
}

function close() {
  run?.stop?.();
  run = null;
  document.getElementById("tapping")?.remove();
  document.body.classList.remove("tapping");
  region.querySelector(".beginnings button")?.focus();
}

// While somebody taps these keys are for that alone, wherever the focus is.
addEventListener("keydown", (event) => {
  if (!run || event.ctrlKey || event.metaKey || event.altKey) return;
  const act = { " ": () => event.repeat || tapAt(event), Enter: () => run.done?.(), Escape: close }[event.key];
  if (!act) return;
  event.preventDefault();
  event.stopImmediatePropagation();
  act();
}, true);
addEventListener("keyup", (event) => {
  if (run && event.key === " ") event.preventDefault(); // or the button under the focus would be pressed
}, true);

tellDelay();
