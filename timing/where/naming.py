"""Places of a score as a plan writes them, so that they read back as what they were (`Where` reads them)."""

from __future__ import annotations

import numpy as np

from timing.columns import NEAR
from timing.plan.position import Position, Range, beat_of
from timing.score import Score

BarPlace = tuple[int, float]  # the row of a bar in the score, and quarters after its bar line


def parts_of(score: Score, row: int) -> tuple[int, int]:
    """The first and the last row of the bar that a row is a part of: one row, unless the bar is divided."""
    place = np.searchsorted(score.whole_bars[:, 0], row, side="right") - 1
    first, last = score.whole_bars[place].tolist()
    return first, last


def position_at(score: Score, row: int, offset: float) -> Position:
    """The beat that begins at this place."""
    beat = beat_of(1 + _beats(score, row, offset))
    return Position(score.bar_name(row), beat, beat.denominator != 1, row)


def position_over(score: Score, row: int, offset: float, since: Position | None = None) -> Position:
    """The beat that is over at this place, where one is that does not begin before `since`; else the instant."""
    name, over = score.bar_name(row), beat_of(_beats(score, row, offset))
    early = since is not None and since.beat is not None and since.bar == name and over < since.beat
    if over.denominator == 1 and over >= 1 and _begins_in(score, row, int(over)) and not early:
        return Position(name, over, False, row)
    return Position(name, over + 1, True, row)


def start_of_range(score: Score, row: int, offset: float) -> Position:
    """This place as a range begins: a bar alone, at the beginning of one."""
    whole = offset < NEAR and row == parts_of(score, row)[0]
    return Position(score.bar_name(row), row=row) if whole else position_at(score, row, offset)


def end_of_range(score: Score, row: int, offset: float, since: Position | None = None) -> Position:
    """This place as a range ends that begins at `since`: a bar alone, where one is over."""
    whole = offset > score.bars["length"][row] - NEAR and row == parts_of(score, row)[1]
    return Position(score.bar_name(row), row=row) if whole else position_over(score, row, offset, since)


def range_at(score: Score, start: BarPlace, end: BarPlace) -> Range:
    """From one place to another: 2:6 - 12:5, or 9-16."""
    begins = start_of_range(score, *start)
    return Range(begins, end_of_range(score, *end, begins))


def bars_at(score: Score, first: int, last: int) -> str:
    """From the first of these rows to the last: 8, 9-16, or 8:4 - 16 from within a divided bar."""
    return str(range_at(score, (first, 0.0), (last, float(score.bars["length"][last]))))


def _beats(score: Score, row: int, offset: float) -> float:
    bar = score.bars[row]
    return (offset + float(bar["shift"])) * int(bar["unit"]) / 4


def _begins_in(score: Score, row: int, beat: int) -> bool:
    """Whether this row is where people look for a beat: it begins there, or before all of the bar."""
    bar = score.bars[row]
    offset = (beat - 1) * 4 / int(bar["unit"]) - float(bar["shift"])
    return offset > -NEAR or row == parts_of(score, row)[0]
