// Changes on their way to the server: those of one gesture are made on one state, not too often, and end as one.

import { send } from "./link.js";
import { shown } from "./music.js";

const APART = 80; // milliseconds from one to the next while something is drawn

const at = ({ section, line, column, own, file }) => ({ section, line, column, ...(own ? {} : { file }) });

export const moving = (entry, end, to) => ({ what: "move", ...at(entry), end, to });
export const deepening = (entry, to) => ({ what: "depth", ...at(entry), to });
export const amounting = (entry, to) => ({ what: "amount", ...at(entry), to });
export const setting = (entry, keys) => ({ what: "settings", ...at(entry), keys });
export const removing = (entry) => ({ what: "remove", ...at(entry) });

// One change, at once.
export function change(what) {
  send({ do: "change", number: shown.number, change: what });
}

// The changes of one gesture, each in place of the one before.
export class Drawing {
  #number = shown.number;
  #gesture = Math.floor(Math.random() * 2 ** 31); // so that two pages at once do not have the same
  #sent = null; // as text
  #wished = null;
  #timer = null;

  wish(what) {
    this.#wished = what;
    if (this.#timer === null && JSON.stringify(what) !== this.#sent) this.#send(true);
  }

  get begun() {
    return this.#sent !== null;
  }

  // The gesture is over: what was wished last is done.
  end() {
    clearTimeout(this.#timer);
    if (this.#wished && JSON.stringify(this.#wished) !== this.#sent) this.#send(false);
  }

  // Taken back: as if it had not been.
  cancel() {
    clearTimeout(this.#timer);
    if (this.begun) send({ do: "undo" });
  }

  #send(drawing) {
    this.#sent = JSON.stringify(this.#wished);
    send({ do: "change", number: this.#number, change: this.#wished, gesture: this.#gesture });
    this.#timer = drawing ? setTimeout(() => this.#again(), APART) : null;
  }

  #again() {
    this.#timer = null;
    if (JSON.stringify(this.#wished) !== this.#sent) this.#send(true);
  }
}
