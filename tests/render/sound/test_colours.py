"""Dark, plain and bright, measured in rendered notes of the bank TimGM6mb and against scipy and pyloudnorm."""

from __future__ import annotations

import warnings
from functools import cache

import numpy as np
import pyloudnorm
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.signal import bilinear, lfilter

from render.events.presets import BRIGHT, DARK, PLAIN, colours
from render.sound.colours import CORNER, DEPTH, GAINS, SLOPE, Shelf, balance, high_shelf
from render.sound.loudness import k_weighting
from render.sound.synth import BLOCK, open_synth
from soundfonts.banks import standard_bank
from timing.performance import TONES
from timing.remarks import CannotDo

RATE = 44_100

# Three pitches in the usual range of each program of General MIDI (common practice, from memory).
USUAL = {
    "keyed": {**dict.fromkeys(range(8), (36, 60, 84)), **dict.fromkeys(range(16, 24), (36, 60, 84))},
    "bowed": {40: (57, 72, 91), 41: (50, 64, 81), 42: (38, 52, 67), 43: (29, 40, 52), 44: (48, 64, 84)},
    "ensembles": dict.fromkeys(range(48, 52), (48, 62, 76)),
    "brass": {
        56: (57, 69, 81), 57: (43, 55, 67), 58: (31, 43, 55), 59: (57, 69, 79), 60: (43, 57, 70), 61: (50, 62, 74),
        62: (50, 62, 74), 63: (50, 62, 74),
    },
    "reeds": {
        64: (58, 70, 82), 65: (51, 63, 75), 66: (46, 58, 70), 67: (39, 50, 62), 68: (60, 72, 84), 69: (54, 66, 76),
        70: (36, 48, 62), 71: (52, 65, 80),
    },
    "pipes": {  # the bank has no whistle (78) above its second octave
        72: (76, 86, 98), 73: (62, 76, 91), 74: (62, 74, 86), 75: (60, 72, 86), 76: (50, 62, 74), 77: (52, 64, 76),
        78: (72,), 79: (60, 70, 80),
    },
    "plucked": {**dict.fromkeys(range(24, 32), (43, 57, 72)), 45: (48, 64, 84), 46: (36, 60, 84)},
    "voices": dict.fromkeys(range(52, 55), (48, 60, 74)),
}  # fmt: skip
PROGRAMS = [(program, pitches) for family in USUAL.values() for program, pitches in family.items()]
every_program = pytest.mark.parametrize(
    ("program", "pitches"),
    PROGRAMS,
    ids=[f"{family} {program}" for family, programs in USUAL.items() for program in programs],
)


@cache
def played(program: int, *pitches: int, velocity: int = 64) -> list[np.ndarray]:
    """A second of each note by itself, as a channel with one preset plays it."""
    sounds = [np.zeros((RATE // BLOCK * BLOCK, 2), np.float32) for _ in pitches]
    with open_synth(standard_bank(), RATE, 1) as synth:
        synth.program(0, program)
        for pitch, sound in zip(pitches, sounds, strict=True):
            synth.note_on(0, pitch, velocity)
            synth.read(sound)
            synth.control(0, 120, 0)  # all sound off
            synth.read(np.empty((BLOCK, 2), np.float32))
    return sounds


def coloured(sound: np.ndarray, colour: int) -> np.ndarray:
    return Shelf(RATE, GAINS[colour]).feed(sound)


# -- what the words mean


def test_every_tone_is_a_colour():
    meant = dict(zip(TONES, colours(np.arange(len(TONES))).tolist(), strict=True))
    assert meant == {
        "naturale": PLAIN, "sul tasto": DARK, "sul ponticello": BRIGHT, "dark": DARK, "plain": PLAIN, "bright": BRIGHT,
    }  # fmt: skip


def test_colours_of_a_whole_column():
    tones = np.array([TONES.index(tone) for tone in ("bright", "plain", "sul tasto")] * 1000, np.int8)
    assert np.array_equal(colours(tones), [BRIGHT, PLAIN, DARK] * 1000)


# -- the shelf

shelves = st.tuples(st.floats(-24, 24), st.floats(200, 8000), st.floats(0.3, 1))


@given(shelves, st.sampled_from([22_050, 44_100, 48_000, 96_000]))
def test_the_coefficients_are_those_of_the_analogue_shelf(shelf, rate):
    """The cookbook's H(s) = A (A s² + s √A/Q + 1) / (s² + s √A/Q + A), made digital by scipy."""
    gain, corner, slope = shelf
    a = 10 ** (gain / 40)
    damping = np.sqrt(a) * np.sqrt((a + 1 / a) * (1 / slope - 1) + 2)
    scale = 1 / (2 * np.tan(np.pi * corner / rate))
    b, poles = bilinear([a * a, a * damping, a], [1, damping, a], fs=scale)
    ours = high_shelf(rate, gain, corner, slope)
    assert np.allclose(ours, (b / poles[0], poles / poles[0]), rtol=1e-9, atol=1e-9)


@st.composite
def chunked(draw):
    """A signal and where it is cut."""
    frames = draw(st.integers(1, 20_000))
    noise = np.random.default_rng(draw(st.integers(0, 2**32 - 1))).uniform(-1, 1, (frames, 2))
    return noise.astype(np.float32), sorted(draw(st.lists(st.integers(0, frames), max_size=12)))


@given(shelves, chunked())
def test_the_shelf_is_the_recursive_filter_however_the_stream_is_cut(shelf, signal):
    sound, cuts = signal
    made = Shelf(RATE, *shelf)
    rest = np.zeros((4096, 2), np.float32)  # what still sounds after the last chunk
    out = np.concatenate([made.feed(chunk) for chunk in (*np.split(sound, cuts), rest)])
    exact = lfilter(*high_shelf(RATE, *shelf), np.concatenate([sound, rest]), axis=0)
    assert np.abs(out - exact).max() < 1e-5 * max(1, np.abs(exact).max())


@given(chunked())
def test_the_cuts_are_not_heard(signal):
    sound, cuts = signal
    whole, cut = Shelf(RATE, DEPTH), Shelf(RATE, DEPTH)
    parts = [cut.feed(chunk) for chunk in np.split(sound, cuts)]
    assert [len(part) for part in parts] == [len(chunk) for chunk in np.split(sound, cuts)]
    assert np.abs(np.concatenate(parts) - whole.feed(sound)).max() < 1e-5


@pytest.mark.parametrize("shelf", [(10.0, 1000.0, 1.0), (-10.0, 1000.0, 1.0), (DEPTH, CORNER, SLOPE)])
def test_measured_gain(shelf):
    """Nothing at 100 Hz, half (in dB) at the corner, all of it at 10 kHz; a gentle slope is not quite there yet."""
    gain, corner, slope = shelf
    time = np.arange(RATE) / RATE
    for frequency, expected in ((100.0, 0.0), (corner, gain / 2), (10_000.0, gain)):
        tone = np.sin(2 * np.pi * frequency * time)
        out = Shelf(RATE, *shelf).feed(np.column_stack([tone, tone]).astype(np.float32))[RATE // 2 :]
        measured = 10 * np.log10(np.square(out, dtype=float).mean(axis=0) / np.square(tone[RATE // 2 :]).mean())
        assert measured == pytest.approx(expected, abs=0.02 if slope == 1 or frequency == corner else 0.5)


def test_nothing_is_delayed_and_the_sides_stay_apart():
    click = np.zeros((1000, 2), np.float32)
    click[100, 0] = 1
    out = Shelf(RATE, DEPTH).feed(click)
    assert np.abs(out[:100]).max() < 1e-6 and np.argmax(np.abs(out[:, 0])) == 100
    assert np.abs(out[:, 1]).max() < 1e-6


def test_up_and_down_are_each_others_undoing():
    (sound,) = played(0, 60)
    there_and_back = Shelf(RATE, -DEPTH).feed(Shelf(RATE, DEPTH).feed(sound))
    assert np.abs(there_and_back - sound).max() < 1e-5


# -- the colours heard


def centroid(sound: np.ndarray) -> float:
    """The mean frequency weighed by amplitude (G. Peeters, "A large set of audio features for sound description",
    IRCAM, 2004), from 20 to 520 ms after the onset. Hann's window: the cut would have partials of its own."""
    windowed = sound[882:22_932] * np.hanning(22_050)[:, None]
    heard = np.sqrt((np.abs(np.fft.rfft(windowed, axis=0)) ** 2).sum(axis=1))
    return float(np.fft.rfftfreq(22_050, 1 / RATE) @ heard / heard.sum())


def brightness(program: int, pitches: tuple[int, ...], colour: int) -> np.ndarray:
    """The centroid of the coloured notes over that of the plain ones."""
    plain, after = (
        np.array([centroid(each(sound)) for sound in played(program, *pitches)])
        for each in (lambda sound: sound, lambda sound: coloured(sound, colour))
    )
    return after / plain


# Nearly all of their partials lie on one side of the shelf, or there are hardly any: electric piano, percussive organ,
# synthetic voice, tuba, soprano saxophone, piccolo.
FEW_TO_MOVE = {4, 17, 54, 58, 64, 72}


@every_program
def test_dark_is_darker_and_bright_is_brighter(program, pitches):
    dark, bright = brightness(program, pitches, DARK), brightness(program, pitches, BRIGHT)
    assert dark.max() <= 0.95 and bright.min() >= 1.05
    most, least = (0.91, 1.14) if program in FEW_TO_MOVE else (0.85, 1.2)
    assert np.median(dark) <= most and np.median(bright) >= least


@pytest.mark.parametrize("family", USUAL)
def test_every_family_is_moved_about_as_far_as_a_plucking_point_moves_a_guitar(family):
    dark, bright = (
        np.median(np.concatenate([brightness(*each, colour) for each in USUAL[family].items()]))
        for colour in (DARK, BRIGHT)
    )
    assert 0.5 < dark <= 0.8 and 1.35 <= bright < 1.8


# -- as loud as before


def weighted(sound: np.ndarray) -> float:
    """K-weighted level of all of a sound in dB, without gates."""
    for b, a in k_weighting(RATE):
        sound = lfilter(b, a, sound, axis=0)
    return float(10 * np.log10(np.square(sound).sum()))


def loudness(sound: np.ndarray) -> float:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # the second gate may find nothing to average
        return float(pyloudnorm.Meter(RATE).integrated_loudness(sound.astype(float)))


def unbalanced(measure, program: int, pitches: tuple[int, ...], colour: int, seconds: float, velocity=64) -> np.ndarray:
    """What is left of the change of level, in dB, when the balance has been given back."""
    told = balance(standard_bank(), program, np.array(pitches), colour)
    notes = [sound[: int(seconds * RATE)] for sound in played(program, *pitches, velocity=velocity)]
    return np.array([measure(coloured(note, colour)) - measure(note) for note in notes]) - told


@every_program
@pytest.mark.parametrize("colour", [DARK, BRIGHT])
def test_the_balance_gives_back_what_the_shelf_changes(program, pitches, colour):
    assert np.abs(unbalanced(weighted, program, pitches, colour, 0.75)).max() < 0.1
    assert np.abs(unbalanced(weighted, program, pitches, colour, 0.75, velocity=112)).max() < 0.1


# Their first moment is much brighter than what follows, and the gates of the loudness weigh it otherwise: an
# electric piano, percussive organ, clean and muted electric guitar, blown bottle.
BRIGHT_AT_FIRST = {5, 17, 27, 28, 76}


@every_program
@pytest.mark.parametrize("colour", [DARK, BRIGHT])
def test_a_whole_second_is_as_loud_as_before(program, pitches, colour):
    """ITU-R BS.1770-4 as pyloudnorm measures it, over longer than what the balance has tried."""
    left = np.abs(unbalanced(loudness, program, pitches, colour, 1.0))
    assert left.max() < (2.0 if program in BRIGHT_AT_FIRST else 0.7)


def test_the_balance_is_that_of_each_pitch():
    bank = standard_bank()
    told = balance(bank, 40, np.array([72, 57, 72, 91]), BRIGHT)
    assert told[0] == told[2] and told[1] < told[0] < told[3]
    assert told[:1] == pytest.approx(balance(bank, 40, np.array([72]), BRIGHT), abs=0.01)
    assert not balance(bank, 40, np.array([72, 57]), PLAIN).any()
    assert len(balance(bank, 40, np.array([], int), DARK)) == 0


def test_a_note_that_the_bank_does_not_have_needs_no_balance():
    assert not played(78, 88)[0].any()
    assert balance(standard_bank(), 78, np.array([88]), DARK).tolist() == [0]


def test_a_bank_that_is_none_is_refused(tmp_path):
    (tmp_path / "none.sf2").write_bytes(b"RIFF" + bytes(100))
    with pytest.raises(CannotDo, match=r"none\.sf2"):
        balance(tmp_path / "none.sf2", 40, np.array([60]), DARK)
