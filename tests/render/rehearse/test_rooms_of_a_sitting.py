"""The room around what sounds: chosen on the page, remembered, and otherwise as the plan says."""

from __future__ import annotations

import pytest
from rehearsed import opened, rehearsed
from sittings import PLAN, saved, written

from render.sound.rooms import response
from render.sound.stems import RATE

# How long the response is of each room that was entered and not left.
WALLS = """
window.entered = () => [...window.walls].map((each) => each.buffer.length);
window.walls = new Set();
const connect = AudioNode.prototype.connect, disconnect = AudioNode.prototype.disconnect;
AudioNode.prototype.connect = function (target, ...rest) {
  if (target instanceof ConvolverNode) window.walls.add(target);
  return connect.call(this, target, ...rest);
};
AudioNode.prototype.disconnect = function (...rest) {
  if (rest[0] instanceof ConvolverNode) window.walls.delete(rest[0]);
  return disconnect.apply(this, rest);
};
"""


@pytest.fixture
def sitting(browser, tmp_path):
    plan = written(tmp_path)
    with rehearsed(plan) as address, opened(browser, address, init=WALLS) as page:
        yield plan, page


def stands_in(page, *rooms: str) -> None:
    """Wait until the sound goes through these rooms alone."""
    lengths = [response(room, RATE).shape[1] for room in rooms]
    page.wait_for_function(f"() => JSON.stringify(window.entered()) === {str(lengths).replace(' ', '')!r}")


def test_it_is_small_or_as_planned_until_one_chooses_and_that_is_remembered(sitting):
    plan, page = sitting
    stands_in(page, "small")
    saved(plan, PLAN + "room: hall\n")
    stands_in(page, "hall")
    saved(plan, PLAN + "room: dry\n")
    stands_in(page)
    page.locator(".more > summary").click()
    page.get_by_label("Room").select_option("small")
    stands_in(page, "small")
    page.reload()
    stands_in(page, "small")
    assert page.locator("#room").input_value() == "small"
