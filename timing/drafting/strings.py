"""What a draft says of strings: the octave that is assumed for a guitar, tuning and capo as words over the music have
them."""

from __future__ import annotations

from typing import Any

import numpy as np

from timing.drafting.items import DraftItem
from timing.instruments.tuning import pitch_name
from timing.plan.strings import TUNINGS
from timing.reading import Reading


def string_settings(reading: Reading) -> list[tuple[str, DraftItem]]:
    """The settings at the head of a plan, each with its reason."""
    parts = reading.score.parts
    said: dict[str, dict[int, tuple[Any, str]]] = {"sounds": {}, "tuning": {}, "capo": {}}
    for part, (octave, why) in reading.octaves.assumed.items():
        said["sounds"][part] = (octave, f"a plain treble clef, and {why}")
    for mark in reading.score.marks_of("tuning", "capo"):
        part, words = int(mark["part"]), f"printed: {mark['text']}"
        open_strings = reading.performance.tunings[part]
        if not open_strings.any():
            continue
        if mark["kind"] == "capo" and not parts["capo"][part]:
            why = f"{words}; write {mark['value']:g} if the notes are for the fingers, and all sounds so much higher"
            said["capo"][part] = (0, why)
        elif mark["kind"] == "tuning" and mark["value"]:
            before = said["tuning"].get(part)
            why = f"{before[1]}, {mark['text']}" if before else words
            said["tuning"][part] = (_tuning(open_strings[open_strings > 0] - reading.capos[part]), why)
    return [(key, _setting(of_parts, parts["name"])) for key, of_parts in said.items() if of_parts]


def _tuning(open_strings: np.ndarray) -> str | list[str]:
    """A tuning as a plan writes it: by its name, if it has one."""
    pitches = tuple(map(int, open_strings))
    names = [name for name, known in TUNINGS.items() if known == pitches]
    return names[0] if names else [pitch_name(pitch) for pitch in pitches]


def _setting(of_parts: dict[int, tuple[Any, str]], names: np.ndarray) -> DraftItem:
    """One value for the only part, or one for each by its name; the reasons of all."""
    values = {str(names[part]): value for part, (value, _) in of_parts.items()}
    reasons = dict.fromkeys(why for _, why in of_parts.values())
    return DraftItem(next(iter(values.values())) if len(names) == 1 else values, "; ".join(reasons))
