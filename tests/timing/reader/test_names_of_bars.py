"""What bars are called: each has a name of its own, which finds it again wherever places are written and read."""

from __future__ import annotations

from fractions import Fraction
from itertools import groupby, pairwise
from pathlib import Path
from string import ascii_letters

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support import reading
from support import score as made_by_hand
from written import FOUR_FOUR, bar, musicxml, note

from timing.order import in_words, unfold
from timing.order.performed import _own_order
from timing.plan import Plan
from timing.plan.planfile import read_plan
from timing.plan.position import Range, parse_position, parse_range
from timing.reader import _parse, guard, tabulate
from timing.reader.numbering import name_bars
from timing.remarks import Severity
from timing.score import Score
from timing.where import Fault, Where
from timing.where.naming import end_of_range, position_over, range_at, start_of_range

HIDDEN = 'implicit="yes"'
BACK = '<barline location="right"><repeat direction="backward"/></barline>'
FORTH = '<barline location="left"><repeat direction="forward"/></barline>'
DOUBLE = '<barline location="right"><bar-style>light-light</bar-style></barline>'
TWO_FOUR = "<time><beats>2</beats><beat-type>4</beat-type></time>"


def read(bars: list[str]) -> Score:
    return tabulate(_parse(guard.Raw(Path("names.musicxml"), "xml", musicxml(bars).encode())))


def numbered(*numbers: object, lengths: dict[int, float] | None = None) -> Score:
    """Bars of 4/4 with these numbers, full but for some by their place; "-" is a bar whose number is not printed."""
    lengths = lengths or {}
    return read([
        bar(note("C4", lengths.get(place, 4)), "X1" if number == "-" else number, "" if place else FOUR_FOUR,
            HIDDEN if number == "-" else "")
        for place, number in enumerate(numbers)
    ])  # fmt: skip


def names(score: Score) -> list[str]:
    return [score.bar_name(row) for row in range(len(score.bars))]


def told(score: Score) -> list[str]:
    return [remark.message for remark in score.remarks if remark.code == "bar-names"]


def where(score: Score) -> Where:
    return Where(score, unfold(score)[0])


# -- what bars are called


@pytest.mark.parametrize(
    ("numbers", "expected"),
    [
        ((1, 2, 2, 3), "1 2 2b 3"),
        ((1, 2, 2, 2, 3), "1 2 2b 2c 3"),
        ((1, 2, "-", "-", 3), "1 2 2b 2c 3"),  # bars without a number after a whole one, as in a cadenza
        ((1, "2a", "2b", 3), "1 2a 2b 3"),
        ((1, 2, "2a", 2, 3), "1 2 2a 2b 3"),
        ((1, 2, "2b", 2, 2), "1 2 2b 2c 2d"),  # letters of the score are left to it
        ((1, "2a", "2a", 3), "1 2a 2b 3"),
        ((1, "2A", "2a", 3), "1 2A 2b 3"),  # case makes no name
        ((1, "2bis", "2ter", 3), "1 2bis 2ter 3"),
        ((5, 6, 5, 6, 7), "5 6 5b 6b 7"),  # two endings of two bars
        ((1, 2, 3, 1, 2, 3), "1 2 3 1b 2b 3b"),  # movements
        ((1, 2, 1, 2, 3, 4, 1, 2, 3), "1 2 1b 2b 3b 4b 1c 2c 3c"),
        ((1, 2, 3, 1, 2, 2), "1 2 3 1b 2b 2c"),
        ((1, 2, 2, 1, 2, 3), "1 2 2c 1b 2b 3b"),  # a letter is a movement's before it is a bar's
        ((1, "2b", 3, 1, 2), "1 2b 3 1c 2c"),
        ((1, 2, 3, 0, 4), "1 2 3 0 4"),  # no movement: the numbers go on from before
        ((1, 2, 3, 1), "1 2 3 1b"),
    ],
    ids=str,
)
def test_names(numbers, expected):
    score = numbered(*numbers)
    assert " ".join(names(score)) == expected
    assert score.bars["number"].tolist() == [int(name.rstrip("abcdefghirst A")) for name in expected.split()]


def test_many_bars_of_one_number():
    score = numbered(*[7] * 60)
    assert names(score)[:3] == ["7", "7b", "7c"] and names(score)[24:28] == ["7y", "7z", "7aa", "7ab"]
    assert len(set(names(score))) == 60
    assert told(score) == ["60 bars are called 7: after the first they are 7b to 7bh here"]


def test_the_parts_of_one_bar_share_its_name():
    score = numbered(1, 2, "-", 3, lengths={1: 3, 2: 1})
    assert names(score) == ["1", "2", "2", "3"] and not score.remarks
    assert [where(score).point(parse_position(f"2:{beat}")) for beat in (1, 3, 4)] == [(1, 0), (1, 2), (2, 0)]


def test_a_metre_that_changes_within_one_number():
    score = read([bar(note("C4", 4), 1, FOUR_FOUR), bar(note("C4", 4), 2), bar(note("C4", 2), 2, TWO_FOUR)])
    assert names(score) == ["1", "2", "2b"]
    assert where(score).point(parse_position("2b:2")) == (2, 1.0)


def test_a_pickup_after_a_whole_bar():
    first = bar(note("C4", 4) + BACK, 2)
    pickup = bar(note("C4", 1), "X1", more=HIDDEN)
    score = read([bar(note("C4", 4), 1, FOUR_FOUR), first, pickup, bar(note("C4", 4), 3)])
    assert names(score) == ["1", "2", "2b", "3"] and score.bars["shift"][2] == 3
    assert where(score).point(parse_position("2b:4")) == (2, 0.0)
    with pytest.raises(Fault, match=r"^bar 2b begins at beat 4 and has no beat 1$"):
        where(score).point(parse_position("2b:1"))


@pytest.mark.parametrize("last", [note("C4", 4) + DOUBLE, note("C4", 4), note("C4", 3), note("C4", 2)])
@pytest.mark.parametrize("sign", ["", FORTH])
@pytest.mark.parametrize("number", ["0", "1", "X1"])
def test_a_movement_with_a_pickup(number, sign, last):
    hidden = "" if number == "1" else HIDDEN
    pickup = [bar(note("C4", 1), number, more=hidden), bar(sign + note("C4", 4), 1), bar(note("C4", 4), 2)]
    score = read([bar(note("C4", 4), 1, FOUR_FOUR), bar(last, 2), *pickup])
    assert names(score) == ["1", "2", "0b", "1b", "2b"] and score.bars["shift"].tolist() == [0, 0, 3, 0, 0]
    assert not [remark for remark in score.remarks if remark.bar_name != "2" and remark.code != "bar-names"]
    assert where(score).point(parse_position("0b:4")) == (2, 0.0)
    first = read([pickup[0].replace(">", f"><attributes>{FOUR_FOUR}</attributes>", 1), *pickup[1:]])
    assert names(first) == ["0", "1", "2"] and not first.remarks


def test_three_movements_with_pickups():
    score = numbered(*[1, 1, 2] * 3, lengths={0: 1, 3: 1, 6: 1})
    assert " ".join(names(score)) == "0 1 2 0b 1b 2b 0c 1c 2c"
    assert told(score) == ["the bars are counted from the beginning again: there they are called 0b-2b, 0c-2c"]
    assert [remark.code for remark in score.remarks] == ["bar-names"]


@pytest.mark.parametrize(
    ("numbers", "lengths", "expected"),
    [
        ((1, 2, "-", "-", 1, 2), {1: 3, 2: 1, 3: 1}, "1 2 2 0b 1b 2b"),  # the rest of a divided bar, then a pickup
        ((1, 2, 1, 1, 2), {2: 1, 3: 3}, "1 2 1b 1b 2b"),  # a divided bar 1
        ((1, 2, 1, 2, 3), {2: 3}, "1 2 1b 2b 3b"),  # no bar 1 follows
        ((1, 1, 1, 2), {1: 1}, "1 1b 1c 2"),  # the numbers have not got beyond 1
    ],
)
def test_where_a_short_bar_is_a_pickup_and_where_not(numbers, lengths, expected):
    assert " ".join(names(numbered(*numbers, lengths=lengths))) == expected


def test_a_short_bar_that_ends_a_movement_is_no_pickup():
    first = [bar(note("C4", 4), 1, FOUR_FOUR), bar(note("C4", 4), 2), bar(note("C4", 1) + DOUBLE, "X1", more=HIDDEN)]
    assert names(read([*first, bar(note("C4", 4), 1), bar(note("C4", 4), 2)])) == ["1", "2", "2c", "1b", "2b"]


@pytest.mark.parametrize("sign", ["=", "=1", "=||", "=1||"])
def test_a_movement_of_kern_with_a_pickup(sign):
    text = f"**kern\n*M4/4\n=1\n1c\n=2\n1c\n=3\n1c\n{sign}\n4c\n=1\n1c\n=2\n1c\n==\n*-\n"
    score = tabulate(_parse(guard.Raw(Path("names.krn"), "kern", text.encode())))
    assert names(score) == ["1", "2", "3", "0b", "1b", "2b"] and score.bars["shift"][3] == 3


@pytest.mark.parametrize("number", [-3, 1_000_000, 2_000_000_000])
def test_a_number_that_no_position_can_have(number):
    class Bar:
        suffix, shift, length, metre, beats = "é-1", Fraction(0), Fraction(4), Fraction(4), 4

        def __init__(self, number):
            self.number = number

    bars = [Bar(number), Bar(8), Bar(number)]
    name_bars(bars, Fraction(1, 10_000))
    assert [f"{each.number}{each.suffix}" for each in bars] == ["0", "8", "8b"]


def test_it_is_said_once():
    assert told(numbered(1, 2, 3)) == told(numbered(1, "2a", "2b", 3)) == []
    score = numbered(1, 2, 2, 3)
    assert [(r.severity, r.bar, r.bar_name) for r in score.remarks] == [(Severity.ADVICE, 2, "2b")]
    assert told(score) == ["two bars are called 2: the second is 2b here"]
    assert told(numbered(1, 2, 2, 2)) == ["three bars are called 2: after the first they are 2b and 2c here"]
    assert told(numbered(1, 2, 1, 2)) == [
        "the bars are counted from the beginning again: there they are called 1b-2b"
    ]
    many = [number for number in (1, 2, 3, 4, 5) for _ in range(2)]
    assert told(numbered(*many))[0].endswith("called 3: the second is 3b here; and so it is with 2 more numbers")


def test_remarks_on_bars_have_their_names():
    score = numbered(1, 2, "2a", 2, 3, lengths={2: 5, 3: 6})
    said = [(remark.bar_name, remark.message) for remark in score.remarks if remark.code == "overfull-bar"]
    assert said == [
        (
            "2a",
            "bar 2a holds more than its metre and lasts as long as its notes (5 quarters in 4/4); the same holds for "
            "bar 2b",
        )
    ]


def test_what_is_asked_of_a_bar_that_is_not_there():
    here = where(numbered(1, 2, 2, 3))
    missing = "the score has no such bar"
    for text, message in (("2c", rf"bar 2c: {missing} \(it has 2, 2b\)"), ("9b", f"bar 9b: {missing}")):
        with pytest.raises(Fault, match=f"^{message}$"):
            here.point(parse_position(text))
    many = where(numbered(1, *[7] * 60))
    with pytest.raises(Fault, match=rf"^bar 7zz: {missing} \(it has 7, 7b, 7c, 7d, 7e and 55 more\)$"):
        many.point(parse_position("7zz"))


def test_the_plain_number_is_enough_where_one_bar_alone_has_it():
    here = where(numbered(1, 2, 1, 2, 3))
    assert here.point(parse_position("3")) == here.point(parse_position("3b")) == (4, 0.0)
    divided = where(numbered(1, "2a", "-", 3, lengths={1: 3, 2: 1}))
    assert divided.rows_called("2") == divided.rows_called("2a") == [1, 2]


@pytest.mark.parametrize(
    ("numbers", "text", "has"),
    [
        ((11, "12a", "12b", 13), "12", "12a, 12b"),
        ((11, "12a", "12b", 13), "12:1 - 12:4", "12a, 12b"),
        ((11, "12a", 14, "12b"), "11-12", "12a, 12b"),
        ((1, 2, 1, 2, 3, 1, 2, 3, 4), "3", "3b, 3c"),  # the first movement has no bar 3
        ((11, "12a", "12a", "12b"), "12:4", "12a, 12c, 12b"),
    ],
)
def test_a_number_that_several_bars_have_with_letters_is_none_of_them(numbers, text, has):
    here = where(numbered(*numbers))
    with pytest.raises(Fault, match=rf"^bar \d+: the score has no such bar \(it has {has}\)$"):
        here.both_ends(parse_range(text))


def test_letters_of_either_size_are_one_name_for_all():
    """Here by hand: the reader gives all parts of a bar the same."""
    score = made_by_hand(bars=3)
    score.bars["number"], score.bars["suffix"] = (1, 2, 2), ("", "A", "a")
    score.bars["length"][1:], score.bars["shift"][2] = 2, 2
    here = where(score)
    assert here.rows_called("2a") == [1, 2]
    end = end_of_range(score, 1, 2.0)
    assert str(end) == "2A:2" and here.range_end(parse_range(f"1 - {end}")) == (1, 2.0)
    assert str(start_of_range(score, 2, 0.0)) == "2a:3"


# -- an order of the bars


def test_an_order_may_name_what_a_repeat_sign_parts():
    score = numbered(1, 2, "-", 3, lengths={1: 3, 2: 1})
    made = reading({"order": ["1 - 2:3", "1 - 2:3", "2:4 - 3"]}, score)
    assert made.performance.bars["row"].tolist() == [0, 1, 0, 1, 2, 3]
    assert made.order == "1 - 2:3, 1 - 2:3, 2:4 - 3"


def test_a_range_from_a_bar_e_is_no_number(tmp_path):
    """YAML takes 1e-2 for a hundredth."""
    here = where(numbered(1, 1, 1, 1, 1, 2))
    text = str(range_at(here.score, (4, 0.0), (5, 4.0)))
    plan = read_plan(tmp_path / "plan.yaml", f"score: x.musicxml\nphrases: [{text}]\n")
    assert plan.phrases[0].bars == parse_range("1e - 2") and text == "1e - 2"
    assert here.range_text(16.0, 24.0) == "1e:1 - 2:4"


def test_a_range_within_a_beat_ends_at_an_instant():
    """No one says from 1:3.5 until beat 3 is over."""
    here = where(numbered(1, 2))
    assert here.range_text(2.5, 3.0) == str(range_at(here.score, (0, 2.5), (0, 3.0))) == "1:3.5 - 1:4.0"
    assert here.range_text(2.0, 3.0) == "1:3 - 1:3" and str(range_at(here.score, (0, 2.0), (0, 3.0))) == "1:3"
    assert here.range_text(2.5, 4.0) == "1:3.5 - 1:4" and str(range_at(here.score, (0, 2.5), (0, 4.0))) == "1:3.5 - 1"


# -- laws


@st.composite
def scores(draw) -> Score:
    """A score of bars with any numbers, letters, lengths and metres, of which some are hidden or repeated."""
    bars, beats = [], 4
    count = draw(st.integers(1, 9))
    for place in range(count):
        new = draw(st.sampled_from([0, 0, 0, 2, 3, 4])) if place else 4
        beats = new or beats
        unit = draw(st.sampled_from([4, 8])) if new else None
        metre = f"<time><beats>{beats}</beats><beat-type>{unit}</beat-type></time>" if new else ""
        attributes = ("<divisions>12</divisions>" if not place else "") + metre
        number = draw(st.sampled_from([0, 1, 1, 2, 2, 3, 4, 24, "24a", "2b", "X1", "12A", "2bis", "", "7-1"]))
        length = draw(st.sampled_from([beats, beats, beats, 1, 2, 3, 0.5, 1.5, 1 / 3, 2.25]))
        hidden = HIDDEN if draw(st.booleans()) and draw(st.booleans()) else ""
        content = note("C4", length) + (BACK if draw(st.integers(0, 4)) == 0 else "")
        bars.append(bar((FORTH if draw(st.integers(0, 4)) == 0 else "") + content, number, attributes, hidden))
    return read(bars)


@given(scores())
def test_every_name_finds_its_bar_and_no_other(score):
    here, called = where(score), names(score)
    for name, rows in groupby(range(len(called)), called.__getitem__):
        rows = list(rows)
        assert here.rows_called(name) == here.rows_called(name.upper()) == rows
        number = str(score.bars["number"][rows[0]])
        alike = {other for other in called if other.rstrip(ascii_letters) == number}
        if len(alike) == 1 or name == number:
            assert here.rows_called(number) == rows
        elif number not in called:
            assert here.rows_called(number) == []
        assert parse_position(name).bar == name
        for one, two in pairwise(rows):  # the parts of one bar count on
            assert score.bars["shift"][two] == pytest.approx(score.bars["shift"][one] + score.bars["length"][one])
    assert len(list(groupby(called))) == len({name.lower() for name in called})


@given(scores(), st.data())
def test_every_place_reads_back(score, data):
    here = where(score)
    for passage in here.bars:
        row, length = int(passage["row"]), float(passage["length"])
        for offset in (0.0, *(data.draw(st.sampled_from([1 / 3, 0.5, 0.2, 5 / 7, 0.999])) * length for _ in range(2))):
            found = here.point(parse_position(here.position_text(float(passage["start"]) + offset)))
            assert found == (row, pytest.approx(offset, abs=1e-5))
            start = start_of_range(score, row, offset)
            assert here.point(parse_position(str(start))) == (row, pytest.approx(offset, abs=1e-5))
            over = length - offset
            for end in (end_of_range(score, row, over), position_over(score, row, over)):
                read_back = parse_range(f"1 - {end}") if end.beat is not None else parse_range(str(Range(start, end)))
                assert here.range_end(read_back) == (row, pytest.approx(over, abs=1e-5))
            moments = here.moments(parse_position(str(position_over(score, row, over))), after=True)
            expected = here.bars["start"][here.bars["row"] == row] + over
            assert moments == pytest.approx(expected, abs=1e-5)


@given(scores(), st.data())
def test_every_stretch_reads_back(score, data):
    here = where(score)
    ordinals = st.integers(0, len(here.bars) - 1)
    first, last = sorted((data.draw(ordinals), data.draw(ordinals)))
    if not here.neighbours[first:last].all():
        last = first
    ends = [data.draw(st.sampled_from([0, 0.25, 0.5])) * here.bars["length"][first], here.bars["length"][last]]
    start, end = here.bars["start"][[first, last]] + ends
    rows = here.bars["row"][[first, last]].tolist()
    for text in (here.range_text(start, end), str(range_at(score, *zip(rows, ends, strict=True)))):
        found = [(run.start, run.end) for run in here.runs(parse_range(text))]
        assert any(np.allclose(run, (start, end), atol=1e-5) for run in found), text


@given(scores())
def test_the_order_in_words_is_an_order(score):
    bars = unfold(score)[0]
    plan = Plan.model_validate({"score": "made-by-hand.musicxml", "order": in_words(score, bars)})
    rows = [row for first, last, _ in _own_order(score, plan)[1] for row in range(first, last + 1)]
    assert rows == bars["row"].tolist()


def test_beats_between_all_fractions_read_back():
    """A shift that no short fraction says: the beat is written in decimals."""
    score = made_by_hand(bars=2)
    score.bars["shift"][0] = 0.0003
    here = where(score)
    assert here.position_text(0.5) == "1:1.5003"
    assert here.point(parse_position(here.position_text(0.5))) == (0, pytest.approx(0.5, abs=1e-6))
