"""Where a first reading gives way: at the ends of phrases as they are heard, and at the end of the piece.

How deep depends on what ends and on how sure that is. The values are measured means of human performances (W. Goebl's
Vienna 4x22 corpus, 1999, and F. Foscarin et al., ASAP, ISMIR 2020): how far ends of four and of eight bars and the end
of a piece are slowed, none at ends of two bars; and that nearly all of it lies in the last two beats before the next
phrase (lengthening in standard deviations, the fifth to the last beat: 0, 0, .1, .1, .3). The last slowdown of a piece
is heard only until the last notes begin, so it is over then; its numbers are those with which drafts agree best with
53 pieces of the ASAP dataset (tests/bench/draft_timing.py).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from timing.cautions.slowdowns import tempo_starts
from timing.columns import NEAR, WITHIN
from timing.drafting.items import DraftItem, percent, sureness
from timing.finding.phrases import FoundPhrase, range_of
from timing.notes.lines import voice_numbers
from timing.performance import BASS, INNER, MELODY
from timing.plan.kinds import Act
from timing.plan.position import Position, Range
from timing.plan.time import Slowing
from timing.reading import Reading
from timing.time.movement import movement
from timing.time.slowing import SlowingRun
from timing.where.naming import position_at, range_at

SHORT, LONG, LONGEST = 2.75, 6.0, 12.0  # bars: of phrases that are slowed, and of such as count as eight
PHRASE, LONG_PHRASE, SECTION = 0.84, 0.77, 0.72  # paces as ranges end; of a section it is our own choice
BEATS = 2  # over which an end is slowed
FINAL, LAST_BEATS, LATE = 0.40, 4, 4  # the same for the end of the piece, and its curvature: it gives way late
QUICKEST, SLOWEST = 0.26, 1.5  # seconds of a beat that is a bar instead, and of such a bar (own choice)
LEAST = 0.04  # of slowing that is worth an entry: less is hardly heard (C. Drake and M.-C. Botte 1993, from memory)
# Of equal voices, each a share: of alike beats; of the moments that the melody has. In a fugue: of single notes; of the
# moments that inner voices and the bass have at least, and the melody, alone or with the bass, at most.
EVEN, RUNNING = 0.85, (0.5, 0.8)
SINGLE, INNER_PART, LOW_PART, TOP_PART = 0.98, 0.2, 0.57, 0.72


@dataclass(frozen=True)
class HeardEnding:
    """The end of a phrase as it is heard: when (in quarters along the performed order), of what, and how sure it is.
    `since` is where its innermost phrase begins."""

    at: float
    since: float
    bars: float
    section: bool
    sure: float

    @property
    def to(self) -> float:
        """The pace that is reached: what is usual for such an end, less as it is less sure."""
        usual = SECTION if self.section else LONG_PHRASE if self.bars > LONG else PHRASE
        return round(1 - (1 - usual) * self.sure, 2)

    @property
    def why(self) -> str:
        return f"the end of a {'section' if self.section else 'phrase'} of {in_bars(self.bars)} ({sureness(self.sure)})"


def in_bars(bars: float) -> str:
    whole = round(bars)
    if abs(bars - whole) < 0.01:
        return f"{whole} bar{'s' * (whole != 1)}"
    return f"{bars:.1f} bars"


def slowing_items(reading: Reading, phrases: Sequence[FoundPhrase]) -> list[DraftItem]:
    """A slowdown at every phrase end that is sure enough, as deep as what ends there is large, the end of the piece
    deepest; none where the score prints a change of pace itself. Voices of equal weight that keep one movement going
    between them give way at the end of the piece alone."""
    if not phrases:
        return []
    begins, last = last_beats(reading)
    found = [] if equal_voices(reading) else endings(reading, phrases)
    items = _inner(reading, [ending for ending in found if ending.at < begins + NEAR])
    before = [slow for slow in _printed(reading) if _comes_before(reading, slow)]
    if not _changed(reading, begins, last, before) and last - begins > reading.where.felt_beat(last + NEAR) / 2:
        items += _final(reading, begins, last)
    return items


def endings(reading: Reading, phrases: Sequence[FoundPhrase]) -> list[HeardEnding]:
    """All ends of phrases as they are heard, sorted; of several at one moment the largest. A phrase that a repeat
    leaves before its end, as for its first ending, ends there too."""
    found: dict[float, HeardEnding] = {}

    def visit(phrase: FoundPhrase, outermost: bool) -> None:
        section = (phrase.section and outermost) or phrase.bars > LONGEST
        for run in reading.where.runs(range_of(reading.score, phrase)) if phrase.bars >= SHORT else ():
            bars = phrase.bars if run.complete else run.length / reading.where.full_bar(run.start)
            if bars < max(SHORT, phrase.bars / 2):
                continue  # the order leaves it soon after its beginning
            here = HeardEnding(run.end, run.start, bars, section, phrase.sure)
            at = round(run.end, 6)
            found[at] = _larger(found[at], here) if at in found else here
        for inner in phrase.inside:
            visit(inner, False)

    for phrase in phrases:
        visit(phrase, True)
    return [found[at] for at in sorted(found)]


def _larger(one: HeardEnding, other: HeardEnding) -> HeardEnding:
    """The larger of two ends at one moment, with the later beginning of both."""
    large, small = (one, other) if (one.section, one.bars) >= (other.section, other.bars) else (other, one)
    return HeardEnding(large.at, max(large.since, small.since), large.bars, large.section, large.sure)


def _inner(reading: Reading, found: Sequence[HeardEnding]) -> list[DraftItem]:
    """The slowdowns of ends within the piece, each place once; with its pass where it is not slowed each time."""
    chosen: dict[str, dict[float, HeardEnding]] = {}
    over = 0.0
    for ending in found:
        start, end = _stretch(reading, ending)
        if start < over - NEAR or end - start < NEAR or 1 - ending.to < LEAST - NEAR:
            continue
        if _changed(reading, start, end):
            continue
        over = end
        chosen.setdefault(_range(reading, start, end), {})[round(end, 3)] = ending
    items: list[DraftItem] = []
    for where, hearings in chosen.items():
        items += _each_time(reading, where, hearings)
    return items


def _each_time(reading: Reading, where: str, hearings: dict[float, HeardEnding]) -> Iterator[DraftItem]:
    ending = next(iter(hearings.values()))
    entry = {"rallentando": where, "to": percent(ending.to), "then": "a tempo"}
    for passes in _passes(reading, Slowing.model_validate({"rallentando": where}), set(hearings)):
        yield DraftItem(entry | passes, ending.why)


def _passes(reading: Reading, entry: Slowing, ends: set[float]) -> list[dict]:
    """The passes on which a slowdown ends at these quarters and no others: [{}] for every time."""
    where, bars = reading.where, reading.performance.bars

    def heard(passes: int | None) -> set[float]:
        runs = where.runs(entry.where, passes)
        return {round(run.end, 3) for run in runs if run.complete}

    if heard(None) == ends:
        return [{}]
    numbers = sorted({int(bars["pass"][where.ordinal(end - 1e-3)]) for end in ends})
    return [{"pass": number} for number in numbers if heard(number) and heard(number) <= ends]


def _stretch(reading: Reading, ending: HeardEnding) -> tuple[float, float]:
    """From where to where an end is slowed: its last beats as they are felt, through an upbeat of half a beat or less,
    but no more than half of its phrase. What ends soon after a beat, ends with it."""
    where = reading.where
    bar = where.bars[where.ordinal(ending.at - WITHIN)]
    beat = beat_of(reading, ending.at)
    line = float(bar["start"] - bar["shift"])
    end = line + np.floor((ending.at - line) / beat + 0.5 + NEAR) * beat
    end = min(end, float(bar["start"] + bar["length"]))
    most = np.floor((ending.at - ending.since) / 2 / beat + NEAR)
    start = end - min(BEATS, max(most, 1)) * beat
    return _on_page(reading, max(start, ending.since), end), float(end)


def beat_of(reading: Reading, quarters: float) -> float:
    """Quarters of a beat that is long enough to give way: as it is felt, or the bar where that goes by quicker than
    anyone would beat (common practice: a fast waltz is beaten in one)."""
    beat, bar = reading.where.felt_beat(quarters), reading.where.full_bar(max(quarters - WITHIN, 0.0))
    seconds = 60 / float(reading.performance.time.basic(max(quarters - WITHIN, 0.0)))
    return bar if beat * seconds < QUICKEST and bar * seconds <= SLOWEST else beat


def _on_page(reading: Reading, start: float, end: float) -> float:
    """From where on the music is played as it stands on the page until a quarter: `start`, or the place to which a
    repeat or jump has led since."""
    bars, neighbours = reading.where.bars, reading.where.neighbours
    number = reading.where.ordinal(end - WITHIN)
    while number > 0 and bars["start"][number] > start and neighbours[number - 1]:
        number -= 1
    return max(start, float(bars["start"][number]))


def _range(reading: Reading, start: float, end: float) -> str:
    """A stretch as a plan writes it: whole bars by their names alone, all else by its beats."""
    where = reading.where
    first, last = where.bars[where.ordinal(start)], where.bars[where.ordinal(end - WITHIN)]
    begins, ends = start - float(first["start"]), end - float(last["start"])
    found = range_at(reading.score, (int(first["row"]), begins), (int(last["row"]), ends))
    whole = found.start.beat is None and found.end.beat is None
    return str(found) if whole else where.range_text(start, end)


# -- the end of the piece


def last_onset(reading: Reading) -> float:
    """The quarter at which the last notes begin."""
    notes = reading.performance.notes
    notes = notes[(notes["step"] == 0) & (notes["score_length"] > 0)]
    return float(notes["score_onset"].max()) if len(notes) else 0.0


def _final(reading: Reading, begins: float, last: float) -> Iterator[DraftItem]:
    entry = {"rallentando": until_onset(reading, begins, last), "to": percent(FINAL), "curvature": LATE}
    runs = reading.where.runs(Slowing.model_validate(entry).where)
    again = {"pass": "last"} if sum(run.complete for run in runs) > 1 else {}
    yield DraftItem(entry | again, "the end of the piece: the slowest place, reached as the last notes begin")


def until_onset(reading: Reading, begins: float, last: float) -> str:
    """A range from one quarter to the very moment of another, as a plan writes it."""
    start, end = (_position(reading, quarters) for quarters in (begins, last))
    return str(Range(start, replace(end, instant=True)))


def _position(reading: Reading, quarters: float) -> Position:
    bar = reading.where.bars[reading.where.ordinal(quarters)]
    return position_at(reading.score, int(bar["row"]), quarters - float(bar["start"]))


def last_beats(reading: Reading) -> tuple[float, float]:
    """From where to where the end of the piece is slowed: the last of it is when the last notes begin. It is slowed in
    the tempo in which it ends."""
    last = last_onset(reading)
    tempi, _ = tempo_starts(reading)
    latest = float(tempi[tempi < last - NEAR].max(initial=0.0))
    return max(_on_page(reading, last - LAST_BEATS * beat_of(reading, last + NEAR), last), latest), last


def _changed(reading: Reading, start: float, end: float, besides: Sequence[SlowingRun] = ()) -> bool:
    """Whether the score says itself how the pace changes in a stretch."""
    return any(
        slow.run.start < end - NEAR and max(slow.until, slow.back or 0.0) > start + NEAR
        for slow in _printed(reading)
        if slow not in besides
    )


def _printed(reading: Reading) -> list[SlowingRun]:
    return [slow for slow in reading.pace.slowings if slow.entry.printed]


def with_last_onset(reading: Reading, entry: Slowing) -> tuple[str, float] | None:
    """Of a slowdown that is printed over the end of the piece: its range as far as it is heard, and its pace, which is
    that of an end of a piece. One that comes from further back leads to where the last beats begin, with its own pace,
    and they go on from there. None for any other."""
    mine = [slow for slow in _printed(reading) if slow.entry is entry]
    if len(mine) != 1 or not _over_the_end(reading, mine[0]):
        return None
    begins, last = last_beats(reading)
    if _comes_before(reading, mine[0]):
        return until_onset(reading, mine[0].run.start, begins), mine[0].to
    return until_onset(reading, mine[0].run.start, last), min(mine[0].to, FINAL)


def _over_the_end(reading: Reading, slow: SlowingRun) -> bool:
    """Whether a slowdown goes on until the last notes begin, from half a beat before them at least; each entry that is
    heard once."""
    last = last_onset(reading)
    once = sum(other.entry is slow.entry for other in reading.pace.slowings) == 1
    begun = last - slow.run.start >= reading.where.felt_beat(last + NEAR) / 2
    return once and begun and slow.entry.act is Act.SLOWS and slow.run.end >= last - NEAR


def _comes_before(reading: Reading, slow: SlowingRun) -> bool:
    """Whether a slowdown over the end begins so early that its last beats are another matter."""
    begins, last = last_beats(reading)
    return _over_the_end(reading, slow) and slow.run.start < begins - (last - begins) / 2 and slow.to > FINAL


# -- texture


def equal_voices(reading: Reading) -> bool:
    """Whether voices of equal weight keep one movement going between them. Pianists keep time there (Bach's fugues and
    preludes in the ASAP dataset, as measured for this project). So it is where nearly every beat has as many moments at
    which notes begin as the others, and the melody has most of these, but not all; and in a fugue: each voice has
    single notes, the melody not many more than the bass, inner voices their part, and bass and melody often begin
    apart."""
    notes = reading.performance.notes
    notes = notes[(notes["step"] == 0) & (notes["score_length"] > 0)]
    moment = np.round(notes["score_onset"], 6)
    moments = np.unique(moment)
    if len(moments) < 2:
        return False
    of_role = [np.unique(moment[notes["role"] == role]) for role in (MELODY, INNER, BASS)]
    melody, inner, bass = (len(each) / len(moments) for each in of_role)
    if evenness(reading) >= EVEN and RUNNING[0] <= melody < RUNNING[1]:
        return True
    together = len(np.intersect1d(of_role[0], of_role[2])) / max(min(len(of_role[0]), len(of_role[2])), 1)
    sung = np.column_stack([voice_numbers(notes)[1], np.searchsorted(moments, moment)])
    single = len(np.unique(sung, axis=0)) / len(sung)
    return bool(single >= SINGLE and inner >= INNER_PART and bass >= LOW_PART and max(melody, together) <= TOP_PART)


def evenness(reading: Reading) -> float:
    """The share of the beats, as they are felt, in which as many moments begin as in most."""
    moving = np.round(movement(reading.where)[1], 3)
    return float(np.unique(moving, return_counts=True)[1].max() / len(moving)) if len(moving) else 1.0
