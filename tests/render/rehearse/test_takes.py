"""The order in which a take is made, its clock, and what two readings do not have in common."""

from __future__ import annotations

import numpy as np
import pytest
from house import PLANS
from hypothesis import given
from hypothesis import strategies as st
from performances import performance
from support import reading, score

from render.rehearse.clock import TakeClock
from render.rehearse.differing import differing
from render.rehearse.takes import GrowingTake
from render.sound.joining import Joining, Synths
from render.sound.memory import render_sound
from render.sound.stems import RATE
from timing.loading import load

PIANO, GUITAR = 0, 24


@pytest.fixture(scope="module")
def made():
    """Twelve seconds of two notes a second, on the piano."""
    notes = [{"score_onset": n / 2, "pitch": 60 + n % 12, "score_length": 0.5} for n in range(24)]
    return performance(notes, programs=[PIANO])


def gathered(take: GrowingTake) -> tuple[list[tuple[int, int]], np.ndarray]:
    """What comes, as (first, frames), and the whole take of it."""
    synths, order, blocks = Synths(), [], []
    for first, block in take.blocks(synths):
        order.append((first, len(block)))
        blocks.append((first, np.repeat(block, 2 // block.shape[1], axis=1)))
    whole = np.full((take.frames, 2), np.nan, np.float32)
    for first, block in blocks:
        assert np.isnan(whole[first : first + len(block)]).all(), "nothing is made twice"
        whole[first : first + len(block)] = block
    assert not np.isnan(whole).any() and take.whole
    return order, whole


@pytest.mark.parametrize("second", [0.0, 0.01, 5.0, 11.9, 60.0])
def test_it_begins_at_the_playhead_and_is_whole_in_the_end(made, second):
    order, whole = gathered(GrowingTake(Joining(made), lambda: int(second * RATE)))
    expected = render_sound(made).samples
    assert len(whole) == len(expected) and np.abs(whole - expected).max() < 1e-3
    assert 0 <= int(second * RATE) - order[0][0] < 64 or second == 60.0
    assert order[0][1] <= 0.11 * RATE
    firsts = [first for first, _ in order]
    turn = next((n for n in range(1, len(firsts)) if firsts[n] < firsts[n - 1]), len(firsts))
    assert firsts[:turn] == sorted(firsts[:turn]) and firsts[turn:] == sorted(firsts[turn:])


def test_whoever_jumps_meanwhile_is_served_next(made):
    head = [6 * RATE]
    take, synths, order = GrowingTake(Joining(made), lambda: head[0]), Synths(), []
    for first, _ in take.blocks(synths):
        order.append(first)
        if len(order) == 3:
            head[0] = 2 * RATE
        if len(order) == 6:
            head[0] = 6 * RATE + 100  # what is there already
    assert order[0] == 6 * RATE // 64 * 64 and order[3] == 2 * RATE // 64 * 64 and take.whole
    assert order[6] == min(first for first in order if first > order[2])


def test_a_guitar_has_one_channel_and_what_lies_wide_has_two():
    one = reading({"instrument": "classical guitar"}, score(1, voices={1: "e3:4"}, program=GUITAR)).performance
    for performed, channels in ((one, {1}), (performance([{"pitch": 36}, {"pitch": 96}], programs=[PIANO]), {2})):
        found = {block.shape[1] for _, block in GrowingTake(Joining(performed), lambda: 0).blocks(Synths())}
        assert found & channels == channels


def test_the_same_take_given_up_and_begun_anew_leaves_no_synth(made):
    for _ in range(3):
        blocks = GrowingTake(Joining(made), lambda: 0).blocks(Synths())
        next(blocks)
        blocks.close()


# -- the clock


def test_between_its_knots_a_clock_is_as_good_as_exact():
    made = load(PLANS / "low-water-flowing.yaml")
    clock, time = TakeClock.of(made.performance, made.where.score), made.performance.time
    quarters = np.random.default_rng(3).uniform(0, made.performance.quarters, 3000)
    found = np.array([clock.second(quarter) for quarter in quarters])
    assert np.abs(found - time.seconds(quarters)).max() < 0.0015
    assert max(abs(clock.quarter(clock.second(quarter)) - quarter) for quarter in quarters[:300]) < 1e-6


def clock_of(plan: dict, **options) -> TakeClock:
    made = reading(plan, score(8, **options))
    return TakeClock.of(made.performance, made.where.score)


def test_another_tempo_goes_on_at_the_same_quarter():
    slow, fast = clock_of({"tempo": 60}), clock_of({"tempo": 90})
    assert slow.carried(10.0, fast) == pytest.approx(10 * 60 / 90) and slow.same_order(fast)


def test_another_order_goes_on_in_the_same_hearing_of_the_bar_or_the_nearest():
    twice = clock_of({"tempo": 60, "order": ["1-4", "1-4", "5-8"]})
    once, later = clock_of({"tempo": 60}), clock_of({"tempo": 60, "order": ["5-8"]})
    assert twice.carried(16 + 5.5, once) == pytest.approx(5.5)  # bar 2, second time: there is but one
    assert once.carried(5.5, twice) == pytest.approx(5.5)
    assert twice.carried(32 + 1.25, once) == pytest.approx(16 + 1.25)  # bar 5
    assert once.carried(5.5, later) == 0.0  # not heard at all: what comes next
    ends = clock_of({"tempo": 60, "order": ["1-2"]})
    assert once.carried(20.0, ends) == pytest.approx(8.0)  # nor anything after it


@given(st.lists(st.sampled_from(["1-4", "3-8", "5-8"]), min_size=1, max_size=4), st.floats(0, 1))
def test_there_and_back_is_the_same_place(order, share):
    here, there = clock_of({"tempo": 60, "order": order}), clock_of({"tempo": 96, "order": order})
    second = share * here.seconds[-1]
    assert there.carried(here.carried(second, there), here) == pytest.approx(second, abs=1e-6)


# -- what differs

BASE = {"tempo": 60, "phrases": [{"bars": "1-8"}]}
CHANGES = [
    ({"slowing": [{"rallentando": "4:1 - 4:4", "to": "70%", "then": "a tempo"}]}, (12, 16)),
    ({"dynamics": [{"at": 1, "mark": "mf"}, {"crescendo": "5:1 - 6:1", "by": "6 dB"}]}, (16, 32)),
    ({"holds": [{"fermata": "3:2", "length": "200%"}]}, (9, 10)),
    ({"accents": [{"at": "2:3", "by": "4 dB"}]}, (6, 7)),
    ({"tone": [{"bars": 6, "tone": "dark"}]}, (20, 24)),
]


@pytest.mark.parametrize(("change", "span"), CHANGES)
def test_what_differs_is_where_the_change_is(change, span):
    plain = {"dynamics": [{"at": 1, "mark": "mf"}]} if "dynamics" in change else {}
    before = reading(BASE | plain, score(8)).performance
    now = reading(BASE | change, score(8)).performance
    found = differing(before, now)
    assert span[0] - 1e-6 <= found[0] and found[1] <= span[1] + 4 and found[0] < span[1]
    back = differing(now, before)
    assert back is not None and abs(back[0] - found[0]) < 1e-6


def test_where_nothing_sounds_otherwise_nothing_differs():
    one, two = (reading(BASE | {"title": title}, score(8)).performance for title in ("a", "b"))
    assert differing(one, two) is None and differing(one, one) is None


def test_another_order_differs_from_its_first_bar_to_its_last():
    plain = reading(BASE, score(8)).performance
    longer = reading(BASE | {"order": ["1-4", "3-8"]}, score(8)).performance
    assert differing(plain, longer) == (16.0, 24.0)
    assert differing(longer, plain)[0] == 16.0
