"""The same bars again and again."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from performances import performance
from support import reading, score

from timing.listening import heard
from timing.listening.excerpt import excerpt
from timing.listening.rounds import LONGEST, repeated
from timing.remarks import CannotDo

GRID = 64 / 44_100


def piece(**plan):
    slowing = [{"ritardando": "3:1 - 4:4", "to": "61%", "then": "a tempo"}]
    voices = {1: "c5:1 e5:1 g5:2 a5:1 g5:1 e5:2 c5:4 d5:1 e5:1 f5:2", 2: "c4:4 d4:4 e4:4 f4:3 g4:1"}
    more = {"voices": {"voice 1": {"level": "0 dB", "lead": "30 ms"}}, "slowing": slowing}
    return reading({"tempo": 71} | more | plan, score(4, voices=voices, program=40))


BARS = ["2-3", "3-4", "2:2 - 3:1", "4:3 - 4:4"]


@given(st.integers(1, 12), st.sampled_from([0.0, GRID, 0.05]), st.sampled_from(BARS))
def test_rounds_are_alike_and_in_time(times, grid, bars):
    """Each is the first, moved by one constant that is the length of the rounds before to half a line of the grid."""
    once, made = heard(piece(), bars=bars, grid=grid), heard(piece(), bars=bars, loop=times, grid=grid)
    lead = float(once.bars["length"][once.bars["pass"] == 0].sum())
    lasts = once.time.length - float(once.time.seconds(lead))
    assert len(made.notes) == times * len(once.notes)
    assert (np.diff(made.notes["onset"]) >= 0).all()
    bars_once = int((once.bars["pass"] > 0).sum())
    before = len(once.bars) - bars_once
    for number in range(times):
        first = before + number * bars_once
        own = made.notes[(made.notes["ordinal"] >= first) & (made.notes["ordinal"] < first + bars_once)]
        moved = own["onset"] - once.notes["onset"]
        assert np.ptp(moved) < 1e-9 and np.ptp(own["end"] - once.notes["end"] - moved) < 1e-9
        assert abs(moved[0] - number * lasts) <= grid / 2 + 1e-9
        if grid:
            assert abs(moved[0] / grid - round(moved[0] / grid)) < 1e-6
        assert np.array_equal(own["pitch"], once.notes["pitch"]) and np.array_equal(own["level"], once.notes["level"])


@given(st.integers(2, 9), st.sampled_from([0.0, GRID, 0.05]))
def test_one_time_map_holds_all_rounds(times, grid):
    once, made = heard(piece(), bars="3-4", grid=grid), heard(piece(), bars="3-4", loop=times, grid=grid)
    assert made.quarters == pytest.approx(once.bars["length"][0] * (once.bars["pass"][0] == 0) + times * 8)
    assert made.time.knots[-1] == pytest.approx(made.quarters)
    struck = made.notes[made.notes["voice"] == 2]  # nothing displaces them
    assert np.allclose(made.time.seconds(struck["score_onset"]), struck["onset"], rtol=0, atol=1e-9)
    assert np.allclose(np.append(0, np.cumsum(made.bars["length"]))[:-1], made.bars["start"], atol=1e-9)
    before = len(made.bars) - 2 * times
    assert made.bars["number"][before:].tolist() == [3, 4] * times


def test_a_note_that_comes_early_in_a_later_round_sounds_before_the_one_before_is_over():
    made = heard(piece(), bars="2-3", loop=2)
    second = made.notes[made.notes["ordinal"] >= 3]
    assert second["onset"].min() == pytest.approx(float(made.time.seconds(second["score_onset"].min())) - 0.03)


def test_strings_are_let_go_where_the_next_round_needs_them():
    made = reading({"tempo": 60, "strings": [{"bars": "1-2", "let ring": True}]}, score(2, program=24))
    performance = heard(made, loop=3)
    for string in np.unique(performance.notes["string"]):
        mine = np.sort(performance.notes[performance.notes["string"] == string], order="onset")
        rounds = np.searchsorted([8.0, 16.0], mine["onset"] + 1e-6)
        changes = np.flatnonzero(np.diff(rounds))
        assert len(changes) == 2 and (mine["end"][changes] <= mine["onset"][changes + 1] + 1e-9).all()


def test_slides_have_a_wheel_of_their_own_while_the_one_before_dies_away():
    entry = {"from": "1:1", "to": "1:3"}
    made = reading({"tempo": 120, "glissandi": [entry]}, score(1, voices={1: "e4:2 b4:2"}, program=40))
    performance = heard(made, bars="1:1 - 1:2", loop=5)
    assert performance.lanes["sliding"].sum() == 2
    lanes = performance.notes["lane"].tolist()
    assert lanes == [lanes[0], lanes[1]] * 2 + [lanes[0]] and lanes[0] != lanes[1]
    assert (performance.bends["lane"] == performance.notes["lane"][performance.bends["note"]]).all()
    for lane in (lanes[0], lanes[1]):
        mine = performance.bends[performance.bends["lane"] == lane]
        assert (np.diff(mine["second"]) >= 0).all()


@pytest.mark.parametrize(("seconds", "lanes"), [(0.9, 2), (1.0, 1), (1.1, 1)])
def test_a_slide_of_the_round_before_dies_away_for_half_a_second(seconds, lanes):
    """A note of half a second slides, and the round lasts as long as is said."""
    line = {1: f"e4:.5 b4:{seconds - 0.5} r:3"}
    made = reading({"tempo": 60, "glissandi": [{"from": "1:1", "to": "1:1.5"}]}, score(1, voices=line, program=40))
    assert heard(made, bars=f"1:1 - 1:{1 + seconds}", loop=4).lanes["sliding"].sum() == lanes


def test_one_round_is_the_performance_itself():
    made = performance([{}])
    assert repeated(made, 1) is made


def test_rounds_without_end_are_refused_with_the_number_that_is_possible():
    made = performance([{"score_length": 4.0}])  # four seconds
    most = int(LONGEST / 4)
    with pytest.raises(CannotDo, match=rf"1,000,000 rounds would be 1,111.1 hours of music: at most {most} "):
        repeated(made, 1_000_000)
    assert len(repeated(made, 1000).notes) == 1000


def test_a_blink_is_not_looped():
    made = excerpt(performance([{"score_onset": 0.0}, {"score_onset": 1.0}]), 0.0, 0.1)
    with pytest.raises(CannotDo, match=r"last 0\.10 seconds, too short"):
        repeated(made, 2)
