"""Programme loudness while the samples stream by: ITU-R BS.1770-4, gated, in LUFS.

Written here, and not taken from a library, because rendering is quick: the libraries for it import scipy, which takes
longer than two minutes of music. The tests hold it against pyloudnorm, the standard's own numbers and EBU Tech 3341.
The signal is never held in memory, so that an hour costs no more of it than a minute.
"""

from __future__ import annotations

import numpy as np

ABSOLUTE_GATE = -70.0  # LUFS
RELATIVE_GATE = -10.0  # LU below the mean of what passed the absolute gate

_OFFSET = -0.691  # so that a 997 Hz sine of 0 dBFS in one channel is -3.01 LKFS
_MEMORY = 4096  # samples after which the impulse response of the weighting has died away (below -140 dB)
_BLOCK = 28_672  # with the memory 2^15, where a Fourier transform still fits into the processor's cache


class Loudness:
    """Feed it (frames, 2) blocks of any length; ask it for the loudness at the end."""

    def __init__(self, rate: int):
        size = _MEMORY + _BLOCK
        z = np.exp(-2j * np.pi * np.fft.rfftfreq(size))
        curves = [np.polyval(b[::-1], z) / np.polyval(a[::-1], z) for b, a in k_weighting(rate)]
        self._response = np.prod(curves, axis=0).astype(np.complex64)
        self._step = rate // 10  # the gating blocks of 400 ms overlap by three quarters
        self._past = np.zeros((2, _MEMORY), np.float32)
        self._waiting: list[np.ndarray] = []
        self._rest = np.zeros((2, 0), np.float32)
        self._energies: list[np.ndarray] = []

    def feed(self, block: np.ndarray) -> None:
        """Take the next samples (they are copied)."""
        self._waiting.append(block.T.astype(np.float32))
        if sum(part.shape[1] for part in self._waiting) >= _BLOCK:
            self._weigh(last=False)

    def value(self) -> float | None:
        """Integrated loudness in LUFS; None for silence, and for less than 400 ms. Nothing can be fed afterwards."""
        self._weigh(last=True)
        steps = np.concatenate(self._energies)
        if len(steps) < 4:
            return None
        energy = np.convolve(steps, np.full(4, 0.25), "valid")
        with np.errstate(divide="ignore"):
            loud = energy[_OFFSET + 10 * np.log10(energy) > ABSOLUTE_GATE]
            if not len(loud):
                return None
            gate = loud.mean() * 10 ** (RELATIVE_GATE / 10)
            return float(_OFFSET + 10 * np.log10(loud[loud > gate].mean()))

    def _weigh(self, last: bool) -> None:
        """Filter what waits, in whole blocks by overlap-save (the last one filled up), and keep the steps' energies."""
        signal = np.concatenate(self._waiting or [self._rest[:, :0]], axis=1)
        count = -(-signal.shape[1] // _BLOCK) if last else signal.shape[1] // _BLOCK
        for number in range(count):
            part = signal[:, number * _BLOCK : (number + 1) * _BLOCK]
            whole = np.zeros((2, _MEMORY + _BLOCK), np.float32)
            whole[:, :_MEMORY], whole[:, _MEMORY : _MEMORY + part.shape[1]] = self._past, part
            weighted = np.fft.irfft(np.fft.rfft(whole) * self._response)[:, _MEMORY : _MEMORY + part.shape[1]]
            self._past = whole[:, -_MEMORY:]
            self._add(weighted)
        self._waiting = [signal[:, count * _BLOCK :]]
        if last:
            self._energies.append(np.zeros(0))

    def _add(self, weighted: np.ndarray) -> None:
        weighted = np.concatenate([self._rest, weighted], axis=1)
        steps = weighted.shape[1] // self._step
        used, self._rest = weighted[:, : steps * self._step], weighted[:, steps * self._step :]
        self._energies.append((used.reshape(2, steps, self._step) ** 2).mean(axis=2, dtype=np.float64).sum(axis=0))


def k_weighting(rate: int) -> list[tuple[np.ndarray, np.ndarray]]:
    """(b, a) of the two filters of BS.1770-4 at a sampling rate: the head's shelf and the high-pass.

    The standard prints the coefficients for 48 kHz; these analogue prototypes give them, and the same curve at any
    other rate (B. De Man, "Evaluation of implementations of the EBU R128 loudness measurement", AES 145, 2018).
    """
    gain, q, corner = 3.999843853973347, 0.7071752369554196, 1681.974450955533
    k = np.tan(np.pi * corner / rate)
    high, band = 10 ** (gain / 20), (10 ** (gain / 20)) ** 0.4996667741545416
    scale = 1 + k / q + k * k
    shelf = np.array([high + band * k / q + k * k, 2 * (k * k - high), high - band * k / q + k * k]) / scale
    poles = np.array([scale, 2 * (k * k - 1), 1 - k / q + k * k]) / scale
    q, corner = 0.5003270373238773, 38.13547087602444
    k = np.tan(np.pi * corner / rate)
    scale = 1 + k / q + k * k
    high_pass = np.array([1.0, -2.0, 1.0]), np.array([scale, 2 * (k * k - 1), 1 - k / q + k * k]) / scale
    return [(shelf, poles), high_pass]
