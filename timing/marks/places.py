"""Where the marks of a score stand on the page, when they are heard, and where the plan speaks in their place."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import inf

import numpy as np

from timing.columns import NEAR
from timing.marks.words import Meaning
from timing.notes.lines import Lines
from timing.plan.entry import AnyEntry, Entry
from timing.plan.position import Position, Range
from timing.score import Score
from timing.where import Fault, Run
from timing.where.beats import felt_beat
from timing.where.hearings import Hearings

_FINEST = 10**8  # parts of a quarter; what lies nearer is one place


@dataclass(frozen=True, eq=False)
class Printed:
    """One thing that the score says: a sign, or one of the meanings of its words. `at` and `end` are quarters along the
    page; the end is where its dashes or its hairpin end (`at`, if it has neither)."""

    section: str  # of the plan, in which it would stand
    text: str  # as people know it: "rit.", "mf", "crescendo"
    meaning: Meaning
    at: float
    end: float
    part: int
    staff: int  # 0: the part as a whole
    note: int = -1  # row in notes
    goal: int = -1
    number: float = inf  # its place among the marks of the score
    hidden: bool = False  # of a tempo: its number is not printed


class Page:
    """The score as it lies on the page, bar after bar; places are quarters from its beginning."""

    def __init__(self, score: Score, hearings: Hearings, lines: Lines):
        self.score, self.where, self.hearings, self._lines = score, hearings.where, hearings, lines
        self.starts = np.append(0.0, np.cumsum(score.bars["length"]))
        notes = score.notes
        # a cell is what a dynamic can be printed for alone: a staff of a part
        cells = np.stack([notes["part"], notes["staff"]], axis=1)
        self.cells, self._cell_of = np.unique(cells, axis=0, return_inverse=True)
        self._cell_of = self._cell_of.ravel()
        self._positions: dict[tuple[float, bool, bool], Position] = {}
        self._named: dict[str, frozenset[int]] = {}
        self._onsets: dict[frozenset[int], np.ndarray] = {}
        self._whose: dict[tuple[int, int], tuple[str | None, frozenset[int]]] = {}

    @property
    def length(self) -> float:
        return float(self.starts[-1])

    def at(self, bar: int, offset: float) -> float:
        return float(self.starts[bar] + offset)

    def bar(self, at: float, over: bool = False) -> int:
        """The bar at this place; `over`: the one that is over there, if it is a bar line."""
        after = np.searchsorted(self.starts, at - NEAR) if over else np.searchsorted(self.starts, at + NEAR, "right")
        return min(max(int(after) - 1, 0), len(self.score.bars) - 1)

    def position(self, at: float, over: bool = False, instant: bool = False) -> Position:
        """The place as an entry names it."""
        key = (at, over, instant)
        if key not in self._positions:
            self._positions[key] = self._position(*key)
        return self._positions[key]

    def _position(self, at: float, over: bool, instant: bool) -> Position:
        row = self.bar(at, over)
        bar = self.score.bars[row]
        offset = max(at - float(self.starts[row]), 0.0)
        beat = 1 + Fraction(offset + float(bar["shift"])).limit_denominator(_FINEST) * int(bar["unit"]) / 4
        return Position(self.score.bar_name(row), beat, instant=instant, row=row)

    def range(self, start: float, end: float) -> Range:
        """The places from `start` until the instant `end`."""
        return Range(self.position(start), self.position(end, over=True, instant=True), printed=True)

    def moment(self, at: float) -> Range:
        """One place, as a range."""
        return Range(self.position(at), self.position(at), printed=True)

    def felt_beat(self, at: float) -> float:
        """Quarters of a beat as it is felt here: in 6/8 a dotted quarter."""
        return float(felt_beat(self.score.bars[self.bar(at)]))

    def worded_beat(self, at: float) -> float:
        """Quarters of the beat that a tempo word counts. In 6/8 quavers go as they would in 2/4, so it counts two of
        the three in a beat; in 3/8 they go half as fast again as beats do (both are the house's own values)."""
        beat, unit = self.felt_beat(at), 4 / int(self.score.bars["unit"][self.bar(at)])
        return 2 * unit if beat > unit else 1.5 * unit if unit < 1 else unit

    def end_of_bars(self, at: float, bars: int) -> float:
        """Where the last of so many bars is over, this one counted in."""
        return float(self.starts[min(self.bar(at) + bars, len(self.score.bars))])

    def heard(self, at: float) -> list[tuple[int, float]]:
        """(performed bar, quarters along the performed order) of each hearing of a place."""
        row = self.bar(at)
        offset = max(at - float(self.starts[row]), 0.0)
        return [(int(n), float(self.where.bars["start"][n]) + offset) for n in self.where.hearings(row)]

    def runs(self, bars: Range, arriving: bool = False) -> list[Run]:
        """The hearings of a printed range that reach its end."""
        return [run for run in self.where.runs(bars, arriving=arriving) if run.complete]

    def onsets(self, cells: frozenset[int]) -> np.ndarray:
        """The places at which notes of these cells begin, sorted."""
        if cells not in self._onsets:
            notes = self.score.notes
            mine = np.isin(self._cell_of, list(cells)) & (notes["length"] > 0)
            self._onsets[cells] = np.unique(self.starts[notes["bar"][mine]] + notes["offset"][mine])
        return self._onsets[cells]

    # -- for whom

    def whose(self, mark: Printed) -> tuple[str | None, frozenset[int]]:
        """The voices that a mark is for, as an entry names them (None: all), and their cells.

        What is printed at the first staff, or between the staves, is for the whole part; what is printed at another
        staff is for that one alone (common practice for keyboards).
        """
        key = (mark.part, mark.staff)
        if key not in self._whose:
            self._whose[key] = self._voices(*key)
        return self._whose[key]

    def _voices(self, part: int, staff: int) -> tuple[str | None, frozenset[int]]:
        mine = self.cells[:, 0] == part
        at_staff = mine & (self.cells[:, 1] == staff)
        own = staff > 1 and bool(np.any(mine & ~at_staff))
        name = None if len(self.score.parts) == 1 else f"part {part + 1}"
        name = f"part {part + 1}, staff {staff}" if own else name
        return name, frozenset(np.flatnonzero(at_staff if own else mine).tolist())

    def named(self, entry: Entry) -> frozenset[int]:
        """The cells in which an entry of the plan has notes."""
        name = getattr(entry, "for_", None)
        if name is None:
            return frozenset(range(len(self.cells)))
        if name not in self._named:
            chosen = self._lines.of_score(name, entry.place("for"), self.hearings)
            self._named[name] = frozenset(np.unique(self._cell_of[chosen]).tolist())
        return self._named[name]


class Said:
    """In which performed bars the entries of a section of the plan act, for which cells."""

    def __init__(self, page: Page, entries: Iterable[AnyEntry], spans: Callable[[AnyEntry], list[tuple[int, int]]]):
        """`spans(entry)` are the (first, last) performed bars in which an entry acts."""
        found = list(entries)
        self.entries: Sequence[Entry] = found
        count = len(page.where.bars)
        self._bars = {cell: np.full(count, -1) for cell in range(len(page.cells))} if self.entries else {}
        everyone = np.full(count, -1)
        for number, entry in enumerate(found):
            named = getattr(entry, "for_", None) is not None
            columns = [self._bars[cell] for cell in page.named(entry)] if named else [everyone]
            for first, last in spans(entry):
                for column in columns:
                    column[first : last + 1] = number
        self._everyone = everyone

    def instead(self, first: int, last: int, cells: frozenset[int] = frozenset()) -> Entry | None:
        """The entry that acts in one of these performed bars, for one of these cells."""
        for column in (self._everyone, *(self._bars[cell] for cell in cells if cell in self._bars)):
            if (number := column[first : last + 1].max(initial=-1)) >= 0:
                return self.entries[number]
        return None

    def throughout(self, first: int, last: int, cells: frozenset[int]) -> Entry | None:
        """An entry, if in each of these performed bars, for each of these cells, one acts."""
        columns = [np.maximum(self._everyone, self._bars.get(cell, self._everyone))[first : last + 1] for cell in cells]
        if all(np.all(column >= 0) for column in columns):
            return self.entries[int(columns[0][0])]
        return None


class Stretches:
    """The stretches of the performed order on which entries of the plan act, for what gives way at one place."""

    def __init__(self, stretches: Iterable[tuple[float, float, Entry]]):
        self._found = sorted(stretches, key=lambda stretch: stretch[:2])
        self._starts = [start for start, *_ in self._found]
        ends = np.array([end for _, end, _ in self._found])
        self._furthest = np.maximum.accumulate(ends) if len(ends) else ends

    def instead(self, start: float, end: float) -> Entry | None:
        """An entry that acts between these quarters (or at `start`, if they are one)."""
        last = bisect_left(self._starts, max(end, start + 2 * NEAR) - NEAR)
        first = int(np.searchsorted(self._furthest, start + NEAR, side="right")) if last else 0
        return next((entry for _, stop, entry in self._found[first:last] if stop > start + NEAR), None)


def heard_runs(hearings: Hearings, entry: Entry, bars: Range) -> list[Run]:
    """The runs of a range of the plan, without remarks; none where it has faults."""
    try:
        found = hearings.where.runs(bars, entry.passes, entry.arrives)
    except Fault:
        return []
    hearings.count(found, entry)
    return found


def heard_moments(hearings: Hearings, entry: Entry, position: Position, after: bool = False) -> np.ndarray:
    """The moments of a position of the plan, without remarks; none where it has faults."""
    try:
        found = hearings.where.moments(position, entry.passes, after)
    except Fault:
        return np.zeros(0)
    hearings.count(found, entry)
    return found
