"""The strings of the modelled guitar against the physics of strings, measured in what FluidSynth plays.

N. Fletcher and T. Rossing, The Physics of Musical Instruments, §2.4 (a string plucked at the part β lacks the modes
that are multiples of 1 / β); H. Fletcher, JASA 36, 1964 (partials of a stiff string); ISO 16 (A4 = 440 Hz) and equal
temperament; SoundFont 2.04 §8.4.1 (velocity).
"""

from __future__ import annotations

import numpy as np
import pytest
from guitars import STRINGS, cents, decibels, frequency_near, keys, partial, played, player

from soundfonts.guitar import HARMONIC, LIGADO, NATURALE, PONTICELLO, STANDARD_TUNING, TASTO, TONES_IN_BANK, preset
from soundfonts.notes import PLUCKS

# J. Woodhouse, Acta Acustica 90, 2004, values from memory: bending stiffness EI in 1e-6 N m², mass in g/m
WOODHOUSE = {1: (130, 0.38), 2: (160, 0.52), 3: (310, 0.90), 4: (51, 1.95), 5: (40, 3.61), 6: (57, 6.24)}


def tempered(key) -> np.ndarray:
    return 440 * 2 ** ((np.asarray(key, float) - 69) / 12)


@pytest.mark.parametrize("tone", [NATURALE, TASTO, PONTICELLO, HARMONIC, LIGADO], ids=lambda tone: TONES_IN_BANK[tone])
def test_every_string_and_fret_is_in_tune(tone):
    for string, sounds in zip(STRINGS, played(tone), strict=True):
        pitch = tempered(keys(string, tone))
        measured = [frequency_near(sound, expected) for sound, expected in zip(sounds, pitch, strict=True)]
        assert np.abs(cents(measured, pitch)).max() < 2


@pytest.mark.parametrize("key", [40, 52, 64, 76])
def test_a_note_stays_in_tune_while_its_loop_rings(key):
    player().choose(*preset(0, NATURALE))
    sound = player().note(key, seconds=4.0)
    late = frequency_near(sound, float(tempered(key)), start=3.0)
    assert abs(cents(late, tempered(key))) < 2


@pytest.mark.parametrize("string", STRINGS)
@pytest.mark.parametrize("fret", [0, 7])
def test_partials_are_stretched_as_those_of_a_stiff_string(string, fret):
    stiffness, mass = WOODHOUSE[string]
    first = float(tempered(STANDARD_TUNING[string - 1] + fret))
    length = 0.65 * 2 ** (-fret / 12)
    tension = mass * 1e-3 * (2 * length * first) ** 2
    b = np.pi**2 * stiffness * 1e-6 / (tension * length**2)
    sound = played(PONTICELLO)[string - 1, fret]
    modes = np.arange(1, 8)
    stretched = modes * first * np.sqrt((1 + b * modes**2) / (1 + b))
    measured = [frequency_near(sound, expected) for expected in stretched]
    assert np.abs(cents(measured, stretched)).max() < 1.5


def pluck_of(tone: int, fret: int) -> float:
    return float(PLUCKS[tone].place(np.array([fret]))[0])


def levels(tone: int, string: int, fret: int, count: int) -> np.ndarray:
    first = float(tempered(STANDARD_TUNING[string - 1] + fret))
    sound = played(tone)[string - 1, fret]
    return decibels([partial(sound, frequency_near(sound, n * first), 0.02, 0.15) for n in range(1, count + 1)])


@pytest.mark.parametrize("tone", [NATURALE, TASTO], ids=["naturale", "sul tasto"])
@pytest.mark.parametrize(("string", "fret"), [(2, 0), (2, 3)] + [(s, f) for s in (4, 5, 6) for f in (0, 3, 7, 12)])
def test_partials_with_a_node_at_the_plucking_point_are_missing(tone, string, fret):
    """Against sul ponticello, so that the body counts for nothing; a finger's softness bends the whole smoothly."""
    # above, what sul tasto has left is near the last bit of its samples
    count = min(12, int(2_800 / tempered(STANDARD_TUNING[string - 1] + fret)))
    point, bridge = pluck_of(tone, fret), pluck_of(PONTICELLO, fret)
    modes = np.arange(1, count + 1)
    comb = decibels(np.hypot(np.sin(modes * np.pi * point), 0.05) / np.hypot(np.sin(modes * np.pi * bridge), 0.05))
    heard = levels(tone, string, fret, count) - levels(PONTICELLO, string, fret, count)
    smooth = np.polyfit(modes, heard - comb, 3)
    heard = heard - np.polyval(smooth, modes)
    assert np.corrcoef(heard, comb)[0, 1] > 0.98
    deepest = int(comb.argmin())
    assert int(heard.argmin()) == deepest
    assert heard[deepest] < np.median(heard) - 8


@pytest.mark.parametrize("velocity", [16, 32, 48, 64, 80, 96, 112, 127])
def test_velocity_is_forty_times_the_logarithm(velocity):
    player().choose(*preset(3, NATURALE))
    loud, soft = player().note(57, velocity=127), player().note(57, velocity=velocity)
    ratio = decibels(np.sqrt(np.mean(soft**2) / np.mean(loud**2)))
    assert ratio == pytest.approx(40 * np.log10(velocity / 127), abs=0.1)
