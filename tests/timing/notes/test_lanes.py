"""What sounds by itself."""

from __future__ import annotations

import pytest
from support import reading, score


def lanes(program: int, voices: dict[int, str], **plan):
    performance = reading(plan, score(2, voices=voices, program=program)).performance
    return performance, performance.lanes["name"].tolist()


def test_a_voice_each_where_there_are_no_strings():
    assert lanes(0, {1: "c5:4", 2: "c3:4"})[1] == ["Piano, voice 1", "Piano, voice 2"]
    assert lanes(0, {1: "c5:4"})[1] == ["Piano"]


def test_a_string_each_on_the_guitar():
    performance, names = lanes(24, {1: "e4:1 f4:1 b3:1 e4:1", 2: "e2:4"})
    assert names == ["Piano, string 1", "Piano, string 2", "Piano, string 6"]
    assert performance.lanes["string"].tolist() == [1, 2, 6]
    notes = performance.notes
    assert (performance.lanes["string"][notes["lane"]] == notes["string"]).all()


def test_what_no_string_can_take_still_sounds():
    performance, names = lanes(24, {1: "c2:4"})
    assert names == ["Piano, beyond the strings"]
    assert performance.notes["string"].tolist() == [0]


def test_a_string_is_one_lane_whatever_the_voices():
    performance, _ = lanes(24, {1: "e4:2 r:2", 2: "r:2 e4:2"})
    assert len(performance.lanes) == 1


def slides(*entries: dict, line: str, program: int = 40):
    made = score(4, voices={1: line}, program=program)
    return reading({"glissandi": list(entries)}, made).performance


def test_slides_far_apart_share_a_lane_and_near_ones_do_not():
    far = slides({"from": "1:1", "to": "1:2"}, {"from": "2:1", "to": "2:2"}, line="c4:1 e4:3 c4:1 e4:3")
    assert far.lanes["sliding"].sum() == 1
    near = slides({"from": "1:1", "to": "1:2"}, {"from": "1:2", "to": "1:3"}, line="c4:1 e4:1 g4:2")
    assert near.lanes["sliding"].sum() == 2


@pytest.mark.parametrize(("second", "lanes"), [(0.9, 2), (1.0, 1), (1.1, 1)])
def test_a_lane_is_free_half_a_second_after_the_end_of_its_slide(second, lanes):
    """The first slide is over after half a second."""
    line = f"c4:.5 e4:{second - 0.5} c4:.5 e4:2"
    at = 1 + second
    made = slides({"from": "1:1", "to": "1:1.5"}, {"from": f"1:{at}", "to": f"1:{at + 0.5}"}, line=line)
    assert made.lanes["sliding"].sum() == lanes


def test_a_part_whose_name_has_a_comma():
    made = score(1, voices={1: "c4:2 e4:2"}, program=40, parts=("Violin, first",))
    performance = reading({"glissandi": [{"from": "1:1", "to": "1:3"}]}, made).performance
    assert performance.lanes["name"].tolist() == ["Violin, first", "Violin, first, sliding"]


def test_a_lane_that_loses_all_its_notes_to_a_slide_is_not_kept():
    performance = slides({"from": "1:1", "to": "1:3", "arrive": "slurred"}, line="c4:2 e4:2")
    assert performance.lanes["name"].tolist() == ["Piano, sliding"]
    assert performance.notes["lane"].tolist() == [0, 0]
