"""The modelled guitar as FluidSynth plays it, note by note, for the tests to measure. Built once a process."""

from __future__ import annotations

import atexit
import ctypes
import os
import shutil
import tempfile
from functools import cache
from pathlib import Path

import numpy as np

from render.events.levels import EXPRESSION
from render.sound.library import binding
from render.sound.sounds import MODELLED_VOLUME
from render.sound.synth import BLOCK, GAIN
from soundfonts.building import write_guitar
from soundfonts.guitar import HARMONIC, HARMONICS, STANDARD_TUNING, preset

RATE = 44_100
STRINGS = range(1, 7)
BANDS = (125, 250, 500, 1000, 2000, 4000)  # Hz, octaves (IEC 61260)
WINDOW = slice(round(0.02 * RATE), round(0.52 * RATE))


@cache
def bank() -> Path:
    folder = Path(tempfile.mkdtemp())
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    path = folder / "guitar.sf2"
    with path.open("wb") as file:
        write_guitar(file, STANDARD_TUNING, "Modelled guitar")
    return path


class Player:
    """FluidSynth as the project sets it: gain, volume, 44.1 kHz, no effects. One channel (0) unless told."""

    def __init__(self, path: Path):
        self._fs = fs = binding()
        settings = fs.new_fluid_settings()
        fs.fluid_settings_setnum(settings, b"synth.gain", GAIN)
        for name in (b"synth.reverb.active", b"synth.chorus.active", b"synth.lock-memory"):
            fs.fluid_settings_setint(settings, name, 0)
        self._synth = fs.new_fluid_synth(settings)
        self._font = fs.fluid_synth_sfload(self._synth, os.fsencode(path), 0)
        fs.fluid_synth_all_sounds_off.argtypes = [ctypes.c_void_p, ctypes.c_int]
        assert self._font >= 0
        for channel in range(16):
            fs.fluid_synth_cc(self._synth, channel, 7, MODELLED_VOLUME)
            fs.fluid_synth_cc(self._synth, channel, 11, EXPRESSION)

    def choose(self, bank: int, program: int, channel: int = 0) -> None:
        assert self._fs.fluid_synth_program_select(self._synth, channel, self._font, bank, program) == 0

    def on(self, key: int, velocity: int, channel: int = 0) -> None:
        self._fs.fluid_synth_noteon(self._synth, channel, key, velocity)

    def off(self, key: int, channel: int = 0) -> None:
        self._fs.fluid_synth_noteoff(self._synth, channel, key)

    def read(self, seconds: float) -> np.ndarray:
        """What sounds next, (frames, 2), in whole blocks."""
        sound = np.zeros((round(seconds * RATE / BLOCK) * BLOCK, 2), np.float32)
        at = sound.ctypes.data
        self._fs._fl.fluid_synth_write_float(self._synth, len(sound), at, 0, 2, at, 1, 2)
        return sound

    def hush(self) -> None:
        self._fs.fluid_synth_all_sounds_off(self._synth, -1)
        self.read(0.02)

    def note(self, key: int, velocity: int = 100, seconds: float = 0.56) -> np.ndarray:
        """One channel of a note that is held, from its onset."""
        self.on(key, velocity)
        sound = self.read(seconds)[:, 0]
        self.hush()
        return sound


@cache
def player() -> Player:
    return Player(bank())


def keys(string: int, tone: int) -> list[int]:
    """The keys that have a sample of their own."""
    return [STANDARD_TUNING[string - 1] + above for above in (HARMONICS if tone == HARMONIC else range(20))]


@cache
def played(tone: int, seconds: float = 0.56) -> np.ndarray:
    """Every string at every fret, shape (strings, frets, samples)."""
    synth, rows = player(), []
    for string in STRINGS:
        synth.choose(*preset(string, tone))
        rows.append([synth.note(key, seconds=seconds) for key in keys(string, tone)])
    return np.array(rows)


def partial(sound: np.ndarray, frequency: float, start: float, length: float) -> complex:
    """Amplitude and phase near a frequency (Hz) through a Hann window, from `start` for `length` seconds."""
    at = np.arange(round(start * RATE), round((start + length) * RATE))
    window = np.hanning(len(at))
    return complex((sound[at] * window * np.exp(-2j * np.pi * frequency * at / RATE)).sum() / window.sum() * 2)


def frequency_near(sound: np.ndarray, expected: float, start: float = 0.1, length: float = 0.25) -> float:
    """The frequency (Hz) of the partial near `expected`, from how far its phase runs in 0.1 s."""
    first, second = (partial(sound, expected, start + shift, length) for shift in (0.0, 0.1))
    return expected + float(np.angle(second / first)) / (2 * np.pi * 0.1)


def cents(frequency, reference) -> np.ndarray:
    return 1200 * np.log2(np.asarray(frequency) / np.asarray(reference))


def decibels(amplitude) -> np.ndarray:
    return 20 * np.log10(np.abs(amplitude) + 1e-12)


def k_weighted(sounds: np.ndarray) -> np.ndarray:
    """K-weighted level in dB from 20 to 520 ms, along the last axis: pyloudnorm's filters without its gate."""
    import pyloudnorm

    weighted = sounds
    for stage in pyloudnorm.Meter(RATE, filter_class="DeMan")._filters.values():
        weighted = stage.passband_gain * _filtered(stage.b, stage.a, weighted)
    return 10 * np.log10(np.square(weighted[..., WINDOW]).mean(axis=-1))


def _filtered(b, a, sounds):
    from scipy.signal import lfilter

    return lfilter(b, a, sounds, axis=-1)


def centroid(sounds: np.ndarray) -> np.ndarray:
    """Spectral centroid in Hz from 20 to 520 ms, weighed by amplitude (G. Peeters, IRCAM, 2004), on the last axis."""
    part = sounds[..., WINDOW]
    size = np.abs(np.fft.rfft(part * np.hanning(part.shape[-1])))
    frequency = np.fft.rfftfreq(part.shape[-1], 1 / RATE)
    return (size * frequency).sum(axis=-1) / size.sum(axis=-1)


def decay(sound: np.ndarray, band: float) -> float:
    """Seconds for 60 dB in an octave band, from a line through the level in the first 25 dB (as in ISO 3382)."""
    from scipy.signal import butter, sosfiltfilt

    sos = butter(4, [band / 2**0.5, band * 2**0.5], "band", fs=RATE, output="sos")
    step = RATE // 20
    whole = len(sound) // step * step
    filtered = sosfiltfilt(sos, sound.astype(float))[:whole].reshape(-1, step)[1:-1]
    level = decibels(np.sqrt(np.square(filtered).mean(axis=1)))
    used = np.flatnonzero(level > level[0] - 25)
    return -60 / float(np.polyfit(used / 20, level[used], 1)[0])
