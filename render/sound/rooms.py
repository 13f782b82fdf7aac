"""A room around the dry sound: a synthesized impulse response, convolved with the stream.

The dry sound goes through untouched; early reflections and a late part are added to it, made from the sum of both
channels. A room is linear, so the planned decibels between two readings of one note stay exact; between notes of other
pitches they move (by about 1 dB): so what is measured is measured dry, and a room is a choice for listening.
"""

from __future__ import annotations

import base64
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

from render.kinds import FLAC
from render.sound.coding import encoded
from render.sound.stems import CHUNK

_SEED = 3
# Of the late part, band by band: up to so many Hz, decay time against the room's, strength (the house's own values: air
# and soft walls take the treble first, common practice).
_BANDS = ((250.0, 1.1, 1.0), (1000.0, 1.0, 1.0), (4000.0, 0.85, 0.8), (np.inf, 0.5, 0.35))
_RISE = 0.008  # seconds in which the late part comes in, so that it is heard behind the notes and not at them
_GONE = 60.0  # dB of decay after which nothing is left: what decay times are counted to
_FAINTEST = 2.0**-12  # of full scale: noise needs no more bits, and they are what a lossless file is made of
_REFLECTED = np.array([0.25, 0.5, 0.25])  # a reflection is a little duller than what it reflects


@dataclass(frozen=True)
class Room:
    """`decay` in seconds for 60 dB; the first reflection after `gap`, so many in all until `early`, in seconds; the
    levels of early and late part in dB against the dry sound."""

    decay: float
    gap: float
    reflections: int
    early: float
    early_level: float
    late_level: float


ROOMS = {
    "small": Room(decay=0.55, gap=0.004, reflections=14, early=0.030, early_level=-16.0, late_level=-15.0),
    "hall": Room(decay=1.4, gap=0.018, reflections=22, early=0.080, early_level=-17.0, late_level=-13.5),
}


@cache
def response(name: str, rate: int) -> np.ndarray:
    """(2, frames) float32: what a room adds to a single click, left and right. Always the same to the bit:
    RandomState's numbers are frozen (NumPy, NEP 19)."""
    room, numbers = ROOMS[name], np.random.RandomState(_SEED)
    frames = int((room.gap + room.decay * max(slower for _, slower, _ in _BANDS)) * rate)
    made = np.stack([_early(room, frames, rate, numbers) + _late(room, frames, rate, numbers) for _ in "lr"])
    return made.astype(np.float32)


def _early(room: Room, frames: int, rate: int, numbers: np.random.RandomState) -> np.ndarray:
    """Single reflections at random times, the later the weaker, and as often turned over as not."""
    times = np.sort(numbers.uniform(room.gap, room.early, room.reflections))
    signs = np.where(numbers.uniform(size=room.reflections) < 0.5, -1.0, 1.0)
    clicks = np.zeros(frames)
    np.add.at(clicks, (times * rate).astype(int), signs * room.gap / times)
    return _at_level(np.convolve(clicks, _REFLECTED)[:frames], room.early_level)


def _late(room: Room, frames: int, rate: int, numbers: np.random.RandomState) -> np.ndarray:
    """Noise that dies away, the treble sooner."""
    begins = int(room.gap * rate)
    seconds = np.arange(frames - begins) / rate
    spectrum = np.fft.rfft(numbers.standard_normal(len(seconds)))
    pitch, low = np.fft.rfftfreq(len(seconds), 1 / rate), 0.0
    made = np.zeros(frames)
    for high, slower, strength in _BANDS:
        band = np.fft.irfft(np.where((pitch >= low) & (pitch < high), spectrum, 0), len(seconds))
        made[begins:] += strength * band * 10 ** (-_GONE / 20 * seconds / (room.decay * slower))
        low = high
    made[begins:] *= np.sin(np.pi / 2 * np.minimum(seconds / _RISE, 1)) ** 2
    return _at_level(made, room.late_level)


def _at_level(samples: np.ndarray, level: float) -> np.ndarray:
    """The same with so many dB of energy against a single click of full scale."""
    return samples * 10 ** (level / 20) / np.sqrt(np.sum(samples**2))


def room_values(rate: int) -> dict[str, dict[str, Any]]:
    """What a browser needs for each room: its response as a lossless file in text, and the factor that gives its own
    level back."""
    made = {}
    for name in ROOMS:
        samples = response(name, rate)
        down = _FAINTEST / float(np.abs(samples).max())
        flac = encoded([np.ascontiguousarray(samples.T * np.float32(down))], FLAC, rate=rate)
        made[name] = {"response": base64.b64encode(flac).decode("ascii"), "gain": 1 / down}
    return made


def in_room(blocks: Iterable[np.ndarray], name: str | None, rate: int) -> Iterator[np.ndarray]:
    """(frames, 2) float32 blocks of a sound as they are heard in a room, until it has died away; without a room
    they are as they were. By overlap-add: memory stays the same whatever the length."""
    if name is None:
        yield from blocks
        return
    added = response(name, rate)
    size = 1 << (4 * added.shape[1]).bit_length()  # measured: the quickest
    spectrum, step = np.fft.rfft(added, size), size - added.shape[1] + 1
    after = np.zeros((added.shape[1] - 1, 2), np.float32)  # of what has gone by, still to be heard
    for dry in _of_length(blocks, step):
        both = np.fft.irfft(np.fft.rfft(dry.mean(axis=1), size) * spectrum, size)
        wet = both[:, : len(dry) + len(after)].T.astype(np.float32)
        wet[: len(after)] += after
        wet[: len(dry)] += dry
        after = wet[len(dry) :].copy()
        yield from _pieces(wet[: len(dry)])
    yield from _pieces(after)


def _of_length(blocks: Iterable[np.ndarray], length: int) -> Iterator[np.ndarray]:
    """The same sound in blocks of so many frames, the last one shorter."""
    waiting: list[np.ndarray] = []
    frames = 0
    for block in blocks:
        while frames + len(block) >= length:
            yield np.concatenate([*waiting, block[: length - frames]])
            block, waiting, frames = block[length - frames :], [], 0
        waiting.append(block.copy())
        frames += len(block)
    if frames:
        yield np.concatenate(waiting)


def _pieces(sound: np.ndarray) -> Iterator[np.ndarray]:
    """No longer than writers take them."""
    for begin in range(0, len(sound), CHUNK):
        yield sound[begin : begin + CHUNK]
