"""Whatever is misplaced is told, and is as deep as it was."""

from __future__ import annotations

from collections import Counter

import pytest
from house import DEMOS
from hypothesis import given
from hypothesis import strategies as st
from judged import told
from slowed import pace_before
from support import score

from timing.cautions import check
from timing.companions import companion
from timing.loading import load
from timing.plan import Plan
from timing.plan.planfile import read_plan
from timing.reading import Reading, perform
from timing.remarks import CannotDo, Severity
from timing.where import near

EIGHT = {"phrases": [{"bars": "1-8", "inside": ["1-4", "5-8"]}]}
RIT = {"rallentando": "4:1 - 4:4", "to": "80%", "then": "a tempo"}


def plan_of(plan: dict) -> Plan:
    return Plan.model_validate({"score": "made-by-hand.musicxml", "tempo": 60} | plan)


def assert_misplaced(before: Reading, beside: Reading) -> int:
    """The law of the misplaced companion; how many slowdowns are moved."""
    pairs = list(zip(before.plan.slowing, beside.plan.slowing, strict=True))
    moved = [(old, new) for old, new in pairs if old is not new]
    runs = {id(slow.entry): [] for slow in (*before.pace.slowings, *beside.pace.slowings)}
    for slow in (*before.pace.slowings, *beside.pace.slowings):
        runs[id(slow.entry)].append(slow)
    assert Counter(slow.to for slow in before.pace.slowings) == Counter(slow.to for slow in beside.pace.slowings)
    remarks = Counter((r.bar_name, near(r.beat)) for r in told("slowing-mid-phrase", beside))
    spots, phrases = Counter(), beside.phrases
    for old, new in moved:
        one, two = runs[id(old)], runs[id(new)]
        assert (new.kind, len(two)) == (old.kind, len(one))
        for slow, was in zip(two, one, strict=True):
            assert slow.to == was.to and slow.until == slow.run.end
            assert slow.run.length <= was.run.length + 1e-6
            assert pace_before(beside, slow.run.end) == pytest.approx(slow.to)
            inside = [p for p in phrases if p.start <= slow.run.start + 1e-6 and slow.run.end < p.end]
            shares = [(slow.run.end - p.start) / (p.end - p.start) for p in inside]
            assert any(0.25 <= share <= 0.75 for share in shares)
        spots.update({beside.where.beat_before(slow.run.end)[:2] for slow in two if slow.to <= 0.9})
    for spot, count in spots.items():
        assert remarks[spot[0], near(spot[1])] >= count
    assert [r for r in check(beside) if r.severity is Severity.ERROR or r.code == "slowings-overlap"] == []
    return len(moved)


@pytest.mark.parametrize("path", DEMOS, ids=lambda path: path.stem)
def test_the_demo_plans_misplaced(path):
    before = load(path)
    plan = read_plan(path)
    beside = companion("misplaced", before)
    pairs = zip(before.plan.slowing, beside.reading.plan.slowing, strict=True)
    moved = sum(old.where != new.where for old, new in pairs)
    assert moved >= 6 and beside.told.startswith("the same slowdowns, in the middle of their phrases (")
    again = perform(before.score, plan)
    assert assert_misplaced(again, companion("misplaced", again).reading) == moved


METRES = st.sampled_from([(4, 4), (3, 4), (6, 8), (2, 4), (5, 8)])


@st.composite
def shaped(draw) -> tuple[dict, tuple[int, int]]:
    """A plan of 16 bars whose phrases end slowly, most of them."""
    metre = draw(METRES)
    beats = metre[0]
    size = draw(st.sampled_from([3, 4, 5, 8]))
    bounds = [(first, min(first + size - 1, 16)) for first in range(1, 17, size)]
    phrases = [
        {"bars": f"{a}-{b}", "inside": [f"{a}-{a + 3}", f"{a + 4}-{b}"] if b - a == 7 and draw(st.booleans()) else []}
        | ({"arch": {"pace": "6%"}} if draw(st.booleans()) else {})
        for a, b in bounds
    ]
    slowing = []
    for first, last in bounds:
        if not draw(st.integers(0, 3)):
            continue
        start = draw(st.integers(max(first, last - 2), last))
        begin, end = draw(st.integers(1, beats)), draw(st.integers(1, beats))
        if start == last:
            begin, end = sorted((begin, end))
        kind = draw(st.sampled_from(["rallentando", "ritardando", "ritenuto", "allargando"]))
        entry = {kind: f"{start}:{begin} - {last}:{end}", "to": f"{draw(st.integers(40, 95))}%"}
        back = draw(st.sampled_from(["a tempo", "a tempo", "by", None]))
        if back == "by" and last < 16:
            entry["then"] = f"a tempo by {last + 1}:{draw(st.integers(1, beats))}"
        elif back is not None:
            entry["then"] = "a tempo"
        if draw(st.booleans()):
            entry["pass"] = draw(st.sampled_from([1, 2, "last"]))
        slowing.append(entry)
    order = draw(st.sampled_from([["1-16"], ["1-8", "1-16"], ["1-7", "1-6", "8-16"], ["1-16", "1-8"]]))
    tempo = draw(st.sampled_from([60, [60, {"at": 9, "tempo": 80}]]))
    return {"phrases": phrases, "slowing": slowing, "order": order, "tempo": tempo}, metre


@given(shaped())
def test_whatever_is_moved_is_told_and_as_deep_as_it_was(drawn):
    plan, metre = plan_of(drawn[0]), drawn[1]
    music = score(16, metre)
    try:
        before = perform(music, plan)
    except CannotDo:
        return  # a return that comes too early, say
    try:
        beside = companion("misplaced", before)
    except CannotDo as refusal:
        assert [remark.code for remark in refusal.remarks] == ["nothing-to-misplace"]
        return
    count = assert_misplaced(before, beside.reading)
    assert count >= 1
