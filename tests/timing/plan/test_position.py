"""Positions and ranges as text."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from timing.plan.position import Position, Range, beat_name, parse_position, parse_range, shown


@pytest.mark.parametrize(
    ("text", "bar", "beat", "instant"),
    [
        ("7", "7", None, False),
        (7, "7", None, False),
        (" 7 ", "7", None, False),
        ("0", "0", None, False),
        ("12a", "12a", None, False),
        ("7:2", "7", Fraction(2), False),
        ("7 : 2", "7", Fraction(2), False),
        ("7:2.5", "7", Fraction(5, 2), True),
        ("7:2+1/3", "7", Fraction(7, 3), True),
        ("7:2.0", "7", Fraction(2), True),
    ],
)
def test_positions(text, bar, beat, instant):
    assert parse_position(text) == Position(bar, beat, instant)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "is not a position"),
        ("x", "is not a position: write bar:beat, as in 7:2, or a bar alone"),
        ("7:", "is not a position"),
        (":2", "is not a position"),
        ("7:2:3", "is not a position"),
        ("7.2", "as in 7:2 with a colon"),
        (7.2, "as in 7:2 with a colon"),
        (float("nan"), "'nan' is not a position"),
        ("7:2,5", "is not a position"),
        ("7:0", "beats are counted from 1"),
        ("7:0.9", "beats are counted from 1"),
        ("7:1+1/0", "divides by zero"),
        ("7:2+4/3", "what is added to a beat is less than one"),
        ("-7", "is not a position"),
        ("٧", "is not a position"),
        ("1234567", "is not a position"),
        (True, "'true' is not a position"),
        (None, "nothing is not a position"),
        ([7], "a list is not a position"),
        ({"a": 1}, "a group of settings is not a position"),
        ("9" * 1000, "'9999999999999999999999999999999999999...' is not a position"),
    ],
)
def test_what_is_no_position(text, says):
    with pytest.raises(ValueError) as refused:
        parse_position(text)
    assert says in str(refused.value)


@pytest.mark.parametrize("text", ["7:2 - 8:3", "7:2-8:3", "7:2 – 8:3", "7:2—8:3", "  7:2   -   8:3 "])
def test_ranges_with_any_dash(text):
    assert parse_range(text) == Range(Position("7", Fraction(2)), Position("8", Fraction(3)))


@pytest.mark.parametrize("text", ["7-", "-8", "7-8-9", "-", "2024-01-01", " " * 10**6 + "-", "- " * 10**5])
def test_what_is_no_range(text):
    with pytest.raises(ValueError, match=r"is not a (range|position)"):
        parse_range(text)


@pytest.mark.parametrize(
    ("text", "printed"),
    [
        ("7-8", "7-8"),
        ("7:2-8:3", "7:2 - 8:3"),
        ("7:2", "7:2"),
        ("7", "7"),
        ("7 - 8:3", "7 - 8:3"),
        ("7:1.50 - 8:2.0", "7:1.5 - 8:2.0"),
    ],
)
def test_a_range_is_printed_as_one_writes_it(text, printed):
    assert str(parse_range(text)) == printed


def test_one_position_alone_is_a_range():
    assert parse_range("7:2").lone
    assert not parse_range("7:2 - 7:3").lone
    assert not parse_range("7:2 - 7:2.0").lone


@pytest.mark.parametrize(
    ("beat", "name"),
    [(2, "2"), (2.5, "2.5"), (7 / 3, "2+1/3"), (2.125, "2.125"), (1 + 1 / 16, "1+1/16"), (2.9999999999, "3")],
)
def test_beats_have_a_short_name(beat, name):
    assert beat_name(beat) == name


POSITIONS = st.builds(
    lambda bar, letter, whole, part: f"{bar}{letter}" + (f":{whole}{part}" if whole else ""),
    st.integers(0, 999_999),
    st.sampled_from(["", "a", "Bc"]),
    st.none() | st.integers(1, 9999),
    st.just("")
    | st.from_regex(r"\.[0-9]{1,9}", fullmatch=True)
    | st.fractions(0, 1, max_denominator=9999)
    .filter(lambda part: part < 1)
    .map(lambda part: f"+{part.numerator}/{part.denominator}"),
)


@given(POSITIONS)
@example("7:2.0000001")
def test_a_position_printed_and_read_again_is_the_same(text):
    position = parse_position(text)
    assert parse_position(str(position)) == position


@given(POSITIONS, POSITIONS, st.sampled_from(["-", " - ", "–"]))
def test_a_range_printed_and_read_again_is_the_same(start, end, dash):
    bars = parse_range(start + dash + end)
    assert parse_range(str(bars)) == bars


@given(st.text() | st.integers() | st.floats() | st.booleans() | st.none() | st.lists(st.integers()))
def test_anything_else_is_refused_in_words(value):
    for parse in (parse_position, parse_range):
        try:
            parse(value)
        except ValueError as refused:
            assert shown(value) in str(refused) or "is not a position" in str(refused)
