// Columns that the page carries as base64, and finding things in them.

function unpacked(text, Kind) {
  return new Kind(Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0)).buffer);
}

const floats = (text) => unpacked(text, Float64Array);
const whole = (text) => unpacked(text, Int32Array);

// The last row from `low` to `high` (left out) whose value is not above `value`; `low` if there is none.
function lastAtMost(column, value, low = 0, high = column.length) {
  let [first, end] = [low, high];
  while (end - first > 1) {
    const middle = (first + end) >> 1;
    if (column[middle] <= value) first = middle;
    else end = middle;
  }
  return first;
}

// The value of `to` where `from` (which rises) has `value`, straight between neighbouring rows.
function interpolated(from, to, value, low = 0, high = from.length) {
  const row = Math.min(lastAtMost(from, value, low, high), high - 2);
  if (row < low) return to[low];
  const span = from[row + 1] - from[row];
  const part = span > 0 ? Math.min(Math.max((value - from[row]) / span, 0), 1) : 0;
  return to[row] + part * (to[row + 1] - to[row]);
}
