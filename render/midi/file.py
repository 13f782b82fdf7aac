"""A performance as a Standard MIDI File (type 1), whose bars line up with the bars of the music."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path

import mido
import numpy as np

from render.events.channels import channels
from render.events.presets import BRIGHT, DARK, PLAIN, colours, modelled_lanes, presets_of
from render.events.table import CONTROL, PRESET, Medium, Setting, event_table
from render.events.wheel import BY_STANDARD, lane_range, range_controls
from render.files import written_whole
from render.midi.clock import clock_of
from render.midi.tracks import conductor, lane_track
from timing.performance import Performance

MOST_PORTS = 256  # a port is one byte

# Sound controller 5 (CC74) is brightness; 64 is the instrument as it is (MIDI 1.0 and General MIDI 2).
_BRIGHTNESS = {PLAIN: 64, DARK: 32, BRIGHT: 96}


def write_midi(performance: Performance, path: str | Path) -> None:
    """Write the performance to `path`, whole or not at all. The bytes are the same on every run.

    Raises CannotDo if the file cannot be written, or if the music is slower somewhere than a MIDI file can say.
    """
    content = midi_bytes(performance)
    with written_whole(path) as temporary:
        temporary.write_bytes(content)


def midi_bytes(performance: Performance) -> bytes:
    """The performance as the content of a MIDI file, the same on every run. Raises CannotDo if the music is slower
    somewhere than a MIDI file can say, or has more voices than it can hold."""
    written = BytesIO()
    to_midi(performance).save(file=written)
    return written.getvalue()


def to_midi(performance: Performance) -> mido.MidiFile:
    """The performance as a MIDI file in memory: tempo, metre and phrases in track 0, then a track for each lane."""
    ports, numbers = (column.tolist() for column in channels(len(performance.lanes), MOST_PORTS))
    clock = clock_of(performance)
    file = mido.MidiFile(type=1, ticks_per_beat=clock.resolution, charset="utf-8")
    file.tracks.append(conductor(performance, clock))
    medium = Medium(clock.at, least=1, reach=BY_STANDARD, exact=False)
    events = event_table(performance, medium, _settings(performance))
    events = events[np.argsort(events["lane"], kind="stable")]
    cuts = np.searchsorted(events["lane"], np.arange(len(performance.lanes) + 1))
    for lane, row in enumerate(performance.lanes):
        wide = range_controls(lane_range(performance, lane)) if row["sliding"] else []
        own = events[cuts[lane] : cuts[lane + 1]]
        file.tracks.append(lane_track(row, ports[lane], numbers[lane], wide, own))
    return file


def _settings(performance: Performance) -> list[Setting]:
    """The presets of the lanes, by bank and program, and the brightness of those that are not the modelled guitar's. A
    lane begins with bank 0, its program and a brightness of 64."""
    notes, modelled = performance.notes, modelled_lanes(performance)
    bank, program = presets_of(performance, modelled)
    nothing, usual = np.zeros_like(bank), np.full(len(notes), _BRIGHTNESS[PLAIN])
    bright = np.array([_BRIGHTNESS[PLAIN], _BRIGHTNESS[DARK], _BRIGHTNESS[BRIGHT]])[colours(notes["tone"])]
    bright = np.where(modelled[notes["lane"]], usual, bright)
    control = np.full(len(notes), 74)
    return [
        Setting(PRESET, bank, program, (nothing, performance.lanes["program"][notes["lane"]])),
        Setting(CONTROL, control, bright, (control, usual)),
    ]
