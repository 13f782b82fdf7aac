// What is heard. Every reading is one buffer; going from one place to another, also in another reading, is a fade of
// 30 ms from one running source to the next, started at one instant of the audio clock, so that there is no gap.

const FADE = 0.03; // seconds
const SOON = 0.03; // seconds from a wish to the sound, so that it can be scheduled
const RISING = Float32Array.from({ length: 33 }, (_, i) => Math.sin((i / 32) * (Math.PI / 2))); // of equal power
const FALLING = RISING.slice().reverse();

// What an MP3 coder puts before the music. Browsers that read the file's own note of it take it off, and with it what
// stands after the music; then the length is right.
const CODER_DELAY = 1105; // samples

class Sound {
  #context = null;
  #buffers = [];
  #leads = [];
  #voices = []; // sources that sound or are about to, by their time

  constructor(readings) {
    this.readings = readings;
    this.rate = readings[0].rate;
  }

  async load(addresses) {
    const decoder = new OfflineAudioContext(1, 1, this.rate);
    for (const [number, address] of addresses.entries()) {
      const bytes = Uint8Array.from(atob(address.slice(address.indexOf(",") + 1)), (letter) => letter.charCodeAt(0));
      const buffer = await decoder.decodeAudioData(bytes.buffer);
      this.#buffers.push(buffer);
      this.#leads.push(buffer.length > this.readings[number].frames ? CODER_DELAY / this.rate : 0);
    }
  }

  get playing() {
    return this.#voices.length > 0;
  }

  get now() {
    return this.#context.currentTime;
  }

  // Whether something is scheduled that is not heard yet.
  get pending() {
    return this.playing && this.#voices.at(-1).from > this.now;
  }

  // Reading and second at a time of the audio clock; without a time, what comes out of the loudspeaker now.
  heard(time = this.now - (this.#context.outputLatency || this.#context.baseLatency || 0)) {
    const voice = this.#voices.findLast((each) => each.from <= time) ?? this.#voices[0];
    return { reading: voice.reading, second: Math.max(voice.second + Math.max(time - voice.from, 0), 0) };
  }

  // When (on the audio clock) the latest source comes to a second.
  timeOf(second) {
    const voice = this.#voices.at(-1);
    return voice.from + (second - voice.second);
  }

  start(reading, second) {
    this.#context ??= new AudioContext({ sampleRate: this.rate });
    this.#context.resume();
    this.#cue(reading, second, this.now + SOON, { fade: 0.004, early: 0 });
  }

  // Go on in `reading`, where `place(reading heard, second heard)` says, as soon as can be. The two are at the same
  // place in the middle of the fade, so that neither is far from it while both are heard.
  go(reading, place) {
    const middle = this.now + SOON + FADE / 2;
    this.#forgetPending();
    const heard = this.heard(middle);
    this.#cue(reading, place(heard.reading, heard.second), middle, { fade: FADE, early: FADE / 2 });
  }

  // Go on elsewhere at a time to come. The fade is over by then, so that the first note keeps its attack.
  goAt(time, reading, second) {
    this.#cue(reading, second, Math.max(time, this.now + SOON + FADE), { fade: FADE, early: FADE });
  }

  stop() {
    const at = this.now;
    this.#forgetPending();
    for (const voice of this.#voices) this.#end(voice, at);
    this.#voices = [];
  }

  #cue(reading, second, from, { fade, early }) {
    this.#forget();
    const before = this.#voices.at(-1);
    const at = from - early;
    if (before) this.#end(before, at);
    const source = new AudioBufferSourceNode(this.#context, { buffer: this.#buffers[reading.number] });
    const rise = new GainNode(this.#context, { gain: 0 });
    const fall = new GainNode(this.#context);
    source.connect(rise).connect(fall).connect(this.#context.destination);
    rise.gain.setValueCurveAtTime(RISING, at, fade);
    const inside = second - early + this.#leads[reading.number];
    source.start(at + Math.max(-inside, 0), Math.max(inside, 0));
    this.#voices.push({ reading, second, from, at, source, fall });
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

  // Take back what has not begun, and let what sounds now go on.
  #forgetPending() {
    while (this.#voices.length > 1 && this.#voices.at(-1).at > this.now) {
      this.#voices.pop().source.disconnect();
      const voice = this.#voices.at(-1);
      voice.fall.gain.cancelScheduledValues(0);
      voice.source.stop(this.now + voice.source.buffer.duration);
      voice.ends = undefined;
    }
  }
}
