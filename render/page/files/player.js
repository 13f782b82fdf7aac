// The player: which reading is heard and where, what is repeated, and everything that follows from it. It knows no
// controls: they set it going and are told what has changed.

const LOOK = 250; // milliseconds from one look at what comes next to the other
const FORESIGHT = 1.6; // seconds, more than a browser lets a page in the background sleep
const TOUCHING = 0.02; // seconds; what is nearer to the end of what is repeated is at its end

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
    this.ready = false; // the sound has been read
    this.waiting = false; // until it has, to play
  }

  get playing() {
    return this.sound.playing;
  }

  // Playing, or as soon as can be.
  get wanted() {
    return this.playing || this.waiting;
  }

  get place() {
    return this.reading.placeAt(this.second);
  }

  toggle() {
    if (this.wanted) this.pause();
    else this.play();
  }

  play() {
    if (this.wanted) return;
    if (this.ready) this.#start();
    else {
      this.waiting = true;
      this.sound.wake();
    }
    this.changed("playing");
  }

  // The sound has been read: do what was wished meanwhile.
  getReady() {
    this.ready = true;
    if (!this.waiting) return;
    this.waiting = false;
    this.play();
  }

  #start() {
    const range = this.repeats.range(this.reading);
    if (this.second >= this.reading.lasting - 0.05) this.second = 0;
    if (range && Math.abs(this.second - range.until) < TOUCHING) this.second = range.from;
    this.sound.start(this.reading, this.second);
    this.#watch = setInterval(() => this.#lookAhead(), LOOK);
    this.#frame = requestAnimationFrame(() => this.#step());
    this.#lookAhead();
  }

  pause() {
    this.waiting = false;
    if (this.playing) {
      const other = this.#hear();
      this.sound.stop();
      clearInterval(this.#watch);
      cancelAnimationFrame(this.#frame);
      if (other) this.changed("reading");
      this.changed("place");
    }
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
      return this.#dyingAway(reading, other, second) ?? this.#staying(reading, other, second, reading.secondAt(place));
    };
    this.#goTo(reading, there);
    return instead;
  }

  // After the last bar line there is no place, only the last notes.
  #dyingAway(reading, other, second) {
    const after = second - other.seconds.at(-1);
    return after > 0 ? Math.min(reading.seconds.at(-1) + after, reading.lasting - 0.05) : null;
  }

  // Whoever is in what is repeated stays in it: its end is where it begins again.
  #staying(reading, other, second, to) {
    const [here, there] = [this.repeats.range(other), this.repeats.range(reading)];
    const within = here && there && second >= here.from && second < here.until;
    return within && to > there.until - TOUCHING ? there.from : to;
  }

  #goTo(reading, place) {
    const other = reading !== this.reading;
    this.second = this.playing ? this.sound.go(reading, place) : place(this.reading, this.second);
    this.reading = reading;
    if (this.playing) this.#lookAhead();
    if (other) this.changed("reading");
    this.changed("place");
  }

  // Repeat a stretch (null: nothing), from its beginning where the place is outside. Whether this reading plays it.
  repeat(stretch) {
    this.repeats.chosen = stretch;
    const range = this.repeats.range(this.reading);
    if (range && (this.second < range.from - TOUCHING || this.second >= range.until)) this.goToSecond(range.from);
    else this.planAnew();
    return !!range;
  }

  // What is repeated, or by whom, has changed.
  planAnew() {
    if (!this.playing) return;
    this.sound.takeBack();
    this.#lookAhead();
  }

  // The bar before (-1) or after (1); back, first to the beginning of the bar that is heard.
  bar(step) {
    const { ordinal, offset } = this.place;
    const begun = this.second - this.reading.secondAt({ ordinal, offset: 0 }) > 0.7 && offset > 0;
    const to = ordinal + (step < 0 && begun ? 0 : step);
    this.go({ ordinal: Math.min(Math.max(to, 0), this.reading.bars - 1), offset: 0 });
  }

  // Take in what is heard by now. Whether it is another reading.
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

  // Schedule all rounds that begin before the next look, however late that is; stop at the end.
  #lookAhead() {
    for (;;) {
      const { reading, second } = this.sound.latest;
      const range = this.repeats.range(reading);
      if (!range || second >= range.until) break;
      const time = this.sound.timeOf(range.until);
      if (time - this.sound.now >= FORESIGHT) return;
      const next = this.repeats.after(reading, this.readings);
      this.sound.goAt(time, next, this.repeats.range(next).from);
    }
    if (this.sound.latest.second >= this.sound.latest.reading.lasting) {
      this.pause();
      this.second = 0;
      this.changed("place");
    }
  }
}
