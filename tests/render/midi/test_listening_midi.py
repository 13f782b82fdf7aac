"""Stretches, rounds and clicks in MIDI files, as mido and pretty_midi read them."""

from __future__ import annotations

import itertools
import warnings
from pathlib import Path

import mido
import numpy as np
import pretty_midi
import pytest
from house import PLANS
from support import reading, score

from render.midi.file import write_midi
from render.sound.stems import RATE
from render.sound.synth import BLOCK
from timing.listening import heard
from timing.listening.clicks import NO_NOTE
from timing.loading import load
from timing.performance import CARRIED

NEAR = 0.25e-3  # seconds
GRID = BLOCK / RATE
DEMO = load(PLANS / "low-water-flowing.yaml")
WAYS = [
    {"bars": "5-8", "passes": 2},
    {"bars": "7:2 - 8:3"},
    {"bars": "22-25", "loop": 3},
    {"bars": "3-9", "passes": "da capo", "click": True, "count_in": True},
    {"bars": "26-27", "loop": 2, "click": True, "count_in": True},
    {"click": True, "count_in": True},
    {"only": ["melody"], "bars": "22-25", "count_in": True},
]


def struck(made) -> np.ndarray:
    """(notes, 2) pitch and onset of what is struck, sorted."""
    notes = made.notes[made.notes["attack"] != CARRIED]
    return np.array(sorted(zip(notes["pitch"].tolist(), notes["onset"].tolist(), strict=True)))


def bar_lines(path: Path, quarters: float) -> list[int]:
    """Ticks at which bars begin, as the time signatures have it: each begins a bar where it stands (MIDI 1.0)."""
    file = mido.MidiFile(path)
    at = itertools.accumulate(message.time for message in file.tracks[0])
    metres = [(t, m) for t, m in zip(at, file.tracks[0], strict=True) if m.type == "time_signature"]
    ends = [t for t, _ in metres[1:]] + [round(quarters * file.ticks_per_beat)]
    steps = [file.ticks_per_beat * 4 * m.numerator // m.denominator for _, m in metres]
    return [t for (first, _), end, step in zip(metres, ends, steps, strict=True) for t in range(first, end, step)]


@pytest.mark.parametrize("ways", WAYS, ids=str)
def test_onsets_and_bar_lines_are_where_they_are_planned(ways, tmp_path):
    made = heard(DEMO, **ways, grid=GRID)
    write_midi(made, tmp_path / "a.mid")
    now, found = 0.0, []
    for message in mido.MidiFile(tmp_path / "a.mid"):
        now += message.time
        if message.type == "note_on" and message.velocity:
            found.append((message.note, now))
    assert np.array(sorted(found)) == pytest.approx(struck(made), abs=NEAR)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        read = pretty_midi.PrettyMIDI(str(tmp_path / "a.mid"))
    notes = [(note.pitch, note.start) for instrument in read.instruments for note in instrument.notes]
    assert np.array(sorted(notes)) == pytest.approx(struck(made), abs=NEAR)
    lines = [read.tick_to_time(tick) for tick in bar_lines(tmp_path / "a.mid", made.quarters)]
    assert lines == pytest.approx(made.time.seconds(made.bars["start"]), abs=NEAR)


def test_the_click_has_a_track_of_its_own(tmp_path):
    made = heard(DEMO, bars="5-8", click=True)
    write_midi(made, tmp_path / "a.mid")
    (click,) = [track for track in mido.MidiFile(tmp_path / "a.mid").tracks if track.name == "click"]
    programs = [message.program for message in click if message.type == "program_change"]
    assert programs == [115]  # General MIDI: woodblock, no drum channel
    assert {message.channel for message in click if not message.is_meta}.isdisjoint({9})
    strokes = [message for message in click if message.type == "note_on"]
    assert len(strokes) == 8 and strokes[0].velocity > strokes[1].velocity
    assert len(made.notes[made.notes["id"] == NO_NOTE]) == 8


def test_the_metre_stands_where_the_bars_begin(tmp_path):
    """A pickup of one beat in 3/4: the count-in has two whole bars, and the music goes on in the metre."""
    made = heard(reading({"tempo": 90}, score(2, (3, 4), pickup=1)), count_in=True, grid=GRID)
    write_midi(made, tmp_path / "a.mid")
    file = mido.MidiFile(tmp_path / "a.mid")
    (metre,) = [message for message in file.tracks[0] if message.type == "time_signature"]
    assert (metre.numerator, metre.denominator) == (3, 4)
    music = [message for track in file.tracks[1:] if track.name != "click" for message in track]
    first = next(sum(m.time for m in music[: n + 1]) for n, m in enumerate(music) if m.type == "note_on")
    assert first == 5 * file.ticks_per_beat
