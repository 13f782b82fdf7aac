"""The performed order worked out by hand, in the notation of tests/orders.py."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from orders import mark, played, score_of, written

from timing.order import MAX_BARS, in_words, unfold
from timing.order.repeats import ending_numbers
from timing.remarks import CannotDo
from timing.score import Score

# -- well-formed structures, worked out by hand; none of them earns a caution

WELL_FORMED = [
    # repeats
    ("1 2 3", "1 2 3"),
    ("|: 1 2 :| 3", "1 2 1 2 3"),
    ("1 2 :| 3", "1 2 1 2 3"),
    ("1 |: 2 3 :|", "1 2 3 2 3"),
    ("|: 1 :|4 2", "1 1 1 1 2"),
    ("|: 1 :|1 2", "1 2"),
    ("1 2 :| 3 4 :| 5", "1 2 1 2 3 4 3 4 5"),  # the second one goes back to after the first
    ("|: 1 :| |: 2 :| |: 3 :|", "1 1 2 2 3 3"),
    ("|: 1 |: 2 :| 3 :| 4", "1 2 2 3 1 2 2 3 4"),  # nested
    ("|: 1 |: 2 |: 3 :| 4 :| 5 :|", "1 2 3 3 4 2 3 3 4 5 1 2 3 3 4 2 3 3 4 5"),
    ("0 1 2 :| 3", "0 1 2 0 1 2 3"),  # from the pickup
    ("1 2a :| 2b 3 :|", "1 2a 1 2a 2b 3 2b 3"),  # a repeat sign in the middle of bar 2
    # endings
    ("1 [1 2 :| ] [2 3 ] 4", "1 2 1 3 4"),
    ("|: 1 2 [1 3 4 :| ] [2 5 6 ]", "1 2 3 4 1 2 5 6"),
    ("1 [1 2 :| ] [2 3 :| ] [3 4 ] 5", "1 2 1 3 1 4 5"),
    ("1 [1,2 2 :| ] [3 3 ] 4", "1 2 1 2 1 3 4"),
    ("1 [1.-3. 2 :| ] [4. 3 ]", "1 2 1 2 1 2 1 3"),
    ("1 [1 2 :| ] 3 4", "1 2 1 3 4"),  # the second ending is the music that follows
    ("1 [1,2 2 :| ] 3 4", "1 2 1 2 1 3 4"),  # likewise the third
    ("|: 1 [1-3 2 :| ] 3 :| 4", "1 2 1 2 1 2 1 3 3 4"),
    ("1 [1 2 :| ] [2 3 :| ] 4", "1 2 1 3 4"),  # a repeat sign that only closes the last ending
    ("|: 1 [1 2 :| ] [2 3 ] |: 4 [1 5 :| ] [2 6 ]", "1 2 1 3 4 5 4 6"),
    ("1 [1 2 :| ] [2 3 ] 4 5 :| 6", "1 2 1 3 4 5 4 5 6"),  # goes back to after the second ending
    ("|: 1 [1 2 ] [2 3 ] 4 :| 5", "1 2 4 1 3 4 5"),  # bars for one time each in the middle of a repeat
    ("|: 1 [2 2 ] 3 :| 4", "1 3 1 2 3 4"),  # second time only
    ("1 [1 2 3 :| ] [2 4 |: 5 :| ] 6", "1 2 3 1 4 5 5 6"),  # a repeat inside an ending
    ("|: 1 |: 2 [1 3 :| ] [2 4 ] 5 :| 6", "1 2 3 2 4 5 1 2 3 2 4 5 6"),  # endings of the inner repeat
    ("|: 1 |: 2 :| [1 3 :| ] [2 4 ]", "1 2 2 3 1 2 2 4"),  # endings of the outer one
    ("|: 1 [1 |: 2 [1 3 :| ] [2 4 ] 5 :| ] [2 6 ]", "1 2 3 2 4 5 1 6"),  # endings within an ending
    ("1 [1 2 ] 3 :| [2 4 ] 5", "1 2 3 1 4 5"),  # a bracket drawn too short runs up to its repeat sign
    # returns
    ("1 2 Fine 3 4 DCalFine", "1 2 3 4 1 2"),
    ("1 2 Fine 3 4 DC", "1 2 3 4 1 2"),
    ("1 2 <Fine 3 4 DCalFine", "1 2 3 4 1 2 3"),  # written at the beginning of a bar, meant at its end
    ("|: 1 2 :| <Fine 3 4 DCalFine", "1 2 1 2 3 4 1 2"),  # unless the bar before is closed
    ("1 % 2 3 Fine 4 DSalFine", "1 2 3 4 2 3"),
    ("1 % 2 3 DS 4 Fine", "1 2 3 2 3 4"),
    ("1 2 3 DC", "1 2 3 1 2 3"),
    ("1 2 3 Fine", "1 2 3"),
    ("1 2 ToCoda 3 4 DCalCoda O 5 6", "1 2 3 4 1 2 5 6"),
    ("1 % 2 3 ToCoda 4 DSalCoda O 5 6", "1 2 3 4 2 3 5 6"),
    ("1 % 2 3 <ToCoda 4 DSalCoda O 5 6", "1 2 3 4 2 3 4 5 6"),  # likewise
    ("1 2 ToCoda 3 DCalCoda O 4 5 Fine", "1 2 3 1 2 4 5"),
    ("|: 1 2 :| Fine |: 3 4 :| DCalFine", "1 2 1 2 3 4 3 4 1 2"),  # no repeats after the return
    ("1 [1 2 :| ] [2 3 DC ]", "1 2 1 3 1 3"),  # the last ending after the return
    ("1 [1 2 :| ] [2 3 Fine ] 4 DCalFine", "1 2 1 3 4 1 3"),
    ("1 [1 2 :| ] [2 3 :| ] [3 4 ] 5 DC", "1 2 1 3 1 4 5 1 4 5"),
    ("1 [1 2 DC ] [2 3 ]", "1 2 1 3"),  # endings of the D.C. itself
    ("1 [1 2 :| ] [2 3 DC ] [3 4 ]", "1 2 1 3 1 4"),  # the third one is for the D.C.
    ("1 ToCoda 2 DCalCoda O |: 3 :| 4", "1 2 1 3 3 4"),  # the coda is new: its repeats are played
    ("1 2 DC 3 :| 4", "1 2 1 2 3 3 4"),  # so is what follows the D.C. bar
    ("% 1 ToCoda 2 DS 3 DSalCoda O 4", "1 2 1 2 3 1 4"),  # the plain D.S. leaves the coda to the one that names it
    ("1 ToCoda 2 ToCoda 3 DCalCoda O 4 DCalCoda O 5", "1 2 3 1 4 1 2 5"),  # two codas, in turn
    ("1 Fine 2 DC 3 DCalFine", "1 2 1 2 3 1"),  # the plain D.C. leaves the Fine to the one that names it
    ("1 Fine 2 ToCoda 3 DCalCoda O 4", "1 2 3 1 2 4"),  # on the way to the coda no Fine counts
    ("[1 1 ] 2 :| 3 DC", "1 2 2 3 2 3"),  # bar 1 is for the first time, also where the D.C. goes to the beginning
]


@pytest.mark.parametrize(("text", "order"), WELL_FORMED, ids=[text for text, _ in WELL_FORMED])
def test_order_worked_out_by_hand(text, order):
    assert played(text) == (order, [])


@pytest.mark.parametrize(
    ("text", "order"),
    [
        ("|: 1 2 :| Fine 3 DCalFine", "1 2 1 2 3 1 2 1 2"),
        ("|: 1 [1 2 :| ] [2 3 ] 4 DC", "1 2 1 3 4 1 2 1 3 4"),
        ("|: 1 % 2 :| 3 DS", "1 2 1 2 3 2 1 2 3"),
    ],
)
def test_repeats_after_the_return_where_the_plan_wants_them(text, order):
    assert played(text, repeats_after_return=True)[0] == order
    assert played(text)[0] != order


def test_repeats_after_the_return_where_the_score_says_so():
    assert played("|: 1 2 :| Fine 3 DCalFinewith_repeats") == ("1 2 1 2 3 1 2 1 2", [])


# -- malformed structures: the literal reading, and what the cautions say

MALFORMED = [
    ("1 |: 2", "1 2", ["the repeat that starts at bar 2 has no end"]),
    ("|: 1 2 |: 3 :| 4", "1 2 3 3 4", ["the repeat that starts at bar 1 has no end"]),
    ("1 [1 2 ] [2 3 :| ] 4", "1 2 4", ['ending "1" over bar 2 has no repeat sign', "bar 3 is never played"]),
    ("1 [2 2 :| ] [1 3 ] 4", "1 3 4", ['bars 2-3 are numbered "2" and "1"', "bar 2 is never played"]),
    ("1 [1 2 :| ] [1 3 ] 4", "1 2 1 4", ['bars 2-3 are numbered "1" and "1"', "bar 3 is never played"]),
    ("1 [1 2 :| ] [3 3 ] 4", "1 2 1 4", ['bars 2-3 are numbered "1" and "3"', "bar 3 is never played"]),
    ("1 [1,2 2 :| ] [2-4 3 ]", "1 2 1 2 1 3", ['numbered "1, 2" and "2-4"']),
    ("1 [1 2 :|5 ] [2 3 ]", "1 2 1 3", ["the repeat after bar 2 asks for 5 times, the endings for 2"]),
    (
        "1 [1 2 :| 3 ] [2 4 ]",
        "1 2 1 4",
        ['the repeat sign after bar 2 stands inside ending "1"', "bar 3 is never played"],
    ),
    ("1 [1 2 ] [2 3 ] 4", "1 2 4", ["the endings over bars 2-3 belong to no repeat", "bar 3 is never played"]),
    ("1 [1 2 [2 3 ] 4 :| ] 5", "1 2 4 1 5", ["two endings overlap at bar 3", "bar 3 is never played"]),
    ("1 [ 2 :| ] [ 3 ] 4", "1 2 1 3 4", ['bar 2 has no number: read as "1"', 'bar 3 has no number: read as "2"']),
    ("1 [1 2 :| ] 3 [2 4 ] 5", "1 2 1 3 5", ["the endings over bar 4 belong to no repeat", "bar 4 is never played"]),
    ("|: 1 2 :| [2 3 ] 4", "1 2 1 3 4", ['ending "2" over bar 3 has no first one: bar 2 is taken for it']),
    ("[2 1 2 ]", "1 2", ["belong to no repeat", "every bar stands under an ending"]),
    ("1 [1 2 :| DC ] [2 3 ]", "1 2 1 3", ["the D.C. after bar 2 is never reached"]),
    ("1 2 Fine 3 DCalFine 4 DCalFine", "1 2 3 1 2", ["the D.C. after bar 4 is never reached", "bar 4 is never played"]),
    ("1 2 DS 3", "1 2 3", ["the D.S. after bar 2 has no segno to go back to"]),
    ("1 2 DS % 3 4", "1 2 3 4", ["the D.S. after bar 2 stands before its segno"]),
    ("% 1 2", "1 2", ["no D.S. goes back to the segno at bar 1"]),
    ("1 ToCoda 2 DCalCoda 3", "1 2 1 2 3", ["To Coda at bar 1 finds no coda sign"]),
    ("1 2 DCalCoda O 3", "1 2 1 2 3", ["no To Coda leads to the coda sign at bar 3"]),
    ("1 2 DCalCoda 3", "1 2 1 2 3", ["the D.C. after bar 2 says al Coda, but there is no coda"]),
    ("1 O 2 ToCoda 3 DCalCoda 4", "1 2 3 1 2 2 3 4", ["To Coda at bar 2 comes after its coda sign"]),
    (  # back to a repeated section, whose count begins anew
        "1 2 DCalCoda O |: 3 :| 4 ToCoda 5",
        "1 2 1 2 3 3 4 3 3 4 5",
        ["To Coda at bar 4 comes after its coda sign"],
    ),
    ("1 ToCoda 2 O 3", "1 2 3", ["no D.C. or D.S. leads back to To Coda at bar 1"]),
    ("1 ToCoda % 2 3 DSalCoda O 4", "1 2 3 2 3 4", ["says al Coda, but the music never comes to To Coda"]),
    ("1 2 Fine 3", "1 2 3", ["no D.C. or D.S. leads back to the Fine at bar 2"]),
    ("1 2 DCalFine 3", "1 2 1 2 3", ["the D.C. after bar 2 says al Fine, but there is no Fine"]),
    ("1 Fine % 2 DSalFine 3", "1 2 2 3", ["says al Fine, but the music never comes to the Fine"]),
]


@pytest.mark.parametrize(("text", "order", "cautions"), MALFORMED, ids=[text for text, _, _ in MALFORMED])
def test_malformed_is_read_literally_and_says_what_is_wrong(text, order, cautions):
    found, said = played(text)
    assert found == order
    assert len(said) == len(cautions)
    assert all(any(caution in message for message in said) for caution in cautions)


def test_a_caution_names_the_bar_and_the_way_out():
    _, remarks = unfold(written("0 1 |: 2"))
    assert [(remark.code, remark.bar) for remark in remarks] == [("repeat-structure", 2)]
    assert "repeat sign" in remarks[0].suggestion and "`order:" in remarks[0].suggestion


@pytest.mark.parametrize(
    ("text", "numbers"),
    [
        ("1", [1]),
        ("1.", [1]),
        ("1,2", [1, 2]),
        ("1, 2, 4", [1, 2, 4]),
        ("1-3", [1, 2, 3]),
        ("1. – 3.", [1, 2, 3]),
        ("1.-2., 4", [1, 2, 4]),
        ("", []),
        ("last", []),
        ("0", []),
        ("3-1", []),
    ],
)
def test_ending_numbers(text, numbers):
    assert [number for span in ending_numbers(text) for number in span] == numbers


# -- pass, last, returned

PASSES = [  # bar.pass, a star where it is the last time, a bar line where the return begins
    ("|: 1 2 :| 3", "1.1 2.1 1.2* 2.2* 3.1*"),
    ("1 [1 2 :| ] [2 3 4 ] 5", "1.1 2.1 1.2* 3.2* 4.2* 5.1*"),
    ("1 [1,2 2 :| ] [3 3 ]", "1.1 2.1 1.2 2.2 1.3* 3.3*"),
    ("1 2 Fine 3 DC", "1.1 2.1 3.1* | 1.2* 2.2*"),
    ("1 [1 2 :| ] [2 3 DC ] 4", "1.1 2.1 1.2 3.2 | 1.3* 3.3* 4.1*"),
    ("1 [1 2 :| ] [2 3 DC ] [3 4 ]", "1.1 2.1 1.2 3.2 | 1.3* 4.3*"),
    ("1 [1 2 :| ] [2 3 Fine ] 4 DC", "1.1 2.1 1.2 3.2 4.1* | 1.3* 3.3*"),
    ("1 ToCoda 2 DCalCoda O |: 3 :|", "1.1 2.1* | 1.2* 3.1 3.2*"),
    ("|: 1 |: 2 :| [1 3 :| ] [2 4 ]", "1.1 2.1 2.2 3.1 1.2* 2.3 2.4* 4.2*"),
    ("1 [1 2 :| ] [2 3 |: 4 :| 5 ]", "1.1 2.1 1.2* 3.2* 4.2 4.3* 5.2*"),
    ("1 [1 2 :| ] [2 % 3 DS ] 4", "1.1 2.1 1.2* 3.2 | 3.3* 4.1*"),
]


def spelled(score: Score, passages: np.ndarray) -> str:
    words = [f"{score.bar_name(p['row'])}.{p['pass']}{'*' if p['last'] else ''}" for p in passages]
    if passages["returned"].any():
        words.insert(int(np.argmax(passages["returned"])), "|")
    return " ".join(words)


@pytest.mark.parametrize(("text", "passes"), PASSES, ids=[text for text, _ in PASSES])
def test_passes_worked_out_by_hand(text, passes):
    score = written(text)
    assert spelled(score, unfold(score)[0]) == passes


def test_the_table_carries_what_the_bars_say():
    score = written("0 1 :| 2")
    score.bars["length"] = [1, 4, 3]
    score.bars["shift"] = [3, 0, 0]
    score.bars["beats"], score.bars["unit"] = [4, 4, 6], [4, 4, 8]
    passages, _ = unfold(score)
    assert passages["start"].tolist() == [0, 1, 5, 6, 10]
    assert passages["length"].tolist() == [1, 4, 1, 4, 3]
    assert passages["shift"].tolist() == [3, 0, 3, 0, 0]
    assert passages["beats"].tolist() == [4, 4, 4, 4, 6]
    assert passages["unit"].tolist() == [4, 4, 4, 4, 8]
    assert passages["number"].tolist() == [0, 1, 0, 1, 2]


# -- the order as the plan gives it


def test_the_order_of_the_plan_overrides_the_score():
    score = written("1 [1 2 :| ] [2 3 ] |: 4")
    passages, remarks = unfold(score, order=[(0, 1, False), (0, 0, False), (2, 2, False), (3, 3, False), (0, 2, True)])
    assert spelled(score, passages) == "1.1 2.1 1.2 3.2 4.1* | 1.3* 2.3* 3.3*"
    assert remarks == ()


def test_an_order_may_return_and_come_back():
    passages, _ = unfold(written("1 2"), order=np.array([(0, 1, 0), (0, 0, 1), (1, 1, 0)]))
    assert passages["returned"].tolist() == [False, False, True, False]


@pytest.mark.parametrize("order", [[], [(0, 3, False)], [(-1, 0, False)], [(1, 0, False)]])
def test_an_order_of_bars_that_do_not_exist_is_refused(order):
    with pytest.raises(CannotDo, match="3 bars are written"):
        unfold(written("1 2 3"), order=order)


def test_an_endless_order_is_cut_with_a_caution():
    passages, remarks = unfold(written("1 2 3"), order=[(0, 2, False)] * MAX_BARS)
    assert len(passages) == MAX_BARS
    assert passages["row"][-3:].tolist() == [(MAX_BARS - 3 + k) % 3 for k in range(3)]
    assert [remark.code for remark in remarks] == ["order-too-long"]
    assert f"cut off after {MAX_BARS}" in remarks[0].message


# -- minuet and trio


def with_words(text: str, *words: tuple[int, str]) -> Score:
    score = written(text)
    marks = [mark("words", row, text=said) for row, said in words]
    return replace(score, marks=np.concatenate([score.marks, np.array(marks, score.marks.dtype)]))


def bars_of(score: Score) -> str:
    passages, remarks = unfold(score)
    assert not remarks
    return " ".join(score.bar_name(row) for row in passages["row"])


@pytest.mark.parametrize("said", ["Trio", "Trio.", "TRIO II"])
def test_a_da_capo_without_fine_ends_where_the_trio_begins(said):
    assert bars_of(with_words("1 :| |: 2 :| |: 3 :| |: 4 :| DC", (2, said))) == "1 1 2 2 3 3 4 4 1 2"
    assert bars_of(with_words("1 2 3 4 DC", (2, said))) == "1 2 3 4 1 2"


def test_a_fine_or_a_coda_goes_before_the_trio():
    assert bars_of(with_words("1 Fine 2 3 DC", (2, "Trio"))) == "1 2 3 1"
    assert bars_of(with_words("1 ToCoda 2 3 DCalCoda O 4", (2, "Trio"))) == "1 2 3 1 4"


@pytest.mark.parametrize("words", ["DC_Menuetto", "DC_Minuet", "DC_M.D.C.", "DC_Men._da_Capo", "DC_Scherzo"])
def test_a_da_capo_of_the_minuet_plays_its_two_sections(words):
    text = f"1 :| |: 2 [1 3 :| ] [2 4 ] |: 5 :| |: 6 :| {words}"
    assert bars_of(written(text)) == "1 1 2 3 2 4 5 5 6 6 1 2 4"


def test_a_da_capo_that_names_nothing_plays_all():
    assert bars_of(written("1 :| |: 2 :| |: 3 :| |: 4 :| DC")) == "1 1 2 2 3 3 4 4 1 2 3 4"
    assert bars_of(with_words("1 2 3 DC", (1, "trionfante"))) == "1 2 3 1 2 3"


def test_words_of_a_return_reach_back_from_the_repeat_sign():
    assert bars_of(written("|: 1 :| |: 2 3 DC 4 :|")) == "1 1 2 3 4 2 3 4 1 2 3 4"
    assert bars_of(written("|: 1 Fine :| |: 2 DCalFine 3 :|")) == "1 1 2 3 2 3 1"
    assert bars_of(written("1 :| 2 3 DC 4 :|")) == "1 1 2 3 4 2 3 4 1 2 3 4"


# -- in words


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("1 2 3", "1-3"),
        ("0 1 2 :| 3", "0-2, 0-2, 3"),
        ("1 2 [1 3 :| ] [2 4 ] 5", "1-3, 1-2, 4-5"),
        ("|: 1 :|3 2", "1, 1, 1, 2"),
        ("1 2a :| 2b 3", "1-2a, 1-2a, 2b-3"),
        ("1 2 :| 3 4 Fine 5 DCalFine", "1-2, 1-2, 3-5, 1-2, 3-4"),
    ],
)
def test_in_words(text, words):
    score = written(text)
    assert in_words(score, unfold(score)[0]) == words


def test_halves_of_a_bar_are_told_apart():
    score = score_of([mark("repeat end", 1, 3.0)], ["1", "2", "2", "3"])
    score.bars["length"][1:3], score.bars["shift"][2] = [3.0, 1.0], 3.0
    passages, _ = unfold(score)
    assert in_words(score, passages) == "1 - 2:3, 1 - 2:3, 2:4 - 3"
    assert in_words(score, passages[1:3]) == "2 - 2:3, 1"
    assert in_words(score, unfold(score, order=[(0, 2, False), (2, 3, False)])[0]) == "1 - 2:3, 2:4 - 2, 2:4 - 2, 3"


def test_no_bars_no_words():
    score = score_of([], [])
    passages, remarks = unfold(score)
    assert (len(passages), remarks, in_words(score, passages)) == (0, (), "")


# -- bounds


@pytest.mark.parametrize("text", ["|: 1 :|1e9", "|: 1 :|1e300 2", "1 [1-99999999999999999999999 2 :| ] 3"])
def test_many_times_are_cut_with_a_caution(text):
    score = written(text)
    passages, remarks = unfold(score)
    assert len(passages) == 64 * (len(score.bars) + 1)
    assert remarks[-1].code == "order-too-long" and f"more than {len(passages)} bars" in remarks[-1].message


def test_deep_nesting_is_cut_with_a_caution():
    depth = 40
    bars = iter(range(1, 100))
    text = " ".join([f"|: {next(bars)}" for _ in range(depth)] + [f"{next(bars)} :|" for _ in range(depth)])
    passages, remarks = unfold(written(text))
    assert len(passages) == 64 * (2 * depth + 1)
    assert remarks[-1].code == "order-too-long"


def test_twenty_thousand_bars_are_an_ordinary_matter():
    text = " ".join(f"|: {k} {k + 1} :|" for k in range(1, MAX_BARS // 2, 2))
    passages, remarks = unfold(written(text))
    assert len(passages) == MAX_BARS and remarks == ()
    assert passages["start"][-1] == 4 * (MAX_BARS - 1)


def test_thousands_of_endings_are_passed_over_within_bounds():
    text = "0 " + " ".join(f"[{k} {k} :| ]" for k in range(1, 6001))
    passages, remarks = unfold(written(text))
    assert len(passages) <= MAX_BARS
    assert [remark.code for remark in remarks] == ["order-too-long"]
