"""Beats in which little moves last longer, at 60 quarters a minute unless said."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from laws import FEW
from planfiles import plan_of
from support import reading, score

from timing.plan import Plan
from timing.reading import perform
from timing.remarks import CannotDo
from timing.time.scale import Scale

# Eight bars: two of crotchets, two of quavers, two of semibreves, two of semiquavers.
VOICES = {1: " ".join(["c4:1"] * 8 + ["d4:0.5"] * 16 + ["e4:4"] * 2 + ["f4:0.25"] * 32)}
STILL = {"rubato": [{"bars": "1-8", "still beats": "5%"}]}


def lengths(plan: dict, scale: Scale | None = None, **options) -> np.ndarray:
    """Seconds of each beat."""
    made = score(**{"bars": 8, "voices": VOICES} | options)
    plan = Plan.model_validate({"score": "made-by-hand.musicxml", "tempo": 60} | plan)
    time = perform(made, plan, scale or Scale()).performance.time
    return np.diff(time.seconds(np.arange(round(made.bars["length"].sum()) + 1.0)))


def test_a_beat_with_half_as_many_notes_is_so_much_longer():
    made = lengths(STILL)
    crotchets, quavers, rests, semiquavers = made[3], made[12], made[18], made[28]
    assert crotchets / quavers == pytest.approx(1.05, rel=1e-6)
    assert quavers / semiquavers == pytest.approx(1.05, rel=1e-6)
    assert rests / crotchets == pytest.approx(1.05, rel=1e-6)  # where nothing begins: as if half a note did
    assert made.sum() == pytest.approx(32, abs=1e-9)


def test_the_pace_has_no_steps():
    """Between the middles of beats the log of the pace is a straight line."""
    plan = Plan.model_validate({"score": "made-by-hand.musicxml", "tempo": 60} | STILL)
    time = perform(score(8, voices=VOICES), plan).performance.time
    at = np.linspace(0.01, 31.99, 999)
    np.testing.assert_allclose(time.tempo(at - 1e-7), time.tempo(at + 1e-7), rtol=1e-6)
    low, middle, high = np.log(time.tempo(np.array([7.5, 8.0, 8.5])))
    assert middle == pytest.approx((low + high) / 2, abs=1e-12)
    assert high - low == pytest.approx(math.log(1.05), abs=1e-12)


def test_other_bars_are_left_alone_and_its_own_keep_their_length():
    made = lengths({"rubato": [{"bars": "2-5", "still beats": "10%"}]})
    assert made[:4] == pytest.approx(1, abs=1e-12)
    assert made[20:] == pytest.approx(1, abs=1e-12)
    assert made[4:20].sum() == pytest.approx(16, abs=1e-9)
    assert np.ptp(made[4:20]) > 0.1


def test_every_hearing_of_a_bar_is_alike():
    """The bars of an entry keep their length in all hearings together, so that no repeat is quicker than the first."""
    plan = Plan.model_validate(
        {"score": "made-by-hand.musicxml", "tempo": 60, "order": ["1-4", "1-4", "5-8"]} | STILL
    )
    time = perform(score(8, voices=VOICES), plan).performance.time
    beats = np.diff(time.seconds(np.arange(49.0)))
    assert beats[1:15] == pytest.approx(beats[17:31], abs=1e-12)
    assert beats.sum() == pytest.approx(48, abs=1e-9)


def test_a_part_of_a_beat_counts_as_a_whole_one():
    """A pickup of a quaver is as busy as a beat of two."""
    pickup = {1: "c4:0.5 " + " ".join(["c4:0.5"] * 16)}
    plan = Plan.model_validate({"score": "x.musicxml", "tempo": 60, "rubato": [{"bars": "0-2", "still beats": "9%"}]})
    time = perform(score(2, voices=pickup, pickup=0.5), plan).performance.time
    assert time.tempo(np.linspace(0, 8.5, 50)) == pytest.approx(60, abs=1e-9)


def test_in_six_eight_a_beat_has_three_quavers():
    voices = {1: "c4:1.5 d4:0.5 d4:0.5 d4:0.5 c4:1.5 c4:1.5"}
    plan = Plan.model_validate({"score": "x.musicxml", "tempo": 60, "rubato": [{"bars": "1-2", "still beats": "5%"}]})
    time = perform(score(2, (6, 8), voices=voices), plan).performance.time
    first, second = np.diff(time.seconds(np.array([0.7, 0.75, 2.2, 2.25])))[[0, 2]]
    assert first / second == pytest.approx(1.05 ** math.log2(3), rel=1e-2)


def tempi(plan: dict, at: list[float], *score_options, **options) -> np.ndarray:
    made = score(*score_options, **options)
    plan = Plan.model_validate({"score": "made-by-hand.musicxml", "tempo": 60} | plan)
    return perform(made, plan).performance.time.tempo(np.array(at))


def test_in_two_two_a_beat_is_a_minim():
    """A bar of minims, one of crotchets, and a note that is held over two bars."""
    voices = {1: "c4:2 c4:2 d4:1 d4:1 d4:1 d4:1 e4:8"}
    still = {"rubato": [{"bars": "1-4", "still beats": "5%"}]}
    minims, crotchets, held = tempi(still, [2.0, 6.0, 13.0], 4, (2, 2), voices=voices)
    assert crotchets / minims == pytest.approx(1.05, rel=1e-9)
    assert minims / held == pytest.approx(1.05, rel=1e-9)  # where nothing begins: as if half a note did


def test_in_six_eight_three_quavers_are_six_times_as_much_as_nothing():
    voices = {1: "c4:0.5 " * 6 + "d4:6"}
    still = {"rubato": [{"bars": "1-3", "still beats": "5%"}]}
    quavers, held = tempi(still, [1.5, 7.0], 3, (6, 8), voices=voices)
    assert quavers / held == pytest.approx(1.05 ** math.log2(6), rel=1e-9)


def test_no_beat_has_more_movement_than_sixteen_notes():
    """A bar of 16 notes in a beat, one of 32, and one of crotchets: four times doubled is 16."""
    voices = {1: "c4:0.0625 " * 64 + "d4:0.03125 " * 128 + "e4:1 " * 4}
    still = {"rubato": [{"bars": "1-3", "still beats": "5%"}]}
    sixteen, more, crotchets = tempi(still, [2.0, 6.0, 10.0], 3, voices=voices)
    assert more / sixteen == pytest.approx(1, rel=1e-9)
    assert sixteen / crotchets == pytest.approx(1.05**4, rel=1e-9)


def test_small_notes_after_a_note_are_no_movement():
    """They end the note before a rest: in that beat nothing begins, as without them."""
    bars = "c4:1 c4:1 c4:1 c4:1 d4:1 r:1 {small} d4:1 d4:1"
    plain, made = (score(2, voices={1: bars.format(small=small)}) for small in ("", "e4:0G d4:0G"))
    small = made.notes["grace"] > 0
    made.notes["after"], made.notes["offset"][small] = small, 1.0
    plan = Plan.model_validate({"score": "x.musicxml", "tempo": 60, "rubato": [{"bars": "1-2", "still beats": "9%"}]})
    with_them, without = (perform(each, plan).performance.time.seconds(np.arange(9.0)) for each in (made, plain))
    assert with_them == pytest.approx(without, abs=1e-12)


@FEW
@given(
    st.lists(st.sampled_from(["c4:1", "r:1", "c4:0.5 c4:0.5", "c4:0.25 c4:0.25 c4:0.5", "c4:0.125 " * 8]),
             min_size=16, max_size=16),
    st.floats(0, 30), st.integers(1, 4), st.integers(0, 3), st.floats(0, 2),
)  # fmt: skip
def test_its_bars_last_as_long_whatever_else_shapes_them(beats, amount, first, more, scale):
    last = min(first + more, 4)
    plan = {
        "slowing": [{"rallentando": "2:2 - 3:3", "to": "60%", "then": "a tempo"}],
        "holds": [{"fermata": "1:3"}],
        "phrases": [{"bars": "1-4", "arch": {"pace": "8%"}}],
    }
    still = {"rubato": [{"bars": f"{first}-{last}", "still beats": f"{amount:.2f}%"}]}
    options = {"bars": 4, "voices": {1: " ".join(beats)}}
    without, made = (lengths(each, Scale(amount=scale), **options) for each in (plan, plan | still))
    assert made.sum() == pytest.approx(without.sum(), abs=1e-8)
    assert made[: 4 * first - 4] == pytest.approx(without[: 4 * first - 4], abs=1e-9)
    ratio = np.log(made / without)[4 * first - 4 : 4 * last]
    assert np.ptp(ratio) <= 5.01 * scale * math.log1p(amount / 100) + 1e-9  # from half a note to 16 in a beat


def test_where_two_meet_the_later_one_counts():
    both = [{"bars": "1-8", "still beats": "5%"}, {"bars": "3-4", "still beats": "0%"}]
    made = reading({"rubato": both}, bars=8, voices=VOICES)
    assert [remark.code for remark in made.remarks] == ["rubato-overlap"]
    beats = np.diff(made.performance.time.seconds(np.arange(33.0)))
    assert beats[8:16] == pytest.approx(1, abs=1e-12)
    assert beats[:8].sum() + beats[16:].sum() == pytest.approx(24, abs=1e-9)


def test_a_caution_names_the_place_where_two_first_meet_and_what_is_met_there():
    """Half a beat of the first entry, and then the second one."""
    entries = [{"bars": bars, "still beats": "5%"} for bars in ("1-2", "3-4", "2:4.5 - 4")]
    (remark,) = reading({"rubato": entries}, bars=8, voices=VOICES).remarks
    assert (remark.bar, remark.beat) == (2, 4.5)
    assert remark.message.startswith("the rubato 2:4.5 - 4 overlaps the rubato 1-2: ")
    assert remark.message.endswith("where they meet only the later entry acts")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("rubato: [{bars: 2-4, still beats: 5}]", "write it with its unit, as in 5%"),
        ("rubato: [{bars: 2-4, still beats: 5%, for: melody}]", "all voices have the same beats"),
        ("rubato: [{bars: 2-4, still beats: 5%, keeps: end}]", "the bars together keep their length"),
        ("rubato: [{bars: 2-4, stil beats: 5%}]", "did you mean 'still beats'?"),
    ],
)
def test_faults_are_told_in_words(text, words, tmp_path):
    with pytest.raises(CannotDo) as refused:
        plan_of(tmp_path, text)
    assert words in " ".join(remark.message for remark in refused.value.remarks)
