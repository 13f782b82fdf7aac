"""Time that all voices steal and give back, at 60 quarters a minute unless said."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from planfiles import SCORE, plan_of, write
from support import reading, score

from timing.order.splitting import split_bars
from timing.plan import Plan
from timing.plan.planfile import read_plan
from timing.reading import perform
from timing.remarks import CannotDo
from timing.time.scale import Scale

BARS = 12
SIZES = st.floats(0, 0.3).map(lambda share: f"{100 * round(share, 4):.10g}%")


def clock(plan: dict, scale: Scale | None = None, **options):
    made = score(**{"bars": BARS} | options)
    plan = Plan.model_validate({"score": "made-by-hand.musicxml", "tempo": 60} | plan)
    return perform(made, plan, scale or Scale()).performance.time


def codes(plan: dict, **options) -> list[str]:
    return [remark.code for remark in reading(plan, **{"bars": BARS} | options).remarks]


# -- what is heard


def test_a_hurry_is_ahead_in_the_bar_and_on_time_at_the_bar_line():
    """The pace is highest a quarter of the way, and stands at the written one in the middle, where most is stolen."""
    time = clock({"rubato": [{"bars": "2-3", "hurry": "8%"}]})
    assert time.seconds(np.array([0, 4, 8, 12, 48.0])) == pytest.approx([0, 4, 8, 12, 48], abs=1e-12)
    assert time.tempo(np.array([3.9, 4, 5, 6, 8, 9, 12])) == pytest.approx([60, 60, 64.8, 60, 60, 64.8, 60])
    top = math.log(1.08)  # the mean of the parabola is 2/3 of it, of its square 8/15
    assert 6 - time.seconds(6.0) == pytest.approx(2 * (top * 2 / 3 - top**2 / 2 * 8 / 15), rel=1e-3)
    assert time.tempo(7.0) < 60


def test_a_linger_is_behind_and_catches_up_by_the_end():
    time = clock({"rubato": [{"bars": "5-8", "linger": "8%", "keeps": "end"}]})
    assert time.seconds(np.array([16, 32.0])) == pytest.approx([16, 32], abs=1e-12)
    assert time.tempo(np.array([16, 20, 24, 32])) == pytest.approx([60, 55.2, 60, 60])
    assert np.all(time.seconds(np.array([17, 20, 24, 28, 31.0])) > [17, 20, 24, 28, 31])
    assert time.tempo(28.0) > 60


def test_a_part_of_a_bar_gives_back_within_itself():
    time = clock({"rubato": [{"bars": "2:3 - 4:2", "hurry": "10%"}]})
    kept = np.array([4, 6, 8, 12, 14, 16.0])
    assert time.seconds(kept) == pytest.approx(kept, abs=1e-12)
    assert np.all(time.seconds(np.array([7, 10, 13.0])) < [7, 10, 13])


def test_the_second_part_of_a_split_bar_has_no_bar_line_of_its_own():
    """A bar that a repeat sign cuts in two is one bar."""
    split = score(bars=4)
    split.bars["number"][2:] -= 1
    split.bars["length"][1:3], split.bars["shift"][2] = 2, 2
    split.notes["offset"][split.notes["bar"] == 1] /= 2
    split.notes["offset"][split.notes["bar"] == 2] /= 2
    plan = Plan.model_validate({"score": "made-by-hand.musicxml", "tempo": 60, "rubato": [{"bars": 2, "hurry": "8%"}]})
    time = perform(split, plan).performance.time
    assert time.seconds(8.0) == pytest.approx(8, abs=1e-12)
    assert time.seconds(6.0) < 5.95


@pytest.mark.parametrize("cut", [0.5, 1.0, 3.0])
@pytest.mark.parametrize("letter", ["", "a"])
def test_wherever_a_bar_is_cut_it_gives_back_as_one(cut, letter):
    """Also one that has a letter after its number, as the bar before has not."""
    whole = score(bars=4)
    whole.bars["suffix"][1] = letter
    plan = {"score": "made-by-hand.musicxml", "tempo": 60, "rubato": [{"bars": f"1-2{letter}", "hurry": "8%"}]}
    one, two = (
        perform(made, Plan.model_validate(plan)).performance.time for made in (whole, split_bars(whole, [(1, cut)]))
    )
    quarters = np.linspace(0, 16, 129)
    assert two.seconds(quarters) == pytest.approx(one.seconds(quarters), abs=1e-9)
    assert two.seconds(np.array([4, 8.0])) == pytest.approx([4, 8], abs=1e-12)


def test_an_upbeat_in_the_middle_of_a_piece_is_a_bar_of_its_own():
    """Bar 3 has three beats and bar 4 is the upbeat that makes it up: the line between them is kept as others are."""
    made = score(bars=5)
    made.bars["length"][2:4], made.bars["shift"][3] = [3, 1], 3
    made = replace(made, notes=made.notes[made.notes["offset"] < made.bars["length"][made.notes["bar"]]])
    plan = Plan.model_validate({"score": "x.musicxml", "tempo": 60, "rubato": [{"bars": "2-5", "linger": "8%"}]})
    time = perform(made, plan).performance.time
    lines = np.array([4, 8, 11, 12, 16.0])
    assert time.seconds(lines) == pytest.approx(lines, abs=1e-12)
    assert time.seconds(9.5) > 9.55


def test_each_hearing_gives_back_for_itself():
    plan = {"order": ["1-4", "1-4"], "rubato": [{"bars": "1-4", "hurry": "8%", "keeps": "end", "pass": 2}]}
    time = clock(plan | {"tempo": [60, {"at": 1, "tempo": 90, "pass": 2}]})
    assert time.seconds(np.arange(17.0)) == pytest.approx(np.arange(17.0), abs=1e-12)
    assert time.seconds(32.0) == pytest.approx(16 + 16 / 1.5, abs=1e-12)
    assert time.tempo(20.0) == pytest.approx(90 * 1.08)


def test_a_range_cut_by_a_repeat_gives_back_before_the_order_goes_on():
    plan = {"order": ["1-2", "1-4"], "rubato": [{"bars": "1-4", "linger": "8%", "keeps": "end"}]}
    assert clock(plan).seconds(np.array([8, 24.0])) == pytest.approx([8, 24], abs=1e-12)


def test_a_breath_in_it_lasts_as_long_as_it_says():
    plan = {"holds": [{"breath": "after 2:2", "seconds": 0.5}]}
    for keeps in ("bar line", "end"):
        made = reading(plan | {"rubato": [{"bars": "1-4", "hurry": "20%", "keeps": keeps}]}, bars=BARS)
        assert made.performance.time.seconds(16.0) == pytest.approx(16.5, abs=1e-9)
        notes = made.performance.notes
        assert notes["onset"][6] - notes["end"][5] == pytest.approx(0.5, abs=1e-9)


# -- laws


@st.composite
def shaped(draw) -> tuple[dict, str, tuple[int, int], str]:
    """A plan that shapes time in all other ways; what a rubato over some of its bars is."""
    first = draw(st.integers(1, BARS))
    last = draw(st.integers(first, BARS))
    plan: dict = {"tempo": [draw(st.floats(30, 200)), {"over": "5:2 - 6:3", "tempo": draw(st.floats(30, 200))}]}
    if draw(st.booleans()):
        plan["phrases"] = [{"bars": "1-12", "inside": [{"bars": "2-7", "arch": "12%"}], "arch": "6%"}]
    if draw(st.booleans()):
        to = draw(st.integers(30, 95))
        plan["slowing"] = [{"rallentando": "3:2 - 4:3", "to": f"{to}%", "then": "a tempo by 6:2"}]
    if draw(st.booleans()):
        plan["holds"] = [{"fermata": "7:4", "length": "150%"}, {"agogic": "3:1"}, {"breath": "after 8:2"}]
    return plan, draw(st.sampled_from(["hurry", "linger"])), (first, last), draw(st.sampled_from(["bar line", "end"]))


@given(shaped(), SIZES, st.sampled_from([0.5, 1.0, 2.0]))
def test_what_is_kept_falls_exactly_when_it_would_have(shape, size, amount):
    plan, kind, (first, last), keeps = shape
    scale = Scale(amount)
    time = clock(plan | {"rubato": [{"bars": f"{first}-{last}", kind: size, "keeps": keeps}]}, scale)
    without = clock(plan, scale)
    lines = np.arange(0, 4 * BARS + 1, 4.0)
    inside = (lines > 4 * (first - 1)) & (lines < 4 * last)
    kept = lines if keeps == "bar line" else lines[~inside]
    assert time.seconds(kept) == pytest.approx(without.seconds(kept), abs=1e-9, rel=0)
    quarters = np.linspace(0, 4 * BARS, 400)
    assert np.all(np.diff(time.seconds(quarters)) > 0)
    assert time.quarters(time.seconds(quarters)) == pytest.approx(quarters, abs=1e-9)


@given(shaped(), SIZES)
def test_the_first_half_is_as_the_plan_says(shape, size):
    """A parabola in log pace over the first half: 0, three quarters, all, three quarters, 0 of the size."""
    plan, kind, (first, last), keeps = shape
    plan["holds"] = plan.get("holds", [])[:2]  # a breath waits for as long as it says
    entry = {"bars": f"{first}-{last}", kind: size, "keeps": keeps}
    assume("rubato-limited" not in codes(plan | {"rubato": [entry]}))
    half = 2 if keeps == "bar line" else 2 * (last - first + 1)
    at = 4 * (first - 1) + half * np.array([1e-9, 0.25, 0.5, 0.75, 1 - 1e-9])
    ratio = clock(plan | {"rubato": [entry]}).tempo(at) / clock(plan).tempo(at)
    share = float(size.rstrip("%")) / 100
    top = math.log1p(share if kind == "hurry" else -share)
    assert np.log(ratio) == pytest.approx(top * np.array([0, 0.75, 1, 0.75, 0]), abs=1e-6)


@given(shaped())
def test_no_rubato_is_no_rubato(shape):
    plan, kind, (first, last), keeps = shape
    entry = {"bars": f"{first}-{last}", "keeps": keeps}
    quarters = np.linspace(0, 4 * BARS, 200)
    zero = clock(plan | {"rubato": [entry | {kind: "0%"}]})
    np.testing.assert_array_equal(zero.seconds(quarters), clock(plan).seconds(quarters))
    strict = Scale(amount=0.0)
    nothing = clock(plan | {"rubato": [entry | {kind: "20%"}]}, strict)
    np.testing.assert_array_equal(nothing.seconds(quarters), clock(plan, strict).seconds(quarters))


@given(
    st.lists(
        st.tuples(st.sampled_from(["hurry", "linger"]), st.integers(1, 12), st.integers(0, 6), SIZES, st.booleans()),
        min_size=2,
        max_size=6,
    )
)
def test_of_rubatos_that_overlap_the_later_one_keeps_what_it_says(entries):
    made = [
        {kind: size, "bars": f"{first}-{min(first + more, BARS)}", "keeps": "end" if end else "bar line"}
        for kind, first, more, size, end in entries
    ]
    time = clock({"rubato": made})
    _, first, more, *_ = entries[-1]
    kept = np.array([4 * (first - 1), 4 * min(first + more, BARS), 4 * BARS], float)
    assert time.seconds(kept) == pytest.approx(kept, abs=1e-9)


# -- what there is to say


@pytest.mark.parametrize(
    ("second", "told"),
    [
        ({"bars": "8-9", "linger": "5%"}, True),
        ({"bars": "9-10", "linger": "5%"}, False),
        ({"bars": "8-9", "linger": "5%", "pass": 2}, False),  # never heard there
        ({"bars": "1-4", "hurry": "5%", "keeps": "end"}, False),
    ],
)
def test_rubatos_that_overlap_are_a_caution(second, told):
    found = codes({"rubato": [{"bars": "5-8", "hurry": "8%"}, second]})
    assert ("rubato-overlap" in found) is told


def test_what_cannot_be_given_back_is_not_taken():
    """A fermata of eight beats in the first half: a quarter slower, it loses more time than the second half has."""
    plan = {"holds": [{"fermata": "2:1", "length": "1000%"}]}
    rubato = [{"bars": "2", "linger": "30%"}]
    assert codes(plan | {"rubato": rubato}) == ["rubato-limited"]
    time, without = clock(plan | {"rubato": rubato}), clock(plan)
    assert time.seconds(8.0) == pytest.approx(without.seconds(8.0), abs=1e-9)
    assert without.tempo(5.0 - 1e-9) * 0.7 < time.tempo(5.0 - 1e-9) < without.tempo(5.0 - 1e-9)
    assert time.tempo(7.0) == pytest.approx(4 * 60)
    assert codes(plan | {"rubato": [{"bars": "2", "linger": "1%"}]}) == []


@pytest.mark.parametrize(
    ("entry", "words"),
    [
        ({"bars": "20-24", "hurry": "8%"}, "the score ends at bar 12"),
        ({"bars": "5-8", "hurry": "40%"}, "it can be 0% to 30%"),
        ({"bars": "5-8", "hurry": "8%", "linger": "8%"}, "cannot be one entry"),
        ({"bars": "5-8"}, "it needs hurry, linger, late, early, long short or still beats"),
        ({"hurry": "8%"}, "'bars' is missing"),
        ({"bars": "5-8", "hurry": "8%", "keeps": "beat"}, "is not what a rubato can keep: bar line, end"),
        ({"bars": "5-8", "hurry": "8%", "for": "melody"}, "for that write 'late' or 'early'"),
    ],
)
def test_faults_in_a_musicians_words(entry, words, tmp_path):
    line = ", ".join(f"{key}: {value}" for key, value in entry.items())
    with pytest.raises(CannotDo) as refused:
        perform(score(bars=BARS), plan_of(tmp_path, f"rubato:\n  - {{{line}}}\n"))
    (remark,) = refused.value.remarks
    assert words in remark.message
    assert remark.place.line == 3


# -- a plan that is based on another


def based_on(tmp_path, base: str, own: str) -> tuple:
    write(tmp_path, f"{SCORE}rubato: [{base}]", "base.yaml")
    write(tmp_path, f"based on: base.yaml\nrubato: [{own}]", "own.yaml")
    return read_plan(tmp_path / "own.yaml").rubato


def test_the_newer_rubato_over_the_same_bars_is_laid_over_the_older_one(tmp_path):
    base = "{bars: 5-8, hurry: 8%, keeps: end}, {bars: 5-8, late: 80 ms, for: melody}"
    first, second = based_on(tmp_path, base, "{bars: 5 - 8, linger: 5%}")
    assert (first.kind, first.linger, first.keeps) == ("linger", 0.05, "end")
    assert (second.kind, second.late) == ("late", 0.08)
    first, second = based_on(tmp_path, base, "{bars: 5-8, early: 40 ms, for: melody}")
    assert (first.kind, second.kind, second.early) == ("hurry", "early", 0.04)


@pytest.mark.parametrize(
    "other", ["{bars: 5-8, hurry: 9%, pass: 2}", "{bars: 5-7, hurry: 9%}", "{bars: 5-8, late: 9 ms, for: bass}",
              "{bars: 5-8, long short: 1.5}"],
)  # fmt: skip
def test_other_bars_passes_voices_and_kinds_are_other_entries(tmp_path, other):
    base = "{bars: 5-8, hurry: 8%}, {bars: 5-8, late: 80 ms, for: melody}"
    assert len(based_on(tmp_path, base, other)) == 3


def test_omit_takes_a_rubato_out(tmp_path):
    base = "{bars: 5-8, hurry: 8%}, {bars: 5-8, long short: yes}"
    (left,) = based_on(tmp_path, base, "{bars: 5-8, hurry: 8%, omit: yes}")
    assert left.long_short == 1.6
    write(tmp_path, "based on: base.yaml\nwithout: rubato", "own.yaml")
    assert read_plan(tmp_path / "own.yaml").rubato == ()


def test_a_rubato_in_the_wrong_section_is_shown_the_right_one(tmp_path):
    with pytest.raises(CannotDo, match="it belongs in an entry under 'rubato'"):
        plan_of(tmp_path, "slowing: [{hurry: 8%}]")
