"""A sitting from the outside, over its wire: what is saved or asked for is told, heard and judged, the newest always
last. No test looks at a clock."""

from __future__ import annotations

import os
import re
import time

import numpy as np
import pytest
from house import PLANS
from sittings import PLAN, TUNE, Wire, rehearsed, saved, written

from render.sound.memory import render_sound
from timing.loading import load


def slower(percent: int, text: str = PLAN) -> str:
    return re.sub(r"to: \d+%", f"to: {percent}%", text)


def numbers(page: Wire, kind: str, reading: int | None = 0) -> list[int]:
    return [each["number"] for each in page.told if each["is"] == kind and each.get("reading", 0) == reading]


def assert_newest_last(page: Wire) -> None:
    """Nothing older was ever told after something newer."""
    for kind in ("saved", "clock", "sound", "drawn", "whole", "remarks", "differs"):
        found = numbers(page, kind)
        assert found == sorted(found), kind


def take(page: Wire, number: int, reading: int = 0) -> np.ndarray:
    """A whole take, as a page puts it together."""
    whole = next(each for each in page.told if each["is"] == "whole" and each["number"] == number
                 and each["reading"] == reading)  # fmt: skip
    made = np.full((whole["frames"], 2), np.nan, np.float32)
    for each in page.told:
        if each["is"] == "sound" and (each["number"], each["reading"]) == (number, reading):
            made[each["first"] : each["first"] + len(each["block"])] = each["block"]
    assert not np.isnan(made).any()
    return made


@pytest.fixture
def plan(tmp_path):
    return written(tmp_path)


def test_what_is_saved_is_heard_seen_and_judged(plan):
    with rehearsed(plan) as process, Wire(process) as page:
        assert page.next()["is"] == "hello" and page.until("remarks", number=0)
        expected = render_sound(load(plan).performance).samples
        assert np.array_equal(take(page, 0), expected)
        saved(plan, slower(50))
        remarks = page.until("remarks", number=1)["remarks"]
        assert all({"code", "severity", "row", "offset", "fix", "stands"} <= each.keys() for each in remarks)
        assert page.told[-1]["number"] == 1
        order = [each["is"] for each in page.told if each.get("number") == 1]
        firsts = [order.index(kind) for kind in ("saved", "clock", "sound", "differs", "drawn", "whole", "remarks")]
        assert firsts == sorted(firsts)
        assert np.array_equal(take(page, 1), render_sound(load(plan).performance).samples)
        differs = next(each for each in page.told if each["is"] == "differs")
        assert 15 <= differs["from"] < differs["until"] <= 48
        assert_newest_last(page)


def test_sound_begins_where_somebody_listens(plan):
    with rehearsed(plan) as process, Wire(process) as page:
        page.until("whole", number=0)
        page.say(do="hear", reading=0, number=0, second=6.0, playing=False)
        saved(plan, slower(60))
        first = page.until("sound", number=1)
        assert abs(first["first"] / 44_100 - 6.0) < 0.1 and len(first["block"]) <= 0.11 * 44_100
        page.until("whole", number=1)
        assert np.abs(take(page, 1) - render_sound(load(plan).performance).samples).max() < 1e-3
        saved(plan, slower(60).replace("tempo: 120", "tempo: 60"))  # the same bar and beat is later now
        assert abs(page.until("sound", number=2)["first"] / 44_100 - 12.0) < 0.1


def test_a_burst_of_saves_never_shows_an_older_one_after_a_newer_one(plan):
    with rehearsed(plan) as process, Wire(process) as page:
        page.until("whole", number=0)
        for percent in range(40, 70):
            saved(plan, slower(percent))
            time.sleep(0.05)
        last = page.until("saved", text=slower(69))["number"]
        page.until("remarks", number=last)
        assert_newest_last(page)
        assert np.array_equal(take(page, last), render_sound(load(plan).performance).samples)


def test_what_is_drawn_by_hand_is_heard_in_order_and_is_one_step(plan):
    with rehearsed(plan) as process, Wire(process) as page:
        entry = next(each for each in page.until("drawn", number=0)["entries"] if each["section"] == "slowing")
        page.until("remarks", number=0)
        target = {key: entry[key] for key in ("section", "line", "column")}
        for step in range(40):
            change = {"what": "depth", **target, "to": round(0.9 - step / 100, 2)}
            page.say(do="change", number=0, change=change, drawing=step < 39)
            time.sleep(0.04)
        page.until("saved", text=slower(51))
        last = numbers(page, "saved")[-1]
        page.until("whole", number=last)
        assert_newest_last(page)
        page.say(do="undo")
        assert page.until("saved", by="undo")["text"] == PLAN and plan.read_text() == PLAN  # all of it is one step


def test_faults_leave_the_last_good_reading_sounding(plan):
    with rehearsed(plan) as process, Wire(process) as page:
        page.until("remarks", number=0)
        saved(plan, PLAN.replace("to: 70%", "to: fast"))
        fault = page.until("saved", number=1)
        while not fault["faults"]:
            fault = page.until("saved", number=1)
        assert fault["faults"][0]["line"] == 9 and fault["faults"][0]["severity"] == "error"
        saved(plan, slower(65))
        page.until("remarks", number=2)
        assert 1 not in numbers(page, "clock") + numbers(page, "sound") + numbers(page, "drawn")
        assert page.told[-1]["number"] == 2


def test_a_plan_that_is_deleted_and_restored(plan):
    with rehearsed(plan) as process, Wire(process) as page:
        page.until("remarks", number=0)
        plan.unlink()
        while not page.until("saved", number=0)["faults"]:
            pass
        saved(plan, PLAN)
        while page.until("saved", number=0)["faults"]:
            pass
        plan.unlink()
        page.until("saved", number=0)
        page.say(do="text", text=slower(60), number=0)
        page.until("saved", number=1)
        page.until("whole", number=1)
        assert plan.read_text() == slower(60)


def test_the_score_and_the_plans_beneath_are_watched_too(plan):
    newer = plan.with_name("newer.yaml")
    newer.write_text("based on: plan.yaml\ntitle: Newer\n")
    with rehearsed(newer) as process, Wire(process) as page:
        page.until("remarks", number=0)
        seconds = next(each for each in page.told if each["is"] == "clock")["seconds"][-1]
        saved(plan, PLAN.replace("tempo: 120", "tempo: 60"))
        assert page.until("clock", number=1)["seconds"][-1] == pytest.approx(2 * seconds, rel=1e-3)
        page.until("remarks", number=1)
        saved(plan.with_name("tern.abc"), TUNE.replace("B d b | a2 g |", "B d b | a2 g | a2 g |"))
        assert len(page.until("clock", number=2)["bars"]) == 1 + len(
            next(each for each in page.told if each["is"] == "clock" and each["number"] == 1)["bars"]
        )
        assert [each["text"] for each in page.told if each["is"] == "saved"][-1] == newer.read_text()


def test_another_plan_is_heard_beside_it(plan):
    other = plan.with_name("other.yaml")
    other.write_text(slower(90))
    with rehearsed(plan, "--with", other) as process, Wire(process) as page:
        assert page.next()["other"] == "other.yaml"
        page.until("whole", number=0, reading=1)
        assert np.array_equal(take(page, 0, 1), render_sound(load(other).performance).samples)
        saved(other, slower(80))
        page.until("whole", number=1, reading=1)
        assert np.array_equal(take(page, 1, 1), render_sound(load(other).performance).samples)
        assert numbers(page, "saved")[-1] == 0 and set(numbers(page, "clock")) == {0}


def test_both_are_kept_where_page_and_file_change_at_a_time(plan):
    with rehearsed(plan) as process, Wire(process) as page:
        page.until("remarks", number=0)
        saved(plan, slower(60))
        page.until("saved", number=1)
        page.say(do="text", text=slower(80), number=0)
        two = page.until("two")
        assert (two["ours"], two["theirs"]) == (slower(80), slower(60)) and "80%" in two["difference"]
        assert plan.read_text() == slower(60)
        page.say(do="settle", keep="ours")
        page.until("saved", text=slower(80))
        assert plan.read_text() == slower(80) and page.until("remarks")
        assert next(each for each in reversed(page.told) if each["is"] == "two")["ours"] is None


def test_all_taken_back_gives_the_first_bytes_again(plan):
    first = plan.read_bytes()
    with rehearsed(plan) as process, Wire(process) as page:
        page.until("drawn", number=0)
        for percent in (90, 80, 60):
            page.say(do="text", text=slower(percent))
            page.until("saved", text=slower(percent))
        for _ in range(3):
            page.say(do="undo")
        page.until("saved", text=PLAN)
        assert plan.read_bytes() == first


def test_a_page_that_was_away_is_told_what_is_newest(plan):
    with rehearsed(plan) as process:
        with Wire(process) as page:
            page.until("remarks", number=0)
        for percent in (50, 60, 65):
            saved(plan, slower(percent))
            time.sleep(0.2)
        with Wire(process) as page:
            last = page.until("saved", text=slower(65))["number"]
            page.until("remarks", number=last)
            assert_newest_last(page)
            assert np.array_equal(take(page, last), render_sound(load(plan).performance).samples)


def test_a_page_that_takes_nothing_stops_no_other(plan):
    with rehearsed(plan) as process, Wire(process), Wire(process) as page:
        page.until("remarks", number=0)
        for percent in (50, 60, 65):  # the first page never reads
            saved(plan, slower(percent))
            page.until("remarks", number=page.until("saved", text=slower(percent))["number"])


@pytest.mark.skipif(not os.path.isdir("/proc/self/fd"), reason="open files cannot be counted here")
def test_changes_leave_no_file_open(plan):
    def opened(pid: int) -> int:
        return len(os.listdir(f"/proc/{pid}/fd"))

    with rehearsed(plan) as process, Wire(process) as page:
        page.until("remarks", number=0)
        before = opened(process.pid)
        for percent in range(50, 80):
            saved(plan, slower(percent))
            page.until("saved", text=slower(percent))
        page.until("remarks", number=numbers(page, "saved")[-1])
        assert opened(process.pid) <= before + 2


def test_a_guitar_is_sent_as_one_channel(tmp_path):
    names = "umbrella-stand.musicxml", "umbrella-stand-dancing.yaml", "low-water.musicxml", "low-water-flowing.yaml"
    for name in names:
        (tmp_path / name).write_bytes((PLANS / name).read_bytes())
    for name, channels in (("low-water-flowing.yaml", {1}), ("umbrella-stand-dancing.yaml", {1, 2})):
        with rehearsed(tmp_path / name) as process, Wire(process) as page:
            page.until("whole", number=0)
            assert {each["block"].shape[1] for each in page.told if each["is"] == "sound"} <= channels
            assert np.array_equal(take(page, 0), render_sound(load(tmp_path / name).performance).samples)
