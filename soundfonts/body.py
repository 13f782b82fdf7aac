"""The body as a sum of resonances: what it takes from the strings, what it gives to the air.

The air in the box and the top plate have their lowest resonances near 95 and 190 Hz (N. Fletcher and T. Rossing, The
Physics of Musical Instruments, chapter 9); above some 600 Hz they lie so close that only their statistics are heard
(J. Woodhouse, Acta Acustica 90, 2004). No instrument was copied: the upper ones are drawn from a fixed seed. All lie
on quarter tones, as far as can be from the notes of equal temperament, so that no note is a wolf.

A resonance takes its time to build up, the lowest ones tens of milliseconds. What the plates give beside their
resonances is there at once: one resonance so broad that it follows the string within a period stands for it. It was
chosen for beginnings as quick, in the middle of all notes, as a sampled guitar's, with no higher peaks.
"""

from __future__ import annotations

from functools import cache
from typing import NamedTuple

import numpy as np

_LOW = (  # MIDI pitch (quarter tones), quality, and strength
    (42.5, 14, -1.2),
    (54.5, 14, 1.3),
    (57.5, 16, -0.8),
    (62.5, 16, 0.9),
    (66.5, 16, -1.0),
    (69.5, 16, 0.9),
    (72.5, 16, -0.9),
)
_HIGH = np.arange(74.5, 122.0, 1.0)  # up to 9 kHz
_QUALITY = 16
_QUIET = 5_000.0  # Hz; above it the plates radiate less and less
_AT_ONCE = 135.0, 1.52, -0.72  # Hz, quality, and strength
_SEED = 1
_CLOSE = 400.0  # Hz; above it the resonances of the plates overlap


class Body(NamedTuple):
    """`pole` in 1/s (complex) and `residue` of every resonance: H(s) = Σ residue / (s - pole) + its conjugate."""

    pole: np.ndarray
    residue: np.ndarray


@cache
def body() -> Body:
    """The resonances, lowest first, then the broad one."""
    chance = np.random.default_rng(_SEED)
    low = np.array(_LOW).T
    pitch = np.concatenate([low[0], _HIGH])
    omega = 2 * np.pi * np.append(440.0 * 2.0 ** ((pitch - 69.0) / 12.0), _AT_ONCE[0])
    quality = np.concatenate([low[1], np.full(len(_HIGH), _QUALITY), _AT_ONCE[1:2]])
    # neighbours of opposite sign: the valley between them is then no deeper than their flanks
    turns = (-1.0) ** np.arange(len(_HIGH))
    strength = np.concatenate([low[2], turns * chance.uniform(0.6, 1.0, len(_HIGH)), _AT_ONCE[2:]])
    strength = strength / np.hypot(1, omega / (2 * np.pi * _QUIET))
    damping = omega / (2 * quality)
    pole = -damping + 1j * np.sqrt(omega**2 - damping**2)
    return Body(pole, strength * damping * pole / (1j * pole.imag))


def response(s: np.ndarray) -> np.ndarray:
    """H(s): sound for a unit force on the bridge, at complex frequencies in 1/s of any shape."""
    pole, residue = body()
    s = np.asarray(s)[..., None]
    return (residue / (s - pole) + residue.conj() / (s - pole.conj())).sum(axis=-1)


def admittance(frequency: np.ndarray) -> np.ndarray:
    """The real part of the bridge's mobility in m/(s N): how readily it takes energy from a string at `frequency`.

    Each resonance takes what a mass on a spring with its loss takes. Below the many of the plates, which take as much
    as one plate without end would, little is taken but where air and top resonate. How much was chosen so that open
    strings ring as long as their own losses and a sampled guitar leave open; no measured table was at hand.
    """
    plates = 0.003 / (1 + (_CLOSE / frequency) ** 2)
    low, top = (1 / (1 + ((frequency / at - at / frequency) * quality) ** 2) for at, quality in ((95.2, 8), (190.4, 8)))
    return plates + 0.004 * low + 0.006 * top
