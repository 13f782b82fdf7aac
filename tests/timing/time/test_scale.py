"""A reading drawn larger or smaller, and slower or faster as a whole."""

from __future__ import annotations

import numpy as np
import pytest
from house import PLANS
from hypothesis import given
from hypothesis import strategies as st
from support import score

from timing.performance import CARRIED
from timing.plan import Plan
from timing.plan.planfile import read_plan
from timing.reader import read_score
from timing.reading import perform
from timing.time.scale import AS_PLANNED, Scale

BARS = 8
VOICES = {1: "e5:1 d5:1.( c5:1) d5:1 " * BARS, 2: "c3:2 g3:1 g3:1~ " * BARS}
STRICT = Scale(amount=0.0)
SHAPING = ("slowing", "holds", "dynamics", "accents", "second time", "voices")


def performed(plan: dict, scale: Scale = AS_PLANNED, **options):
    made = score(BARS, voices=VOICES, **options)
    return perform(made, Plan.model_validate({"score": "made-by-hand.musicxml", "tempo": 60} | plan), scale).performance


def at(bar: int, beat: int) -> str:
    return f"{bar}:{beat}"


positions = st.builds(at, st.integers(1, BARS), st.integers(1, 4))
percents = st.integers(2, 12).map(lambda n: f"{n}%")
changes = st.integers(1, 8).map(lambda n: f"{n} dB")
marks = st.sampled_from(["pp", "p", "mp", "mf", "f"])


@st.composite
def ranges(draw) -> str:
    first = draw(st.integers(1, BARS - 1))
    return f"{first}:{draw(st.integers(1, 4))} - {draw(st.integers(first + 1, BARS))}:{draw(st.integers(1, 4))}"


@st.composite
def shaped_plans(draw) -> dict:
    """Plans that shape time and level in every way, over a repeat."""
    slowing = st.one_of(
        st.builds(lambda r, to: {"rallentando": r, "to": f"{to}%", "then": "a tempo"}, ranges(), st.integers(40, 95)),
        st.builds(lambda r: {"ritardando": r}, ranges()),
        st.builds(lambda r, to: {"ritenuto": r, "to": f"{to}%"}, ranges(), st.integers(50, 95)),
        st.builds(lambda r, louder: {"allargando": r, "louder": louder, "then": "a tempo"}, ranges(), changes),
        st.builds(lambda r: {"accelerando": r, "then": "a tempo"}, ranges()),
    )
    holds = st.one_of(
        st.builds(lambda p: {"fermata": p}, positions),
        st.builds(lambda p, much: {"agogic": p, "length": f"{100 + much}%"}, positions, st.integers(1, 60)),
        st.builds(lambda p: {"breath": f"after {p}"}, positions),
        st.builds(lambda p: {"breath": f"after {p}", "in time": True}, positions),
    )
    dynamics = st.one_of(
        st.builds(lambda p, mark: {"at": p, "mark": mark}, positions, marks),
        st.builds(lambda r, by: {"crescendo": r, "by": by}, ranges(), changes),
        st.builds(lambda r, mark: {"diminuendo": r, "to mark": mark, "for": "bass"}, ranges(), marks),
    )
    second = st.one_of(
        st.just({"bars": "1-4", "softer": "4 dB"}), st.builds(lambda m: {"bars": "2-4", "dynamics": m}, marks)
    )
    return {
        "tempo": [60, {"at": 5, "tempo": 72}],
        "order": ["1-4", "1-8"],
        "phrases": [{"bars": "1-8", "arch": {"pace": draw(percents), "level": draw(changes)}, "inside": ["1-4"]}],
        "slowing": draw(st.lists(slowing, max_size=3)),
        "holds": draw(st.lists(holds, max_size=3)),
        "dynamics": draw(st.lists(dynamics, max_size=4)),
        "accents": draw(st.lists(st.builds(lambda p: {"at": p}, positions), max_size=2)),
        "second time": [draw(second)],
        "voices": {"melody": {"level": "0 dB", "lead": "20 ms"}, "bass": "-6 dB"},
        "tone": [{"bars": "3-4", "tone": "bright"}],
    }


@given(shaped_plans())
def test_nothing_of_the_shaping_is_a_plan_without_it(plan):
    bare = {key: value for key, value in plan.items() if key not in SHAPING} | {"phrases": ["1-8"]}
    strict, unshaped = performed(plan, STRICT), performed(bare)
    for column in ("id", "onset", "end", "level", "tone", "lane", "attack"):
        np.testing.assert_allclose(strict.notes[column], unshaped.notes[column], rtol=0, atol=1e-9)
    assert strict.time.length == pytest.approx(unshaped.time.length, abs=1e-9)
    assert len(strict.curves) == len(unshaped.curves) == 0
    assert np.ptp(strict.notes["level"]) == 0


@given(shaped_plans(), st.sampled_from([0.25, 0.5, 1.5, 2.0]))
def test_levels_lie_as_many_times_as_far_from_the_middle(plan, amount):
    """In the order of the score, since what leads may overtake what does not."""
    whole, part = (performed(plan, scale).notes for scale in (AS_PLANNED, Scale(amount)))
    whole, part = (notes[np.lexsort((notes["id"], notes["ordinal"]))] for notes in (whole, part))
    np.testing.assert_allclose(part["level"] + 12, amount * (whole["level"] + 12), rtol=0, atol=1e-9)


@given(shaped_plans(), st.sampled_from([0.5, 0.8, 1.25]))
def test_pace_changes_the_clock_and_nothing_else(plan, pace):
    """Silences and the lead of a voice are seconds of their own, so they are left out here."""
    plan |= {"holds": [hold for hold in plan["holds"] if "breath" not in hold], "voices": {}}
    plain, slower = performed(plan), performed(plan, Scale(pace=pace))
    assert slower.time.length * pace == pytest.approx(plain.time.length, rel=1e-9)
    at = np.linspace(0, plain.quarters, 50)
    np.testing.assert_allclose(slower.time.seconds(at) * pace, plain.time.seconds(at), atol=1e-8)
    for column in ("level", "tone", "pitch"):
        np.testing.assert_array_equal(slower.notes[column], plain.notes[column])


@pytest.mark.parametrize("amount", [0.0, 0.5, 1.0, 2.0])
def test_a_slowdown_is_so_many_times_as_deep(amount):
    """In log pace: half of a slowdown to 64 % is one to 80 %, and twice of it one to 41 %."""
    time = performed({"slowing": [{"rallentando": "3:1 - 4:4", "to": "64%"}]}, Scale(amount)).time
    assert time.tempo(16.0, before=True) == pytest.approx(60 * 0.64**amount, rel=1e-9)


@pytest.mark.parametrize("amount", [0.0, 0.5, 1.0, 2.0])
def test_waiting_is_so_many_times_as_long(amount):
    holds = [{"fermata": "2:1", "length": "150%"}, {"breath": "after 4:4", "seconds": 0.4}]
    time = performed({"holds": holds}, Scale(amount)).time
    assert time.seconds(5.0) - time.seconds(4.0) == pytest.approx(1.5**amount, abs=1e-9)
    assert time.length == pytest.approx(4 * BARS + 1.5**amount - 1 + 0.4 * amount, abs=1e-9)


@pytest.mark.parametrize("amount", [0.0, 0.5, 1.0, 2.0])
def test_arches_keep_the_length_of_their_phrase_at_any_size(amount):
    time = performed({"phrases": [{"bars": "1-4", "arch": {"pace": "10%"}}]}, Scale(amount)).time
    assert time.seconds(16.0) == pytest.approx(16.0, abs=1e-9)
    assert time.tempo(6.4) / time.tempo(0.0) == pytest.approx(1.1**amount, rel=1e-9)


def test_a_voice_leads_and_a_slide_swells_by_as_much():
    plan = {
        "voices": {"melody": {"lead": "20 ms"}},
        "glissandi": [{"from": "2:1", "to": "2:2", "swell": "6 dB", "for": "voice 1"}],
    }
    for amount in (0.0, 0.5, 1.0):
        made = performed(plan, Scale(amount))
        melody = made.notes[(made.notes["voice"] == 1) & (made.notes["ordinal"] > 0)]
        early = made.time.seconds(melody["score_onset"]) - melody["onset"]
        np.testing.assert_allclose(early, 0.02 * amount, atol=1e-9)
        assert made.glides["swell"].tolist() == [6 * amount]


def test_tones_and_articulation_have_no_amount():
    plan = {"tone": [{"bars": "1-2", "tone": "dark"}], "articulation": {"slur end": "50%"}}
    strict, whole = performed(plan, STRICT).notes, performed(plan).notes
    for column in ("tone", "end"):
        np.testing.assert_array_equal(strict[column], whole[column])


@pytest.mark.parametrize("name", ["low-water-flowing", "low-water-inward", "umbrella-stand-dancing"])
def test_real_plans_and_printed_marks_come_to_strict_time_at_an_even_level(name):
    """The printed dynamics, hairpins, fermatas and accents of the demo's scores are shaping too."""
    plan = read_plan(PLANS / f"{name}.yaml")
    piece = read_score(plan.score)
    made = perform(piece, plan, STRICT).performance
    shaping = ("phrases", "slowing", "rubato", "holds", "dynamics", "accents", "second_time")
    voices = {name: voice.model_copy(update={"level": 0.0, "lead": None}) for name, voice in plan.voices.items()}
    unmarked = plan.marks.model_copy(update={"ignore": ("slowing", "holds", "dynamics", "accents")})
    bare = plan.model_copy(update={each: () for each in shaping} | {"voices": voices, "marks": unmarked})
    unshaped = perform(piece, bare).performance
    struck = made.notes["attack"] != CARRIED  # a carried goal keeps the level that a slide has swelled to
    assert np.ptp(made.notes["level"][struck]) == 0
    assert made.time.length == pytest.approx(unshaped.time.length, abs=1e-9)
    for column in ("id", "onset", "end", "string", "fret", "lane"):
        np.testing.assert_allclose(made.notes[column], unshaped.notes[column], rtol=0, atol=1e-9)
