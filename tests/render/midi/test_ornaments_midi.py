"""Ornaments in MIDI files, as mido reads them."""

from __future__ import annotations

import numpy as np
import pytest
from support import reading, score

from render.midi.file import to_midi
from timing.score import Ornament


def struck(made) -> list[tuple[float, int, int]]:
    """(second, key, channel) of every note that is struck, in order."""
    now, notes = 0.0, []
    for message in to_midi(made):
        now += message.time
        if message.type == "note_on" and message.velocity:
            notes.append((now, message.note, message.channel))
    return notes


@pytest.mark.parametrize("program", [0, 24, 40])
def test_every_note_of_a_trill_is_struck_in_its_time(program):
    made = score(1, voices={1: "e4:1 g4:3"}, program=program)
    made.notes["ornament"][0], made.notes["upper"][0] = Ornament.TRILL, 1
    notes = struck(reading({}, made).performance)
    assert [key for _, key, _ in notes] == [*([64, 65] * 6)[:11], 67]
    assert [second for second, *_ in notes] == pytest.approx([*np.arange(11) / 12, 1], abs=1e-3)
    assert len({channel for *_, channel in notes[:11]}) == 1


def test_every_stroke_of_a_tremolo_is_struck():
    made = score(1, voices={1: "c4+e4:2 g4:2"})
    made.notes["tremolo"][:2] = 0.25
    notes = struck(reading({}, made).performance)
    assert [round(second, 3) for second, *_ in notes] == [step / 4 for step in range(8) for _ in (0, 1)] + [2]
    assert [key for _, key, _ in notes] == [60, 64] * 8 + [67]
