"""The sound of a performance, stem by stem: what is dark, plain and bright each has a synth of its own.

Events act at blocks of 64 samples, straight from the table. A stem that has a colour goes through a shelf before the
stems are added.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace

import numpy as np

from render.events.channels import channels
from render.events.levels import EXPRESSION, LOWERED, VOLUME
from render.events.presets import PLAIN
from render.events.table import PRESET, Medium, Setting, event_table
from render.events.wheel import BY_SOUNDFONT, lane_range, range_controls
from render.sound.colours import GAINS, Shelf
from render.sound.sounds import Timbres
from render.sound.synth import BLOCK, MOST_PORTS, Synth, open_synth
from render.sound.trying import alone_in
from timing.columns import NEAR
from timing.performance import Performance
from timing.slides.made_good import made_good

RATE = 44_100
CHUNK = 65_536  # frames; larger pieces crashed libsndfile's Vorbis encoder
LONGEST_TAIL = 6.0  # seconds
_BACK = np.float32((VOLUME / LOWERED) ** 2)  # what all channels keep in hand for swells, given back to the sound
_INAUDIBLE = 10 ** (-90 / 20)


@dataclass(frozen=True)
class Stem:
    """A synth, what it plays, and the shelf that colours it."""

    synth: Synth
    events: np.ndarray  # EVENT, in playing order, in samples
    channels: np.ndarray  # of these events
    presets: list[tuple[int, int, int]]  # font, bank, program, by the number that an event names
    shelf: Shelf | None
    gain: np.float32  # as a factor


@contextmanager
def open_stems(performance: Performance, sounds: Timbres) -> Iterator[list[Stem]]:
    """The stems of a performance, ready to play. CannotDo as the synth has it."""
    performance = replace(performance, curves=made_good(performance, alone_in(performance, sounds)))
    with ExitStack() as opened:
        found = np.unique(sounds.colour).tolist() or [PLAIN]
        yield [_stem(performance, sounds, colour, opened) for colour in found]


def _stem(performance: Performance, sounds: Timbres, colour: int, opened: ExitStack) -> Stem:
    notes = performance.notes
    rows = np.flatnonzero(sounds.colour == colour)
    lanes, place = np.unique(notes["lane"][rows], return_inverse=True)
    ports, numbers = channels(len(lanes), MOST_PORTS)
    where = 16 * ports + numbers
    synth = opened.enter_context(open_synth(sounds.fonts[0], RATE, int(ports.max(initial=0)) + 1, *sounds.fonts[1:]))
    presets, which = np.unique(sounds.presets[rows], return_inverse=True)
    listed = [preset.item() for preset in presets]
    shared = float(sounds.shared[colour])  # what goes beyond it, each note gives back
    chosen = Setting(PRESET, np.zeros_like(which), which, opening=None)
    softer = sounds.change[rows] - shared
    events = event_table(performance, _SAMPLES, sounds.volume, [chosen], rows, softer)
    firsts = np.unique(place, return_index=True)[1].tolist()
    for channel, first, volume in zip(where.tolist(), firsts, sounds.volume[lanes].tolist(), strict=True):
        font, bank, program = listed[which[first]]
        synth.program(channel, program, font=font, bank=bank)
        synth.control(channel, 7, volume)
        synth.control(channel, 11, EXPRESSION)
    for channel, wide in _ranges(performance, lanes, where):
        for control, value in range_controls(wide):
            synth.control(channel, control, value)
    shelf, gain = None if colour == PLAIN else Shelf(RATE, GAINS[colour]), np.float32(10 ** (-shared / 20))
    return Stem(synth, events, where[np.searchsorted(lanes, events["lane"])], listed, shelf, gain)


def _ranges(performance: Performance, lanes: np.ndarray, where: np.ndarray) -> list[tuple[int, int]]:
    """(channel, range in semitones) of the lanes whose pitch bends."""
    return [
        (channel, lane_range(performance, lane))
        for lane, channel in zip(lanes.tolist(), where.tolist(), strict=True)
        if performance.lanes["sliding"][lane]
    ]


def _frames(seconds: np.ndarray) -> np.ndarray:
    """The nearest block boundary to each time. What lies halfway (8 s do) goes to the later one, also where a float
    falls short of it, so that a stretch of the music is rounded as in the whole."""
    return np.floor(seconds * RATE / BLOCK + (0.5 + NEAR)).astype(np.int64) * BLOCK


_SAMPLES = Medium(_frames, least=BLOCK, reach=BY_SOUNDFONT, exact=True)


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
    channels = np.concatenate([stem.channels for stem in stems])
    order = np.argsort(events["moment"], kind="stable") if len(stems) > 1 else slice(None)
    acts = [_acts(stem) for stem in stems]
    columns = (events[column] for column in ("moment", "kind", "data", "value"))
    rows = zip(*(column[order].tolist() for column in (of_stem, channels, *columns)), strict=True)
    for number, channel, frame, kind, data, value in rows:
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
        take,
        lambda channel, _, value: synth.bend(channel, value),
        synth.note_on,
    )


def _mixed(stems: list[Stem], tracks: list[np.ndarray]) -> np.ndarray:
    """The stems together, each through its shelf. What they have rendered is not needed after that."""
    coloured = [
        np.multiply(track, _BACK, out=track) if stem.shelf is None else stem.shelf.feed(track) * (_BACK * stem.gain)
        for stem, track in zip(stems, tracks, strict=True)
    ]
    return coloured[0] if len(coloured) == 1 else np.add.reduce(coloured)
