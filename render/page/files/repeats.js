// What is repeated: nothing, a phrase, or bars of one's own; and whether the readings take turns.

class Repeats {
  constructor(phrases) {
    this.phrases = phrases;
    this.chosen = null; // {start, end} in hearings of all readings
    this.turns = false;
  }

  // From and until which second of a reading; null where nothing is repeated.
  range(reading) {
    return this.chosen && reading.stretch(this.chosen);
  }

  // The shortest phrase that holds a place.
  phraseAt(reading, second) {
    let best = null;
    let shortest = Infinity;
    for (const phrase of this.phrases) {
      const range = reading.stretch(phrase);
      if (!range || second < range.from - 1e-6 || second >= range.until) continue;
      if (range.until - range.from < shortest) [best, shortest] = [phrase, range.until - range.from];
    }
    return best;
  }

  // A stretch of whole bars, by their printed names, as a reading plays them at or after an ordinal. Null where there
  // are no such bars in this order.
  bars(reading, from, until, near) {
    const named = (name, ordinal) => reading.barName(ordinal).toLowerCase() === name.trim().toLowerCase();
    const all = Array.from({ length: reading.bars }, (_, ordinal) => ordinal);
    const starts = all.filter((ordinal) => named(from, ordinal));
    if (!starts.length) return null;
    const first = starts.reduce((a, b) => (Math.abs(b - near) < Math.abs(a - near) ? b : a));
    const last = all.find((ordinal) => ordinal >= first && named(until, ordinal));
    if (last === undefined) return null;
    const length = reading.score.length[reading.row[last]];
    return { start: [reading.hearing[first], 0], end: [reading.hearing[last], length] };
  }
}
