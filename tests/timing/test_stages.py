"""The stages of a performance: each gives what it gives from what it is given, and leaves that as it was."""

from __future__ import annotations

from dataclasses import fields, is_dataclass

import numpy as np
import pytest
from house import DEMOS
from support import reading as made

from timing import reading as module
from timing.loading import load

STAGES = (
    "in_order", "written_out", "with_marks", "build_pace", "with_ornaments", "build_level", "with_touch", "find_slides",
    "on_strings", "with_tones", "_with_slides", "_while_sounding",
)  # fmt: skip


def freeze(value, seen=None) -> None:
    """Let every array that can be reached from here refuse to be written into."""
    seen = set() if seen is None else seen
    if id(value) in seen or value is None or isinstance(value, str | int | float):
        return
    seen.add(id(value))
    if isinstance(value, np.ndarray):
        value.flags.writeable = False
    elif isinstance(value, list | tuple | set | frozenset):
        for each in value:
            freeze(each, seen)
    elif isinstance(value, dict):
        for each in value.values():
            freeze(each, seen)
    elif is_dataclass(value):
        for field in fields(value):
            freeze(getattr(value, field.name), seen)
    elif type(value).__module__.startswith("timing."):
        freeze(getattr(value, "__dict__", {}), seen)


def same(one, other) -> bool:
    return one.dtype == other.dtype and one.tobytes() == other.tobytes()


def tables(reading) -> dict[str, np.ndarray]:
    performance = reading.performance
    names = ("notes", "lanes", "tunings", "bars", "curves", "glides", "bends", "phrases")
    return {name: getattr(performance, name) for name in names} | {"pieces": performance.time.pieces}


@pytest.mark.parametrize("plan", DEMOS, ids=lambda plan: plan.stem)
def test_no_stage_changes_what_it_is_given(plan, monkeypatch):
    before = load(plan)
    told = list(before.remarks)
    stages = []
    for name in STAGES:
        stage = getattr(module, name)

        def frozen(*given, stage=stage, name=name, **named):
            freeze((given, named))
            stages.append(name)
            return stage(*given, **named)

        monkeypatch.setattr(module, name, frozen)
    after = load(plan)
    assert stages == list(STAGES)
    assert list(after.remarks) == told
    for name, table in tables(after).items():
        assert same(table, tables(before)[name]), name


@pytest.mark.parametrize("plan", DEMOS, ids=lambda plan: plan.stem)
def test_what_has_a_row_for_each_note_has_it_in_the_order_of_the_performance(plan):
    reading = load(plan)
    notes, level = reading.performance.notes, reading.level
    assert (np.diff(notes["onset"]) >= 0).all()
    assert (reading.lines.role == notes["role"]).all()
    carried = np.isin(np.arange(len(notes)), reading.performance.glides["goal"])
    planned = level.own + level.moving(np.arange(len(notes)), notes["score_onset"])
    assert planned[~carried] == pytest.approx(notes["level"][~carried], abs=1e-12)


def test_a_displaced_voice_keeps_its_roles_and_levels():
    """Where onsets leave the order of the page the rows of level and voices go with them."""
    voices = {"melody": "0 dB", "bass": "-9 dB"}
    plan = {"rubato": [{"bars": "1-4", "late": "200 ms", "for": "melody"}], "voices": voices}
    reading = made(bars=4, voices={1: "c5:.25 " * 64, 2: "c3:.25 " * 64}, plan=plan)
    notes = reading.performance.notes
    order = np.lexsort((notes["id"], notes["score_onset"]))
    assert (np.diff(order) < 0).any(), "the performed order is another than that of the page"
    assert (reading.lines.role == notes["role"]).all()
    planned = reading.level.own + reading.level.moving(np.arange(len(notes)), notes["score_onset"])
    assert planned == pytest.approx(notes["level"], abs=1e-12)
    assert set(notes["level"][notes["pitch"] == 48].round(6)) != set(notes["level"][notes["pitch"] == 72].round(6))


