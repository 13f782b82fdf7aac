"""Laws that positions, ranges and passes keep along any order."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from places import ending, where
from support import score

from timing.plan.position import Position, Range, parse_range
from timing.where import Where


@st.composite
def orders(draw) -> Where:
    """A score of ten bars in some metre, perhaps with a pickup, played in any order; passes count how often."""
    metre = draw(st.sampled_from([(3, 4), (4, 4), (6, 8), (2, 2)]))
    pickup = draw(st.sampled_from([0.0, 0.5]))
    first = 0 if pickup else 1
    stretches = draw(st.lists(st.tuples(st.integers(first, 10), st.integers(first, 10)), min_size=1, max_size=5))
    heard = [bar for a, b in stretches for bar in range(min(a, b), max(a, b) + 1)]
    order = [(bar, bar, heard[: k + 1].count(bar)) for k, bar in enumerate(heard)]
    return where(order, score(bars=10, metre=metre, pickup=pickup))


@st.composite
def positions(draw, here: Where, bare: bool = True) -> Position:
    bar = here.score.bars[draw(st.integers(0, len(here.score.bars) - 1))]
    name = str(bar["number"])
    if bare and draw(st.booleans()):
        return Position(name)
    twelfths = draw(st.integers(0, int(bar["length"] * 12) - 1))
    beat = 1 + (Fraction(twelfths, 12) + Fraction(float(bar["shift"]))) * int(bar["unit"]) / 4
    return Position(name, beat, instant=beat.denominator > 1)


@st.composite
def orders_and_ranges(draw) -> tuple[Where, Range]:
    here = draw(orders())
    return here, Range(draw(positions(here)), draw(positions(here)))


def covered_on_the_page(here: Where, bars: Range) -> tuple[Fraction, Fraction]:
    """Start and end of a range in quarters of the printed page, straight from the definition."""
    table = here.score.bars
    starts = np.cumsum(table["length"]) - table["length"]
    row = {str(number): k for k, number in enumerate(table["number"])}

    def at(position: Position, over: bool) -> float:
        k = row[position.bar]
        if position.beat is None:
            return starts[k] + (table["length"][k] if over else 0)
        beat = position.beat
        if over and not position.instant:
            beat += 1
        elif over and bars.start == bars.end:
            beat = Fraction(beat.__floor__() + 1)
        return starts[k] + min(float((beat - 1) * 4 / int(table["unit"][k])) - table["shift"][k], table["length"][k])

    return at(bars.start, False), at(bars.end, True)


@given(orders_and_ranges())
def test_runs_cover_exactly_the_bars_that_a_range_means(case):
    here, bars = case
    first, last = covered_on_the_page(here, bars)
    assume(last > first + 1e-9)
    runs = here.runs(bars)
    page = np.cumsum(here.score.bars["length"]) - here.score.bars["length"]
    probes = np.concatenate(
        [np.arange(start, start + length, 1 / 24) + 1 / 48 for start, length in here.bars[["start", "length"]]]
    )
    on_page = np.array([page[here.bars["row"][k := here.ordinal(s)]] + s - here.bars["start"][k] for s in probes])
    meant = (on_page > first) & (on_page < last)
    in_runs = np.any(
        [(probes > run.start) & (probes < run.end) for run in runs] or [np.zeros(len(probes), bool)], axis=0
    )
    assert np.array_equal(meant, in_runs)


@given(orders_and_ranges())
def test_runs_are_in_order_and_whole(case):
    here, bars = case
    first, last = covered_on_the_page(here, bars)
    assume(last > first + 1e-9)
    runs = here.runs(bars)
    for run, following in pairwise(runs):
        assert run.end <= following.start
        assert run.last < following.first
        if run.end == following.start:
            assert not here.neighbours[run.last]
    for run in runs:
        assert np.all(here.neighbours[run.first : run.last])
        assert run.length > 0


@given(orders_and_ranges())
def test_a_run_is_complete_if_and_only_if_it_reaches_the_end(case):
    here, bars = case
    first, last = covered_on_the_page(here, bars)
    assume(last > first + 1e-9)
    page = np.cumsum(here.score.bars["length"]) - here.score.bars["length"]
    for run in here.runs(bars):
        reached = page[here.bars["row"][run.last]] + run.end - here.bars["start"][run.last]
        assert run.complete == (abs(reached - last) < 1e-9)


@given(orders_and_ranges())
def test_a_pass_takes_its_share_of_the_runs(case):
    here, bars = case
    first, last = covered_on_the_page(here, bars)
    assume(last > first + 1e-9)
    whole = sum(run.length for run in here.runs(bars))
    shares = [sum(run.length for run in here.runs(bars, passes)) for passes in range(1, here.bars["pass"].max() + 1)]
    assert sum(shares) == pytest.approx(whole, abs=1e-9)


@given(st.data())
def test_moments_increase_and_lead_back_to_their_place(data):
    here = data.draw(orders())
    position = data.draw(positions(here, bare=False))
    moments = here.moments(position)
    assert np.all(np.diff(moments) > 0)
    for moment in moments:
        bar, beat, _ = here.beat(moment)
        assert (str(bar), beat) == (position.bar, pytest.approx(float(position.beat), abs=1e-6))


@given(st.data())
def test_a_range_s_text_means_that_range(data):
    here = data.draw(orders())
    start = data.draw(st.integers(0, int(here.length * 12) - 1)) / 12
    line_end = here.line_ends[here.ordinal(start)]
    end = data.draw(st.integers(round(start * 12) + 1, round(line_end * 12))) / 12
    assert any(
        run.start == pytest.approx(start, abs=1e-6) and run.end == pytest.approx(end, abs=1e-6)
        for run in here.runs(parse_range(here.range_text(start, end)))
    )


@given(st.integers(1, 4), st.lists(st.integers(1, 3), min_size=2, max_size=4), st.integers(0, 2))
def test_no_skipped_ending_breaks_a_run(body, endings, rest):
    """Body, endings of some bars each, rest: on pass k the body runs on into ending k."""
    firsts = body + np.cumsum([0, *endings])
    marks = [ending(str(k + 1), int(firsts[k]), int(firsts[k + 1]) - 1) for k in range(len(endings))]
    made = score(bars=int(firsts[-1]) + rest, marks=marks)
    order = [
        part
        for k in range(len(endings))
        for part in ((1, body, k + 1), (int(firsts[k]) + 1, int(firsts[k + 1]), k + 1))
    ]
    here = where([*order, (int(firsts[-1]) + 1, int(firsts[-1]) + rest, 1)], made)
    for k, length in enumerate(endings):
        (run,) = here.runs(parse_range(f"1-{firsts[k + 1]}"), k + 1)
        assert run.length == 4 * (body + length)
        assert run.complete
