"""The long and short of a compound beat, at 60 quarters a minute unless said."""

from __future__ import annotations

import numpy as np
import pytest
from displaced import BARS, codes, notes, ornamented
from hypothesis import given
from hypothesis import strategies as st
from support import score

from timing.plan import Plan
from timing.reading import perform
from timing.time.scale import Scale

LILT = {1: "c5:1 d5:.5 " * 2 * BARS, 2: "c3:1.5 " * 2 * BARS}
SIX_EIGHT = {"metre": (6, 8), "voices": LILT}


def ratios(table: np.ndarray, voice: int = 1) -> np.ndarray:
    """Long to short of every pair of a voice: onset to onset, the last one's to its end."""
    mine = table[table["voice"] == voice]
    lasts = np.diff(np.append(mine["onset"], mine["end"][-1]))
    return lasts[::2] / lasts[1::2]


@pytest.mark.parametrize(("given", "ratio"), [("yes", 1.6), (1.6, 1.6), (1, 1), (3, 3), ("no", 2)])
def test_pairs_are_played_at_their_ratio_and_the_beat_is_kept(given, ratio):
    table = notes({"rubato": [{"bars": "1-8", "long short": given}]}, **SIX_EIGHT)
    assert ratios(table) == pytest.approx([ratio] * 16, abs=1e-9)
    beats = table[table["voice"] == 2]
    assert beats["onset"] == pytest.approx(1.5 * np.arange(16), abs=1e-12)
    melody = table[table["voice"] == 1]
    assert melody["onset"][::2] == pytest.approx(beats["onset"], abs=1e-12)
    assert melody["end"][:-1] == pytest.approx(melody["onset"][1:], abs=1e-12)


@pytest.mark.parametrize(
    ("lower", "alone"),
    [
        ("c3:1.5", True),
        ("c3:1 e3:.5", True),  # the same pair
        ("c3:1 r:.5", True),
        ("r:1 e3:.5", True),
        ("c3:.5 e3:.5 g3:.5", False),  # running quavers
        ("c3:.75 e3:.75", False),
        ("c3:1 e3:.25 g3:.25", False),
        ("c3:.5 r:1", True),
    ],
)
def test_only_pairs_that_stand_alone_in_their_beat(lower, alone):
    voices = {1: LILT[1], 2: f"{lower} " * 2 * BARS}
    plan = {"rubato": [{"bars": "1-8", "long short": 1.6}]}
    assert ratios(notes(plan, metre=(6, 8), voices=voices)) == pytest.approx([1.6 if alone else 2.0] * 16)
    assert ("never-heard" in codes(plan, metre=(6, 8), voices=voices)) is not alone


def test_an_ornament_in_a_pair_leaves_it_alone():
    made = ornamented(score(bars=1, metre=(6, 8), voices={1: "c5:1 d5:.5 " * 2}), 0)
    plan = {"score": "made-by-hand.musicxml", "tempo": 60, "rubato": [{"bars": 1, "long short": 1.6}]}
    table = perform(made, Plan.model_validate(plan)).performance.notes
    onset = table["onset"][table["step"] == 0]
    assert onset == pytest.approx([0, 1.5 * 1.6 / 2.6, 1.5, 1.5 + 1.5 * 1.6 / 2.6])


@pytest.mark.parametrize("upper", ["c5:.5 d5:.5 e5:.5", "c5:.5 d5:1", "c5:1.5", "c5:.5 r:.5 d5:.5"])
def test_what_is_no_long_and_short_stays_as_it_is_written(upper):
    voices = {1: f"{upper} " * 2 * BARS, 2: LILT[2]}
    plan = {"rubato": [{"bars": "1-8", "long short": 1.6}]}
    np.testing.assert_array_equal(
        notes(plan, metre=(6, 8), voices=voices)["onset"], notes({}, metre=(6, 8), voices=voices)["onset"]
    )
    assert codes(plan, metre=(6, 8), voices=voices) == ["never-heard"]


@pytest.mark.parametrize(
    ("metre", "unit"), [((6, 8), 0.5), ((9, 8), 0.5), ((12, 8), 0.5), ((6, 16), 0.25), ((3, 8), None), ((3, 4), None)]
)
def test_only_compound_metres_have_pairs(metre, unit):
    step = unit or 0.5
    count = round(BARS * metre[0] / metre[1] * 4 / (3 * step))
    voices = {1: f"c5:{2 * step} d5:{step} " * count}
    table = notes({"rubato": [{"bars": "1-8", "long short": 1.6}]}, metre=metre, voices=voices)
    assert ratios(table) == pytest.approx([1.6 if unit else 2.0] * count)


def test_a_pickup_before_whole_beats():
    """A pickup of a quaver, and one of four: there the last three are a beat."""
    for pickup, words, expected in ((0.5, "d5:.5", []), (2.0, "d5:.5 c5:1 d5:.5", [1.6])):
        voices = {1: f"{words} {'c5:1 d5:.5 ' * 16}"}
        table = notes({"rubato": [{"bars": "0-8", "long short": 1.6}]}, metre=(6, 8), pickup=pickup, voices=voices)
        assert ratios(table[1:]) == pytest.approx([*expected, *[1.6] * 16])


def test_a_beat_that_the_range_cuts_stays_as_it_is_written():
    table = notes({"rubato": [{"bars": "1:2 - 2:5", "long short": 1.6}]}, **SIX_EIGHT)
    assert ratios(table) == pytest.approx([2, 1.6, 1.6, *[2] * 13])


@given(st.floats(1, 3), st.floats(30, 120), st.integers(40, 95), st.floats(0, 2))
def test_what_else_shapes_the_beat_stays_in_it(ratio, tempo, to, amount):
    """The ratio counts against the one there would be without it, as in a slowdown or with a fermata on the short."""
    plan = {
        "tempo": tempo,
        "slowing": [{"rallentando": "3-6", "to": f"{to}%"}],
        "holds": [{"fermata": "2:3", "length": "180%"}],
    }
    unequal = {"rubato": [{"bars": "1-8", "long short": ratio}]}
    scale = Scale(amount)
    without, with_it = notes(plan, scale, **SIX_EIGHT), notes(plan | unequal, scale, **SIX_EIGHT)
    assert ratios(with_it) / ratios(without) == pytest.approx((ratio / 2) ** amount, rel=1e-6)
    beats = without["voice"] == 2
    np.testing.assert_allclose(with_it["onset"][beats], without["onset"][beats], rtol=0, atol=1e-9)


def test_a_displaced_voice_meets_the_others_on_a_short_note():
    voices = {1: LILT[1], 2: "c3:1 e3:.5 " * 16}
    rubato = [{"bars": "1-8", "long short": 1.6}, {"bars": "1-4", "late": "100 ms", "for": "voice 1", "meets": "3:3"}]
    table = notes({"rubato": rubato}, metre=(6, 8), voices=voices)
    upper, lower = table[table["voice"] == 1], table[table["voice"] == 2]
    apart = upper["onset"] - lower["onset"]
    assert apart[[0, 9]] == pytest.approx([0, 0], abs=1e-12)
    assert apart[9:] == pytest.approx(np.zeros(23), abs=1e-12)
    assert np.all(apart[1:9] > 0)
    assert ratios(table, 2) == pytest.approx([1.6] * 16)


def test_two_ratios_for_one_beat_are_a_caution_and_the_later_counts():
    plan = {"rubato": [{"bars": "1-4", "long short": 1.5}, {"bars": "4-8", "long short": 1.8}]}
    assert codes(plan, **SIX_EIGHT) == ["rubato-overlap"]
    assert ratios(notes(plan, **SIX_EIGHT)) == pytest.approx([1.5] * 6 + [1.8] * 10)
