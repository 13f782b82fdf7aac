"""What is drawn of a reading, worked out once: its curves, and what is written at its places."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from render.drawing.labels import Comment, Label, labels_of, numbered
from render.drawing.sampling import level_points, pace_points, same_level, same_pace
from timing.reading import Reading
from timing.remarks import Remark
from timing.where.beats import felt_beat


@dataclass(frozen=True)
class Drawn:
    """One reading as it is drawn over the score. Bars are performed bars, by their row in `bars`."""

    title: str
    bars: np.ndarray  # PASSAGE
    neighbours: np.ndarray  # (bars - 1,) whether the next one follows on the page
    pace: np.ndarray  # POINT, against the basic tempo
    level: np.ndarray  # POINT, dB
    pace_like: np.ndarray  # (bars,) the first hearing of the bar with this pace
    level_like: np.ndarray  # (bars,) and with this level
    tempo: np.ndarray  # (bars, 2) the basic tempo where each bar begins, in felt beats a minute; the beat in quarters
    labels: tuple[Label, ...]  # by their place
    comments: tuple[Comment, ...]  # `why:` notes and cautions, numbered by their place

    def labels_in(self, first: int, last: int) -> list[Label]:
        """The labels that may reach into these rows of the score's bars, both included."""
        begin, end = self._reach
        return [self.labels[number] for number in np.flatnonzero((begin <= last) & (end >= first))]

    def comments_in(self, first: int, last: int) -> tuple[Comment, ...]:
        """The comments on these rows of the score's bars, both included."""
        rows = [each.start[0] for each in self.comments]
        return self.comments[bisect_left(rows, first) : bisect_right(rows, last)]

    @cached_property
    def _reach(self) -> np.ndarray:
        """(2, labels) the rows of the bars in which labels begin and end."""
        return np.array([(each.start[0], each.end[0]) for each in self.labels], np.int64).reshape(-1, 2).T


def drawn(reading: Reading, remarks: Sequence[Remark] = ()) -> Drawn:
    """What is drawn of a reading. Of the `remarks` (see timing.cautions.check) the cautions that stand are drawn."""
    bars = reading.performance.bars
    pace, level = pace_points(reading), level_points(reading)
    beat = felt_beat(bars)
    tempo = np.column_stack([reading.performance.time.basic(bars["start"]) / beat, beat])
    labels, comments = numbered(labels_of(reading), remarks, reading)
    return Drawn(
        reading.performance.title, bars, reading.where.neighbours, pace, level,
        same_pace(pace, bars), same_level(level, bars), tempo, labels, comments,
    )  # fmt: skip
