"""Every lane has a channel of its own, and none is the drums'."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from render.channels import channels
from timing.remarks import CannotDo


@given(st.integers(0, 240))
def test_no_two_lanes_share_a_channel_and_none_has_the_tenth(lanes):
    ports, numbers = channels(lanes, 16)
    pairs = set(zip(ports.tolist(), numbers.tolist(), strict=True))
    assert len(pairs) == lanes
    assert all(0 <= number <= 15 and number != 9 for _, number in pairs)
    assert {port for port, _ in pairs} == set(range(-(-lanes // 15)))


def test_the_sixteenth_lane_opens_a_second_port():
    ports, numbers = channels(16, 2)
    assert ports.tolist() == [0] * 15 + [1]
    assert numbers.tolist() == [0, 1, 2, 3, 4, 5, 6, 7, 8, 10, 11, 12, 13, 14, 15, 0]


def test_more_lanes_than_channels_are_refused():
    with pytest.raises(CannotDo, match="31 voices: at most 30"):
        channels(31, 2)
