// The player: which reading is heard and where, what is repeated, and everything that follows from it. It knows no
// controls: they set it going and are told what has changed.

const LOOK = 250; // milliseconds from one look at what comes next to the other
const FORESIGHT = 1.6; // seconds, more than a browser lets a page in the background sleep

class Player {
  #frame = null;
  #watch = null;

  constructor(readings, sound, repeats, changed) {
    this.readings = readings;
    this.sound = sound;
    this.repeats = repeats;
    this.changed = changed; // (what) "place", "reading" or "playing"
    this.reading = readings[0];
    this.second = 0;
  }

  get playing() {
    return this.sound.playing;
  }

  get place() {
    return this.reading.placeAt(this.second);
  }

  toggle() {
    if (this.playing) this.pause();
    else this.play();
  }

  play() {
    if (this.second >= this.reading.lasting - 0.05) this.second = 0;
    this.sound.start(this.reading, this.second);
    this.#watch = setInterval(() => this.#lookAhead(), LOOK);
    this.#frame = requestAnimationFrame(() => this.#step());
    this.#lookAhead();
    this.changed("playing");
  }

  pause() {
    this.#hear();
    this.sound.stop();
    clearInterval(this.#watch);
    cancelAnimationFrame(this.#frame);
    this.changed("playing");
  }

  // Go to a place of a reading.
  go(place, reading = this.reading) {
    this.#goTo(reading, () => reading.secondAt(place));
  }

  goToSecond(second, reading = this.reading) {
    this.#goTo(reading, () => second);
  }

  // Go on with another reading at the same bar and beat. What is said where it does not play that bar, or nothing.
  choose(reading) {
    let instead;
    const there = (other, second) => {
      if (other === reading) return second;
      const place = reading.like(other, other.placeAt(second));
      instead = place.instead;
      return this.#dyingAway(reading, other, second) ?? reading.secondAt(place);
    };
    this.#goTo(reading, there);
    return instead;
  }

  // After the last bar line there is no place, only the last notes.
  #dyingAway(reading, other, second) {
    const after = second - other.seconds.at(-1);
    return after > 0 ? Math.min(reading.seconds.at(-1) + after, reading.lasting - 0.05) : null;
  }

  #goTo(reading, place) {
    const other = reading !== this.reading;
    if (this.playing) this.sound.go(reading, place);
    this.second = place(this.reading, this.second);
    this.reading = reading;
    if (this.playing) this.#lookAhead();
    if (other) this.changed("reading");
    this.changed("place");
  }

  // The bar before (-1) or after (1); back, first to the beginning of the bar that is heard.
  bar(step) {
    const { ordinal, offset } = this.place;
    const begun = this.second - this.reading.secondAt({ ordinal, offset: 0 }) > 0.7 && offset > 0;
    const to = ordinal + (step < 0 && begun ? 0 : step);
    this.go({ ordinal: Math.min(Math.max(to, 0), this.reading.bars - 1), offset: 0 });
  }

  // Take in what is heard by now.
  #hear() {
    const { reading, second } = this.sound.heard();
    const other = reading !== this.reading;
    this.reading = reading;
    this.second = Math.min(second, reading.lasting);
    return other;
  }

  #step() {
    if (this.#hear()) this.changed("reading");
    this.changed("place");
    if (this.playing) this.#frame = requestAnimationFrame(() => this.#step());
  }

  // Schedule the next round in time; stop at the end.
  #lookAhead() {
    if (this.sound.pending) return;
    const { reading, second } = this.sound.heard(this.sound.now);
    const range = this.repeats.range(reading);
    if (range && second < range.until) {
      const time = this.sound.timeOf(range.until);
      if (time - this.sound.now < FORESIGHT) this.#again(reading, time);
    } else if (second >= reading.lasting) {
      this.pause();
      this.second = 0;
      this.changed("place");
    }
  }

  #again(reading, time) {
    const count = this.readings.length;
    const next = this.repeats.turns ? this.readings[(reading.number + 1) % count] : reading;
    const range = this.repeats.range(next);
    this.sound.goAt(time, range ? next : reading, (range ?? this.repeats.range(reading)).from);
  }
}
