"""The slowdowns of a reading, hearing by hearing, and the other places at which its time gives way."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from timing.columns import NEAR, WITHIN
from timing.plan.kinds import Act
from timing.plan.time import Slowing, TempoMark
from timing.reading import Reading


@dataclass(frozen=True)
class Slowdown:
    """One hearing of a slowdown: an entry of `slowing`, or a slower tempo that is reached `over` a range."""

    entry: Slowing | TempoMark
    key: str  # that holds its range
    start: float  # quarters
    end: float  # where it is slowest
    length: float  # of its whole range
    to: float  # the pace at its end against the tempo before

    @property
    def name(self) -> str:
        bars = self.entry.value(self.key)
        return f"the slower tempo over {bars}" if self.key == "over" else f"the {self.key} {bars}"


def slowdowns(reading: Reading) -> list[Slowdown]:
    """All hearings of all slowdowns, sorted by start."""
    where, basic = reading.where, reading.performance.time.basic
    made = [
        Slowdown(slow.entry, slow.entry.kind, slow.run.start, slow.until, slow.run.length, slow.to)
        for slow in reading.pace.slowings
        if slow.entry.act is Act.SLOWS
    ]
    for mark in reading.plan.tempo:
        for run in where.runs(mark.over, mark.passes) if mark.over is not None else ():
            to = float(basic(run.end, before=True) / basic(run.start))
            if run.complete and to < 1 - NEAR:
                made.append(Slowdown(mark, "over", run.start, run.end, run.length, to))
    return sorted(made, key=lambda slow: slow.start)


def tempo_starts(reading: Reading) -> tuple[np.ndarray, list[TempoMark]]:
    """(n,) quarters, sorted, at which new tempi of the plan begin at once, and which those are."""
    made = [
        (float(at), mark)
        for mark in reading.plan.tempo
        if mark.at is not None
        for at in reading.where.moments(mark.at, mark.passes)
    ]
    made.sort(key=lambda pair: pair[0])
    return np.array([at for at, _ in made]), [mark for _, mark in made]


def waits(reading: Reading, printed: bool = False) -> np.ndarray:
    """(2, n) the quarters, sorted, at which fermatas, breaths and caesuras are over, and by which share of itself each
    lengthens the felt beat that it ends, at the basic tempo; `printed`: those of the score alone."""
    where, made = reading.where, [np.zeros((0, 2))]
    for hold in reading.plan.holds:
        if not hold.does.ends or (printed and not hold.printed):
            continue
        if hold.act is Act.STRETCHES:
            runs = where.runs(hold.where, hold.passes)
            longest = ((run.end, min(run.length / where.felt_beat(run.end), 1.0)) for run in runs)
            made += [np.array([(end, (hold.amount - 1) * beats)]) for end, beats in longest]
        else:
            moments = where.moments(hold.where, hold.passes, after=True)
            beats = np.array([where.felt_beat(float(moment)) for moment in moments])
            seconds = 0.0 if hold.in_time else hold.amount
            per_second = reading.performance.time.basic(moments, before=True) / 60 / beats
            made.append(np.stack([moments, seconds * per_second], axis=1))
    found = np.concatenate(made)
    return found[np.argsort(found[:, 0], kind="stable")].T


class EndsThatGiveWay:
    """How far the time gives way at the end of a phrase: in its last bar, or within a beat after it."""

    def __init__(self, reading: Reading):
        self._where, (self._over, self._longer) = reading.where, waits(reading)
        self._slows = sorted(slowdowns(reading), key=lambda slow: slow.end)
        self._moments = np.array([slow.end for slow in self._slows])

    def slowest(self, end: float, but: Slowing | TempoMark | None = None) -> Slowdown | None:
        """The deepest slowdown of the phrase that ends at this quarter; those of the entry `but` are not counted."""
        here = (slow for slow in self._slows[self._about(self._moments, end)] if slow.entry is not but)
        return min(here, key=lambda slow: slow.to, default=None)

    def held(self, end: float) -> bool:
        """Whether a fermata, a breath or a caesura ends there."""
        return bool(len(self._over[self._about(self._over, end)]))

    def held_to(self, end: float) -> float:
        """The pace of the slowest beat that a fermata, a breath or a caesura ends there, were nothing else slow; 1
        without one."""
        about = self._about(self._over, end)
        moments, longer = self._over[about], self._longer[about]
        shares = [longer[np.abs(moments - moment) < NEAR].sum() for moment in moments]
        return 1 / (1 + max(shares, default=0.0))

    def _about(self, moments: np.ndarray, end: float) -> slice:
        before, after = self._where.full_bar(end - WITHIN) - NEAR, self._where.felt_beat(end) + NEAR
        return slice(*np.searchsorted(moments, (end - before, end + after)))
