"""Each rule: a case that earns it, one that just misses it, and whether its suggestion mends the plan."""

from __future__ import annotations

import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ruamel.yaml import YAML
from support import reading, score

from timing import read_plan
from timing.cautions import RULES, check
from timing.reading import perform
from timing.remarks import Remark, Severity

FOUR = {"phrases": [{"bars": "1-4"}, {"bars": "5-8"}]}
EIGHT = {"phrases": [{"bars": "1-8"}]}
NESTED = {"phrases": [{"bars": "1-8", "inside": ["1-4", "5-8"]}]}
TWOS = {"phrases": [{"bars": "1-4", "inside": ["1-2", "3-4"]}, {"bars": "5-8", "inside": ["5-6", "7-8"]}]}


def found(code: str, plan: dict, **options) -> list[Remark]:
    return [remark for remark in check(reading(plan, **options)) if remark.code == code]


def severities(plan: dict, where: str, to: str = "70%", kind: str = "rallentando", **options) -> list[str]:
    """How grave the place of one slowdown is: [] if it is fine."""
    plan = plan | {"slowing": [{kind: where, "to": to, "then": "a tempo"}]}
    return [str(remark.severity) for remark in found("slowing-mid-phrase", plan, **options)]


def yaml(text: str):
    return YAML(typ="safe").load(io.StringIO(text))


# -- the slowdown in the middle of a phrase


@pytest.mark.parametrize(
    ("where", "expected"),
    [
        # bars 1-4 in 4/4: 16 quarters; its last half begins after 2:4 (8), its last third after 10.667 quarters
        ("2:1 - 2:3", ["caution"]),
        ("2:1 - 2:4", ["advice"]),  # just within the last half
        ("2:1 - 3:2.6", ["advice"]),
        ("2:1 - 3:2.0", ["advice"]),
        ("2:1 - 3:2+2/3", ["advice"]),  # not yet two thirds
        ("2:1 - 3:3.7", []),
        ("3:1 - 4:4", []),  # at the end
        ("3:1 - 5:1", []),  # within a beat after it
        ("3:1 - 5:1.5", []),
        ("3:1 - 5:2", ["caution"]),  # two beats after it: at the beginning of the next phrase
    ],
)
def test_where_a_deep_slowdown_ends(where, expected):
    assert severities(FOUR, where) == expected


@pytest.mark.parametrize(
    ("to", "early", "later"),
    [("90%", ["caution"], ["advice"]), ("91%", ["advice"], []), ("99%", ["advice"], [])],
)
def test_shallow_slowdowns_are_judged_more_mildly(to, early, later):
    assert severities(FOUR, "1:1 - 2:1", to) == early
    assert severities(FOUR, "1:1 - 3:1", to) == later


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
        (EIGHT, "5:1 - 6:3", ["caution"]),  # half of its last four bars is not over
        (EIGHT, "5:1 - 6:4", ["advice"]),
        (EIGHT, "5:1 - 7:3", []),
        (TWOS, "2:1 - 2:3", ["caution"]),  # phrases of two bars end without slowing
        (TWOS, "4:1 - 4:4", []),
        ({"phrases": [{"bars": "1-2"}, {"bars": "3-4"}]}, "2:1 - 2:4", []),  # but they count if there are no others
        ({"phrases": [{"bars": "1-2"}, {"bars": "3-4"}]}, "1:1 - 1:3", ["caution"]),
        ({"phrases": [{"bars": "5-8"}]}, "2:1 - 2:3", []),  # outside all phrases
    ],
)
def test_against_which_phrase(plan, where, expected):
    assert severities(plan, where) == expected


def test_an_undivided_phrase_of_six_bars_is_measured_as_a_whole():
    six = {"phrases": [{"bars": "1-6"}]}  # its last half begins after bar 3
    assert severities(six, "2:1 - 3:3", bars=6) == ["caution"]
    assert severities(six, "2:1 - 3:4", bars=6) == ["advice"]


@pytest.mark.parametrize(
    ("where", "expected"),
    [
        ("1:4 - 2:5", ["caution"]),
        ("1:4 - 2:6", ["advice"]),
        ("3:4 - 4:6", []),
        ("3:4 - 5:3", []),  # a beat is a dotted quarter
        ("3:4 - 5:4", ["caution"]),
    ],
)
def test_compound_metre(where, expected):
    assert severities(FOUR, where, metre=(6, 8), voices={1: " ".join(["c4:3"] * 8)}) == expected


def test_phrases_that_begin_with_a_pickup():
    """From beat 4 to beat 3: the phrase is over at 4:3, though bar 4 is not."""
    pickups = {"phrases": [{"bars": "0:4 - 4:3"}, {"bars": "4:4 - 8:3"}]}
    assert severities(pickups, "4:1 - 4:3", pickup=1.0) == []
    assert severities(pickups, "4:1 - 4:4", pickup=1.0) == []  # a beat later
    assert severities(pickups, "2:1 - 2:2", pickup=1.0) == ["caution"]  # 8 - 1 of 16 quarters
    assert severities(pickups, "2:1 - 2:3", pickup=1.0) == ["advice"]


def test_passes():
    """Bars 1-4 are one phrase the first time and the first half of a longer one the second time."""
    plan = {
        "order": ["1-6", "1-6"],
        "phrases": [{"bars": "1-4", "pass": 1}, {"bars": "1-6", "pass": 2}],
        "slowing": [{"rallentando": "3:1 - 4:1", "to": "70%", "then": "a tempo"}],
    }
    (remark,) = found("slowing-mid-phrase", plan, bars=8)
    assert (remark.bar, remark.beat, remark.pass_, remark.severity) == (4, 1, 2, Severity.ADVICE)
    first = plan | {"slowing": [plan["slowing"][0] | {"pass": 1}]}
    assert found("slowing-mid-phrase", first, bars=8) == []


def test_one_entry_is_told_once_though_it_is_heard_twice():
    plan = FOUR | {"order": ["1-8", "1-8"], "slowing": [{"rallentando": "1:1 - 2:1", "to": "70%", "then": "a tempo"}]}
    (remark,) = found("slowing-mid-phrase", plan, bars=8)
    assert remark.pass_ == 1


def test_what_the_musician_reads():
    plan = NESTED | {"slowing": [{"rallentando": "5:1 - 6:2", "to": "70%", "then": "a tempo", "why": "a sigh"}]}
    (remark,) = found("slowing-mid-phrase", plan, bars=8)
    assert remark.message == (
        "the rallentando 5:1 - 6:2 is slowest at 6:2, 38% of the way through the phrase 5-8, which is unusual: "
        "listeners hear the slowest point as an ending, so it cuts the phrase in two; the nearest phrase end is at 4:4"
    )
    assert remark.suggestion == "{rallentando: 3:3 - 4:4, to: 70%, then: a tempo}"
    assert (remark.bar, remark.beat, remark.pass_) == (6, 2, 1)


def test_a_long_phrase_may_have_a_smaller_one_inside_it():
    plan = EIGHT | {"slowing": [{"rallentando": "3:3 - 4:4", "to": "70%", "then": "a tempo"}]}
    (remark,) = found("slowing-mid-phrase", plan, bars=8)
    assert "(if a smaller phrase ends at 4:4, say so with 'inside')" in remark.message


def test_a_slowdown_that_a_later_one_cuts_is_judged_where_it_is_cut():
    slowing = [
        {"rallentando": "1:1 - 4:4", "to": "70%", "then": "a tempo"},
        {"rallentando": "2:1 - 4:4", "to": "60%", "then": "a tempo"},
    ]
    (remark,) = found("slowing-mid-phrase", FOUR | {"slowing": slowing}, bars=8)
    assert (remark.bar, remark.beat) == (1, 4)


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
    for remark in found("slowing-mid-phrase", plan, bars=12):
        assert remark.suggestion is not None
        mended = plan | {"slowing": [yaml(remark.suggestion)]}
        again = check(reading(mended, bars=12))
        assert not [r for r in again if r.code in ("slowing-mid-phrase", "never-heard") or r.severity == "error"]


# -- the other rules


def test_slowdowns_without_phrases_cannot_be_judged():
    slowing = {"slowing": [{"rallentando": "4:1 - 4:4", "then": "a tempo"}]}
    (remark,) = found("no-phrases", slowing, bars=8)
    assert remark.severity is Severity.ADVICE
    assert found("no-phrases", slowing | yaml(remark.suggestion), bars=8) == []
    assert found("no-phrases", {"slowing": [{"accelerando": "4", "then": "a tempo"}]}, bars=8) == []


@pytest.mark.parametrize(
    ("plan", "expected"),
    [
        ({"slowing": [{"rallentando": "4:1 - 4:4"}]}, 1),
        ({"slowing": [{"accelerando": "4:1 - 4:4"}]}, 1),
        ({"slowing": [{"rallentando": "4:1 - 4:4", "then": "a tempo"}]}, 0),
        ({"slowing": [{"rallentando": "4:1 - 4:4"}, {"a tempo": "5"}]}, 0),
        ({"slowing": [{"rallentando": "4:1 - 4:4"}], "tempo": [{"tempo": 60}, {"at": "5:1", "tempo": 50}]}, 0),
        ({"slowing": [{"rallentando": "4:1 - 4:4"}], "tempo": [{"tempo": 60}, {"at": "4:1", "tempo": 50}]}, 1),
        ({"slowing": [{"rallentando": "8:1 - 8:4"}]}, 0),  # the end of the piece
        ({"slowing": [{"rallentando": "7:1 - 7:4"}]}, 0),  # its last bar goes on as slowly
        ({"slowing": [{"rallentando": "6:1 - 7:1"}]}, 1),
        (
            {"slowing": [{"rallentando": "4:1 - 4:2"}, {"rallentando": "4:3 - 4:4", "then": "a tempo"}]},
            0,
        ),  # in two steps
        ({"slowing": [{"rallentando": "2:1 - 2:2"}, {"rallentando": "4:3 - 4:4", "then": "a tempo"}]}, 1),
        (
            {"slowing": [{"rallentando": "4:1 - 4:4"}], "order": ["1-4", "1-8"]},
            1,
        ),  # back at bar 1 the tempo is back too
        ({"slowing": [{"rallentando": "4:1 - 4:4", "pass": 1}], "order": ["1-4", "1-8"]}, 0),
    ],
)
def test_no_return(plan, expected):
    assert len(found("no-return", FOUR | plan, bars=8)) == expected


@pytest.mark.parametrize(
    ("phrases", "code"),
    [
        (["1-5", "5-8"], "phrases-overlap"),
        (["1-4", "5-8"], None),
        (["1:1 - 5:2", "5:3 - 8:4"], None),
        (["1:1 - 5:2.5", "5:2 - 8:4"], "phrases-overlap"),
        (["1-8", "2-3", "5-6"], "phrases-overlap"),  # both against the first, though 2-3 is over before 5
        ([{"bars": "1-4", "inside": ["3-5"]}], "phrase-outside"),
        ([{"bars": "2-4", "inside": ["1-3"]}], "phrase-outside"),
        ([{"bars": "1-4", "inside": ["1-2", "3-4"]}], None),
        ([{"bars": "1-4", "inside": ["5-6"]}, {"bars": "5-8"}], "phrase-outside"),
    ],
)
def test_phrases_that_overlap_or_reach_out(phrases, code):
    remarks = check(reading({"phrases": [p if isinstance(p, dict) else {"bars": p} for p in phrases]}, bars=8))
    codes = [r.code for r in remarks if r.code.startswith("phrase")]
    assert set(codes) == ({code} if code else set())
    if phrases == ["1-8", "2-3", "5-6"]:
        assert len(codes) == 2


def test_phrases_of_different_passes_do_not_overlap():
    plan = {"order": ["1-4", "1-8"], "phrases": [{"bars": "1-4", "pass": 1}, {"bars": "1-8", "pass": 2}]}
    assert found("phrases-overlap", plan, bars=8) == []


TWICE = {"order": ["1-4", "1-8"]}


@pytest.mark.parametrize(
    ("plan", "expected"),
    [
        ({}, 1),
        ({"second time": [{"bars": "4", "softer": "1 dB"}]}, 0),
        ({"second time": [{"bars": "5-8", "softer": "1 dB"}]}, 1),  # which is heard once
        ({"tone": [{"bars": "1", "tone": "dark", "pass": 2}]}, 0),
        ({"tone": [{"bars": "1", "tone": "dark"}]}, 1),  # both times
        ({"holds": [{"fermata": "2:1", "pass": 1}]}, 0),
        ({"holds": [{"breath": "after 2:1", "in time": "yes", "pass": 1}]}, 0),  # only a note is shorter
        ({"slowing": [{"rallentando": "4", "to": "80%", "then": "a tempo"}]}, 1),
        ({"slowing": [{"rallentando": "4", "to": "80%", "then": "a tempo", "pass": 2}]}, 0),
        ({"dynamics": [{"at": "3", "mark": "p", "pass": 2}]}, 0),
        ({"order": ["1-8"]}, 0),
    ],
)
def test_the_second_time_exactly_like_the_first(plan, expected):
    remarks = found("second-time-same", TWICE | plan, bars=8)
    assert len(remarks) == expected
    for remark in remarks:
        assert (remark.severity, remark.bar, remark.pass_) == (Severity.ADVICE, 1, 2)
        assert remark.message == "bars 1-4 are heard again (pass 2) exactly as before"
        mended = TWICE | plan | {"second time": [yaml(remark.suggestion)["second time"][0]]}
        assert found("second-time-same", mended, bars=8) == []


def test_a_second_ending_does_not_hide_that_the_rest_is_the_same():
    endings = [
        {"kind": "ending", "bar": 3, "end_bar": 3, "text": "1"},
        {"kind": "ending", "bar": 4, "end_bar": 4, "text": "2"},
        {"kind": "repeat end", "bar": 3, "offset": 4.0},
    ]
    made = reading({}, bars=6, marks=endings)
    assert made.order == "1-4, 1-3, 5-6"
    (remark,) = [r for r in check(made) if r.code == "second-time-same"]
    assert remark.message == "bars 1-3 are heard again (pass 2) exactly as before"


def test_the_third_time_is_named_in_the_suggestion():
    plan = {"order": ["1-4", "1-4", "1-4"], "second time": [{"bars": "1-4", "softer": "2 dB"}]}
    third = plan | {"second time": [*plan["second time"], {"bars": "1-4", "softer": "2 dB", "pass": 3}]}
    assert found("second-time-same", plan, bars=4) == []
    (remark,) = found("second-time-same", third, bars=4)
    assert remark.suggestion == "second time: [{bars: 1-4, softer: 3 dB, pass: 3}]"


def test_levels_that_no_note_can_have():
    loud = {"dynamics": [{"at": "1", "mark": "fff"}], "accents": [{"at": "3:2", "by": "2 dB"}]}
    (remark,) = found("level-out-of-range", loud)
    assert (remark.bar, remark.beat, remark.severity) == (3, 2, Severity.CAUTION)
    assert remark.message == "1 note is louder than a note can be, by up to 2.0 dB at 3:2: the limit is what will sound"
    assert remark.suggestion == "take the dynamics 2.0 dB down"
    assert found("level-out-of-range", loud | {"accents": []}) == []  # fff is the loudest
    soft = {"dynamics": [{"at": "1", "mark": "ppp"}], "voices": {"melody": "-57 dB"}}
    assert "softer than a note can be, by up to 0.8 dB" in found("level-out-of-range", soft)[0].message
    assert found("level-out-of-range", soft | {"voices": {"melody": "-56 dB"}}) == []


def test_a_held_note_that_swells_too_far():
    held = {"voices": {1: "c4:16"}, "program": 40, "bars": 4}
    hairpin = {"dynamics": [{"at": "1", "mark": "p"}, {"crescendo": "1:1 - 4:4", "by": "8 dB"}]}
    (remark,) = found("level-out-of-range", hairpin, **held)
    assert "to swell further than the 6 dB that a sounding note can" in remark.message
    assert found("level-out-of-range", {"dynamics": [{"crescendo": "1:1 - 4:4", "by": "6 dB"}]}, **held) == []
    assert found("level-out-of-range", hairpin, **held | {"program": 0}) == []  # on a piano it does not swell at all


@pytest.mark.parametrize(("mark", "swell", "beyond"), [("p", 12, None), ("fff", 6, None), ("fff", 7, "1.0 dB")])
def test_a_sliding_note_has_room_to_swell_below_the_loudest(mark, swell, beyond):
    plan = {
        "dynamics": [{"at": "1", "mark": mark}],
        "glissandi": [{"from": "1:1", "to": "2:1", "swell": f"{swell} dB"}],
    }
    remarks = found("level-out-of-range", plan, voices={1: "c4:4 g4:4"}, program=40, bars=2)
    assert len(remarks) == (beyond is not None)
    for remark in remarks:
        assert f"swell to more than 6 dB above the loudest note, by up to {beyond}" in remark.message
        assert remark.suggestion == f"let it swell {beyond} less"


@pytest.mark.parametrize(
    ("metre", "tempo", "suggestion"),
    [
        ((6, 8), "63", "tempo: dotted quarter = 42"),
        ((6, 8), "[{tempo: 60}, {at: 3, tempo: 80}]", "tempo: dotted quarter = 40"),
        ((12, 16), "63", "tempo: dotted eighth = 84"),
        ((6, 8), "dotted quarter = 42", None),
        ((6, 8), "quarter = 63", None),
        ((3, 8), "63", None),
        ((4, 4), "63", None),
    ],
)
def test_a_bare_tempo_in_a_compound_metre(tmp_path, metre, tempo, suggestion):
    made = score(4, metre, voices={1: "c4:3 c4:3"})

    def suggested(text: str) -> list[str | None]:
        file = tmp_path / "plan.yaml"
        file.write_text(f"score: made-by-hand.musicxml\n{text}\n")
        plan = read_plan(file)
        return [r.suggestion for r in check(perform(made, plan)) if r.code == "bare-tempo"]

    assert suggested(f"tempo: {tempo}") == ([suggestion] if suggestion else [])
    if suggestion:
        assert suggested(suggestion) == []


# -- the list of rules


def test_every_rule_has_a_code_of_its_own_and_a_sentence():
    codes = [rule.code for rule in RULES]
    assert len(set(codes)) == len(codes)
    for rule in RULES:
        assert rule.why.endswith(".") and rule.why[0].isupper()


def test_the_gravest_comes_first():
    plan = FOUR | {
        "slowing": [{"rallentando": "1:1 - 2:1", "to": "70%"}, {"rallentando": "1:1 - 3:1", "to": "70%"}],
    }
    weights = [("error", "caution", "advice").index(remark.severity) for remark in check(reading(plan, bars=8))]
    assert weights == sorted(weights) and len(set(weights)) == 2


@pytest.mark.parametrize(
    ("tempo", "marks", "told"),
    [
        ((), [], True),
        (72, [], False),
        ((), [{"kind": "tempo", "bar": 0, "value": 90.0}], False),
        ((), [{"kind": "tempo", "bar": 0, "text": "Andante"}], True),  # a word alone is no number
    ],
)
def test_a_tempo_that_nobody_chose(tempo, marks, told):
    made = reading({"tempo": tempo}, score(bars=2, marks=marks))
    assert ("no-tempo" in [remark.code for remark in check(made)]) == told
