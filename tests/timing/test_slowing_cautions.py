"""The rules for slowdowns: a case that earns each, one that just misses it, and what its fix makes of the plan."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from judged import entries_of, in_file, mended, told
from support import reading, score

from timing.cautions import check
from timing.cautions.endings import Facts, like_an_ending
from timing.remarks import Remark, Severity
from timing.score import Ornament

FOUR = {"phrases": [{"bars": "1-4"}, {"bars": "5-8"}]}
EIGHT = {"phrases": [{"bars": "1-8"}]}
NESTED = {"phrases": [{"bars": "1-8", "inside": ["1-4", "5-8"]}]}
TWOS = {"phrases": [{"bars": "1-4", "inside": ["1-2", "3-4"]}, {"bars": "5-8", "inside": ["5-6", "7-8"]}]}
PLACE = ("slowing-mid-phrase", "slowing-over-end")  # of one slowdown only one of them is told


def found(code: str, plan: dict, **options) -> list[Remark]:
    return told(code, reading(plan, **options))


def severities(plan: dict, where: str, to: str = "70%", kind: str = "rallentando", **options) -> list[str]:
    """How grave the place of one slowdown is: [] if it is fine."""
    made = reading(plan | {"slowing": [{kind: where, "to": to, "then": "a tempo"}]}, **options)
    return [str(remark.severity) for code in PLACE for remark in told(code, made)]


# -- the slowdown in the middle of a phrase


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


def test_a_melody_that_is_silent_at_the_end_has_no_last_note_there():
    voice = " ".join(["c5:1 d5:1 e5:1 f5:1"] * 2 + ["g5:1 r:7"] + ["c5:1 d5:1 e5:1 f5:1"] * 4)
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


@settings(max_examples=300, deadline=None)
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


def test_passes():
    """Bars 1-4 are one phrase the first time and the first half of a longer one the second time."""
    plan = {
        "order": ["1-6", "1-6"],
        "phrases": [{"bars": "1-4", "pass": 1}, {"bars": "1-6", "pass": 2}],
        "slowing": [{"rallentando": "3:1 - 4:1", "to": "70%", "then": "a tempo"}],
    }
    (remark,) = found("slowing-mid-phrase", plan, bars=8)
    assert (remark.bar, remark.beat, remark.pass_, remark.severity) == (4, 1, 2, Severity.CAUTION)
    first = plan | {"slowing": [plan["slowing"][0] | {"pass": 1}]}
    assert found("slowing-mid-phrase", first, bars=8) == []


def test_one_entry_is_told_once_though_it_is_heard_twice():
    plan = FOUR | {"order": ["1-8", "1-8"], "slowing": [{"rallentando": "1:1 - 2:1", "to": "70%", "then": "a tempo"}]}
    (remark,) = found("slowing-mid-phrase", plan, bars=8)
    assert remark.pass_ == 1


def test_the_gravest_hearing_of_an_entry_is_told():
    tempi = [{"tempo": 60}, {"at": 1, "tempo": 80, "pass": 2}, {"over": "5:1 - 6:2", "tempo": 50}]
    plan = FOUR | {"order": ["1-8", "1-8"], "tempo": tempi}
    (remark,) = found("slowing-mid-phrase", plan, bars=8)
    assert (remark.severity, remark.pass_) == (Severity.CAUTION, 2)  # 50 of 60 were advice
    tempi[1] |= {"pass": 1}
    tempi.insert(2, {"at": 1, "tempo": 60, "pass": 2})
    (remark,) = found("slowing-mid-phrase", plan, bars=8)
    assert (remark.severity, remark.pass_) == (Severity.CAUTION, 1)


def test_an_end_that_slows_already_is_not_offered():
    middle = {"rallentando": "5:1 - 6:2", "to": "70%", "then": "a tempo"}
    ends = [{"rallentando": f"{bar}:1 - {bar}:4", "to": "90%", "then": "a tempo"} for bar in (4, 8)]
    (remark,) = found("slowing-mid-phrase", in_file(FOUR | {"slowing": [middle, ends[0]]}), bars=8)
    assert "the nearest phrase end that does not slow yet is at 8:4" in remark.message
    assert entries_of(remark) == [middle | {"rallentando": "7:3 - 8:4"}]
    (remark,) = found("slowing-mid-phrase", in_file(FOUR | {"slowing": [middle, *ends]}), bars=8)
    assert remark.message.endswith("; every phrase end where it could stand slows already") and not remark.fix


def test_what_the_musician_reads():
    slow = {"rallentando": "5:1 - 6:2", "to": "70%", "then": "a tempo", "why": "a sigh"}
    (remark,) = found("slowing-mid-phrase", in_file(NESTED | {"slowing": [slow]}), bars=8)
    assert remark.message == (
        "the rallentando 5:1 - 6:2 is slowest at 6:2, 38% of the way through the phrase 5-8, whose own end does not "
        "slow: it may be heard as an ending; the nearest phrase end is at 4:4"
    )
    assert remark.suggestion == "{rallentando: 3:3 - 4:4, to: 70%, then: a tempo, why: a sigh}"
    assert (remark.bar, remark.beat, remark.pass_) == (6, 2, 1)


def test_a_long_phrase_may_have_a_smaller_one_inside_it():
    plan = EIGHT | {"slowing": [{"rallentando": "3:3 - 4:4", "to": "70%", "then": "a tempo"}]}
    (remark,) = found("slowing-mid-phrase", plan, bars=8)
    assert "(if a smaller phrase ends at 4:4, say so with 'inside')" in remark.message


def test_a_slowdown_that_a_later_one_cuts_is_judged_where_it_is_cut():
    slowing = [
        {"rallentando": "1:1 - 4:4", "to": "60%", "then": "a tempo"},
        {"rallentando": "2:1 - 4:4", "to": "70%", "then": "a tempo"},
    ]
    (remark,) = found("slowing-mid-phrase", FOUR | {"slowing": slowing}, bars=8)
    assert (remark.bar, remark.beat) == (1, 4)


def test_a_slowdown_stays_on_its_side_of_a_repeat():
    slow = {"rallentando": "1:1 - 1:4", "to": "70%", "then": "a tempo", "pass": 2}
    plan = in_file(FOUR | {"order": ["1-8", "1-8"], "slowing": [slow]})
    (remark,) = found("slowing-mid-phrase", plan, bars=8)
    assert entries_of(remark) == [slow | {"rallentando": "4:1 - 4:4"}]  # bar 8 was just heard, on pass 1
    assert "the nearest phrase end is at 4:4" in remark.message
    assert found("slowing-mid-phrase", mended(plan, remark), bars=8) == []


def test_the_moved_slowdown_does_not_start_before_the_music_it_stands_in():
    """At the end of bar 2 the order has just come back to bar 1: there is no room for three bars of slowing."""
    plan = {
        "order": ["5-8", "1-8"],
        "phrases": [{"bars": "5-8"}, {"bars": "1:1 - 2:4"}],
        "slowing": [{"rallentando": "1:1 - 3:4", "to": "70%"}],
    }
    reading_ = reading(plan, bars=8)
    assert [r.code for r in check(reading_) if r.severity is Severity.ERROR] == []


positions = st.tuples(st.integers(1, 12), st.integers(1, 4)).map(lambda at: 4 * at[0] + at[1])


@settings(max_examples=100, deadline=None)
@given(
    st.sampled_from(
        [
            ["1-4", "5-8", "9-12"],
            [{"bars": "1-8", "inside": ["1-4", "5-8"]}, "9-12"],
            [{"bars": "1-12", "inside": ["1-3", "4-8", "9-12"]}],
            ["1-12"],
            ["1:3 - 5:2", "5:3 - 8:2", "8:3 - 12:4"],
            [{"bars": "1-4", "inside": ["1-2", "3-4"]}, {"bars": "5-12", "inside": ["5-6", "7-12"]}],
        ]
    ),
    positions,
    st.integers(1, 12),
    st.sampled_from(["rallentando", "ritenuto", "allargando"]),
    st.sampled_from([{}, {"to": "60%"}, {"to": "95%", "pass": 1}, {"curvature": 2, "then": "a tempo by 12:4"}]),
    st.sampled_from([None, ["1-12"], ["1-8", "1-12"], ["1-12", "5-8"]]),
)
def test_the_suggestion_reads_back_and_mends_the_plan(phrases, end, beats, kind, more, order):
    start = max(end - beats, 5)
    where = f"{(start - 1) // 4}:{(start - 1) % 4 + 1} - {(end - 1) // 4}:{(end - 1) % 4 + 1}"
    if end >= 51:  # too late to be back by 12:4
        more = {key: value for key, value in more.items() if key != "then"}
    plan = {
        "phrases": [p if isinstance(p, dict) else {"bars": p} for p in phrases],
        "slowing": [{kind: where} | more],
    }
    if order:
        plan["order"] = order
    plan = in_file(plan)
    for remark in check(reading(plan, bars=12)):
        if remark.code in PLACE:
            again = check(reading(mended(plan, remark), bars=12))
            assert not [r for r in again if r.code in (*PLACE, "never-heard") or r.severity == "error"]


# -- a slower tempo that is reached by degrees


def slower(over: str, tempo: object = 40, *later: dict) -> dict:
    return FOUR | {"tempo": [{"tempo": 60}, {"over": over, "tempo": tempo}, *later]}


@pytest.mark.parametrize(
    ("over", "tempo", "expected"),
    [
        ("2:1 - 2:3", 40, ["caution"]),
        ("3:1 - 4:4", 40, []),
        ("2:1 - 2:3", "80%", ["caution"]),
        ("2:1 - 2:3", "90%", ["advice"]),
        ("2:1 - 2:3", "91%", []),
        ("2:1 - 2:3", 80, []),  # faster
        ("2:1 - 2:3", 60, []),  # as fast
    ],
)
def test_a_gradual_tempo_that_falls_is_judged_as_a_slowdown(over, tempo, expected):
    assert [str(r.severity) for r in found("slowing-mid-phrase", slower(over, tempo))] == expected


def test_a_gradual_tempo_is_moved_with_the_return_that_follows_it():
    plan = in_file(slower("5:1 - 6:2", 40, {"at": "6:3", "tempo": "tempo primo"}))
    (remark,) = found("slowing-mid-phrase", plan)
    assert "the slower tempo over 5:1 - 6:2 is slowest at 6:2" in remark.message
    assert entries_of(remark) == [{"over": "3:3 - 4:4", "tempo": 40}, {"at": "5:1", "tempo": "tempo primo"}]
    made = reading(mended(plan, remark))
    assert told("slowing-mid-phrase", made) == []
    assert made.performance.time.tempo([0.0, 16.0, 20.0]).tolist() == pytest.approx([60, 60, 60])
    assert float(made.performance.time.tempo(16.0, before=True)) == pytest.approx(40)


def test_a_slower_tempo_that_stays_is_moved_alone():
    plan = in_file(slower("5:1 - 6:2", 40, {"at": "8", "tempo": 60}))
    (remark,) = found("slowing-mid-phrase", plan)
    assert entries_of(remark) == [{"over": "3:3 - 4:4", "tempo": 40}]
    assert found("slowing-mid-phrase", mended(plan, remark)) == []


# -- over the end of a phrase


def codes(plan: dict, where: str, **options) -> list[str]:
    made = reading(plan | {"slowing": [{"rallentando": where, "to": "70%", "then": "a tempo"}]}, **options)
    return [remark.code for remark in check(made) if remark.code in PLACE]


@pytest.mark.parametrize(
    ("plan", "where", "expected"),
    [
        (FOUR, "3:1 - 5:2", []),  # two beats after the end
        (FOUR, "3:1 - 5:3", ["slowing-over-end"]),
        (FOUR, "4:4 - 5:3", ["slowing-over-end"]),
        (FOUR, "5:1 - 5:3", ["slowing-mid-phrase"]),  # begins with the phrase
        (FOUR, "3:1 - 8:4", []),  # a long one, to the end of the next phrase
        (FOUR, "3:1 - 7:4", ["slowing-over-end"]),
        (FOUR, "3:1 - 8:1", []),
        (NESTED, "3:1 - 5:3", ["slowing-over-end"]),
        (EIGHT, "3:1 - 5:3", ["slowing-mid-phrase"]),  # no phrase ends there
        (TWOS, "2:3 - 3:3", ["slowing-over-end"]),
        ({"phrases": [{"bars": "1-4"}]}, "3:1 - 5:3", []),  # no phrase has begun
    ],
)
def test_a_slowdown_that_runs_over_an_end_is_told_once(plan, where, expected):
    assert codes(plan, where) == expected


@pytest.mark.parametrize(
    ("where", "instead"),
    [
        ("3:1 - 5:3", "3:1 - 4:4"),  # its beginning stays
        ("4:2 - 5:3", "4:2 - 4:4"),
        ("4:4 - 5:3", "4:1 - 4:4"),  # less than half of it would be left: it is moved
    ],
)
def test_what_runs_over_an_end_is_to_end_there(where, instead):
    plan = in_file(FOUR | {"slowing": [{"rallentando": where, "to": "70%", "then": "a tempo"}]})
    (remark,) = found("slowing-over-end", plan)
    assert remark.severity is Severity.CAUTION
    assert "runs over the phrase end at 4:4 and is slowest only at 5:3" in remark.message
    assert entries_of(remark) == [{"rallentando": instead, "to": "70%", "then": "a tempo"}]
    assert [r.code for r in check(reading(mended(plan, remark))) if r.code in PLACE] == []


# -- the depth of inner and outer ends


def ends(inner: str, outer: str | None, phrases: dict = NESTED, **more) -> dict:
    slowing = [{"rallentando": "3:3 - 4:4", "to": inner, "then": "a tempo"}]
    if outer:
        slowing.append({"rallentando": "7:1 - 8:4", "to": outer})
    return phrases | {"slowing": slowing} | more


@pytest.mark.parametrize(
    ("plan", "expected"),
    [
        (ends("75%", "80%"), ["advice"]),
        (ends("76%", "80%"), []),  # a difference that is hardly heard
        (ends("85%", "80%"), []),
        (ends("95%", None), ["advice"]),
        (ends("96%", None), []),
        (ends("80%", None, holds=[{"fermata": "8:4"}]), []),  # the larger end is held
        (ends("80%", None, holds=[{"caesura": "after 8"}]), []),
        (ends("80%", None, holds=[{"agogic": "8:4"}]), ["advice"]),  # that is no ending
        (ends("80%", None, holds=[{"delay": "8:4", "by": "40 ms"}]), ["advice"]),  # nor is that
        (ends("80%", None, holds=[{"fermata": "6:4"}]), ["advice"]),
        (ends("60%", "80%", FOUR), []),  # neither is in the other
        (ends("60%", "80%", EIGHT), []),
    ],
)
def test_an_inner_end_that_is_slower_than_the_outer_one(plan, expected):
    assert [str(remark.severity) for remark in found("inner-end-slower", plan)] == expected


@pytest.mark.parametrize(
    ("where", "there"),
    [("6:3 - 7:4", "which does not slow"), ("6:3 - 8:1", "which goes to 80%"), ("7:3 - 8:4", "which goes to 80%")],
)
def test_an_end_is_slowed_in_its_last_bar(where, there):
    plan = ends("70%", None)
    plan["slowing"].append({"rallentando": where, "to": "80%", "then": "a tempo"})
    (remark,) = found("inner-end-slower", plan)
    assert there in remark.message


def test_the_inner_end_is_made_milder():
    plan = in_file(ends("70%", "80%"))
    (remark,) = found("inner-end-slower", plan)
    assert remark.message.startswith(
        "the rallentando 3:3 - 4:4 brings the end of the phrase 1-4 to 70%, slower than the end of the phrase 1-8 that "
        "contains it, which goes to 80%"
    )
    assert remark.suggestion == "{rallentando: 3:3 - 4:4, to: 86%, then: a tempo}"
    assert found("inner-end-slower", mended(plan, remark)) == []


@pytest.mark.parametrize(("bars", "more"), [(8, {}), (12, {"then": "a tempo"})])
def test_an_outer_end_that_does_not_slow_is_slowed_as_much(bars, more):
    plan = in_file(ends("70%", None))
    (remark,) = found("inner-end-slower", plan, bars=bars)
    assert entries_of(remark) == [{"rallentando": "7:3 - 8:4", "to": "70%"} | more]
    assert found("inner-end-slower", mended(plan, remark), bars=bars) == []


def test_ends_that_a_pass_does_not_play_are_not_compared():
    """The first time the order goes back before the larger phrase is over."""
    plan = ends("70%", "60%") | {"order": ["1-6", "1-8"]}
    assert found("inner-end-slower", plan) == []
