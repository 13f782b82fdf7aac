"""What the reader says of bars before they have names: it calls them what a plan calls them, and stays short."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from written import FOUR_FOUR, bar, musicxml, note

from timing.reader import _parse, guard, tabulate
from timing.reader.slips import Slips, stretches
from timing.score import Score

WHOLE = note("C4", 4)
BAD = note("C4", -4, "<type>whole</type>")
HIDDEN = 'implicit="yes"'
LEFT, RIGHT = '<barline location="left">{}</barline>', '<barline location="right">{}</barline>'
BEGIN, STOP = '<ending number="1" type="start"/>', '<ending number="1" type="stop"/>'
LOST = WHOLE + RIGHT.format(STOP)  # an ending that never began
OPEN = LEFT.format(BEGIN) + WHOLE  # and one that is not closed


def read(*parts: list[str]) -> Score:
    return tabulate(_parse(guard.Raw(Path("slips.musicxml"), "xml", musicxml(*parts).encode())))


def numbered(*bars: tuple[object, str]) -> list[str]:
    """Bars in 4/4 of these numbers and contents; "-" is one whose number is not printed."""
    return [
        bar(content, "X1" if number == "-" else number, FOUR_FOUR if place == 0 else "", HIDDEN * (number == "-"))
        for place, (number, content) in enumerate(bars)
    ]


def said(score: Score, code: str) -> list[tuple[str | None, str]]:
    return [(remark.bar_name, remark.message) for remark in score.remarks if remark.code == code]


def test_a_bar_with_a_slip_is_called_by_its_name():
    score = read(numbered((24, WHOLE), (24, BAD), (25, WHOLE), ("-", BAD)))
    assert [score.bar_name(row) for row in range(4)] == ["24", "24b", "25", "25b"]
    message = "a number that cannot be music (duration -48) is mended in bars 24b, 25b: it is as long as its note value"
    assert said(score, "bad-number") == [("24b", message)]


def test_bars_of_one_number_are_counted_each():
    ((name, message),) = said(read(numbered(*[(7, BAD)] * 8)), "bad-number")
    assert name == "7" and "in bars 7, 7b, 7c, 7d, 7e and 3 more:" in message


def test_the_parts_of_a_divided_bar_are_one():
    halves = note("C4", -2, "<type>half</type>")
    ((name, message),) = said(read(numbered((1, WHOLE), (2, halves), ("-", halves), (3, WHOLE))), "bad-number")
    assert name == "2" and "is mended in bar 2:" in message


def test_a_bar_in_which_two_parts_slip_is_one_and_bars_come_in_their_order():
    later, earlier = numbered((1, WHOLE), (2, WHOLE), (3, BAD)), numbered((1, WHOLE), (2, BAD), (3, BAD))
    ((name, message),) = said(read(later, earlier), "bad-number")
    assert name == "2" and "in bars 2, 3:" in message


def test_a_slip_in_a_bar_without_a_number():
    ((name, message),) = said(read(numbered((1, WHOLE), ("", WHOLE), ("", BAD), (4, WHOLE))), "bad-number")
    assert name == "3" and "in bar 3:" in message


def test_what_stands_there_may_be_anything():
    text = WHOLE.replace("<duration>48<", "<duration>{0}{first}<")
    ((_, message),) = said(read(numbered((1, text), (2, WHOLE))), "bad-number")
    assert "(duration {0}{first})" in message


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (LOST, "an ending stops in bar 5b that never began: it is taken for that bar alone"),
        (OPEN, "the last ending, in bar 5b, is not closed; it is taken to last until the end"),
        ('<sound tempo="fast"/>' + WHOLE, "a tempo of 'fast' is passed over in bar 5b"),
        (OPEN + RIGHT.format(STOP), None),
    ],
)
def test_endings_and_tempos_are_said_of_bars_by_their_names(content, message):
    score = read(numbered((5, WHOLE), (5, content), (6, WHOLE)))
    assert said(score, "ending") + said(score, "tempo") == ([("5b", message)] if message else [])


def test_an_ending_that_the_next_one_cuts_short():
    score = read(numbered((5, OPEN), (5, OPEN + RIGHT.format(STOP)), (6, WHOLE)))
    assert said(score, "ending") == [("5b", "an ending is not closed before bar 5b, where the next one begins")]


def test_an_ending_that_stops_twice():
    score = read(numbered((5, OPEN + RIGHT.format(STOP)), (5, LOST), (6, WHOLE)))
    assert said(score, "ending") == [("5b", "an ending stops in bar 5b that never began; its bracket is left out")]


@pytest.mark.parametrize(
    ("slip", "code"),
    [(LOST, "ending"), (OPEN, "ending"), ('<sound tempo="{}x"/>' + WHOLE, "tempo"), (BAD, "bad-number")],
)
def test_many_slips_are_told_together(slip, code):
    every_other = [(number, slip.format(number) if number % 2 else WHOLE) for number in range(1, 401)]
    told = said(read(numbered(*every_other)), code)
    assert 1 <= len(told) <= 2 and all(len(message) < 250 for _, message in told)
    assert told[0][1].partition(" more")[1]


def test_movements_without_end_are_told_in_few_words():
    score = read(numbered(*[(2 - place % 2, WHOLE) for place in range(200)]))
    ((_, message),) = said(score, "bar-names")
    assert len(message) < 300
    assert "there they are called 1b-2b, 1c-2c, 1d-2d, " in message and message.endswith(", 1m-2m and 88 more")


def left_out(count: int) -> list[str]:
    bars = numbered((1, WHOLE))
    text = musicxml(bars).replace("</score-partwise>", "")
    more = "".join(f'<part id="Q{n}">{bars[0]}</part>' for n in range(1, count + 1))
    score = tabulate(_parse(guard.Raw(Path("slips.musicxml"), "xml", f"{text}{more}</score-partwise>".encode())))
    return [message for _, message in said(score, "part-left-out")]


def test_parts_that_are_left_out_are_told_together():
    assert left_out(0) == []
    assert left_out(1) == ["the part 'Q1' is left out: the part list does not name it"]
    assert left_out(3) == ["the parts 'Q1', 'Q2', 'Q3' are left out: the part list does not name them"]
    (many,) = left_out(1203)
    assert many == "the parts 'Q1', 'Q2', 'Q3' and 1,200 more are left out: the part list does not name them"


# -- laws


@given(st.dictionaries(st.integers(0, 400), st.text(max_size=12), min_size=1), st.integers(1, 400))
def test_a_slip_is_told_once_at_its_first_bar_and_in_bounds(found, bars_of_one_name):
    slips = Slips()
    for row, what in found.items():
        slips.remember("code", "{what} in {bars}; {first}{others}", row, what)
        slips.remember("code", "{what} in {bars}; {first}{others}", row, "again")
    names = [f"{row // bars_of_one_name}b" for row in range(401)]
    (told,) = slips.told(names)
    first = min(found)
    assert told.bar_name == names[first] and told.message.startswith(f"{found[first]} in bar")
    assert len(told.message) < 200


@given(st.lists(st.integers(1, 60), min_size=1, unique=True).map(sorted))
def test_stretches_name_every_bar_or_count_it(numbers):
    told = stretches([str(number) for number in numbers])
    listed, _, left = told.partition(" and ")
    named = [n for stretch in listed.split(", ") for a, _, b in [stretch.partition("-")]
             for n in range(int(a), int(b or a) + 1)]  # fmt: skip
    assert named == numbers[: len(named)]
    assert len(numbers) - len(named) == int(left.removesuffix(" more") or 0)
