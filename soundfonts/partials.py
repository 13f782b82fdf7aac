"""Notes as sums of damped partials, and how the string's force becomes sound through the body.

The force F(t) of the string on the bridge, less the force that held it before it was let go, drives the body H. Both
are sums of poles, so partial fractions give the sound in closed form: every mode of the string keeps its frequency and
decay and is weighed by H at its place, and every resonance of the body is woken once and dies away, which is the knock
of the pluck. Nothing jumps at the onset.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from soundfonts.body import body, response
from soundfonts.strings import MODES, Motion

STRING = 2 * MODES  # partials of a string: its modes across the top, then those along it

_ALONG = 0.35  # strength of the plane along the top, against that across it
# The string is a little longer along the top: by 0.8 mm of 650, 2 cents (J. Woodhouse, Acta Acustica 90, 2004, 4.3, as
# others quote it).
# So far apart the planes would beat in a note that is held, by 6 dB; less than a third of that is heard as life alone.
_SPLIT = 2.0 ** (-0.6 / 1200)


class Partials(NamedTuple):
    """Notes as Re Σ amplitude exp(pole t), both complex and of the shape (notes, partials). The first STRING partials
    are the string's, the others the body's."""

    pole: np.ndarray
    amplitude: np.ndarray

    @property
    def frequency(self) -> np.ndarray:
        return self.pole.imag / (2 * np.pi)


class Bridge:
    """What a force on the bridge sounds like, for notes of one string: worked out once for any number of plucks."""

    def __init__(self, across: Motion, along: Motion):
        self.frequency = across.frequency
        frequency = np.hstack([across.frequency, along.frequency * _SPLIT])
        pole = -np.hstack([across.decay, along.decay]) + 2j * np.pi * frequency
        own, residue = body()
        at, own = pole[:, None, :], own[None, :, None]
        # F(s) = Σ force / 2 [1 / (s - pole) + 1 / (s - pole*)] - F(0) / s, at the poles of the body
        push = 1 / (own - at) + 1 / (own - at.conj()) - 2 / own
        self._knock = _planes(push.swapaxes(1, 2) * residue, axis=1)
        self._response = response(pole) * np.repeat([1, _ALONG], MODES)
        self._pole = np.hstack([pole, np.broadcast_to(own[..., 0], (len(pole), own.shape[1]))])

    def sound(self, force: np.ndarray) -> Partials:
        """The partials for the force of each mode, shape (notes, MODES)."""
        string = np.hstack([force, force]) * self._response
        # einsum stays in this thread, see samples.py
        knock = np.einsum("nm,nmb->nb", force, self._knock)
        return Partials(self._pole, np.hstack([string, knock]))


def _planes(values: np.ndarray, axis: int) -> np.ndarray:
    """Both planes together, as they push the bridge."""
    across, along = np.split(values, 2, axis=axis)
    return across + _ALONG * along
