"""The tracks of a MIDI file: what is said of the whole, then one lane after another."""

from __future__ import annotations

from collections.abc import Callable

import mido
import numpy as np

from render.events.levels import EXPRESSION
from render.midi.clock import Clock, tempi
from timing.columns import NEAR
from timing.performance import Performance
from timing.remarks import CannotDo

SLOWEST = 2**24 - 1  # microseconds a quarter that a tempo event can hold: 3.58 quarters a minute
_SMALLEST_UNIT = 64  # of the bars that are not as long as their time signature says


def conductor(performance: Performance, clock: Clock) -> mido.MidiTrack:
    """Track 0: title, metre where it changes, a marker where a phrase begins, tempo."""
    events: list[tuple[int, int, mido.MetaMessage]] = [(0, 0, _text("track_name", name=performance.title))]
    for start, beats, unit in _metres(performance.bars):
        click = 96 // unit * (3 if beats % 3 == 0 and beats > 3 and unit >= 8 else 1)  # MIDI clocks: 6/8 counts in two
        change = mido.MetaMessage("time_signature", numerator=beats, denominator=unit, clocks_per_click=max(click, 1))
        events.append((round(start * clock.resolution), 1, change))
    for start, name in performance.phrases[["start", "name"]].tolist():
        events.append((round(start * clock.resolution), 2, _text("marker", text=name)))
    for tick, tempo in tempi(clock):
        if tempo > SLOWEST:
            raise _too_slow(performance, tick / clock.resolution)
        events.append((tick, 3, mido.MetaMessage("set_tempo", skip_checks=True, tempo=tempo)))
    return _track(sorted(events, key=lambda event: event[:2]), int(clock.ticks[-1]))


def _too_slow(performance: Performance, quarter: float) -> CannotDo:
    bar = performance.bars[np.searchsorted(performance.bars["start"], quarter + NEAR, side="right") - 1]
    name = f"{bar['number']}{bar['suffix']}"
    message = f"bar {name} is slower than a MIDI file can say (3.58 quarters a minute)"
    mend = "a quicker tempo, a slowdown that goes less far, or a shorter hold"
    return CannotDo.because("midi-too-slow", message, suggestion=mend, bar_name=name, pass_=int(bar["pass"]))


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
    while abs(length * unit - beats * 4) > NEAR and 0 < finer <= _SMALLEST_UNIT:
        count = length * finer / 4
        if count >= 1 and abs(count - round(count)) < NEAR:
            return round(count), finer
        finer *= 2
    return int(beats), int(unit)


def _can_say(beats: int, unit: int) -> bool:
    return 1 <= beats <= 255 and unit > 0 and unit & (unit - 1) == 0


def _track(events: list[tuple[int, int, mido.MetaMessage]], last: int) -> mido.MidiTrack:
    """A track of (tick, rank, message) in order: absolute ticks become differences only now."""
    track = mido.MidiTrack()
    now = 0
    for tick, _, message in events:
        message.__dict__["time"] = tick - now  # mido's own setter checks each value again
        now = tick
        track.append(message)
    track.append(mido.MetaMessage("end_of_track", time=max(last - now, 0)))
    return track


# -- the lanes


def lane_track(
    lane: np.void, port: int, channel: int, volume: int, controls: list[tuple[int, int]], events: np.ndarray
) -> mido.MidiTrack:
    """The track of a lane (LANE): what stands at its start, with its `volume` at rest and more `controls` (controller
    and value), and its EVENT rows, in ticks and in order."""
    head = [
        _text("track_name", name=str(lane["name"])),
        *([mido.MetaMessage("midi_port", port=port)] if port else []),
        mido.Message("program_change", channel=channel, program=int(lane["program"])),
        *(_control(channel, *each) for each in ((7, volume), (11, EXPRESSION), *controls)),
    ]
    makers = _makers(channel)
    wait = np.diff(events["moment"], prepend=0)
    columns = (column.tolist() for column in (events["kind"], events["data"], events["value"], wait))
    messages = [message for k, d, v, t in zip(*columns, strict=True) for message in makers[k](d, v, t)]
    return mido.MidiTrack([*head, *messages, mido.MetaMessage("end_of_track", time=0)])


def _makers(channel: int) -> tuple[Callable[[int, int, int], list[mido.Message]], ...]:
    """What each kind of event becomes, given its data, its value and the ticks since the one before."""

    def struck(kind: str) -> Callable[[int, int, int], list[mido.Message]]:
        return lambda d, v, t: [mido.Message(kind, skip_checks=True, channel=channel, note=d, velocity=v, time=t)]

    def preset(bank: int, program: int, time: int) -> list[mido.Message]:
        change = mido.Message("program_change", skip_checks=True, channel=channel, program=program, time=0)
        return [_control(channel, 0, bank, time), change]

    return (
        struck("note_off"),
        lambda d, v, t: [_control(channel, d, v, t)],
        preset,
        lambda _, v, t: [mido.Message("pitchwheel", skip_checks=True, channel=channel, pitch=v, time=t)],
        struck("note_on"),
    )


def _control(channel: int, number: int, value: int, time: int = 0) -> mido.Message:
    return mido.Message("control_change", skip_checks=True, channel=channel, control=number, value=value, time=time)


def _text(kind: str, **words: str) -> mido.MetaMessage:
    """A text event; what UTF-8 cannot say (half of a surrogate pair in a file's name) becomes a question mark."""
    return mido.MetaMessage(kind, **{key: text.encode("utf-8", "replace").decode() for key, text in words.items()})
