"""Slides and slurs of the left hand: a case that earns each rule, one that just misses it, and what mends it."""

from __future__ import annotations

import pytest
from judged import entries_of, guitar, in_file, mended, told
from support import reading, score

from timing.cautions import check
from timing.remarks import Severity

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
