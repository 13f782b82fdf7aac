"""A voice that leaves the clock and meets it again, at 60 quarters a minute unless said."""

from __future__ import annotations

import math

import numpy as np
import pytest
from displaced import BARS, TWO, UPPER, codes, late, notes
from hypothesis import given
from hypothesis import strategies as st
from laws import FEW
from planfiles import plan_of
from support import midi, reading, score

from timing.reading import perform
from timing.remarks import CannotDo
from timing.time.scale import Scale

# -- a voice against the others


def test_the_melody_falls_behind_and_meets_the_bass_again():
    """Half a wave: half of the most after a quarter of the way, all of it in the middle."""
    rubato = [{"bars": "2-5", "late": "120 ms", "for": "melody", "meets": "4:1"}]
    expected = [0] * 4 + [0.06 * (1 - math.cos(math.pi * k / 4)) for k in range(9)] + [0] * 19
    assert late({"rubato": rubato}) == pytest.approx(expected, abs=1e-12)
    assert late({"rubato": rubato}, 2).tolist() == [0] * 32
    assert late({"rubato": [{"bars": "2-3", "early": "120 ms", "for": "melody"}]}) == pytest.approx(
        np.negative(expected), abs=1e-12
    )


def test_ends_move_as_onsets_do_so_that_the_voice_stays_bound():
    table = notes({"rubato": [{"bars": "2-3", "late": "200 ms", "for": "melody"}]})
    melody = table[table["voice"] == 1]
    assert melody["end"][:-1] == pytest.approx(melody["onset"][1:], abs=1e-12)
    bass = table[table["voice"] == 2]
    assert bass["end"] == pytest.approx(bass["score_onset"] + 1, abs=1e-12)


def test_they_may_meet_more_than_once():
    meets = ["3:1", "2:3", "3:4"]
    made = late({"rubato": [{"bars": "2-3", "late": "60 ms", "for": "voice 1", "meets": meets}]})
    expected = [0] * 4 + [0, 0.06, 0, 0.06, 0, 0.045, 0.045, 0] + [0] * 20
    assert made == pytest.approx(expected, abs=1e-12)
    made = late({"rubato": [{"bars": "2-3", "late": "60 ms", "for": "voice 1", "meets": ["3:1", "4:1"]}]})
    assert made[4:12] == pytest.approx([0, 0.03, 0.06, 0.03] * 2, abs=1e-12)


def test_each_pass_has_its_own():
    plan = {"order": ["1-4", "1-4"], "rubato": [{"bars": "1-2", "late": "100 ms", "for": "melody", "pass": 2}]}
    made = late(plan)
    assert np.flatnonzero(made > 1e-9).tolist() == [17, 18, 19, 20, 21, 22, 23]


def test_where_the_order_goes_on_elsewhere_they_have_met():
    plan = {"order": ["1-2", "1-4"], "rubato": [{"bars": "1-4", "late": "100 ms", "for": "melody", "meets": "4:1"}]}
    made = late(plan)
    assert made[[0, 8, 20]] == pytest.approx([0, 0, 0], abs=1e-12)
    assert made[[4, 14]] == pytest.approx([0.1, 0.1], abs=1e-12)


def test_small_notes_rolls_staccato_and_a_lead_go_with_their_voice():
    """What a plan makes of a voice by itself is made of it late, too."""
    voices = {1: "c5:1 d5:1g e5:1. c5+e5+g5:1~ c5:1 " * BARS, 2: "c3:1 g3:1 " * 2 * BARS}
    rubato = {"rubato": [{"bars": "2-7", "late": "90 ms", "for": "voice 1", "meets": "8:1"}]}
    for plan in ({}, {"voices": {"voice 1": {"lead": "30 ms"}}}):
        strict, free = notes(plan, voices=voices), notes(plan | rubato, voices=voices)
        bass = strict["voice"] == 2
        for column in ("onset", "end"):
            np.testing.assert_array_equal(free[column][bass], strict[column][bass])
            lead = 0.03 if plan else 0.0
            moved = strict[column] + lead * (strict["onset"] > 0)
            inside = (moved > 4) & (moved < 28) & ~bass
            wave = 0.045 * (1 - np.cos(2 * np.pi * (moved - 4) / 24)) * inside
            assert free[column][~bass] == pytest.approx((strict[column] + wave)[~bass], abs=1e-9)


def test_a_breath_in_a_displaced_voice_stays_a_breath():
    plan = {"holds": [{"breath": "after 3:2", "seconds": 0.3, "in time": True}]}
    table = notes(plan | {"rubato": [{"bars": "2-5", "late": "150 ms", "for": "melody"}]})
    melody = table[table["voice"] == 1]
    assert melody["onset"][10] - melody["end"][9] == pytest.approx(0.3, abs=0.3 * 0.03)


def test_a_held_note_swells_on_its_own_clock():
    """A crescendo that arrives where the voices meet arrives there, though its note began late."""
    voices = {1: "c5:4 d5:4 e5:4 c5:4", 2: "c3:4 " * 4}
    plan = {"dynamics": [{"crescendo": "2:1 - 3:1", "by": "12 dB", "for": "melody"}]}
    rubato = [{"bars": "1-4", "late": "200 ms", "for": "melody", "meets": ["1:3", "3:1"]}]
    table = [reading(plan | more, bars=4, voices=voices, program=40).performance for more in ({}, {"rubato": rubato})]
    strict, free = (made.curves["second"][made.notes["pitch"][made.curves["note"]] == midi("d5")] for made in table)
    wave = 0.1 * (1 - np.cos(2 * np.pi * (strict - 2) / 6))
    assert free == pytest.approx(strict + wave, abs=1e-9)
    assert free[0] == pytest.approx(4.15, abs=1e-9)
    assert free[-1] == pytest.approx(8, abs=1e-5)


def test_a_slide_into_a_displaced_goal_arrives_with_it():
    voices = {1: "c5:1 d5:1 e5:1 f5:1 " * 2, 2: "c3:2 g3:2 " * 2}
    plan = {
        "glissandi": [{"from": "1:2", "to": "1:3", "for": "voice 1", "swell": "3 dB"}],
        "rubato": [{"bars": "1", "late": "80 ms", "for": "voice 1"}],
    }
    made = reading(plan, bars=2, voices=voices, program=40).performance
    (slide,) = made.glides
    assert slide["arrive"] == made.notes["onset"][slide["goal"]] == pytest.approx(2.08, abs=1e-12)
    bends = made.bends["second"][made.bends["note"] == slide["note"]]
    assert bends[-1] == pytest.approx(2.08, abs=1e-12)


# -- laws


@st.composite
def old_rubati(draw) -> tuple[dict, dict]:
    """A plan that shapes the clock, and a displacement of the upper voice over it."""
    first = draw(st.integers(1, BARS - 1))
    last = draw(st.integers(first, BARS))
    entry = {
        "bars": f"{first}-{last}",
        draw(st.sampled_from(["late", "early"])): f"{draw(st.integers(0, 500))} ms",
        "for": draw(st.sampled_from(["melody", "voice 1"])),
    }
    if draw(st.booleans()):
        entry["meets"] = f"{last}:{draw(st.integers(2, 4))}"
    plan = {
        "tempo": draw(st.floats(40, 240)),
        "phrases": [{"bars": "1-8", "arch": "8%"}],
        "slowing": [{"rallentando": "3-4", "to": f"{draw(st.integers(30, 95))}%", "then": "a tempo"}],
        "rubato": [{"bars": "5-6", "hurry": "10%"}],
        "holds": draw(st.sampled_from([[], [{"fermata": "2:4"}, {"breath": "after 6:2"}]])),
        "order": draw(st.sampled_from([["1-8"], ["1-4", "1-8"]])),
    }
    return plan, entry


@given(old_rubati(), st.sampled_from([0.5, 1.0, 2.0]))
def test_the_accompaniment_keeps_the_time_and_the_voice_meets_it(case, amount):
    plan, entry = case
    options = {"voices": {1: UPPER * BARS, 2: TWO[2]}, "scale": Scale(amount)}
    strict, free = notes(plan, **options), notes(plan | {"rubato": [*plan["rubato"], entry]}, **options)
    bass = strict["voice"] == 2
    for column in ("onset", "end"):
        np.testing.assert_array_equal(free[column][bass], strict[column][bass])
    upper = ~bass & (strict["score_length"] > 0)
    first, last = (int(bar) for bar in entry["bars"].split("-"))
    meeting = entry.get("meets", f"{last + 1}:1").split(":")
    bar, beat = int(meeting[0]), int(meeting[1])
    outside = (strict["bar"] < first) | (strict["bar"] > bar) | ((strict["bar"] == bar) & (strict["beat"] >= beat))
    meets = upper & (outside | ((strict["bar"] == first) & (strict["beat"] == 1)))
    assert free["onset"][meets] == pytest.approx(strict["onset"][meets], abs=1e-9)
    much = max(int(str(entry.get(kind, "0 ms")).split()[0]) for kind in ("late", "early")) / 1000 * amount
    moved = (free["onset"] - strict["onset"])[~bass]
    moved = moved if "late" in entry else -moved
    assert np.all((moved >= -1e-9) & (moved <= much + 1e-9))


@given(old_rubati(), st.sampled_from([1.0, 2.0]))
def test_no_note_overtakes_another_of_its_voice_or_comes_to_nothing(case, amount):
    plan, entry = case
    options = {"voices": {1: UPPER * BARS, 2: TWO[2]}, "scale": Scale(amount)}
    strict, free = notes(plan, **options), notes(plan | {"rubato": [*plan["rubato"], entry]}, **options)
    upper = strict["voice"] == 1
    order = np.argsort(strict["onset"][upper], kind="stable")
    apart, still = (np.diff(table["onset"][upper][order]) for table in (strict, free))
    assert np.all(still >= 0.49 * apart - 1e-9)
    length, left = ((table["end"] - table["onset"])[upper] for table in (strict, free))
    assert np.all(left >= np.minimum(0.49 * length, 0.005) - 1e-9)
    assert np.all(free["onset"] >= 0)


@FEW
@given(old_rubati())
def test_nothing_displaced_is_the_plan_without_it(case):
    plan, entry = case
    kind = "late" if "late" in entry else "early"
    for more, scale in ((entry | {kind: "0 ms"}, Scale()), (entry, Scale(amount=0.0))):
        strict, free = notes(plan, scale), notes(plan | {"rubato": [*plan["rubato"], more]}, scale)
        for column in ("onset", "end"):
            np.testing.assert_array_equal(free[column], strict[column])


# -- what there is to say


def test_more_than_there_is_time_for_is_less():
    """Over four seconds a voice can be 4·0.5/π = 637 ms away; over one, a quarter of it."""
    short = [{"bars": "2:1", "late": "200 ms", "for": "melody"}]
    assert codes({"rubato": short}) == ["rubato-limited"]
    assert codes({"rubato": [short[0] | {"late": "159 ms"}]}) == []
    assert codes({"rubato": [{"bars": "2", "late": "500 ms", "for": "melody"}]}) == []
    (remark,) = reading({"rubato": short}, bars=BARS, voices=TWO).remarks
    assert (remark.bar, remark.suggestion) == (2, "at most 159 ms, or let them meet later")


@pytest.mark.parametrize(
    ("second", "told"),
    [
        ({"bars": "4-5", "late": "50 ms", "for": "voice 1"}, True),
        ({"bars": "4-5", "late": "50 ms", "for": "bass"}, False),
        ({"bars": "5-6", "late": "50 ms", "for": "melody"}, False),
        ({"bars": "1-4", "hurry": "5%"}, False),
        ({"bars": "4-5", "long short": 1.6}, False),
    ],
)
def test_two_that_displace_the_same_notes_are_a_caution(second, told):
    found = codes({"rubato": [{"bars": "2-4", "early": "50 ms", "for": "melody"}, second]})
    assert ("rubato-overlap" in found) is told


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("rubato: [{bars: 2-4, late: 50 ms}]", "say which voice comes late, as in for: melody"),
        ("rubato: [{bars: 2-4, late: 50 ms, for: viola}]", "no notes are called 'viola'"),
        ("rubato: [{bars: 2-4, late: 50 ms, for: melody, meets: 6:1}]", "cannot meet at 6:1: it is not within 2-4"),
        ("rubato: [{bars: 2-4, late: 50 ms, for: melody, meets: 2:1}]", "cannot meet at 2:1: it is not within 2-4"),
        ("rubato: [{bars: 2-4, late: 50 ms, for: melody, meets: [3:1, 4:7]}]", "bar 4 has 4 beats"),
        ("rubato: [{bars: 2-4, late: 50, for: melody}]", "write it with its unit, as in 50 ms"),
        ("rubato: [{bars: 2-4, late: 2000 ms, for: melody}]", "it can be 0 ms to 500 ms"),
        ("rubato: [{bars: 2-4, late: 50 ms, for: melody, keeps: end}]", "say where the voice 'meets' them"),
        ("rubato: [{bars: 2-4, long short: 1.6, for: melody}]", "all voices play it together"),
        ("rubato: [{bars: 2-4, long short: 5}]", "it can be 1 to 4"),
        ("rubato: [{bars: 2-4, long short: swing}]", "is not a number of the long note against the short one"),
        ("holds: [{delay: 9:1}]", "the score ends at bar 8"),
        ("holds: [{delay: 2:1, by: 40 ms, length: 110%}]", "a delay is given in milliseconds"),
        ("holds: [{fermata: 2:1, by: 40 ms}]", "only a delay has this"),
        ("holds: [{breath: 2:1, for: melody}]", "only a delay has this"),
    ],
)
def test_faults_in_a_musicians_words(line, words, tmp_path):
    with pytest.raises(CannotDo) as refused:
        perform(score(bars=BARS, voices=TWO), plan_of(tmp_path, line))
    (remark,) = refused.value.remarks
    assert words in remark.message
    assert remark.place.line == 2
