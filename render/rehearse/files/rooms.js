// The room around what sounds. The dry sound is untouched, and the browser adds what the room adds: a change of it is
// heard at once, and nothing is made anew. What one has chosen is remembered; without that the plan decides, or else it
// is a small one.

import { on } from "./link.js";

const KEPT = "lentando: room";
const FADE = 0.03; // seconds
const CHOICES = ["planned", "dry", "small", "hall"];

export class Rooms {
  #context;
  #from;
  #responses = null;
  #planned = null; // what the plan says
  #entered = "dry";
  #added = null; // the gain of what is heard besides the dry sound

  constructor(context, from) {
    this.#context = context;
    this.#from = from;
    this.choice = CHOICES.includes(remembered()) ? remembered() : "planned";
    on("clock", ({ reading, room }) => {
      if (reading !== 0) return;
      this.#planned = room;
      this.#enter();
    });
  }

  choose(room) {
    this.choice = room;
    try {
      localStorage.setItem(KEPT, room);
    } catch {
      // then it holds as long as the page is open
    }
    this.#enter();
  }

  async #enter() {
    const room = this.choice === "planned" ? (this.#planned ?? "small") : this.choice;
    if (room === this.#entered) return;
    this.#entered = room;
    this.#leave();
    if (room === "dry") return;
    this.#responses ??= this.#read();
    const { buffer, gain } = (await this.#responses)[room];
    if (this.#entered !== room || this.#added) return; // another one was wished meanwhile
    const walls = new ConvolverNode(this.#context, { buffer, disableNormalization: true });
    this.#added = new GainNode(this.#context, { gain });
    this.#from.connect(walls).connect(this.#added).connect(this.#context.destination);
    this.#added.walls = walls;
  }

  #leave() {
    const added = this.#added;
    this.#added = null;
    if (!added) return;
    added.gain.setTargetAtTime(0, this.#context.currentTime, FADE);
    setTimeout(() => {
      this.#from.disconnect(added.walls);
      added.disconnect();
    }, 20 * FADE * 1000);
  }

  // Both rooms as they are heard: {buffer, gain}.
  async #read() {
    const values = await (await fetch(new URL("rooms.json", import.meta.url))).json();
    const read = async ([name, { response, gain }]) => {
      const bytes = Uint8Array.from(atob(response), (letter) => letter.charCodeAt(0));
      return [name, { buffer: await this.#context.decodeAudioData(bytes.buffer), gain }];
    };
    return Object.fromEntries(await Promise.all(Object.entries(values).map(read)));
  }
}

function remembered() {
  try {
    return localStorage.getItem(KEPT);
  } catch {
    return null;
  }
}
