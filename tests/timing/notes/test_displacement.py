"""Notes that leave the clock, at 60 quarters a minute unless said."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from planfiles import SCORE, plan_of, write
from support import midi, reading, score

from timing.plan import Plan
from timing.plan.planfile import read_plan
from timing.reading import perform
from timing.remarks import CannotDo
from timing.score import Ornament
from timing.time.scale import Scale

BARS = 8
TWO = {1: "c5:1 d5:1 " * 2 * BARS, 2: "c3:1 g3:1 " * 2 * BARS}  # two voices in quarters, end to end


def notes(plan: dict, scale: Scale | None = None, **options) -> np.ndarray:
    """The performed notes in the order of the score."""
    made = score(**{"bars": BARS, "voices": TWO} | options)
    plan = Plan.model_validate({"score": "made-by-hand.musicxml", "tempo": 60} | plan)
    table = perform(made, plan, scale or Scale()).performance.notes
    return table[np.lexsort((table["id"], table["ordinal"]))]


def late(plan: dict, voice: int = 1, **options) -> np.ndarray:
    """Seconds by which each onset of a voice is later than at strict 60."""
    table = notes(plan, **options)
    table = table[table["voice"] == voice]
    return table["onset"] - table["score_onset"]


def codes(plan: dict, **options) -> list[str]:
    return [remark.code for remark in reading(plan, **{"bars": BARS, "voices": TWO} | options).remarks]


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


UPPER = "e5:.5( d5:.5) c5:1. d5:1g e5:.25 f5:.25 e5:.5 g5:1- "  # a bar with signs and a small note


@settings(max_examples=120, deadline=None)
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


@settings(max_examples=120, deadline=None)
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


@settings(max_examples=30, deadline=None)
@given(old_rubati())
def test_nothing_displaced_is_the_plan_without_it(case):
    plan, entry = case
    kind = "late" if "late" in entry else "early"
    for more, scale in ((entry | {kind: "0 ms"}, Scale()), (entry, Scale(amount=0.0))):
        strict, free = notes(plan, scale), notes(plan | {"rubato": [*plan["rubato"], more]}, scale)
        for column in ("onset", "end"):
            np.testing.assert_array_equal(free[column], strict[column])


# -- the long and short of a compound beat

LILT = {1: "c5:1 d5:.5 " * 2 * BARS, 2: "c3:1.5 " * 2 * BARS}
SIX_EIGHT = {"metre": (6, 8), "voices": LILT}


def ratios(table: np.ndarray, voice: int = 1) -> np.ndarray:
    """Long to short of every pair of a voice: onset to onset, the last one's to its end."""
    mine = table[table["voice"] == voice]
    lasts = np.diff(np.append(mine["onset"], mine["end"][-1]))
    return lasts[::2] / lasts[1::2]


@pytest.mark.parametrize(("given", "ratio"), [("yes", 1.6), (1.6, 1.6), (1, 1), (3, 3), ("no", 2)])
def test_pairs_are_played_at_their_ratio_and_the_beat_is_kept(given, ratio):
    table = notes({"rubato": [{"bars": "1-8", "long short": given}]}, **SIX_EIGHT)
    assert ratios(table) == pytest.approx([ratio] * 16, abs=1e-9)
    beats = table[table["voice"] == 2]
    assert beats["onset"] == pytest.approx(1.5 * np.arange(16), abs=1e-12)
    melody = table[table["voice"] == 1]
    assert melody["onset"][::2] == pytest.approx(beats["onset"], abs=1e-12)
    assert melody["end"][:-1] == pytest.approx(melody["onset"][1:], abs=1e-12)


@pytest.mark.parametrize(
    ("lower", "alone"),
    [
        ("c3:1.5", True),
        ("c3:1 e3:.5", True),  # the same pair
        ("c3:1 r:.5", True),
        ("r:1 e3:.5", True),
        ("c3:.5 e3:.5 g3:.5", False),  # running quavers
        ("c3:.75 e3:.75", False),
        ("c3:1 e3:.25 g3:.25", False),
        ("c3:.5 r:1", True),
    ],
)
def test_only_pairs_that_stand_alone_in_their_beat(lower, alone):
    voices = {1: LILT[1], 2: f"{lower} " * 2 * BARS}
    plan = {"rubato": [{"bars": "1-8", "long short": 1.6}]}
    assert ratios(notes(plan, metre=(6, 8), voices=voices)) == pytest.approx([1.6 if alone else 2.0] * 16)
    assert ("never-heard" in codes(plan, metre=(6, 8), voices=voices)) is not alone


def test_an_ornament_in_a_pair_leaves_it_alone():
    made = ornamented(score(bars=1, metre=(6, 8), voices={1: "c5:1 d5:.5 " * 2}), 0)
    plan = {"score": "made-by-hand.musicxml", "tempo": 60, "rubato": [{"bars": 1, "long short": 1.6}]}
    table = perform(made, Plan.model_validate(plan)).performance.notes
    onset = table["onset"][table["step"] == 0]
    assert onset == pytest.approx([0, 1.5 * 1.6 / 2.6, 1.5, 1.5 + 1.5 * 1.6 / 2.6])


@pytest.mark.parametrize("upper", ["c5:.5 d5:.5 e5:.5", "c5:.5 d5:1", "c5:1.5", "c5:.5 r:.5 d5:.5"])
def test_what_is_no_long_and_short_stays_as_it_is_written(upper):
    voices = {1: f"{upper} " * 2 * BARS, 2: LILT[2]}
    plan = {"rubato": [{"bars": "1-8", "long short": 1.6}]}
    np.testing.assert_array_equal(
        notes(plan, metre=(6, 8), voices=voices)["onset"], notes({}, metre=(6, 8), voices=voices)["onset"]
    )
    assert codes(plan, metre=(6, 8), voices=voices) == ["never-heard"]


@pytest.mark.parametrize(
    ("metre", "unit"), [((6, 8), 0.5), ((9, 8), 0.5), ((12, 8), 0.5), ((6, 16), 0.25), ((3, 8), None), ((3, 4), None)]
)
def test_only_compound_metres_have_pairs(metre, unit):
    step = unit or 0.5
    count = round(BARS * metre[0] / metre[1] * 4 / (3 * step))
    voices = {1: f"c5:{2 * step} d5:{step} " * count}
    table = notes({"rubato": [{"bars": "1-8", "long short": 1.6}]}, metre=metre, voices=voices)
    assert ratios(table) == pytest.approx([1.6 if unit else 2.0] * count)


def test_a_pickup_before_whole_beats():
    """A pickup of a quaver, and one of four: there the last three are a beat."""
    for pickup, words, expected in ((0.5, "d5:.5", []), (2.0, "d5:.5 c5:1 d5:.5", [1.6])):
        voices = {1: f"{words} {'c5:1 d5:.5 ' * 16}"}
        table = notes({"rubato": [{"bars": "0-8", "long short": 1.6}]}, metre=(6, 8), pickup=pickup, voices=voices)
        assert ratios(table[1:]) == pytest.approx([*expected, *[1.6] * 16])


def test_a_beat_that_the_range_cuts_stays_as_it_is_written():
    table = notes({"rubato": [{"bars": "1:2 - 2:5", "long short": 1.6}]}, **SIX_EIGHT)
    assert ratios(table) == pytest.approx([2, 1.6, 1.6, *[2] * 13])


@settings(max_examples=60, deadline=None)
@given(st.floats(1, 3), st.floats(30, 120), st.integers(40, 95), st.floats(0, 2))
def test_what_else_shapes_the_beat_stays_in_it(ratio, tempo, to, amount):
    """The ratio counts against the one there would be without it, as in a slowdown or with a fermata on the short."""
    plan = {
        "tempo": tempo,
        "slowing": [{"rallentando": "3-6", "to": f"{to}%"}],
        "holds": [{"fermata": "2:3", "length": "180%"}],
    }
    unequal = {"rubato": [{"bars": "1-8", "long short": ratio}]}
    scale = Scale(amount)
    without, with_it = notes(plan, scale, **SIX_EIGHT), notes(plan | unequal, scale, **SIX_EIGHT)
    assert ratios(with_it) / ratios(without) == pytest.approx((ratio / 2) ** amount, rel=1e-6)
    beats = without["voice"] == 2
    np.testing.assert_allclose(with_it["onset"][beats], without["onset"][beats], rtol=0, atol=1e-9)


def test_a_displaced_voice_meets_the_others_on_a_short_note():
    voices = {1: LILT[1], 2: "c3:1 e3:.5 " * 16}
    rubato = [{"bars": "1-8", "long short": 1.6}, {"bars": "1-4", "late": "100 ms", "for": "voice 1", "meets": "3:3"}]
    table = notes({"rubato": rubato}, metre=(6, 8), voices=voices)
    upper, lower = table[table["voice"] == 1], table[table["voice"] == 2]
    apart = upper["onset"] - lower["onset"]
    assert apart[[0, 9]] == pytest.approx([0, 0], abs=1e-12)
    assert apart[9:] == pytest.approx(np.zeros(23), abs=1e-12)
    assert np.all(apart[1:9] > 0)
    assert ratios(table, 2) == pytest.approx([1.6] * 16)


# -- what is delayed


def test_a_note_is_delayed_and_ends_where_it_would():
    table = notes({"holds": [{"delay": "2:1", "by": "60 ms", "for": "melody"}]})
    moved = table["onset"] - table["score_onset"]
    assert moved == pytest.approx(np.where((table["voice"] == 1) & (table["score_onset"] == 4), 0.06, 0), abs=1e-12)
    assert table["end"] == pytest.approx(table["score_onset"] + 1)


def test_a_chord_is_delayed_with_all_its_voices_and_its_roll():
    voices = {1: "c5+e5+g5:1~ c5:3", 2: "c3:1 c3:3"}
    strict, free = (notes(plan, bars=1, voices=voices) for plan in ({}, {"holds": [{"delay": "1:1"}]}))
    first = strict["score_onset"] == 0
    assert (free["onset"] - strict["onset"])[first] == pytest.approx([0.04] * 4)
    for column in ("onset", "end"):
        np.testing.assert_array_equal(free[column][~first], strict[column][~first])
    np.testing.assert_array_equal(free["end"], strict["end"])


@pytest.mark.parametrize("sign", ["g", "G"])
def test_small_notes_are_delayed_with_their_main_note(sign):
    voices = {1: f"c5:1 d5:1{sign} e5:1 c5:2"}
    strict, free = (notes(plan, bars=1, voices=voices) for plan in ({}, {"holds": [{"delay": "1:2", "by": "50 ms"}]}))
    assert free["onset"] - strict["onset"] == pytest.approx([0, 0.05, 0.05, 0])
    assert free["end"] - strict["end"] == pytest.approx([0, 0.05, 0, 0])


def test_small_notes_that_end_the_note_before_stay_with_it():
    made = score(bars=1, voices={1: "c5:1 d5:1g e5:1 c5:2"})
    made.notes["after"] = made.notes["grace"] > 0
    plan = Plan.model_validate({"score": "made-by-hand.musicxml", "tempo": 60, "holds": [{"delay": "1:2"}]})
    table = perform(made, plan).performance.notes
    assert table["onset"] == pytest.approx([0, 0.93, 1.04, 2])
    assert table["end"][:2] == pytest.approx([0.93, 1])


def test_an_ornament_is_delayed_as_a_whole():
    """Its first notes move together, the last one ends where it would."""
    made = ornamented(score(bars=1, voices={1: "c5:1 d5:1 e5:2"}), 1)
    base = {"score": "made-by-hand.musicxml", "tempo": 60}
    strict, free = (
        perform(made, Plan.model_validate(base | more)).performance.notes
        for more in ({}, {"holds": [{"delay": "1:2", "by": "50 ms"}]})
    )
    assert strict["step"].tolist() == [0, 0, 1, 2, 0]
    assert free["onset"] - strict["onset"] == pytest.approx([0, 0.05, 0.05, 0.05, 0])
    assert free["end"] - strict["end"] == pytest.approx([0, 0.05, 0.05, 0, 0])


def ornamented(made, note: int):
    """The score with a mordent on one note."""
    made.notes["ornament"][note] = Ornament.MORDENT
    made.notes["upper"][note], made.notes["lower"][note] = 2, 1
    return made


def test_a_note_loses_half_of_its_length_at_most():
    plan = {"holds": [{"delay": "1:2", "by": "400 ms"}]}
    voices = {1: "c5:1 d5:.5. c5:.5 c5:2"}
    made = notes(plan, bars=1, voices=voices)
    assert (made["onset"][1], made["end"][1]) == pytest.approx((1.125, 1.25))
    assert codes(plan, bars=1, voices=voices) == ["delay-limited"]
    assert codes({"holds": [{"delay": "1:2", "by": "125 ms"}]}, bars=1, voices=voices) == []


def test_a_chord_is_delayed_as_one_though_one_of_its_notes_is_short():
    voices = {1: "c5:4", 2: "c3:.1 r:3.9"}
    made = notes({"holds": [{"delay": "1:1", "by": "100 ms"}]}, bars=1, voices=voices)
    assert made["onset"] == pytest.approx([0.05, 0.05])


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 4), st.integers(0, 500), st.floats(0, 2), st.sampled_from([None, "melody", "bass"]))
def test_only_what_is_delayed_moves_and_never_beyond_its_end(beat, by, amount, voice):
    hold = {"delay": f"3:{beat}", "by": f"{by} ms"} | ({"for": voice} if voice else {})
    options = {"scale": Scale(amount), "voices": {1: UPPER * BARS, 2: TWO[2]}}
    strict, free = notes({}, **options), notes({"holds": [hold]}, **options)
    meant = (strict["score_onset"] == 7 + beat) & (strict["role"] == {"melody": 0, "bass": 2}.get(voice, -1))
    meant = meant if voice else strict["score_onset"] == 7 + beat
    moved = free["onset"] - strict["onset"]
    assert not np.any(moved[~meant])
    assert np.all((moved >= 0) & (moved <= by / 1000 * amount + 1e-12))
    main = strict["score_length"] > 0
    np.testing.assert_array_equal(free["end"][main], strict["end"][main])
    assert np.all(free["end"] - free["onset"] >= (strict["end"] - strict["onset"]) / 2 - 1e-12)


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


def test_two_ratios_for_one_beat_are_a_caution_and_the_later_counts():
    plan = {"rubato": [{"bars": "1-4", "long short": 1.5}, {"bars": "4-8", "long short": 1.8}]}
    assert codes(plan, **SIX_EIGHT) == ["rubato-overlap"]
    assert ratios(notes(plan, **SIX_EIGHT)) == pytest.approx([1.5] * 6 + [1.8] * 10)


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


def test_a_delay_where_nothing_begins_is_told():
    voices = {1: "c5:2 d5:2", 2: "c3:1 " * 4}
    assert codes({"holds": [{"delay": "1:2", "for": "melody"}]}, bars=1, voices=voices) == ["never-heard"]
    assert codes({"holds": [{"delay": "1:2"}]}, bars=1, voices=voices) == []


def test_a_delay_is_laid_over_an_older_one_of_the_same_voice(tmp_path):
    write(tmp_path, f"{SCORE}holds: [{{delay: 5:1, by: 30 ms, for: melody}}, {{delay: 5:1, for: bass}}]", "base.yaml")
    write(tmp_path, "based on: base.yaml\nholds: [{delay: 5:1, by: 60 ms, for: melody}]", "own.yaml")
    first, second = read_plan(tmp_path / "own.yaml").holds
    assert (first.by, second.by, second.for_) == (0.06, None, "bass")
