"""Lanes find a port and a channel of their own."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from render.events.channels import PER_PORT, channels
from timing.remarks import CannotDo


@given(st.integers(0, 240))
def test_every_lane_has_a_place_of_its_own_and_none_is_the_drums(lanes):
    ports, numbers = channels(lanes, 16)
    assert len(ports) == len(numbers) == lanes
    assert len(set(zip(ports.tolist(), numbers.tolist(), strict=True))) == lanes
    assert set(numbers.tolist()) <= set(range(16)) - {9}  # the tenth, counted from 0
    assert ports.max(initial=0) == max(lanes - 1, 0) // PER_PORT


def test_ports_are_filled_one_after_another():
    ports, numbers = channels(18, 2)  # three guitars of six strings
    assert ports.tolist() == [0] * 15 + [1] * 3
    assert numbers.tolist() == [*range(9), *range(10, 16), 0, 1, 2]


@pytest.mark.parametrize(("lanes", "ports"), [(16, 1), (241, 16)])
def test_too_many_lanes_are_refused_with_the_number_that_fits(lanes, ports):
    with pytest.raises(CannotDo, match=f"{lanes} voices: at most {ports * 15}"):
        channels(lanes, ports)
