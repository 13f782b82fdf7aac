// Clicks at known moments, and how late somebody taps to them.

const FIRST = 0.4; // seconds until the first click
const LOUD = 0.25;

// Sound so many clicks, `apart` seconds from each other; `strong` says which are. Answers {times, stop}: the moments, in
// milliseconds of events, at which they are heard.
export async function clicks(count, apart, strong = () => false) {
  const context = new AudioContext({ latencyHint: "interactive" });
  await context.resume();
  const begin = context.currentTime + FIRST;
  for (let row = 0; row < count; row += 1) click(context, begin + row * apart, strong(row));
  const { contextTime, performanceTime } = context.getOutputTimestamp();
  const late = (context.baseLatency + (context.outputLatency || 0)) * 1000;
  const zero = contextTime > 0 ? performanceTime - contextTime * 1000 : performance.now() - context.currentTime * 1000 + late;
  const times = Array.from({ length: count }, (_, row) => zero + (begin + row * apart) * 1000);
  const timer = setTimeout(() => context.close(), (FIRST + count * apart + 1) * 1000);
  const stop = () => {
    clearTimeout(timer);
    if (context.state !== "closed") context.close();
  };
  return { times, stop };
}

function click(context, at, strong) {
  const tone = new OscillatorNode(context, { type: "triangle", frequency: strong ? 1320 : 990 });
  const gain = new GainNode(context, { gain: 0 });
  gain.gain.setValueAtTime(0, at);
  gain.gain.linearRampToValueAtTime(LOUD, at + 0.002);
  gain.gain.exponentialRampToValueAtTime(0.001, at + 0.05);
  tone.connect(gain).connect(context.destination);
  tone.start(at);
  tone.stop(at + 0.06);
}

const LED_IN = 4; // clicks after which somebody is in time with them
const FEWEST = 8; // taps from which the delay can be told
const NEAR = 0.4; // of the time from click to click: a tap that is further away belongs to none

const median = (values) => {
  const sorted = [...values].sort((a, b) => a - b);
  const middle = sorted.length >> 1;
  return sorted.length % 2 ? sorted[middle] : (sorted[middle - 1] + sorted[middle]) / 2;
};

// How late taps come after clicks (both in milliseconds), and how far they scatter (a standard deviation), in seconds;
// null where too few of them belong to a click.
export function delayOf(taps, times) {
  const apart = times[1] - times[0];
  const found = times.slice(LED_IN).map((time) => {
    const nearest = taps.reduce((best, tap) => (Math.abs(tap - time) < Math.abs(best - time) ? tap : best), Number.POSITIVE_INFINITY);
    return nearest - time;
  }).filter((late) => Math.abs(late) < NEAR * apart);
  if (found.length < FEWEST) return null;
  const delay = median(found);
  const spread = 1.4826 * median(found.map((late) => Math.abs(late - delay)));
  return { delay: delay / 1000, spread: Math.max(spread, 1) / 1000 };
}
