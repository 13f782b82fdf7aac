"""Where a plan's positions and ranges lie along the performed order: in which bars, on which pass, at which quarter."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import cached_property
from string import ascii_lowercase

import numpy as np

from timing.columns import NEAR, ROUNDING, WITHIN
from timing.plan.entry import Entry
from timing.plan.position import Position, Range, beat_name
from timing.score import Score
from timing.where.beats import felt_beat
from timing.where.naming import position_at, position_over

Passes = int | str | tuple[int, ...] | None  # a pass; or (of what the score says) the performed bars themselves

_MOST_NAMED = 5  # bars of one number, where another of them is asked for


@dataclass(frozen=True)
class Run:
    """A stretch of neighbouring performed bars that a range covers, in quarters along the performed order."""

    start: float
    end: float
    first: int  # performed bars, both included
    last: int
    complete: bool  # the end of the range lies in it
    begun: bool = True  # its beginning does

    @property
    def length(self) -> float:
        return self.end - self.start


def left_out(runs: list[Run]) -> list[float]:
    """The share of a range that each run leaves out because a repeat begins in the middle of it."""
    full = max((run.length for run in runs), default=0.0)
    return [0.0 if run.begun else 1 - run.length / full for run in runs]


def near(beat: float | None) -> float | None:
    """A beat to a thousandth: 2.333 and 2+1/3 are one place."""
    return None if beat is None else round(beat, 3)


class Fault(ValueError):  # noqa: N818 (a fault is the house's word)
    """A position that the score does not have."""


@dataclass(frozen=True, eq=False)
class Where:
    """The geometry of one performed order: where positions and ranges of the score lie in it. It knows no plan, and
    asking it changes nothing; `timing.where.hearings` asks it for the entries of a plan."""

    score: Score
    bars: np.ndarray  # PASSAGE

    @cached_property
    def _rows(self) -> dict[str, list[int]]:
        return _rows_by_name(self.score)

    @cached_property
    def endings(self) -> np.ndarray:
        """(rows + 1,) how many bars of endings come before each row of the score's bars."""
        bracketed = np.zeros(len(self.score.bars) + 1, np.int64)
        for mark in self.score.marks_of("ending"):
            bracketed[mark["bar"] + 1 : mark["end_bar"] + 2] = 1
        return np.cumsum(bracketed)

    @property
    def length(self) -> float:
        return float(self.bars["start"][-1] + self.bars["length"][-1])

    @cached_property
    def line_ends(self) -> np.ndarray:
        """(n,) the quarter at which the line of neighbouring bars that holds each performed bar breaks off."""
        ends = self.bars["start"] + self.bars["length"]
        lasts = np.append(np.flatnonzero(~self.neighbours), len(self.bars) - 1)
        return ends[lasts[np.searchsorted(lasts, np.arange(len(self.bars)))]]

    def line(self, quarters: float) -> tuple[float, float]:
        """From and to which quarters the music around this one is heard as it stands on the page."""
        ordinal = self.ordinal(quarters)
        breaks = np.flatnonzero(~self.neighbours[:ordinal])
        first = breaks[-1] + 1 if len(breaks) else 0
        return float(self.bars["start"][first]), float(self.line_ends[ordinal])

    @cached_property
    def returns(self) -> list[tuple[float, float]]:
        """Where the order goes back: (the quarter at which it does, the quarter at which that bar was first heard)."""
        rows, starts = self.bars["row"], self.bars["start"]
        first = {int(row): float(start) for row, start in zip(rows[::-1], starts[::-1], strict=True)}
        back = np.flatnonzero(~self.neighbours) + 1
        return [(float(starts[k]), first[int(rows[k])]) for k in back if first[int(rows[k])] < starts[k]]

    @cached_property
    def neighbours(self) -> np.ndarray:
        """(n-1,) whether performed bar k+1 follows bar k on the page (a skipped ending does not break the line)."""
        return self._follows(self.bars["row"][:-1], self.bars["row"][1:])

    def _follows(self, here: np.ndarray, there: np.ndarray) -> np.ndarray:
        """Whether bar row `there` comes next after `here` on the page, endings between them left out."""
        return (there > here) & (there - here - 1 == self.endings[there] - self.endings[here + 1])

    # -- positions on the page

    def point(self, position: Position) -> tuple[int, float]:
        """Bar row and offset in quarters of a position; a bar alone is its beginning. Fault says what is wrong."""
        rows = self._rows_of(position)
        if position.beat is None:
            return rows[0], 0.0
        for row in rows:
            bar = self.score.bars[row]
            beat = 4 / int(bar["unit"])
            offset = float(position.beat - 1) * beat - bar["shift"]
            missing = 0.0 if position.instant else beat - 2 * NEAR  # of a beat that a pickup comes in on
            if -NEAR - missing <= offset < bar["length"] - NEAR:
                return row, max(offset, 0.0)
        raise Fault(self._no_beat(position, rows))

    def named(self, position: Position) -> tuple[str, float | None]:
        """Name of the bar and the beat of a position, None for a bar alone, as remarks have them (`near`)."""
        row, _ = self.point(position)
        return self.score.bar_name(row), None if position.beat is None else near(float(position.beat))

    def opens(self, position: Position) -> bool:
        """Whether the music begins at this position: at the very beginning, or in the first full bar after a pickup,
        which is played as that bar is (common practice)."""
        try:
            row, offset = self.point(position)
        except Fault:
            return False
        pickup = self.score.bars["shift"][0] > 0
        return offset < ROUNDING and (row == 0 or (row == 1 and bool(pickup)))

    def end_point(self, position: Position) -> tuple[int, float]:
        """Bar row and offset at which this position is over: a bar at its end, a beat (or what is left of it after a
        fraction) when the next one begins. An instant that the score has is over at once."""
        if position.beat is None:
            row = self._rows_of(position)[-1]
            return row, float(self.score.bars["length"][row])
        if position.row is not None and position.instant:
            return self.instant(position)
        row, _ = self.point(position)
        bar = self.score.bars[row]
        over = float(math.floor(position.beat) * 4 / int(bar["unit"])) - bar["shift"]
        return row, min(float(over), float(bar["length"]))

    def range_end(self, bars: Range, arriving: bool = False) -> tuple[int, float]:
        """Bar row and offset at which a range ends (`arriving`: on its end position). Fault says what is wrong."""
        end = bars.end
        if end.beat is None or bars.lone or not (end.instant or arriving):
            return self.end_point(end)
        return self.instant(end)

    def instant(self, position: Position) -> tuple[int, float]:
        """Bar row and offset of the very moment that a position names, which may be that at which a bar, or a part of
        it, is over: there no beat begins."""
        assert position.beat is not None, "a bar alone is no instant"
        for row in self._rows_of(position):
            bar = self.score.bars[row]
            offset = float((position.beat - 1) * 4 / int(bar["unit"])) - float(bar["shift"])
            if abs(offset - bar["length"]) < NEAR:
                return row, float(bar["length"])
        return self.point(position)

    def rows_called(self, name: str) -> list[int]:
        """The rows of the bar of this name: several where it is divided, none where there is no such bar."""
        return self._rows.get(name.lower(), [])

    def both_ends(self, bars: Range, arriving: bool = False) -> tuple[tuple[int, float], tuple[int, float]]:
        """Bar row and offset of the beginning and the end of a range. Fault where nothing lies between them."""
        begin, end = self.point(bars.start), self.range_end(bars, arriving)
        if end <= begin:
            nothing = self.point(bars.end) == begin
            turned = f"before it begins: did you mean {Range(bars.end, bars.start)}?"
            raise Fault(f"{bars} ends {'where it begins' if nothing else turned}")
        return begin, end

    def _rows_of(self, position: Position) -> list[int]:
        return self._find(position.bar) if position.row is None else [position.row]

    def _find(self, name: str) -> list[int]:
        """The rows that make up a bar: several where it is split."""
        name = re.sub("^0+(?=[0-9])", "", name).lower()
        if name in self._rows:
            return self._rows[name]
        numbers = self.score.bars["number"]
        same = np.flatnonzero(numbers == int(name.rstrip(ascii_lowercase)))
        if len(same) or not name.isdecimal():
            others = list(dict.fromkeys(self.score.bar_name(row) for row in same.tolist()))
            more = f" and {len(others) - _MOST_NAMED:,} more" if others[_MOST_NAMED:] else ""
            hint = f" (it has {', '.join(others[:_MOST_NAMED])}{more})" if others else ""
            raise Fault(f"bar {name}: the score has no such bar{hint}")
        if int(name) > numbers.max():
            raise Fault(f"bar {name}: the score ends at bar {numbers.max()}")
        if int(name) < numbers.min():
            pickup = " (it has no pickup)" if name == "0" else ""
            raise Fault(f"bar {name}: the score begins at bar {numbers.min()}{pickup}")
        raise Fault(f"bar {name}: the score's numbering leaves this bar out")

    def _no_beat(self, position: Position, rows: list[int]) -> str:
        assert position.beat is not None
        first, last = self.score.bars[rows[0]], self.score.bars[rows[-1]]
        low = 1 + first["shift"] * int(first["unit"]) / 4
        high = (last["shift"] + last["length"]) * int(last["unit"]) / 4
        beat = beat_name(position.beat)
        if low > 1:
            return f"bar {position.bar} begins at beat {beat_name(low)} and has no beat {beat}"
        beats = "1 beat" if high == 1 else f"{beat_name(high)} beats"
        return f"bar {position.bar} has {beats}: there is no {position.bar}:{beat}"

    # -- the same along the performed order

    def moments(self, position: Position, passes: Passes = None, after: bool = False) -> np.ndarray:
        """Quarters at which a position is heard (or, `after`, is over), in order. After a fraction (16:3.5, or 16:3.0)
        is that very moment, as where a range ends."""
        find = self.point if not after else self.instant if position.instant else self.end_point
        row, offset = find(position)
        heard = self.hearings(row)
        if passes is not None:
            heard = heard[self.on_pass(passes)[heard]]
        return self.bars["start"][heard] + offset

    def hearings(self, row: int) -> np.ndarray:
        """The performed bars in which a bar is heard, in order."""
        by_row, rows = self._by_row
        return by_row[slice(*np.searchsorted(rows, (row, row + 1)))]

    @cached_property
    def _by_row(self) -> tuple[np.ndarray, np.ndarray]:
        by_row = np.argsort(self.bars["row"], kind="stable")
        return by_row, self.bars["row"][by_row]

    def runs(self, bars: Range, passes: Passes = None, arriving: bool = False) -> list[Run]:
        """The runs in which a range is heard. `arriving`: it ends on its end position instead of when that is over
        (a bar alone is over in any case)."""
        (first, start), (last, end) = self.both_ends(bars, arriving)
        rows = self.bars["row"]
        # a range that ends on a bar line does not enter that bar
        entered = rows < last if end == 0.0 else rows <= last
        inside = np.flatnonzero((rows >= first) & entered & self.on_pass(passes))
        breaks = np.flatnonzero((np.diff(inside) != 1) | ~self.neighbours[inside[:-1]]) + 1
        made = []
        for stretch in np.split(inside, breaks) if len(inside) else []:
            a, b = int(stretch[0]), int(stretch[-1])
            begin = self.bars["start"][a] + (start if rows[a] == first else 0.0)
            stop = self.bars["start"][b] + (end if rows[b] == last else self.bars["length"][b])
            complete = bool(rows[b] == last or (end == 0.0 and self._follows(rows[[b]], np.array([last]))[0]))
            if stop > begin:
                made.append(Run(float(begin), float(stop), a, b, complete, bool(rows[a] == first)))
        return made

    def spans(self, entry: Entry) -> list[tuple[float, float]]:
        """Start and end of each hearing of an entry that stands `at` a place (what begins there) or over `bars`."""
        if (at := getattr(entry, "at", None)) is not None:
            return [(float(begun), float(begun) + NEAR) for begun in self.moments(at, entry.passes)]
        return [(run.start, run.end) for run in self.runs(entry.value("bars"), entry.passes)]

    def on_pass(self, passes: Passes) -> np.ndarray:
        """(n,) which performed bars belong to a pass: 1, 2, ..., `last`, `da capo`, or None for all; or those that are
        named themselves."""
        if passes is None:
            return np.ones(len(self.bars), bool)
        if isinstance(passes, tuple):
            named = np.zeros(len(self.bars), bool)
            named[list(passes)] = True
            return named
        if passes == "last":
            return self.bars["last"].copy()
        if passes == "da capo":
            return self.bars["returned"].copy()
        return self.bars["pass"] == passes

    def ordinal(self, quarters: float) -> int:
        """The performed bar that sounds at this quarter."""
        return int(
            np.clip(np.searchsorted(self.bars["start"], quarters + ROUNDING, side="right") - 1, 0, len(self.bars) - 1)
        )

    def beat(self, quarters: float) -> tuple[str, float, int]:
        """Name of the bar, beat and pass at this quarter."""
        bar = self.bars[self.ordinal(quarters)]
        beat = 1 + (quarters - bar["start"] + bar["shift"]) * bar["unit"] / 4
        return self.score.bar_name(bar["row"]), round(float(beat), 6), int(bar["pass"])

    def beat_before(self, quarters: float) -> tuple[str, float, int]:
        """Name of the bar, whole beat and pass of the beat that is over at this quarter."""
        bar, beat, pass_ = self.beat(quarters - WITHIN)
        return bar, float(np.floor(beat)), pass_

    def position_text(self, quarters: float) -> str:
        """A position as a plan writes it, at this quarter."""
        bar = self.bars[self.ordinal(quarters)]
        return str(position_at(self.score, int(bar["row"]), quarters - float(bar["start"])))

    def range_text(self, start: float, end: float) -> str:
        """A range as a plan writes it, from and to these quarters."""
        first, last = self.bars[self.ordinal(start)], self.bars[self.ordinal(end - WITHIN)]
        begins = position_at(self.score, int(first["row"]), start - float(first["start"]))
        return f"{begins} - {position_over(self.score, int(last['row']), end - float(last['start']), begins)}"

    def felt_beat(self, quarters: float) -> float:
        """Quarters of a beat as it is felt here: in 6/8 a dotted quarter."""
        return float(felt_beat(self.bars[self.ordinal(quarters - WITHIN)]))

    def full_bar(self, quarters: float) -> float:
        """Quarters of a bar by the metre that holds here."""
        bar = self.bars[self.ordinal(quarters)]
        return 4 * int(bar["beats"]) / int(bar["unit"])


def pass_in_words(passes: Passes) -> str:
    """When a pass is heard: on pass 2, the last time, after a da capo."""
    return {"last": "the last time", "da capo": "after a da capo"}.get(str(passes), f"on pass {passes}")


def _rows_by_name(score: Score) -> dict[str, list[int]]:
    """The rows of every bar by its name, in small letters; by its number alone too, where no other bar has that."""
    named: dict[str, list[int]] = {}
    numbered: dict[str, list[list[int]]] = {}
    bars = score.bars[["number", "suffix"]][score.whole_bars[:, 0]].tolist()
    for (number, suffix), (first, last) in zip(bars, score.whole_bars.tolist(), strict=True):
        rows = named.setdefault(f"{number}{suffix.lower()}", list(range(first, last + 1)))
        numbered.setdefault(str(number), []).append(rows)
    return named | {number: bars[0] for number, bars in numbered.items() if len(bars) == 1}
