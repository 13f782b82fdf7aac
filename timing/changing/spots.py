"""Places on the page of a score, and how a plan writes them: both ways, so that what is written reads back as what was
meant."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np

from timing.columns import NEAR
from timing.plan.position import Position, Range, parse_position, parse_range
from timing.remarks import CannotDo
from timing.where import Fault, Where
from timing.where.naming import BarPlace, end_of_range, position_at, position_over, start_of_range

_SAME = 1e-5  # quarters: a plan writes beats to a millionth


def cannot(why: str) -> CannotDo:
    """A change that cannot be made, in a musician's words."""
    return CannotDo.because("cannot-change", why)


@dataclass(frozen=True)
class PageSpot:
    """A place on the page: the row of a bar of the score, quarters from its beginning (up to its end), and on which
    hearing (None: on each)."""

    row: int
    offset: float
    pass_: int | None = None

    @property
    def place(self) -> BarPlace:
        return self.row, self.offset

    def as_json(self) -> dict[str, Any]:
        return {"row": self.row, "offset": self.offset, "pass": self.pass_}


class PageMap:
    """The score as it stands on the page, from the first bar to the last, each once."""

    def __init__(self, where: Where):
        self.where, self.score = where, where.score
        lengths = self.score.bars["length"].astype(float)
        self.starts = np.append(0.0, np.cumsum(lengths))

    def place(self, spot: PageSpot) -> BarPlace:
        """The place that is meant by a spot; CannotDo where the score has none there."""
        if not 0 <= spot.row < len(self.score.bars):
            raise cannot("the score has no such bar")
        length = float(self.score.bars["length"][spot.row])
        if not -_SAME <= spot.offset <= length + _SAME:
            raise cannot(f"bar {self.score.bar_name(spot.row)} is shorter than that")
        return spot.row, min(max(spot.offset, 0.0), length)

    def quarter(self, place: BarPlace) -> float:
        """Quarters from the beginning of the page."""
        return float(self.starts[place[0]]) + place[1]

    def begins(self, quarter: float) -> BarPlace:
        """The place at this quarter of the page, as something begins there: not at the end of a bar."""
        row = int(np.searchsorted(self.starts, quarter + _SAME, side="right")) - 1
        if not 0 <= row < len(self.score.bars):
            raise cannot("that lies beyond the end of the score" if row > 0 else "that lies before the score begins")
        return row, max(quarter - float(self.starts[row]), 0.0)

    def ends(self, quarter: float) -> BarPlace:
        """The place at this quarter of the page, as something is over there: not at the beginning of a bar."""
        row = int(np.searchsorted(self.starts, quarter - _SAME)) - 1
        if not 0 <= row < len(self.score.bars):
            raise cannot("that lies before the score begins" if row < 0 else "that lies beyond the end of the score")
        return row, min(quarter - float(self.starts[row]), float(self.score.bars["length"][row]))

    def same(self, one: BarPlace, other: BarPlace) -> bool:
        """Whether two places are one moment of the page."""
        return abs(self.quarter(one) - self.quarter(other)) < _SAME

    # -- as a plan writes it

    def range_text(self, start: BarPlace, end: BarPlace, arriving: bool = False, like: Range | None = None) -> str:
        """A range from one place to another (`arriving`: which is reached on its end). What is the same in `like` is
        written as there; else bars alone where that one has bars alone, or there is none."""
        if self.quarter(end) - self.quarter(start) < _SAME:
            raise cannot("it would end where it begins")
        begins, ends = self._starts(start, end, like), self._ends(start, end, arriving, like)
        for text in (str(Range(*both)) for both in product(begins, ends)):
            try:
                meant = parse_range(text)
                read = self.where.both_ends(meant, arriving)
            except ValueError:
                continue
            if self.same(read[0], start) and self.same(read[1], end):
                return str(meant)
        raise cannot(f"no plan can name the place from {begins[0]} to {ends[0]}")

    def _starts(self, start: BarPlace, end: BarPlace, like: Range | None) -> list[Position]:
        """The ways to say where a range begins, the best first: a bar alone where the end is one too."""
        found = [like.start] if like is not None and self._is(like.start, start) else []
        exact, short = position_at(self.score, *start), start_of_range(self.score, *start)
        bare = end_of_range(self.score, *end).beat is None if like is None else _has_bars(like)
        return [*found, *((short, exact) if bare else (exact, short))]

    def _ends(self, start: BarPlace, end: BarPlace, arriving: bool, like: Range | None) -> list[Position]:
        """The ways to say where a range ends, the best first."""
        over = position_over(self.score, *end, position_at(self.score, *start))
        short = end_of_range(self.score, *end, position_at(self.score, *start))
        on = position_at(self.score, *end)
        ways = [short, over] if like is None or _has_bars(like) else [over, short]
        if arriving and end[1] < float(self.score.bars["length"][end[0]]) - NEAR:
            ways = [on, *ways]
        return [*([like.end] if like is not None else []), *ways, Position(on.bar, on.beat, True)]

    def _is(self, position: Position, place: BarPlace) -> bool:
        try:
            return self.same(self.where.point(position), place)
        except Fault:
            return False

    def at_text(self, place: BarPlace, like: Position | None = None) -> str:
        """A place at which something begins: a bar alone at its beginning, unless `like` has a beat."""
        begun = self.begins(self.quarter(place))
        exact, short = position_at(self.score, *begun), start_of_range(self.score, *begun)
        ways = [short, exact] if like is None or like.beat is None else [exact, short]
        return self._first_at(ways, begun, self.where.point)

    def after_text(self, place: BarPlace, like: Position | None = None) -> str:
        """A place after which something comes: a bar alone at its end, unless `like` has a beat."""
        over = self.ends(self.quarter(place))
        exact, short = position_over(self.score, *over), end_of_range(self.score, *over)
        ways = [short, exact] if like is None or like.beat is None else [exact, short]
        return self._first_at(ways, over, lambda p: (self.where.instant if p.instant else self.where.end_point)(p))

    def _first_at(self, ways: Iterable[Position], place: BarPlace, find: Any) -> str:
        for text in map(str, ways):
            try:
                if self.same(find(parse_position(text)), place):
                    return text
            except ValueError:
                continue
        raise cannot("no plan can name this place")


def _has_bars(bars: Range) -> bool:
    """Whether a range begins or ends with a bar alone."""
    return bars.start.beat is None or bars.end.beat is None
