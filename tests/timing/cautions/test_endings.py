"""When a slowdown may be heard as an ending: each condition, a case that earns it and one that just misses it."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from judged import in_file, told
from laws import MANY
from slowed import EIGHT, FOUR, NESTED, PLACE, TWOS, found, severities
from support import reading, score

from timing.cautions import check
from timing.cautions.endings import Facts, like_an_ending
from timing.remarks import Severity
from timing.score import Ornament


@pytest.mark.parametrize(
    ("where", "expected"),
    [
        # bars 1-4 in 4/4 are 16 quarters, and their last note begins after 15
        ("1:1 - 1:2", []),  # two beats after the beginning
        ("1:1 - 1:3", ["caution"]),
        ("2:1 - 2:4", ["caution"]),
        ("2:1 - 3:4", ["caution"]),  # three beats before the last note
        ("2:1 - 4:1.5", ["caution"]),
        ("2:1 - 4:1", []),  # two beats before it
        ("3:1 - 4:4", []),
        ("3:1 - 5:2", []),  # two beats after the end
        ("3:1 - 5:3.5", ["caution"]),
        ("3:1 - 5:3", ["caution"]),
    ],
)
def test_an_ending_is_within_two_beats(where, expected):
    assert severities(FOUR, where) == expected


@pytest.mark.parametrize(
    ("to", "expected"), [("80%", ["caution"]), ("81%", ["advice"]), ("90%", ["advice"]), ("91%", [])]
)
def test_shallow_slowdowns_are_judged_more_mildly(to, expected):
    assert severities(FOUR, "1:1 - 2:1", to) == expected


@pytest.mark.parametrize("kind", ["rallentando", "ritardando", "ritenuto", "allargando"])
def test_every_slowdown_is_judged_by_where_it_ends(kind):
    assert severities(FOUR, "1:4 - 2:3", kind=kind) == ["caution"]
    assert severities(FOUR, "1:4 - 4:4", kind=kind) == []


def test_hurrying_is_not_judged():
    plan = FOUR | {"slowing": [{"accelerando": "1:1 - 2:1", "to": "120%", "then": "a tempo"}]}
    assert found("slowing-mid-phrase", plan, bars=8) == []


@pytest.mark.parametrize(
    ("plan", "where", "expected"),
    [
        (NESTED, "3:1 - 4:4", []),  # at the end of the smaller phrase
        (NESTED, "5:1 - 6:2", ["caution"]),  # in the middle of it
        (EIGHT, "3:1 - 4:4", ["caution"]),  # the same place, if the eight bars are not divided
        (TWOS, "2:1 - 2:3", []),  # two bars end as well
        (TWOS, "1:1 - 1:4", ["caution"]),  # halfway through two bars
        ({"phrases": [{"bars": "5-8"}]}, "2:1 - 2:3", []),  # outside all phrases
    ],
)
def test_ends_of_every_level_count(plan, where, expected):
    assert severities(plan, where) == expected


SENTENCE = {"phrases": [{"bars": "1-8", "inside": ["1-2", "3-4", "5-8"]}]}


def test_a_sentence_may_slow_a_little_in_its_middle():
    """2 + 2 + 4: a little at bar 4, most at bar 8."""
    slowing = [
        {"rallentando": "4:1 - 4:3", "to": "88%", "then": "a tempo"},
        {"rallentando": "7:1 - 8:4", "to": "70%"},
    ]
    assert [r for r in check(reading(SENTENCE | {"slowing": slowing})) if r.code in (*PLACE, "inner-end-slower")] == []


def test_a_sentence_that_slows_most_in_its_middle_is_advised():
    slowing = [
        {"rallentando": "4:1 - 4:3", "to": "70%", "then": "a tempo"},
        {"rallentando": "7:1 - 8:4", "to": "88%"},
    ]
    remarks = [r for r in check(reading(SENTENCE | {"slowing": slowing})) if r.code in (*PLACE, "inner-end-slower")]
    assert [(r.code, r.severity) for r in remarks] == [("inner-end-slower", Severity.ADVICE)]


@pytest.mark.parametrize(
    ("end", "expected"),
    [
        ({"rallentando": "8:1 - 8:4", "to": "74%"}, ["caution"]),  # 70 % is 5 % slower
        ({"rallentando": "8:1 - 8:4", "to": "73%"}, []),
        ({"rallentando": "7:1 - 8:1", "to": "60%", "then": "a tempo"}, []),  # in the last bar
        ({"rallentando": "7:1 - 7:4", "to": "60%", "then": "a tempo"}, ["caution"]),  # before it
    ],
)
def test_an_end_that_slows_as_much_answers_for_the_middle(end, expected):
    plan = NESTED | {"slowing": [{"rallentando": "5:1 - 6:1", "to": "70%", "then": "a tempo"}, end]}
    severities = [str(r.severity) for r in found("slowing-mid-phrase", plan) if r.bar == 6]
    assert severities == expected


@pytest.mark.parametrize(
    ("hold", "expected"),
    [
        ({"fermata": "8:4"}, 0),  # half as long again: to 67 %
        ({"fermata": "8:4", "length": "140%"}, 0),  # to 71 %
        ({"fermata": "8:4", "length": "130%"}, 1),  # to 77 %: 70 % is slower
        ({"breath": "after 8:3", "seconds": 0.5}, 0),  # to 67 %
        ({"breath": "after 8:3", "seconds": 0.3}, 1),
        ({"caesura": "after 8:4"}, 0),
        ({"agogic": "8:4"}, 1),
        ({"delay": "8:4", "by": "40 ms"}, 1),  # it belongs to its note, and ends nothing
    ],
)
def test_a_hold_at_its_end_answers_for_the_middle(hold, expected):
    plan = NESTED | {"slowing": [{"rallentando": "5:1 - 6:1", "to": "70%", "then": "a tempo"}], "holds": [hold]}
    assert len(found("slowing-mid-phrase", plan, bars=9)) == expected


@pytest.mark.parametrize(
    ("before", "after", "expected"),
    [
        ("c4:1 d4:1 e4:1 f4:1", "c4:1 d4:1 e4:1 f4:1", ["caution"]),
        ("c4:1 d4:1 e4:1 f4:1", "c4:0.5 d4:1 e4:1 f4:1 g4:0.5", ["caution"]),  # 4 and 5
        ("c4:1 d4:1 e4:1 f4:1", "c4:2 d4:2", []),  # the movement comes to rest
        ("c4:2 d4:2", "c4:1 d4:1 e4:1 f4:1", []),  # it sets in
        ("c4:1 d4:1 e4:1 f4:1", "r:4", []),
    ],
)
def test_where_the_movement_of_the_notes_stops_or_begins_one_may_wait(before, after, expected):
    steady = "c4:1 d4:1 e4:1 f4:1"
    voice = " ".join([steady] * 5 + [before, after, steady])
    plan = {"phrases": [{"bars": "1-4"}, {"bars": "5-8"}]}
    assert severities(plan, "5:4 - 6:4", voices={1: voice}) == expected


@pytest.mark.parametrize(("fourth", "expected"), [("c4:1 c4:1 r:2", ["caution"]), ("r:4", [])])
def test_at_a_change_of_metre_the_movement_is_heard_for_a_bar_of_the_old_one(fourth, expected):
    """Bars 1 and 2 are in 4/4, all others in 2/4: four beats before bar 3 and four after it are compared."""
    whole, half = "c4:1 c4:1 c4:1 c4:1", "c4:1 c4:1 r:2"  # of which a bar of 2/4 has no more than the notes
    made = score(8, voices={1: " ".join([whole, whole, half, fourth, *[half] * 4])})
    made.bars["beats"][2:], made.bars["length"][2:] = 2, 2.0
    assert severities({"phrases": [{"bars": "1-8"}]}, "2:1 - 2:4", made=made) == expected


def test_the_strokes_of_an_ornament_are_no_movement():
    plain = score(voices={1: " ".join(["c4:1 d4:1 e4:1 f4:1"] * 8)})
    trilled = plain.notes.copy()
    trilled["ornament"][(trilled["bar"] == 6)] = Ornament.TRILL
    trilled["upper"], trilled["lower"] = 2, -1
    slow = {"slowing": [{"rallentando": "5:4 - 6:4", "to": "70%", "then": "a tempo"}]}
    made = reading(FOUR | slow, replace(plain, notes=trilled))
    assert len(made.performance.notes) > len(trilled)
    assert len(told("slowing-mid-phrase", made)) == 1


LINE = {"bar": 1, "offset": 4.0}  # at the end of bar 2


@pytest.mark.parametrize(
    ("marks", "expected"),
    [
        ([], ["caution"]),
        ([{"kind": "double bar", **LINE}], []),
        ([{"kind": "fermata", "bar": 1, "offset": 3.0}], []),
        ([{"kind": "breath", "bar": 1, "offset": 3.0}], []),
        ([{"kind": "tempo", "bar": 2, "value": 72, "text": ""}], []),
        ([{"kind": "words", "bar": 2, "text": "Allegro"}], []),
        ([{"kind": "words", "bar": 2, "text": "a tempo"}], []),
        ([{"kind": "words", "bar": 0, "offset": 3.0, "text": "rit."}], []),  # it begins with the slowdown
        ([{"kind": "fermata", "bar": 2, "offset": 1.0}], []),  # a beat later
        ([{"kind": "fermata", "bar": 2, "offset": 2.0}], ["caution"]),
        ([{"kind": "words", "bar": 0, "offset": 2.0, "text": "rit."}], []),  # a beat before it begins
        ([{"kind": "words", "bar": 2, "offset": 1.0, "text": "rit."}], []),  # a beat after it is slowest
        ([{"kind": "words", "bar": 2, "text": "dolce"}], ["caution"]),
        ([{"kind": "dynamic", "bar": 2, "text": "p"}], ["caution"]),
        ([{"kind": "double bar", "bar": 2, "offset": 4.0}], ["caution"]),  # a bar later
    ],
)
def test_what_the_score_asks_for_is_not_blamed(marks, expected):
    assert severities(FOUR, "1:4 - 2:4", made=score(marks=marks)) == expected


def test_what_is_printed_counts_though_the_plan_ignores_it():
    plan = FOUR | {"marks": "ignore"}
    fermata = [{"kind": "fermata", "bar": 1, "offset": 3.0}]
    assert severities(plan, "1:4 - 2:4", made=score(marks=fermata)) == []


def test_an_ending_begins_with_the_last_note():
    """Bar 4 is one long note: to slow into it is to slow at the end."""
    voice = " ".join(["c4:1 d4:1 e4:1 f4:1"] * 3 + ["g4:4"] + ["c4:1 d4:1 e4:1 f4:1"] * 4)
    moving = " ".join(["c3:1"] * 32)
    assert severities(FOUR, "2:1 - 3:2", voices={1: voice, 2: moving}) == []
    assert severities(FOUR, "2:1 - 3:1", voices={1: voice, 2: moving}) == ["caution"]


@pytest.mark.parametrize("last", ["g5:1 r:7", "g5:4 r:4"])
def test_a_melody_that_is_silent_at_the_end_has_no_last_note_there(last):
    voice = " ".join(["c5:1 d5:1 e5:1 f5:1"] * 2 + [last] + ["c5:1 d5:1 e5:1 f5:1"] * 4)
    moving = " ".join(["c3:1"] * 32)
    assert severities(FOUR, "2:1 - 3:2", voices={1: voice, 2: moving}) == ["caution"]


@pytest.mark.parametrize(
    ("where", "expected"),
    [
        ("1:4 - 2:6", ["caution"]),
        ("2:4 - 3:2", ["caution"]),
        ("2:4 - 3:3", []),  # the last note begins two beats later
        ("3:4 - 5:6", []),  # a beat is a dotted quarter
        ("3:4 - 6:3", ["caution"]),
    ],
)
def test_compound_metre(where, expected):
    assert severities(FOUR, where, metre=(6, 8), voices={1: " ".join(["c4:1.5"] * 16)}) == expected


def test_phrases_that_begin_with_a_pickup():
    """From beat 4 to beat 3: the phrase is over at 4:3, though bar 4 is not."""
    pickups = {"phrases": [{"bars": "0:4 - 4:3"}, {"bars": "4:4 - 8:3"}]}
    assert severities(pickups, "4:1 - 4:3", pickup=1.0) == []
    assert severities(pickups, "4:1 - 5:1", pickup=1.0) == []  # two beats later
    assert severities(pickups, "2:1 - 2:2", pickup=1.0) == ["caution"]
    assert severities(pickups, "2:1 - 3:3", pickup=1.0) == ["caution"]
    assert severities(pickups, "2:1 - 3:4", pickup=1.0) == []  # two beats before the last note


@pytest.mark.parametrize(
    ("facts", "told"),
    [
        (Facts(to=0.76, away=0.0, own_end=0.75, attacks=(8, 8), asked=False), None),  # at an end
        (Facts(to=0.78, away=9.0, own_end=0.70, attacks=(8, 8), asked=False), None),  # the end slows more
        (Facts(to=0.78, away=9.0, own_end=0.95, attacks=(16, 6), asked=False), None),  # the runs stop
        (Facts(to=0.78, away=9.0, own_end=0.95, attacks=(8, 8), asked=True), None),  # a fermata
        (Facts(to=0.78, away=9.0, own_end=0.95, attacks=(8, 8), asked=False), Severity.CAUTION),
        (Facts(to=0.88, away=9.0, own_end=0.95, attacks=(8, 8), asked=False), Severity.ADVICE),
        (Facts(to=0.80, away=9.0, own_end=0.84, attacks=(8, 8), asked=False), Severity.CAUTION),  # by just 5 %
    ],
)
def test_each_condition_excuses_by_itself(facts, told):
    assert like_an_ending(facts) == told


@MANY
@given(
    st.floats(0.3, 1.0), st.floats(0.0, 20.0), st.floats(0.0, 1.0), st.tuples(*[st.integers(0, 20)] * 2), st.booleans()
)
def test_every_condition_can_only_excuse(to, away, own_end, attacks, asked):
    facts = Facts(to, away, own_end, attacks, asked)
    grave = {None: 0, Severity.ADVICE: 1, Severity.CAUTION: 2}
    here = grave[like_an_ending(facts)]
    milder = [
        replace(facts, to=min(to + 0.05, 1.0)),
        replace(facts, away=away / 2),
        replace(facts, own_end=own_end * 0.9),
        replace(facts, attacks=(max(attacks), 0)),
        replace(facts, asked=True),
    ]
    assert all(grave[like_an_ending(each)] <= here for each in milder)
    assert like_an_ending(replace(facts, attacks=attacks[::-1])) == like_an_ending(facts)
    bare = like_an_ending(Facts(to, 8.0, 1.0, (8, 8), asked=False))
    assert grave[bare] == (2 if to <= 0.8 else 1 if to <= 0.9 else 0)


# -- where the music itself ends something


def a_tune(bars: int = 8) -> dict[int, str]:
    """Two bars and two bars again, each ending with a long note and a rest: nobody would doubt where they end."""
    return {1: " ".join(["e5:1 d5:0.5 c5:0.5 d5:1 e5:1 g5:1 e5:1 c5:1.5 r:0.5"] * (bars // 2))}


def test_in_a_long_phrase_the_music_may_end_something():
    slow = {"rallentando": "3:4 - 4:4", "to": "70%", "then": "a tempo"}
    (remark,) = found("slowing-mid-phrase", in_file(EIGHT | {"slowing": [slow]}), voices=a_tune())
    assert remark.severity is Severity.ADVICE and remark.fix == ()
    assert remark.suggestion == "inside: [1-4, 5-8]"
    assert remark.message.endswith(
        "the music seems to end something here: if you hear it so, write inside: [1-4, 5-8]"
    )
    divided = {"phrases": [{"bars": "1-8", "inside": ["1-4", "5-8"]}]}
    assert found("slowing-mid-phrase", divided | {"slowing": [slow]}, voices=a_tune()) == []


def test_where_the_music_goes_on_it_says_nothing_of_the_kind():
    slow = {"rallentando": "2:4 - 3:4", "to": "70%", "then": "a tempo"}
    (remark,) = found("slowing-mid-phrase", EIGHT | {"slowing": [slow]}, voices=a_tune())
    assert remark.severity is Severity.CAUTION and "the music" not in remark.message


def test_a_phrase_that_is_divided_is_taken_at_its_word():
    plan = {"phrases": [{"bars": "1-8", "inside": ["1-6", "7-8"]}]}
    slow = {"rallentando": "3:4 - 4:4", "to": "70%", "then": "a tempo"}
    (remark,) = found("slowing-mid-phrase", plan | {"slowing": [slow]}, voices=a_tune())
    assert remark.severity is Severity.CAUTION and "inside" not in remark.message


@pytest.mark.parametrize(
    ("end", "ends"), [("4:4.5", True), ("4:4.4", False), ("4:4.0", False), ("5:1.5", True), ("5:1.6", False)]
)
def test_the_music_ends_something_within_half_a_beat(end, ends):
    """It ends with bar 4."""
    slow = {"rallentando": f"3:4 - {end}", "to": "70%", "then": "a tempo"}
    (remark,) = found("slowing-mid-phrase", in_file(EIGHT | {"slowing": [slow]}), voices=a_tune())
    assert (remark.suggestion == "inside: [1-4, 5-8]") is ends
