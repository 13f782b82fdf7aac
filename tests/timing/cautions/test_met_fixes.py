"""What is met while score and plan are brought together: cases that earn a code, cases that just miss it, and what the
changes that mend them make of the plan."""

from __future__ import annotations

import pytest
from judged import entries_of, guitar, in_file, mended, told
from support import reading, score

from timing.reading import Reading
from timing.remarks import Severity


def slowing(*entries: dict, **more) -> dict:
    return in_file({"slowing": list(entries)} | more)


# -- slowdowns that overlap

FIRST = {"rallentando": "3-6", "to": "80%", "then": "a tempo"}


@pytest.mark.parametrize(
    ("second", "bars"),
    [
        ({"ritenuto": "6:4", "to": "60%"}, "3:1 - 6:3"),
        ({"rallentando": "5:2.5 - 8:4", "to": "60%"}, "3:1 - 5:2.5"),
        ({"ritenuto": "7:1", "to": "60%"}, None),  # they only touch
        ({"ritenuto": "3:1 - 6:4", "to": "60%"}, ""),  # which of the two is to go?
    ],
)
@pytest.mark.parametrize("turned", [False, True])
def test_the_first_of_two_slowdowns_ends_where_the_second_begins(second, bars, turned):
    plan = slowing(*((second, FIRST) if turned else (FIRST, second)))
    remarks = told("slowings-overlap", reading(plan))
    assert [remark.severity for remark in remarks] == ([] if bars is None else [Severity.CAUTION])
    for remark in remarks:
        assert entries_of(remark) == ([{"rallentando": bars, "to": "80%"}] if bars else [])
        if bars:
            again = reading(mended(plan, remark))
            assert told("slowings-overlap", again) == []
            assert [slow.entry.kind for slow in again.pace.slowings] == ["rallentando", next(iter(second))]
        else:
            assert remark.suggestion.startswith("end the first one before")


def test_a_slowdown_that_meets_another_on_one_pass_only_is_left_to_the_musician():
    once = slowing(FIRST, {"ritenuto": "6", "to": "60%", "pass": 2}, order=["1-8", "1-8"])
    (remark,) = told("slowings-overlap", reading(once))
    assert remark.fix == () and remark.pass_ == 2
    each = slowing(FIRST, {"ritenuto": "6", "to": "60%"}, order=["1-8", "1-8"])
    (both,) = told("slowings-overlap", reading(each))
    assert both.passes == (1, 2) and both.fix
    assert told("slowings-overlap", reading(mended(each, both))) == []


# -- strings that are not there


def test_a_tuning_without_a_guitar():
    plan = in_file({"tuning": "dropped D"})
    (remark,) = told("no-strings", reading(plan))
    assert remark.suggestion == "instrument: classical guitar"
    assert told("no-strings", reading(mended(plan, remark))) == []
    assert told("no-strings", reading(plan, guitar("c4:4"))) == []


def test_an_instrument_that_the_plan_names_is_not_changed():
    (remark,) = told("no-strings", reading(in_file({"tuning": "dropped D", "instrument": "piano"})))
    assert remark.suggestion == "instrument: classical guitar" and remark.fix == ()
    duo = score(1, voices={1: "c4:4"}, parts=("One", "Two"))
    (remark,) = told("no-strings", reading({"tuning": "dropped D"}, duo))
    assert remark.fix == ()


@pytest.mark.parametrize(("cm", "colour"), [("5 cm", "bright"), ("12 cm", "plain"), ("25 cm", "dark")])
@pytest.mark.parametrize("section", ["tone", "second time"])
def test_a_plucking_point_without_a_string(cm, colour, section):
    plan = in_file({section: [{"bars": "1", "tone": cm}], "order": ["1-2", "1-2"]})
    violin = score(2, program=40)
    (remark,) = told("no-strings", reading(plan, violin))
    assert entries_of(remark) == [{"bars": 1, "tone": colour}] and remark.severity is Severity.CAUTION
    assert told("no-strings", reading(mended_by(plan, remark), violin)) == []
    assert told("no-strings", reading(plan, score(2, program=24))) == []


def mended_by(plan: dict, remark) -> dict:
    """As `mended`, of a remark whose suggestion names the one key that changes."""
    (edit,) = remark.fix
    (entry,) = entries_of(remark)
    assert remark.suggestion == f"tone: {entry['tone']}"
    return plan | {edit.section: [entry]}


# -- strings and frets


def lies(made: Reading, pitch: int) -> list[tuple[int, int]]:
    notes = made.performance.notes
    return [(int(note["string"]), int(note["fret"])) for note in notes[notes["pitch"] == pitch]]


@pytest.mark.parametrize(
    ("entry", "code", "new"),
    [
        ({"at": "1:3", "string": 1}, "string-cannot-reach", {"at": "1:3", "string": 3}),
        ({"at": "1:3", "string": 3}, None, None),
        ({"at": "1:3", "string": 3, "fret": 4}, "fret-contradicts", {"at": "1:3", "string": 3}),
        ({"at": "1:3", "string": 3, "fret": 2}, None, None),
        ({"at": "1:3", "fret": 8, "why": "darker"}, "fret-contradicts", {"at": "1:3", "string": 4, "why": "darker"}),
        ({"bars": "1:3 - 1:4", "string": 1}, "string-cannot-reach", {"at": "1:3", "string": 3}),
    ],
)
def test_a_note_is_put_where_it_lies(entry, code, new):
    made, plan = guitar("e4:2 a3:2", bars=1), in_file({"strings": [entry]})
    remarks = [each for kind in ("string-cannot-reach", "fret-contradicts") for each in told(kind, reading(plan, made))]
    assert [remark.code for remark in remarks] == ([code] if code else [])
    for remark in remarks:
        assert [{key: str(value) for key, value in each.items()} for each in entries_of(remark)] == [
            {key: str(value) for key, value in (new | {}).items()}
        ]
        again = reading(mended(plan, remark), made)
        assert told(code, again) == [] and lies(again, 57)[0][0] == new["string"]


def test_a_string_mark_of_the_score_that_cannot_be():
    made = guitar("e4:2 a3:2", bars=1)
    made.notes["string"][1] = 1
    (remark,) = told("string-cannot-reach", reading({}, made))
    assert told("string-cannot-reach", reading(mended({}, remark), made)) == []


@pytest.mark.parametrize(("places", "entries"), [(5, 5), (6, 0)])
def test_a_few_places_are_mended_one_by_one(places, entries):
    made = guitar(" ".join(["a3:1 e4:1"] * places + ["r:2"]), bars=3)
    plan = in_file({"strings": [{"bars": "1-3", "string": 1, "for": "voice 1", "pass": 1}]})
    (remark,) = told("string-cannot-reach", reading(plan, made))
    assert len(remark.fix) == entries and all(entry["pass"] == 1 for entry in entries_of(remark))
    if entries:
        assert told("string-cannot-reach", reading(mended(plan, remark), made)) == []


def test_of_a_chord_only_the_highest_that_fits_can_be_meant():
    low = in_file({"strings": [{"bars": "1", "string": 1}]})
    two = told("string-cannot-reach", reading(low, guitar("a3+c4:4", bars=1)))
    fixes = {remark.message.split(" (")[0].split("; ")[0]: len(remark.fix) for remark in two}
    assert fixes == {"string 1 cannot give A3": 0, "string 1 cannot give C4": 1}


def test_a_lower_voice_is_named():
    made = guitar({1: "e5:4", 2: "a3:4"}, bars=1)
    plan = in_file({"strings": [{"bars": "1", "for": "voice 2", "string": 1}]})
    (remark,) = told("string-cannot-reach", reading(plan, made))
    assert entries_of(remark)[0]["for"] == "voice 2"
    assert told("string-cannot-reach", reading(mended(plan, remark), made)) == []


def test_a_way_to_play_is_mended_by_its_name():
    made = guitar("e4:2 a3:2", bars=1)
    plan = in_file({"strings": [{"bars": "1:3 - 1:4", "string": 1, "name": "dark"}]})
    (remark,) = told("string-cannot-reach", reading(plan, made))
    assert entries_of(remark)[0]["name"] == "dark"
    assert told("string-cannot-reach", reading(mended(plan, remark), made)) == []


# -- what takes a musician to mend

CARRIED = {"glissandi": [{"from": "1:1", "to": "1:3", "swell": "3 dB", "arrive": "slurred"}]}


@pytest.mark.parametrize(
    ("code", "earns", "misses"),
    [
        ("holds-overlap", {"holds": [{"fermata": "1:1 - 1:2"}, {"agogic": "1:2"}]},
                          {"holds": [{"fermata": "1:1 - 1:2"}, {"agogic": "1:3"}]}),
        ("never-heard", {"holds": [{"breath": "after 1", "pass": 2}]}, {"holds": [{"breath": "after 1", "pass": 1}]}),
        ("never-heard", {"slowing": [{"ritenuto": "1-2"}], "order": ["1"]},  # its end is not reached
                        {"slowing": [{"ritenuto": "1-2"}], "order": ["1-2"]}),
        ("tone-carried", CARRIED | {"tone": [{"at": "1:3", "tone": "sul tasto"}]},
                         CARRIED | {"tone": [{"bars": "1", "tone": "sul tasto"}]}),
    ],
)  # fmt: skip
def test_a_plan_that_earns_it_and_one_that_does_not(code, earns, misses):
    (remark,) = told(code, reading(earns, guitar("c4:2 e4:2 c4:4")))
    assert remark.fix == ()
    assert told(code, reading(misses, guitar("c4:2 e4:2 c4:4"))) == []


@pytest.mark.parametrize(
    ("code", "earns", "misses"),
    [
        ("no-harmonic", "f5:4", "e5:4"),  # an octave above the first string
        ("off-the-instrument", "d#2:4", "e2:4"),
        ("off-the-instrument", "c6:4", "b5:4"),  # fret 19 of the first string
        ("unplayable-chord", "f2+a#4:4", "f2+a4:4"),  # frets 1 and 6, 1 and 5
        ("unplayable-chord", "e2+f2:4", "e2+b2:4"),
    ],
)
def test_notes_that_earn_it_and_notes_that_do_not(code, earns, misses):
    """The far fingers on the outer strings: from fret 1 to fret 6 are 154 mm, to fret 5 are 127 mm."""
    strings = [{"bars": "1", "harmonic": "yes"}] if code == "no-harmonic" else []
    found = [told(code, reading({"strings": strings}, guitar(line, bars=1))) for line in (earns, misses)]
    assert [len(remarks) for remarks in found] == [1, 0]


def test_a_role_that_no_note_has():
    lone, plan = guitar("c4:4", bars=1), {"voices": {"bass": "-3 dB"}}
    assert len(told("role-not-found", reading(plan, lone))) == 1
    assert told("role-not-found", reading(plan, guitar({1: "c5:4", 2: "c3:4"}, bars=1))) == []


@pytest.mark.parametrize(("quarters", "told_of"), [(0.08, 1), (0.09, 0)])
def test_a_slide_needs_five_milliseconds(quarters, told_of):
    """A quarter at 1,000 a minute is 60 ms."""
    plan = {"tempo": 1000, "glissandi": [{"from": "1:1", "to": f"1:{1 + quarters:g}", "swell": "3 dB"}]}
    remarks = told("slide-no-time", reading(plan, guitar(f"c4:{quarters} e4:1", bars=1)))
    assert [remark.severity for remark in remarks] == [Severity.CAUTION] * told_of
