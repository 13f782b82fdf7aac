// Where in a plan the cursor stands, and what can be written there. Text in, words out: no editor is known here.

const KEY = /^("(?:[^"\\]|\\.)*"|'(?:[^']|'')*'|[^\s#{}[\],"'&*!|>%@`-][^#]*?|-[^\s#][^#]*?)[ \t]*:(?=[ \t]|$)/;
const DASH = /^-([ \t]|$)/;

// The way from the plan inwards to `at`, as frames: {is: "settings", keys, key} and {is: "list"}, with `flow` if they stand
// in braces or brackets, else with their `column`. `word` is what is being written, from `from` on; `value` says that it is
// the value of the innermost key, `comment` that it is a comment, `over` that a group was closed just before.
export function stand(text, at) {
  const root = { is: "settings", column: 0, keys: [], key: null };
  const here = { frames: [root], word: "", from: at, column: 0, value: false, comment: false, over: false };
  for (let begin = sectionBefore(text, at); begin <= at;) {
    const next = text.indexOf("\n", begin);
    const end = next < 0 || next > at ? at : next;
    readLine(here, text.slice(begin, end), begin, end === at);
    begin = end + 1;
  }
  return here;
}

// The beginning of the nearest line, at `at` or before it, that is neither indented nor a dash.
function sectionBefore(text, at) {
  let line = lineOf(text, at);
  while (line > 0 && !/[^\s#{}[\],-]/.test(text[line] ?? "")) line = lineOf(text, line - 1);
  return line;
}

// The beginning of the line in which a place is.
const lineOf = (text, at) => (at > 0 ? text.lastIndexOf("\n", at - 1) + 1 : 0);

function readLine(here, line, offset, last) {
  const { frames } = here;
  let column = line.length - line.trimStart().length;
  if (frames.at(-1).flow && !DASH.test(line.slice(column))) return readFlow(here, line, column, offset);
  while (frames.at(-1).flow) frames.pop(); // braces that were never closed
  if ((column === line.length && !last) || line[column] === "#") return written(here, line, column, offset, false);
  leave(frames, column, DASH.test(line.slice(column)));
  while (DASH.test(line.slice(column))) {
    if (frames.at(-1).is !== "list" || frames.at(-1).column !== column) frames.push({ is: "list", column });
    column = line.length - line.slice(column + 1).trimStart().length;
  }
  const key = KEY.exec(line.slice(column));
  if (!key && /[{[]/.test(line[column] ?? "")) return readFlow(here, line, column, offset);
  if (!key) {
    if (column <= frames.at(-1).column) frames.at(-1).key = null;
    return written(here, line, column, offset, false);
  }
  let settings = frames.at(-1);
  if (settings.is !== "settings" || settings.column < column) {
    settings = { is: "settings", column, keys: [] };
    frames.push(settings);
  }
  settings.key = bare(key[1]);
  settings.keys.push(settings.key);
  column = line.length - line.slice(column + key[0].length).trimStart().length;
  return /[{[]/.test(line[column] ?? "") ? readFlow(here, line, column, offset) : written(here, line, column, offset, true);
}

// A line ends what is indented more than it, and a list ends where a line has its column but no dash.
function leave(frames, column, dash) {
  const stays = (frame) => frame.column < column || (frame.column === column && (frame.is === "settings" || dash));
  while (frames.length > 1 && !stays(frames.at(-1))) frames.pop();
}

function written(here, line, column, offset, value) {
  const word = line.slice(column);
  Object.assign(here, { word, column, from: offset + column, value, comment: /(^|\s)#/.test(word), over: false });
}

// Braces and brackets, sign by sign, until the line is over; they may go on in the next one.
function readFlow(here, line, begin, offset) {
  const { frames } = here;
  let from = begin;
  let quote = "";
  const blank = (row) => !line.slice(from, row).trim();
  for (let row = begin; row < line.length; row += 1) {
    const sign = line[row];
    const top = frames.at(-1);
    if (quote) {
      if (sign === quote) quote = "";
    } else if (`"'`.includes(sign) && blank(row)) {
      quote = sign;
    } else if (sign === "#" && /\s/.test(line[row - 1] ?? " ")) {
      break;
    } else if ("{[".includes(sign) && blank(row)) {
      frames.push({ is: sign === "{" ? "settings" : "list", flow: true, keys: [], key: null });
      from = row + 1;
    } else if (top.flow && "}],".includes(sign)) {
      if (sign === ",") top.key = null;
      else frames.pop();
      from = row + 1;
    } else if (top.flow && top.is === "settings" && top.key === null && sign === ":" && /^([\s,}\]]|$)/.test(line.slice(row + 1, row + 2))) {
      top.key = bare(line.slice(from, row).trim());
      top.keys.push(top.key);
      from = row + 1;
    }
  }
  const top = frames.at(-1);
  const column = line.length - line.slice(from).trimStart().length;
  written(here, line, column, offset, Boolean(top.flow && top.key !== null));
  here.over = !top.flow;
}

const bare = (key) => (/^["']/.test(key) ? key.slice(1, -1) : key);

// The keys of the group in which the cursor stands that come behind it.
function keysAfter(text, at, top) {
  if (top.flow) {
    const rest = /^[^{}[\]\n]*(?:[{[][^{}[\]\n]*[}\]][^{}[\]\n]*)*/.exec(text.slice(at))[0];
    return [...rest.matchAll(/,\s*([^,:{}[\]"']+?)\s*:(?=\s)/g)].map((found) => found[1]);
  }
  const found = [];
  for (let begin = text.indexOf("\n", at) + 1; begin > 0; begin = text.indexOf("\n", begin) + 1) {
    const line = /.*/.exec(text.slice(begin, begin + 400))[0];
    const column = line.length - line.trimStart().length;
    if (!line.trim() || line[column] === "#") continue;
    if (column < top.column) break;
    const key = column === top.column && KEY.exec(line.slice(column));
    if (key) found.push(bare(key[1]));
  }
  return found;
}

// -- what the vocabulary says of it

// Give each frame the `kind` of its settings, what freely named ones are (`each`), and the value at its key or in its list.
function understood(vocabulary, frames) {
  let value = { kind: "Plan" };
  for (const frame of frames) {
    if (frame.is === "settings") Object.assign(frame, { kind: vocabulary.kinds[value.kind], group: value });
    const next = frame.is === "list" ? value.list : frame.kind?.settings[frame.key] ?? value.each;
    value = (frame.is === "settings" && frame.key === null ? null : next) ?? {};
    frame.value = value;
  }
  return value;
}

// What can be written at `at`: {from, to, word, choices}, or null; `to` is behind what is left of a key that it replaces. A choice has `label`, `apply` (what is put there; what
// stands in it between ⟨ and ⟩ is an example, to be written over), `help`, `rank` and whether it is a `key`.
export function choices(vocabulary, text, at) {
  const here = stand(text, at);
  if (here.comment || here.over) return null;
  const value = understood(vocabulary, here.frames);
  const top = here.frames.at(-1);
  const there = top.is === "settings" ? new Set([...top.keys, ...keysAfter(text, at, top)]) : new Set();
  let found;
  if (here.value) found = values(vocabulary, value, true);
  else if (top.is === "list") found = [...values(vocabulary, value, false), ...entries(vocabulary, value)];
  else if (top.flow || here.column <= top.column) found = keys(top.kind, top.group, there);
  else if (value.list) found = entries(vocabulary, value.list).map((each) => ({ ...each, apply: `- ${each.apply}` }));
  else found = keys(vocabulary.kinds[value.kind], value, new Set());
  const rest = here.value ? null : /^[^:,{}[\]\n#]*: ?/.exec(text.slice(at, at + 400));
  return found.length ? { from: here.from, to: at + (rest?.[0].length ?? 0), word: here.word, choices: found } : null;
}

function keys(kind, group, there) {
  const chosen = kind?.first.some((key) => there.has(key));
  const known = Object.entries(kind?.settings ?? {}).filter(([key]) => !(chosen && kind.first.includes(key)));
  const free = (group.names ?? []).map((name) => [name, group.each]);
  return [...known, ...free].filter(([key]) => !there.has(key)).map(([key, value]) => (
    { label: key, key: true, help: value.help, apply: `${key}: `, rank: kind?.first.includes(key) ? 2 : 1 }
  ));
}

function values(vocabulary, value, groups) {
  const alone = groups ? value.list?.words ?? [] : []; // a list of one may be written as that one
  const words = [...(value.words ?? alone), ...(value.usual ?? []).filter((word) => !value.words?.includes(word))];
  const made = words.map((word) => ({ label: word, help: value.help, apply: word, rank: value.words?.includes(word) ? 2 : 1 }));
  const kind = vocabulary.kinds[value.kind];
  if (groups && kind) made.push({ label: "{ }", help: kind.help, apply: "{⟨⟩}", rank: 0 });
  if (groups && value.list) made.push({ label: "[ ]", help: value.help, apply: `[⟨${value.list.usual?.[0] ?? ""}⟩]`, rank: 0 });
  return made;
}

// Entries of a list, begun with each of the settings of which they have one.
function entries(vocabulary, value) {
  const kind = vocabulary.kinds[value.kind];
  if (!kind) return [];
  const begins = kind.first.length ? kind.first : Object.keys(kind.settings).slice(0, 1);
  return begins.map((key) => {
    const { help, usual, words } = kind.settings[key];
    return { label: key, help, apply: `{${key}: ⟨${usual?.[0] ?? words?.[0] ?? ""}⟩}`, rank: 3 };
  });
}

// What the setting at a place does, as {key, help}; null where there is none.
export function told(vocabulary, text, at) {
  const rest = /^[^:,{}[\]\n#]*:(?=\s|$)/.exec(text.slice(at, at + 400));
  const here = stand(text, rest ? at + rest[0].length : at);
  if (here.comment) return null;
  understood(vocabulary, here.frames);
  const frame = here.frames.findLast((each) => each.key && each.kind?.settings[each.key]);
  return frame ? { key: frame.key, help: frame.kind.settings[frame.key].help } : null;
}
