"""Partials as the samples of a bank: an onset as it is, then a loop that the player lets die away.

The player's envelope decays at one rate; the sample is what the note does beyond that. In the loop the partials stand
still, each moved to the nearest frequency that fits into it (less than 1.5 Hz off; the first mode fits exactly), so the
loop is the inverse Fourier transform of its partials and has no seam.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from soundfonts.measures import k_weight
from soundfonts.nail import SECONDS
from soundfonts.partials import STRING, Partials

RATE = 44_100
LEAD = 32  # samples of silence: players fade the first of them in
GUARD = 8  # samples that must be alike on both sides of the loop's ends (SoundFont 2.04 §7.10)

_BLOCK = 256
_TILE = (16, 32)
_STEP = _TILE[0] * _BLOCK
_KNOCK = 4 * _STEP  # samples after which the body's own resonances are gone
_HELD = (0.9, 1.9)  # seconds before the loop: longer where the note rings longer
_LOOP = (0.35, 0.45)  # seconds
_INAUDIBLE = 1e-5
_FULL = 32_000.0


class Sample(NamedTuple):
    """`data` is int16; `loop` its first sample and the one after its last, or None; `decay` in 1/s is the player's."""

    data: np.ndarray
    loop: tuple[int, int] | None
    decay: float


class Rung(NamedTuple):
    """What a ringing note consists of, (partials,) `pole` and `amplitude`: as it is for so many samples (`held`), and
    then dying away at one rate, `decay` in 1/s."""

    pole: np.ndarray
    amplitude: np.ndarray
    held: int
    decay: float


def ringing(partials: Partials, note: int) -> Rung:
    """How a note of these rings."""
    pole, amplitude = audible(partials, note)
    slowest = -pole.real.max()
    held = round(np.clip(2.5 / slowest, *_HELD) * RATE / _STEP) * _STEP
    energy = np.abs(amplitude * np.exp(pole * held / RATE)) ** 2 * k_weight(pole.imag / (2 * np.pi))
    return Rung(pole, amplitude, held, float(-(energy * pole.real).sum() / energy.sum()))


def looped(partials: Partials, note: int, gain: float, noise: np.ndarray) -> Sample:
    """A ringing note, begun with the noise of its pluck (see nail.py)."""
    pole, amplitude, held, decay = ringing(partials, note)
    left = amplitude * np.exp(pole * held / RATE)
    head = _sum(pole + decay, amplitude, held)
    knock = Partials(partials.pole[note, STRING:] + decay, partials.amplitude[note, STRING:])
    head[:_KNOCK] += _sum(*knock, _KNOCK)
    _begin(head, noise)
    length = _whole_periods(pole[0].imag / (2 * np.pi))
    spectrum = np.zeros(length // 2 + 1, complex)
    bins = np.rint(pole.imag / (2 * np.pi) * length / RATE).astype(int)
    np.add.at(spectrum, bins, left * np.exp(decay * held / RATE) * length / 2)
    ring = np.fft.irfft(spectrum, length)
    start = LEAD + held + GUARD
    wave = np.concatenate([np.zeros(LEAD), head, ring, ring[: 2 * GUARD]])
    return Sample(_whole_numbers(wave * gain), (start, start + length), decay)


def short(partials: Partials, note: int, gain: float, noise: np.ndarray) -> Sample:
    """A note that is over by itself."""
    pole, amplitude = audible(partials, note)
    count = int(np.ceil(11.5 / -pole.real.max() * RATE / _STEP)) * _STEP  # -100 dB
    wave = _sum(pole, amplitude, count)
    wave[:_KNOCK] += _sum(partials.pole[note, STRING:], partials.amplitude[note, STRING:], _KNOCK)[:count]
    _begin(wave, noise)
    return Sample(_whole_numbers(np.concatenate([np.zeros(LEAD), wave]) * gain), None, 0.0)


def _begin(wave: np.ndarray, noise: np.ndarray) -> None:
    """Add the noise, in its measure, to the first samples of a note."""
    wave[: len(noise)] += noise * np.sqrt(np.square(wave[: round(SECONDS * RATE)]).sum())


def audible(partials: Partials, note: int) -> Partials:
    """The string's partials that can be heard at all, the first mode first."""
    pole, amplitude = partials.pole[note, :STRING], partials.amplitude[note, :STRING]
    size = np.abs(amplitude)
    heard = size > _INAUDIBLE * size.max()
    return Partials(pole[heard], amplitude[heard])


def _sum(pole: np.ndarray, amplitude: np.ndarray, count: int) -> np.ndarray:
    """Re Σ amplitude exp(pole t) for `count` samples, a whole number of steps: one matrix product, in tiles.

    Each tile is small enough for the linear algebra library to stay in this thread: its threads wait for one another
    by spinning, and beside another busy program a bank would take five times as long.
    """
    starts = np.arange(0, count, _BLOCK)[:, None] / RATE
    left = amplitude * np.exp(pole * starts)
    right = np.exp(pole[:, None] * (np.arange(_BLOCK) / RATE))
    left = np.hstack([left.real, -left.imag]).astype(np.float32)
    right = np.vstack([right.real, right.imag]).astype(np.float32)
    rows, columns = _TILE
    tiles = left.reshape(-1, 1, rows, left.shape[1]) @ right.reshape(len(right), -1, columns).swapaxes(0, 1)
    return tiles.swapaxes(1, 2).ravel()


def _whole_periods(frequency: float) -> int:
    """The length in samples, within the limits for a loop, into which whole periods fit best."""
    fewest, most = (int(np.ceil(limit * frequency)) for limit in _LOOP)
    lengths = np.arange(fewest, most + 1) * RATE / frequency
    return int(np.rint(lengths[np.argmin(np.abs(lengths - np.rint(lengths)))]))


def _whole_numbers(wave: np.ndarray) -> np.ndarray:
    """As int16; a note with a peak beyond them is a little softer (a few pizzicati, and plucks right at the bridge)."""
    return np.rint(wave * min(1.0, _FULL / np.abs(wave).max())).astype("<i2")
