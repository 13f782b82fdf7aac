"""The sound of a performance, stem by stem: what is dark, plain and bright each has a synth of its own.

Events act at blocks of 64 samples, straight from the table. A stem that has a colour goes through a shelf before the
stems are added.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from render.events.channels import channels
from render.events.levels import EXPRESSION, LOWERED, VOLUME
from render.events.presets import PLAIN
from render.events.table import CONTROL, OFF, ON, PRESET, Medium, Setting, event_table
from render.events.wheel import BY_SOUNDFONT, lane_range, range_controls
from render.sound.colours import GAINS, Shelf
from render.sound.sounds import Timbres
from render.sound.synth import BLOCK, MOST_PORTS, Synth
from render.sound.trying import alone_in
from timing.columns import NEAR
from timing.performance import Performance
from timing.slides.made_good import made_good

RATE = 44_100
CHUNK = 65_536  # frames; larger pieces crashed libsndfile's Vorbis encoder
LONGEST_TAIL = 6.0  # seconds
_TAIL = 64 * BLOCK  # frames at a time
_BACK = np.float32((VOLUME / LOWERED) ** 2)  # what all channels keep in hand for swells, given back to the sound
_INAUDIBLE = 10 ** (-90 / 20)


@dataclass(frozen=True)
class Stave:
    """What one synth plays, whichever it will be: its `fonts` and ports, and what its channels are set to in the
    `opening` (kind, channel, data, value)."""

    fonts: tuple[Path, ...]
    ports: int
    opening: tuple[tuple[int, int, int, int], ...]
    events: np.ndarray  # EVENT, in playing order, in samples
    channels: np.ndarray  # of these events
    presets: tuple[tuple[int, int, int], ...]  # font, bank, program, by the number that an event names
    colour: int
    gain: np.float32  # as a factor

    def fresh(self) -> Synth:
        """A synth that is set up to play it, to be closed by whoever asks. CannotDo as the synth has it."""
        synth = Synth(self.fonts[0], RATE, self.ports, *self.fonts[1:])
        try:
            acts = _acts(synth, self.presets)
            for kind, channel, data, value in self.opening:
                acts[kind](channel, data, value)
        except BaseException:
            synth.close()
            raise
        return synth


@dataclass(frozen=True)
class Stem:
    """A synth, what it plays, and the shelf that colours it."""

    synth: Synth
    stave: Stave
    shelf: Shelf | None

    @classmethod
    def on(cls, synth: Synth, stave: Stave) -> Stem:
        """The stave on a synth that is fresh and set up for it."""
        return cls(synth, stave, None if stave.colour == PLAIN else Shelf(RATE, GAINS[stave.colour]))


@contextmanager
def open_stems(performance: Performance, sounds: Timbres) -> Iterator[list[Stem]]:
    """The stems of a performance, ready to play. CannotDo as the synth has it."""
    with ExitStack() as opened:
        stems = []
        for stave in staves(performance, sounds):
            opened.callback((synth := stave.fresh()).close)
            stems.append(Stem.on(synth, stave))
        yield stems


def staves(performance: Performance, sounds: Timbres) -> list[Stave]:
    """What there is to play, colour by colour."""
    performance = replace(performance, curves=made_good(performance, alone_in(performance, sounds)))
    found = np.unique(sounds.colour).tolist() or [PLAIN]
    return [_stave(performance, sounds, colour) for colour in found]


def _stave(performance: Performance, sounds: Timbres, colour: int) -> Stave:
    notes = performance.notes
    rows = np.flatnonzero(sounds.colour == colour)
    lanes, place = np.unique(notes["lane"][rows], return_inverse=True)
    ports, numbers = channels(len(lanes), MOST_PORTS)
    where = 16 * ports + numbers
    presets, which = np.unique(sounds.presets[rows], return_inverse=True)
    shared = float(sounds.shared[colour])  # what goes beyond it, each note gives back
    chosen = Setting(PRESET, np.zeros_like(which), which, opening=None)
    softer = sounds.change[rows] - shared
    events = event_table(performance, _SAMPLES, sounds.volume, [chosen], rows, softer)
    firsts = which[np.unique(place, return_index=True)[1]].tolist()
    opening: list[tuple[int, int, int, int]] = []
    for channel, first, volume in zip(where.tolist(), firsts, sounds.volume[lanes].tolist(), strict=True):
        opening += [(PRESET, channel, 0, first), (CONTROL, channel, 7, volume), (CONTROL, channel, 11, EXPRESSION)]
    for channel, wide in _ranges(performance, lanes, where):
        opening += [(CONTROL, channel, control, value) for control, value in range_controls(wide)]
    return Stave(
        sounds.fonts, int(ports.max(initial=0)) + 1, tuple(opening), events,
        where[np.searchsorted(lanes, events["lane"])], tuple(preset.item() for preset in presets), colour,
        np.float32(10 ** (-shared / 20)),
    )  # fmt: skip


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
    yield from Sounding(stems).blocks(CHUNK)


class Sounding:
    """Stems as they sound, from the frame `begin` on: all is set as it is by then, but of the notes only those are
    heard that begin there or later."""

    def __init__(self, stems: list[Stem], begin: int = 0):
        self._stems, self.now = stems, begin
        self._waiting = _in_playing_order(stems, begin)
        self._next = next(self._waiting, None)
        self._last = max((int(stem.stave.events["moment"][-1]) for stem in stems if len(stem.stave.events)), default=0)

    def read(self, frames: int) -> np.ndarray:
        """What sounds next, as a (frames, 2) float32 array."""
        tracks = [np.empty((frames, 2), np.float32) for _ in self._stems]
        filled = 0
        while filled < frames:
            while self._next is not None and self._next[0] <= self.now:
                _, act, arguments = self._next
                act(*arguments)
                self._next = next(self._waiting, None)
            step = frames - filled if self._next is None else min(self._next[0] - self.now, frames - filled)
            for stem, track in zip(self._stems, tracks, strict=True):
                stem.synth.read(track[filled : filled + step])
            filled, self.now = filled + step, self.now + step
        return _mixed(self._stems, tracks)

    def blocks(self, size: int, first: int = 0) -> Iterator[np.ndarray]:
        """All that is still to come, in blocks of so many frames (the last ones are shorter), until it has died away
        after the last event. The `first` one may have a size of its own."""
        if first and self.now < self._last:
            yield self.read(min(first, self._last - self.now))
        while self.now < self._last:
            yield self.read(min(size, self._last - self.now))
        for _ in range(int(LONGEST_TAIL * RATE / _TAIL)):
            yield (mixed := self.read(_TAIL))
            if not any(stem.synth.sounding for stem in self._stems) or np.abs(mixed).max() < _INAUDIBLE:
                return


def _in_playing_order(
    stems: list[Stem], begin: int
) -> Iterator[tuple[int, Callable[..., None], tuple[int, ...]]]:
    """(frame, what to do, with what) of the events of all stems, from `begin` on; what was set before, and not set
    otherwise since, comes first."""
    chosen = [_from(stem.stave, begin) for stem in stems]
    of_stem = np.repeat(np.arange(len(stems)), [len(rows) for rows in chosen])
    events = np.concatenate([stem.stave.events[rows] for stem, rows in zip(stems, chosen, strict=True)])
    channels = np.concatenate([stem.stave.channels[rows] for stem, rows in zip(stems, chosen, strict=True)])
    order = np.argsort(events["moment"], kind="stable") if len(stems) > 1 else slice(None)
    acts = [_acts(stem.synth, stem.stave.presets) for stem in stems]
    columns = (events[column] for column in ("moment", "kind", "data", "value"))
    rows = zip(*(column[order].tolist() for column in (of_stem, channels, *columns)), strict=True)
    for number, channel, frame, kind, data, value in rows:
        yield frame, acts[number][kind], (channel, data, value)


def _from(stave: Stave, begin: int) -> np.ndarray:
    """The rows of the events from `begin` on, after those that say how each channel is set by then."""
    events = stave.events
    first = int(np.searchsorted(events["moment"], begin))
    setting = np.flatnonzero(~np.isin(events["kind"][:first], (ON, OFF)))[::-1]  # the last ones first
    what = np.column_stack([stave.channels[setting], events["kind"][setting], events["data"][setting]])
    last = np.unique(what, axis=0, return_index=True)[1]
    return np.concatenate([np.sort(setting[last]), np.arange(first, len(events))])


def _acts(
    synth: Synth, presets: tuple[tuple[int, int, int], ...]
) -> tuple[Callable[[int, int, int], None], ...]:
    """What each kind of event does, given its channel, data and value."""

    def take(channel: int, _: int, number: int) -> None:
        font, bank, program = presets[number]
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
    coloured = [_coloured(stem, track) for stem, track in zip(stems, tracks, strict=True)]
    return coloured[0] if len(coloured) == 1 else np.add.reduce(coloured)


def _coloured(stem: Stem, track: np.ndarray) -> np.ndarray:
    if stem.shelf is None:
        return np.multiply(track, _BACK, out=track)
    return stem.shelf.feed(track) * (_BACK * stem.stave.gain)
