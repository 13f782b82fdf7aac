"""What is to sound each note by its tone: the preset of the modelled guitar, or a program and a colour.

On a guitar a tone is a preset of its own, one for every string; elsewhere it is a colour, dark or bright, of what the
program gives.
"""

from __future__ import annotations

import numpy as np

from soundfonts.guitar import (
    HARMONIC,
    HIGHEST,
    LIGADO,
    LOWEST,
    NATURALE,
    PIZZICATO,
    PLUCKING_POINTS,
    PONTICELLO,
    STRINGS,
    TASTO,
    preset,
)
from timing import performance as played
from timing.performance import TONES, Performance

GUITAR = 24  # General MIDI: acoustic guitar (nylon)
BOWED, PIZZICATO_STRINGS = (*range(40, 45), 48, 49), 45  # ensembles too
PLAIN, DARK, BRIGHT = 0, 1, 2

_MEANINGS = {"sul tasto": DARK, "dark": DARK, "sul ponticello": BRIGHT, "bright": BRIGHT}
_COLOUR = np.array([_MEANINGS.get(tone, PLAIN) for tone in TONES], np.int8)


def colours(tones: np.ndarray) -> np.ndarray:
    """PLAIN, DARK or BRIGHT for every index into TONES: over the fingerboard is dark, at the bridge bright.

    Where there is a plucking point the same codes are naturale, sul tasto and sul ponticello.
    """
    return _COLOUR[tones]


def modelled_lanes(performance: Performance) -> np.ndarray:
    """(lanes,) which are guitars, with strings that can be modelled."""
    lanes, tunings = performance.lanes, performance.tunings
    strung = tunings > 0
    possible = (tunings >= LOWEST) & (tunings <= HIGHEST) | ~strung
    playable = strung.any(axis=1) & (strung.sum(axis=1) <= STRINGS) & possible.all(axis=1)
    return (lanes["program"] == GUITAR) & playable[lanes["part"]]


def presets_of(performance: Performance, modelled: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(n,) bank and program of each note, those of the modelled guitar in the lanes that are `modelled`. A plucking
    point in cm is taken for the nearest that has a name."""
    notes = performance.notes
    program = performance.lanes["program"][notes["lane"]].astype(np.int64)
    bank = np.zeros(len(notes), np.int64)
    program[np.isin(program, BOWED) & (notes["technique"] == played.PIZZICATO)] = PIZZICATO_STRINGS
    mine = modelled[notes["lane"]]
    if mine.any():
        bank[mine], program[mine] = _of_strings(notes[mine])
    return bank, program


def _of_strings(notes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(n,) bank and program by which the modelled guitar plays each note (PLAYED)."""
    codes = colours(notes["tone"]).astype(np.int64)  # dark is sul tasto, bright sul ponticello
    placed = np.isfinite(notes["pluck"])
    if placed.any():
        points = np.array([PLUCKING_POINTS[tone] for tone in (NATURALE, TASTO, PONTICELLO)])
        away = np.abs(notes["pluck"][placed, None] - points)
        codes[placed] = np.argmin(away, axis=1)
    codes[notes["attack"] == played.SLURRED] = LIGADO
    codes[notes["technique"] == played.PIZZICATO] = PIZZICATO
    codes[notes["technique"] == played.HARMONIC] = HARMONIC
    pairs, each = np.unique(np.stack([notes["string"], codes]), axis=1, return_inverse=True)
    found = np.array([preset(int(string), int(code)) for string, code in pairs.T]).reshape(-1, 2)
    return found[each, 0], found[each, 1]
