// Where a take is at any second, and where the same place lies in another take; as `clock.py` has it.

const NEAR = 1e-6;

export class Clock {
  constructor({ quarters, seconds, bars }) {
    this.quarters = quarters;
    this.seconds = seconds;
    this.bars = bars;
  }

  quarter(second) {
    return along(this.seconds, this.quarters, second);
  }

  second(quarter) {
    return along(this.quarters, this.seconds, quarter);
  }

  // The row, among the performed bars, of the one that is heard at a quarter.
  ordinal(quarter) {
    return Math.max(after(this.bars, quarter + NEAR, ({ start }) => start) - 1, 0);
  }

  place(quarter) {
    const bar = this.bars[this.ordinal(quarter)];
    return { row: bar.row, pass: bar.pass, offset: quarter - bar.start, name: bar.name };
  }

  sameOrder(other) {
    const same = (bar, row) => ["row", "pass", "start", "end"].every((each) => bar[each] === other.bars[row][each]);
    return this.bars.length === other.bars.length && this.bars.every(same);
  }

  // The quarter of another take at which it is where this one is at a quarter.
  elsewhere(quarter, into) {
    if (this === into || this.sameOrder(into)) return quarter;
    const { row, pass, offset } = this.place(quarter);
    const hearings = into.bars.filter((bar) => bar.row === row);
    if (hearings.length) {
      const away = (bar) => Math.abs(bar.pass - pass);
      const bar = hearings.reduce((best, each) => (away(each) < away(best) ? each : best));
      return bar.start + Math.min(offset, bar.end - bar.start);
    }
    const later = into.bars.filter((bar) => bar.row > row);
    if (!later.length) return into.bars.at(-1).end;
    return later.reduce((best, each) => (each.row < best.row ? each : best)).start;
  }

  carried(second, into) {
    return this === into ? second : into.second(this.elsewhere(this.quarter(second), into));
  }
}

// Straight from knot to knot; beyond the ends the value of the end.
function along(from, to, value) {
  const row = after(from, value);
  if (row === 0) return to[0];
  if (row === from.length) return to[row - 1];
  const span = from[row] - from[row - 1];
  return span > 0 ? to[row - 1] + ((to[row] - to[row - 1]) * (value - from[row - 1])) / span : to[row];
}

// How many of them are at most this value.
function after(sorted, value, of = (each) => each) {
  let [low, high] = [0, sorted.length];
  while (low < high) {
    const middle = (low + high) >> 1;
    if (of(sorted[middle]) <= value) low = middle + 1;
    else high = middle;
  }
  return low;
}
