// The place that sounds: a pencilled bow under the music, drawn from each beat to the next while it is heard, as a
// teacher's pencil goes along under the music.

import { drawn, still } from "./dom.js";
import { NEAR } from "./geometry.js";

const OVER = 14; // units over the band of the level, under the printed music
const DEEP = 7;
const SEEN = 0.14; // of a bow is there as soon as its beat begins

export class Bow {
  #at = null; // the system, and where the bow begins
  #followed = null;

  constructor(shown) {
    this.shown = shown;
    this.pencil = drawn("path", { class: "bow", pathLength: 1 });
    this.gone = drawn("path", { class: "bow gone" });
    this.place = null;
  }

  leave() {
    this.pencil.remove();
    this.gone.remove();
    this.#at = null;
  }

  // What is drawn around it has moved.
  again() {
    if (this.place) this.show(this.place);
  }

  show(place) {
    this.place = place;
    const { paper, systems } = this.shown;
    const row = place.row;
    if (!paper || !paper.systemOf.has(row)) return;
    const system = systems[paper.systemOf.get(row)];
    if (!system.staff) return;
    const [from, until] = this.#beat(paper, row, Math.min(place.offset, paper.bars.length[row] - NEAR));
    const key = `${system.number} ${row} ${from} ${system.level[0]}`;
    if (key !== this.#at) this.#begin(system, paper, row, from, until, key);
    const part = Math.min(Math.max((place.offset - from) / Math.max(until - from, NEAR), 0), 1);
    const drawnSoFar = still.matches ? 1 : Math.max(part, SEEN);
    this.pencil.setAttribute("stroke-dasharray", `${drawnSoFar} 2`);
    if (place.playing !== false) this.#follow(system);
  }

  // Where the felt beat around an offset begins and ends.
  #beat(paper, row, offset) {
    const { beat, shift, length } = paper.bars;
    const number = Math.floor((offset + shift[row]) / beat[row] + NEAR);
    const from = Math.max(number * beat[row] - shift[row], 0);
    return [from, Math.min((number + 1) * beat[row] - shift[row], length[row])];
  }

  #begin(system, paper, row, from, until, key) {
    const left = paper.spot({ row, offset: from }).x - 4;
    const right = Math.max(paper.spot({ row, offset: until }).x - 5, left + 18);
    const y = system.level[0] - OVER;
    const middle = left + (right - left) * 0.45;
    const before = this.pencil.getAttribute("d");
    if (before && this.pencil.parentNode === system.hands) {
      this.gone.setAttribute("d", before);
      system.hands.append(this.gone);
      this.gone.getAnimations?.().forEach((each) => each.cancel());
      if (!still.matches) this.gone.animate?.([{ opacity: 0.5 }, { opacity: 0 }], { duration: 700, fill: "forwards" });
    } else this.gone.remove();
    const deepest = `${left + 4} ${y + DEEP} ${middle} ${y + DEEP + 2} ${middle + (right - middle) * 0.3} ${y + DEEP}`;
    this.pencil.setAttribute("d", `M${left} ${y}C${deepest}S${right - 3} ${y + 3} ${right} ${y - 1}`);
    system.hands.append(this.pencil);
    this.#at = key;
  }

  // Bring a system into view when the music comes to it.
  #follow(system) {
    if (this.#followed === system.element) return;
    this.#followed = system.element;
    const { top, bottom } = system.element.getBoundingClientRect();
    const room = innerHeight - (document.getElementById("transport")?.offsetHeight ?? 0);
    if (top >= 0 && bottom <= room) return;
    scrollBy({ top: top - Math.max((room - (bottom - top)) / 3, 8), behavior: still.matches ? "auto" : "smooth" });
  }
}
