"""The stretches of music in which readings are compared, and their beats."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from timing.columns import NEAR, spread
from timing.comparing.alignment import Alignment
from timing.reading import Reading
from timing.remarks import CannotDo
from timing.where.beats import beats_of, felt_beat
from timing.where.naming import range_at

PHRASE, SECTION, SHARED, ALL = "phrase", "section", "shared", "all"

# A felt beat, or what of it lies in a stretch: from `start` to `end` in quarters after the bar line.
BEAT = np.dtype([("span", np.int64), ("row", np.int64), ("start", np.float64), ("end", np.float64)])

MOST_BEATS = 4_000_000  # in all stretches: far beyond any music, however deep its phrases are nested


@dataclass(frozen=True)
class Span:
    """A stretch of the music that is compared: one hearing of a phrase (or of a section, where no plan has phrases),
    what all readings play (where that is not all), and all that each plays."""

    kind: str  # PHRASE, SECTION, SHARED or ALL
    of: tuple[bool, ...]  # whether each reading has this stretch (in its plan, if it is a phrase)
    bars: str = ""  # as a plan writes them
    pass_: int | None = None  # on which most of it is heard (the upbeat of a phrase may belong to another one)
    name: str = ""
    depth: int = 0  # 0 is the outermost
    partly: bool = False  # some readings leave bars of it out: only the others are measured
    # where it begins and ends: a row of the alignment, and quarters into that bar
    start: tuple[int, float] = field(default=(0, 0.0), compare=False)
    end: tuple[int, float] = field(default=(0, 0.0), compare=False)


@dataclass(frozen=True)
class _Hearing:
    """Where a span lies: from `start` quarters into the first of these rows of the alignment to `end` in the last."""

    span: Span
    rows: np.ndarray
    start: float = 0.0
    end: float = np.inf

    @property
    def key(self) -> tuple:
        """What makes two hearings the same, outer ones first among those that begin together."""
        rows = self.rows
        return int(rows[0]), round(self.start, 6), -int(rows[-1]), -round(self.end, 6), len(rows), rows.tobytes()


def spans_and_beats(readings: Sequence[Reading], alignment: Alignment) -> tuple[list[Span], np.ndarray]:
    """The spans along the music, then what is shared and all; and a BEAT table of those of their beats that can be
    compared. CannotDo where there are too many."""
    found: dict[tuple, _Hearing] = {}
    for number, reading in enumerate(readings):
        for hearing in _hearings(readings, number, reading, alignment):
            known = found.get(hearing.key)
            found[hearing.key] = replace(known, span=_together(known.span, hearing.span)) if known else hearing
    hearings = [found[key] for key in sorted(found)]
    everything, each = np.arange(alignment.ordinals.shape[1]), (True,) * len(readings)
    if not alignment.shared.all():
        hearings.append(_Hearing(Span(SHARED, each), everything[alignment.shared]))
    hearings.append(_Hearing(Span(ALL, each), everything))
    beats = _cut(_grid(readings, alignment), hearings)
    kept = _comparable(beats, hearings, alignment)
    partly = np.zeros(len(hearings), bool)
    partly[beats["span"][~kept]] = True
    spans = [replace(hearing.span, partly=bool(some)) for hearing, some in zip(hearings, partly, strict=True)]
    return _once(spans, beats[kept])


def _once(spans: list[Span], beats: np.ndarray) -> tuple[list[Span], np.ndarray]:
    """Spans that have the same beats to compare are one: a phrase whose end one reading leaves out, say."""
    first, last = (np.searchsorted(beats["span"], np.arange(len(spans)), side) for side in ("left", "right"))
    made: dict[tuple, Span] = {}
    number = np.zeros(len(spans), np.int64)
    keep = np.ones(len(spans), bool)
    for row, (span, a, b) in enumerate(zip(spans, first.tolist(), last.tolist(), strict=True)):
        alone = a == b or span.kind in (SHARED, ALL)  # these stay, also where they are one phrase
        key = (row,) if alone else (*beats[["row", "start"]][a].item(), *beats[["row", "end"]][b - 1].item(), b - a)
        keep[row] = key not in made
        made[key] = _together(made[key], span) if key in made else span
        number[row] = len(made) - 1
    return list(made.values()), _renumbered(beats[keep[beats["span"]]], number)


def _renumbered(beats: np.ndarray, number: np.ndarray) -> np.ndarray:
    beats["span"] = number[beats["span"]]
    return beats


def _hearings(readings: Sequence[Reading], number: int, reading: Reading, alignment: Alignment) -> Iterator[_Hearing]:
    """The hearings of the phrases of a reading; of its sections, where no plan has phrases."""
    bars, of = reading.performance.bars, tuple(k == number for k in range(len(readings)))
    phrased = any(each.phrases for each in readings)
    if phrased:
        runs = [(p.run.first, p.run.last, p.start, p.end, p.phrase.name or "", p.depth) for p in reading.phrases]
    else:
        runs = [(*section, "", 0) for section in _sections(reading)]
    for first, last, start, end, name, depth in runs:
        text = _bars_text(reading, first, last, start, end)
        heard = bars[first : last + 1]
        pass_ = int(np.bincount(heard["pass"], heard["length"]).argmax())
        span = Span(PHRASE if phrased else SECTION, of, text, pass_, name, depth)
        rows = alignment.rows[number][first : last + 1]
        begins, ends = start - bars["start"][first], end - bars["start"][last]
        span = replace(span, start=(int(rows[0]), float(begins)), end=(int(rows[-1]), float(ends)))
        yield _Hearing(span, rows, begins, ends)


def _together(one: Span, two: Span) -> Span:
    """Two spans as one: named by the earlier reading, described by the one that is not cut."""
    of = tuple(a or b for a, b in zip(one.of, two.of, strict=True))
    bars = two.bars if one.partly and not two.partly else one.bars
    partly = one.partly and two.partly
    return replace(one, of=of, bars=bars, name=one.name or two.name, depth=min(one.depth, two.depth), partly=partly)


def _sections(reading: Reading) -> list[tuple[int, int, float, float]]:
    """The stretches into which a piece falls without phrases (first and last performed bar, quarters): where the order
    leaves the page, and after a double bar (common practice)."""
    bars = reading.performance.bars
    closing = np.isin(bars["row"][:-1], reading.score.marks_of("double bar")["bar"])
    ends = [*np.flatnonzero(~reading.where.neighbours | closing).tolist(), len(bars) - 1]
    edges = np.append(bars["start"], reading.where.length)
    return [
        (first, last, float(edges[first]), float(edges[last + 1]))
        for first, last in zip([0, *(end + 1 for end in ends[:-1])], ends, strict=True)
    ]


def _bars_text(reading: Reading, first: int, last: int, start: float, end: float) -> str:
    """Bars as a plan writes them, without beats where they are whole."""
    bars = reading.performance.bars[[first, last]]
    ends = zip(bars["row"].tolist(), (np.array([start, end]) - bars["start"]).tolist(), strict=True)
    text = str(range_at(reading.score, *ends))
    return reading.where.range_text(start, end) if ":" in text else text


# -- beats


def _grid(readings: Sequence[Reading], alignment: Alignment) -> tuple[np.ndarray, np.ndarray]:
    """A BEAT table of all rows of the alignment, in order, in the metre of the first reading that plays each; and
    (rows + 1,) where each row begins in it."""
    owner = np.argmax(alignment.ordinals >= 0, axis=0)
    bars = np.zeros(len(owner), readings[0].performance.bars.dtype)
    for number, reading in enumerate(readings):
        bars[owner == number] = reading.performance.bars[alignment.ordinals[number, owner == number]]
    beats = beats_of(bars, felt_beat(bars))
    table = np.zeros(len(beats), BEAT)
    for column in ("row", "start", "end"):
        table[column] = beats[column]
    return table, np.searchsorted(beats["row"], np.arange(len(bars) + 1))


def _cut(grid: tuple[np.ndarray, np.ndarray], hearings: list[_Hearing]) -> np.ndarray:
    """A BEAT table of the beats of each hearing, cut where it begins and ends."""
    table, first = grid
    bars = np.concatenate([hearing.rows for hearing in hearings])
    sizes = np.array([len(hearing.rows) for hearing in hearings])
    counts = first[bars + 1] - first[bars]
    if counts.sum() > MOST_BEATS:
        raise CannotDo.because("too-much", "the phrases of these plans come to more beats than can be compared")
    of_bar, place = spread(counts)
    made = table[first[bars][of_bar] + place]
    made["span"] = np.repeat(np.arange(len(hearings)), sizes)[of_bar]
    ends = np.cumsum(sizes)
    starts, stops = (np.array([getattr(hearing, side) for hearing in hearings]) for side in ("start", "end"))
    opening, closing = of_bar == (ends - sizes)[made["span"]], of_bar == (ends - 1)[made["span"]]
    made["start"][opening] = np.maximum(made["start"], starts[made["span"]])[opening]
    made["end"][closing] = np.minimum(made["end"], stops[made["span"]])[closing]
    return made[made["end"] - made["start"] > NEAR]


def _comparable(beats: np.ndarray, hearings: list[_Hearing], alignment: Alignment) -> np.ndarray:
    """(n,) which beats are played by all readings that play any of their span; in the last span, of all, every one."""
    kept = np.ones(len(beats), bool)
    for ordinal in alignment.ordinals:
        plays = ordinal[beats["row"]] >= 0
        some = np.bincount(beats["span"], plays, len(hearings)) > 0
        kept &= plays | ~some[beats["span"]]
    return kept | (beats["span"] == len(hearings) - 1)
