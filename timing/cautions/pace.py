"""The rules for the pace as a whole: coming back, what multiplies, sudden jumps, the basic tempo."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from timing.cautions.endings import HEARD
from timing.cautions.rules import ADVICE, CAUTION, COMMON_PRACTICE, OWN_VALUE, remark_at, rule
from timing.cautions.slowdowns import slowdowns, tempo_starts
from timing.columns import NEAR, ROUNDING
from timing.marks.uses import Fate
from timing.plan.edits import added, replaced
from timing.plan.kinds import Act
from timing.plan.time import Slowing, TempoMark
from timing.reading import Reading
from timing.remarks import Edit, Remark
from timing.time.pace import STANDARD_TEMPO
from timing.timemap import tempo_at
from timing.where import Where
from timing.where.beats import is_compound
from timing.where.naming import bars_at

JUMP = 1.10  # against the pace before, up or down


@rule(
    "no-phrases",
    "Without phrases there is nothing to judge a slowdown by.",
    example="""\
score: umbrella-stand.musicxml
tempo: 126
slowing:
  - {rallentando: 27:1 - 28:3, to: 60%, then: a tempo}
""",
    threshold="a slowdown, and no phrase in the whole plan",
    source=OWN_VALUE,
    mends="makes one phrase of the whole piece, for you to divide",
)
def no_phrases(reading: Reading) -> Iterator[Remark]:
    slow = next((slow for slow in slowdowns(reading) if not slow.entry.printed), None)
    if slow is not None and not reading.plan.phrases:
        message = "the plan has slowdowns but no phrases, so where they fall cannot be judged"
        fix = added("phrases", {"bars": bars_at(reading.score, 0, len(reading.score.bars) - 1)})
        yield remark_at(ADVICE, "no-phrases", message, None, slow.entry.place(slow.key), fix=(fix,))


@rule(
    "no-return",
    "A pace that is never taken back sounds like a new tempo, not like the end of a phrase.",
    example="""\
score: umbrella-stand.musicxml
tempo: 126
order: [1-16]
phrases: [{bars: 1-8, inside: [1-4, 5-8]}]
slowing:
  - {rallentando: 7:1 - 8:1, to: 85%}
""",
    threshold=(
        "after the change of pace there is no `then:`, no `a tempo`, no new tempo and no return of the order before "
        "the next change of pace that begins more than a beat later, or before the last bar of the piece"
    ),
    source=f"{COMMON_PRACTICE}: after a rallentando one writes a tempo",
    mends="lets the tempo come back at once (`then: a tempo`)",
)
def no_return(reading: Reading) -> Iterator[Remark]:
    slowings, where = reading.pace.slowings, reading.where
    last_bar, releases = float(where.bars["start"][-1]), np.array(reading.pace.releases)
    seen = set()
    for slow, following in zip(slowings, [*(s.run.start for s in slowings[1:]), where.length], strict=False):
        entry, end = slow.entry, slow.until
        chained = following < where.length and following <= end + where.felt_beat(end)  # the next one goes on from it
        if entry.then is not None or end >= last_bar - NEAR or chained or entry.printed or id(entry) in seen:
            continue
        if np.any((releases >= end - NEAR) & (releases <= following + NEAR)):
            continue
        seen.add(id(entry))
        message = f"after the {entry.kind} {entry.where} nothing brings the tempo back: the new pace stays"
        fix = replaced(entry, {"then": "a tempo"})
        yield remark_at(ADVICE, "no-return", message, where.beat_before(end), entry.place(entry.kind), fix=(fix,))


# -- what multiplies


@rule(
    "slowings-multiply",
    "Two things that slow down at once multiply, and the end is slower than either of them says.",
    example="""\
score: umbrella-stand.musicxml
tempo:
  - {tempo: 126}
  - {over: 7-8, tempo: 96}
phrases: [{bars: 1-8, inside: [1-4, 5-8]}]
slowing:
  - {rallentando: 7:1 - 8:1, to: 75%, then: a tempo}
""",
    threshold=(
        f"from the beginning of a slowdown to its end the basic tempo falls by {HEARD:.0%} or more. (Two slowdowns "
        "never multiply: the later one goes on from where the earlier one is)"
    ),
    source=(
        "the time map: the pace is the product of basic tempo and slowdown; the margin is about the least difference "
        "of tempo that is surely heard (C. Drake and M.-C. Botte, Perception & Psychophysics 54, 1993, from memory)"
    ),
    mends="lets the new tempo begin at once where the slowdown ends, if there is just one",
)
def slowings_multiply(reading: Reading) -> Iterator[Remark]:
    where, basic, seen = reading.where, reading.performance.time.basic, set()
    acting = _tempo_changes(reading)
    for slow in reading.pace.slowings:
        entry = slow.entry
        before, after = float(basic(slow.run.start)), float(basic(slow.until, before=True))
        if entry.act is Act.HURRIES or after > (1 - HEARD) * before + ROUNDING:
            continue
        if entry.printed or id(entry) in seen:
            continue
        seen.add(id(entry))
        product = slow.to * after / before
        suggestion: str | None
        fix: tuple[Edit, ...]
        message = (
            f"the {entry.kind} {entry.where} goes on while the basic tempo falls from {before:.4g} to {after:.4g} "
            f"quarters a minute: the two multiply, and its end is at {product:.0%} of the tempo before instead of "
            f"{slow.to:.0%}"
        )
        mark = _only_one(acting, slow.run.start, slow.until)
        if mark is not None and not mark.printed and _reads_on(slow.until, where):
            changes = {"over": None, "curvature": None, "at": where.position_text(slow.until)}
            suggestion, fix = None, (replaced(mark, changes),)
        else:
            suggestion, fix = "let one of the two do it: end the slowdown where the new tempo begins", ()
        spot, place = where.beat_before(slow.until), entry.place(entry.kind)
        yield remark_at(CAUTION, "slowings-multiply", message, spot, place, suggestion, fix)


def _tempo_changes(reading: Reading) -> tuple[np.ndarray, list[TempoMark]]:
    """(n, 2) quarters from and to which the tempi of the plan change, and which those are."""
    moments, marks = tempo_starts(reading)
    spans = np.stack([moments, moments], axis=1)
    found = [
        (mark, run)
        for mark in reading.plan.tempo
        if mark.over is not None
        for run in reading.where.runs(mark.over, mark.passes)
        if run.complete
    ]
    reached = np.array([(run.start, run.end) for _, run in found]).reshape(-1, 2)
    return np.concatenate([spans, reached]), [*marks, *(mark for mark, _ in found)]


def _only_one(changes: tuple[np.ndarray, list[TempoMark]], start: float, end: float) -> TempoMark | None:
    """The tempo of the plan that changes between two quarters, if it is just one."""
    spans, marks = changes
    acting = {id(marks[row]): marks[row] for row in np.flatnonzero((spans[:, 0] < end) & (spans[:, 1] > start))}
    return next(iter(acting.values())) if len(acting) == 1 else None


def _reads_on(quarters: float, where: Where) -> bool:
    """Whether the music goes on here as it stands on the page."""
    ordinal = where.ordinal(quarters)
    inside = quarters > where.bars["start"][ordinal] + NEAR
    return quarters < where.length - NEAR and (inside or bool(where.neighbours[ordinal - 1]))


# -- sudden jumps


@rule(
    "pace-jump",
    "A sudden new pace is heard as a new beginning; inside a phrase it breaks the line.",
    example="""\
score: umbrella-stand.musicxml
tempo: 126
phrases: [{bars: 1-8, inside: [1-4, 5-8]}]
slowing:
  - {stringendo: 5:1 - 6:3, to: 120%, then: a tempo}
  - {rallentando: 7:1 - 8:1, to: 85%, then: a tempo}
""",
    threshold=(
        f"from one moment to the next the pace rises or falls by {JUMP - 1:.0%} or more, inside a phrase and more than "
        "a beat from the beginning and end of every phrase. The beginning of a ritenuto, holds and the score's own "
        "tempo marks are not counted; nor is the return after a slowdown, for either it belongs to an ending or "
        "`slowing-mid-phrase` or `slowing-over-end` tells of it"
    ),
    source=(
        "our own value, about twice the least difference of tempo that is heard (3 to 6 %: C. Drake and M.-C. Botte, "
        "Perception & Psychophysics 54, 1993, from memory)"
    ),
    mends="lets the tempo come back little by little until the phrase ends; puts a new tempo where a phrase begins",
)
def pace_jump(reading: Reading) -> Iterator[Remark]:
    where, causes, seen = reading.where, _causes(reading), set()
    for moment, ratio in _jumps(reading):
        cause = causes.get(round(moment, 6))
        if cause is None or cause[0].printed or id(cause[0]) in seen:
            continue
        entry, key, what = cause
        seen.add(id(entry))
        change = f"{abs(ratio - 1):.0%} {'faster' if ratio > 1 else 'slower'}"
        message = f"{what} makes the pace {change} at once, inside a phrase: unusual, for it is heard as a beginning"
        fix = _smoothed(entry, key, moment, reading)
        yield remark_at(CAUTION, "pace-jump", message, where.beat(moment), entry.place(key), fix=fix)


def _jumps(reading: Reading) -> list[tuple[float, float]]:
    """The quarters inside phrases at which the pace jumps, holds aside, and its ratio there."""
    pieces = reading.performance.time.pieces.copy()
    pieces["hold"] = 1.0
    ratio = tempo_at(pieces, np.zeros(len(pieces)))[1:] / tempo_at(pieces, np.ones(len(pieces)))[:-1]
    rows = np.flatnonzero(np.abs(np.log(ratio)) >= np.log(JUMP) - ROUNDING)
    starts, ends, _ = reading.phrase_spans
    edges = np.unique(np.concatenate([starts, ends]))
    made = []
    for moment, step in zip(pieces["start"][1:][rows].tolist(), ratio[rows].tolist(), strict=True):
        beat = reading.where.felt_beat(moment) + NEAR
        near = np.searchsorted(edges, moment + beat) > np.searchsorted(edges, moment - beat)
        if not near and np.any((starts < moment) & (moment < ends)):
            made.append((moment, step))
    return made


def _causes(reading: Reading) -> dict[float, tuple[Slowing | TempoMark, str, str] | None]:
    """By quarters, what makes the pace jump there: the entry, its key that says so, and what it is in words. None where
    a slowdown ends (for that is judged by where it ends) and where a ritenuto begins."""
    where, plan, slowings = reading.where, reading.plan, reading.pace.slowings
    begins = np.array([slow.run.start for slow in slowings])

    def hurried(quarters: float) -> bool:
        """Whether the last change of pace before is a hurrying."""
        row = int(np.searchsorted(begins, quarters - NEAR)) - 1
        return row >= 0 and slowings[row].entry.act is Act.HURRIES

    made: dict[float, tuple | None] = {}
    for at, mark in zip(*tempo_starts(reading), strict=True):
        made[round(float(at), 6)] = mark, "at", f"the tempo at {mark.at}"
    for entry in plan.slowing:
        for run in where.runs(entry.where, entry.passes) if entry.act is Act.RETURNS else ():
            cause = (entry, "a tempo", f"the a tempo at {entry.where}")
            made[round(run.start, 6)] = cause if hurried(run.start) else None
    for slow in slowings:
        entry = slow.entry
        if slow.back == slow.until:
            cause = (entry, "then", f"the return after the {entry.kind} {entry.where}")
            made[round(slow.until, 6)] = cause if entry.act is Act.HURRIES else None
    made |= {round(slow.run.start, 6): None for slow in slowings if slow.entry.does.at_once}
    return made


def _smoothed(entry: Slowing | TempoMark, key: str, moment: float, reading: Reading) -> tuple[Edit, ...]:
    """A return by degrees until the innermost phrase ends; a new tempo at the nearest beginning of a phrase, if one is
    near on the page as well."""
    where, (starts, ends, bars) = reading.where, reading.phrase_spans
    if key == "at":
        first, last = where.line(moment)
        near = starts[(starts >= first - NEAR) & (starts < last - NEAR)]
        nearest = float(near[np.argmin(np.abs(near - moment))]) if len(near) else None
        return (replaced(entry, {"at": where.position_text(nearest)}),) if nearest is not None else ()
    around = np.flatnonzero((starts < moment) & (moment < ends))
    end = float(ends[around[np.argmin(bars[around])]])
    if key == "a tempo":
        return (replaced(entry, {"a tempo": where.range_text(moment, end)}),)
    return (replaced(entry, {"then": f"a tempo by {where.position_text(end - where.felt_beat(end))}"}),)


# -- the basic tempo


@rule(
    "no-tempo",
    "A tempo that nobody chose is seldom the one that is meant.",
    example="A score without metronome mark and tempo word, and a plan without `tempo:`.",
    threshold=(
        "neither the plan nor the score says a tempo, in numbers or in a word that is understood (or the plan ignores "
        f"the score's); {STANDARD_TEMPO:g} quarters a minute are played"
    ),
    source="the Standard MIDI File's own default (Standard MIDI Files 1.0)",
)
def no_tempo(reading: Reading) -> Iterator[Remark]:
    if not reading.plan.tempo:  # the score's own tempi are in it too, unless the plan ignores them
        ignored = any(use.section == "tempo" and use.fate is Fate.IGNORED for use in reading.marks)
        said = "the plan says no tempo and ignores the score's" if ignored else "neither plan nor score says a tempo"
        message = f"{said}: {STANDARD_TEMPO:g} quarters a minute are played"
        yield Remark(ADVICE, "no-tempo", message, suggestion="tempo: quarter = 72")


@rule(
    "bare-tempo",
    "In a compound metre most people feel dotted beats, so a bare number is easily misread.",
    example="""\
score: low-water.musicxml
tempo: 57
""",
    threshold="a tempo that is a bare number, in a metre of eighths or shorter that is felt in threes (6/8, 9/8, 12/8)",
    source=COMMON_PRACTICE,
    mends="writes the same tempo as so many dotted beats a minute",
)
def bare_tempo(reading: Reading) -> Iterator[Remark]:
    opening = reading.score.bars[0]
    beat = {8: "dotted quarter", 16: "dotted eighth", 32: "dotted sixteenth"}.get(int(opening["unit"]))
    if beat is None or not is_compound(opening):
        return
    bare = [(mark, number) for mark in reading.plan.tempo if (number := _bare(mark)) is not None]
    if bare:
        marks = [mark for mark, _ in bare]
        tempi = [f"{beat} = {number * int(opening['unit']) / 12:.4g}" for _, number in bare]
        message = f"the bare tempo {bare[0][1]:g} counts quarters, though this metre is felt in {beat}s"
        fix = tuple(replaced(mark, {"tempo": tempo}) for mark, tempo in zip(marks, tempi, strict=True))
        yield remark_at(ADVICE, "bare-tempo", message, None, marks[0].place("tempo"), f"tempo: {tempi[0]}", fix)


def _bare(mark: TempoMark) -> float | None:
    """The number of a tempo that is written as a number alone."""
    given = str((mark.source or {}).get("tempo"))
    return float(given) if given.replace(".", "", 1).isdecimal() else None
