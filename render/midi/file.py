"""A performance as a Standard MIDI File (type 1).

The bars of the file line up with the bars of the music: a bar line at score position s lies at tick resolution·s. The
tempo track makes up for the rest: it is straight between moments (beats, onsets, ends), and wherever a reader's clock
would leave the plan the tempo changes, so that rounding never adds up. Any reader's seconds equal the plan's, whatever
the resolution.
"""

from __future__ import annotations

from collections.abc import Callable
from io import BytesIO
from math import ceil, floor
from pathlib import Path

import mido
import numpy as np

from render.events.channels import channels
from render.events.levels import EXPRESSION, VOLUME, expression_changes, raised, resting, velocity
from render.events.presets import BRIGHT, DARK, PLAIN, colours, modelled_lanes, presets_of
from render.events.strokes import let_go, strokes
from render.events.wheel import BY_STANDARD, lane_range, range_controls, wheel_changes
from render.files import written_whole
from timing.performance import Performance
from timing.remarks import CannotDo

FINEST = 30_720  # ticks a quarter; the format's limit is 32,767
MOST_TICKS = 9_900_000  # some readers refuse files of more than 10^7 ticks
SLOWEST = 2**24 - 1  # microseconds a quarter that a tempo event can hold: 3.58 quarters a minute
MOST_PORTS = 256  # a port is one byte
PATIENCE = 50e-6  # seconds that a reader's clock may be off

_SAME = 10e-6  # seconds; what is closer is one moment
_SMALLEST_UNIT = 64  # of the bars that are not as long as their time signature says

_ANY = 2**62
_OFF, _CONTROL, _PROGRAM, _BEND, _ON = range(5)  # the order of events that share a tick

# Sound controller 5 (CC74) is brightness; 64 is the instrument as it is (MIDI 1.0 and General MIDI 2).
_BRIGHTNESS = {PLAIN: 64, DARK: 32, BRIGHT: 96}


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
    ports, numbers = channels(len(performance.lanes), MOST_PORTS)
    resolution = resolution_for(performance)
    ticks, seconds = _clock(performance, resolution)
    file = mido.MidiFile(type=1, ticks_per_beat=resolution, charset="utf-8")
    file.tracks.append(_conductor(performance, resolution, ticks, seconds))
    events = _events(performance, lambda moments: _ticks_at(moments, ticks, seconds))
    cuts = np.searchsorted(events["lane"], np.arange(len(performance.lanes) + 1))
    for lane, row in enumerate(performance.lanes):
        head = _opening(row, int(ports[lane]), int(numbers[lane]))
        if row["sliding"]:
            wide = lane_range(performance, lane)
            head += [_control(int(numbers[lane]), *pair) for pair in range_controls(wide)]
        file.tracks.append(_lane(head, int(numbers[lane]), events[cuts[lane] : cuts[lane + 1]]))
    return file


def resolution_for(performance: Performance) -> int:
    """Ticks a quarter: as fine as the format and common readers allow, a multiple of 480 or 24 if it can be (so that
    triplets and quintuplets fall on ticks)."""
    last = performance.notes["end"].max(initial=0)
    quarters = max(performance.quarters, float(performance.time.quarters(last)), 1)
    finest = int(np.clip(MOST_TICKS // quarters, 1, FINEST))
    return next((finest - finest % step for step in (480, 24) if finest >= step), finest)


# -- the clock


def _clock(performance: Performance, resolution: int) -> tuple[np.ndarray, np.ndarray]:
    """Ticks and their planned seconds at every moment that matters, both strictly increasing: bar lines, beats, corners
    of the pace, onsets and ends.

    What is written stands on its tick. What is displaced in time (a leading voice, a small note) stands where the music
    is at that second, or a tick or two away where ticks are coarse, since each moment needs one of its own.
    """
    time, notes, bars = performance.time, performance.notes, performance.bars
    lines = np.append(bars["start"], performance.quarters)
    written = (lines, _beats(bars), notes["score_onset"], notes["score_onset"] + notes["score_length"])
    stop = max(performance.quarters, float(time.quarters(notes["end"].max(initial=0))))
    planned = np.unique(np.concatenate([*written, time.knots, [stop]]))
    sounding = np.unique(np.concatenate([notes["onset"], notes["end"]]))
    seconds = np.concatenate([time.seconds(planned), sounding])
    quarters = np.concatenate([planned, np.interp(sounding, seconds[: len(planned)], planned)])
    rank = np.zeros(len(quarters), np.int64)
    rank[: len(planned)] = np.isin(planned, np.concatenate(written)) + np.isin(planned, lines).astype(np.int64)

    order = np.argsort(seconds, kind="stable")
    moment = np.cumsum(np.diff(seconds[order], prepend=-1) > _SAME) - 1
    order = order[np.lexsort((-rank[order], moment))]  # a bar line stands for all that is played at its moment
    stands = order[np.flatnonzero(np.diff(moment, prepend=-1))]
    wanted, seconds, rank = np.rint(quarters[stands] * resolution).astype(np.int64), seconds[stands], rank[stands]
    placed = (_one_each(wanted, rank >= kept) for kept in (1, 2))
    ticks = next((found for found in placed if found is not None), wanted)
    chosen = np.lexsort((-rank, ticks))
    chosen = chosen[np.diff(ticks[chosen], prepend=-1) > 0]
    return ticks[chosen], seconds[chosen]


def _beats(bars: np.ndarray) -> np.ndarray:
    """Quarters of every beat of the performed bars."""
    beat = 4 / bars["unit"]
    count = np.ceil(bars["length"] / beat - 1e-9).astype(np.int64)
    place = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    return np.repeat(bars["start"], count) + place * np.repeat(beat, count)


def _one_each(ticks: np.ndarray, fixed: np.ndarray) -> np.ndarray | None:
    """The nearest ticks to these that increase by one or more; those that are fixed stay. None if there is no room."""
    place = np.arange(len(ticks))
    far = np.iinfo(np.int64).max // 2
    lowest = np.maximum.accumulate(np.where(fixed, ticks - place, -far)) + place
    highest = np.minimum.accumulate(np.where(fixed, ticks - place, far)[::-1])[::-1] + place
    if (lowest > highest).any():
        return None
    return np.maximum.accumulate(np.clip(ticks, lowest, highest) - place) + place


def _ticks_at(seconds: np.ndarray, ticks: np.ndarray, planned: np.ndarray) -> np.ndarray:
    """Ticks at these seconds on the file's own clock, which is straight between its moments."""
    return np.rint(np.interp(seconds, planned, ticks.astype(np.float64))).astype(np.int64)


def tempi(ticks: np.ndarray, seconds: np.ndarray, resolution: int) -> list[tuple[int, int]]:
    """(tick, microseconds a quarter) of the tempo events.

    A tempo lasts for as many moments as one whole number can serve, each within PATIENCE of what the reader has counted
    until then; of the numbers that do, it is the one that comes nearest to the last of them.
    """
    made: list[tuple[int, int]] = []
    start, counted = int(ticks[0]), float(seconds[0])  # of the tempo now being made
    low, high, best, before = 1, _ANY, 500_000, start
    for tick, second in zip(ticks[1:].tolist(), seconds[1:].tolist(), strict=True):
        while True:
            span = (tick - start) * 1e-6 / resolution
            lower, upper = ceil((second - PATIENCE - counted) / span), floor((second + PATIENCE - counted) / span)
            if before == start or max(low, lower) <= min(high, upper):
                break
            tempo = min(max(best, low), high)
            made.append((start, tempo))
            counted += tempo * (before - start) * 1e-6 / resolution
            start, low, high = before, 1, _ANY
        low, high, best = max(low, lower), min(high, upper), round((second - counted) / span)
        before = tick
    return [*made, (start, min(max(best, low), high))]


# -- track 0


def _conductor(performance: Performance, resolution: int, ticks: np.ndarray, seconds: np.ndarray) -> mido.MidiTrack:
    """Track 0: title, metre where it changes, a marker where a phrase begins, tempo."""
    events: list[tuple[int, int, mido.MetaMessage]] = [(0, 0, _text("track_name", name=performance.title))]
    for start, beats, unit in _metres(performance.bars):
        click = 96 // unit * (3 if beats % 3 == 0 and beats > 3 and unit >= 8 else 1)  # MIDI clocks: 6/8 counts in two
        change = mido.MetaMessage("time_signature", numerator=beats, denominator=unit, clocks_per_click=max(click, 1))
        events.append((round(start * resolution), 1, change))
    for start, name in performance.phrases[["start", "name"]].tolist():
        events.append((round(start * resolution), 2, _text("marker", text=name)))
    for tick, tempo in tempi(ticks, seconds, resolution):
        if tempo > SLOWEST:
            raise _too_slow(performance, tick / resolution)
        events.append((tick, 3, mido.MetaMessage("set_tempo", skip_checks=True, tempo=tempo)))
    return _track(sorted(events, key=lambda event: event[:2]), int(ticks[-1]))


def _too_slow(performance: Performance, quarter: float) -> CannotDo:
    bar = performance.bars[np.searchsorted(performance.bars["start"], quarter + 1e-6, side="right") - 1]
    name = f"{bar['number']}{bar['suffix']}"
    message = f"bar {name} is slower than a MIDI file can say (3.58 quarters a minute)"
    where = {"bar_name": name, "pass_": int(bar["pass"])}
    mend = "a quicker tempo, a slowdown that goes less far, or a shorter hold"
    return CannotDo.because("midi-too-slow", message, suggestion=mend, **where)


def _metres(bars: np.ndarray) -> list[tuple[float, int, int]]:
    """(start, beats, unit) wherever the length of the bars or their time signature changes."""
    kinds = np.stack([bars["length"], bars["beats"], bars["unit"]])
    changed = np.flatnonzero(np.append(True, np.any(np.diff(kinds, axis=1) != 0, axis=0)))
    found = [(float(bars["start"][row]), *_metre(*kinds[:, row])) for row in changed]
    return [metre for metre in found if _can_say(*metre[1:])]


def _metre(length: float, beats: float, unit: float) -> tuple[int, int]:
    """Beats and unit of a bar: those of its time signature, or what makes the file's bar as long as the bar really is.

    A pickup of one beat in 4/4 is a bar of 1/4, so that all later bar lines of the file fall where they should.
    """
    finer = int(unit)
    while abs(length * unit - beats * 4) > 1e-6 and 0 < finer <= _SMALLEST_UNIT:
        count = length * finer / 4
        if count >= 1 and abs(count - round(count)) < 1e-6:
            return round(count), finer
        finer *= 2
    return int(beats), int(unit)


def _can_say(beats: int, unit: int) -> bool:
    return 1 <= beats <= 255 and unit > 0 and unit & (unit - 1) == 0


# -- the lanes


EVENT = np.dtype(
    [("lane", np.int32), ("tick", np.int64), ("kind", np.int8), ("data", np.int16), ("value", np.int16)]
)


def _events(performance: Performance, at: Callable[[np.ndarray], np.ndarray]) -> np.ndarray:
    """EVENT table of all lanes, in the order of their tracks; `at` gives the ticks of seconds."""
    notes, curves, bends = performance.notes, performance.curves, performance.bends
    struck, end = strokes(notes)
    own, onset = notes[struck], at(notes["onset"])
    start = onset[struck]
    stop = let_go(own["lane"], own["pitch"], start, np.maximum(at(end), start + 1))
    harder = raised(notes, curves, performance.lanes["sliding"][notes["lane"]])
    made = [
        _table(own["lane"], stop, _OFF, own["pitch"], 64),
        _table(own["lane"], start, _ON, own["pitch"], velocity(own["level"] + harder[struck])),
        *_tones(performance, struck, start),
    ]
    curve, bend = at(curves["second"]), at(bends["second"])
    for lane in np.unique(np.concatenate([curves["lane"], bends["lane"]])).tolist():
        mine = own["lane"] == lane
        moving, turning = curves["lane"] == lane, bends["lane"] == lane
        rest = resting(own["level"][mine], harder[struck][mine])
        tick, value = expression_changes(
            curve[moving], curves["level"][moving], onset[curves["note"][moving]], start[mine], rest
        )
        made.append(_table(lane, tick, _CONTROL, 11, value))
        wide = lane_range(performance, lane)
        tick, value = wheel_changes(bend[turning], bends["semitones"][turning], start[mine], wide, BY_STANDARD)
        made.append(_table(lane, tick, _BEND, 0, value))
    events = np.concatenate(made)
    return events[np.lexsort((events["data"], events["kind"], events["tick"], events["lane"]))]


def _table(lane, tick: np.ndarray, kind: int, data, value) -> np.ndarray:
    events = np.zeros(len(tick), EVENT)
    for column, values in zip(EVENT.names, (lane, tick, kind, data, value), strict=True):
        events[column] = values
    return events


def _tones(performance: Performance, struck: np.ndarray, start: np.ndarray) -> list[np.ndarray]:
    """EVENT tables of where a lane takes another preset, and where one that is not the modelled guitar's takes another
    brightness. A lane begins with bank 0, its program and a brightness of 64."""
    notes, modelled = performance.notes[struck], modelled_lanes(performance)
    bank, program = (column[struck] for column in presets_of(performance, modelled))
    bright = np.array([_BRIGHTNESS[PLAIN], _BRIGHTNESS[DARK], _BRIGHTNESS[BRIGHT]])[colours(notes["tone"])]
    order = np.lexsort((start, notes["lane"]))
    lane, start, bank, program, bright = (column[order] for column in (notes["lane"], start, bank, program, bright))
    first = np.append(True, lane[1:] != lane[:-1])[: len(lane)]

    def before(values: np.ndarray, opening) -> np.ndarray:
        return np.where(first, opening, np.roll(values, 1))

    other = (bank != before(bank, 0)) | (program != before(program, performance.lanes["program"][lane]))
    shaded = (bright != before(bright, _BRIGHTNESS[PLAIN])) & ~modelled[lane]
    return [
        _table(lane[other], start[other], _PROGRAM, bank[other], program[other]),
        _table(lane[shaded], start[shaded], _CONTROL, 74, bright[shaded]),
    ]


def _opening(lane: np.void, port: int, channel: int) -> list[mido.Message | mido.MetaMessage]:
    """What stands at the start of a lane's track."""
    return [
        _text("track_name", name=str(lane["name"])),
        *([mido.MetaMessage("midi_port", port=port)] if port else []),
        mido.Message("program_change", channel=channel, program=int(lane["program"])),
        _control(channel, 7, VOLUME),
        _control(channel, 11, EXPRESSION),
    ]


def _control(channel: int, number: int, value: int, time: int = 0) -> mido.Message:
    return mido.Message("control_change", skip_checks=True, channel=channel, control=number, value=value, time=time)


def _lane(head: list, channel: int, events: np.ndarray) -> mido.MidiTrack:
    """The track of one lane from its EVENT rows."""

    def struck(kind: str):
        return lambda d, v, t: [mido.Message(kind, skip_checks=True, channel=channel, note=d, velocity=v, time=t)]

    def preset(bank: int, program: int, time: int) -> list[mido.Message]:
        change = mido.Message("program_change", skip_checks=True, channel=channel, program=program, time=0)
        return [_control(channel, 0, bank, time), change]

    makers = (
        struck("note_off"),
        lambda d, v, t: [_control(channel, d, v, t)],
        preset,
        lambda _, v, t: [mido.Message("pitchwheel", skip_checks=True, channel=channel, pitch=v, time=t)],
        struck("note_on"),
    )
    wait = np.diff(events["tick"], prepend=0)
    columns = (column.tolist() for column in (events["kind"], events["data"], events["value"], wait))
    messages = [message for k, d, v, t in zip(*columns, strict=True) for message in makers[k](d, v, t)]
    return mido.MidiTrack([*head, *messages, mido.MetaMessage("end_of_track", time=0)])


def _text(kind: str, **words: str) -> mido.MetaMessage:
    """A text event; what UTF-8 cannot say (half of a surrogate pair in a file's name) becomes a question mark."""
    return mido.MetaMessage(kind, **{key: text.encode("utf-8", "replace").decode() for key, text in words.items()})


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
