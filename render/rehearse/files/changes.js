// Changes on their way to the server. Each is made on the state that is drawn; while a newer one is on its way it waits,
// and is made on that one, on the same entry, wherever that stands by then. Those of one gesture follow each other
// without waiting, are all made on the state on which it began, and are one step.

import { on, send, sitting } from "./link.js";
import { entryNamed, nameOf, shown } from "./music.js";

const APART = 80; // milliseconds from one to the next while something is drawn
const PATIENCE = 4000; // milliseconds that an answer is waited for

// What is to be changed, said of an entry.
const at = ({ section, line, column, own, file }) => ({ section, line, column, ...(own ? {} : { file }) });
const of = (entry, more) => {
  const name = nameOf(entry);
  const chosen = shown.chosen === name;
  return () => ({ ...more, ...at((chosen && entryNamed(shown.chosen)) || entryNamed(name) || entry) });
};

export const moving = (entry, end, to) => of(entry, { what: "move", end, to });
export const deepening = (entry, to) => of(entry, { what: "depth", to });
export const amounting = (entry, to) => of(entry, { what: "amount", to });
export const setting = (entry, keys) => of(entry, { what: "settings", keys });
export const removing = (entry) => of(entry, { what: "remove" });

// -- one after the other

const waiting = [];
let flying = 0; // when the last one left to which no answer has come

const settled = () => sitting.saved === shown.number && Date.now() - flying > PATIENCE;

function pump() {
  while (waiting.length && settled()) waiting.shift()();
}

function answered() {
  flying = 0;
  pump();
}

on("drawn", answered);
on("told", answered);
setInterval(pump, 500);

function leave(message) {
  flying = message.drawing ? 0 : Date.now();
  send(message);
}

// One change, or a function that makes it when its turn comes.
export function change(what) {
  waiting.push(() => leave({ do: "change", number: shown.number, change: typeof what === "function" ? what() : what }));
  pump();
}

// A step back or on comes after what was changed before.
export function step(what) {
  waiting.push(() => leave({ do: what }));
  pump();
}

// The changes of one gesture, each in place of the one before.
export class Drawing {
  #number = null; // the state on which it began
  #sent = null; // as text
  #wished = null;
  #timer = null;
  #over = false;

  wish(what) {
    this.#wished = what;
    if (this.#number !== null) this.#next();
    else if (!waiting.includes(this.#begin)) {
      waiting.push(this.#begin);
      pump();
    }
  }

  #begin = () => {
    if (this.#wished === null) return;
    this.#number = shown.number;
    this.#send(!this.#over);
  };

  get begun() {
    return this.#sent !== null;
  }

  // The gesture is over: what was wished last is done.
  end() {
    this.#over = true;
    clearTimeout(this.#timer);
    if (this.begun) this.#send(false);
  }

  // Taken back: as if it had not been.
  cancel() {
    clearTimeout(this.#timer);
    const begun = this.begun;
    if (begun) {
      this.#send(false);
      step("undo");
    }
    this.#wished = null;
  }

  #next() {
    if (this.#timer === null && JSON.stringify(this.#made()) !== this.#sent) this.#send(true);
  }

  #fixed = null; // whose entry it is, as it stood when the gesture began
  #made() {
    const made = typeof this.#wished === "function" ? this.#wished() : this.#wished;
    if (!("section" in made)) return made;
    const { section, line, column } = made;
    this.#fixed ??= { section, line, column };
    return { ...made, ...this.#fixed };
  }

  #send(drawing) {
    const made = this.#made();
    this.#sent = JSON.stringify(made);
    leave({ do: "change", number: this.#number, change: made, drawing });
    this.#timer = drawing ? setTimeout(() => this.#again(), APART) : null;
  }

  #again() {
    this.#timer = null;
    if (!this.#over && this.#wished !== null) this.#next();
  }
}
