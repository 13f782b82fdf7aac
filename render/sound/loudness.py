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
_SIZE = 32_768  # samples of a Fourier transform: it still fits into the processor's cache
_MEMORY = 4_096  # samples after which the impulse response of the weighting has died away (below -140 dB)


class Loudness:
    """Feed it (frames, 2) blocks of any length; ask it for the loudness at the end.

    Samples are weighted by overlap-save: a window holds some of the past and a whole number of steps of 100 ms.
    """

    def __init__(self, rate: int):
        z = np.exp(-2j * np.pi * np.fft.rfftfreq(_SIZE))
        curves = [np.polyval(b[::-1], z) / np.polyval(a[::-1], z) for b, a in k_weighting(rate)]
        self._response = np.prod(curves, axis=0).astype(np.complex64)
        self._step = rate // 10  # the gating blocks of 400 ms overlap by three quarters
        self._past = _SIZE - (_SIZE - _MEMORY) // self._step * self._step
        self._window = np.zeros((2, _SIZE), np.float32)
        self._filled = self._past
        self._spectrum = np.empty((2, _SIZE // 2 + 1), np.complex64)
        self._weighted = np.empty((2, _SIZE), np.float32)
        self._energies: list[np.ndarray] = []

    def feed(self, block: np.ndarray) -> None:
        """Take the next samples (they are copied)."""
        while len(block):
            part, block = np.split(block, [_SIZE - self._filled])
            self._window[:, self._filled : self._filled + len(part)] = part.T
            self._filled += len(part)
            if self._filled == _SIZE:
                self._weigh()

    def value(self) -> float | None:
        """Integrated loudness in LUFS; None for silence, and for less than 400 ms. Nothing can be fed afterwards."""
        self._window[:, self._filled :] = 0
        self._weigh()
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

    def _weigh(self) -> None:
        """Weight the window, keep the energies of its whole steps, and let its end be the past of the next one."""
        np.fft.rfft(self._window, out=self._spectrum)  # type: ignore[arg-type]  # single precision, as the stubs deny
        self._spectrum *= self._response
        np.fft.irfft(self._spectrum, out=self._weighted)  # type: ignore[arg-type]
        whole = (self._filled - self._past) // self._step
        steps = self._weighted[:, self._past : self._past + whole * self._step].reshape(2, whole, self._step)
        self._energies.append(np.square(steps).mean(axis=2, dtype=np.float64).sum(axis=0))
        self._window[:, : self._past] = self._window[:, -self._past :].copy()
        self._filled = self._past


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
