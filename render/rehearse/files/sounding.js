// The sound of the page: takes go on to the worklet, which plays them; here it is known where it is.

import { emit, on, send, sitting } from "./link.js";
import { Rooms } from "./rooms.js";
import { RATE, Shelf, Take } from "./takes.js";

const TELL = 250; // milliseconds between two words to the server while it plays
const root = document.documentElement;

const shelves = [new Shelf(), new Shelf()];
const here = { reading: 0, take: null, frame: 0, at: 0, before: false, playing: false, waits: false };
let loop = null;

const context = new AudioContext({ sampleRate: RATE, latencyHint: "interactive" });
const gain = new GainNode(context, { gain: 0.7 });
gain.connect(context.destination);
export const rooms = new Rooms(context, gain);
let player = null; // the worklet's node, once it is there
const unheard = []; // what it has to be told then

context.audioWorklet.addModule(new URL("worklet.js", import.meta.url)).then(() => {
  player = new AudioWorkletNode(context, "playing", { numberOfInputs: 0, outputChannelCount: [2] });
  player.connect(gain);
  player.port.onmessage = ({ data }) => (data.is === "over" ? over() : placed(data));
  for (const [message, transfer] of unheard.splice(0)) player.port.postMessage(message, transfer);
});

function tell(message, transfer = []) {
  if (player) player.port.postMessage(message, transfer);
  else unheard.push([message, transfer]);
}

// -- what comes from the server

on("clock", (message) => {
  const quarters = Float64Array.from(message.quarters);
  const seconds = Float64Array.from(message.seconds);
  const { reading, number, bars } = message;
  const take = { reading, number, bars, quarters, seconds };
  shelves[reading].put(new Take(take));
  shelves[reading].tidy(reading === here.take?.reading ? here.take : null);
  tell({ do: "clock", message: take });
  settle();
});

on("sound", (message) => {
  shelves[message.reading].find(message.number)?.add(message.first, message.count, message.frames);
  tell({ do: "block", message }, [message.buffer]);
  settle();
});

on("whole", ({ reading, number, frames }) => {
  const take = shelves[reading].find(number);
  if (take) take.frames = frames;
  tell({ do: "whole", reading, number, frames });
  settle();
});

on("connected", (connected) => (connected ? hear() : null));

// While nothing plays, see here which take would sound where it stands.
function settle() {
  if (here.playing) return;
  const shelf = shelves[here.reading];
  const take = here.before && shelf.before ? shelf.before : shelf.wanted(here.take, here.frame);
  if (!take || take === here.take || !(here.take || take.has(here.frame, 1))) return;
  if (here.take) here.frame = take.at(here.take, here.frame);
  here.take = take;
  if (!here.before) shelf.tidy(take);
  tell({ do: "rest", reading: here.reading, number: take.number, before: here.before });
  known();
}

// -- what comes from the worklet

function placed({ reading, of, number, frame, before, playing, waits, at }) {
  const take = shelves[of].find(number) ?? here.take;
  const changed = take !== here.take || before !== here.before || reading !== here.reading;
  if (here.playing || !playing) Object.assign(here, { take, frame, at, waits, before, reading });
  if (take && !before && of === reading) shelves[of].tidy(take);
  if (changed) known();
}

function over() {
  here.playing = false;
  const { take } = here;
  if (take?.frames && here.frame >= take.frames - 1) here.frame = 0;
  if (loop?.once) repeat(null);
  told();
  settle();
}

// Everybody knows which take sounds.
function known() {
  if (here.take?.reading === 0) {
    sitting.sounding = here.take.number;
    root.dataset.sounding = here.take.number;
  }
  root.dataset.reading = here.reading;
  root.dataset.heard = here.before ? "before" : "now";
  emit("heard", { reading: here.reading, number: here.take?.number ?? null, before: here.before, canCompare: canCompare() });
  emit("playhead", now());
  hear();
}

// -- what the page can do

// Where it is: {reading, number, second, quarter, row, pass, offset, name, playing}.
export function now() {
  const { take, reading, playing } = here;
  if (!take) return { reading, number: null, second: 0, quarter: 0, row: 0, pass: 1, offset: 0, name: "", playing };
  const on_ = playing && !here.waits && context.state === "running" ? Math.max(context.currentTime - here.at - latency(), 0) : 0;
  const second = here.frame / RATE + on_;
  const quarter = take.clock.quarter(second);
  return { reading, number: take.number, second, quarter, playing, ...take.clock.place(quarter) };
}

const latency = () => (context.outputLatency || context.baseLatency || 0);

export const clock = () => here.take?.clock ?? null;
export const canCompare = () => shelves[here.reading].before !== null;

export async function play() {
  if (context.state !== "running") context.resume(); // it may wait for a touch
  if (!here.take || here.playing) return;
  here.playing = true;
  here.at = context.currentTime;
  from();
  told();
}

export function pause() {
  if (!here.playing) return;
  here.frame = Math.round(now().second * RATE);
  here.playing = false;
  tell({ do: "pause" });
  told();
}

// Go to a quarter of what sounds.
export function jump(quarter) {
  if (!here.take) return;
  const { clock: there } = here.take;
  here.frame = Math.max(Math.round(there.second(quarter) * RATE), 0);
  here.at = context.currentTime;
  here.waits = false;
  if (here.playing) from();
  emit("jumped", now());
  told();
  settle();
}

function from() {
  tell({ do: "play", reading: here.take.reading === here.reading ? here.reading : here.take.reading, number: here.take.number, frame: here.frame, before: here.before });
  if (here.take.reading !== here.reading) choose({});
}

// Which reading is heard, and whether as it was before the last change.
export function choose({ reading = here.reading, before = here.before }) {
  if (!shelves[reading].newest) return;
  Object.assign(here, { reading, before: before && shelves[reading].before !== null });
  tell({ do: "choose", reading, before: here.before });
  settle();
  known();
}

// Repeat from one quarter to another: {from, until, turns, once}; null ends it.
export function repeat(wish) {
  loop = wish;
  tell({ do: "repeat", loop });
  emit("repeat", loop);
}

// Play a stretch by itself: once, or again and again by turns as it was before the change and as it is now.
export function audition(fromQuarter, untilQuarter, { turns = false } = {}) {
  repeat({ from: fromQuarter, until: untilQuarter, turns, once: !turns });
  jump(fromQuarter);
  play();
}

export const volume = (value) => gain.gain.setTargetAtTime(value, context.currentTime, 0.01);

// -- what is told of it

function told() {
  emit("playing", here.playing);
  emit("playhead", now());
  hear();
  if (here.playing) requestAnimationFrame(frame);
}

function frame() {
  if (!here.playing) return;
  emit("playhead", now());
  requestAnimationFrame(frame);
}

function hear() {
  const { reading, playing, take } = here;
  if (take) send({ do: "hear", reading: take.reading, number: take.number, second: Math.max(here.frame / RATE + elapsed(), 0), playing });
  else send({ do: "hear", reading, number: 0, second: 0, playing: false });
}

// Without what the loudspeaker is late by: it is the place from which a new take has to come.
const elapsed = () => (here.playing && !here.waits ? Math.max(context.currentTime - here.at, 0) : 0);

setInterval(() => (here.playing && sitting.connected ? hear() : null), TELL);

on("jump", ({ quarter }) => jump(quarter));
