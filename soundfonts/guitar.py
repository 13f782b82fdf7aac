"""The modelled guitar: its SoundFonts, built once into the user's cache, and what is known of its notes without them.

The names that others need of the model are here too.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from soundfonts import fading as rung
from soundfonts.building import STRINGS, preset, write_guitar
from soundfonts.measures import centroid_of, loudness_of
from soundfonts.notes import (
    FRETS,
    HARMONIC,
    HARMONICS,
    LIGADO,
    NATURALE,
    PIZZICATO,
    PLUCKING_POINTS,
    PONTICELLO,
    TASTO,
    TONES_IN_BANK,
    notes,
    pluck_at,
)
from soundfonts.store import kept
from timing.remarks import CannotDo

__all__ = [
    "FRETS", "HARMONIC", "HARMONICS", "HIGHEST", "LIGADO", "LOWEST", "NATURALE", "PIZZICATO", "PLUCKING_POINTS",
    "PONTICELLO", "STANDARD_TUNING", "STRINGS", "TASTO", "TONES_IN_BANK", "brightness", "fading", "guitar_bank",
    "loudness", "point_bank", "preset",
]  # fmt: skip

STANDARD_TUNING = (64, 59, 55, 50, 45, 40)  # MIDI pitch of the open strings, string 1 first
LOWEST, HIGHEST = 21, 88  # MIDI pitches to which a string can be tuned
NEAREST, FARTHEST = 1.0, 40.0  # cm from the bridge
VERSION = "7"  # raise it when the recipe gives other sound


def guitar_bank(tuning: Iterable[int] = STANDARD_TUNING, progress: Callable[[int, int], None] | None = None) -> Path:
    """The SoundFont of the guitar in `tuning` (MIDI pitch of 1 to 7 open strings, string 1 first).

    Built when it is asked for first, in a few seconds; `progress(done, total)` is told meanwhile. Raises CannotDo for
    a tuning that no strings could stand, and where there is no room for the file.
    """
    tuning = _checked(tuning)
    name = f"guitar-{VERSION}-{'.'.join(map(str, tuning))}.sf2"
    return kept(name, "guitar", VERSION, lambda file: write_guitar(file, tuning, "Modelled guitar", progress=progress))


def point_bank(tuning: Iterable[int], cm: float, progress: Callable[[int, int], None] | None = None) -> Path:
    """The same, plucked `cm` from the bridge (1 to 40, to the nearest half), in the banks of naturale and no others."""
    tuning = _checked(tuning)
    if not NEAREST <= cm <= FARTHEST:
        message = f"a plucking point must lie {NEAREST:g} to {FARTHEST:g} cm from the bridge (got {cm:g})"
        raise CannotDo.because("plucking-point", message)
    cm = round(2 * cm) / 2
    name = f"guitar-{VERSION}-{'.'.join(map(str, tuning))}-{cm}cm.sf2"
    title, pluck = f"Guitar plucked at {cm:g} cm", pluck_at(cm)
    return kept(name, "guitar", VERSION, lambda file: write_guitar(file, tuning, title, pluck=pluck, progress=progress))


def brightness(string: int, tone: int, tuning: Iterable[int], frets: ArrayLike) -> np.ndarray:
    """Spectral centroid in Hz, 20 to 520 ms after the onset, of a string (1 is the highest) at `frets`.

    Worked out from the model, so no bank is built. In harmonics `frets` are semitones above the open string.
    """
    return np.array([note.brightness for note in _asked(string, tone, tuning, frets)])


def loudness(string: int, tone: int, tuning: Iterable[int], frets: ArrayLike) -> np.ndarray:
    """The same for the K-weighted level in dB at one velocity: only differences between notes mean anything."""
    return np.array([note.loudness for note in _asked(string, tone, tuning, frets)])


def fading(
    string: int,
    tone: int,
    tuning: Iterable[int],
    fret: int,
    seconds: np.ndarray,
    bend: tuple[np.ndarray, np.ndarray],
    cm: float | None = None,
) -> np.ndarray:
    """(n,) K-weighted level in dB at these `seconds` after the pluck, while the note rings: only differences mean
    anything. `bend` is the (points,) seconds and semitones of its bend, in lines from one to the next; none where there
    are no points.

    In harmonics `fret` is semitones above the open string. Beyond the frets the nearest note is transposed. With `cm`
    naturale, sul tasto and sul ponticello are plucked there instead.
    """
    named = tone in (NATURALE, TASTO, PONTICELLO)
    cm = cm if named else None
    return rung.fading(string, _checked(tuning)[string - 1], NATURALE if cm else tone, fret, seconds, bend, cm)


class _Measured(NamedTuple):
    brightness: float
    loudness: float


def _asked(string: int, tone: int, tuning: Iterable[int], frets: ArrayLike) -> list[_Measured]:
    """What is known of notes, each the nearest one that the tone has a sample of."""
    frets = np.atleast_1d(np.asarray(frets, int))
    there = np.array(list(HARMONICS)) if tone == HARMONIC else np.arange(FRETS + 1)
    nearest = there[np.abs(frets[:, None] - there).argmin(axis=1)]
    pitch = _checked(tuning)[string - 1]
    return [_measured(string, pitch, fret, NATURALE if tone == LIGADO else tone) for fret in nearest.tolist()]


@lru_cache(8_192)
def _measured(string: int, open_pitch: int, fret: int, tone: int) -> _Measured:
    """One note. It takes milliseconds to voice, and the same ones are asked for at every check."""
    partials = notes(string, open_pitch, np.array([fret]), tone)
    return _Measured(float(centroid_of(partials)[0]), float(loudness_of(partials)[0]))


def _checked(tuning: Iterable[int]) -> tuple[int, ...]:
    tuning = tuple(int(pitch) for pitch in tuning)
    if not 1 <= len(tuning) <= STRINGS or not all(LOWEST <= pitch <= HIGHEST for pitch in tuning):
        got = ", ".join(map(str, tuning)) or "none"
        message = f"a tuning must be 1 to {STRINGS} MIDI pitches from {LOWEST} to {HIGHEST}, string 1 first (got {got})"
        raise CannotDo.because("tuning", message)
    return tuning
