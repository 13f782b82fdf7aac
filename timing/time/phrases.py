"""Phrases along the performed order, and their arches."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from timing import timemap
from timing.performance import PHRASE
from timing.plan.time import Phrase
from timing.where import Run, Where
from timing.where.hearings import Hearings


@dataclass(frozen=True)
class PhraseRun:
    """One hearing of a phrase. Depth 0 is the outermost."""

    phrase: Phrase
    run: Run
    depth: int
    number: int  # counted over all phrases of the plan, each before those inside it
    outer: int | None  # the number of the phrase that it is inside of
    bars: float  # its length; a part of a bar counts as such

    @property
    def start(self) -> float:
        return self.run.start

    @property
    def end(self) -> float:
        return self.run.end


def phrase_runs(phrases: tuple[Phrase, ...], hearings: Hearings) -> list[PhraseRun]:
    """All hearings of all phrases, sorted by start, outer ones first."""
    made: list[PhraseRun] = []
    seen = 0

    def visit(phrase: Phrase, depth: int, outer: int | None) -> None:
        nonlocal seen
        number, seen = seen, seen + 1
        runs = hearings.runs_of(phrase, "bars")
        made.extend(PhraseRun(phrase, run, depth, number, outer, _length_in_bars(run, hearings.where)) for run in runs)
        for inner in phrase.inside:
            visit(inner if inner.passes else inner.model_copy(update={"passes": phrase.passes}), depth + 1, number)

    for phrase in phrases:
        visit(phrase, 0, None)
    return sorted(made, key=lambda p: (p.start, p.depth, -p.end))


def phrase_table(runs: list[PhraseRun]) -> np.ndarray:
    """PHRASE table of the hearings."""
    return np.array([(p.start, p.end, p.depth, p.number, p.phrase.name or str(p.phrase.bars)) for p in runs], PHRASE)


def add_arch(pieces: np.ndarray, run: Run, peak: float, height: float) -> None:
    """Add to a0, a1, a2 two half parabolas, 0 at the ends of `run` and `height` at its peak (N. Todd 1985, 1992).

    `pieces` must be cut at the ends and at `peak_of(run, peak)`.
    """
    top = peak_of(run, peak)
    for start, end, span in ((run.start, top, top - run.start), (top, run.end, run.end - top)):
        part = timemap.between(pieces, start, end)  # none, where a float cannot tell the peak from an end
        x = (pieces["start"][part] - top) / span
        dx = (pieces["end"][part] - pieces["start"][part]) / span
        pieces["a0"][part] += height * (1 - x**2)
        pieces["a1"][part] -= height * 2 * x * dx
        pieces["a2"][part] -= height * dx**2


def peak_of(run: Run, peak: float) -> float:
    """The quarter at which an arch over `run` is highest."""
    return run.start + peak * run.length


def arch_knots(runs: list[PhraseRun]) -> list[float]:
    """The quarters at which arches begin, turn and end."""
    knots = []
    for p in runs:
        if p.phrase.arch:
            knots += [p.start, p.end, peak_of(p.run, p.phrase.arch.pace_peak), peak_of(p.run, p.phrase.arch.level_peak)]
    return knots


def add_pace_arches(pieces: np.ndarray, runs: list[PhraseRun], amount: float = 1.0) -> None:
    """Shape the pace of `pieces` by all arches, from the inside out, each keeping the length of its phrase.

    Time is lent and given back within the phrase, with the inner arches and the tempo marks in place. `amount` scales
    their height in log pace.
    """
    for p in sorted(runs, key=lambda p: -p.depth):
        arch = p.phrase.arch
        if arch is None or not arch.pace:
            continue
        height = amount * math.log1p(_usual_pace(p.bars) if arch.pace is True else arch.pace)
        part = timemap.between(pieces, p.start, p.end)
        before = timemap.lasting(pieces[part])
        add_arch(pieces, p.run, arch.pace_peak, height)
        pieces["a0"][part] += np.log(timemap.lasting(pieces[part]) / before)


def add_level_arches(pieces: np.ndarray, runs: list[PhraseRun], amount: float = 1.0) -> None:
    """Add all level arches, in dB times `amount`, to a0, a1, a2."""
    for p in runs:
        arch = p.phrase.arch
        if arch is not None and arch.level:
            # the house's own value where the plan says only `true`: clearly heard, less than one dynamic mark
            add_arch(pieces, p.run, arch.level_peak, amount * (3.0 if arch.level is True else arch.level))


def _usual_pace(bars: float) -> float:
    """The arch of pace that players make over so many bars: none over two, 8 % over four, 6 % over eight.

    88 performances of the Vienna 4x22 corpus (W. Goebl 1999) and some 200 of ASAP (F. Foscarin et al. 2020),
    as measured for this project.
    """
    return 0.0 if bars < 3 else 0.08 if bars < 6 else 0.06


def _length_in_bars(run: Run, where: Where) -> float:
    bars = where.bars[run.first : run.last + 1]
    covered = np.minimum(bars["start"] + bars["length"], run.end) - np.maximum(bars["start"], run.start)
    full = bars["beats"] * 4 / bars["unit"]
    return float(np.sum(covered / full))
