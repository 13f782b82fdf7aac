"""A performance as a Standard MIDI File (type 1), whose bars line up with the bars of the music."""

from __future__ import annotations

from dataclasses import replace
from io import BytesIO
from pathlib import Path

import mido
import numpy as np

from render.events.channels import channels
from render.events.levels import LOWERED, VOLUME, in_hand
from render.events.presets import BRIGHT, DARK, PLAIN, colours, modelled_lanes, presets_of
from render.events.table import CONTROL, PRESET, Medium, Setting, event_table
from render.events.wheel import BY_STANDARD, lane_range, range_controls
from render.files import written_whole
from render.midi.clock import clock_of
from render.midi.tracks import conductor, lane_track
from render.sound.trying import alone_in_bank
from timing.performance import Performance
from timing.slides.made_good import made_good

MOST_PORTS = 256  # a port is one byte

# Sound controller 5 (CC74) is brightness; 64 is the instrument as it is (MIDI 1.0 and General MIDI 2).
_BRIGHTNESS = {PLAIN: 64, DARK: 32, BRIGHT: 96}


def write_midi(performance: Performance, path: str | Path, *, soundfont: str | Path | None = None) -> None:
    """Write the performance to `path`, whole or not at all. The bytes are the same on every run.

    `soundfont` is the bank that it is to be played with, where that is not the standard one and the modelled guitar:
    what its notes do by themselves is made good where they slide. Raises CannotDo if the file cannot be written, if the
    music is slower somewhere than a MIDI file can say, or for a file that is no SoundFont.
    """
    content = midi_bytes(performance, soundfont=soundfont)
    with written_whole(path) as temporary:
        temporary.write_bytes(content)


def midi_bytes(performance: Performance, *, soundfont: str | Path | None = None) -> bytes:
    """The performance as the content of a MIDI file, the same on every run (see `write_midi`). Raises CannotDo if the
    music is slower somewhere than a MIDI file can say, or has more voices than it can hold."""
    written = BytesIO()
    to_midi(performance, soundfont=soundfont).save(file=written)
    return written.getvalue()


def to_midi(performance: Performance, *, soundfont: str | Path | None = None) -> mido.MidiFile:
    """The performance as a MIDI file in memory: tempo, metre and phrases in track 0, then a track for each lane."""
    ports, numbers = (column.tolist() for column in channels(len(performance.lanes), MOST_PORTS))
    alone = alone_in_bank(performance, Path(soundfont) if soundfont else None)
    performance = replace(performance, curves=made_good(performance, alone))
    clock = clock_of(performance)
    file = mido.MidiFile(type=1, ticks_per_beat=clock.resolution, charset="utf-8")
    file.tracks.append(conductor(performance, clock))
    medium = Medium(clock.at, least=1, reach=BY_STANDARD, exact=False)
    volume = _volume(performance)
    resting = np.full(len(performance.lanes), volume)
    events = event_table(performance, medium, resting, _settings(performance))
    events = events[np.argsort(events["lane"], kind="stable")]
    cuts = np.searchsorted(events["lane"], np.arange(len(performance.lanes) + 1))
    for lane, row in enumerate(performance.lanes):
        wide = range_controls(lane_range(performance, lane)) if row["sliding"] else []
        own = events[cuts[lane] : cuts[lane + 1]]
        file.tracks.append(lane_track(row, ports[lane], numbers[lane], volume, wide, own))
    return file


def _volume(performance: Performance) -> int:
    """CC7 at rest: that of General MIDI, unless a note swells by more than it leaves above."""
    highest = performance.curves["level"].max(initial=0)
    return VOLUME if highest <= in_hand(VOLUME) else LOWERED


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
