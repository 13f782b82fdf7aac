// What is repeated: nothing, a phrase, or bars of one's own; and whether the readings take turns.

class Repeats {
  constructor(phrases) {
    this.phrases = phrases;
    this.chosen = null; // {start, end} in hearings of all readings, or {text, pass} as one writes it
    this.turns = false;
  }

  // From and until which second of a reading; null where nothing is repeated, or not in this reading.
  range(reading) {
    if (!this.chosen) return null;
    if (!("text" in this.chosen)) return reading.stretch(this.chosen);
    try {
      return reading.written(this.chosen);
    } catch (fault) {
      if (fault instanceof Fault) return null;
      throw fault;
    }
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

  // Who plays the next round after a reading: by turns, the next one that plays what is repeated.
  after(reading, readings) {
    const others = [...readings.slice(reading.number + 1), ...readings.slice(0, reading.number)];
    return (this.turns && others.find((other) => this.range(other))) || reading;
  }
}
