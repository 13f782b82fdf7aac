"""Slides whose note has died away, and swells beyond what there is in hand, as the strings are known to sound."""

from __future__ import annotations

import pytest
from judged import guitar, in_file, told
from support import reading, score

from soundfonts import guitar as sound
from timing.remarks import Severity


def late(slow: float = 0.3, **changes) -> dict:
    slide = {"from": "1:1", "to": "2:1", "glide": f"{100 * slow / 4:g}%", "swell": "3 dB"}
    return in_file({"tempo": 60, "glissandi": [slide | changes]})


MADE = guitar("a4:4 c5:4")


def test_a_slide_from_a_note_that_has_died_away():
    (remark,) = told("slide-faint", reading(late(), MADE), sound)
    assert (remark.severity, remark.bar, remark.beat) == (Severity.ADVICE, 1, 1)
    assert "begins when its note has died away by" in remark.message and "dB" in remark.message
    assert "leave earlier" in remark.suggestion and "`sung: yes`" in remark.suggestion
    assert told("slide-faint", reading(late(), MADE)) == []  # without a sound nobody knows
    assert told("slide-faint", reading(late(sung="yes"), MADE), sound) == []
    assert told("slide-faint", reading(late(3.7), MADE), sound) == []  # it leaves early


def test_what_is_bowed_does_not_die_away():
    assert told("slide-faint", reading(late(), score(2, voices={1: "a4:4 c5:4"}, program=40)), sound) == []


def test_a_slide_that_has_no_room_says_how_much_is_missing():
    """A string loses some 20 dB a second, and a slide of more than a second that is to swell by 20 dB needs over 40."""
    plan = late(1.2, swell="20 dB")
    (remark,) = told("level-out-of-range", reading(plan, MADE), sound)
    assert "with what it loses while it slides, by up to" in remark.message
    missing = float(remark.message.split("by up to ")[1].split(" dB")[0])
    assert remark.suggestion == f"let it swell {missing:.1f} dB less, or slide earlier or more quickly"
    less = late(1.2, swell=f"{20 - missing - 0.1:.1f} dB")
    assert told("level-out-of-range", reading(less, MADE), sound) == []
    assert told("level-out-of-range", reading(plan, MADE)) == []


@pytest.mark.parametrize("tuning", ["E4, B3, G3, D3, A2, E2, B1, F#1"])
def test_strings_that_nobody_knows_are_not_judged(tuning):
    plan = late() | {"tuning": tuning.split(", ")}
    assert told("slide-faint", reading(plan, MADE), sound) == []
