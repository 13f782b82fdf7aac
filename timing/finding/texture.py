"""All that sounds with a melody, as arrays along its axis: which pitch classes, for how long, and what is lowest."""

from __future__ import annotations

from functools import cached_property

import numpy as np

from timing.columns import NEAR
from timing.finding.leading import Leading
from timing.notes.lines import covering_max
from timing.score import Score

SILENT = 999  # in place of a pitch, where nothing sounds


class Texture:
    """The pitched notes of all voices, without grace notes; times are quarters along the axis of the leading voice.

    Pitch classes are counted from `home`, the lowest note of those that are over last, so that nothing that is made of
    them knows in which key the score is written.
    """

    def __init__(self, score: Score, line: Leading):
        notes = score.notes
        chosen = (notes["length"] > 0) & ~score.parts["percussion"][notes["part"]] & ~line.skipped[notes["bar"]]
        rows = np.flatnonzero(chosen)
        start = np.round(line.bar_quarter[notes["bar"][rows]] + notes["offset"][rows], 6)
        order = np.argsort(start, kind="stable")
        rows = rows[order]
        self.bar, self.offset, self.pitch = notes["bar"][rows], notes["offset"][rows], notes["pitch"][rows].astype(int)
        self.start = start[order]
        self.end = np.round(self.start + notes["length"][rows], 6)
        self.home = int(self.pitch[self.end >= self.end.max() - NEAR].min())
        self.in_melody = np.isin(rows, line.rows)
        self._times = np.unique(np.concatenate([self.start, self.end]))  # at which a note begins or is over

    @cached_property
    def accompanied(self) -> float:
        """How long the other notes sound, all added, against those of the melody."""
        length = self.end - self.start
        return float(length[~self.in_melody].sum() / length[self.in_melody].sum())

    def lasting(self, begin: np.ndarray, end: np.ndarray) -> np.ndarray:
        """(n, 12) quarters for which each pitch class sounds between two moments, all notes added."""
        return np.maximum(self._until(end) - self._until(begin), 0.0)

    def _until(self, moment: np.ndarray) -> np.ndarray:
        sounding, lasted = self._sums
        at = np.maximum(np.searchsorted(self._times, moment, side="right") - 1, 0)
        return lasted[at] + sounding[at] * np.maximum(moment - self._times[at], 0.0)[:, None]

    @cached_property
    def _sums(self) -> tuple[np.ndarray, np.ndarray]:
        """(times, 12) how many notes of each pitch class sound from each time on, and the quarters that they have
        sounded by then."""
        change, step = np.zeros((len(self._times), 12)), (self.pitch - self.home) % 12
        np.add.at(change, (np.searchsorted(self._times, self.start), step), 1.0)
        np.add.at(change, (np.searchsorted(self._times, self.end), step), -1.0)
        sounding = np.cumsum(change, axis=0)
        lasted = np.cumsum(sounding[:-1] * np.diff(self._times)[:, None], axis=0)
        return sounding, np.vstack([np.zeros(12), lasted])

    def lowest(self, begin: np.ndarray, end: np.ndarray) -> np.ndarray:
        """(n,) the lowest note that sounds between two moments; SILENT where none does."""
        first = np.maximum(np.searchsorted(self._times, begin + NEAR, side="right") - 1, 0)
        last = np.maximum(np.searchsorted(self._times, end - NEAR), first + 1)
        return np.minimum.reduceat(self._lowest, np.column_stack([first, last]).ravel())[::2]

    @cached_property
    def _lowest(self) -> np.ndarray:
        """(times + 1,) the lowest note that sounds from each time on."""
        first, last = np.searchsorted(self._times, self.start), np.searchsorted(self._times, self.end)
        found = -covering_max(first, np.maximum(last, first + 1), -self.pitch.astype(np.int32), len(self._times) + 1)
        return np.where(found > SILENT, SILENT, found)

    def attacks(self, begin: np.ndarray, end: np.ndarray) -> np.ndarray:
        """(n,) at how many moments notes begin from one moment on and before another."""
        return _between(self._attacks, begin, end)

    def attacks_under(self, begin: np.ndarray, end: np.ndarray) -> np.ndarray:
        """(n,) the same for what is not the melody."""
        return _between(self._attacks_under, begin, end)

    @cached_property
    def _attacks(self) -> np.ndarray:
        return np.unique(self.start)

    @cached_property
    def _attacks_under(self) -> np.ndarray:
        return np.unique(self.start[~self.in_melody])

    def silence_before(self, moment: np.ndarray) -> np.ndarray:
        """(n,) quarters for which nothing has sounded just before each moment."""
        begun = np.searchsorted(self.start, moment - NEAR)
        over = np.append(-np.inf, np.maximum.accumulate(self.end))[begun]
        return np.where(begun > 0, np.maximum(moment - over, 0.0), 0.0)


def _between(times: np.ndarray, begin: np.ndarray, end: np.ndarray) -> np.ndarray:
    return np.searchsorted(times, end - NEAR) - np.searchsorted(times, begin - NEAR)
