"""What the terminal says of a slowdown with a hold in it, and of what is told of several passes."""

from __future__ import annotations

import io

from rich.console import Console
from support import reading

from render.telling.report import show_reading, show_remarks
from timing.cautions import check


def printed(show, what) -> str:
    text = io.StringIO()
    show(Console(file=text, width=300), what)
    return text.getvalue()


def test_a_hold_in_the_last_beat_of_a_slowdown_is_told():
    """The pace at the end is that of the slowdown; what one hears of its last beat has the fermata in it."""
    plan = {"slowing": [{"rallentando": "7:1 - 8:4", "to": "65%"}]}
    plain = printed(show_reading, reading(plan))
    assert "65%" in plain and "68%" in plain and "hold" not in plain
    held = printed(show_reading, reading(plan | {"holds": [{"fermata": "8:4"}]}))
    assert "46% with its hold, 68% without" in held


def test_the_passes_of_a_remark():
    holds = [{"fermata": "1:1 - 1:3"}, {"fermata": "1:2"}]
    made = reading({"order": "1-2, 1-2, 1-2", "holds": holds}, bars=2)
    said = printed(show_remarks, [remark for remark in check(made) if remark.code == "holds-overlap"])
    assert said.count("[holds-overlap]") == 1
    assert "bar 1, beat 2, passes 1, 2 and 3" in said
