"""How the level of a note of the guitar goes while it rings, in closed form: what a player of the bank gives.

A sample that is bent is gone through faster, and its partials lie higher for the ear; the envelope of the player falls
at one rate in seconds, however it is bent.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from soundfonts.measures import k_weight
from soundfonts.notes import FRETS, HARMONIC, HARMONICS, LIGADO, NATURALE, PIZZICATO, notes, pluck_at
from soundfonts.samples import RATE, Rung, audible, ringing

_LASTING = 10**9  # samples: what ends by itself has no loop
_APART = 1.0005  # the planes of a mode lie 0.6 cents apart, modes by much more
_NOTHING = 1e-30  # of energy, so that its logarithm is a number


def fading(
    string: int,
    open_pitch: int,
    tone: int,
    fret: int,
    seconds: np.ndarray,
    bend: tuple[np.ndarray, np.ndarray],
    cm: float | None = None,
) -> np.ndarray:
    """(n,) K-weighted level in dB; see `soundfonts.guitar.fading`."""
    there = np.array(list(HARMONICS)) if tone == HARMONIC else np.arange(FRETS + 1)
    nearest = int(there[np.abs(there - fret).argmin()])
    pole, amplitude, held, decay = _rung(string, open_pitch, nearest, NATURALE if tone == LIGADO else tone, cm)
    ratio, gone = _gone_through(np.asarray(seconds, float), *bend)
    ratio, gone = ratio * 2 ** ((fret - nearest) / 12), gone * 2 ** ((fret - nearest) / 12)
    place = np.minimum(gone, held / RATE)
    order = np.argsort(pole.imag)
    hertz = pole.imag[order] / (2 * np.pi)
    modes = np.flatnonzero(np.append(True, hertz[1:] > hertz[:-1] * _APART))  # each with both of its planes
    sizes = amplitude[order] * np.exp((pole[order] + decay) * place[:, None])
    together = np.abs(np.add.reduceat(sizes, modes, axis=1))
    energy = (together**2 * k_weight(hertz[modes] * ratio[:, None])).sum(axis=1)
    return 10 * np.log10(np.maximum(energy, _NOTHING)) - 20 / np.log(10) * decay * np.asarray(seconds)


def _gone_through(seconds: np.ndarray, points: np.ndarray, semitones: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """By what a bent note is raised at these `seconds`, as a ratio; how many seconds of it are gone through by then."""
    points, semitones = (points, semitones) if len(points) else (np.zeros(1), np.zeros(1))
    bent = 2 ** (semitones / 12)
    until = bent[0] * points[0] + np.append(0, np.cumsum(np.diff(points) * (bent[1:] + bent[:-1]) / 2))
    before, after = np.minimum(seconds - points[0], 0) * bent[0], np.maximum(seconds - points[-1], 0) * bent[-1]
    return np.interp(seconds, points, bent), np.interp(seconds, points, until) + before + after


@lru_cache(1_024)
def _rung(string: int, open_pitch: int, fret: int, tone: int, cm: float | None) -> Rung:
    """One note, in its own voicing, which takes milliseconds."""
    pluck = None if cm is None else pluck_at(round(2 * cm) / 2)
    partials = notes(string, open_pitch, np.array([fret]), tone, pluck)
    if tone == PIZZICATO:
        return Rung(*audible(partials, 0), _LASTING, 0.0)
    return ringing(partials, 0)
