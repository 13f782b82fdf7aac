"""Where a take is at any second, and where the same place lies in another take. The page has the same in `clock.js`.

A take goes on at the same bar and beat: at the same quarter while the performed order is the same, else in the same
hearing of the same bar; where that is not heard, in its nearest one; where the bar is not heard at all, in what
follows.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from timing.columns import NEAR
from timing.performance import Performance
from timing.score import Score

_APART = 0.125  # quarters from knot to knot: on a line between them no moment is more than 1.5 ms away from where it is


@dataclass(frozen=True)
class TakeClock:
    """Quarters along the performed order and the seconds at which they are, line by line; and the performed bars."""

    quarters: np.ndarray
    seconds: np.ndarray
    bars: np.ndarray  # PASSAGE
    names: tuple[str, ...]  # of these bars

    @classmethod
    def of(cls, performance: Performance, score: Score) -> TakeClock:
        every = np.arange(0, performance.quarters, _APART)
        quarters = np.union1d(performance.time.knots, np.append(every, performance.quarters))
        names = tuple(score.bar_name(row) for row in performance.bars["row"].tolist())
        return cls(quarters, performance.time.seconds(quarters), performance.bars, names)

    def quarter(self, second: float) -> float:
        return float(np.interp(second, self.seconds, self.quarters))

    def second(self, quarter: float) -> float:
        return float(np.interp(quarter, self.quarters, self.seconds))

    def same_order(self, other: TakeClock) -> bool:
        columns = ("row", "pass", "start", "length")
        return len(self.bars) == len(other.bars) and all(
            np.array_equal(self.bars[column], other.bars[column]) for column in columns
        )

    def carried(self, second: float, into: TakeClock) -> float:
        """The second of another take at which it is where this one is at `second`."""
        quarter = self.quarter(second)
        return into.second(quarter if self.same_order(into) else self._elsewhere(quarter, into.bars))

    def _elsewhere(self, quarter: float, bars: np.ndarray) -> float:
        """The quarter, in another order of bars, of what lies at `quarter` in this one."""
        starts = self.bars["start"]
        here = self.bars[max(int(np.searchsorted(starts, quarter + NEAR, side="right")) - 1, 0)]
        hearings = np.flatnonzero(bars["row"] == here["row"])
        if len(hearings):
            away = np.abs(bars["pass"][hearings].astype(int) - int(here["pass"]))
            bar = bars[hearings[int(np.argmin(away))]]
            return float(bar["start"] + min(quarter - here["start"], bar["length"]))
        later = np.flatnonzero(bars["row"] > here["row"])
        if not len(later):
            return float(bars["start"][-1] + bars["length"][-1])
        return float(bars["start"][later[int(np.argmin(bars["row"][later]))]])

    def values(self) -> dict[str, Any]:
        """As the page is told."""
        columns = [self.bars[name].tolist() for name in ("row", "pass", "start", "length")]
        bars = [
            {"row": row, "pass": pass_, "start": start, "end": start + length, "name": name}
            for row, pass_, start, length, name in zip(*columns, self.names, strict=True)
        ]
        return {"quarters": self.quarters.round(9).tolist(), "seconds": self.seconds.round(6).tolist(), "bars": bars}
