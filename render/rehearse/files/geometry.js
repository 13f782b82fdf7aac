// Where the music stands on the paper that is shown: from places (row of a bar, quarters into it) to x, and back.

export const NEAR = 1e-6; // quarters

// The last place in a rising list (or in a part of it) that is not more than a value; -1 before all.
export function lastAtMost(list, value) {
  let [low, high] = [0, list.length];
  while (low < high) {
    const middle = (low + high) >> 1;
    if (list[middle] <= value) low = middle + 1;
    else high = middle;
  }
  return low - 1;
}

// Between the knots of a line it runs evenly; outside it stays.
export function between(from, to, value) {
  const last = from.length - 1;
  const before = lastAtMost(from, value);
  if (before < 0) return to[0];
  if (before >= last) return to[last];
  const room = from[before + 1] - from[before];
  return room ? to[before] + ((to[before + 1] - to[before]) * (value - from[before])) / room : to[before];
}

export const samePlace = (one, other) => one.row === other.row && Math.abs(one.offset - other.offset) < NEAR;

// Whether a place comes before another on the page.
export const isBefore = (one, other) => one.row < other.row || (one.row === other.row && one.offset < other.offset - NEAR);

export class Paper {
  constructor(music, name) {
    this.name = name;
    this.bars = music.bars;
    this.heights = music.heights;
    const { at, x, systems, definitions, engraved } = music.papers[name];
    Object.assign(this, { at, x, systems, definitions, engraved });
    this.systemOf = new Map(systems.flatMap(({ bars }, number) => bars.map(([row]) => [row, number])));
    this.knots = systems.map(({ bars }) => this.#knotsOf(bars));
  }

  // The knots of one system: its x rise from the first to the last.
  #knotsOf(bars) {
    if (!bars.length) return { at: [], x: [] };
    const first = lastAtMost(this.at, bars[0][0] - NEAR) + 1;
    const last = lastAtMost(this.at, bars.at(-1)[0] + 0.5 + NEAR) + 1;
    return { at: this.at.slice(first, last), x: this.x.slice(first, last) };
  }

  get rows() {
    return this.bars.name.length;
  }

  // The system of a place, and its x there; null where the bar is not drawn.
  spot({ row, offset }) {
    const system = this.systemOf.get(row);
    if (system === undefined) return null;
    const part = Math.min(Math.max(offset, 0) / Math.max(this.bars.length[row], 1e-9), 1) / 2;
    return { system, x: between(this.knots[system].at, this.knots[system].x, row + part) };
  }

  // The place that is drawn at x.
  placeAt(system, x) {
    const { bars } = this.systems[system];
    const number = Math.min(Math.max(bars.findLastIndex(([, left]) => left <= x), 0), bars.length - 1);
    const [row] = bars[number];
    const knots = this.knots[system];
    const [first, last] = [lastAtMost(knots.at, row - NEAR) + 1, lastAtMost(knots.at, row + 0.5 + NEAR) + 1];
    const at = between(knots.x.slice(first, last), knots.at.slice(first, last), x);
    return { row, offset: Math.max((at - row) * 2, 0) * this.bars.length[row] };
  }

  // The places of a bar at which something may begin or end: its beats; `free`: twelfths of them too.
  grid(row, free = false) {
    const step = (4 / this.bars.unit[row]) / (free ? 12 : 1);
    const [length, shift] = [this.bars.length[row], this.bars.shift[row]];
    const made = [0];
    for (let n = Math.floor(shift / step + NEAR) + 1; n * step - shift < length - NEAR; n++) made.push(n * step - shift);
    return [...made, length];
  }

  // The place of the grid nearest to x. An `end` that falls on a bar line is that of the bar before it, a beginning that
  // of the bar after.
  snapped(system, x, { end = false, free = false } = {}) {
    const { row } = this.placeAt(system, x);
    const offered = [row - 1, row, row + 1]
      .filter((each) => this.systemOf.get(each) === system)
      .flatMap((each) => this.grid(each, free).map((offset) => ({ row: each, offset })));
    const here = offered.filter(({ row: bar, offset }) => !(end ? offset === 0 : offset >= this.bars.length[bar]));
    const away = (place) => Math.abs(this.spot(place).x - x);
    return (here.length ? here : offered).reduce((a, b) => (away(b) < away(a) ? b : a));
  }

  // So many beats (or bars) on from a place; it stays within the piece.
  moved(place, by, { bars = false, end = false } = {}) {
    let { row, offset } = place;
    const clamped = (at) => Math.min(Math.max(at, 0), this.rows - 1);
    if (bars) return { ...place, row: clamped(row + by), offset: Math.min(offset, this.bars.length[clamped(row + by)]) };
    for (let left = Math.abs(by); left > 0; left--) {
      const grid = this.grid(row);
      const next = by > 0 ? grid.find((at) => at > offset + NEAR) : grid.findLast((at) => at < offset - NEAR);
      if (next === undefined) {
        if (clamped(row + Math.sign(by)) === row) break;
        row += Math.sign(by);
        const other = this.grid(row);
        offset = by > 0 ? other[1] : other.at(-2);
      } else offset = next;
    }
    if (!end && offset >= this.bars.length[row] - NEAR && row < this.rows - 1) [row, offset] = [row + 1, 0];
    if (end && offset < NEAR && row > 0) [row, offset] = [row - 1, this.bars.length[row - 1]];
    return { ...place, row, offset };
  }

  // The beat that begins at (or before) a place, as one counts it.
  beat({ row, offset }) {
    return 1 + ((offset + this.bars.shift[row]) * this.bars.unit[row]) / 4;
  }

  // A place as one says it: bar 7, beat 2.
  told(place, end = false) {
    const whole = end && place.offset >= this.bars.length[place.row] - NEAR;
    const name = `bar ${this.bars.name[place.row]}`;
    if (whole) return `the end of ${name}`;
    const beat = Math.round(this.beat(place) * 100) / 100;
    return `${name}, beat ${beat}`;
  }

  // The pace (against the tempo) that is drawn so far under the line of the tempo; how high a pace is drawn.
  paceAt(y) {
    return between(this.heights.pace.y, this.heights.pace.value, y);
  }

  yOfPace(pace) {
    const { y, value } = this.heights.pace; // as y rises, the pace falls
    return between([...value].reverse(), [...y].reverse(), pace);
  }

  // The level in dB that is drawn so wide, from the middle to the edge; and the other way round.
  levelAt(half) {
    return between(this.heights.level.y, this.heights.level.value, half);
  }

  halfOfLevel(level) {
    return between(this.heights.level.value, this.heights.level.y, level);
  }
}
