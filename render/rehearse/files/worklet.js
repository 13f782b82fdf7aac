// What sounds: one take after another, each from the same bar and beat, joined within this callback.

import { RATE, Shelf, Take } from "./takes.js";

const FADE = Math.round(0.03 * RATE); // from one take to the next, linear
const EDGE = Math.round(0.005 * RATE); // at the beginning, and at a pause
const REPORT = 1024; // frames between two words on where it is
const QUANTUM = 128;

// A take with its sound, block by block.
class Sound extends Take {
  constructor(message) {
    super(message);
    this.blocks = []; // in order
    this.last = 0; // the row of the block that was read last
  }

  put({ first, channels, count, buffer, offset, frames }) {
    const block = { first, channels, count, data: new Float32Array(buffer, offset) };
    let row = this.blocks.length;
    while (row > 0 && this.blocks[row - 1].first > first) row -= 1;
    if (this.blocks[row - 1]?.first === first) this.blocks[row - 1] = block;
    else this.blocks.splice(row, 0, block);
    this.add(first, count, frames);
  }

  // The block that holds a frame; null where there is none yet.
  holding(frame) {
    const here = (row) => this.blocks[row]?.first <= frame && frame < this.blocks[row].first + this.blocks[row].count;
    if (here(this.last)) return this.blocks[this.last];
    if (here(this.last + 1)) return this.blocks[(this.last += 1)];
    let [low, high] = [0, this.blocks.length];
    while (low < high) {
      const middle = (low + high) >> 1;
      if (this.blocks[middle].first <= frame) low = middle + 1;
      else high = middle;
    }
    if (!here(low - 1)) return null;
    this.last = low - 1;
    return this.blocks[this.last];
  }
}

// A take as it is being played: where, how loud, and whether it comes or goes.
class Voice {
  constructor(take, frame, fade) {
    this.take = take;
    this.frame = frame;
    this.gain = fade ? 0 : 1;
    this.step = fade ? 1 / fade : 0;
  }

  leave(fade) {
    this.step = -1 / fade;
  }

  get gone() {
    return this.step < 0 && this.gain === 0;
  }

  // Add the next frames to what is heard.
  into(left, right) {
    for (let done = 0; done < left.length; ) {
      const block = this.take.holding(this.frame);
      const count = block ? Math.min(left.length - done, block.first + block.count - this.frame) : left.length - done;
      if (block) this.mix(block, left, right, done, count);
      this.frame += count;
      done += count;
    }
  }

  mix({ first, channels, data }, left, right, done, count) {
    const other = channels > 1 ? 1 : 0;
    for (let n = 0, at = (this.frame - first) * channels; n < count; n += 1, at += channels) {
      left[done + n] += data[at] * this.gain;
      right[done + n] += data[at + other] * this.gain;
      if (this.step) this.gain = Math.min(Math.max(this.gain + this.step, 0), 1);
    }
    if (this.gain === 1) this.step = 0;
  }
}

class Playing extends AudioWorkletProcessor {
  constructor() {
    super();
    this.shelves = [new Shelf(), new Shelf()];
    this.voices = []; // those that go, and at the end the one that stays
    this.playing = false;
    this.reading = 0;
    this.before = false;
    this.resting = null; // the take that would sound, while nothing does
    this.loop = null; // {from, until} in quarters of the newest take of the plan; turns, once
    this.since = 0; // frames since the page was told where it is
    this.port.onmessage = ({ data }) => this[data.do](data);
  }

  // -- what the page says

  clock({ message }) {
    const shelf = this.shelves[message.reading];
    shelf.put(new Sound(message));
    shelf.tidy(this.take);
  }

  block({ message }) {
    this.shelves[message.reading].find(message.number)?.put(message);
  }

  whole({ reading, number, frames }) {
    const take = this.shelves[reading].find(number);
    if (take) take.frames = frames;
  }

  // Nothing sounds; if it did, it would be this take.
  rest({ reading, number, before }) {
    Object.assign(this, { reading, before, resting: this.shelves[reading].find(number) });
    this.shelves[reading].tidy(this.resting);
  }

  // Play on from a frame of a take, or go there.
  play({ reading, number, frame, before }) {
    const take = this.shelves[reading].find(number) ?? this.shelves[reading].newest;
    if (!take) return;
    const fade = this.playing ? FADE : EDGE;
    for (const voice of this.voices) voice.leave(fade);
    Object.assign(this, { playing: true, reading, before });
    this.voices.push(new Voice(take, frame, frame ? fade : 0));
    this.report();
  }

  pause() {
    if (!this.playing) return;
    this.report(false, false);
    Object.assign(this, { playing: false, resting: this.take });
    for (const voice of this.voices) voice.leave(EDGE);
  }

  choose({ reading, before }) {
    Object.assign(this, { reading, before });
  }

  repeat({ loop }) {
    this.loop = loop;
  }

  // -- what sounds

  get voice() {
    return this.playing ? (this.voices.at(-1) ?? null) : null;
  }

  get take() {
    return this.voice?.take ?? this.resting;
  }

  process(_, [[left, right]]) {
    if (this.voice) this.change();
    const { voice } = this;
    const waits = voice !== null && !voice.take.has(voice.frame, QUANTUM);
    for (const each of this.voices) if (each !== voice || !waits) each.into(left, right ?? left);
    this.voices = this.voices.filter((each) => !each.gone);
    if (voice && !waits) this.turn();
    this.since += QUANTUM;
    if (this.since >= REPORT && this.voice) this.report(waits);
    return true;
  }

  // Go on in another take, if one is wanted that has come as far as this place.
  change() {
    const { voice, before } = this;
    const shelf = this.shelves[this.reading];
    const wanted = before && shelf.before ? shelf.before : shelf.wanted(voice.take, voice.frame);
    if (!wanted || wanted === voice.take) return;
    const frame = wanted.at(voice.take, voice.frame);
    if (!wanted.has(frame, QUANTUM)) return;
    voice.leave(FADE);
    this.voices.push(new Voice(wanted, frame, FADE));
    if (!before) shelf.tidy(wanted);
    this.report();
  }

  // At the end of what is repeated go back; at the end of all there is, stop.
  turn() {
    const { voice, loop } = this;
    const { take } = voice;
    if (loop && voice.frame >= this.frameAt(take, loop.until)) {
      if (loop.once) return this.over();
      if (loop.turns) this.before = !this.before && this.shelves[this.reading].before !== null;
      voice.leave(FADE);
      this.voices.push(new Voice(take, this.frameAt(take, loop.from), FADE));
      this.report();
    } else if (take.frames && voice.frame >= take.frames) this.over();
  }

  over() {
    this.pause();
    this.port.postMessage({ is: "over" });
  }

  // The frame of a take at a quarter of the plan's newest one.
  frameAt(take, quarter) {
    const clock = this.shelves[0].newest?.clock ?? take.clock;
    return Math.round(take.clock.second(clock.elsewhere(quarter, take.clock)) * RATE);
  }

  report(waits = false, playing = this.playing) {
    const { voice, reading, before } = this;
    this.since = 0;
    if (!voice) return;
    const { take, frame } = voice;
    this.port.postMessage({ is: "place", reading, of: take.reading, number: take.number, frame, before, playing, waits, at: currentTime });
  }
}

registerProcessor("playing", Playing);
