// Scores and readings: from seconds to places in the music, and from a place in one reading to the same in another.
// A place is a performed bar (by its number along the order) and quarters into it.

class Score {
  constructor(values) {
    this.names = values.names;
    this.papers = values.papers;
    for (const name of ["unit", "endings", "head", "first"]) this[name] = whole(values[name]);
    for (const name of ["length", "shift", "from", "to"]) this[name] = floats(values[name]);
  }

  beat(row, offset) {
    return Math.floor(1 + ((offset + this.shift[row]) * this.unit[row]) / 4 + 1e-6);
  }
}

const NEARLY = 1e-7; // quarters, so that a bar line belongs to the bar that it opens

class Reading {
  constructor(values, number, scores) {
    this.number = number;
    this.name = values.name;
    this.letter = values.letter;
    this.rate = values.rate; // of its sound
    this.frames = values.frames;
    this.lasting = values.frames / values.rate; // seconds, the dying away included
    this.score = scores[values.score];
    this.order = values.order; // in words
    for (const name of ["row", "pass", "hearing"]) this[name] = whole(values[name]);
    for (const name of ["start", "quarters", "seconds"]) this[name] = floats(values[name]);
    this.bars = this.row.length;
    this.ordinals = new Map(Array.from(this.hearing, (hearing, ordinal) => [hearing, ordinal]));
    this.times = new Map(); // how often each bar is heard
    for (const row of this.row) this.times.set(row, (this.times.get(row) ?? 0) + 1);
    this.where = new Where(this);
  }

  placeAt(second) {
    const quarter = interpolated(this.seconds, this.quarters, second);
    const ordinal = lastAtMost(this.start, quarter + NEARLY);
    return { ordinal, offset: Math.max(quarter - this.start[ordinal], 0) };
  }

  secondAt({ ordinal, offset }) {
    const room = this.score.length[this.row[ordinal]];
    return this.secondOf(this.start[ordinal] + Math.min(offset, room));
  }

  secondOf(quarter) {
    return interpolated(this.quarters, this.seconds, quarter);
  }

  barName(ordinal) {
    return this.score.names[this.row[ordinal]];
  }

  // A place in words; which time it is only where a bar is heard more than once.
  told({ ordinal, offset }, withBeat = true) {
    const row = this.row[ordinal];
    const beat = withBeat ? `, beat ${this.score.beat(row, offset)}` : "";
    const time = this.times.get(row) > 1 ? `, pass ${this.pass[ordinal]}` : "";
    return `bar ${this.barName(ordinal)}${beat}${time}`;
  }

  // The place here that another reading's place is: the same bar on the same pass. Where it is not played, the same
  // bar on the nearest pass, or the bar that comes next; then `instead` says so.
  like(other, place) {
    const hearing = other.hearing[place.ordinal];
    if (this.ordinals.has(hearing)) return { ordinal: this.ordinals.get(hearing), offset: place.offset };
    const name = other.barName(place.ordinal);
    const pass = other.pass[place.ordinal];
    const again = this.nearestTime(name, pass);
    if (again !== null) {
      const instead = `pass ${pass} is not played here: this is bar ${name}, pass ${this.pass[again]}`;
      return { ordinal: again, offset: place.offset, instead };
    }
    const next = this.after(hearing);
    return { ordinal: next, offset: 0, instead: `bar ${name} is not played here: this is bar ${this.barName(next)}` };
  }

  nearestTime(name, pass) {
    let best = null;
    for (let ordinal = 0; ordinal < this.bars; ordinal++) {
      if (this.barName(ordinal) !== name) continue;
      const apart = Math.abs(this.pass[ordinal] - pass);
      if (best === null || apart < Math.abs(this.pass[best] - pass)) best = ordinal;
    }
    return best;
  }

  // The first bar that comes after a hearing in the order of all readings; the last one if none does.
  after(hearing) {
    let best = null;
    for (let ordinal = 0; ordinal < this.bars; ordinal++) {
      if (this.hearing[ordinal] > hearing && (best === null || this.hearing[ordinal] < this.hearing[best])) best = ordinal;
    }
    return best ?? this.bars - 1;
  }

  // Where a stretch of the music, given in hearings of all readings, lies in this one, in seconds. Null if nowhere.
  stretch({ start, end }) {
    const first = this.ordinals.get(start[0]) ?? this.after(start[0]);
    const last = this.ordinals.get(end[0]) ?? this.after(end[0]);
    const from = this.secondAt({ ordinal: first, offset: this.ordinals.has(start[0]) ? start[1] : 0 });
    const until = this.secondAt({ ordinal: last, offset: this.ordinals.has(end[0]) ? end[1] : 0 });
    return until - from > SHORTEST ? { from, until } : null;
  }

  // The same of a range as one writes it, on one of its passes; where it is not heard on that one, on the nearest.
  // Throws a Fault where it is not heard at all.
  written({ text, pass }) {
    const found = this.where.heard(text);
    const nearest = found.reduce((a, b) => (Math.abs(b.pass - pass) < Math.abs(a.pass - pass) ? b : a));
    const [from, until] = [this.secondOf(nearest.from), this.secondOf(nearest.until)];
    if (until - from <= SHORTEST) throw new Fault(`${rangeWritten(rangeIn(text))} is too short to be repeated`);
    return { from, until };
  }
}
