"""Loudness against ITU-R BS.1770-4, EBU Tech 3341 and pyloudnorm."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from laws import FEW

from render.sound.loudness import Loudness, k_weighting

# ITU-R BS.1770-4, tables 1 and 2: b0 b1 b2 and 1 a1 a2 at 48 kHz
HEAD = ((1.53512485958697, -2.69169618940638, 1.19839281085285), (1.0, -1.69065929318241, 0.73248077421585))
HIGH_PASS = ((1.0, -2.0, 1.0), (1.0, -1.99004745483398, 0.99007225036621))

# EBU Tech 3341, table 1 (from memory, the answers from the text): stereo sines of 1 kHz, (dBFS, seconds) each
EBU_CASES = {
    1: ([(-23, 20)], -23.0),
    2: ([(-33, 20)], -33.0),
    3: ([(-36, 10), (-23, 60), (-36, 10)], -23.0),
    4: ([(-72, 10), (-36, 10), (-23, 60), (-36, 10), (-72, 10)], -23.0),
    5: ([(-26, 20), (-20, 20.1), (-26, 20)], -23.0),
}


def sine(level: float, seconds: float, *, rate: int, frequency: float = 1000.0, channels: int = 2) -> np.ndarray:
    wave = 10 ** (level / 20) * np.sin(2 * np.pi * frequency * np.arange(round(seconds * rate)) / rate)
    return np.column_stack([wave, wave * (channels == 2)]).astype(np.float32)


def measured(signal: np.ndarray, rate: int, block: int = 65_536) -> float | None:
    loudness = Loudness(rate)
    for start in range(0, len(signal), block):
        loudness.feed(signal[start : start + block])
    return loudness.value()


def test_the_weighting_is_the_standards_own():
    for made, standard in zip(k_weighting(48_000), (HEAD, HIGH_PASS), strict=True):
        for ours, theirs in zip(made, standard, strict=True):
            assert ours == pytest.approx(theirs, abs=1e-8)


@pytest.mark.parametrize("rate", [44_100, 48_000])
def test_a_full_sine_in_one_channel(rate):
    """BS.1770-4, annex 1: 0 dBFS, 997 Hz in the left, centre or right channel reads -3.01 LKFS."""
    signal = sine(0, 5, rate=rate, frequency=997.0, channels=1)
    assert measured(signal, rate) == pytest.approx(-3.01, abs=0.01)


@pytest.mark.parametrize("rate", [44_100, 48_000])
@pytest.mark.parametrize("case", EBU_CASES)
def test_ebu_tech_3341(case, rate):
    parts, expected = EBU_CASES[case]
    signal = np.concatenate([sine(level, seconds, rate=rate) for level, seconds in parts])
    assert measured(signal, rate) == pytest.approx(expected, abs=0.1)


# whole steps of 100 ms: pyloudnorm also counts an unfinished gating block at the end, which the standard leaves out
@given(seed=st.integers(0, 2**32 - 1), tenths=st.integers(5, 40), tilt=st.floats(0, 2), level=st.floats(-40, 0))
@FEW
def test_coloured_noise_as_pyloudnorm_hears_it(seed, tenths, tilt, level):
    import pyloudnorm

    count = tenths * 4_410
    spectrum = np.fft.rfft(np.random.default_rng(seed).standard_normal((count, 2)), axis=0)
    spectrum /= np.maximum(np.arange(len(spectrum)), 20)[:, None] ** (tilt / 2)
    signal = np.fft.irfft(spectrum, count, axis=0)
    signal = (signal / np.abs(signal).max() * 10 ** (level / 20)).astype(np.float32)
    theirs = pyloudnorm.Meter(44_100, filter_class="DeMan").integrated_loudness(signal.astype(np.float64))
    assert measured(signal, 44_100) == pytest.approx(theirs, abs=0.02)


@given(st.lists(st.integers(1, 150_000), min_size=1, max_size=6))
@FEW
def test_it_does_not_matter_how_the_samples_are_cut(sizes):
    signal = np.random.default_rng(1).standard_normal((max(sum(sizes), 40_000), 2)).astype(np.float32) * 0.1
    loudness = Loudness(44_100)
    for part in np.split(signal, np.cumsum(sizes)):
        loudness.feed(part)
    assert loudness.value() == pytest.approx(measured(signal, 44_100), abs=1e-3)


@pytest.mark.parametrize("signal", [np.zeros((0, 2)), np.zeros((99_999, 2)), sine(-20, 0.39, rate=44_100)])
def test_silence_and_what_is_shorter_than_a_gating_block_have_no_loudness(signal):
    assert measured(signal.astype(np.float32), 44_100) is None
