"""Bars as printed: pickups, divided bars, short and long bars, changes of metre."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from written import FOUR_FOUR, bar, musicxml, note

from timing.reader import _parse, guard, tabulate
from timing.score import Score

END = '<barline location="right"><repeat direction="backward"/></barline>'
START = '<barline location="left"><repeat direction="forward"/></barline>'
DOUBLE = '<barline location="right"><bar-style>light-light</bar-style></barline>'
HIDDEN = 'implicit="yes"'


def ending(number: int, *, closed: bool = True) -> str:
    start = f'<barline location="left"><ending number="{number}" type="start"/></barline>'
    stop = f'<barline location="right"><ending number="{number}" type="{"stop" if closed else "discontinue"}"/>'
    return start + "{}" + stop + ('<repeat direction="backward"/>' if closed else "") + "</barline>"


def read(*parts: list[str]) -> Score:
    return tabulate(_parse(guard.Raw(None, "xml", musicxml(*parts).encode())))


def quarters(count: float, more: str = "", before: str = "") -> str:
    return before + note("C4", count) + more


def printed(score: Score) -> list[tuple]:
    return score.bars[["number", "length", "shift"]].tolist()


def codes(score: Score) -> list[str]:
    return [remark.code for remark in score.remarks]


@pytest.mark.parametrize(
    ("number", "more", "expected"), [(0, HIDDEN, 0), (0, "", 0), (1, HIDDEN, 0), (1, "", 0)], ids=str
)
def test_a_pickup_counts_to_the_end_of_its_bar(number, more, expected):
    score = read([bar(quarters(1), number, FOUR_FOUR, more), bar(quarters(4), 1), bar(quarters(3), 2)])
    assert printed(score) == [(expected, 1, 3), (1, 4, 0), (2, 3, 0)]
    assert score.beat(0, 0.0) == 4
    assert not score.remarks


def test_a_whole_first_bar_is_no_pickup():
    assert printed(read([bar(quarters(4), 1, FOUR_FOUR), bar(quarters(4), 2)])) == [(1, 4, 0), (2, 4, 0)]


def test_a_score_of_one_short_bar_has_no_pickup():
    assert printed(read([bar(quarters(1), 1, FOUR_FOUR)])) == [(1, 1, 0)]


def test_a_bar_divided_by_a_repeat():
    # 3 quarters to the repeat sign; the rest of the bar, without a number of its own, leads into the next part
    score = read(
        [
            bar(quarters(4), 1, FOUR_FOUR),
            bar(quarters(3, END), 2),
            bar(quarters(1), "X1", more=HIDDEN),
            bar(quarters(4), 3),
        ]
    )
    assert printed(score) == [(1, 4, 0), (2, 3, 0), (2, 1, 3), (3, 4, 0)]
    assert score.beat(2, 0.0) == 4


def test_a_bar_in_three_parts():
    parts = [bar(quarters(1), 2), bar(quarters(2), "X1", more=HIDDEN), bar(quarters(1), "X2", more=HIDDEN)]
    score = read([bar(quarters(4), 1, FOUR_FOUR), *parts, bar(quarters(4), 3)])
    assert printed(score) == [(1, 4, 0), (2, 1, 0), (2, 2, 1), (2, 1, 3), (3, 4, 0)]


def test_two_short_neighbours_of_one_bar_keep_their_own_numbers():
    score = read([bar(quarters(4), 1, FOUR_FOUR), bar(quarters(3, END), 2), bar(quarters(1), 3), bar(quarters(4), 4)])
    assert printed(score) == [(1, 4, 0), (2, 3, 0), (3, 1, 3), (4, 4, 0)]


def test_a_pickup_to_a_later_section():
    score = read([bar(quarters(4, DOUBLE), 1, FOUR_FOUR), bar(quarters(1), 2), bar(quarters(4), 3)])
    assert printed(score) == [(1, 4, 0), (2, 1, 3), (3, 4, 0)]


def test_a_section_that_completes_its_pickup_before_the_repeat():
    score = read([bar(quarters(1), 0, FOUR_FOUR), bar(quarters(4), 1), bar(quarters(3, END), 2), bar(quarters(4), 3)])
    assert printed(score) == [(0, 1, 3), (1, 4, 0), (2, 3, 0), (3, 4, 0)]
    assert not score.remarks


def test_two_endings_that_complete_a_pickup_both_begin_on_beat_one():
    first, second = ending(1).format(note("C4", 2)), ending(2, closed=False).format(note("C4", 2))
    score = read(
        [bar(quarters(2), 0, FOUR_FOUR), bar(quarters(4), 1), bar(first, 2), bar(second, 3), bar(quarters(4), 4)]
    )
    assert printed(score) == [(0, 2, 2), (1, 4, 0), (2, 2, 0), (3, 2, 0), (4, 4, 0)]


def test_an_ordinary_bar_that_is_too_short_keeps_its_metre():
    score = read([bar(quarters(4), 1, FOUR_FOUR), bar(quarters(4), 2), bar(quarters(3), 3), bar(quarters(4), 4)])
    assert printed(score)[2] == (3, 4, 0)
    assert codes(score) == ["short-bar"]
    assert score.remarks[0].bar == 3


def test_a_bar_filled_up_by_forward_is_no_slip():
    content = quarters(3) + "<forward><duration>12</duration></forward>"
    score = read([bar(quarters(4), 1, FOUR_FOUR), bar(content, 2), bar(quarters(4), 3)])
    assert printed(score)[1] == (2, 4, 0)
    assert not score.remarks


def test_the_fullest_part_counts():
    upper = [bar(quarters(4), 1, FOUR_FOUR), bar(quarters(2), 2), bar(quarters(4), 3)]
    lower = [bar(quarters(4), 1, FOUR_FOUR), bar(quarters(4), 2), bar(quarters(4), 3)]
    score = read(upper, lower)
    assert printed(score)[1] == (2, 4, 0)
    assert not score.remarks


def test_a_bar_over_its_metre_lasts_as_long_as_its_notes():
    score = read([bar(quarters(5), 1, FOUR_FOUR), bar(quarters(4), 2)])
    assert printed(score) == [(1, 5, 0), (2, 4, 0)]
    assert codes(score) == ["overfull-bar"]


def test_a_bar_without_notes_has_its_metre():
    score = read([bar(quarters(4), 1, FOUR_FOUR), bar("", 2), bar(note("rest", 4), 3), bar(quarters(4), 4)])
    assert score.bars["length"].tolist() == [4, 4, 4, 4]


def test_changes_of_metre():
    metre = "<time><beats>{}</beats><beat-type>{}</beat-type></time>"
    bars = [
        bar(quarters(4), 1, FOUR_FOUR),
        bar(quarters(3), 2, metre.format(6, 8)),
        bar(quarters(2.5), 3, metre.format("3+2", 8)),
        bar(quarters(2.5), 4),
    ]
    score = read(bars)
    assert score.bars[["length", "beats", "unit"]].tolist() == [(4, 4, 4), (3, 6, 8), (2.5, 5, 8), (2.5, 5, 8)]
    assert score.beat(1, 1.5) == 4


def test_music_without_metre_lasts_as_it_stands():
    free = "<divisions>12</divisions><time><senza-misura/></time>"
    score = read([bar(quarters(7), 1, free), bar(quarters(2), 2)])
    assert printed(score) == [(1, 7, 0), (2, 2, 0)]
    assert not score.remarks


def test_numbers_with_letters_and_without():
    score = read(
        [bar(quarters(4), "12a", FOUR_FOUR), bar(quarters(4), "12b"), bar(quarters(4), ""), bar(quarters(4), "?")]
    )
    assert [score.bar_name(row) for row in range(4)] == ["12a", "12b", "13", "14"]


def test_parts_of_different_lengths():
    score = read([bar(quarters(4), 1, FOUR_FOUR)], [bar(quarters(4), 1, FOUR_FOUR), bar(quarters(4), 2)])
    assert score.bars["number"].tolist() == [1, 2]


@settings(max_examples=40, deadline=None)
@given(st.lists(st.sampled_from([1, 2, 3, 4, 5]), min_size=1, max_size=8), st.data())
def test_bars_hold_their_notes_and_their_beats_stay_within_the_metre(lengths, data):
    lines = [data.draw(st.sampled_from(["", END, DOUBLE])) for _ in lengths]
    hidden = [data.draw(st.sampled_from(["", HIDDEN])) for _ in lengths]
    score = read(
        [
            bar(quarters(length, line), number, FOUR_FOUR if number == 1 else "", more)
            for number, (length, line, more) in enumerate(zip(lengths, lines, hidden, strict=True), start=1)
        ]
    )
    bars = score.bars
    assert (bars["length"] >= lengths).all()
    assert (bars["shift"] >= 0).all()
    assert (bars["shift"] + bars["length"] <= [max(4, length) for length in lengths]).all()
    assert ((bars["length"] == lengths) | (bars["length"] == 4)).all()
