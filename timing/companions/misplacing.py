"""Slowdowns moved from the ends of their phrases into the middle: the mistake that `slowing-mid-phrase` warns of, made
on purpose, so that it can be heard.

Only the slowdowns move. A fermata or a breath belongs to its note or to the end of its phrase, and stays there. What
stays too: a slowdown that does not end a phrase; one whose pace is held on afterwards or that goes on from such a pace,
since moving it would change the tempo of other bars; one for which the middle of its phrase has no room; and one
that would not be heard as an ending there (`timing.cautions.endings`), as long as others would.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from timing.cautions.endings import SLOWER, Endings
from timing.cautions.slowing import phrase_ends
from timing.columns import NEAR, WITHIN
from timing.plan.kinds import Act
from timing.plan.position import Position, Range, parse_position, parse_range
from timing.plan.time import Slowing
from timing.reading import Reading
from timing.remarks import CannotDo, Severity
from timing.time.phrases import PhraseRun
from timing.time.slowing import SlowingRun
from timing.where import Fault, Passes, Run, Where
from timing.where.beats import beats_of, felt_beat

MOST_HEARD = 5_000  # hearings of all changes of pace: far beyond any music

SHORT_PHRASE = 2.75  # bars; the middle of a shorter one is near both its ends
_MOST_TRIED = 32  # beats about the middle of a phrase


def misplaced(reading: Reading) -> tuple[tuple[Slowing, ...], int, int]:
    """The entries of `slowing` (those that the score prints among them) with the slowdowns that end a phrase moved, so
    that they are slowest near the middle of it; how many are moved, and how many slowdowns are not.

    The phrase is the innermost one of three bars or more that the slowdown ends. A slowdown keeps its depth, its passes
    and its return (one by a place comes as much later as it did), and its length as far as the phrase has room for it
    before that point. Its `why` is left out, for that belongs to the old place. Those move that the warning tells of at
    their new place; where none is deep enough for that, the milder ones. CannotDo where nothing is moved.
    """
    slowing = reading.plan.slowing
    slowdowns = [entry for entry in slowing if entry.act is Act.SLOWS]
    if not slowdowns:
        raise _nothing("the plan and the score have no slowdowns")
    if not reading.phrases:
        raise _nothing("the plan has no phrases, and a slowdown is misplaced against its phrase")
    if len(reading.pace.slowings) > MOST_HEARD:
        message = f"the slowdowns are heard more than {MOST_HEARD:,} times: too often to be misplaced one by one"
        raise CannotDo.because("too-much", message)
    heard = _Heard(reading)
    moved: dict[int, Slowing] = {}
    for deepest in (1.0, SLOWER):  # to which those that are milder are taken to go
        if not moved:
            moved = {id(entry): made for entry in slowdowns if (made := _moved(entry, heard, deepest)) is not None}
    if not moved:
        raise _nothing("none of the slowdowns would be heard as an ending in the middle of a phrase that it ends")
    return tuple(moved.get(id(entry), entry) for entry in slowing), len(moved), len(slowdowns) - len(moved)


def _nothing(why: str) -> CannotDo:
    return CannotDo.because("nothing-to-misplace", f"there is nothing to misplace: {why}")


class _Heard:
    """What is heard of the slowdowns, while they are moved one after the other."""

    def __init__(self, reading: Reading):
        self.reading, self.where = reading, reading.where
        slows = reading.pace.slowings
        self.releases = np.array(reading.pace.releases)
        self.spans, self.ends, self.endings = reading.phrase_spans, phrase_ends(reading), Endings(reading)
        self.runs: dict[int, list[SlowingRun]] = {}  # by the identity of the entry
        for slow in slows:
            self.runs.setdefault(id(slow.entry), []).append(slow)
        self.over = dict(zip(map(id, slows), self._overs(slows), strict=True))  # by the identity of the run
        self.owner = np.array([id(slow.entry) for slow in slows])
        self.busy = np.array([(slow.run.start, self.over[id(slow)]) for slow in slows]).reshape(-1, 2)

    def _overs(self, slows: list[SlowingRun]) -> list[float]:
        """For each change of pace the quarter by which the tempo is back: after one that is held on, by a release, or
        when the next change is over."""
        made, start, over = [], np.inf, self.where.length
        for slow in reversed(slows):
            if slow.back is not None and slow.until == slow.run.end:
                over = slow.back
            else:
                release = self.releases[np.searchsorted(self.releases, slow.until - NEAR) :][:1]
                over = float(release[0]) if len(release) and release[0] <= start + NEAR else over
            made.append(over)
            start = slow.run.start
        return made[::-1]

    def free(self, start: float, end: float, entry: Slowing) -> bool:
        """Whether no other change of pace acts, and no tempo begins, between these quarters."""
        met = (self.busy[:, 0] < end - NEAR) & (self.busy[:, 1] > start + NEAR) & (self.owner != id(entry))
        return not met.any() and not np.any((self.releases > start + NEAR) & (self.releases < end - NEAR))

    def move(self, entry: Slowing, stretches: list[tuple[float, float]]) -> None:
        """Take note of where an entry acts now."""
        kept = self.owner != id(entry)
        self.busy = np.concatenate([self.busy[kept], np.array(stretches)])
        self.owner = np.concatenate([self.owner[kept], np.full(len(stretches), id(entry))])


@dataclass(frozen=True)
class _Place:
    """Where a slowdown could go: from `start` to `end` in quarters, which a plan writes as `bars`, on these passes."""

    start: float
    end: float
    bars: Range
    passes: Passes
    then: Position | bool | None
    runs: list[Run]


def _moved(entry: Slowing, heard: _Heard, deepest: float) -> Slowing | None:
    """The entry in the middle of its phrase, or None where it has to stay; its place is judged as if it went to this
    pace at least."""
    slows = heard.runs.get(id(entry), [])
    if not slows or len({slow.to for slow in slows}) > 1:  # the usual pace of different ends cannot be written as one
        return None
    phrases = [phrase for slow in slows if (phrase := _ended(slow, heard)) is not None]
    if len(phrases) < len(slows) or not all(_alone(slow, heard) for slow in slows):
        return None
    chosen = None
    for place in _places(entry, slows, phrases, heard):
        severity = _severity(place, entry, min(slows[0].to, deepest), heard)
        if severity is Severity.CAUTION:
            chosen = place
            break
        if severity is not None and chosen is None:
            chosen = place
    if chosen is None:
        return None
    later = _return_after(slows[0])
    heard.move(entry, [(run.start, run.end + later) for run in chosen.runs])
    return _rewritten(entry, chosen, slows[0].to)


def _ended(slow: SlowingRun, heard: _Heard) -> PhraseRun | None:
    """The phrase that a slowdown ends: the innermost of three bars or more in whose last bar, or within a beat after
    which, it is slowest."""
    where, end = heard.where, slow.run.end
    starts, ends, bars = heard.spans
    around = np.flatnonzero((starts + NEAR < end) & (end <= ends + where.felt_beat(end) + NEAR))
    grown = around[bars[around] >= min(SHORT_PHRASE, bars[around].max(initial=0.0))]
    ended = grown[end > ends[grown] - where.full_bar(end - WITHIN) + NEAR]
    return heard.reading.phrases[ended[np.argmin(bars[ended])]] if len(ended) else None


def _alone(slow: SlowingRun, heard: _Heard) -> bool:
    """Whether a slowdown begins in tempo, is heard to its end and does not hold its pace on."""
    if slow.until < slow.run.end - NEAR:
        return False
    begun = (heard.busy[:, 0] < slow.run.start - NEAR) & (heard.busy[:, 1] > slow.run.start + NEAR)
    held = slow.back is None and heard.over[id(slow)] > slow.run.end + heard.where.felt_beat(slow.run.end) + NEAR
    return not begun.any() and not (held and slow.run.end < heard.where.length - NEAR)


def _return_after(slow: SlowingRun) -> float:
    """Quarters from the end of a slowdown until the tempo is back by degrees; 0 where it is back at once."""
    return slow.back - slow.run.end if slow.back is not None else 0.0


def _places(entry: Slowing, slows: list[SlowingRun], phrases: list[PhraseRun], heard: _Heard) -> Iterator[_Place]:
    """The places in the middle of the phrase to which all hearings of an entry can be moved alike."""
    where, first, phrase = heard.where, slows[0].run, phrases[0]
    later = _return_after(slows[0])
    within = sorted({ordinal for each in phrases for ordinal in range(each.run.first, each.run.last + 1)})
    passes = (entry.passes, *np.unique(where.bars["pass"][within]).tolist(), tuple(within))
    for end in _beats_about_the_middle(phrase, heard):
        start = max(end - first.length, phrase.start)
        if end - start < where.felt_beat(end) - NEAR and end - start < first.length - NEAR:
            continue
        try:
            bars = parse_range(where.range_text(start, end))
            then = parse_position(where.position_text(end + later)) if later else True
            when, runs = _as_often(bars, passes, phrases, heard.where)
        except (Fault, ValueError):
            continue
        if runs and all(heard.free(run.start, run.end + later, entry) for run in runs):
            yield _Place(start, end, bars, when, then, runs)


def _as_often(
    bars: Range, choice: tuple[Passes, ...], phrases: list[PhraseRun], where: Where
) -> tuple[Passes, list[Run]]:
    """Of a choice of passes the first on which the bars are heard once in each of these phrases, and these runs; no
    runs where there is none."""
    for passes in choice:
        runs = [run for run in where.runs(bars, passes) if run.complete]
        if len(runs) == len(phrases) and all(
            run.begun and p.start - NEAR < run.start and run.end < p.end for run, p in zip(runs, phrases, strict=True)
        ):
            return passes, runs
    return None, []


def _beats_about_the_middle(phrase: PhraseRun, heard: _Heard) -> list[float]:
    """Quarters of the beats in the middle half of a phrase, the nearest to its middle first."""
    bars = heard.where.bars[phrase.run.first : phrase.run.last + 1]
    found = beats_of(bars, felt_beat(bars))
    found = found[found["begins"]]
    beats = bars["start"][found["row"]] + found["start"]
    middle, half = (phrase.start + phrase.end) / 2, (phrase.end - phrase.start) / 4
    beats = np.unique(beats[np.abs(beats - middle) <= half])
    return beats[np.lexsort((beats, np.abs(beats - middle)))][:_MOST_TRIED].tolist()


def _severity(place: _Place, entry: Slowing, to: float, heard: _Heard) -> Severity | None:
    """What a place earns: the caution, advice where one of the hearings earns no more, None where one earns neither."""
    told = set()
    for run in place.runs:
        row = int(np.searchsorted(heard.ends, run.end)) - 1
        severity = heard.endings.judge(run.end, to, entry, run.start)
        if severity is None or (row >= 0 and heard.ends[row] > run.start + NEAR):
            return None
        told.add(severity)
    return Severity.ADVICE if Severity.ADVICE in told else Severity.CAUTION


def _rewritten(entry: Slowing, place: _Place, to: float) -> Slowing:
    """The entry at its new place, in the words in which a plan would have it."""
    changes = {entry.kind: place.bars, "to": to, "then": place.then, "passes": place.passes, "why": None}
    made = entry.model_copy(update=changes)
    returned = "a tempo" if place.then is True else f"a tempo by {place.then}"
    said = {entry.kind: str(place.bars), "to": f"{100 * to:g}%", "then": returned}
    made._source = {key: value for key, value in (entry.source or {}).items() if key not in ("why", "pass")} | said
    if isinstance(place.passes, int | str):
        made._source["pass"] = place.passes
    return made
