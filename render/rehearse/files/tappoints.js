// Taps in the music: points around the curve of the pace.

import { drawn } from "./dom.js";
import { on } from "./link.js";
import { shown } from "./music.js";

let points = [];

// Draw these points: {row, offset, pass, pace}, the pace against the basic tempo.
export function layPoints(some) {
  points = some;
  lay();
}

on("laid", lay);

function lay() {
  for (const old of document.querySelectorAll("#music .taps")) old.remove();
  if (!shown.paper || !points.length) return;
  const groups = new Map();
  for (const point of points) {
    const spot = shown.paper.spot(point);
    const system = spot && shown.systems[spot.system];
    if (!system?.pace) continue;
    if (!groups.has(system)) groups.set(system, drawn("g", { class: "taps" }));
    const y = system.pace[1] + shown.paper.yOfPace(point.pace);
    groups.get(system).append(drawn("circle", { cx: spot.x, cy: y, r: 2.4, "data-pass": point.pass }));
  }
  for (const [system, group] of groups) system.hands.append(group);
}
