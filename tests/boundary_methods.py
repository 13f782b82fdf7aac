"""Simple ways to find phrase ends, to be beaten, and how near an answer comes to what is written.

Each takes a Melody and gives (n,) after which notes a phrase ends.
"""

from __future__ import annotations

import numpy as np

from timing.finding.melody import TICKS, Melody, ticks


def every_note(melody: Melody) -> np.ndarray:
    return np.ones(len(melody), bool)


def rests_only(melody: Melody) -> np.ndarray:
    """Grouping preference rule 2a: F. Lerdahl and R. Jackendoff, A Generative Theory of Tonal Music, 1983."""
    return ticks(melody.steps) > ticks(melody.length)


def local_boundaries(melody: Melody, threshold: float = 0.5) -> np.ndarray:
    """The local boundary detection model of E. Cambouropoulos (ICMC 2001, from memory): where the intervals of pitch
    (weight .25), of onset (.5) and of silence (.25) change most against their neighbours."""
    steps = melody.steps[:-1]
    profiles = {0.25: np.abs(melody.intervals), 0.5: steps}
    strength = sum(weight * _changes(values.astype(float)) for weight, values in profiles.items())
    strength = strength + 0.25 * _changes(np.maximum(steps - melody.length[:-1], 0.0))
    if strength.size and strength.max() > 0:
        strength = strength / strength.max()
    around = np.concatenate([[-1.0], strength, [-1.0]])
    peak = (strength > around[:-2]) & (strength >= around[2:])
    return np.append(peak & (strength > threshold), True)


def _changes(values: np.ndarray) -> np.ndarray:
    both = values[:-1] + values[1:]
    change = np.abs(np.diff(values)) / np.where(both > 0, both, 1.0)
    strength = values * (np.append(0.0, change) + np.append(change, 0.0))
    return strength / strength.max() if strength.size and strength.max() > 0 else strength


def every_two_bars(melody: Melody) -> np.ndarray:
    """The next phrase begins two bars after the last, at the place in the bar where the song began."""
    begins = ticks(melody.onset) // (2 * TICKS)
    return np.append(np.diff(begins) > 0, True)


def scores(found: np.ndarray, written: np.ndarray) -> tuple[float, float, float]:
    """Precision, recall and F1 of the notes that end a phrase; the last note, which always does, is left out."""
    found, written = found[:-1], written[:-1]
    hits = int((found & written).sum())
    precision = hits / found.sum() if found.any() else 0.0
    recall = hits / written.sum() if written.any() else 0.0
    return precision, recall, 2 * hits / max(int(found.sum() + written.sum()), 1)
