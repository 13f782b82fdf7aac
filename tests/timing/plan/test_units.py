"""Amounts as a musician writes them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from timing.plan.units import NOTE_VALUES, amount, number, tempo

PERCENT = amount("%", 10, 300, "80%", 100)
DECIBELS = amount("dB", -60, 20, "3 dB")
MILLISECONDS = amount("ms", 0, 500, "20 ms", 1000)
SECONDS = number(0.01, 10, "of seconds, as in 0.2")
ANYTHING = (
    st.text()
    | st.integers()
    | st.floats()
    | st.booleans()
    | st.none()
    | st.lists(st.integers())
    | st.dictionaries(st.text(), st.text())
)


@pytest.mark.parametrize(
    ("read", "text", "value"),
    [
        (PERCENT, "80%", 0.8),
        (PERCENT, " 80 % ", 0.8),
        (PERCENT, "70%", 0.7),
        (PERCENT, "62.5%", 0.625),
        (DECIBELS, "3 dB", 3.0),
        (DECIBELS, "3dB", 3.0),
        (DECIBELS, "-3 db", -3.0),
        (DECIBELS, "−3 dB", -3.0),
        (DECIBELS, "+.5 DB", 0.5),
        (MILLISECONDS, "20 ms", 0.02),
        (SECONDS, 0.2, 0.2),
        (SECONDS, 1, 1.0),
        (SECONDS, "0.2", 0.2),
    ],
)
def test_amounts(read, text, value):
    assert read(text) == value


@pytest.mark.parametrize(
    ("read", "value", "says"),
    [
        (PERCENT, "0%", "0% is out of range: it can be 10% to 300%"),
        (PERCENT, "1000000000%", "out of range"),
        (PERCENT, "nan%", "is not in per cent: write it as in 80%"),
        (PERCENT, "80", "write it with its unit, as in 80%"),
        (PERCENT, 80, "write it with its unit, as in 80%"),
        (PERCENT, 0.8, "write 80%"),
        (PERCENT, 1.5, "write 150%"),
        (PERCENT, 5, "write it with its unit, as in 80%"),  # 5% is out of range itself
        (PERCENT, "80,5%", "write the number with a point, as in 80.5%"),
        (PERCENT, "3 dB", "is not in per cent"),
        (PERCENT, True, "'true' is not in per cent"),
        (PERCENT, None, "nothing is not in per cent"),
        (PERCENT, "8" * 10**6 + "%", "is not in per cent"),
        (DECIBELS, "100 dB", "100 dB is out of range: it can be -60 dB to 20 dB"),
        (DECIBELS, 4, "'4' is not in decibels (dB): write it with its unit, as in 4 dB"),
        (MILLISECONDS, "1 s", "is not in milliseconds (ms): write it as in 20 ms"),
        (SECONDS, float("nan"), "'nan' is not a number of seconds, as in 0.2"),
        (SECONDS, float("inf"), "'inf' is not a number"),
        (SECONDS, "0,2", "write 0.2"),
        (SECONDS, 0, "0 is out of range: it can be 0.01 to 10"),
        (SECONDS, 10**9, "1000000000 is out of range"),
        (SECONDS, 1e12, "1000000000000 is out of range"),
        (SECONDS, 10**300, "is not a number"),
        (SECONDS, 1e300, "is out of range"),
        (SECONDS, True, "'true' is not a number"),
    ],
)
def test_what_is_no_amount(read, value, says):
    with pytest.raises(ValueError) as refused:
        read(value)
    assert says in str(refused.value)


@pytest.mark.parametrize(
    ("text", "quarters"),
    [
        (63, 63.0),
        (63.5, 63.5),
        ("63", 63.0),
        ("quarter = 63", 63.0),
        ("crotchet=63", 63.0),
        ("quarter note = 63", 63.0),
        ("dotted quarter = 54", 81.0),  # a dotted quarter is one and a half
        ("Dotted Crotchet = 54", 81.0),
        ("dotted-quarter = 54", 81.0),
        ("double dotted quarter = 40", 70.0),  # one and three quarters
        ("double-dotted half = 40", 140.0),
        ("half = 60", 120.0),
        ("eighth = 120", 60.0),
        ("sixteenth = 120", 30.0),
    ],
)
def test_tempi(text, quarters):
    assert tempo(text) == quarters


@pytest.mark.parametrize(
    ("value", "says"),
    [
        (0, "a tempo of 0 is out of range: it can be 5 to 1000 quarters a minute"),
        (-60, "out of range"),
        (10**9, "out of range"),
        (10**400, "is not a tempo"),
        ("dotted quarter = 0", "out of range"),
        ("dotted half = 900", "a tempo of dotted half = 900 is out of range"),
        (float("nan"), "'nan' is not a tempo"),
        (float("inf"), "is not a tempo"),
        (True, "'true' is not a tempo"),
        ("fast", "'fast' is not a tempo: write 63"),
        ("quater = 60", "'quater' is not a note value known here: whole"),
        ("dotted = 60", "not a note value"),
        ("quarter = x", "is not a tempo"),
        ([60], "a list is not a tempo"),
    ],
)
def test_what_is_no_tempo(value, says):
    with pytest.raises(ValueError) as refused:
        tempo(value)
    assert says in str(refused.value)


@given(st.sampled_from(sorted(set(NOTE_VALUES) - {"whole", "semibreve"})), st.integers(30, 200))
def test_a_dot_makes_half_as_much_again(note, count):
    assert tempo(f"dotted {note} = {count}") == pytest.approx(1.5 * tempo(f"{note} = {count}"))


@given(st.decimals(10, 300, places=3))
def test_per_cent_is_the_nearest_float_of_the_share(share):
    assert PERCENT(f"{share}%") == float(share) / 100


@given(ANYTHING)
def test_anything_is_read_or_refused_in_words(value):
    for read in (PERCENT, DECIBELS, MILLISECONDS, SECONDS, tempo):
        try:
            assert isinstance(read(value), float)
        except ValueError as refused:
            assert 0 < len(str(refused)) < 250
