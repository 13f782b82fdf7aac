"""A softer pluck is darker: the finger lets go more slowly, and what lies high is missing.

Played softly, the excitation of a plucked string goes through a lowpass that closes further (M. Laurson, C. Erkut,
V. Välimäki and M. Kuuskankare, "Methods for modeling realistic playing in acoustic guitar synthesis", Computer Music
Journal 25, 2001, from memory). Here it is the player's own filter, whose frequency falls by an even number of cents a
step of velocity, so that any player of SoundFonts darkens a note alike. How far it falls is found for each note, so
that all grow darker in one measure: at pianissimo the centroid is _DARKER times what it is at full force. What that
takes from the K-weighted level is given back by the law of velocity, a little less steep and with a term of its own.

The law: the filter lies at 19.9 kHz × 2^(-cents / 1200 × (1 - velocity / 128)), 12 dB an octave.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from soundfonts.measures import energies, k_weight
from soundfonts.partials import Partials

OPEN = 13_500  # absolute cents: where the filter lies if nothing moves it (SoundFont 2.04 §8.1.3), 19.9 kHz
CONCAVE = 960  # centibels: the law of velocity, 40 log10(v / 127), as its modulator has it (§8.4.1)

_DARKER, _SOFT = 0.85, 32  # at velocity 32, which is pianissimo
_MOST = 0.2  # dB of level that may be taken by then: high notes, which are nearly all first partial, darken less
_HEARD = np.arange(24, 128)  # velocities at which the level is kept
_HIGHEST = 0.45  # of the rate: players put the filter no higher
_FARTHEST = 8_000.0  # cents


class Softer(NamedTuple):
    """For notes, shape (notes,): by how many `cents` the filter would fall from full force to none, and the law of
    velocity in centibels: `concave` (in the place of CONCAVE) and `linear`."""

    cents: np.ndarray
    concave: np.ndarray
    linear: np.ndarray


def softer(partials: Partials, rate: int) -> Softer:
    """How notes grow darker, and what keeps their level."""
    energy, frequency = energies(partials), partials.frequency
    weighted = energy * k_weight(frequency)
    bend = _warped(frequency, rate)

    def through(cents: np.ndarray, velocity: float) -> tuple[np.ndarray, np.ndarray]:
        """(notes,) centroid in Hz and K-weighted energy of what the filter lets through."""
        part = _let_through(bend, cents, velocity, rate)
        size = np.sqrt(energy * part)
        return (size * frequency).sum(axis=1) / size.sum(axis=1), (weighted * part).sum(axis=1)

    none = np.zeros(len(energy))
    bright, loud = through(none, _SOFT)
    low, high = none, none + _FARTHEST
    for _ in range(14):
        middle = (low + high) / 2
        centroid, left = through(middle, _SOFT)
        enough = (centroid < _DARKER * bright) | (left < loud * 10 ** (-_MOST / 10))
        low, high = np.where(enough, low, middle), np.where(enough, middle, high)
    cents = np.rint(low)
    lost = np.array([10 * np.log10(loud / through(cents, float(velocity))[1]) for velocity in _HEARD])
    laws = np.stack([-40 * np.log10(_HEARD / 127), 1 - _HEARD / 128], axis=1)
    concave, linear = np.linalg.lstsq(laws, lost, rcond=None)[0]
    return Softer(cents, np.rint(CONCAVE * (1 - concave)), np.rint(-10 * linear))


def _let_through(bend: np.ndarray, cents: np.ndarray, velocity: float, rate: int) -> np.ndarray:
    """The part of the energy that a Butterworth lowpass of second order lets through, shape of `bend`."""
    cutoff = 8.176 * 2 ** ((OPEN - cents * (1 - velocity / 128)) / 1200)
    return 1 / (1 + (bend / _warped(cutoff, rate)[:, None]) ** 4)


def _warped(frequency: np.ndarray, rate: int) -> np.ndarray:
    """Frequencies as a filter made by the bilinear transform has them."""
    return np.tan(np.pi * np.minimum(frequency / rate, _HIGHEST))
