"""What is known of a sound while its samples go by."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from render.sound.loudness import Loudness
from render.sound.peaks import TruePeak
from render.sound.stems import RATE


class Measure:
    """Give it all (frames, 2) float32 blocks of a sound; then it knows how many `frames` there were and how many
    samples are `clipped`, and can say their level."""

    def __init__(self) -> None:
        self.frames = self.clipped = 0
        self._peak = TruePeak()
        self._loudness = Loudness(RATE)

    def take_in(self, block: np.ndarray) -> None:
        """Measure the next samples."""
        self.frames += len(block)
        self._peak.feed(block)
        self.clipped += int(np.count_nonzero(np.abs(block) > 1))
        self._loudness.feed(block)

    def peak(self) -> float:
        """The true peak in dBTP; minus infinity for silence. To be asked once, at the end."""
        return self._peak.value()

    def loudness(self) -> float | None:
        """In LUFS; None for silence. To be asked once, at the end."""
        return self._loudness.value()

    def taking_in(self, blocks: Iterable[np.ndarray]) -> Iterator[np.ndarray]:
        """The same blocks, measured as they go by."""
        for block in blocks:
            self.take_in(block)
            yield block
