"""The level law, measured in rendered audio.

SoundFont 2.04 §8.4 (default modulators) and General MIDI 2 (CC7, CC11): each of velocity, volume and expression
attenuates by 40 log10(127 / value) dB, and the attenuations add. Measured with the bank TimGM6mb on programs that do
not filter by velocity: 0 piano, 19 organ, 24 nylon guitar, 40 violin, 73 flute.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from render.sound.synth import BLOCK, open_synth
from soundfonts.banks import standard_bank

RATE = 44_100


@cache
def level(program: int, velocity: int, volume: int = 127, expression: int = 127, seconds: float = 1.0) -> float:
    """dB of the beginning of one note, rendered by itself."""
    with open_synth(standard_bank(), RATE, 1) as synth:
        synth.program(0, program)
        synth.control(0, 7, volume)
        synth.control(0, 11, expression)
        synth.note_on(0, 67, velocity)
        sound = np.zeros((int(seconds * RATE) // BLOCK * BLOCK, 2), np.float32)
        synth.read(sound)
    return float(10 * np.log10(np.square(sound, dtype=np.float64).sum()))


@pytest.mark.parametrize("program", [0, 19, 24, 40, 73])
@pytest.mark.parametrize("value", [100, 64, 40, 20])
def test_each_of_the_three_and_all_together(program, value):
    expected = 40 * np.log10(value / 127)
    full = level(program, 127)
    assert level(program, value) - full == pytest.approx(expected, abs=0.15)
    assert level(program, 127, volume=value) - full == pytest.approx(expected, abs=0.15)
    assert level(program, 127, expression=value) - full == pytest.approx(expected, abs=0.15)
    quiet = level(program, 100, volume=100, expression=value) - full
    assert quiet == pytest.approx(expected + 2 * 40 * np.log10(100 / 127), abs=0.2)


def test_no_program_of_the_standard_bank_filters_by_velocity():
    """Some General MIDI banks do, and then a planned difference is not what is measured; this one follows the law."""
    expected = 40 * np.log10(48 / 120)
    off = [abs(level(program, 48, seconds=0.2) - level(program, 120, seconds=0.2) - expected) for program in range(128)]
    assert max(off) < 0.15, f"program {np.argmax(off)}"
