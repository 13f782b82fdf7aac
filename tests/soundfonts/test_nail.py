"""The noise with which a pluck begins: how strong it is, where it lies, and that it is the same each time."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from laws import FEW

from soundfonts.nail import burst

RATE = 44_100
PITCHES, COLOURS = st.floats(21, 107), st.floats(0.4, 2.5)
SEEDS = st.tuples(st.integers(0, 5), st.integers(1, 7), st.integers(0, 28))


def energy(sound: np.ndarray) -> float:
    return float(np.square(sound).sum())


@FEW
@given(pitch=PITCHES, colour=COLOURS, seed=SEEDS)
def test_a_burst_is_over_at_once_and_lies_where_nails_are_heard(pitch, colour, seed):
    noise = burst(RATE, pitch, colour, seed)
    assert energy(noise[: RATE // 200]) > 0.9 * energy(noise)  # 5 ms
    assert energy(noise[RATE // 50 :]) < 1e-4 * energy(noise)
    size, frequency = np.square(np.abs(np.fft.rfft(noise))), np.fft.rfftfreq(len(noise), 1 / RATE)
    inside = (frequency > 3_000) & (frequency < 11_000)
    assert size[inside].sum() > 0.9 * size.sum()


@FEW
@given(pitch=PITCHES, higher=st.floats(0, 40), colour=COLOURS, brighter=st.floats(1, 3), seed=SEEDS)
def test_high_notes_and_bright_plucks_are_noisier(pitch, higher, colour, brighter, seed):
    """In the measure of the colour; and never by more than 36 dB below the note's first tenth of a second."""
    noise = energy(burst(RATE, pitch, colour, seed))
    assert energy(burst(RATE, pitch + higher, colour, seed)) >= noise * (1 - 1e-9)
    assert energy(burst(RATE, pitch, colour * brighter, seed)) == pytest.approx(noise * brighter**2)
    assert noise <= 10**-3.6 * colour**2


@FEW
@given(pitch=PITCHES, seed=SEEDS, other=SEEDS)
def test_each_pluck_has_its_own_noise_and_keeps_it(pitch, seed, other):
    noise = burst(RATE, pitch, 1.0, seed)
    assert np.array_equal(noise, burst(RATE, pitch, 1.0, seed))
    assert np.array_equal(noise, burst(RATE, pitch, 1.0, other)) == (seed == other)
