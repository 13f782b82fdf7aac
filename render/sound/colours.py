"""Dark, plain and bright on instruments that have no plucking point to move: a shelf over what they play.

One shelf is both: turned down it darkens, turned up it brightens, by the same amount, with any bank and any synth. The
filter of a SoundFont can only darken, and was measured against it on the keyed, bowed and blown programs of the
standard bank. 2400 cents down leave 11 of 45 hardly darker (centroid above 0.85 of the plain one), the shelf 4; 3600
cents down leave 2, but take up to 24 dB from high notes, whose fundamental lies above the cutoff: the shelf never takes
more than its depth.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import numpy as np

from render.events.presets import PLAIN
from render.sound.loudness import k_weighting
from render.sound.synth import BLOCK, open_synth

# So deep that half of all notes move as far as a guitar does between its plucking points, and so gently sloped that
# tuba and piccolo move too: 0.15 dB at 100 Hz, 2.7 at 500 Hz, 17.5 at 10 kHz.
DEPTH, CORNER, SLOPE = 18.0, 1500.0, 0.5
GAINS = (0.0, -DEPTH, DEPTH)  # dB, by colour

_DEAD = 1e-6  # of the impulse: what is left out of the response is below -120 dB
_MOST = 4_096  # samples of a Fourier transform: the quickest, measured
_RATE = 44_100  # at which notes are tried
_TRIED = 32_768  # frames of a note that are tried: three quarters of a second, whole blocks
_VELOCITY = 64  # mf


def high_shelf(rate: int, gain: float, corner: float, slope: float = 1.0) -> tuple[np.ndarray, np.ndarray]:
    """(b, a) of a high shelf: `gain` in dB far above the `corner` in Hz, half of it there; a `slope` up to 1.

    R. Bristow-Johnson, "Cookbook formulae for audio equalizer biquad filter coefficients" (W3C Note, 2021).
    """
    a = 10 ** (gain / 40)
    w = 2 * np.pi * corner / rate
    cos, alpha = np.cos(w), np.sin(w) / 2 * np.sqrt((a + 1 / a) * (1 / slope - 1) + 2)
    up, down, width = a + 1, a - 1, 2 * np.sqrt(a) * alpha
    zeros = a * np.array([up + down * cos + width, -2 * (down + up * cos), up + down * cos - width])
    poles = np.array([up - down * cos + width, 2 * (down - up * cos), up - down * cos - width])
    return zeros / poles[0], poles / poles[0]


class Shelf:
    """A high shelf over a stereo stream, without delay. Feed it chunks of any length.

    A filter with real coefficients keeps the halves of a complex number apart, so that left and right are filtered as
    one complex signal, by overlap-save with the part of the impulse response that is above -120 dB. As fast as
    convolution goes, and needing no scipy, whose import takes longer than a minute of music.
    """

    def __init__(self, rate: int, gain: float, corner: float = CORNER, slope: float = SLOPE):
        self._filter = high_shelf(rate, gain, corner, slope)
        slowest = np.abs(np.roots(self._filter[1])).max()
        self._memory = int(np.ceil(np.log(_DEAD) / np.log(slowest))) + 1
        self._past = np.zeros(self._memory, np.complex64)
        self._responses: dict[int, np.ndarray] = {}

    def feed(self, chunk: np.ndarray) -> np.ndarray:
        """(frames, 2) float32 in and, as long, out."""
        stream = np.concatenate([self._past, np.ascontiguousarray(chunk, np.float32).view(np.complex64)[:, 0]])
        size = min(max(_MOST, _power_of_two(2 * self._memory)), _power_of_two(self._memory + max(len(chunk), 1)))
        out = np.empty(len(chunk), np.complex64)
        step = size - self._memory
        for start in range(0, len(chunk), step):
            spectrum = np.fft.fft(stream[start : start + size], size)
            spectrum *= self._response(size)
            part = out[start : start + step]
            part[:] = np.fft.ifft(spectrum, out=spectrum)[self._memory : self._memory + len(part)]
        self._past = stream[len(chunk) :]
        return out.view(np.float32).reshape(-1, 2)

    def _response(self, size: int) -> np.ndarray:
        if size not in self._responses:
            self._responses[size] = _curve(self._filter, size).astype(np.complex64)
        return self._responses[size]


def balance(bank: Path, program: int, pitches: np.ndarray, colour: int) -> np.ndarray:
    """By how many dB a colour changes the K-weighted level (ITU-R BS.1770-4) of a program at each of some pitches.

    Taking it off again leaves dark, plain and bright equally loud. It depends on the pitch: little of a tuba lies
    above the shelf, and nearly all of a piccolo. 0 where the program is silent. Raises CannotDo as a synth does.
    """
    tried, place = np.unique(np.asarray(pitches, int), return_inverse=True)
    return _changes(bank, program, tuple(tried.tolist()))[place, colour]


@lru_cache(maxsize=256)
def _changes(bank: Path, program: int, pitches: tuple[int, ...]) -> np.ndarray:
    """(pitches, colours) what `balance` says, tried on how each note begins."""
    weighting = np.prod([_power(part) for part in k_weighting(_RATE)], axis=0)
    weights = weighting * [_power(high_shelf(_RATE, gain, CORNER, SLOPE)) for gain in GAINS]
    powers = np.zeros((len(pitches), len(GAINS)))
    note, rest = np.empty((_TRIED, 2), np.float32), np.empty((BLOCK, 2), np.float32)
    with open_synth(bank, _RATE, 1) as synth:
        synth.program(0, program)
        for pitch, power in zip(pitches, powers, strict=True):
            synth.note_on(0, pitch, _VELOCITY)
            synth.read(note)
            synth.control(0, 120, 0)  # all sound off
            synth.read(rest)
            spectrum = np.fft.fft(note.view(np.complex64)[:, 0])  # at f and -f together: the power of left and right
            power[:] = weights @ (spectrum.real**2 + spectrum.imag**2)
    plain = powers[:, [PLAIN]]
    return 10 * np.log10(np.divide(powers, plain, out=np.ones_like(powers), where=plain > 0))


def _power(filter_: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
    """By what a filter multiplies the power spectrum of a note that is tried."""
    return np.abs(_curve(filter_, _TRIED)) ** 2


def _curve(filter_: tuple[np.ndarray, np.ndarray], size: int) -> np.ndarray:
    """The response of a filter (b, a) at the frequencies of a Fourier transform of that size."""
    z = np.exp(-2j * np.pi * np.fft.fftfreq(size))
    b, a = filter_
    return np.polyval(b[::-1], z) / np.polyval(a[::-1], z)


def _power_of_two(least: int) -> int:
    return 1 << (least - 1).bit_length()
