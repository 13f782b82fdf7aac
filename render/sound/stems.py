"""The sound of a performance, stem by stem: what is dark, plain and bright each has a synth of its own.

Events act at blocks of 64 samples, straight from the table. A stem that has a colour goes through a shelf before the
stems are added.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass

import numpy as np

from render.events.channels import channels
from render.events.levels import EXPRESSION, expression_changes, raised, resting, rounding, velocity
from render.events.presets import PLAIN
from render.events.strokes import let_go, strokes
from render.events.wheel import BY_SOUNDFONT, lane_range, range_controls, wheel_changes
from render.sound.colours import GAINS, Shelf
from render.sound.sounds import Sounds
from render.sound.synth import BLOCK, MOST_PORTS, Synth, open_synth
from timing.performance import Performance

RATE = 44_100
CHUNK = 65_536  # frames; larger pieces crashed libsndfile's Vorbis encoder
LONGEST_TAIL = 6.0  # seconds
_INAUDIBLE = 10 ** (-90 / 20)
_OFF, _CONTROL, _BEND, _PRESET, _ON = range(5)  # the order of events that share a block

EVENT = np.dtype(
    [("frame", np.int64), ("kind", np.int8), ("channel", np.int32), ("data", np.int16), ("value", np.int32)]
)


@dataclass(frozen=True)
class Stem:
    """A synth, what it plays, and the shelf that colours it."""

    synth: Synth
    events: np.ndarray  # EVENT, in playing order
    presets: list[tuple[int, int, int]]  # font, bank, program, by the number that an event names
    shelf: Shelf | None
    gain: float  # as a factor


@contextmanager
def open_stems(performance: Performance, sounds: Sounds) -> Iterator[list[Stem]]:
    """The stems of a performance, ready to play. CannotDo as the synth has it."""
    with ExitStack() as opened:
        found = np.unique(sounds.colour).tolist() or [PLAIN]
        yield [_stem(performance, sounds, colour, opened) for colour in found]


def _stem(performance: Performance, sounds: Sounds, colour: int, opened: ExitStack) -> Stem:
    notes = performance.notes
    rows = np.flatnonzero(sounds.colour == colour)
    lanes, place = np.unique(notes["lane"][rows], return_inverse=True)
    ports, numbers = channels(len(lanes), MOST_PORTS)
    where = 16 * ports + numbers
    synth = opened.enter_context(open_synth(sounds.fonts[0], RATE, int(ports.max(initial=0)) + 1, *sounds.fonts[1:]))
    presets, which = np.unique(sounds.presets[rows], return_inverse=True)
    listed = [preset.item() for preset in presets]
    shared = float(sounds.shared[colour])  # what goes beyond it, each note gives back
    events = _events(performance, rows, where[place], which, sounds.change[rows] - shared)
    firsts = np.unique(place, return_index=True)[1].tolist()
    for channel, first, volume in zip(where.tolist(), firsts, sounds.volume[lanes].tolist(), strict=True):
        font, bank, program = listed[which[first]]
        synth.program(channel, program, font=font, bank=bank)
        synth.control(channel, 7, volume)
        synth.control(channel, 11, EXPRESSION)
    for channel, wide in _ranges(performance, lanes, where):
        for control, value in range_controls(wide):
            synth.control(channel, control, value)
    shelf = None if colour == PLAIN else Shelf(RATE, GAINS[colour])
    return Stem(synth, events, listed, shelf, 10 ** (-shared / 20))


def _ranges(performance: Performance, lanes: np.ndarray, where: np.ndarray) -> list[tuple[int, int]]:
    """(channel, range in semitones) of the lanes whose pitch bends."""
    return [
        (channel, lane_range(performance, lane))
        for lane, channel in zip(lanes.tolist(), where.tolist(), strict=True)
        if performance.lanes["sliding"][lane]
    ]


def _events(
    performance: Performance, rows: np.ndarray, channel: np.ndarray, preset: np.ndarray, change: np.ndarray
) -> np.ndarray:
    """EVENT table of these notes, each on its channel, with its preset, `change` dB softer than planned.

    What a soft note loses where its level becomes a whole velocity, CC11 gives back.
    """
    notes, lanes = performance.notes[rows], performance.lanes
    struck, end = strokes(notes)
    curves, bends = (_of_rows(table, rows, len(performance.notes)) for table in (performance.curves, performance.bends))
    harder = raised(notes, curves, lanes["sliding"][notes["lane"]])
    wanted = notes["level"] - change
    level = wanted + harder
    rest = np.where(harder > 0, resting(wanted, harder), rounding(level))
    start = _frames(notes["onset"])
    stop = np.maximum(_frames(end), start[struck] + BLOCK)
    stop = let_go(channel[struck], notes["pitch"][struck], start[struck], stop)
    made = [
        _table(stop, _OFF, channel[struck], notes["pitch"][struck], 0),
        _table(start[struck], _ON, channel[struck], notes["pitch"][struck], velocity(level[struck])),
        _preset_changes(start[struck], channel[struck], preset[struck]),
    ]
    by_channel = struck[np.argsort(channel[struck], kind="stable")]
    cuts = np.flatnonzero(np.diff(channel[by_channel])) + 1
    curve_at, bend_at = channel[curves["note"]], channel[bends["note"]]
    for own in np.split(by_channel, cuts) if len(struck) else []:
        here = int(channel[own[0]])
        moving, turning = curves[curve_at == here], bends[bend_at == here]
        at = start[moving["note"]]
        frame, value = expression_changes(_frames(moving["second"]), moving["level"], at, start[own], rest[own])
        made.append(_table(frame, _CONTROL, here, 11, value))
        if len(turning):
            wide = lane_range(performance, int(notes["lane"][own[0]]))
            frame, value = wheel_changes(
                _frames(turning["second"]), turning["semitones"], start[own], wide, BY_SOUNDFONT
            )
            made.append(_table(frame, _BEND, here, 0, value))
    events = np.concatenate(made)
    return events[np.lexsort((events["data"], events["channel"], events["kind"], events["frame"]))]


def _of_rows(table: np.ndarray, rows: np.ndarray, notes: int) -> np.ndarray:
    """The part of a side table that belongs to some rows of the notes, with its notes renumbered."""
    number = np.full(notes, -1)
    number[rows] = np.arange(len(rows))
    kept = table[number[table["note"]] >= 0]
    kept["note"] = number[kept["note"]]
    return kept


def _table(frame: np.ndarray, kind: int, channel, data, value) -> np.ndarray:
    events = np.zeros(len(frame), EVENT)
    for column, values in zip(EVENT.names, (frame, kind, channel, data, value), strict=True):
        events[column] = values
    return events


def _preset_changes(start: np.ndarray, channel: np.ndarray, preset: np.ndarray) -> np.ndarray:
    """Where a channel takes another preset than that of its note before."""
    order = np.lexsort((start, channel))
    channel, preset, start = channel[order], preset[order], start[order]
    changed = (np.diff(channel, prepend=-1) != 0) | (np.diff(preset, prepend=-1) != 0)
    return _table(start[changed], _PRESET, channel[changed], 0, preset[changed])


def _frames(seconds: np.ndarray) -> np.ndarray:
    """The nearest block boundary to each time. What lies halfway (8 s do) goes to the later one, also where a float
    falls short of it, so that a stretch of the music is rounded as in the whole."""
    return np.floor(seconds * RATE / BLOCK + (0.5 + 1e-6)).astype(np.int64) * BLOCK


def stream(stems: list[Stem]) -> Iterator[np.ndarray]:
    """The sound as (frames, 2) float32 chunks, until it has died away after the last event."""
    tracks = [np.zeros((CHUNK, 2), np.float32) for _ in stems]
    filled = now = 0
    for frame, act, arguments in _in_playing_order(stems):
        while now < frame:
            step = min(frame - now, CHUNK - filled)
            for stem, track in zip(stems, tracks, strict=True):
                stem.synth.read(track[filled : filled + step])
            filled, now = filled + step, now + step
            if filled == CHUNK:
                yield _mixed(stems, tracks)
                filled = 0
        act(*arguments)
    if filled:
        yield _mixed(stems, [track[:filled] for track in tracks])
    tails = [track[: 64 * BLOCK] for track in tracks]
    for _ in range(int(LONGEST_TAIL * RATE / (64 * BLOCK))):
        for stem, tail in zip(stems, tails, strict=True):
            stem.synth.read(tail)
        yield (mixed := _mixed(stems, tails))
        if not any(stem.synth.sounding for stem in stems) or np.abs(mixed).max() < _INAUDIBLE:
            return


def _in_playing_order(stems: list[Stem]) -> Iterator[tuple[int, Callable[..., None], tuple[int, ...]]]:
    """(frame, what to do, with what) of the events of all stems."""
    of_stem = np.repeat(np.arange(len(stems)), [len(stem.events) for stem in stems])
    events = np.concatenate([stem.events for stem in stems])
    order = np.argsort(events["frame"], kind="stable") if len(stems) > 1 else slice(None)
    acts = [_acts(stem) for stem in stems]
    columns = (events[order][column].tolist() for column in ("frame", "kind", "channel", "data", "value"))
    for number, frame, kind, channel, data, value in zip(of_stem[order].tolist(), *columns, strict=True):
        yield frame, acts[number][kind], (channel, data, value)


def _acts(stem: Stem) -> tuple[Callable[[int, int, int], None], ...]:
    """What each kind of event does, given its channel, data and value."""
    synth = stem.synth

    def take(channel: int, _: int, number: int) -> None:
        font, bank, program = stem.presets[number]
        synth.program(channel, program, font=font, bank=bank)

    return (
        lambda channel, pitch, _: synth.note_off(channel, pitch),
        synth.control,
        lambda channel, _, value: synth.bend(channel, value),
        take,
        synth.note_on,
    )


def _mixed(stems: list[Stem], tracks: list[np.ndarray]) -> np.ndarray:
    """The stems together, each through its shelf."""
    if len(stems) == 1 and stems[0].shelf is None:
        return tracks[0]
    coloured = (
        track if stem.shelf is None else stem.shelf.feed(track) * np.float32(stem.gain)
        for stem, track in zip(stems, tracks, strict=True)
    )
    return np.add.reduce(list(coloured))
