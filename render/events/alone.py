"""What a note of the modelled guitar would do alone: what its slides are made good by."""

from __future__ import annotations

import numpy as np

from render.events.presets import presets_of
from soundfonts.guitar import fading
from timing.performance import Performance
from timing.slides.made_good import Alone, bends_of


def guitar_alone(performance: Performance, modelled: np.ndarray) -> Alone:
    """What the modelled guitar does alone, in the lanes that are `modelled`."""
    notes, bend = performance.notes, bends_of(performance)
    bank, _ = presets_of(performance, modelled)

    def alone(row: int, seconds: np.ndarray) -> np.ndarray:
        note = notes[row]
        tone, string = divmod(int(bank[row]), 8)
        tuning = tuple(int(pitch) for pitch in performance.tunings[note["part"]] if pitch)
        string = string or _lowest(tuning, int(note["pitch"]))
        fret = int(note["pitch"]) - tuning[string - 1]
        cm = float(note["pluck"]) if np.isfinite(note["pluck"]) else None
        return fading(string, tone, tuning, fret, seconds - note["onset"], bend(row), cm)

    return alone


def _lowest(tuning: tuple[int, ...], pitch: int) -> int:
    """The string on which a note lies lowest, or is nearest to."""
    frets = [pitch - opened for opened in tuning]
    return min(range(len(tuning)), key=lambda string: (max(-frets[string], 0), frets[string])) + 1
