"""Slowing down, hurrying and coming back: from the plan's entries to one value along the performed order."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from timing.columns import NEAR
from timing.plan.edits import replaced, shown
from timing.plan.kinds import Act
from timing.plan.time import Slowing
from timing.remarks import Edit, Severity
from timing.time.phrases import PhraseRun
from timing.tracks import Event
from timing.where import Fault, Run, Where
from timing.where.hearings import Hearings

DEFAULT_Q = 3.0  # constant braking power (A. Friberg and J. Sundberg, JASA 105, 1999)
DEFAULT_HURRY = 1.15  # the house's own value; no study of accelerandi gave one


@dataclass(frozen=True)
class SlowingRun:
    """One hearing of a slowdown or a hurrying: `to` is the pace against the basic tempo as it ends.

    It acts `until` this quarter: its end, or the beginning of a later entry that takes its place. By the quarter `back`
    the tempo has come back (its end: at once; None: it is held).
    """

    entry: Slowing
    run: Run
    to: float
    until: float
    back: float | None


def slowing_runs(
    entries: tuple[Slowing, ...], phrases: list[PhraseRun], hearings: Hearings, amount: float = 1.0
) -> list[SlowingRun]:
    """All hearings of all changes of pace (without the bare `a tempo` entries), sorted by start.

    Where two overlap, the entry that comes later in the plan replaces the earlier one. A slowdown acts only in the runs
    that contain its end. `amount` scales every change in log pace.
    """
    made: list[SlowingRun] = []  # sorted, and no two overlap
    overlaps = _Overlaps(hearings)
    endings = np.array([(p.end, p.bars) for p in phrases]).reshape(-1, 2)
    for entry in entries:
        if entry.act is Act.RETURNS:
            continue
        runs = [run for run in hearings.runs_of(entry, entry.kind) if run.complete]
        overlaps.starts[id(entry)] = np.array([run.start for run in runs])
        for run, back in zip(runs, _backs(entry, runs, hearings), strict=True):
            to = entry.to or usual_pace(entry.act, run.end, endings, hearings.where)
            _put(made, SlowingRun(entry, run, to**amount, run.end, back), overlaps)
    return made


def _backs(entry: Slowing, runs: list[Run], hearings: Hearings) -> list[float | None]:
    """For each run of an entry the quarter by which the tempo has come back: a place that is named counts where it is
    heard before the slowdown comes again; elsewhere the return is at once."""
    if entry.then is None or not runs:
        return [None] * len(runs)
    ends = np.array([run.end for run in runs])
    if entry.then is True:
        return ends.tolist()
    try:
        moments = hearings.where.moments(entry.then)
        fault = f"the return by {entry.then} does not come after the end of {entry.where}"
    except Fault as unknown:
        moments, fault = np.zeros(0), str(unknown)
    following = np.append(moments, np.inf)[np.searchsorted(moments, ends, side="right")]
    again = np.array([*(run.start for run in runs[1:]), hearings.where.length])
    if not np.any(following <= again):
        hearings.remark(Severity.ERROR, "plan-position", fault, entry.place("then"))
    return np.where(following <= again, following, ends).tolist()


def _put(made: list[SlowingRun], new: SlowingRun, overlaps: _Overlaps) -> None:
    """Put a run in its place; whatever it meets there gives way, with a caution."""
    first = bisect_left(made, new.run.start, key=lambda old: old.run.start)
    last = bisect_left(made, new.run.end, key=lambda old: old.run.start)
    for old in made[first:last]:
        overlaps.tell(old, new)
    made[first:last] = [new]
    if first and made[first - 1].until > new.run.start:
        overlaps.tell(made[first - 1], new)
        made[first - 1] = replace(made[first - 1], until=new.run.start)


class _Overlaps:
    """Tells where two changes of pace meet. `starts` are the quarters, sorted, at which entries are heard."""

    def __init__(self, hearings: Hearings):
        self.starts: dict[int, np.ndarray] = {}  # by the identity of the entry
        self._hearings = hearings
        self._fixes: dict[tuple, tuple[Edit, ...]] = {}

    def tell(self, old: SlowingRun, new: SlowingRun) -> None:
        bar, beat, pass_ = self._hearings.where.beat(max(old.run.start, new.run.start))
        message = (
            f"the {new.entry.kind} {new.entry.where} overlaps the {old.entry.kind} {old.entry.where}: "
            "where they meet only the later entry acts"
        )
        fix = self._parted(*sorted((old, new), key=lambda slow: slow.run.start))
        suggestion = shown(fix) or "end the first one before the second begins, or give them different passes"
        self._hearings.remark(
            Severity.CAUTION, "slowings-overlap", message, new.entry.place(new.entry.kind),
            bar_name=bar, beat=beat, pass_=pass_, suggestion=suggestion, fix=fix,
        )  # fmt: skip

    def _parted(self, first: SlowingRun, second: SlowingRun) -> tuple[Edit, ...]:
        """The change that lets the first end where the second begins, and the second go on from it, if the second
        begins there each time that the first is heard."""
        away = second.run.start - first.run.start
        key = id(first.entry), id(second.entry), round(away, 3)
        if key not in self._fixes:
            awaited, begun = self.starts[key[0]] + away, self.starts[key[1]]
            row = np.minimum(np.searchsorted(begun, awaited - NEAR), len(begun) - 1)
            follows = bool(np.all(np.abs(begun[row] - awaited) < NEAR))
            possible = away > NEAR and first.run.begun and follows and not first.entry.printed
            bars = self._hearings.where.range_text(first.run.start, second.run.start) if possible else ""
            changes = {first.entry.kind: bars, "then": None}
            self._fixes[key] = (replaced(first.entry, changes),) if possible else ()
        return self._fixes[key]


def usual_pace(act: Act, end: float, endings: np.ndarray, where: Where) -> float:
    """The pace that players slow to by this quarter, by what ends there: a piece .50, a phrase of eight bars .77, of
    four .84.

    88 performances of the Vienna 4x22 corpus (W. Goebl 1999) and some 200 of ASAP (F. Foscarin et al. 2020),
    as measured for this project. `endings` are (phrases, 2): the quarter at which each ends, and its bars.
    """
    if act is Act.HURRIES:
        return DEFAULT_HURRY
    if end >= where.length:
        return 0.50
    here = np.abs(endings[:, 0] - end) <= where.felt_beat(end) + NEAR
    return 0.77 if endings[here, 1].max(initial=0) >= 6 else 0.84


def slowing_events(
    runs: list[SlowingRun], a_tempos: list[tuple[float, float]], arches: Callable[[float], float]
) -> tuple[list[Event], list[Event]]:
    """Events of the slowing factor (1 is no slowing), and of the allargandos' level in dB.

    `arches(quarters)` is the factor of the arches just before that moment: a slowdown ends at `to` with them included.
    """
    pace, level, a_tempos = [], [], list(a_tempos)
    for slow in runs:
        entry, run = slow.entry, slow.run
        gradual_end = run.start if entry.does.at_once else run.end
        pace.append(Event(run.start, gradual_end, _to(slow.to / arches(run.end)), entry.curvature or DEFAULT_Q, rank=1))
        if entry.does.grows is not None:
            louder = entry.does.grows if entry.louder is None else entry.louder
            level.append(Event(run.start, run.end, _to(louder), rank=1))
        if slow.until < run.end:
            level.append(Event(slow.until, slow.until, lambda reached: reached))
        elif slow.back is not None:
            a_tempos.append((run.end, slow.back))
    for start, end in a_tempos:
        pace.append(Event(start, end, _to(1.0), DEFAULT_Q))
        level.append(Event(start, end, _to(0.0)))
    return pace, level


def releases(stretches: list[tuple[float, float]], value: float) -> list[Event]:
    """A pace that was held ends with a new tempo (over the stretch in which that is reached) and where the order goes
    back, for there a player reads on as the first time."""
    return [Event(start, end, _to(value), DEFAULT_Q, if_still=True) for start, end in stretches]


def bare_a_tempos(entries: tuple[Slowing, ...], hearings: Hearings) -> list[tuple[float, float]]:
    """(start, end) in quarters of the bare `a tempo` entries: at one position at once, over a range by degrees."""
    made = []
    for entry in entries:
        if entry.act is Act.RETURNS:
            once = entry.where.start == entry.where.end
            made += [(run.start, run.start if once else run.end) for run in hearings.runs_of(entry, entry.kind)]
    return made


def _to(value: float) -> Callable[[float], float]:
    return lambda _: value
