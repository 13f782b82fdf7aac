// From one text to another by the least that has to be changed, so that cursors and comments stay where they are.

const MOST = 4e6; // pairs of lines that are compared; beyond that the middle is exchanged as one piece

// The edits [{from, to, insert}] that make `after` of `before`, in the order of the text; places are those of `before`.
export function edits(before, after) {
  if (before === after) return [];
  const [old, made] = [lines(before), lines(after)];
  let start = 0;
  while (start < old.length && start < made.length && old[start] === made[start]) start += 1;
  let end = 0;
  while (end < old.length - start && end < made.length - start && old.at(-1 - end) === made.at(-1 - end)) end += 1;
  const [a, b] = [old.slice(start, old.length - end), made.slice(start, made.length - end)];
  let from = old.slice(0, start).reduce((sum, line) => sum + line.length, 0);
  const found = [];
  for (const [removed, added, same] of blocks(a, b)) {
    if (removed !== added) found.push(within(from, removed, added));
    from += removed.length + same.length;
  }
  return found;
}

const lines = (text) => text.match(/[^\n]*\n|[^\n]+$/g) ?? [];

// [what goes, what comes, what stays behind it], each as text, by the longest row of lines that both have.
function blocks(a, b) {
  if (a.length * b.length > MOST) return [[a.join(""), b.join(""), ""]];
  const width = b.length + 1;
  const best = new Uint32Array((a.length + 1) * width);
  for (let i = a.length - 1; i >= 0; i -= 1) {
    for (let j = b.length - 1; j >= 0; j -= 1) {
      best[i * width + j] = a[i] === b[j]
        ? best[(i + 1) * width + j + 1] + 1
        : Math.max(best[(i + 1) * width + j], best[i * width + j + 1]);
    }
  }
  const found = [];
  let [i, j] = [0, 0];
  while (i < a.length || j < b.length) {
    const [goes, comes, stays] = [[], [], []];
    while (!(i < a.length && j < b.length && a[i] === b[j]) && (i < a.length || j < b.length)) {
      if (j >= b.length || (i < a.length && best[(i + 1) * width + j] >= best[i * width + j + 1])) goes.push(a[i++]);
      else comes.push(b[j++]);
    }
    while (i < a.length && j < b.length && a[i] === b[j]) {
      stays.push(a[i]);
      [i, j] = [i + 1, j + 1];
    }
    found.push([goes.join(""), comes.join(""), stays.join("")]);
  }
  return found;
}

// Of two pieces of text only what is different between their beginnings and their ends.
function within(from, removed, added) {
  let start = 0;
  while (start < removed.length && start < added.length && removed[start] === added[start]) start += 1;
  let end = 0;
  const most = Math.min(removed.length, added.length) - start;
  while (end < most && removed.at(-1 - end) === added.at(-1 - end)) end += 1;
  return { from: from + start, to: from + removed.length - end, insert: added.slice(start, added.length - end) };
}

// Where a place lies after edits; one inside a piece that was exchanged goes to its end.
export function moved(place, changes) {
  let shift = 0;
  for (const { from, to, insert } of changes) {
    if (place < from || (place === from && to > from)) break;
    if (place < to) return from + shift + insert.length;
    shift += insert.length - (to - from);
  }
  return place + shift;
}

// Both what was typed here (`ours`) and what came (`theirs`), each made of `base`. Where both changed the same piece ours
// stays.
export function merged(base, ours, theirs) {
  const mine = edits(base, ours);
  const met = ({ from, to }) => mine.some((each) => from <= each.to && each.from <= to);
  const all = [...mine, ...edits(base, theirs).filter((each) => !met(each))].sort((one, other) => one.from - other.from);
  return applied(base, all);
}

export function applied(text, changes) {
  let made = "";
  let at = 0;
  for (const { from, to, insert } of changes) {
    made += text.slice(at, from) + insert;
    at = to;
  }
  return made + text.slice(at);
}
