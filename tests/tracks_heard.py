"""Pitch and level of one partial along a sound, for the tests and pictures of slides."""

from __future__ import annotations

import numpy as np

from render.sound.stems import RATE


def analytic(wave: np.ndarray, low: float, high: float) -> np.ndarray:
    """The part of the sound between two frequencies, as a complex signal: its angle is phase, its size level."""
    spectrum = np.fft.fft(wave)
    frequency = np.fft.fftfreq(len(wave), 1 / RATE)
    edge = 12.0  # Hz; a soft edge does not ring
    keep = (1 + np.tanh((frequency - low) / edge)) * (1 - np.tanh((frequency - high) / edge)) / 4
    return np.fft.ifft(2 * spectrum * keep)


def cents(wave: np.ndarray, low: float, high: float, per: int = 441) -> np.ndarray:
    """Pitch of the fundamental in cents above 440 Hz, every `per` samples."""
    phase = np.unwrap(np.angle(analytic(wave, low, high)))
    hertz = np.diff(phase[::per]) * RATE / per / (2 * np.pi)
    return 1200 * np.log2(np.maximum(hertz, 1e-3) / 440)  # in silence there is no pitch


def decibels(wave: np.ndarray, low: float, high: float, per: int = 441) -> np.ndarray:
    return 20 * np.log10(np.abs(analytic(wave, low, high))[::per][:-1] + 1e-12)


def k_levels(sound: np.ndarray) -> np.ndarray:
    """(frames,) the K-weighted level in dB of (frames, 2) samples around each, over 30 ms: pyloudnorm's filters."""
    import pyloudnorm
    from scipy.signal import lfilter

    for stage in pyloudnorm.Meter(RATE, filter_class="DeMan")._filters.values():
        sound = stage.passband_gain * lfilter(stage.b, stage.a, sound, axis=0)
    window = np.hanning(round(0.03 * RATE))
    power = np.square(sound).sum(axis=1)
    return 10 * np.log10(np.convolve(power, window / window.sum(), "same") + 1e-20)


def risen(level: np.ndarray, start: float, end: float) -> float:
    """By how many dB a level with a value for each sample rises between two seconds: the line through it."""
    part = level[round(start * RATE) : round(end * RATE)]
    return float(np.polyfit(np.linspace(0, 1, len(part)), part, 1)[0])


def seconds_of(count: int, per: int = 441) -> np.ndarray:
    return (np.arange(count) + 0.5) * per / RATE


def planned(performance, second: np.ndarray) -> np.ndarray:
    """Semitones away from the struck note."""
    bends = performance.bends
    return np.interp(second, bends["second"], bends["semitones"])
