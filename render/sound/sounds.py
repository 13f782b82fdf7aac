"""Which sound each note is played with: the bank, the preset in it, and the colour of its channel.

A guitar is played by the modelled one, unless the user has brought a bank: there every string and tone is a preset of
its own. On other instruments a tone is a colour, and a colour needs a channel, since it changes all that rings there.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from render.events.levels import LOWERED
from render.events.presets import PLAIN, colours, modelled_lanes, presets_of
from render.sound.colours import GAINS, balance
from soundfonts.banks import checked_bank, standard_bank
from soundfonts.chosen import general_bank
from soundfonts.guitar import (
    guitar_bank,
    point_bank,
)
from timing import performance as played
from timing.listening.clicks import NO_NOTE
from timing.performance import Performance

# The modelled guitar is as loud as 16 bits allow its samples to be, some 6 dB softer than the standard bank's guitar.
# Its channels bring it 4 dB nearer, and still have in hand what all have for swells.
MODELLED_VOLUME = 63

PRESET = np.dtype([("font", np.int16), ("bank", np.int16), ("program", np.int16)])


@dataclass(frozen=True)
class Timbres:
    """`fonts` are the banks; `presets` (n,) what each note is played with; `colour` (n,) of its channel; `volume`
    (lanes,) the CC7 that brings the banks to one level; `modelled` (lanes,) which are the modelled guitar; `change`
    (n,) the dB by which the colour changes the level of the note, `shared` (colours,) what all notes of a colour share
    of that, in the whole of the music."""

    fonts: tuple[Path, ...]
    presets: np.ndarray  # PRESET
    colour: np.ndarray
    volume: np.ndarray
    modelled: np.ndarray
    change: np.ndarray
    shared: np.ndarray


def find_sounds(
    performance: Performance, soundfont: Path | None, progress: Callable[[float, float], None] | None = None
) -> Timbres:
    """The sounds of a performance: from the user's own bank, but for clicks; or from the general one and the modelled
    guitar, which is built where it is not there yet (`progress(done, total)`)."""
    modelled = modelled_lanes(performance) & (soundfont is None)
    presets = np.zeros(len(performance.notes), PRESET)
    presets["bank"], presets["program"] = presets_of(performance, modelled)
    colour = np.where(modelled[performance.notes["lane"]], PLAIN, colours(performance.notes["tone"]))
    volume = np.where(modelled, MODELLED_VOLUME, LOWERED)
    if soundfont is not None:
        clicks = performance.notes["id"] == NO_NOTE  # a bank of one's own may have nothing that clicks
        presets["font"][clicks] = 1
        fonts = (checked_bank(soundfont), *[standard_bank()] * bool(clicks.any()))
    else:
        fonts = _choose_fonts(presets, performance, modelled, progress)
    change = _changes(performance.notes, fonts, presets, colour)
    if performance.whole is not None and (colour != PLAIN).any():
        shared = find_sounds(performance.whole, soundfont, progress).shared
    else:
        shared = np.array([change[colour == each].min(initial=np.inf) for each in range(len(GAINS))])
        shared[np.isinf(shared)] = 0.0
    return Timbres(fonts, presets, colour, volume, modelled, change, shared)


def _choose_fonts(
    presets: np.ndarray, performance: Performance, modelled: np.ndarray, progress: Callable[[float, float], None] | None
) -> tuple[Path, ...]:
    """The banks of a performance; writes into `presets` which of them each note is played with."""
    notes = performance.notes
    mine = modelled[notes["lane"]]
    fonts: dict[Path, int] = {} if len(mine) and mine.all() else {general_bank(): 0}
    for part in np.unique(notes["part"][mine]):
        tuning = tuple(int(pitch) for pitch in performance.tunings[part] if pitch)
        own = mine & (notes["part"] == part)
        presets["font"][own] = fonts.setdefault(guitar_bank(tuning, progress), len(fonts))
        plainly = (notes["technique"] == played.ORDINARY) & (notes["attack"] != played.SLURRED)
        placed = own & plainly & np.isfinite(notes["pluck"])
        for cm in np.unique(notes["pluck"][placed]):
            rows = placed & (notes["pluck"] == cm)
            presets["font"][rows] = fonts.setdefault(point_bank(tuning, float(cm), progress), len(fonts))
            presets["bank"][rows] = notes["string"][rows]
    return tuple(fonts)


def _changes(notes: np.ndarray, fonts: tuple[Path, ...], presets: np.ndarray, colour: np.ndarray) -> np.ndarray:
    """(n,) dB by which its colour would change the level of each note."""
    change = np.zeros(len(notes))
    coloured = np.flatnonzero(colour != PLAIN)
    kinds = np.stack([presets["font"], presets["program"], colour], axis=1)[coloured]
    for kind in np.unique(kinds, axis=0):
        rows = coloured[(kinds == kind).all(axis=1)]
        font, program, shade = kind.tolist()
        change[rows] = balance(fonts[font], program, notes["pitch"][rows], shade)
    return change
