"""A performance as a Standard MIDI File (type 1).

The bars of the file line up with the bars of the music: a note at score position s lies at tick resolution·s. The tempo
track makes up for the rest: between two neighbouring moments (onsets, ends, beats) it has the tempo at which the ticks
between them take exactly the planned time, chosen against the time that a reader will have counted so far, so that
rounding never adds up. Any reader's seconds equal the plan's at every onset, whatever the resolution.
"""

from __future__ import annotations

from io import BytesIO
from pathlib import Path

import mido
import numpy as np

from render.channels import channels
from render.files import written_whole
from render.levels import EXPRESSION, VOLUME, expression, velocity
from timing.performance import Performance
from timing.remarks import CannotDo

FINEST = 30_720  # ticks a quarter; the format's limit is 32,767
MOST_TICKS = 9_900_000  # some readers refuse files of more than 10^7 ticks
SLOWEST = 2**24 - 1  # microseconds a quarter that a tempo event can hold: 3.58 quarters a minute
PATIENCE = 20e-6  # seconds a reader's clock may be off before the tempo is corrected

_OFF, _CONTROL, _ON = 0, 1, 2  # the order of events that share a tick


def write_midi(performance: Performance, path: str | Path) -> None:
    """Write the performance to `path`, whole or not at all. The bytes are the same on every run.

    Raises CannotDo if the file cannot be written, or if the music is slower somewhere than a MIDI file can say.
    """
    written = BytesIO()
    to_midi(performance).save(file=written)
    with written_whole(path) as temporary:
        temporary.write_bytes(written.getvalue())


def to_midi(performance: Performance) -> mido.MidiFile:
    """The performance as a MIDI file in memory: tempo, metre and phrases in track 0, then a track for each lane."""
    resolution = resolution_for(performance)
    ticks, seconds = _clock(performance, resolution)
    onsets = _ticks_at(performance.notes["onset"], ticks, seconds)
    ends = np.maximum(_ticks_at(performance.notes["end"], ticks, seconds), onsets + 1)
    curve = _ticks_at(performance.curves["second"], ticks, seconds)
    last = int(max(round(performance.quarters * resolution), ends.max(initial=0)))
    file = mido.MidiFile(type=1, ticks_per_beat=resolution, charset="utf-8")
    file.tracks.append(_conductor(performance, resolution, ticks, seconds, last))
    ports, numbers = channels(len(performance.lanes))
    for lane in range(len(performance.lanes)):
        file.tracks.append(_lane(performance, lane, int(ports[lane]), int(numbers[lane]), onsets, ends, curve))
    return file


def resolution_for(performance: Performance) -> int:
    """Ticks a quarter: as fine as the format and common readers allow."""
    quarters = max(performance.quarters, 1)
    return int(np.clip(MOST_TICKS // quarters, 96, FINEST))


# -- the clock


def _clock(performance: Performance, resolution: int) -> tuple[np.ndarray, np.ndarray]:
    """Ticks and their planned seconds at every moment that matters: beats, onsets, ends, corners of the pace."""
    time, notes, bars = performance.time, performance.notes, performance.bars
    beats = np.concatenate([b["start"] + np.arange(0, b["length"], 4 / b["unit"]) for b in bars])
    planned = np.unique(np.concatenate([beats, notes["score_onset"], time.knots, [performance.quarters]]))
    planned = planned[(planned >= 0) & (planned <= performance.quarters)]
    # what is displaced in time (a leading voice, a small note) stands where the music is at that second
    at = time.seconds(notes["score_onset"])
    moved = notes["onset"][np.abs(notes["onset"] - at) > 1e-9]
    seconds = np.concatenate([time.seconds(planned), moved])
    ticks = np.rint(np.concatenate([planned, time.quarters(moved)]) * resolution).astype(np.int64)
    order = np.lexsort((np.arange(len(ticks)) >= len(planned), ticks))  # at one tick the beat goes before what is moved
    ticks, seconds = ticks[order], seconds[order]
    first = np.append(True, np.diff(ticks) > 0)
    ticks, seconds = ticks[first], seconds[first]
    later = np.append(True, np.diff(np.maximum.accumulate(seconds)) > 0)
    return ticks[later], seconds[later]


def _ticks_at(seconds: np.ndarray, ticks: np.ndarray, planned: np.ndarray) -> np.ndarray:
    """Ticks at these seconds on the file's own clock, which is straight between its moments."""
    found = np.interp(seconds, planned, ticks.astype(np.float64))
    beyond = seconds > planned[-1]
    if beyond.any():
        pace = (ticks[-1] - ticks[-2]) / (planned[-1] - planned[-2])
        found[beyond] = ticks[-1] + (seconds[beyond] - planned[-1]) * pace
    return np.rint(found).astype(np.int64)


def _tempi(ticks: np.ndarray, seconds: np.ndarray, resolution: int) -> list[tuple[int, int]]:
    """(tick, microseconds a quarter) of the tempo events.

    A tempo is kept as long as the reader's clock stays within PATIENCE of the plan; the next one is chosen against what
    the reader has counted so far.
    """
    made: list[tuple[int, int]] = []
    counted, tempo = 0.0, 0
    for tick, following, until in zip(ticks[:-1].tolist(), ticks[1:].tolist(), seconds[1:].tolist(), strict=True):
        quarters = (following - tick) / resolution
        if not made or abs(counted + tempo * 1e-6 * quarters - until) > PATIENCE:
            tempo = max(round((until - counted) * 1e6 / quarters), 1)
            made.append((tick, tempo))
        counted += tempo * 1e-6 * quarters
    return made


def _conductor(
    performance: Performance, resolution: int, ticks: np.ndarray, seconds: np.ndarray, last: int
) -> mido.MidiTrack:
    """Track 0: title, metre where it changes, a marker where a phrase begins, tempo."""
    tempi = _tempi(ticks, seconds, resolution)
    slow = next((tick for tick, tempo in tempi if tempo > SLOWEST), None)
    if slow is not None:
        bar = performance.bars[np.searchsorted(performance.bars["start"] * resolution, slow, side="right") - 1]
        message = f"bar {bar['number']} is slower than a MIDI file can say (3.58 quarters a minute)"
        raise CannotDo.because("midi-too-slow", message, bar=int(bar["number"]), suggestion="a shorter breath or hold")
    events = [(0, 0, mido.MetaMessage("track_name", name=performance.title))]
    metre = None
    for bar in performance.bars:
        if (here := (int(bar["beats"]), int(bar["unit"]))) != metre and _can_say(*here):
            metre = here
            change = mido.MetaMessage("time_signature", numerator=here[0], denominator=here[1])
            events.append((round(bar["start"] * resolution), 1, change))
    for phrase in performance.phrases:
        name = mido.MetaMessage("marker", text=str(phrase["name"]))
        events.append((round(phrase["start"] * resolution), 2, name))
    events += [(tick, 3, mido.MetaMessage("set_tempo", tempo=tempo)) for tick, tempo in tempi]
    return _track(sorted(events, key=lambda event: event[:2]), last)


def _can_say(beats: int, unit: int) -> bool:
    return 1 <= beats <= 255 and unit > 0 and unit & (unit - 1) == 0


# -- the lanes


def _lane(
    performance: Performance,
    lane: int,
    port: int,
    channel: int,
    onsets: np.ndarray,
    ends: np.ndarray,
    curve: np.ndarray,
) -> mido.MidiTrack:
    """The track of one lane: what it is, then its notes, and CC11 for what changes while they sound."""
    row = performance.lanes[lane]
    head: list[mido.Message | mido.MetaMessage] = [mido.MetaMessage("track_name", name=str(row["name"]))]
    if port:
        head.append(mido.MetaMessage("midi_port", port=port))
    head.append(mido.Message("program_change", channel=channel, program=int(row["program"])))
    head.append(mido.Message("control_change", channel=channel, control=7, value=VOLUME))
    head.append(mido.Message("control_change", channel=channel, control=11, value=EXPRESSION))

    mine = np.flatnonzero(performance.notes["lane"] == lane)
    notes = performance.notes[mine]
    swelling = performance.curves["lane"] == lane
    controls = expression_changes(curve[swelling], performance.curves["level"][swelling], onsets[mine])
    tick = np.concatenate([ends[mine], controls[0], onsets[mine]])
    kind = np.repeat([_OFF, _CONTROL, _ON], [len(mine), len(controls[0]), len(mine)])
    data = np.concatenate([notes["pitch"], np.full(len(controls[0]), 11), notes["pitch"]])
    value = np.concatenate([np.full(len(mine), 64), controls[1], velocity(notes["level"])])
    order = np.lexsort((data, kind, tick))
    makers = (
        lambda d, v: mido.Message("note_off", skip_checks=True, channel=channel, note=d, velocity=v, time=0),
        lambda d, v: mido.Message("control_change", skip_checks=True, channel=channel, control=d, value=v, time=0),
        lambda d, v: mido.Message("note_on", skip_checks=True, channel=channel, note=d, velocity=v, time=0),
    )
    columns = (column[order].tolist() for column in (tick, kind, data, value))
    events = [(0, 0, message) for message in head]
    events += [(t, k, makers[k](d, v)) for t, k, d, v in zip(*columns, strict=True)]
    return _track(events, int(tick.max(initial=0)))


def expression_changes(ticks: np.ndarray, level: np.ndarray, onsets: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(ticks, CC11 values) of a lane's moving level (dB around the notes' own), back at rest at the next onset."""
    if not len(ticks):
        return np.zeros(0, np.int64), np.zeros(0, np.int64)
    starts = np.unique(onsets)
    order = np.argsort(np.concatenate([starts, ticks]), kind="stable")  # at one tick the curve's own value is the last
    tick = np.concatenate([starts, ticks])[order]
    value = np.concatenate([np.full(len(starts), EXPRESSION), expression(level)])[order]
    last = np.append(np.diff(tick) > 0, True)
    tick, value = tick[last], value[last]
    changed = np.diff(value, prepend=EXPRESSION) != 0
    return tick[changed], value[changed]


def _track(events: list[tuple[int, int, mido.Message]], last: int) -> mido.MidiTrack:
    """A track of (tick, rank, message) in order: absolute ticks become differences only now."""
    track = mido.MidiTrack()
    now = 0
    for tick, _, message in events:
        message.__dict__["time"] = tick - now  # mido's own setter checks each value again
        now = tick
        track.append(message)
    track.append(mido.MetaMessage("end_of_track", time=max(last - now, 0)))
    return track
