// What is heard. Every reading is one buffer; going from one place to another, also in another reading, is a fade of
// 30 ms from one running source to the next, started at one instant of the audio clock, so that there is no gap. Every
// fade has a gain of its own: that of a source that comes in, that of the same when it goes, and that of all together
// when the music is stopped. So no fade meets another, whenever one presses a key.

const FADE = 0.03; // seconds
const SOON = 0.03; // seconds from a wish to the sound, so that it can be scheduled
const BEGUN = 0.02; // seconds before its time from which a fade can no longer be taken back
const RISING = Float32Array.from({ length: 33 }, (_, i) => Math.sin((i / 32) * (Math.PI / 2))); // of equal power
const FALLING = RISING.slice().reverse();

// What an MP3 coder puts before the music. Browsers that read the file's own note of it take it off, and with it what
// stands after the music; then the length is right.
const CODER_DELAY = 1105; // samples

// What a room can add to the highest peak, in dB, and how far below full scale peaks stay.
const ADDED = 3.5;
const LEAST_ROOM = 1;

class Sound {
  #context = null;
  #all = null; // the gain of all that sounds until the music is stopped, the room as well
  #into = null; // what goes into the room
  #room = null; // what comes out of it besides
  #peak = 0;
  #responses = {};
  #buffers = [];
  #leads = [];
  #voices = []; // sources that sound or are about to, by their time

  constructor(readings, rooms) {
    this.readings = readings;
    this.rooms = rooms;
    this.room = "dry";
    this.rate = readings[0].rate;
  }

  async load(addresses) {
    const decoder = new OfflineAudioContext(1, 1, this.rate);
    const decoded = (text) => decoder.decodeAudioData(Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0)).buffer);
    for (const [name, { response }] of Object.entries(this.rooms)) this.#responses[name] = await decoded(response);
    for (const [number, address] of addresses.entries()) {
      const buffer = await decoded(address.slice(address.indexOf(",") + 1));
      this.#peak = buffer.getChannelData(0).reduce((most, each) => Math.max(most, Math.abs(each)), this.#peak);
      this.#buffers.push(buffer);
      this.#leads.push(buffer.length > this.readings[number].frames ? CODER_DELAY / this.rate : 0);
    }
  }

  // Browsers let sound begin only while one touches something.
  wake() {
    this.#context ??= new AudioContext({ sampleRate: this.rate });
    this.#context.resume();
  }

  get playing() {
    return this.#voices.length > 0;
  }

  get now() {
    return this.#context.currentTime;
  }

  // Reading and second at a time of the audio clock; without a time, what comes out of the loudspeaker now. What one
  // has wished counts as heard at once.
  heard(time = this.now - (this.#context.outputLatency || this.#context.baseLatency || 0)) {
    const voice = this.#voices.findLast((each) => each.wished || each.from <= time) ?? this.#voices[0];
    return { reading: voice.reading, second: Math.max(voice.second + Math.max(time - voice.from, 0), 0) };
  }

  // Reading and second of the latest source: where it is, or where it will begin.
  get latest() {
    const voice = this.#voices.at(-1);
    return { reading: voice.reading, second: voice.second + Math.max(this.now - voice.from, 0) };
  }

  // When (on the audio clock) the latest source comes to a second.
  timeOf(second) {
    const voice = this.#voices.at(-1);
    return voice.from + (second - voice.second);
  }

  start(reading, second) {
    this.wake();
    this.#all = new GainNode(this.#context);
    this.#all.connect(this.#context.destination);
    this.#into = new GainNode(this.#context, { gain: this.#headroom });
    this.#into.connect(this.#all);
    this.#room = null;
    this.#furnish();
    this.#cue(reading, second, this.now + SOON, { fade: 0.004, early: 0, wished: true });
  }

  // Let all readings sound in another room, from now on.
  enter(room) {
    this.room = room;
    if (!this.playing) return;
    this.#into.gain.setTargetAtTime(this.#headroom, this.now, FADE);
    this.#furnish();
  }

  // The factor that leaves room for what the room adds: the same for all readings.
  get #headroom() {
    const most = 10 ** (-(LEAST_ROOM + ADDED) / 20);
    return this.room === "dry" ? 1 : Math.min(1, most / (this.#peak || 1));
  }

  // What the room adds comes in as the former one goes.
  #furnish() {
    const former = this.#room;
    if (former) {
      former.gain.setTargetAtTime(0, this.now, FADE);
      setTimeout(() => former.disconnect(), 20 * FADE * 1000);
    }
    this.#room = null;
    if (this.room === "dry") return;
    const buffer = this.#responses[this.room];
    this.#room = new GainNode(this.#context, { gain: this.rooms[this.room].gain });
    const added = new ConvolverNode(this.#context, { buffer, disableNormalization: true });
    this.#into.connect(added).connect(this.#room).connect(this.#all);
  }

  // Go on in `reading`, where `place(reading heard, second heard)` says, as soon as can be. The two are at the same
  // place in the middle of the fade, so that neither is far from it while both are heard. Returns that place.
  go(reading, place) {
    const middle = this.now + SOON + FADE / 2;
    const heard = this.heard(middle);
    const second = place(heard.reading, heard.second);
    this.takeBack();
    this.#cue(reading, second, middle, { fade: FADE, early: FADE / 2, wished: true });
    return second;
  }

  // Go on elsewhere at a time to come. The fade is over by then, so that the first note keeps its attack.
  goAt(time, reading, second) {
    this.#cue(reading, second, Math.max(time, this.now + SOON + FADE), { fade: FADE, early: FADE, wished: false });
  }

  // Take back what `goAt` has scheduled and has not begun, and let what sounds now go on.
  takeBack() {
    while (this.#voices.length > 1 && !this.#voices.at(-1).wished && this.#voices.at(-1).at > this.now + BEGUN) {
      const { source } = this.#voices.pop();
      source.disconnect();
      source.stop();
      const voice = this.#voices.at(-1);
      voice.fall.gain.cancelScheduledValues(0);
      voice.source.stop(this.now + voice.source.buffer.duration);
      voice.ends = undefined;
    }
  }

  stop() {
    const at = this.now;
    this.#all.gain.setValueCurveAtTime(FALLING, at, FADE);
    for (const { source } of this.#voices) source.stop(at + FADE);
    this.#voices = [];
  }

  #cue(reading, second, from, { fade, early, wished }) {
    this.#forget();
    const at = from - early;
    const before = this.#voices.at(-1);
    if (before) this.#end(before, at);
    const source = new AudioBufferSourceNode(this.#context, { buffer: this.#buffers[reading.number] });
    const rise = new GainNode(this.#context, { gain: 0 });
    const fall = new GainNode(this.#context);
    source.connect(rise).connect(fall).connect(this.#into);
    rise.gain.setValueCurveAtTime(RISING, at, fade);
    const inside = second - early + this.#leads[reading.number];
    source.start(at + Math.max(-inside, 0), Math.max(inside, 0));
    this.#voices.push({ reading, second, from, at, wished, source, fall });
  }

  #end(voice, at) {
    voice.fall.gain.setValueCurveAtTime(FALLING, at, FADE);
    voice.source.stop(at + FADE);
    voice.ends = at + FADE;
  }

  // Let go of what has faded out.
  #forget() {
    this.#voices = this.#voices.filter((voice) => !(voice.ends < this.now - 1));
  }
}
