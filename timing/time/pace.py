"""The pace of a performance: tempo marks, arches, slowing and holds brought together into one time map."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from timing import timemap
from timing.columns import NEAR, ROUNDING
from timing.plan import Plan
from timing.plan.kinds import Act
from timing.plan.time import Hold, TempoMark
from timing.remarks import CannotDo, Remark, Severity
from timing.time.movement import add_movement
from timing.time.phrases import PhraseRun, add_pace_arches, arch_knots, phrase_runs
from timing.time.rubato import add_rubato, rubato_cells
from timing.time.scale import AS_PLANNED, Scale
from timing.time.slowing import SlowingRun, bare_a_tempos, releases, slowing_events, slowing_runs
from timing.timemap import TimeMap, between, mixed, split
from timing.tracks import Event, Segment, follow, law
from timing.where import Run, Where, left_out
from timing.where.hearings import Hearings

STANDARD_TEMPO = 120.0  # quarters a minute where neither plan nor score says one (Standard MIDI Files 1.0)

SLOWEST, FASTEST = 0.01, 100_000.0  # quarters a minute, far beyond any music


@dataclass(frozen=True)
class Pace:
    """The time map and what shaped it. `breaths` are (quarters, seconds of silence before that moment,
    whether the clock waits for it)."""

    time: TimeMap
    phrases: list[PhraseRun]
    slowings: list[SlowingRun]
    releases: list[float]  # quarters at which a held pace ends: a new tempo, a tempo, where the order goes back
    louder: list[Segment]  # dB of the allargandos
    breaths: list[tuple[float, float, bool]]
    remarks: tuple[Remark, ...]


@np.errstate(over="ignore", divide="ignore", invalid="ignore")  # what grows beyond all measure is refused at the end
def build_pace(plan: Plan, where: Where, scale: Scale = AS_PLANNED) -> Pace:
    """Integrate everything the plan says about time."""
    hearings = Hearings(where)
    phrases = phrase_runs(plan.phrases, hearings)
    tempi = tempo_events(plan, hearings)
    track = follow(tempi, _first_tempo(plan, where), where.length, where.returns)
    track = [replace(each, first=each.first * scale.pace, last=each.last * scale.pace) for each in track]
    slowings = slowing_runs(plan.slowing, phrases, hearings, scale.amount)
    stretches = [stretch for hold in plan.holds for stretch in held_stretches(hold, hearings)]
    _tell_overlaps(stretches, hearings)
    knots = [*where.bars["start"], *arch_knots(phrases), *(end for s in slowings for end in (s.run.start, s.run.end))]
    knots += [segment.start for segment in track] + [end for start, stop, *_ in stretches for end in (start, stop)]
    pieces = split(timemap.strict(where.length, 1.0), knots)
    put_track(pieces, track, "t0", "t1", "tq")
    add_pace_arches(pieces, phrases, scale.amount)

    def arches(quarters: float) -> float:
        row = np.searchsorted(pieces["start"], quarters) - 1
        return math.exp(pieces["a0"][row] + pieces["a1"][row] + pieces["a2"][row])

    a_tempos = bare_a_tempos(plan.slowing, hearings)
    fresh = [(event.start, event.end) for event in tempi] + [(here, here) for here, _ in where.returns]
    inside = _inside([start for start, _ in fresh], slowings)
    fresh = [stretch for stretch, within in zip(fresh, inside, strict=True) if not within]
    pace_events, level_events = slowing_events(slowings, a_tempos, arches)
    slowing = follow(pace_events + releases(fresh, 1.0), 1.0, where.length)
    louder = follow(level_events + releases(fresh, 0.0), 0.0, where.length)
    pieces = split(pieces, [segment.start for segment in slowing])
    put_track(pieces, slowing, "v0", "v1", "vq")
    for start, end, length, _ in stretches:
        pieces["hold"][between(pieces, start, end)] /= length**scale.amount
    pieces = add_movement(pieces, plan.rubato, hearings, scale.amount)
    pieces = add_rubato(pieces, rubato_cells(plan.rubato, hearings, scale.amount), plan.rubato, hearings)
    silences = [(at, seconds, not hold.in_time) for hold in plan.holds for at, seconds in _silences(hold, hearings)]
    breaths = [(at, seconds * scale.amount, waits) for at, seconds, waits in silences if scale.amount]
    pieces = _add_silences(pieces, [(at, seconds) for at, seconds, waits in breaths if waits], where)
    _refuse_extremes(pieces, where)
    released = sorted(start for start, _ in fresh + a_tempos)
    return Pace(TimeMap(pieces), phrases, slowings, released, louder, breaths, tuple(hearings.remarks))


def _inside(moments: list[float], slowings: list[SlowingRun]) -> list[bool]:
    """Whether a slowdown is going on at each of these quarters; it then goes on over a new tempo. One that only begins
    there begins from the new tempo."""
    slow = np.array([(s.run.start, s.until) for s in slowings] or [(np.inf, np.inf)])
    row = np.searchsorted(slow[:, 0], moments) - 1
    return ((row >= 0) & (moments < slow[row, 1])).tolist()


def put_track(pieces: np.ndarray, track: list[Segment], first: str, last: str, q: str) -> None:
    """Write a track into the columns of a power law; the pieces must be cut where its segments begin."""
    starts = np.array([segment.start for segment in track])
    row = np.searchsorted(starts, pieces["start"], side="right") - 1
    table = np.array([(s.start, s.end, s.first**s.q, s.last**s.q, s.q) for s in track])[row]
    start, end, y0, y1, curvature = table.T
    pieces[first] = mixed(y0, y1, (pieces["start"] - start) / (end - start))
    pieces[last] = mixed(y0, y1, (pieces["end"] - start) / (end - start))
    pieces[q] = curvature


# -- tempo marks


def tempo_events(plan: Plan, hearings: Hearings) -> list[Event]:
    """The tempo changes of the plan."""
    primo = _first_tempo(plan, hearings.where)
    made = []
    for mark in plan.tempo:
        change = _new_tempo(mark.tempo, primo)
        if mark.over is not None:
            runs = [run for run in hearings.runs_of(mark, "over") if run.complete]
            made += [
                Event(run.start, run.end, _from_midway(change, mark, behind), mark.curvature, rank=1)
                for run, behind in zip(runs, left_out(runs), strict=True)
            ]
        elif mark.at is not None:
            made += [Event(float(s), float(s), change) for s in hearings.moments_of(mark, "at")]
    return made


def _first_tempo(plan: Plan, where: Where) -> float:
    """The tempo in force at the beginning."""
    for mark in plan.tempo:
        opens = mark.over is None and (mark.at is None or where.opens(mark.at))
        if opens and mark.passes in (None, 1) and not isinstance(mark.tempo, str):
            return mark.tempo
    return STANDARD_TEMPO


def _new_tempo(value: float | str, primo: float) -> Callable[[float], float]:
    if value == "tempo primo":
        return lambda _: primo
    if isinstance(value, str):
        ratio = float(value.rstrip("% ")) / 100
        return lambda tempo: tempo * ratio
    return lambda _: value


def _from_midway(change: Callable[[float], float], mark: TempoMark, behind: float) -> Callable[[float], float]:
    """The change of a gradual tempo of which a repeat leaves the share `behind` out: it still arrives where it did."""
    if not behind or change(1.0) == change(2.0):
        return change
    ratio = change(1.0)
    return lambda tempo: tempo / law(1.0, ratio, mark.curvature, behind) * ratio


# -- fermatas, accents, breaths


def held_stretches(hold: Hold, hearings: Hearings) -> list[tuple[float, float, float, Hold]]:
    """(start, end, how much longer, the entry) of a fermata or an agogic accent."""
    if hold.act is not Act.STRETCHES:
        return []
    made = []
    for run in hearings.runs_of(hold, hold.kind):
        end = run.end
        if hold.where.start == hold.where.end and hold.where.start.beat is not None:
            end = run.start + _held(run, hearings.where)
        made.append((run.start, end, hold.amount, hold))
    return made


def _tell_overlaps(stretches: list[tuple[float, float, float, Hold]], hearings: Hearings) -> None:
    """A caution where two holds act upon each other."""
    ordered = sorted(stretches, key=lambda stretch: stretch[:2])
    for (_, end, _, older), (start, _, _, hold) in pairwise(ordered):
        if start < end - ROUNDING:
            bar, beat, pass_ = hearings.where.beat(start)
            both = f"the {hold.kind} {hold.where} and the {older.kind} {older.where}"
            message = f"{both} meet: there each acts upon the other"
            hearings.remark(
                Severity.CAUTION, "holds-overlap", message, hold.place(hold.kind), bar_name=bar, beat=beat, pass_=pass_,
                suggestion="leave one of them out, or let the first end where the second begins",
            )  # fmt: skip


def _held(run: Run, where: Where) -> float:
    """What a hold at one position stretches: the shortest note that begins there (or goes on there, tied), but at
    least the beat."""
    bar = where.bars[run.first]
    notes = where.score.notes
    first, last = np.searchsorted(notes["bar"], (bar["row"], bar["row"] + 1))
    offset = run.start - bar["start"]
    here = notes[first:last]
    heads = where.score.heads
    tied = heads[(heads["bar"] == bar["row"]) & (heads["length"] > 0)]
    lengths = [rows["length"][(np.abs(rows["offset"] - offset) < NEAR) & (rows["length"] > 0)] for rows in (here, tied)]
    begun = lengths[0] if len(lengths[0]) else lengths[1]
    held = max(begun.min(), run.length) if len(begun) else run.length
    return float(min(held, where.line_ends[run.first] - run.start))


def _silences(hold: Hold, hearings: Hearings) -> list[tuple[float, float]]:
    """(quarters, seconds) of the silence before that moment."""
    if hold.act is not Act.SILENCES:
        return []
    return [(float(s), hold.amount) for s in hearings.moments_of(hold, hold.kind, after=True)]


def _add_silences(pieces: np.ndarray, silences: list[tuple[float, float]], where: Where) -> np.ndarray:
    """Stretch a short piece of score time just before each silence, so that the clock waits and still runs on."""
    widths = [_width(at, seconds, where) for at, seconds in silences]
    knots = [end for (at, _), width in zip(silences, widths, strict=True) for end in (at - width, at)]
    pieces = split(pieces, knots)
    for (at, seconds), width in zip(silences, widths, strict=True):
        part = between(pieces, at - width, at)
        lasts = timemap.lasting(pieces[part])
        pieces["hold"][part] *= lasts / (lasts + seconds)
    return pieces


def _width(at: float, seconds: float, where: Where) -> float:
    """Quarters of score time that wait for a silence before `at`: nothing begins in them."""
    notes, bars = where.score.notes, where.bars
    ordinal = int(np.searchsorted(bars["start"], at)) - 1
    first, last = np.searchsorted(notes["bar"], (bars["row"][ordinal], bars["row"][ordinal] + 1))
    onsets = bars["start"][ordinal] + notes["offset"][first:last]
    earlier = onsets[onsets < at - NEAR].max(initial=bars["start"][ordinal])
    # Wide enough that from a tempo of 7 on, and where there is room, no MIDI tempo is needed below the 3.58 quarters a
    # minute that 24 bits can say.
    return min(max(0.125, seconds / 8), (at - earlier) * 0.9)


def _refuse_extremes(pieces: np.ndarray, where: Where) -> None:
    """An error where all that shapes the pace comes together to something that no clock can follow."""
    with np.errstate(all="ignore"):
        tempi = timemap.tempo_at(pieces, np.tile([0.0, 0.5, 1.0], (len(pieces), 1)))
        bad = np.flatnonzero(~((tempi >= SLOWEST) & (tempi <= FASTEST)).all(axis=1))
    if len(bad):
        bar, beat, pass_ = where.beat(float(pieces["start"][bad[0]]))
        message = (
            f"at {bar}:{beat:g} the tempo marks, arches, slowdowns and holds of the plan multiply to a tempo outside "
            f"{SLOWEST:g} to {FASTEST:g} quarters a minute"
        )
        raise CannotDo([Remark(Severity.ERROR, "tempo-out-of-range", message, bar_name=bar, beat=beat, pass_=pass_)])
