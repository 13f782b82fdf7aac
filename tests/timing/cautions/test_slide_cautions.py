"""Slides and slurs of the left hand: a case that earns each rule, one that just misses it, and what mends it."""

from __future__ import annotations

import pytest
from judged import entries_of, guitar, in_file, mended, told
from support import reading, score

from timing.cautions import check
from timing.plan import Plan
from timing.plan.sound import Glissando
from timing.reading import perform
from timing.remarks import Severity

LINE = {"kind": "glissando", "bar": 0, "offset": 2.0, "note": 1, "goal": 2}
SLIDE = {"from": "1:3", "to": "2:1", "glide": "20%", "swell": "3 dB"}


def sliding(**changes) -> dict:
    return in_file({"glissandi": [SLIDE | changes]})


def test_a_plain_slide_earns_nothing():
    made = reading(sliding(), guitar("c4:2 a4:2 c5:4"))
    assert len(made.performance.glides) == 1 and made.performance.notes["fret"].min() > 0
    assert [remark.code for remark in check(made)] == []


def test_a_slide_from_an_open_string():
    made, plan = guitar("c4:2 e4:2 g4:4"), sliding() | {"strings": [{"at": "1:3", "string": 1}]}
    (remark,) = told("slide-from-open", reading(plan, made))
    assert (remark.severity, remark.bar, remark.beat, remark.pass_) == (Severity.CAUTION, 1, 3, 1)
    assert "strings 2, 3 or 4 can take both notes stopped" in remark.message
    assert remark.suggestion == "strings: [{at: 1:3, string: 2}, {at: 2:1, string: 2}]"
    again = reading(mended(plan, remark), made)
    assert told("slide-from-open", again) == [] and told("slide-two-strings", again) == []
    assert told("slide-from-open", reading(plan, guitar("c4:2 f4:2 g4:4"))) == []  # fret 1


def test_a_slide_from_the_lowest_open_string_is_better_left_out():
    (remark,) = told("slide-from-open", reading(sliding(), guitar("c4:2 e2:2 g2:4")))
    assert "no string can take both notes stopped" in remark.message
    assert remark.suggestion == "leave the slide out"


def test_a_slide_from_a_low_voice_is_put_on_a_string_by_its_voice():
    made = guitar({1: "c5:2 c5:2 d5:4", 2: "c4:2 g3:2 a3:4"})
    plan = sliding(**{"for": "voice 2"}) | {"strings": [{"at": "1:3", "for": "voice 2", "string": 3}]}
    (remark,) = told("slide-from-open", reading(plan, made))
    assert entries_of(remark)[0] == {"at": "1:3", "for": "voice 2", "string": 4}
    assert told("slide-from-open", reading(mended(plan, remark), made)) == []


def test_a_slide_between_two_strings():
    made = guitar("c4:2 c4:2 e4:4")
    plan = sliding() | {"strings": [{"at": "1:3", "string": 3}, {"at": "2:1", "string": 2}]}
    (remark,) = told("slide-two-strings", reading(plan, made))
    assert "from string 3 to string 2" in remark.message and remark.severity is Severity.CAUTION
    assert told("slide-two-strings", reading(mended(plan, remark), made)) == []
    same = sliding() | {"strings": [{"at": "1:3", "string": 3}, {"at": "2:1", "string": 3}]}
    assert told("slide-two-strings", reading(same, made)) == []


def test_a_slide_that_no_string_can_take():
    (remark,) = told("slide-two-strings", reading(sliding(), guitar("c4:2 f2:2 c5:4")))
    assert "no string can take both notes" in remark.message and remark.suggestion == "leave the slide out"


def test_of_a_printed_slide_it_is_said_how_a_plan_leaves_it_out():
    made = guitar("c4:2 f2:2 c5:4", marks=[LINE])
    (remark,) = told("slide-two-strings", reading({}, made))
    assert remark.suggestion == "leave the slide out: marks: {ignore: [{at: 1:3, mark: slide}]}"
    without = reading({"marks": {"ignore": [{"at": "1:3", "mark": "slide"}]}}, made)
    assert told("slide-two-strings", without) == []


@pytest.mark.parametrize(
    ("tempo", "glide", "suggested"),
    [
        (240, "50%", None),  # half of a note of half a second
        (240, "51%", "50%"),
        (60, "20%", None),  # 0.4 s of two
        (60, "21%", "20%"),
        (50, "20%", "16%"),  # 0.48 s of 2.4: 16.7 %
        (60, "100%", "20%"),
    ],
)
def test_a_slide_in_which_every_fret_is_heard(tempo, glide, suggested):
    made, plan = guitar("c4:2 a4:2 c5:4"), sliding(glide=glide) | {"tempo": tempo}
    remarks = told("slide-long", reading(plan, made))
    assert [entries_of(remark)[0]["glide"] for remark in remarks] == ([suggested] if suggested else [])
    for remark in remarks:
        assert (remark.severity, remark.bar, remark.beat) == (Severity.CAUTION, 1, 3)
        assert told("slide-long", reading(mended(plan, remark), made)) == []


def test_a_slide_into_an_open_string():
    made = guitar("c4:2 g4:2 e4:4")
    open_, stopped = ({"strings": [{"at": "1:3", "string": 1 + n}, {"at": "2:1", "string": 1 + n}]} for n in (0, 1))
    (remark,) = told("slide-to-open", reading(sliding() | open_, made))
    assert "string: 2" in remark.suggestion
    assert told("slide-to-open", reading(sliding() | stopped, made)) == []


def test_a_slide_of_one_fret_has_none_in_between():
    for line, codes in (("c4:2 a4:2 a#4:4", []), ("c4:2 a4:2 b4:4", ["slide-long"])):
        made = reading(sliding(glide="60%"), guitar(line))
        assert [remark.code for remark in told("slide-long", made)] == codes


def test_the_suggested_glide_fits_the_slowest_time_through():
    plan = sliding(glide="30%") | {"order": ["1-2", "1-2"], "tempo": [{"tempo": 60}, {"over": "2", "tempo": 40}]}
    made = guitar("c4:2 a4:2 c5:4")
    remarks = told("slide-long", reading(plan, made))
    assert len(remarks) == 1  # the same place, whichever the pass
    assert told("slide-long", reading(mended(plan, remarks[0]), made)) == []


def test_a_slide_without_a_swell():
    made = guitar("c4:2 a4:2 c5:4")
    for plan in (sliding(swell="0 dB"), in_file({"glissandi": [{"from": "1:3", "to": "2:1", "glide": "20%"}]})):
        (remark,) = told("slide-no-swell", reading(plan, made))
        assert remark.severity is Severity.CAUTION and entries_of(remark)[0]["swell"] == "3 dB"
        assert told("slide-no-swell", reading(mended(plan, remark), made)) == []
    assert told("slide-no-swell", reading(sliding(swell="0.1 dB"), made)) == []


def test_a_violin_may_slide_slowly_and_evenly():
    made = score(2, voices={1: "c4:2 a4:2 c5:4"}, program=40)
    codes = {remark.code for remark in check(reading(sliding(glide="100%", swell="0 dB"), made))}
    assert not {code for code in codes if code.startswith("slide-")}


def test_a_slide_is_judged_each_pass_and_by_the_entry_that_shapes_it():
    made = guitar("c4:2 a4:2 c5:4")
    slides = [SLIDE | {"pass": 1}, SLIDE | {"pass": 2, "swell": "0 dB"}]
    again = in_file({"order": ["1-2", "1-2"], "glissandi": slides})
    (remark,) = told("slide-no-swell", reading(again, made))
    assert remark.pass_ == 2 and entries_of(remark)[0]["pass"] == 2
    assert told("slide-no-swell", reading(mended(again, remark), made)) == []


def test_of_many_slides_the_first_few_are_told():
    made = guitar("c4:2 a4:2 " * 8, bars=8)
    plan = {"glissandi": [{"from": f"{bar}:1", "to": f"{bar}:3", "glide": "20%"} for bar in range(1, 9)]}
    remarks = told("slide-no-swell", reading(plan, made))
    assert [remark.bar for remark in remarks] == [1, 2, 3, 4]
    assert remarks[3].message == "and 5 more places like these (slide-no-swell)" and remarks[3].suggestion is None


def test_the_slide_of_a_line_that_plays_by_itself_gets_an_entry():
    mark = Glissando.model_construct(from_=None, to=None, glide=0.6, swell=3.0, arrive="plucked", for_=None)
    made = guitar("c4:2 a4:2 c5:4", marks=[LINE])
    plan = {"score": "made-by-hand.musicxml", "tempo": 60}
    alone = Plan.model_validate(plan).model_copy(update={"glissandi": (mark,)})
    (remark,) = told("slide-long", perform(made, alone))
    assert remark.suggestion == "glissandi: [{from: 1:3, swell: 3 dB, glide: 20%}]"
    assert told("slide-long", reading(mended(plan, remark), made)) == []


def test_of_a_duo_the_entry_keeps_to_the_part_of_the_slide():
    mark = Glissando.model_construct(from_=None, to=None, glide=0.6, swell=3.0, arrive="plucked", for_=None)
    made = score(2, voices={1: "c4:2 a4:2 c5:4"}, parts=("One", "Two"), program=24, marks=[LINE])
    plan = {"score": "made-by-hand.musicxml", "tempo": 60}
    alone = Plan.model_validate(plan).model_copy(update={"glissandi": (mark,)})
    (remark,) = told("slide-long", perform(made, alone))
    assert entries_of(remark) == [{"from": "1:3", "for": "part 1", "swell": "3 dB", "glide": "20%"}]


@pytest.mark.parametrize("tempo", [20, 60, 120, 400])
def test_a_slide_line_that_plays_by_itself_is_late_and_quick(tempo):
    made = reading({"tempo": tempo}, guitar("c4:2 a4:2 c5:4", marks=[LINE]))
    (slide,) = made.performance.glides
    note = 120 / tempo
    assert slide["arrive"] - slide["leave"] == pytest.approx(min(0.3 * note, 0.4)) and told("slide-long", made) == []
    plan = in_file({"tempo": tempo, "glissandi": [{"glide": "30%"}]})
    written = reading(plan, guitar("c4:2 a4:2 c5:4", marks=[LINE]))
    (slide,) = written.performance.glides  # what the plan says is done, and judged
    assert slide["arrive"] - slide["leave"] == pytest.approx(0.3 * note)
    assert len(told("slide-long", written)) == (0.3 * note > 0.4)


# -- across silence


@pytest.mark.parametrize(
    ("line", "what"),
    [
        ("c4:2 a4:1 r:1 c5:4", "rest at 1:4"),
        ("c4:2 a4:1.9 r:0.1 c5:4", "rest at 1:4.9"),
        ("c4:2 a4:2 c5:4", None),
        ("c4:2 a4:1 e4:1 c5:4", None),  # a voice that goes on under the slide is no silence
        ("c4:2 a4:1. r:1 c5:4", "rest at 1:4"),
        ("c4:2 a4:2. c5:4", None),  # a dot is no rest
    ],
)
def test_a_slide_over_a_rest(line, what):
    remarks = told("slide-over-rest", reading(sliding(), guitar(line)))
    assert [remark.message.partition(" over the ")[2].partition(",")[0] for remark in remarks] == (
        [what] if what else []
    )
    for remark in remarks:
        assert (remark.severity, remark.bar, remark.beat, remark.fix) == (Severity.CAUTION, 1, 3, ())
        assert remark.suggestion == "leave the slide or the rest out"


@pytest.mark.parametrize(
    ("after", "told_of"), [("1:4", True), ("1", True), ("1:3", True), ("1:2", False), ("2:1", False)]
)
@pytest.mark.parametrize("kind", ["breath", "caesura"])
def test_a_slide_over_a_breath(kind, after, told_of):
    plan = sliding() | {"holds": [{kind: f"after {after}"}]}
    remarks = told("slide-over-rest", reading(plan, guitar("c4:2 a4:2 c5:4")))
    assert len(remarks) == told_of and all("over the breath at" in remark.message for remark in remarks)


def test_a_rest_under_a_slide_matters_on_any_instrument():
    made = score(2, voices={1: "c4:2 a4:1 r:1 c5:4"}, program=40)
    assert len(told("slide-over-rest", reading(sliding(), made))) == 1


def test_the_rest_of_another_voice_is_none():
    both = guitar({1: "c5:2 c5:2 d5:4", 2: "c4:2 r:2 c4:4"})
    assert told("slide-over-rest", reading(sliding(), both)) == []


def ligado(at: str, **more) -> dict:
    return {"strings": [{"at": at, "ligado": "yes"} | more]}


@pytest.mark.parametrize(
    ("line", "at", "told_of"),
    [
        ("c4:1 d4:1 e4:2", "1:2", False),
        ("c4:0.5 r:0.5 d4:1 e4:2", "1:2", True),
        ("c4:0.9 r:0.1 d4:1 e4:2", "1:2", True),
        ("c4:1. d4:1 e4:2", "1:2", False),
        ("c4:1 d4:1 e4:2", "1:1", True),  # nothing has sounded yet
        ("c4:1 d4:1g e4:1 r:2", "1:2", False),  # it comes from the small note
    ],
)
def test_a_ligado_after_a_rest(line, at, told_of):
    remarks = told("ligado-after-rest", reading(ligado(at), guitar(line, bars=1)))
    assert [(remark.severity, remark.bar) for remark in remarks] == [(Severity.CAUTION, 1)] * told_of


def test_what_is_let_ring_is_there_to_come_from():
    line = guitar("c4:1 r:1 d4:2", bars=1)
    ringing = {"strings": [{"at": "1:1", "let ring": "yes", "string": 2}, {"at": "1:3", "ligado": "yes", "string": 2}]}
    assert told("ligado-after-rest", reading(ringing, line)) == []
    assert len(told("ligado-after-rest", reading(ligado("1:3"), line))) == 1


def test_a_ligado_after_a_breath():
    line, breath = guitar("c4:1 d4:1 e4:2", bars=1), {"holds": [{"breath": "after 1:1"}]}
    assert len(told("ligado-after-rest", reading(ligado("1:2") | breath, line))) == 1
    assert told("ligado-after-rest", reading(ligado("1:3") | breath, line)) == []


def test_a_ligado_may_come_from_another_voice_on_its_string():
    both = guitar({1: "r:1 d4:1 r:2", 2: "c4:1 r:3"}, bars=1)
    for string, told_of in ((2, 0), (3, 1)):
        strings = [{"at": "1:1", "string": string}, {"at": "1:2", "ligado": "yes", "string": 2}]
        assert len(told("ligado-after-rest", reading({"strings": strings}, both))) == told_of


@pytest.mark.parametrize("string", [1, 2])
def test_a_note_of_a_chord_does_not_come_from_the_others(string):
    """One of them goes on from what voice 2 has sounded on its string; the other one comes from nowhere."""
    made = guitar({1: "r:1 f4+a4:1 r:2", 2: f"{'g4' if string == 1 else 'e4'}:1 r:3"}, bars=1)
    strings = [{"at": "1:1", "string": string}, {"at": "1:2", "position": 5, "ligado": True}]
    played = reading({"strings": strings}, made)
    assert played.performance.notes["string"].tolist() == [string, 1, 2]
    assert [(remark.bar, remark.beat) for remark in told("ligado-after-rest", played)] == [(1, 2)]


def test_a_low_voice_slurs_from_its_own_note():
    both = guitar({1: "g4:0.5 r:3.5", 2: "g3:1 a3:1 r:2"}, bars=1)
    slurred = ligado("1:2", **{"for": "voice 2"})
    assert told("ligado-after-rest", reading(slurred, both)) == []
    silent = guitar({1: "g4:4", 2: "g3:0.5 r:0.5 a3:1 r:2"}, bars=1)
    assert len(told("ligado-after-rest", reading(slurred, silent))) == 1


def test_a_wind_player_slurs_without_strings():
    made = score(1, voices={1: "c4:0.5 r:0.5 d4:1 e4:2"}, program=73)
    assert told("ligado-after-rest", reading(ligado("1:2"), made)) == []
