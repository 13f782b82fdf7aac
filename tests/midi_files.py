"""MIDI files as other programs read them: mido and pretty_midi are the readers."""

from __future__ import annotations

import itertools
import warnings
from io import BytesIO

import mido
import numpy as np
import pretty_midi

NEAR = 0.25e-3  # seconds


def read_by_mido(file: mido.MidiFile) -> np.ndarray:
    """(notes, 3) pitch, onset, end in seconds as mido's own player counts them, sorted."""
    now, open_, notes = 0.0, {}, []
    for message in file:
        now += message.time
        if message.type == "note_on":
            open_.setdefault((message.channel, message.note), []).append(now)
        elif message.type == "note_off":
            notes.append((message.note, open_[message.channel, message.note].pop(0), now))
    assert not any(open_.values()), "a note is never let go"
    return np.array(sorted(notes))


def read_by_pretty_midi(file: mido.MidiFile) -> pretty_midi.PrettyMIDI:
    written = BytesIO()
    file.save(file=written)
    written.seek(0)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        return pretty_midi.PrettyMIDI(written)


def sounding(made) -> np.ndarray:
    """(notes, 2) pitch and onset of a performance, sorted."""
    return np.array(sorted(zip(made.notes["pitch"].tolist(), made.notes["onset"].tolist(), strict=True)))


def absolute(track: mido.MidiTrack) -> list[tuple[int, mido.Message]]:
    return list(zip(itertools.accumulate(message.time for message in track), track, strict=True))


def ons(file: mido.MidiFile) -> list[tuple[int, int]]:
    """(tick, pitch) of every note, sorted."""
    return sorted((t, m.note) for track in file.tracks[1:] for t, m in absolute(track) if m.type == "note_on")


def seconds_at(file: mido.MidiFile, ticks: np.ndarray) -> np.ndarray:
    """What the tempo events of a file make of these ticks."""
    marks = [(tick, m.tempo) for tick, m in absolute(file.tracks[0]) if m.type == "set_tempo"]
    starts, tempo = np.array(marks).T
    tick_seconds = tempo * 1e-6 / file.ticks_per_beat
    begun = np.append(0, np.cumsum(np.diff(starts) * tick_seconds[:-1]))
    row = np.searchsorted(starts, ticks, side="right") - 1
    return begun[row] + (ticks - starts[row]) * tick_seconds[row]
