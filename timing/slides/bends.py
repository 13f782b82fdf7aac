"""What a slide does while it sounds: the bend of its pitch and its swell.

A slide leaves late and moves in the last part of its note. Over frets the pitch goes by semitones, as the finger passes
them at an even speed; elsewhere it moves smoothly, as a raised cosine. The swell rises by equal dB in equal times, from
where the slide leaves to where it arrives.
"""

from __future__ import annotations

import numpy as np

from timing.performance import BEND, CARRIED, CURVE, GLIDE, PLUCKED
from timing.slides.glides import Slide, chains, notes_of

# Semitones and dB between neighbouring points: a writer holds each until the next, and neither is to be told apart.
BEND_STEP, SWELL_STEP = 0.05, 0.05


def glide_table(slides: list[Slide], played: np.ndarray) -> np.ndarray:
    """GLIDE table."""
    made = []
    for slide in slides:
        leave, arrive = _span(slide, played)
        attack = CARRIED if slide.carries else PLUCKED
        made.append((slide.note, slide.goal, leave, arrive, slide.swell, slide.entry.sung, attack, slide.number))
    return np.array(made, GLIDE)


def build_bends(slides: list[Slide], played: np.ndarray, fretted: np.ndarray) -> np.ndarray:
    """BEND table, by lane and second. `fretted` is (parts,), which parts have frets."""
    tables = [np.zeros(0, BEND)]
    for chain in chains(slides):
        struck = chain[0].note
        for slide in chain:
            move = _by_frets if fretted[played["part"][struck]] and played["string"][struck] else _smoothly
            pitches = (float(played["pitch"][row] - played["pitch"][struck]) for row in (slide.note, slide.goal))
            second, semitones = move(*_span(slide, played), *pitches)
            table = np.zeros(len(second), BEND)
            table["lane"], table["note"] = played["lane"][struck], struck
            table["second"], table["semitones"] = second, semitones
            tables.append(table)
    bends = np.concatenate(tables)
    return bends[np.argsort(bends["lane"], kind="stable")]


def _by_frets(leave: float, arrive: float, low: float, high: float) -> tuple[np.ndarray, np.ndarray]:
    """Seconds and semitones of a slide over frets: each step is two points at the second at which a fret is passed."""
    count = int(abs(high - low))
    passed = leave + (np.arange(count) + 0.5) / count * (arrive - leave)
    pitch = low + np.sign(high - low) * np.arange(count + 1)
    return np.repeat(passed, 2), np.repeat(pitch, 2)[1:-1]


def _smoothly(leave: float, arrive: float, low: float, high: float) -> tuple[np.ndarray, np.ndarray]:
    """Seconds and semitones of a slide without frets."""
    steepest = np.pi / 2 * abs(high - low)
    place = np.linspace(0, 1, int(np.ceil(steepest / BEND_STEP)) + 1)
    return leave + place * (arrive - leave), low + (high - low) * (1 - np.cos(np.pi * place)) / 2


def add_swells(slides: list[Slide], played: np.ndarray, curves: np.ndarray) -> np.ndarray:
    """CURVE table: `curves`, with the swell of each slide on its note. What a carried goal moves by is part of the
    sound that carries it, and in `played` its level is the one that this sound has swelled to."""
    by_note = np.argsort(curves["note"], kind="stable")
    kept, added = np.ones(len(curves), bool), []
    for chain in chains(slides):
        notes = notes_of(chain)
        reached, parts = 0.0, []
        for number, note in enumerate(notes):
            ends = np.searchsorted(curves["note"], (note, note + 1), sorter=by_note)
            mine = by_note[slice(*ends)]
            own, kept[mine] = curves[mine], False
            slide = chain[number] if number < len(chain) else None
            second, level = _risen(own, float(played["onset"][note]), slide, played)
            played["level"][note] = played["level"][notes[0]] + reached
            parts.append((second, level + reached))
            reached += float(level[-1])
        second, level = (np.concatenate(column) for column in zip(*parts, strict=True))
        if np.any(level):
            table = np.zeros(len(second), CURVE)
            table["lane"], table["note"] = played["lane"][notes[0]], notes[0]
            table["second"], table["level"] = second, level
            added.append(table)
    curves = np.concatenate([curves[kept], *added])
    return curves[np.lexsort((curves["second"], curves["note"], curves["lane"]))]


def _risen(own: np.ndarray, onset: float, slide: Slide | None, played: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Seconds and levels of a note's own curve (CURVE, perhaps empty) with the swell of its slide, if it has one."""
    second, level = (own["second"], own["level"]) if len(own) else (np.array([onset]), np.zeros(1))
    if slide is None or not slide.swell:
        return second, level
    leave, arrive = _span(slide, played)
    rise = np.linspace(leave, arrive, int(np.ceil(slide.swell / SWELL_STEP)) + 1)
    together = np.union1d(second, rise)
    swell = slide.swell * np.clip((together - leave) / (arrive - leave), 0, 1)
    return together, np.interp(together, second, level) + swell


def _span(slide: Slide, played: np.ndarray) -> tuple[float, float]:
    """Seconds at which the slide leaves and arrives."""
    begin, arrive = float(played["onset"][slide.note]), float(played["onset"][slide.goal])
    return arrive - min(slide.entry.glide * (arrive - begin), slide.entry._at_most), arrive
