"""The sound of a performance in memory: block by block, or as one array with its facts."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from render.sound.measuring import Measure
from render.sound.rooms import in_room
from render.sound.sounds import find_sounds
from render.sound.stems import RATE, open_stems, stream
from soundfonts.banks import fingerprint
from timing.performance import Performance

Progress = Callable[[float, float], None]


@dataclass(frozen=True)
class SoundFacts:
    """What is known of a sound: `peak` in dBFS, how many samples are `clipped` where it is written in whole numbers,
    `loudness` in LUFS (None for silence), and with which synth and banks it was made."""

    seconds: float
    rate: int
    peak: float
    clipped: int
    loudness: float | None
    synth: str
    banks: dict[Path, str]  # and the SHA-256 of each


@dataclass(frozen=True)
class Waveform(SoundFacts):
    """A sound as `samples`, (frames, 2) float32, in which full scale is 1."""

    samples: np.ndarray


@dataclass(frozen=True)
class Source:
    """A sound that is ready to be made: its `blocks`, each of which is gone when the next one comes."""

    blocks: Iterator[np.ndarray]
    synth: str
    banks: dict[Path, str]

    @property
    def record(self) -> str:
        """With which synth and banks it is made, to be kept in a file."""
        banks = (f"{_name(bank)} sha256 {digest}" for bank, digest in self.banks.items())
        return "; ".join(["lentando", self.synth, *banks])

    def facts(self, measure: Measure) -> SoundFacts:
        """What is known once all blocks have been measured."""
        seconds, loudness = measure.frames / RATE, measure.loudness()
        return SoundFacts(seconds, RATE, measure.peak(), measure.clipped, loudness, self.synth, self.banks)


def render_sound(
    performance: Performance,
    *,
    soundfont: str | Path | None = None,
    progress: Progress | None = None,
    building: Progress | None = None,
) -> Waveform:
    """The sound of a performance as an array, with its facts; it ends when it has died away.

    `soundfont` is another bank than the standard one and the modelled guitar; `progress(done, total)` is told in
    seconds, and `building(done, total)` where the guitar has yet to be built. Raises CannotDo without a synth, and for
    a file that is no SoundFont.
    """
    measure = Measure()
    with open_sound(performance, soundfont, building) as source:
        blocks = told(measure.taking_in(source.blocks), performance, progress)
        samples = np.concatenate([block.copy() for block in blocks])
    return Waveform(**vars(source.facts(measure)), samples=samples)


def sound_blocks(
    performance: Performance, *, soundfont: str | Path | None = None, building: Progress | None = None
) -> Iterator[np.ndarray]:
    """The same, block by block: (frames, 2) float32 at 44.1 kHz, each up to a second and a half long, made when it is
    asked for."""
    with open_sound(performance, soundfont, building) as source:
        for block in source.blocks:
            yield block.copy()


@contextmanager
def open_sound(
    performance: Performance, soundfont: str | Path | None = None, building: Progress | None = None
) -> Iterator[Source]:
    """A sound that is ready to be made, with synths that are let go at the end. CannotDo as `render_sound` has it."""
    sounds = find_sounds(performance, Path(soundfont) if soundfont else None, building)
    with open_stems(performance, sounds) as stems:
        synth = f"FluidSynth {stems[0].synth.version}"
        blocks = in_room(stream(stems), performance.room, RATE)
        yield Source(blocks, synth, {bank: fingerprint(bank) for bank in sounds.fonts})


def told(blocks: Iterable[np.ndarray], performance: Performance, progress: Progress | None) -> Iterator[np.ndarray]:
    """The same blocks; how many seconds of the performance they are is told as they go by."""
    total, frames = float(performance.notes["end"].max(initial=0)), 0
    for block in blocks:
        yield block
        frames += len(block)
        if progress:
            progress(min(frames / RATE, total), total)


def _name(bank: Path) -> str:
    return os.fsencode(bank.name).decode("utf-8", "replace")
