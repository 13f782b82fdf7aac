"""Notes that are delayed, at 60 quarters a minute unless said."""

from __future__ import annotations

import numpy as np
import pytest
from displaced import BARS, TWO, UPPER, codes, notes, ornamented
from hypothesis import given
from hypothesis import strategies as st
from planfiles import SCORE, write
from support import score

from timing.plan import Plan
from timing.plan.planfile import read_plan
from timing.reading import perform
from timing.time.scale import Scale


def test_a_note_is_delayed_and_ends_where_it_would():
    table = notes({"holds": [{"delay": "2:1", "by": "60 ms", "for": "melody"}]})
    moved = table["onset"] - table["score_onset"]
    assert moved == pytest.approx(np.where((table["voice"] == 1) & (table["score_onset"] == 4), 0.06, 0), abs=1e-12)
    assert table["end"] == pytest.approx(table["score_onset"] + 1)


def test_a_chord_is_delayed_with_all_its_voices_and_its_roll():
    voices = {1: "c5+e5+g5:1~ c5:3", 2: "c3:1 c3:3"}
    strict, free = (notes(plan, bars=1, voices=voices) for plan in ({}, {"holds": [{"delay": "1:1"}]}))
    first = strict["score_onset"] == 0
    assert (free["onset"] - strict["onset"])[first] == pytest.approx([0.04] * 4)
    for column in ("onset", "end"):
        np.testing.assert_array_equal(free[column][~first], strict[column][~first])
    np.testing.assert_array_equal(free["end"], strict["end"])


@pytest.mark.parametrize("sign", ["g", "G"])
def test_small_notes_are_delayed_with_their_main_note(sign):
    voices = {1: f"c5:1 d5:1{sign} e5:1 c5:2"}
    strict, free = (notes(plan, bars=1, voices=voices) for plan in ({}, {"holds": [{"delay": "1:2", "by": "50 ms"}]}))
    assert free["onset"] - strict["onset"] == pytest.approx([0, 0.05, 0.05, 0])
    assert free["end"] - strict["end"] == pytest.approx([0, 0.05, 0, 0])


def test_small_notes_that_end_the_note_before_stay_with_it():
    made = score(bars=1, voices={1: "c5:1 d5:1g e5:1 c5:2"})
    made.notes["after"] = made.notes["grace"] > 0
    plan = Plan.model_validate({"score": "made-by-hand.musicxml", "tempo": 60, "holds": [{"delay": "1:2"}]})
    table = perform(made, plan).performance.notes
    assert table["onset"] == pytest.approx([0, 0.93, 1.04, 2])
    assert table["end"][:2] == pytest.approx([0.93, 1])


def test_an_ornament_is_delayed_as_a_whole():
    """Its first notes move together, the last one ends where it would."""
    made = ornamented(score(bars=1, voices={1: "c5:1 d5:1 e5:2"}), 1)
    base = {"score": "made-by-hand.musicxml", "tempo": 60}
    strict, free = (
        perform(made, Plan.model_validate(base | more)).performance.notes
        for more in ({}, {"holds": [{"delay": "1:2", "by": "50 ms"}]})
    )
    assert strict["step"].tolist() == [0, 0, 1, 2, 0]
    assert free["onset"] - strict["onset"] == pytest.approx([0, 0.05, 0.05, 0.05, 0])
    assert free["end"] - strict["end"] == pytest.approx([0, 0.05, 0.05, 0, 0])


def test_a_note_loses_half_of_its_length_at_most():
    plan = {"holds": [{"delay": "1:2", "by": "400 ms"}]}
    voices = {1: "c5:1 d5:.5. c5:.5 c5:2"}
    made = notes(plan, bars=1, voices=voices)
    assert (made["onset"][1], made["end"][1]) == pytest.approx((1.125, 1.25))
    assert codes(plan, bars=1, voices=voices) == ["delay-limited"]
    assert codes({"holds": [{"delay": "1:2", "by": "125 ms"}]}, bars=1, voices=voices) == []


def test_a_chord_is_delayed_as_one_though_one_of_its_notes_is_short():
    voices = {1: "c5:4", 2: "c3:.1 r:3.9"}
    made = notes({"holds": [{"delay": "1:1", "by": "100 ms"}]}, bars=1, voices=voices)
    assert made["onset"] == pytest.approx([0.05, 0.05])


@given(st.integers(1, 4), st.integers(0, 500), st.floats(0, 2), st.sampled_from([None, "melody", "bass"]))
def test_only_what_is_delayed_moves_and_never_beyond_its_end(beat, by, amount, voice):
    hold = {"delay": f"3:{beat}", "by": f"{by} ms"} | ({"for": voice} if voice else {})
    options = {"scale": Scale(amount), "voices": {1: UPPER * BARS, 2: TWO[2]}}
    strict, free = notes({}, **options), notes({"holds": [hold]}, **options)
    meant = (strict["score_onset"] == 7 + beat) & (strict["role"] == {"melody": 0, "bass": 2}.get(voice, -1))
    meant = meant if voice else strict["score_onset"] == 7 + beat
    moved = free["onset"] - strict["onset"]
    assert not np.any(moved[~meant])
    assert np.all((moved >= 0) & (moved <= by / 1000 * amount + 1e-12))
    main = strict["score_length"] > 0
    np.testing.assert_array_equal(free["end"][main], strict["end"][main])
    assert np.all(free["end"] - free["onset"] >= (strict["end"] - strict["onset"]) / 2 - 1e-12)


def test_a_delay_where_nothing_begins_is_told():
    voices = {1: "c5:2 d5:2", 2: "c3:1 " * 4}
    assert codes({"holds": [{"delay": "1:2", "for": "melody"}]}, bars=1, voices=voices) == ["never-heard"]
    assert codes({"holds": [{"delay": "1:2"}]}, bars=1, voices=voices) == []


def test_a_delay_is_laid_over_an_older_one_of_the_same_voice(tmp_path):
    write(tmp_path, f"{SCORE}holds: [{{delay: 5:1, by: 30 ms, for: melody}}, {{delay: 5:1, for: bass}}]", "base.yaml")
    write(tmp_path, "based on: base.yaml\nholds: [{delay: 5:1, by: 60 ms, for: melody}]", "own.yaml")
    first, second = read_plan(tmp_path / "own.yaml").holds
    assert (first.by, second.by, second.for_) == (0.06, None, "bass")
