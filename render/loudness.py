"""Programme loudness while the samples stream by: ITU-R BS.1770-4, gated, in LUFS.

The K-weighting filters are pyloudnorm's; the signal itself is never held in memory, so that an hour costs no more than
a minute.
"""

from __future__ import annotations

import numpy as np

ABSOLUTE_GATE = -70.0  # LUFS
RELATIVE_GATE = -10.0  # LU below the mean of what passed the absolute gate
_OFFSET = -0.691  # so that a 997 Hz sine of 0 dBFS in one channel is -3.01 LKFS


class Loudness:
    """Feed it (frames, channels) blocks of any length; ask it for the loudness at the end."""

    def __init__(self, rate: int, channels: int = 2):
        from pyloudnorm import Meter

        self._filters = [(f.b, f.a) for f in Meter(rate)._filters.values()]
        self._states = [np.zeros((2, channels)) for _ in self._filters]
        self._step = rate // 10  # the gating blocks of 400 ms overlap by three quarters
        self._rest = np.zeros((0, channels))
        self._energies: list[np.ndarray] = []

    def feed(self, block: np.ndarray) -> None:
        """Take the next samples."""
        from scipy.signal import lfilter

        weighted = block.astype(np.float64)
        for number, (b, a) in enumerate(self._filters):
            weighted, self._states[number] = lfilter(b, a, weighted, axis=0, zi=self._states[number])
        weighted = np.concatenate([self._rest, weighted])
        whole = len(weighted) // self._step
        used, self._rest = weighted[: whole * self._step], weighted[whole * self._step :]
        self._energies.append((used.reshape(whole, self._step, used.shape[1]) ** 2).mean(axis=1).sum(axis=1))

    def value(self) -> float | None:
        """Integrated loudness in LUFS; None for silence, and for less than 400 ms."""
        steps = np.concatenate([np.zeros(0), *self._energies])
        if len(steps) < 4:
            return None
        energy = np.convolve(steps, np.full(4, 0.25), "valid")
        with np.errstate(divide="ignore"):
            loud = energy[_OFFSET + 10 * np.log10(energy) > ABSOLUTE_GATE]
            if not len(loud):
                return None
            gate = loud.mean() * 10 ** (RELATIVE_GATE / 10)
            return float(_OFFSET + 10 * np.log10(loud[loud > gate].mean()))
