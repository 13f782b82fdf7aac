"""The sound of a performance in memory: block by block, or as one array with its facts."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from render.sound.measuring import Measure
from render.sound.peaks import TruePeak, lowering
from render.sound.rooms import in_room
from render.sound.sounds import find_sounds
from render.sound.stems import CHUNK, RATE, open_stems, stream
from soundfonts.banks import fingerprint
from timing.performance import Performance

Progress = Callable[[float, float], None]


@dataclass(frozen=True)
class SoundFacts:
    """What is known of a sound: its true `peak` in dBTP, how many samples are `clipped` where it is written in whole
    numbers, `loudness` in LUFS (None for silence), by how many dB it is `lowered` against the gain that all takes have
    (`peak` and `loudness` are as it is then), and with which synth and banks it was made."""

    seconds: float
    rate: int
    peak: float
    clipped: int
    loudness: float | None
    lowered: float
    synth: str
    banks: dict[Path, str]  # and the SHA-256 of each


@dataclass(frozen=True)
class Waveform(SoundFacts):
    """A sound as `samples`, (frames, 2) float32, in which full scale is 1."""

    samples: np.ndarray


@dataclass(frozen=True)
class Source:
    """A sound that is ready to be made: its `blocks`, each of which is gone when the next one comes, `lowered` by so
    many dB."""

    blocks: Iterator[np.ndarray]
    lowered: float
    synth: str
    banks: dict[Path, str]

    @property
    def record(self) -> str:
        """With which synth and banks it is made, to be kept in a file."""
        banks = (f"{_name(bank)} sha256 {digest}" for bank, digest in self.banks.items())
        lowered = [f"lowered by {self.lowered:g} dB"] * (self.lowered > 0)
        return "; ".join(["lentando", self.synth, *banks, *lowered])

    def facts(self, measure: Measure) -> SoundFacts:
        """What is known once all blocks have been measured."""
        seconds, peak, loudness = measure.frames / RATE, measure.peak(), measure.loudness()
        return SoundFacts(seconds, RATE, peak, measure.clipped, loudness, self.lowered, self.synth, self.banks)


def render_sound(
    performance: Performance,
    *,
    soundfont: str | Path | None = None,
    lowered: float | None = None,
    progress: Progress | None = None,
    building: Progress | None = None,
) -> Waveform:
    """The sound of a performance as an array, with its facts; it ends when it has died away.

    `soundfont` is another bank than the standard one and the modelled guitar; `progress(done, total)` is told in
    seconds, and `building(done, total)` where the guitar has yet to be built. It is `lowered` by so many dB, or by what
    `lowered_alike` says of it alone. Raises CannotDo without a synth, and for a file that is no SoundFont.
    """
    least = part_lowered([performance], soundfont, building) if lowered is None else lowered
    measure = Measure()
    with open_sound(performance, soundfont, building, least) as source:
        blocks = told(measure.taking_in(source.blocks), performance, progress)
        samples = np.concatenate([block.copy() for block in blocks])
    facts = source.facts(measure)
    if lowered is None and (more := lowering(facts.peak)):
        samples *= _factor(more)
        measure = Measure()
        for start in range(0, len(samples), CHUNK):
            measure.take_in(samples[start : start + CHUNK])
        facts = replace(source, lowered=least + more).facts(measure)
    return Waveform(**vars(facts), samples=samples)


def sound_blocks(
    performance: Performance,
    *,
    soundfont: str | Path | None = None,
    lowered: float | None = None,
    building: Progress | None = None,
) -> Iterator[np.ndarray]:
    """The same, block by block: (frames, 2) float32 at 44.1 kHz, each up to a second and a half long, made when it is
    asked for. Unless it is said by how much it is `lowered`, all of it is made once before, to be measured."""
    if lowered is None:
        lowered = lowered_alike([performance], soundfont=soundfont, building=building)
    with open_sound(performance, soundfont, building, lowered) as source:
        for block in source.blocks:
            yield block.copy()


def lowered_alike(
    performances: Sequence[Performance],
    *,
    soundfont: str | Path | None = None,
    progress: Progress | None = None,
    building: Progress | None = None,
) -> float:
    """By how many dB all of these have to be lowered so that they can be compared and none passes -1 dBTP: in steps of
    half a dB, and mostly 0. A part of a performance is lowered with the whole of it.

    Each is rendered for that, and nothing kept. Raises CannotDo as `render_sound` does.
    """
    several = [*_wholes(performances), *performances]
    return max((_needed(each, soundfont, progress, building) for each in several), default=0.0)


def part_lowered(
    performances: Sequence[Performance], soundfont: str | Path | None, building: Progress | None
) -> float:
    """By how many dB the wholes are to be lowered that some of these are parts of."""
    return max((_needed(whole, soundfont, None, building) for whole in _wholes(performances)), default=0.0)


def _wholes(performances: Sequence[Performance]) -> list[Performance]:
    """What some of these are parts of, each once and in the room in which the part is heard."""
    parts = {(id(each.whole), each.room): each for each in performances if each.whole is not None}
    return [replace(each.whole, room=each.room) for each in parts.values() if each.whole is not None]


def _needed(
    performance: Performance, soundfont: str | Path | None, progress: Progress | None, building: Progress | None
) -> float:
    """By how many dB the sound of a performance is too loud."""
    peak = TruePeak()
    with open_sound(performance, soundfont, building) as source:
        for block in told(source.blocks, performance, progress):
            peak.feed(block)
    return lowering(peak.value())


@contextmanager
def open_sound(
    performance: Performance,
    soundfont: str | Path | None = None,
    building: Progress | None = None,
    lowered: float = 0.0,
) -> Iterator[Source]:
    """A sound that is ready to be made, `lowered` by so many dB, with synths that are let go at the end. CannotDo as
    `render_sound` has it."""
    sounds = find_sounds(performance, Path(soundfont) if soundfont else None, building)
    with open_stems(performance, sounds) as stems:
        synth = f"FluidSynth {stems[0].synth.version}"
        blocks = in_room(stream(stems), performance.room, RATE)
        if lowered:
            blocks = (block * _factor(lowered) for block in blocks)
        yield Source(blocks, lowered, synth, {bank: fingerprint(bank) for bank in sounds.fonts})


def _factor(lowered: float) -> np.float32:
    return np.float32(10 ** (-lowered / 20))


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
