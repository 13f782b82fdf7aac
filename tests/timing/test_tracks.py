"""A value that stands, steps and glides; and comes back with the order of the bars."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from timing.tracks import Event, follow, law, sample, table


def to(value: float):
    return lambda _: value


def value_at(segments, quarters: float) -> float:
    return float(sample(table(segments), np.array([quarters]))[0])


def test_nothing_happens():
    (segment,) = follow([], 5.0, 8.0)
    assert (segment.start, segment.end, segment.first, segment.last) == (0, 8, 5, 5)


def test_a_step_and_a_glide():
    made = follow([Event(2, 2, to(7.0)), Event(4, 6, to(3.0))], 5.0, 8.0)
    assert [value_at(made, s) for s in (0, 1.9, 2, 4, 5, 6, 8)] == pytest.approx([5, 5, 7, 7, 5, 3, 3])


def test_a_step_cuts_a_glide():
    made = follow([Event(0, 8, to(8.0)), Event(4, 4, to(1.0))], 0.0, 8.0)
    assert [value_at(made, s) for s in (2, 3.999, 4, 8)] == pytest.approx([2, 3.999, 1, 1])


def test_a_glide_begins_where_the_one_it_cuts_has_come_to():
    made = follow([Event(0, 8, to(8.0)), Event(4, 6, lambda reached: reached + 2)], 0.0, 8.0)
    assert [value_at(made, s) for s in (4, 5, 6, 8)] == pytest.approx([4, 5, 6, 6])


def test_one_that_waits_for_stillness():
    still = Event(4, 4, to(0.0), if_still=True)
    assert value_at(follow([Event(0, 8, to(8.0)), still], 1.0, 8.0), 8) == 8  # the glide goes on
    assert value_at(follow([Event(0, 4, to(8.0)), still], 1.0, 8.0), 5) == 0  # it has just arrived
    assert value_at(follow([Event(0, 0, to(8.0)), still], 1.0, 8.0), 5) == 0


def test_rank_orders_what_happens_at_one_moment():
    events = [Event(4, 6, lambda reached: reached * 2, rank=1), Event(4, 4, to(3.0))]
    assert value_at(follow(events, 1.0, 8.0), 6) == 6


def test_where_the_order_goes_back_the_value_does_too():
    """Bars of 4 quarters in the order 1 2 3 | 2 3: at 12 the second bar begins again."""
    events = [Event(2, 2, to(1.0)), Event(4, 4, to(2.0)), Event(9, 9, to(3.0)), Event(12, 12, to(2.0))]
    made = follow(events, 0.0, 20.0, [(12, 4)])
    assert [value_at(made, s) for s in (8, 11, 12, 16, 17)] == [2, 3, 2, 2, 2]
    without_mark = follow(events[:3], 0.0, 20.0, [(12, 4)])
    assert value_at(without_mark, 13) == 1  # as it was when bar 2 was reached, before what is marked there


def test_a_return_into_a_glide_finds_it_half_done():
    made = follow([Event(0, 8, to(8.0))], 0.0, 20.0, [(12, 4)])
    assert [value_at(made, s) for s in (4, 8, 11.9, 12, 19)] == [4, 8, 8, 4, 4]


def test_what_begins_at_the_end_is_not_heard():
    assert value_at(follow([Event(8, 8, to(1.0))], 5.0, 8.0), 8) == 5


@given(
    st.lists(
        st.tuples(st.floats(0, 12), st.floats(0, 6), st.floats(-5, 5), st.integers(0, 1), st.booleans()), max_size=12
    )
)
def test_segments_have_no_gaps(events):
    made = follow([Event(s, s + d, to(v), rank=r, if_still=i) for s, d, v, r, i in events], 0.0, 10.0)
    assert made[0].start == 0
    for one, two in pairwise(made):
        assert one.end == two.start
    assert made[-1].end >= 10
    assert all(segment.end > segment.start for segment in made)


@pytest.mark.parametrize("q", [1, 2, 3])
def test_the_law(q):
    assert law(1.0, 0.5, q, 0.0) == 1
    assert law(1.0, 0.5, q, 1.0) == pytest.approx(0.5)
    assert law(1.0, 0.5, q, 0.5) == pytest.approx(((1 + 0.5**q) / 2) ** (1 / q))
    assert law(2.0, 2.0, q, 0.3) == 2


def test_samples_forgive_a_hair():
    """A note at a third of a beat is not early for a mark there because of the last bit of a float."""
    made = table(follow([Event(1 / 3, 1 / 3, to(1.0))], 0.0, 4.0))
    assert sample(made, np.array([np.nextafter(1 / 3, 0), 0.3])).tolist() == [1, 0]
