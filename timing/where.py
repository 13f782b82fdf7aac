"""Where a plan's positions and ranges lie along the performed order: in which bars, on which passes, at which quarter."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from timing.plan import Entry
from timing.position import Position, Range, beat_name
from timing.remarks import Place, Remark, Severity
from timing.score import Score


@dataclass(frozen=True)
class Run:
    """A stretch of neighbouring performed bars that a range covers, in quarters along the performed order."""

    start: float
    end: float
    first: int  # performed bars, both included
    last: int
    complete: bool  # the end of the range lies in it

    @property
    def length(self) -> float:
        return self.end - self.start


class Fault(ValueError):
    """A position that the score does not have."""


class Where:
    """Finds positions in one performed order; gathers remarks on those that do not exist or are never heard."""

    def __init__(self, score: Score, bars: np.ndarray):
        self.score, self.bars = score, bars
        self.remarks: list[Remark] = []
        self._rows: dict[str, list[int]] = {}
        for row, (number, suffix) in enumerate(zip(score.bars["number"], score.bars["suffix"], strict=True)):
            # the halves of a split bar share a number; a number that comes again later is out of reach
            for name in {str(number), f"{number}{suffix}"}:
                rows = self._rows.setdefault(name, [])
                if not rows or rows[-1] == row - 1:
                    rows.append(row)
        bracketed = np.zeros(len(score.bars) + 1, np.int64)
        for mark in score.marks_of("ending"):
            bracketed[mark["bar"] + 1 : mark["end_bar"] + 2] = 1
        self._endings = np.cumsum(bracketed)  # endings' bars before each row

    @property
    def length(self) -> float:
        return float(self.bars["start"][-1] + self.bars["length"][-1])

    @cached_property
    def line_ends(self) -> np.ndarray:
        """(n,) the quarter at which the line of neighbouring bars that holds each performed bar breaks off."""
        ends = self.bars["start"] + self.bars["length"]
        lasts = np.append(np.flatnonzero(~self.neighbours), len(self.bars) - 1)
        return ends[lasts[np.searchsorted(lasts, np.arange(len(self.bars)))]]

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
        here, there = self.bars["row"][:-1], self.bars["row"][1:]
        skipped = there - here - 1
        in_endings = self._endings[np.maximum(there, 0)] - self._endings[here + 1]
        return (there > here) & (skipped == in_endings)

    # -- positions on the page

    def point(self, position: Position) -> tuple[int, float]:
        """Bar row and offset in quarters of a position; a bar alone is its beginning. Fault says what is wrong."""
        rows = self._find(position.bar)
        if position.beat is None:
            return rows[0], 0.0
        for row in rows:
            bar = self.score.bars[row]
            offset = float((position.beat - 1) * 4 / int(bar["unit"])) - bar["shift"]
            if -1e-9 <= offset < bar["length"] - 1e-9:
                return row, max(offset, 0.0)
        raise Fault(self._no_beat(position, rows))

    def opens(self, position: Position) -> bool:
        """Whether the score begins at this position."""
        try:
            return self.point(position) == (0, 0.0)
        except Fault:
            return False

    def end_point(self, position: Position) -> tuple[int, float]:
        """Bar row and offset at which this position is over; an instant stays itself."""
        if position.beat is None:
            row = self._find(position.bar)[-1]
            return row, float(self.score.bars["length"][row])
        row, offset = self.point(position)
        bar = self.score.bars[row]
        return row, offset if position.instant else min(offset + 4 / int(bar["unit"]), float(bar["length"]))

    def _find(self, name: str) -> list[int]:
        name = name.lstrip("0") or "0"
        if name in self._rows:
            return self._rows[name]
        numbers = self.score.bars["number"]
        if not name.isdecimal():
            raise Fault(f"bar {name}: the score has no such bar")
        if int(name) > numbers.max():
            raise Fault(f"bar {name}: the score ends at bar {numbers.max()}")
        if int(name) < numbers.min():
            raise Fault(f"bar {name}: the score begins at bar {numbers.min()}" + (" (it has no pickup)" if name == "0" else ""))
        raise Fault(f"bar {name}: the score's numbering leaves this bar out")

    def _no_beat(self, position: Position, rows: list[int]) -> str:
        first, last = self.score.bars[rows[0]], self.score.bars[rows[-1]]
        unit = int(first["unit"])
        low = 1 + first["shift"] * unit / 4
        high = (last["shift"] + last["length"]) * unit / 4
        if low > 1:
            return f"bar {position.bar} begins at beat {low:g} and has no beat {position.beat}"
        beats = "1 beat" if high == 1 else f"{high:g} beats"
        return f"bar {position.bar} has {beats}: there is no {position}"

    # -- the same along the performed order

    def moments(self, position: Position, passes: int | str | None = None, after: bool = False) -> np.ndarray:
        """Quarters at which a position is heard (or, `after`, is over), in order."""
        row, offset = self.end_point(position) if after else self.point(position)
        heard = (self.bars["row"] == row) & self.on_pass(passes)
        return self.bars["start"][heard] + offset

    def runs(self, bars: Range, passes: int | str | None = None, arriving: bool = False) -> list[Run]:
        """The runs in which a range is heard. `arriving`: it ends on its end position instead of when that is over
        (a bar alone is over in any case)."""
        first, start = self.point(bars.start)
        instant = arriving and bars.end.beat is not None
        last, end = self.point(bars.end) if instant else self.end_point(bars.end)
        if (last, end) < (first, start) or ((last, end) == (first, start) and not instant):
            raise Fault(f"{bars} ends before it begins")
        rows = self.bars["row"]
        inside = np.flatnonzero((rows >= first) & (rows <= last) & self.on_pass(passes))
        if end == 0.0 and first < last and instant:  # it arrives on a bar line: that bar itself is not in it
            inside = inside[rows[inside] < last]
        breaks = np.flatnonzero((np.diff(inside) != 1) | ~self.neighbours[inside[:-1]]) + 1
        made = []
        for stretch in np.split(inside, breaks) if len(inside) else []:
            a, b = int(stretch[0]), int(stretch[-1])
            begin = self.bars["start"][a] + (start if rows[a] == first else 0.0)
            complete = rows[b] == last or bool(end == 0.0 and rows[b] == last - 1)
            stop = self.bars["start"][b] + (end if rows[b] == last else self.bars["length"][b])
            if stop > begin or instant:
                made.append(Run(float(begin), float(stop), a, b, complete))
        return made

    def on_pass(self, passes: int | str | None) -> np.ndarray:
        """(n,) which performed bars belong to a pass: 1, 2, ..., `last`, `da capo`, or None for all."""
        if passes is None:
            return np.ones(len(self.bars), bool)
        if passes == "last":
            return self.bars["last"].copy()
        if passes == "da capo":
            return self.bars["returned"].copy()
        return self.bars["pass"] == passes

    def ordinal(self, quarters: float) -> int:
        """The performed bar that sounds at this quarter."""
        return int(np.clip(np.searchsorted(self.bars["start"], quarters + 1e-9, side="right") - 1, 0, len(self.bars) - 1))

    def beat(self, quarters: float) -> tuple[int, float, int]:
        """Printed bar number, beat and pass at this quarter."""
        bar = self.bars[self.ordinal(quarters)]
        beat = 1 + (quarters - bar["start"] + bar["shift"]) * bar["unit"] / 4
        return int(bar["number"]), round(float(beat), 6), int(bar["pass"])

    def beat_before(self, quarters: float) -> tuple[int, float, int]:
        """Printed bar number, whole beat and pass of the beat that is over at this quarter."""
        bar, beat, pass_ = self.beat(quarters - 1e-4)
        return bar, float(np.floor(beat)), pass_

    def range_text(self, start: float, end: float) -> str:
        """A range as a plan writes it, from and to these quarters."""
        bar, beat, _ = self.beat(start)
        last_bar, last_beat, _ = self.beat_before(end)
        over = self.beat(end - 1e-4)[1] + 1e-4 * self.bars["unit"][self.ordinal(end - 1e-4)] / 4
        whole = abs(over - last_beat - 1) < 1e-3
        return f"{bar}:{beat_name(beat)} - {last_bar}:{beat_name(last_beat) if whole else beat_name(over)}"

    def felt_beat(self, quarters: float) -> float:
        """Quarters of a beat as it is felt here: in 6/8 a dotted quarter."""
        bar = self.bars[self.ordinal(quarters - 1e-4)]
        return (3 if self.is_compound(bar) else 1) * 4 / int(bar["unit"])

    @staticmethod
    def is_compound(bar: np.void) -> bool:
        """Whether a bar (a row with beats and unit) is felt in groups of three: 6/8, 9/8, 12/8, 6/16, but not 3/8."""
        return int(bar["unit"]) >= 8 and int(bar["beats"]) % 3 == 0 and int(bar["beats"]) > 3

    # -- with the faults of an entry gathered

    def moments_of(self, entry: Entry, key: str, after: bool = False) -> np.ndarray:
        """As `moments`, for a key of an entry; faults and places never heard become remarks."""
        return self._gather(entry, key, lambda: self.moments(entry.value(key), entry.passes, after), np.zeros(0))

    def runs_of(self, entry: Entry, key: str, arriving: bool = False) -> list[Run]:
        """As `runs`, for a key of an entry; faults and places never heard become remarks."""
        return self._gather(entry, key, lambda: self.runs(entry.value(key), entry.passes, arriving), [])

    def _gather(self, entry, key, find, nothing):
        try:
            found = find()
        except Fault as fault:
            self.remark(Severity.ERROR, "plan-position", str(fault), entry.place(key))
            return nothing
        if not len(found):
            when = f" on pass {entry.passes}" if isinstance(entry.passes, int) else f" on the {entry.passes} pass" if entry.passes else ""
            message = f"{entry.value(key)} is never heard{when} in this order of the bars: the entry does nothing"
            self.remark(Severity.CAUTION, "never-heard", message, entry.place(key))
        return found

    def remark(self, severity: Severity, code: str, message: str, place: Place | None, **more) -> None:
        """Keep a remark, once."""
        made = Remark(severity, code, message, place, **more)
        if made not in self.remarks:
            self.remarks.append(made)
