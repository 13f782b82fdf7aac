"""Tremolos on one note and between two, as they are played. Every beat is a quarter."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support import reading, score

from timing.performance import PLUCKED


@pytest.mark.parametrize(
    ("text", "stroke", "tempo", "count"),
    [
        ("c4:2", 0.5, 60, 4),  # one stroke: eighths
        ("c4:1", 0.25, 60, 4),
        ("c4:1", 0.125, 60, 8),
        ("c4:1", 0.125, 120, 8),  # 16 a second
        ("c4:1", 0.125, 150, 4),  # 32nds would be 20 a second
        ("c4:1.5", 0.5, 60, 3),
        ("c4:1", 1 / 64, 60, 16),  # unmeasured
        ("c4:0.5", 0.5, 60, 1),
    ],
)
def test_tremolos(text, stroke, tempo, count):
    made = score(1, voices={1: f"{text} e4:1"})
    made.notes["tremolo"][0] = stroke
    notes = reading({"tempo": tempo}, made).performance.notes
    length = float(text.partition(":")[2])
    assert notes["pitch"].tolist() == [60] * count + [64]
    assert notes["score_length"][:count] == pytest.approx(length / count)
    assert notes["end"][:count] == pytest.approx(notes["onset"][1:])


def by_turns(text: str = "c4:1 e4:1 g4:2", stroke: float = 0.25, plan: dict | None = None, **options):
    made = score(1, voices={1: text}, **options)
    made.notes["tremolo"][made.notes["offset"] < 2] = stroke
    made.notes["turn"] = np.select([made.notes["offset"] < 1, made.notes["offset"] < 2], [1, 2], 0)
    return reading({"tempo": 60} | (plan or {}), made)


@pytest.mark.parametrize(
    ("stroke", "tempo", "count"), [(0.5, 60, 4), (0.25, 60, 8), (0.125, 60, 16), (0.125, 150, 8), (1 / 64, 60, 32)]
)
def test_two_notes_take_turns_in_a_tremolo(stroke, tempo, count):
    notes = by_turns(stroke=stroke, plan={"tempo": tempo}).performance.notes
    assert notes["pitch"].tolist() == [60, 64] * (count // 2) + [67]
    assert notes["score_onset"].tolist() == pytest.approx([2 * n / count for n in range(count)] + [2])
    assert notes["score_length"][:count] == pytest.approx(2 / count)
    assert notes["beat"][:count] == pytest.approx(1 + notes["score_onset"][:count])
    assert notes["end"][:count] == pytest.approx(notes["onset"][1:])


@given(st.floats(1 / 64, 1.0), st.floats(20, 400))
def test_two_notes_fill_their_time_in_equal_turns(stroke, tempo):
    notes = by_turns(stroke=stroke, plan={"tempo": tempo}).performance.notes[:-1]
    assert notes["pitch"].tolist() == [60, 64] * (len(notes) // 2)
    assert notes["score_onset"].tolist() == pytest.approx([2 * n / len(notes) for n in range(len(notes))])
    assert notes["score_length"] == pytest.approx(2 / len(notes))
    assert np.diff(notes["onset"]).min(initial=1.0) >= 0.04 - 1e-9


def test_two_notes_that_have_no_time_for_turns_are_played_one_after_another():
    notes = by_turns("c4:1 e4:1 g4:2", 1.0).performance.notes
    assert notes[["pitch", "score_onset", "score_length"]].tolist() == [(60, 0, 1), (64, 1, 1), (67, 2, 2)]


def test_chords_take_turns_too_and_marks_tell_of_it():
    played = by_turns("c4+c5:1 e4+e5:1 g4:2", 0.5)
    notes = played.performance.notes
    heard = [sorted(notes["pitch"][notes["score_onset"] == at].tolist()) for at in (0, 0.5, 1)]
    assert heard == [[60, 72], [64, 76], [60, 72]]
    assert [(use.text, use.count) for use in played.marks] == [("tremolo between two notes", 2)]
    plain = by_turns("c4+c5:1 e4+e5:1 g4:2", 0.5, {"marks": {"ignore": "ornaments"}})
    assert len(plain.performance.notes) == 5


def test_on_a_guitar_a_tremolo_between_two_notes_lies_on_two_strings():
    notes = by_turns("e3:1 c4:1 g4:2", 0.25, program=24).performance.notes
    assert len(notes) == 9 and len(set(notes["string"][:8].tolist())) == 2
    assert set(notes["attack"][:8].tolist()) == {PLUCKED}


def test_every_stroke_of_a_tremolo_is_played_as_it_is_written():
    made = score(1, voices={1: "c4:1. e4:3"})
    made.notes["tremolo"][0] = 0.5
    notes = reading({}, made).performance.notes
    assert (notes["end"] - notes["onset"])[:2] == pytest.approx([0.25, 0.25])
