"""How loud and how bright a note is, from its partials alone: no sample is rendered.

Both are taken from 20 to 520 ms after the onset. Loudness is K-weighted (ITU-R BS.1770-4, with the analogue prototypes
of B. De Man, "Evaluation of implementations of the EBU R128 loudness measurement", AES 145, 2018). Brightness is the
spectral centroid, the mean frequency weighed by amplitude (G. Peeters, "A large set of audio features for sound
description", IRCAM, 2004).
"""

from __future__ import annotations

import numpy as np

from soundfonts.partials import STRING, Partials
from soundfonts.strings import MODES

WINDOW = (0.02, 0.52)  # seconds after the onset


def energies(partials: Partials) -> np.ndarray:
    """The energy of each partial in the window, shape (notes, partials), as the integral of its square.

    A mode's two planes lie too close to be told apart in the window: they count together, at the first one's place.
    """
    pole, amplitude = partials
    energy = 0.5 * np.abs(amplitude) ** 2 * _integral(2 * pole.real)
    one, two = slice(0, MODES), slice(MODES, STRING)
    both = amplitude[:, one] * amplitude[:, two].conj() * _integral(pole[:, one] + pole[:, two].conj())
    energy[:, one] = np.maximum(energy[:, one] + energy[:, two] + both.real, 0)
    energy[:, two] = 0
    return energy


def loudness_of(partials: Partials) -> np.ndarray:
    """K-weighted, in dB, shape (notes,): the differences between notes are what it is good for."""
    return 10 * np.log10((energies(partials) * k_weight(partials.frequency)).sum(axis=1))


def centroid_of(partials: Partials) -> np.ndarray:
    """Spectral centroid in Hz, shape (notes,)."""
    amplitude = np.sqrt(energies(partials))
    return (partials.frequency * amplitude).sum(axis=1) / amplitude.sum(axis=1)


def k_weight(frequency: np.ndarray) -> np.ndarray:
    """How much the energy at `frequency` (Hz) counts."""
    high, q, corner = 10 ** (3.999843853973347 / 20), 0.7071752369554196, 1681.974450955533
    s = 1j * frequency / corner
    shelf = (high * s**2 + high**0.4996667741545416 / q * s + 1) / (s**2 + s / q + 1)
    s = 1j * frequency / 38.13547087602444
    return np.abs(shelf * s**2 / (s**2 + s / 0.5003270373238773 + 1)) ** 2


def _integral(rate: np.ndarray) -> np.ndarray:
    """∫ exp(rate t) dt over the window."""
    start, end = WINDOW
    return (np.exp(rate * end) - np.exp(rate * start)) / rate
