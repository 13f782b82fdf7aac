"""A melody as arrays, measured in bars: all that the finding of phrases looks at."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

TICKS = 960  # of a bar: what differs by less is written at the same place, or as long


@dataclass(frozen=True)
class Melody:
    """One note after the other; times are bars of the metre, whatever its beat, so that a melody in 2/2 is the one in
    2/4 with twice the note values."""

    onset: np.ndarray  # (n,) bars after the first note, rising
    length: np.ndarray  # (n,) bars for which it sounds, no longer than until the next onset
    place: np.ndarray  # (n,) from 0 to below 1: the part of its bar that is over when it begins
    pitch: np.ndarray  # (n,) MIDI pitch

    def __len__(self) -> int:
        return len(self.onset)

    @cached_property
    def steps(self) -> np.ndarray:
        """(n,) bars from onset to onset; of the last note, its length."""
        return np.append(np.diff(self.onset), self.length[-1:])

    @cached_property
    def intervals(self) -> np.ndarray:
        """(n - 1,) semitones from note to note."""
        return np.diff(self.pitch.astype(np.int64))

    @cached_property
    def density(self) -> float:
        """Notes a bar."""
        return len(self) / max(float(self.steps.sum()), 1 / TICKS) if len(self) else 0.0


def ticks(bars: np.ndarray) -> np.ndarray:
    """The nearest ticks, in which times are compared."""
    return np.rint(np.asarray(bars) * TICKS).astype(np.int64)
