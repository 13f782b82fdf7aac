"""The rules for slowdowns: whether the slowest point is near the end of its phrase, and how deep it is there."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import chain

import numpy as np

from timing.cautions.rules import ADVICE, CAUTION, EVIDENCE, remark_at, rule, said
from timing.phrases import PhraseRun
from timing.plan.edits import added, replaced
from timing.plan.position import parse_range
from timing.plan.time import Slowing, TempoMark
from timing.reading import Reading
from timing.remarks import Edit, Remark, Severity
from timing.where import Fault, Where

# Share of slowdowns deeper than 10 % whose slowest point lies in the last half of its four-bar phrase, or within a beat
# after it: 94 %; in the last third: 88 % (random points: 60 and 42 %), by `EVIDENCE`.
LAST_HALF, LAST_THIRD = 1 / 2, 2 / 3
DEEP = 0.90

SHORT_PHRASE, LONG_PHRASE, FOUR_BARS = 2.75, 6.25, 4.0  # bars; players do not slow at the end of two
_MOST_TRIED = 50  # phrase ends, for a suggestion

# The least difference of tempo that is surely heard: C. Drake and M.-C. Botte, Perception & Psychophysics 54 (1993),
# found 3 to 6 % (from memory).
HEARD = 0.05
# How much less a small end slows than the larger one: four bars to 84 %, eight to 77 % (`EVIDENCE`).
MILDER = (1 - 0.84) / (1 - 0.77)


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
        if slow.entry.kind not in Slowing.HURRYING
    ]
    for mark in reading.plan.tempo:
        for run in where.runs(mark.over, mark.passes) if mark.over is not None else ():
            to = float(basic(run.end, before=True) / basic(run.start))
            if run.complete and to < 1 - 1e-6:
                made.append(Slowdown(mark, "over", run.start, run.end, run.length, to))
    return sorted(made, key=lambda slow: slow.start)


def tempo_starts(reading: Reading) -> tuple[np.ndarray, list[TempoMark]]:
    """(n,) quarters, sorted, at which new tempi of the plan begin at once, and which those are."""
    marks = [mark for mark in reading.plan.tempo if mark.at is not None]
    made = [(float(at), mark) for mark in marks for at in reading.where.moments(mark.at, mark.passes)]
    made.sort(key=lambda pair: pair[0])
    return np.array([at for at, _ in made]), [mark for _, mark in made]


# -- the slowest point


@dataclass(frozen=True)
class _Case:
    """A slowdown whose slowest point is unusual: in which phrase it lies, how far through (0-1), and the phrase end
    that it has run over before, in quarters, if any."""

    slow: Slowdown
    severity: Severity
    phrase: PhraseRun
    share: float
    over: float | None


def _cases(reading: Reading) -> Iterator[_Case]:
    """Every case once for each entry and place."""
    ends, seen = phrase_ends(reading), set()
    for slow in slowdowns(reading):
        spot = reading.where.beat_before(slow.end)
        severity, phrase, share = judge(slow.end, slow.to, reading)
        if severity is None or slow.entry.printed or (id(slow.entry), spot[:2]) in seen:
            continue
        seen.add((id(slow.entry), spot[:2]))
        row = int(np.searchsorted(ends, slow.end)) - 1
        over = float(ends[row]) if row >= 0 and ends[row] > slow.start + 1e-6 else None
        yield _Case(slow, severity, phrase, share, over)


_PLACE = (
    f"slowest before the last half of its phrase: a caution if it slows to {DEEP:.0%} or below, else advice; advice "
    f"too if it is that deep and slowest before the last third. The phrase is the innermost of about four bars (at "
    f"least {SHORT_PHRASE:g}; of one longer than {LONG_PHRASE:g} that is not divided, its last four bars). A beat "
    "before or after a phrase end counts as that end"
)
_PLACE_SOURCE = (
    f"{EVIDENCE}: of the slowdowns deeper than 10 %, 94 % are slowest in the last half of their phrase or within a "
    "beat after it, 88 % in the last third (random points: 60 and 42 %)"
)


@rule(
    "slowing-mid-phrase",
    "Listeners take the slowest point for the end of a phrase; in the middle of one it cuts the line in two.",
    example="""\
score: umbrella-stand.musicxml
tempo: 126
phrases: [{bars: 1-8, inside: [1-4, 5-8]}]
slowing:
  - {rallentando: 5:1 - 6:1, to: 75%, then: a tempo}
""",
    threshold=f"{_PLACE}. A gradual tempo (`over:`) that falls is judged in the same way",
    source=_PLACE_SOURCE,
    mends="moves the slowdown to the nearest phrase end",
)
def slowing_mid_phrase(reading: Reading) -> Iterator[Remark]:
    """What has run over a phrase end on its way is told as `slowing-over-end` instead."""
    for case in _cases(reading):
        if case.over is not None:
            continue
        slow, spot = case.slow, reading.where.beat_before(case.slow.end)
        message = (
            f"{slow.name} is slowest at {said(spot)}, {case.share:.0%} of the way through the phrase "
            f"{case.phrase.phrase.bars}, which is unusual: listeners hear the slowest point as an ending, so it cuts "
            "the phrase in two"
        )
        end, fix = _moved(slow, reading)
        if end is not None:
            message += f"; the nearest phrase end is at {said(reading.where.beat_before(end))}"
        if case.phrase.bars > LONG_PHRASE:
            message += f" (if a smaller phrase ends at {said(spot)}, say so with 'inside')"
        yield remark_at(case.severity, "slowing-mid-phrase", message, spot, slow.entry.place(slow.key), fix=fix)


@rule(
    "slowing-over-end",
    "An ending that is only reached after the next phrase has begun blurs both: one hears neither the end of the one "
    "nor the beginning of the other.",
    example="""\
score: umbrella-stand.musicxml
tempo: 126
phrases: [{bars: 1-8, inside: [1-4, 5-8]}]
slowing:
  - {rallentando: 4:1 - 5:2, to: 75%, then: a tempo}
""",
    threshold=(
        "the slowdown begins before a phrase end and its slowest point comes later than a beat after it, where it is "
        f"{_PLACE}. (One that goes on to the end of the next phrase is a long slowdown, and not told)"
    ),
    source=_PLACE_SOURCE,
    mends="ends the slowdown where the phrase ends",
)
def slowing_over_end(reading: Reading) -> Iterator[Remark]:
    """Told instead of `slowing-mid-phrase` where the slowdown has begun in the phrase before."""
    for case in _cases(reading):
        if case.over is None:
            continue
        slow, spot = case.slow, reading.where.beat_before(case.slow.end)
        message = (
            f"{slow.name} runs over the phrase end at {said(reading.where.beat_before(case.over))} and is slowest only "
            f"at {said(spot)}, {case.share:.0%} of the way through the phrase {case.phrase.phrase.bars}, which is "
            "unusual: the next phrase has begun before the one before it is heard to end"
        )
        _, fix = _moved(slow, reading, case.over)
        yield remark_at(case.severity, "slowing-over-end", message, spot, slow.entry.place(slow.key), fix=fix)


def judge(end: float, to: float, reading: Reading) -> tuple[Severity | None, PhraseRun | None, float]:
    """How unusual it is to be slowest (at the pace `to`) at the quarter `end`; in which phrase, how far through (0-1).

    The place is judged against the innermost phrase of about four bars; in a long phrase that is not divided, against
    its last four bars.
    """
    beat = reading.where.felt_beat(end)
    starts, ends, bars = reading.phrase_spans
    around = np.flatnonzero((starts + 1e-6 < end) & (end <= ends + beat + 1e-6))
    if not len(around):
        return None, None, 0.0
    grown = around[bars[around] >= min(SHORT_PHRASE, bars[around].max())]
    if np.any(np.abs(ends[grown] - end) <= beat + 1e-6):
        return None, None, 1.0
    row = grown[np.argmin(bars[grown])]
    length = ends[row] - starts[row]
    judged = length * FOUR_BARS / bars[row] if bars[row] > LONG_PHRASE else length
    late = 1 - (ends[row] - end) / judged
    deep = to <= DEEP + 1e-9
    if late < LAST_HALF - 1e-9:
        severity = CAUTION if deep else ADVICE
    else:
        severity = ADVICE if deep and late < LAST_THIRD - 1e-9 else None
    return severity, reading.phrases[row], 1 - float((ends[row] - end) / length)


def phrase_ends(reading: Reading) -> np.ndarray:
    """(n,) quarters, sorted, at which phrases end that are long enough to end with a slowdown."""
    _, ends, bars = reading.phrase_spans
    return np.unique(ends[bars >= min(SHORT_PHRASE, bars.max(initial=0))])


# -- the slowdown, moved


def _moved(slow: Slowdown, reading: Reading, over: float | None = None) -> tuple[float | None, tuple[Edit, ...]]:
    """The phrase end where the slowdown is not unusual, in quarters, and the changes that put it there: the end that it
    has run `over`, else the nearest, first of those that are near on the page as well. Its beginning stays, if at least
    half of it comes before that end."""
    where, passes = reading.where, slow.entry.passes
    ends = phrase_ends(reading)
    first, last = where.line(slow.end - 1e-4)
    elsewhere = (ends <= first) | (ends > last + 1e-6)  # beyond a repeat, say
    nearest = ends[np.lexsort((-ends, np.abs(ends - slow.end), elsewhere))][:_MOST_TRIED].tolist()
    for end in chain([over] if over is not None else [], nearest):
        stays = end == over and end - slow.start >= slow.length / 2
        start = slow.start if stays else max(end - slow.length, where.line(end - 1e-4)[0])
        text = where.range_text(start, end)
        try:
            runs = [run for run in where.runs(parse_range(text), passes) if run.complete]
        except (Fault, ValueError):
            continue
        if runs and all(judge(run.end, slow.to, reading)[0] is None for run in runs):
            return end, _rewritten(slow, text, end, reading)
    return None, ()


def _rewritten(slow: Slowdown, bars: str, end: float, reading: Reading) -> tuple[Edit, ...]:
    """The slowdown as the plan would write it over other bars that end at the quarter `end`."""
    entry, where = slow.entry, reading.where
    if isinstance(entry, Slowing):
        # the place by which it came back belongs to the old bars
        returned = {"then": "a tempo"} if entry.then is not None else {}
        return (replaced(entry, {slow.key: bars} | returned),)
    edits = [replaced(entry, {"over": bars})]
    if end < where.length:  # the tempo that comes after it moves with it
        beat, (moments, marks) = where.felt_beat(slow.end) + 1e-6, tempo_starts(reading)
        following = marks[slice(*np.searchsorted(moments, (slow.end - beat, slow.end + beat)))][:1]
        edits += [replaced(mark, {"at": where.position_text(end)}) for mark in following if not mark.printed]
    return tuple(edits)


# -- how deep


@rule(
    "inner-end-slower",
    "The deeper an ending, the more seems to end there; where a small phrase ends deeper than the large one, the form "
    "is heard upside down.",
    example="""\
score: umbrella-stand.musicxml
tempo: 126
phrases: [{bars: 1-8, inside: [1-4, 5-8]}]
slowing:
  - {rallentando: 3:1 - 4:3, to: 70%, then: a tempo}
  - {rallentando: 7:1 - 8:1, to: 85%, then: a tempo}
""",
    threshold=(
        "in the last bar of the smaller phrase, or within a beat after it, the pace is lower, by "
        f"{HEARD:.0%} of the tempo or more, than there in the phrase that contains it: a caution; advice where the "
        "larger end does not slow at all and has no hold"
    ),
    source=(
        f"{EVIDENCE}: inner ends slow less than the ends that contain them, four-bar ends to 80 to 89 % of the tempo, "
        "eight-bar ends to 68 to 79 %; the margin is about the least difference of tempo that is surely heard "
        "(C. Drake and M.-C. Botte, Perception & Psychophysics 54, 1993, from memory)"
    ),
    mends="makes the smaller end milder; where the larger one does not slow, it slows as much",
)
def inner_end_slower(reading: Reading) -> Iterator[Remark]:
    where, slows = reading.where, sorted(slowdowns(reading), key=lambda slow: slow.end)
    moments, holds = np.array([slow.end for slow in slows]), _hold_ends(reading)
    current: dict[int | None, PhraseRun] = {}  # by number, the hearing that began last
    seen = set()

    def about(ends: np.ndarray, end: float) -> slice:
        bar = where.bars[where.ordinal(end - 1e-4)]
        before, after = 4 * int(bar["beats"]) / int(bar["unit"]) - 1e-6, where.felt_beat(end) + 1e-6
        return slice(*np.searchsorted(ends, (end - before, end + after)))

    def deepest(end: float) -> Slowdown | None:
        return min(slows[about(moments, end)], key=lambda slow: slow.to, default=None)

    for inner in reading.phrases:
        current[inner.number] = inner
        outer = current.get(inner.outer)
        if outer is None or not (inner.run.complete and outer.run.complete) or inner.end > outer.end - 1e-6:
            continue
        slow, larger = deepest(inner.end), deepest(outer.end)
        if slow is None or slow is larger or not isinstance(slow.entry, Slowing):
            continue
        if slow.entry.printed or id(slow.entry) in seen:
            continue
        if larger is None and len(holds[about(holds, outer.end)]):
            continue
        pace = larger.to if larger is not None else 1.0
        if slow.to > pace - HEARD + 1e-9:
            continue
        seen.add(id(slow.entry))
        there = f"which goes to {pace:.0%}" if larger is not None else "which does not slow"
        message = (
            f"{slow.name} brings the end of the phrase {inner.phrase.bars} to {slow.to:.0%}, slower than the end of "
            f"the phrase {outer.phrase.bars} that contains it, {there}: unusual, for one hears the smaller end as the "
            "larger"
        )
        if larger is not None:
            fix = replaced(slow.entry, {"to": f"{1 - MILDER * (1 - pace):.0%}"})
        else:
            fix = _slowed_as_much(slow, outer, where)
        severity, spot = CAUTION if larger is not None else ADVICE, where.beat_before(slow.end)
        yield remark_at(severity, "inner-end-slower", message, spot, slow.entry.place(slow.key), fix=(fix,))


def _hold_ends(reading: Reading) -> np.ndarray:
    """(n,) quarters, sorted, at which fermatas, breaths and caesuras are over."""
    where, made = reading.where, []
    for hold in reading.plan.holds:
        if hold.kind == "fermata":
            made += [run.end for run in where.runs(hold.fermata, hold.passes)]
        elif hold.kind != "agogic":
            made += where.moments(hold.where, hold.passes, after=True).tolist()
    return np.sort(made)


def _slowed_as_much(slow: Slowdown, outer: PhraseRun, where: Where) -> Edit:
    """A slowdown at the end of the outer phrase that is as deep as this one."""
    bars = where.range_text(max(outer.end - slow.length, where.line(outer.end - 1e-4)[0]), outer.end)
    keys = {slow.key: bars, "to": f"{slow.to:.0%}"}
    if outer.end < where.length:
        keys["then"] = "a tempo"
    return added("slowing", keys | ({"pass": slow.entry.passes} if slow.entry.passes else {}))

