"""The guitar's banks: their names, other tunings and plucking points, what is refused, and how notes end."""

from __future__ import annotations

import io

import numpy as np
import pytest
from guitars import RATE, Player, bank, centroid, cents, frequency_near, k_weighted, keys, played, player
from hypothesis import given, settings
from hypothesis import strategies as st

from soundfonts.building import write_guitar
from soundfonts.guitar import (
    FRETS,
    HARMONIC,
    HARMONICS,
    NATURALE,
    PLUCKING_POINTS,
    PONTICELLO,
    STANDARD_TUNING,
    TASTO,
    TONES_IN_BANK,
    brightness,
    guitar_bank,
    loudness,
    point_bank,
    preset,
)
from soundfonts.measures import centroid_of
from soundfonts.notes import PLUCKS, notes, pluck_at
from timing.remarks import CannotDo


@pytest.fixture(autouse=True)
def cache(tmp_path, monkeypatch):
    monkeypatch.setenv("LENTANDO_CACHE", str(tmp_path))
    return tmp_path


def test_a_bank_number_tells_string_and_tone():
    assert preset(0, NATURALE) == (0, 24)
    numbers = [preset(string, tone)[0] for tone in range(len(TONES_IN_BANK)) for string in range(8)]
    assert numbers == list(range(48))


def test_a_bank_is_built_with_progress_and_found_again(cache):
    told = []
    path = guitar_bank((62,), progress=lambda done, total: told.append((done, total)))
    assert path.parent == cache
    assert [done for done, _ in told] == list(range(1, told[-1][1] + 1))
    assert told[-1] == (4 * (FRETS + 1) + len(HARMONICS),) * 2
    assert guitar_bank([62], progress=lambda *_: pytest.fail("built again")) == path


def test_the_same_recipe_gives_the_same_bytes():
    first, second = io.BytesIO(), io.BytesIO()
    for file in (first, second):
        write_guitar(file, (50,), "Guitar")
    assert first.getvalue() == second.getvalue()


def test_dropped_d_and_a_seventh_string_are_in_tune(cache):
    synth = Player(guitar_bank((38, 33)))
    for string, pitch in ((1, 38), (2, 33), (0, 45)):
        synth.choose(*preset(string, NATURALE))
        expected = 440 * 2 ** ((pitch - 69) / 12)
        assert abs(cents(frequency_near(synth.note(pitch), expected), expected)) < 2


def test_a_plucking_point_is_rounded_and_darkens_away_from_the_bridge():
    assert point_bank((64,), 8.2) == point_bank((64,), 8.0)
    bright = []
    for cm in (3.0, 8.0, 16.0, 30.0):
        synth = Player(point_bank((64,), cm))
        synth.choose(*preset(1, NATURALE))
        bright.append(centroid(np.array([synth.note(key) for key in (64, 67, 71)])).mean())
    assert bright == sorted(bright, reverse=True)


def test_the_named_points_are_plucked_as_their_tones():
    for tone in (NATURALE, TASTO, PONTICELLO):
        cm = PLUCKING_POINTS[tone]
        assert pluck_at(cm).width == pytest.approx(PLUCKS[tone].width)
        assert pluck_at(cm).colour == pytest.approx(PLUCKS[tone].colour)


@pytest.mark.parametrize("cm", [0.9, 40.5, -3.0, float("nan"), float("inf")])
def test_a_point_off_the_string_is_refused(cm):
    with pytest.raises(CannotDo, match="1 to 40 cm"):
        point_bank(STANDARD_TUNING, cm)


@pytest.mark.parametrize("tuning", [(), (64,) * 8, (20,), (89,), (64, 200)])
def test_a_tuning_that_no_strings_could_stand_is_refused(tuning):
    for ask in (guitar_bank, lambda tuning: brightness(1, NATURALE, tuning, 0)):
        with pytest.raises(CannotDo, match="1 to 7 MIDI pitches"):
            ask(tuning)


@settings(max_examples=30, deadline=None)
@given(frets=st.lists(st.integers(0, 30), min_size=1, max_size=12), string=st.integers(1, 6), tone=st.integers(0, 5))
def test_what_is_known_of_a_note_does_not_depend_on_the_others(frets, string, tone):
    for measure in (brightness, loudness):
        together = measure(string, tone, STANDARD_TUNING, frets)
        assert together.shape == (len(frets),)
        assert together[-1] == pytest.approx(measure(string, tone, STANDARD_TUNING, [frets[-1]])[0], rel=1e-9)


def high_band(sound: np.ndarray, at: float, length: float = 0.006) -> float:
    """Energy above 6 kHz in a short Hann window: where a click would be heard."""
    part = sound[round((at - length / 2) * RATE) : round((at + length / 2) * RATE)]
    size = np.square(np.abs(np.fft.rfft(part * np.hanning(len(part)))))
    return float(size[np.fft.rfftfreq(len(part), 1 / RATE) > 6_000].sum())


@pytest.mark.parametrize("tone", range(len(TONES_IN_BANK)), ids=TONES_IN_BANK)
@pytest.mark.parametrize("string", [1, 4, 6])
@pytest.mark.parametrize("held", [0.08, 0.3])
def test_letting_go_does_not_click(tone, string, held):
    """Within 60 ms of the note's end no 6 ms hold more above 6 kHz than the note itself had in the 60 ms before."""
    player().choose(*preset(string, tone))
    player().on(keys(string, tone)[0], 100)
    before = player().read(held)[:, 0]
    player().off(keys(string, tone)[0])
    sound = np.concatenate([before, player().read(0.1)[:, 0]])
    player().hush()
    end = len(before) / RATE
    spans = (-0.055, -0.006), (-0.004, 0.06)
    before, after = (max(high_band(sound, end + shift) for shift in np.arange(*span, 0.002)) for span in spans)
    assert after < before * 1.5 + 1e-6


@pytest.mark.parametrize("string", [1, 3, 6])
def test_a_loop_is_not_heard_as_a_step(string):
    """Where the loop begins and wherever it comes round, the level goes on falling evenly and nothing clicks."""
    player().choose(*preset(string, NATURALE))
    sound = player().note(keys(string, NATURALE)[0], seconds=4.0)
    burst = np.array([high_band(sound, at) for at in np.arange(0.5, 3.9, 0.003)])
    assert burst[200:].max() <= burst[:200].max()
    step = RATE // 20
    level = 10 * np.log10(np.square(sound[: len(sound) // step * step]).reshape(-1, step).mean(axis=1))[6:]
    slope = np.diff(level)
    assert np.abs(slope - np.median(slope)).max() < 1.2


def test_harmonics_are_those_over_their_frets_and_round():
    """Touched at the twelfth fret: no fundamental, no third mode of the open string; rounder than the stopped note."""
    sound = played(HARMONIC)[5, 0]
    spectrum = np.abs(np.fft.rfft(sound[2_000:22_000] * np.hanning(20_000)))
    first = 440 * 2 ** ((40 - 69) / 12)
    there = [spectrum[round(n * first * 20_000 / RATE) + np.arange(-4, 5)].max() for n in range(1, 5)]
    assert there[0] < 0.03 * there[1]
    assert there[2] < 0.03 * max(there[1], there[3])


def test_the_whole_instrument_is_about_as_loud_as_one_string():
    player().choose(*preset(0, NATURALE))
    level = k_weighted(np.array([player().note(key) for key in range(40, 84)]))
    assert np.ptp(level) < 3.0


def test_a_bank_is_a_soundfont_of_moderate_size():
    assert 20e6 < bank().stat().st_size < 120e6


def test_what_is_known_of_a_note_is_worked_out_once(monkeypatch):
    """However it is asked for: with others, again, its brightness or its loudness."""
    worked_out = []

    def counted(string, open_pitch, frets, tone):
        worked_out.extend(frets.tolist())
        return notes(string, open_pitch, frets, tone)

    monkeypatch.setattr("soundfonts.guitar.notes", counted)
    tuning = (63, 58, 54)  # that no other test asks for
    first = brightness(2, TASTO, tuning, [3, 5, 3])
    assert worked_out == [3, 5] and first[0] == first[2] != first[1]
    assert brightness(2, TASTO, list(tuning), 5) == first[1]
    assert np.isfinite(loudness(2, TASTO, np.array(tuning), np.array([5, 3, 4]))).all()
    assert worked_out == [3, 5, 4]
    partials = notes(2, tuning[1], np.array([3, 5]), TASTO)
    assert np.array_equal(first[:2], centroid_of(partials))
