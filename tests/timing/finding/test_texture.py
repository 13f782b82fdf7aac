"""What sounds at a place, against counting it note by note; cadences and repetitions in it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support import score
from textures import two_voices

from timing.finding.cadences import cadence_facts, keynotes
from timing.finding.leading import leading_voice
from timing.finding.melody import Melody
from timing.finding.repetition import bar_facts, tune_facts
from timing.finding.texture import SILENT, Texture


def texture(made) -> Texture:
    return Texture(made, leading_voice(made))


@given(two_voices(), st.data())
def test_what_sounds_between_two_moments_is_what_counting_says(made, data):
    sounds = texture(made)
    last = float(sounds.end.max())
    begin = data.draw(st.floats(0, last - 0.2).map(lambda at: round(at, 2)))
    end = data.draw(st.floats(begin + 0.1, last).map(lambda at: round(at, 2)))
    overlap = np.maximum(np.minimum(sounds.end, end) - np.maximum(sounds.start, begin), 0.0)
    expected = np.bincount((sounds.pitch - sounds.home) % 12, overlap, 12)
    np.testing.assert_allclose(sounds.lasting(np.array([begin]), np.array([end]))[0], expected, atol=1e-5)
    heard = sounds.pitch[overlap > 1e-6]
    assert sounds.lowest(np.array([begin]), np.array([end]))[0] == (heard.min() if len(heard) else SILENT)
    over = sounds.end[sounds.start < begin - 1e-6]
    silence = max(begin - over.max(), 0.0) if len(over) else 0.0
    assert sounds.silence_before(np.array([begin]))[0] == pytest.approx(silence)
    attacks = np.unique(sounds.start[(sounds.start >= begin) & (sounds.start < end)])
    assert sounds.attacks(np.array([begin]), np.array([end]))[0] == len(attacks)


def test_a_note_of_next_to_no_length_is_lowest_only_where_it_stands():
    made = score(2, voices={1: "c5:4 c5:4", 2: "c3:4 c2:1 c3:3"})
    made.notes["length"][made.notes["pitch"] == 36] = 1e-9
    found = texture(made).lowest(np.array([0.0, 4.0, 5.0]), np.array([4.0, 5.0, 8.0]))
    assert found.tolist() == [48, 36, 48]


def test_a_melody_alone_is_not_accompanied():
    assert texture(score(4, voices={1: " ".join(["c4:1 d4:1"] * 8)})).accompanied == 0.0
    assert texture(score(4, voices={1: "c5:1 " * 16, 2: "c3:4 " * 4})).accompanied == pytest.approx(1.0)


# -- cadences


def closes(bass: str, melody: str = "e5:4 d5:4 c5:4 g4:4", sharps: int = 0) -> dict:
    """The facts after the third of four bars."""
    made = score(4, voices={1: melody, 2: bass})
    made = replace(made, notes=made.notes.copy())
    made.notes["pitch"] += sharps
    line = leading_voice(made)
    one, four = np.array([1.0]), np.array([4.0])
    pitches = line.melody.pitch[[[2], [3]]]
    return cadence_facts(Texture(made, line), 8 * one, 12 * one, pitches, four, one)


@pytest.mark.parametrize("up", [0, 1, 6])
def test_a_dominant_that_goes_to_its_tonic_is_a_full_close(up):
    found = closes("c3+g3:4 g2+b3+f4:4 c3+e4:4 c3+e4:4", sharps=up)
    for name in ("ends on the tonic", "ends on the tonic by its leading note", "ends as dominant to tonic"):
        assert found[name][0], name
    assert found["ends with tonic on top"][0] and not found["ends on the dominant"][0]


def test_without_its_leading_note_it_is_only_the_tonic():
    found = closes("c3+g3:4 f2+a3+f4:4 c3+e4:4 c3+e4:4")
    assert found["ends on the tonic"][0]
    assert not found["ends on the tonic by its leading note"][0] and not found["ends as dominant to tonic"][0]


@pytest.mark.parametrize("up", [0, 5])
def test_a_phrase_that_rests_on_the_dominant_is_a_half_close(up):
    found = closes("c3+e4:4 c3+e4:4 g2+b3:4 c3+e4:4", "e5:4 c5:4 d5:4 c5:4", sharps=up)
    assert found["ends on the dominant"][0] and not found["ends on the tonic"][0]
    assert found["next as dominant to tonic"][0]


def test_a_phrase_may_begin_in_unison():
    assert closes("c3:4 g3:4 c4:4 g3:4")["next in unison"][0]
    assert not closes("c3:4 g3:4 c4:4 g3+b3:4")["next in unison"][0]


@pytest.mark.parametrize("tonic", range(12))
def test_a_scale_over_its_tonic_is_in_its_key(tonic):
    scale = "c5:1 d5:1 e5:1 f5:1 g5:1 a5:1 b5:1 c6:1 b5:1 a5:1 g5:1 f5:1 e5:1 d5:1 b4:1 c5:1"
    made = score(4, voices={1: scale, 2: "c3+e4+g4:8 g3+b3:4 c3+g3:4"})
    made.notes["pitch"] += tonic - 5
    sounds = texture(made)
    found = keynotes(sounds, np.array([8.0]), np.array([4.0]))[0]
    assert (found + sounds.home) % 12 == (tonic - 5) % 12


# -- repetition


def tune(pitches) -> Melody:
    steps = np.full(len(pitches), 0.25)
    onset = np.arange(len(pitches)) / 4
    return Melody(onset, steps, onset % 1.0, np.array(pitches))


def test_a_tune_that_comes_back_begins_just_there():
    first = [60, 62, 64, 65, 67, 69, 71, 72]
    between = [70, 61, 63]
    found = tune_facts(tune([59, *first, *between, *(pitch + 5 for pitch in first), 60]))
    back = 1 + len(first) + len(between)
    # seven intervals are the same, and the step out of the eighth note is not
    assert not found["tune heard before"].any()
    found = tune_facts(tune([59, *first, 60, *between, *(pitch + 5 for pitch in [*first, 60]), 80]))
    assert np.flatnonzero(found["tune heard before"]).tolist() == [back + 1]
    assert np.flatnonzero(found["tune heard twice"]).tolist() == [1, back + 1]


def test_a_short_melody_has_no_tunes_to_hear_again():
    assert all(not values.any() and len(values) == 3 for values in tune_facts(tune([60, 62, 64])).values())


FIGURE = "c3:0.5 g3:0.5 e3:0.5 g3:0.5 " * 2
CHORDS = "c3+e3:2 d3+f3:2 "


def facts_of_bars(melody: str, under: str, bars: int) -> dict:
    made = score(bars, voices={1: melody, 2: under})
    line = leading_voice(made)
    return bar_facts(Texture(made, line), line, np.arange(bars), np.full(bars, 4.0))


def test_an_accompaniment_goes_on_until_it_changes():
    found = facts_of_bars("c5:1 d5:1 e5:2 " * 6, FIGURE * 3 + CHORDS * 3, 6)
    assert found["figure goes on"].tolist() == [False, True, True, False, True, True]
    assert found["figure as two bars ago"].tolist() == [False, False, True, False, False, True]
    assert found["rhythm goes on"].tolist() == [False, True, True, False, True, True]


def test_two_bars_that_come_back_higher_are_heard_twice():
    melody = "c5:1 e5:1 g5:2 f5:4 b4:2 d5:2 d5:1 f#5:1 a5:2 g5:4 c5:4"
    found = facts_of_bars(melody, "c3:4 c3:4 g3:2 b3:2 d3:4 d3:4 e3:4", 6)
    assert found["bars heard twice"].tolist() == [True, False, False, True, False, False]
