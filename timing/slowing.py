"""Slowing down, hurrying and coming back: from the plan's entries to one value along the performed order."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from timing.phrases import PhraseRun, where_bars
from timing.plan import Slowing
from timing.remarks import Severity
from timing.tracks import Event
from timing.where import Fault, Run, Where

DEFAULT_Q = 3.0  # constant braking power (A. Friberg and J. Sundberg, JASA 105, 1999)
DEFAULT_HURRY = 1.15  # the house's own value; no study of accelerandi gave one
DEFAULT_LOUDER = 2.0  # dB, the house's own value: an allargando broadens (common practice)


@dataclass(frozen=True)
class SlowingRun:
    """One hearing of a slowdown or a hurrying: `to` is the pace against the basic tempo as it ends."""

    entry: Slowing
    run: Run
    to: float


def slowing_runs(entries: tuple[Slowing, ...], phrases: list[PhraseRun], where: Where) -> list[SlowingRun]:
    """All hearings of all changes of pace (without the bare `a tempo` entries), later entries replacing earlier ones
    where two overlap. A slowdown acts only in the runs that contain its end."""
    made: list[SlowingRun] = []
    for entry in entries:
        if entry.kind == "a tempo":
            continue
        for run in where.runs_of(entry, entry.kind):
            if not run.complete:
                continue
            new = SlowingRun(entry, run, entry.to or _usual(entry, run, phrases, where))
            made = [old for old in made if not _replaced(old, new, where)]
            made.append(new)
    return sorted(made, key=lambda s: s.run.start)


def _replaced(old: SlowingRun, new: SlowingRun, where: Where) -> bool:
    """Whether `new` takes the whole place of `old`; an overlap of any kind is worth a caution."""
    if old.run.start >= new.run.end - 1e-9 or new.run.start >= old.run.end - 1e-9:
        return False
    bar, beat, pass_ = where.beat(max(old.run.start, new.run.start))
    message = (
        f"the {new.entry.kind} {new.entry.where} overlaps the {old.entry.kind} {old.entry.where}: "
        "where they meet only the later entry acts"
    )
    suggestion = "end the first one before the second begins, or give them different passes"
    where.remark(
        Severity.CAUTION, "slowings-overlap", message, new.entry.place(new.entry.kind),
        bar=bar, beat=beat, pass_=pass_, suggestion=suggestion,
    )  # fmt: skip
    return old.run.start >= new.run.start


def _usual(entry: Slowing, run: Run, phrases: list[PhraseRun], where: Where) -> float:
    """The pace that players slow to, by what ends there: a piece .50, a phrase of eight bars .77, of four .84 (88
    performances of the Vienna 4x22 corpus, W. Goebl 1999, and the ASAP dataset, F. Foscarin et al. 2020, as measured for
    this project)."""
    if entry.kind in Slowing.HURRYING:
        return DEFAULT_HURRY
    if run.end >= where.length - 1e-6:
        return 0.50
    beat = 4 / int(where.bars["unit"][run.last])
    ending = [where_bars(p.run, where) for p in phrases if abs(p.end - run.end) <= beat]
    return 0.77 if ending and max(ending) >= 6 else 0.84


def slowing_events(
    runs: list[SlowingRun], a_tempos: list[tuple[float, float]], arches: Callable[[float], float], where: Where
) -> tuple[list[Event], list[Event]]:
    """Events of the slowing factor (1 is no slowing), and of the allargandos' level in dB.

    `arches(quarters)` is the factor of the arches just before that moment: a slowdown ends at `to` with them included.
    """
    pace, level = [], []
    for slow, following in zip(runs, [*(s.run.start for s in runs[1:]), math.inf], strict=False):
        entry, run = slow.entry, slow.run
        gradual_end = run.start if entry.kind == "ritenuto" else run.end
        pace.append(Event(run.start, gradual_end, _to(slow.to / arches(run.end)), entry.curvature or DEFAULT_Q, rank=1))
        if entry.kind == "allargando":
            louder = DEFAULT_LOUDER if entry.louder is None else entry.louder
            level.append(Event(run.start, run.end, _to(louder), rank=1))
        if entry.then is not None and following >= run.end - 1e-9:
            a_tempos = [*a_tempos, (run.end, _return(entry, run, where))]
    for start, end in a_tempos:
        pace.append(Event(start, end, _to(1.0), DEFAULT_Q))
        level.append(Event(start, end, _to(0.0)))
    return pace, level


def releases(tempo_marks: list[float], value: float) -> list[Event]:
    """A new tempo ends a pace that was held."""
    return [Event(at, at, _to(value), if_still=True) for at in tempo_marks]


def bare_a_tempos(entries: tuple[Slowing, ...], where: Where) -> list[tuple[float, float]]:
    """(start, end) in quarters of the entries that are only `a tempo`: at one position at once, over a range gradually."""
    made = []
    for entry in entries:
        if entry.kind == "a tempo":
            once = entry.where.start == entry.where.end
            made += [(run.start, run.start if once else run.end) for run in where.runs_of(entry, "a tempo")]
    return made


def _to(value: float) -> Callable[[float], float]:
    return lambda _: value


def _return(entry: Slowing, run: Run, where: Where) -> float:
    """The quarter by which `then: a tempo` has come back."""
    if entry.then is True:
        return run.end
    try:
        later = [s for s in where.moments(entry.then) if s > run.end]
        fault = f"the return by {entry.then} does not come after the end of {entry.where}"
    except Fault as unknown:
        later, fault = [], str(unknown)
    if later:
        return float(later[0])
    where.remark(Severity.ERROR, "plan-position", fault, entry.place("then"))
    return run.end
