"""Which phrases rise and fall in pace: arches that lower the sum of squares by more than they cost."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from timing.fitting.model import Model, Path, all_phrases, with_arches
from timing.fitting.pairs import Whitening
from timing.fitting.selecting import LEAST
from timing.plan.time import Arch, Phrase

PEAKS = (0.4, 0.3, 0.5, 0.6)  # of the way; the first one is the usual one
TRIED = 0.06  # of pace: how high the arches are that are tried
SHORTEST = 2.75  # bars of a phrase that can have one
MOST_HEIGHT = math.log(1.15)
USUAL_IS_ENOUGH = 2.0  # what another peak than the usual one has to earn


def arch_columns(model: Model) -> dict[tuple[Path, float], np.ndarray]:
    """(intervals,) of each phrase and peak, how much longer each interval is with an arch of log height 1."""
    course, plan = model.course, model.plan
    pace = model.pace()
    bare = np.log(np.diff(pace.time.seconds(course.pairs.quarters)) / course.pairs.spans)
    paths = [path for path, _ in all_phrases(plan.phrases)]
    rows: dict[Path, list[np.ndarray]] = {}
    for phrase in pace.phrases:
        if phrase.bars >= SHORTEST:
            inside = np.arange(len(bare))[course.within(phrase.start, phrase.end)]
            rows.setdefault(paths[phrase.number], []).append(inside)
    made = {}
    for depth in {len(path) for path in rows}:
        for peak in PEAKS:
            arch = Arch.model_construct(pace=TRIED, pace_peak=peak, level=None, level_peak=0.55)
            phrases = with_arches(plan.phrases, lambda path, _, d=depth, a=arch: a if len(path) == d else None)  # type: ignore[misc]
            change = Model(course, plan.model_copy(update={"phrases": phrases})).slow() - bare
            for path, hearings in rows.items():
                if len(path) == depth:
                    column = np.zeros(len(bare))
                    for each in hearings:
                        column[each] = change[each]
                    made[path, peak] = column / math.log1p(TRIED)
    return made


def chosen_arches(
    rest: np.ndarray,
    given: np.ndarray,
    columns: dict[tuple[Path, float], np.ndarray],
    whitening: Whitening,
    price: float,
) -> tuple[dict[Path, tuple[float, float]], np.ndarray]:
    """The arches that earn their price, one after the other: their peaks and log heights by the paths of their phrases;
    and (intervals,) how much longer each interval is with them and with what is `given` (intervals, n)."""
    white, basis = whitening(rest), whitening(given)
    frame = np.linalg.qr(basis)[0]
    keys, left = list(columns), white - frame @ (frame.T @ white)
    raised = whitening(np.column_stack([columns[key] for key in keys])) if keys else np.zeros((len(rest), 0))
    own = raised - frame @ (frame.T @ raised)
    extra = np.array([(peak != PEAKS[0]) * USUAL_IS_ENOUGH for _, peak in keys])
    chosen: dict[Path, tuple[float, float]] = {}
    taken: list[int] = []
    while keys:
        size, met = (own**2).sum(axis=0), own.T @ left
        open_ = (met > LEAST * size) & (size > 1e-9) & ~np.array([path in chosen for path, _ in keys])
        gain = np.where(open_, met**2 / np.maximum(size, 1e-9) - extra, 0.0)
        best = int(np.argmax(gain))
        if gain[best] <= price:
            break
        unit = own[:, best] / math.sqrt(size[best])
        left, own = left - unit * (unit @ left), own - np.outer(unit, unit @ own)
        chosen[keys[best][0]] = (keys[best][1], 0.0)
        taken.append(best)
    held = [basis, raised[:, taken]]
    names = list(chosen)
    amounts = np.linalg.lstsq(np.column_stack(held), white, rcond=None)[0]
    heights = amounts[given.shape[1] :]
    made = given @ amounts[: given.shape[1]]
    for path, height in zip(names, heights.tolist(), strict=True):
        peak = chosen[path][0]
        height = min(max(height, 0.0), MOST_HEIGHT)
        chosen[path] = (peak, height)
        made = made + columns[path, peak] * height
    return {path: each for path, each in chosen.items() if each[1] >= LEAST / 2}, made


def arched(phrases: Sequence[Phrase], arches: dict[Path, tuple[float, float]]) -> tuple[Phrase, ...]:
    """The phrases with these arches of pace; what they say of the level stays."""

    def arch(path: Path, old: Arch | None) -> Arch | None:
        if path not in arches:
            return None if old is None or not old.level else old.model_copy(update={"pace": None})
        peak, height = arches[path]
        flat = old or Arch.model_construct(pace=None, pace_peak=PEAKS[0], level=None, level_peak=0.55)
        return flat.model_copy(update={"pace": math.expm1(height), "pace_peak": peak})

    return with_arches(phrases, arch)
