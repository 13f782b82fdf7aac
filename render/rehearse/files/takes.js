// The takes that are there, and which of them is to sound: what page and worklet have to know alike.

import { Clock } from "./clock.js";

export const RATE = 44100;
export const ENOUGH = Math.round(0.06 * RATE); // frames that a take has to have ahead before it is changed to

export class Take {
  constructor(message) {
    this.reading = message.reading;
    this.number = message.number;
    this.clock = new Clock(message);
    this.frames = 0; // of the whole; 0 while it is not known
    this.spans = []; // [first, last] of what is there, in order
  }

  // Take note of frames that have come.
  add(first, count, frames = 0) {
    if (frames) this.frames = frames;
    let row = this.spans.findIndex((span) => span[1] >= first);
    if (row < 0) row = this.spans.length;
    const last = first + count;
    let end = row;
    const made = [first, last];
    while (end < this.spans.length && this.spans[end][0] <= last) {
      made[0] = Math.min(made[0], this.spans[end][0]);
      made[1] = Math.max(made[1], this.spans[end][1]);
      end += 1;
    }
    this.spans.splice(row, end - row, made);
  }

  get whole() {
    return this.frames > 0 && this.spans.length === 1 && this.spans[0][0] === 0 && this.spans[0][1] >= this.frames;
  }

  // Whether so many frames from there on have come, or all that there are.
  has(frame, count) {
    const span = this.spans.find(([first, last]) => first <= frame && frame < last);
    if (span) return span[1] >= frame + count || (this.frames > 0 && span[1] >= this.frames);
    return this.frames > 0 && frame >= this.frames;
  }

  // The frame at which it is where another take is at a frame.
  at(take, frame) {
    return take === this ? frame : Math.max(Math.round(take.clock.carried(frame / RATE, this.clock) * RATE), 0);
  }
}

// The takes of one reading, the newest last.
export class Shelf {
  constructor() {
    this.takes = [];
  }

  get newest() {
    return this.takes.at(-1) ?? null;
  }

  // The one before the newest.
  get before() {
    return this.takes.at(-2) ?? null;
  }

  find(number) {
    return this.takes.find((take) => take.number === number) ?? null;
  }

  // A new take comes; one of the same number is the same again, from a server that was found again.
  put(take) {
    this.takes = this.takes.filter(({ number }) => number < take.number);
    this.takes.push(take);
  }

  // Of those that are older than what sounds only the last whole one is kept, which is the one before a change, however
  // many were heard a little of while it was made.
  tidy(sounding) {
    const from = Math.max(this.takes.indexOf(sounding), 0);
    const older = this.takes.slice(0, from);
    const kept = older.findLast((take) => take.whole) ?? older.at(-1);
    const between = this.takes.slice(from + 1, -1); // never to be heard any more
    this.takes = this.takes.filter((take) => take === kept || (!older.includes(take) && !between.includes(take)));
  }

  // Which take is to sound where `sounding` is at `frame`: the newest one that has come so far, never an older one than
  // before.
  wanted(sounding, frame, count = ENOUGH) {
    for (const take of this.takes.slice().reverse()) {
      if (take === sounding) return take;
      if (sounding?.reading === take.reading && take.number < sounding.number) return sounding;
      if (take.has(sounding ? take.at(sounding, frame) : frame, count)) return take;
    }
    return sounding;
  }
}
