"""The rules for slowdowns: whether the slowest point may be heard as an ending, and how deep the ends are."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import chain

import numpy as np

from timing.cautions.endings import (
    DEEP,
    FAR,
    HEARD,
    SLOWER,
    TURNS,
    Endings,
    Facts,
    MusicalEnds,
    like_an_ending,
)
from timing.cautions.phrases import bars_from, bars_until
from timing.cautions.rules import ADVICE, EVIDENCE, remark_at, rule, said
from timing.cautions.slowdowns import EndsThatGiveWay, Slowdown, slowdowns, tempo_starts
from timing.columns import NEAR, ROUNDING, WITHIN
from timing.plan.edits import added, replaced, written
from timing.plan.position import parse_range
from timing.plan.time import Slowing
from timing.reading import Reading
from timing.remarks import Edit, Remark, Severity
from timing.time.phrases import PhraseRun
from timing.where import Fault, Where

LONG_PHRASE = 6.25  # bars: one that is longer often has others in it
_MOST_TRIED = 50  # phrase ends, for a suggestion

# How much less a small end slows than the larger one: four bars to 84 %, eight to 77 % (`EVIDENCE`).
MILDER = (1 - 0.84) / (1 - 0.77)


# -- the slowest point


@dataclass(frozen=True)
class _Case:
    """A slowdown that may be heard as an ending: what there is about its slowest point, in which phrase that lies, and
    the phrase end that it has run over before, in quarters, if any."""

    slow: Slowdown
    severity: Severity
    facts: Facts
    phrase: PhraseRun
    over: float | None

    @property
    def share(self) -> float:
        """How much of the phrase is over at the slowest point, 0-1."""
        return (self.slow.end - self.phrase.start) / (self.phrase.end - self.phrase.start)


def _cases(reading: Reading, endings: Endings) -> Iterable[_Case]:
    """Every case once for each entry and place: the gravest of its hearings."""
    ends = phrase_ends(reading)
    found: dict[tuple[int, tuple[str, float]], _Case] = {}
    for slow in slowdowns(reading):
        key = id(slow.entry), reading.where.beat_before(slow.end)[:2]
        if slow.entry.printed or (key in found and found[key].severity is Severity.CAUTION):
            continue
        phrase = endings.phrase_at(slow.end)
        facts = endings.facts(slow.end, slow.to, slow.entry, slow.start) if phrase is not None else None
        severity = like_an_ending(facts) if facts is not None else None
        if phrase is None or facts is None or severity is None or (key in found and severity is Severity.ADVICE):
            continue
        row = int(np.searchsorted(ends, slow.end)) - 1
        over = float(ends[row]) if row >= 0 and ends[row] > slow.start + NEAR else None
        found[key] = _Case(slow, severity, facts, phrase, over)
    return found.values()


_PLACE = (
    f"more than {FAR:g} felt beats from the ending of every phrase, of whatever level (an ending is from the phrase's "
    f"last note on); {HEARD:.0%} or more slower than the end of the phrase that it lies in (a beat that a fermata, "
    "breath or caesura lengthens there counts too); the movement of the notes goes on across it (their attacks in the "
    f"bar before and in the bar after differ less than {TURNS:g} to 1); and the score asks for no time there (rit. in "
    "the slowdown; fermata, breath, double bar, repeat sign or new tempo within a beat)"
)
_DEPTH = f"A caution if it slows to {DEEP:.0%} or below, advice to {SLOWER:.0%}"
_STUDIES = (
    "23 sonata movements of Mozart and Beethoven in competition performances (ASAP dataset, F. Foscarin et al., ISMIR "
    "2020), with phrases as the DCML annotations have them, as measured for this project: the caution would blame 13 % "
    "of 2,743 slowings to 80 % or below of single pianists and 8 % of the 167 that four or more share, and finds 83 % "
    "of them if they are moved from the end of a phrase into its middle (14, 10 and 76 % in movements that were not "
    f"looked at while the rule was made). {EVIDENCE}: in those excerpts 94 % of the slowdowns deeper than 10 % are "
    "slowest in the last half of their phrase or within a beat after it (random points: 60 %), in the sonatas 55 %"
)


@rule(
    "slowing-mid-phrase",
    "Listeners may take the slowest point for an ending, though the phrase goes on.",
    example="""\
score: umbrella-stand.musicxml
tempo: 126
phrases: [{bars: 1-8, inside: [1-4, 5-8]}]
slowing:
  - {rallentando: 5:1 - 6:1, to: 75%, then: a tempo}
""",
    threshold=(
        f"the slowest point is {_PLACE}. {_DEPTH}; advice too where it lies in a phrase of more than {LONG_PHRASE:g} "
        "bars that is not divided and the music itself seems to end something there. A gradual tempo (`over:`) that "
        "falls is judged in the same way"
    ),
    source=_STUDIES,
    mends="moves the slowdown to the nearest phrase end that does not slow yet",
    asks="Shall one hear an ending there?",
)
def slowing_mid_phrase(reading: Reading) -> Iterator[Remark]:
    """What has run over a phrase end on its way is told as `slowing-over-end` instead."""
    endings, music = Endings(reading), MusicalEnds(reading)
    for case in _cases(reading, endings):
        if case.over is not None:
            continue
        slow, spot = case.slow, reading.where.beat_before(case.slow.end)
        message = (
            f"{slow.name} is slowest at {said(spot)}, {case.share:.0%} of the way through the phrase "
            f"{case.phrase.phrase.bars}, {_own_end(case.facts)}: it may be heard as an ending"
        )
        place = slow.entry.place(slow.key)
        undivided = case.phrase.bars > LONG_PHRASE and not case.phrase.phrase.inside
        if undivided and (over := music.end_at(slow.end)) is not None:
            divided = _divided(case.phrase, over, reading)
            message += f"; the music seems to end something here: if you hear it so, write {divided}"
            yield remark_at(ADVICE, "slowing-mid-phrase", message, spot, place, divided)
            continue
        end, nearest, fix = _moved(slow, reading, endings)
        if end is not None:
            which = "the nearest phrase end" + " that does not slow yet" * (not nearest)
            message += f"; {which} is at {said(reading.where.beat_before(end))}"
        elif not nearest:
            message += "; every phrase end where it could stand slows already"
        if undivided:
            message += f" (if a smaller phrase ends at {said(spot)}, say so with 'inside')"
        yield remark_at(case.severity, "slowing-mid-phrase", message, spot, place, fix=fix)


def _own_end(facts: Facts) -> str:
    slows = facts.own_end <= 1 - HEARD
    return f"whose own end slows to {facts.own_end:.0%} only" if slows else "whose own end does not slow"


def _divided(phrase: PhraseRun, end: float, reading: Reading) -> str:
    """How a plan has `inside` for a phrase that something ends in, at this quarter."""
    return f"inside: {written([bars_until(phrase, end, reading), bars_from(phrase, end, reading)])}"


@rule(
    "slowing-over-end",
    "An ending that is only reached after the next phrase has begun blurs both: one hears neither the end of the one "
    "nor the beginning of the other.",
    example="""\
score: umbrella-stand.musicxml
tempo: 126
phrases: [{bars: 1-8, inside: [1-4, 5-8]}]
slowing:
  - {rallentando: 4:1 - 6:1, to: 75%, then: a tempo}
""",
    threshold=(
        f"the slowdown begins before a phrase end and its slowest point comes later, {_PLACE}. {_DEPTH}. (One that "
        "goes on to the end of the next phrase is a long slowdown, and not told)"
    ),
    source=f"{_STUDIES}. Slowdowns that run over an end are hardly among them: none that pianists share",
    mends="ends the slowdown where the phrase ends",
    asks="Where shall one hear the ending?",
)
def slowing_over_end(reading: Reading) -> Iterator[Remark]:
    """Told instead of `slowing-mid-phrase` where the slowdown has begun in the phrase before."""
    endings = Endings(reading)
    for case in _cases(reading, endings):
        if case.over is None:
            continue
        slow, spot = case.slow, reading.where.beat_before(case.slow.end)
        message = (
            f"{slow.name} runs over the phrase end at {said(reading.where.beat_before(case.over))} and is slowest only "
            f"at {said(spot)}, {case.share:.0%} of the way through the phrase {case.phrase.phrase.bars}, "
            f"{_own_end(case.facts)}: the next phrase has begun before the one before it is heard to end"
        )
        *_, fix = _moved(slow, reading, endings, case.over)
        yield remark_at(case.severity, "slowing-over-end", message, spot, slow.entry.place(slow.key), fix=fix)


def phrase_ends(reading: Reading) -> np.ndarray:
    """(n,) quarters, sorted, at which phrases end."""
    return np.unique(reading.phrase_spans[1])


# -- the slowdown, moved


def _moved(
    slow: Slowdown, reading: Reading, endings: Endings, over: float | None = None
) -> tuple[float | None, bool, tuple[Edit, ...]]:
    """The phrase end where the slowdown is not unusual and no other change of pace acts, in quarters; whether none that
    is nearer is left out for such a change; and the changes that put it there: the end that it has run `over`, else the
    nearest, first of those that are near on the page as well. Its beginning stays, if at least half of it comes before
    that end."""
    where, passes = reading.where, slow.entry.passes
    ends = phrase_ends(reading)
    first, last = where.line(slow.end - WITHIN)
    elsewhere = (ends <= first) | (ends > last + NEAR)  # beyond a repeat, say
    nearest = ends[np.lexsort((-ends, np.abs(ends - slow.end), elsewhere))][:_MOST_TRIED].tolist()
    others = [(each.run.start, each.until) for each in reading.pace.slowings if each.entry is not slow.entry]
    starts, untils = np.array(others).reshape(-1, 2).T
    free = True
    for end in chain([over] if over is not None else [], nearest):
        stays = end == over and end - slow.start >= slow.length / 2
        start = slow.start if stays else max(end - slow.length, where.line(end - WITHIN)[0])
        text = where.range_text(start, end)
        try:
            runs = [run for run in where.runs(parse_range(text), passes) if run.complete]
        except (Fault, ValueError):
            continue
        if not runs or any(endings.judge(run.end, slow.to, slow.entry, run.start) is not None for run in runs):
            continue
        if any(np.any((starts < run.end - NEAR) & (untils > run.start + NEAR)) for run in runs):
            free = False
            continue
        return end, free, _rewritten(slow, text, end, reading)
    return None, free, ()


def _rewritten(slow: Slowdown, bars: str, end: float, reading: Reading) -> tuple[Edit, ...]:
    """The slowdown as the plan would write it over other bars that end at the quarter `end`."""
    entry, where = slow.entry, reading.where
    if isinstance(entry, Slowing):
        # the place by which it came back belongs to the old bars
        returned = {"then": "a tempo"} if entry.then is not None else {}
        return (replaced(entry, {slow.key: bars} | returned),)
    edits = [replaced(entry, {"over": bars})]
    if end < where.length:  # the tempo that comes after it moves with it
        beat, (moments, marks) = where.felt_beat(slow.end) + NEAR, tempo_starts(reading)
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
        f"{HEARD:.0%} of the tempo or more, than there in the phrase that contains it, or the end of that one does not "
        "slow at all and has no hold. It is advice, since players do it too"
    ),
    source=(
        f"{EVIDENCE}: inner ends slow less than the ends that contain them, four-bar ends to 80 to 89 % of the tempo, "
        "eight-bar ends to 68 to 79 %. In 14 sonata movements (as for `slowing-mid-phrase`) this would be told of 12 "
        "of 42 slowings that four or more pianists share at smaller ends, 4 of them before a larger end that does not "
        "slow (single pianists: 195 and 55 of 744). The margin is about the least difference of tempo that is surely "
        "heard (C. Drake and M.-C. Botte, Perception & Psychophysics 54, 1993, from memory)"
    ),
    mends="makes the smaller end milder; where the larger one does not slow, it slows as much",
)
def inner_end_slower(reading: Reading) -> Iterator[Remark]:
    where, giving_way = reading.where, EndsThatGiveWay(reading)
    current: dict[int | None, PhraseRun] = {}  # by number, the hearing that began last
    seen = set()
    for inner in reading.phrases:
        current[inner.number] = inner
        outer = current.get(inner.outer)
        if outer is None or not (inner.run.complete and outer.run.complete) or inner.end > outer.end - NEAR:
            continue
        slow, larger = giving_way.slowest(inner.end), giving_way.slowest(outer.end)
        if slow is None or slow is larger or not isinstance(slow.entry, Slowing):
            continue
        if slow.entry.printed or id(slow.entry) in seen:
            continue
        if larger is None and giving_way.held(outer.end):
            continue
        pace = larger.to if larger is not None else 1.0
        if slow.to > pace - HEARD + ROUNDING:
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
        yield remark_at(
            ADVICE, "inner-end-slower", message, where.beat_before(slow.end), slow.entry.place(slow.key), fix=(fix,)
        )


def _slowed_as_much(slow: Slowdown, outer: PhraseRun, where: Where) -> Edit:
    """A slowdown at the end of the outer phrase that is as deep as this one."""
    bars = where.range_text(max(outer.end - slow.length, where.line(outer.end - WITHIN)[0]), outer.end)
    keys = {slow.key: bars, "to": f"{slow.to:.0%}"}
    if outer.end < where.length:
        keys["then"] = "a tempo"
    return added("slowing", keys | ({"pass": slow.entry.passes} if slow.entry.passes else {}))

