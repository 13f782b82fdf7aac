// Bars of one's own, written as in a plan and found as the command's `--bars` finds them: both take the same stretch for
// the same words, or say the same of them. What a position is stands in timing/plan/position.py, where it lies in
// timing/where/__init__.py.

class Fault extends Error {} // what cannot be found, in words

const POSITION = /^(\d{1,6}[a-zA-Z]{0,8})(?:[ \t\n\r\f\v]*:[ \t\n\r\f\v]*(\d{1,4})(\.\d{1,9}|\+\d{1,4}\/\d{1,4})?)?$/;
const DASH = /\s*[-–—]\s*/;
const LONGEST = 60; // letters of a range
const NEAR = 1e-6; // quarters; nothing in music is as short
const MOST_NAMED = 5; // bars of one number, where another of them is asked for
const SHORTEST = 0.1; // seconds that can be repeated

const quoted = (text) => `'${[...text].length > 40 ? `${[...text].slice(0, 37).join("")}...` : text}'`;

function noPosition(text, example = "7:2") {
  return new Fault(`${quoted(text)} is not a position: write bar:beat, as in ${example}, or a bar alone`);
}

// Beats are fractions in lowest terms, so that 2.5 and 2+1/2 are one place.
function fraction(top, bottom) {
  let [a, b] = [top, bottom];
  while (b) [a, b] = [b, a % b];
  return { top: top / a, bottom: bottom / a };
}

function partOfBeat(part, text) {
  if (!part) return { top: 0, bottom: 1 };
  const digits = part.slice(1); // after a point, or a plus
  const [top, bottom] = part.startsWith("+") ? digits.split("/").map(Number) : [Number(digits), 10 ** digits.length];
  if (!bottom) throw new Fault(`${quoted(text)} divides by zero`);
  return fraction(top, bottom);
}

function positionIn(text) {
  const found = POSITION.exec(text);
  if (!found) throw noPosition(text, /^\d{1,4}\.\d{1,2}$/.test(text) ? `${text.replace(".", ":")} with a colon` : "7:2");
  const [, bar, beat, written] = found;
  if (beat === undefined) return { bar, beat: null, instant: false };
  const { top, bottom } = partOfBeat(written, text);
  if (top >= bottom) throw new Fault(`${quoted(text)}: what is added to a beat is less than one`);
  if (Number(beat) < 1) throw new Fault(`${quoted(text)}: beats are counted from 1`);
  return { bar, beat: { top: Number(beat) * bottom + top, bottom }, instant: written !== undefined };
}

function rangeIn(text) {
  const plain = text.trim();
  if ([...plain].length > LONGEST) throw noPosition(text);
  const ends = plain.split(DASH);
  if (ends.length > 2 || ends.includes("")) {
    throw new Fault(`${quoted(text)} is not a range: write where it begins and ends, as in 7:2 - 8:3 or 7-8`);
  }
  return { start: positionIn(ends[0]), end: positionIn(ends.at(-1)) };
}

function samePosition(one, other) {
  const beats = [one, other].map(({ beat }) => (beat ? `${beat.top}/${beat.bottom}` : ""));
  return one.bar === other.bar && one.instant === other.instant && beats[0] === beats[1];
}

// A beat as one writes it: 2, 2.5, 2+1/3.
function beatWritten({ top, bottom }) {
  const whole = Math.floor(top / bottom);
  const rest = top % bottom;
  if (!rest) return String(whole);
  if (1000 % bottom === 0 || bottom >= 10_000) return whole + (rest / bottom).toFixed(9).slice(1).replace(/0+$/, "");
  return `${whole}+${rest}/${bottom}`;
}

// The beat that is meant by a number with its roundings: to a 960th, or else to a millionth (just a millionth off is off,
// though the float may lie nearer).
function beatMeant(number) {
  let best = null;
  for (let bottom = 1; bottom <= 960; bottom++) {
    const off = Math.abs(Math.round(number * bottom) / bottom - number);
    if (!best || off < best.off - 1e-12) best = { top: Math.round(number * bottom), bottom, off };
  }
  return best.off < 1e-6 - 1e-10 ? best : fraction(Math.round(number * 1e6), 1e6);
}

const beatName = (number) => beatWritten(beatMeant(number));

function positionWritten({ bar, beat, instant }) {
  return beat ? `${bar}:${beatWritten(beat)}${instant && beat.bottom === 1 ? ".0" : ""}` : bar;
}

function rangeWritten({ start, end }) {
  if (samePosition(start, end)) return positionWritten(start);
  const apart = start.beat || end.beat || /e$/i.test(start.bar);
  return `${positionWritten(start)}${apart ? " - " : "-"}${positionWritten(end)}`;
}

// Where positions and ranges lie in one performed order.
class Where {
  constructor(reading) {
    this.reading = reading;
    this.score = reading.score;
    this.rows = new Map(); // of every bar, by its name in small letters; by its number, where no other bar has that
    const numbered = new Map();
    let before = null;
    for (const [row, each] of this.score.names.entries()) {
      const name = each.toLowerCase();
      if (name === before?.name) before.rows.push(row);
      else {
        before = { name, rows: [row] };
        if (!this.rows.has(name)) this.rows.set(name, before.rows);
        const number = String(parseInt(name, 10));
        numbered.set(number, [...(numbered.get(number) ?? []), before.rows]);
      }
    }
    for (const [number, bars] of numbered) if (bars.length === 1) this.rows.set(number, bars[0]);
  }

  // The stretches in which a range, as one writes it, is heard from its beginning to its end without a break: from and
  // until which quarter along the order, and on which pass it begins. Throws a Fault where there is none.
  heard(text) {
    const range = rangeIn(text);
    const whole = this.#whole(range);
    if (!whole.length) {
      throw new Fault(`${rangeWritten(range)} is never heard in one go: the order of the bars is ${this.reading.order}`);
    }
    return whole;
  }

  #whole(range) {
    const [[first, start], [last, end]] = this.#bothEnds(range);
    const { row, pass, start: starts, bars } = this.reading;
    const latest = end === 0 ? last - 1 : last; // a range that ends on a bar line does not enter that bar
    const inside = (ordinal) => ordinal < bars && row[ordinal] >= first && row[ordinal] <= latest;
    const made = [];
    for (let a = 0, b; a < bars; a = b + 1) {
      b = a;
      if (row[a] !== first || !inside(a)) continue;
      while (inside(b + 1) && this.#follows(row[b], row[b + 1])) b++;
      if (row[b] !== last && !(end === 0 && this.#follows(row[b], last))) continue;
      const until = starts[b] + (row[b] === last ? end : this.score.length[row[b]]);
      if (until > starts[a] + start) made.push({ from: starts[a] + start, until, pass: pass[a] });
    }
    return made;
  }

  // Whether a bar comes next after another on the page, endings between them left out.
  #follows(here, there) {
    const { endings } = this.score;
    return there > here && there - here - 1 === endings[there] - endings[here + 1];
  }

  // -- positions on the page: the row of a bar and quarters into it

  #bothEnds(range) {
    const begin = this.#point(range.start);
    const end = this.#rangeEnd(range);
    if (end[0] > begin[0] || (end[0] === begin[0] && end[1] > begin[1])) return [begin, end];
    const [row, offset] = this.#point(range.end);
    const nothing = row === begin[0] && offset === begin[1];
    const turned = `before it begins: did you mean ${rangeWritten({ start: range.end, end: range.start })}?`;
    throw new Fault(`${rangeWritten(range)} ends ${nothing ? "where it begins" : turned}`);
  }

  #point({ bar, beat, instant }) {
    const rows = this.#named(bar);
    if (!beat) return [rows[0], 0];
    const { unit, shift, length } = this.score;
    for (const row of rows) {
      const offset = ((beat.top - beat.bottom) / beat.bottom) * (4 / unit[row]) - shift[row];
      const missing = instant ? 0 : 4 / unit[row] - 2 * NEAR; // of a beat that a pickup comes in on
      if (-NEAR - missing <= offset && offset < length[row] - NEAR) return [row, Math.max(offset, 0)];
    }
    throw new Fault(this.#noBeat(bar, beat, rows));
  }

  #rangeEnd({ start, end }) {
    return end.instant && !samePosition(start, end) ? this.#instant(end) : this.#over(end);
  }

  // Where a position is over: a bar at its end, a beat when the next one begins.
  #over(position) {
    const { unit, shift, length } = this.score;
    if (!position.beat) {
      const row = this.#named(position.bar).at(-1);
      return [row, length[row]];
    }
    const [row] = this.#point(position);
    const over = (Math.floor(position.beat.top / position.beat.bottom) * 4) / unit[row] - shift[row];
    return [row, Math.min(over, length[row])];
  }

  // The very moment, which may be that at which a bar, or a part of it, is over.
  #instant(position) {
    const { top, bottom } = position.beat;
    const { unit, shift, length } = this.score;
    for (const row of this.#named(position.bar)) {
      const offset = ((top - bottom) * 4) / (bottom * unit[row]) - shift[row];
      if (Math.abs(offset - length[row]) < NEAR) return [row, length[row]];
    }
    return this.#point(position);
  }

  #named(bar) {
    const name = bar.replace(/^0+(?=\d)/, "").toLowerCase();
    const rows = this.rows.get(name);
    if (rows) return rows;
    const number = parseInt(name, 10);
    const numbers = this.score.names.map((each) => parseInt(each, 10));
    const others = [...new Set(this.score.names.filter((_, row) => numbers[row] === number))];
    if (others.length || !/^\d+$/.test(name)) {
      const more = others.length > MOST_NAMED ? ` and ${(others.length - MOST_NAMED).toLocaleString("en")} more` : "";
      const hint = others.length ? ` (it has ${others.slice(0, MOST_NAMED).join(", ")}${more})` : "";
      throw new Fault(`bar ${name}: the score has no such bar${hint}`);
    }
    const [low, high] = numbers.reduce(([a, b], each) => [Math.min(a, each), Math.max(b, each)], [Infinity, -Infinity]);
    if (number > high) throw new Fault(`bar ${name}: the score ends at bar ${high}`);
    if (number < low) throw new Fault(`bar ${name}: the score begins at bar ${low}${name === "0" ? " (it has no pickup)" : ""}`);
    throw new Fault(`bar ${name}: the score's numbering leaves this bar out`);
  }

  #noBeat(bar, { top, bottom }, rows) {
    const { unit, shift, length } = this.score;
    const [first, last] = [rows[0], rows.at(-1)];
    const low = 1 + (shift[first] * unit[first]) / 4;
    const high = ((shift[last] + length[last]) * unit[last]) / 4;
    const beat = beatName(top / bottom);
    if (low > 1) return `bar ${bar} begins at beat ${beatName(low)} and has no beat ${beat}`;
    const beats = high === 1 ? "1 beat" : `${beatName(high)} beats`;
    return `bar ${bar} has ${beats}: there is no ${bar}:${beat}`;
  }

  // How one writes a performed bar: where a bar is divided, the beats of the part that is played.
  ends(ordinal) {
    const row = this.reading.row[ordinal];
    const name = this.score.names[row];
    if (this.#named(name).length === 1) return [name, name];
    const { unit, shift, length } = this.score;
    const over = ((shift[row] + length[row]) * unit[row]) / 4;
    const [begins, ends] = [beatMeant(1 + (shift[row] * unit[row]) / 4), beatMeant(over)];
    return [`${name}:${beatWritten(begins)}`, `${name}:${ends.bottom === 1 ? over : beatName(over + 1)}`];
  }
}
