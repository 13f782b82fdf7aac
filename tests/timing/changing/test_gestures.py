"""Two hundred gestures on the demo's plans: what comes of each is what was asked, and nothing else."""

from __future__ import annotations

import shutil
from collections import Counter
from random import Random

import pytest
from gestures import Sitting, at, gesture, lines_changed, said, said_of
from house import DEMOS, PLANS

from timing.changing.asked import Target
from timing.changing.entries import entries, place_key
from timing.changing.spots import PageMap
from timing.changing.standing import find, standing
from timing.plan.older import alike, applied
from timing.plan.planfile import read_plan
from timing.plan.position import Position, Range
from timing.remarks import CannotDo

EACH = 50  # gestures on each of the four plans


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """The demo's folder, to be written in."""
    made = tmp_path_factory.mktemp("plans")
    for file in (*DEMOS, *PLANS.glob("*.musicxml")):
        shutil.copy(file, made)
    return made


@pytest.mark.parametrize("name", [file.name for file in DEMOS])
def test_gestures_mean_what_they_say_change_nothing_else_and_can_be_taken_back(folder, name):
    rng, plan = Random(name), Sitting(folder / name)
    first, made = plan.text, Counter()
    others = {file: (folder / file).read_bytes() for file in [each.name for each in DEMOS]}
    while made.total() < EACH:
        asked = gesture(rng, plan.reading)
        try:
            edits = plan.edits(asked)
            before = plan.make(asked)
        except CannotDo as refusal:
            assert str(refusal).strip() and "Traceback" not in str(refusal)
            assert asked["what"] != "offer", f"{asked}: {refusal}"
            continue
        made[asked["what"]] += 1
        old, new = plan.texts[-2:]
        _means(asked, before, plan)
        _nothing_else(asked, edits, before, plan)
        _lines(edits, before, old, new)
        back, _ = lines_changed(new, old)
        assert len(back) <= 60
    assert len(made) >= 5, made
    while len(plan.texts) > 1:  # every state before can be read and is what it was
        plan.texts.pop()
    assert plan.text == first and (folder / name).read_bytes().decode() == first
    assert others == {file: (folder / file).read_bytes() for file in others}, "no file is touched"


def _means(asked, before, plan):
    """What was asked is what the plan says now."""
    what, page = asked["what"], PageMap(plan.reading.where)
    old, now = said(before), said(plan.reading)
    if what == "remove":
        target = Target(asked["section"], asked["line"], asked["column"], asked["file"])
        key = said_of(find(before.plan, target))
        assert old[key] > now[key]
    elif what == "settings":
        ((key, value),) = asked["keys"].items()
        wanted = {True: "yes", False: "no"}[value] if isinstance(value, bool) else value and str(value)
        listed = [each for each in entries(plan.reading) if each.section == asked["section"]]
        found = [field.value for each in listed for field in each.fields if field.key == key]
        assert value is None or wanted in found, asked
    elif what == "depth":
        wanted = f"{round(100 * asked['to'], 1):g}%"
        assert any(str((each.source or {}).get("to")) == wanted for each in plan.reading.plan.slowing)
    elif what == "move":
        quarter = page.quarter((asked["to"]["row"], asked["to"]["offset"]))
        edges = [edge for each in standing(plan.reading.plan) for edge in _edges(each, asked["section"], page)]
        assert any(abs(edge - quarter) < 1e-4 for edge in edges), asked
    else:
        assert now != old, asked


def _edges(each, section, page):
    """The quarters of the page at which an entry of a section begins and ends."""
    key = place_key(each.entry) if each.section == section else None
    if key is None:
        return
    for place in (each.entry.value(key), getattr(each.entry, "to", None) if section == "glissandi" else None):
        if isinstance(place, Range):
            yield from map(page.quarter, page.where.both_ends(place, each.entry.arrives))
        elif isinstance(place, Position):
            after = page.where.instant if place.instant else page.where.end_point
            yield page.quarter(after(place) if key in ("breath", "caesura") else page.where.point(place))


def _nothing_else(asked, edits, before, plan):
    """The plan is the old one with these changes made in it, and no other entry is another one."""
    assert alike(plan.reading.plan.source, applied(before.plan.source, edits)), asked
    old, new = said(before), said(plan.reading)
    touched = len(edits)
    if asked["what"] != "remove" and not asked.get("id", "").startswith("remove"):
        assert (old - new).total() <= touched, asked
        assert (new - old).total() <= touched + 2, asked  # a phrase that is parted has two inside


def _lines(edits, before, old, new):
    """Lines that changed are those of the entries that changed; all others stay to the letter."""
    if before.plan.based_on is not None:
        return  # where its entries are written is another matter
    gone, _ = lines_changed(old, new)
    spans = {}
    for each in entries(before):
        spans[each.section, each.line, each.column] = range(each.line, each.last + 1)
    allowed = set()
    for edit in edits:
        if edit.place is not None:
            found = spans.get((edit.section, edit.place.line, edit.place.column))
            allowed |= set(found or range(edit.place.line, edit.place.line + 1))
    sections = {edit.section for edit in edits}
    for line in gone - allowed:  # a section in one line, or a list that something comes into
        text = old.splitlines()[line - 1]
        assert any(text.lstrip().startswith(f"{section}:") for section in sections), (line, text)


def test_a_value_set_and_set_back_gives_the_first_bytes(folder):
    plan = Sitting(folder / "low-water-flowing.yaml")
    first = plan.text
    for section, words, key, value in (
        ("slowing", "rallentando 5:4", "to", "70%"), ("holds", "breath after 27:3", "seconds", "0.4"),
        ("dynamics", "crescendo 12:6", "by", "2 dB"), ("voices", "bass", "level", "-6 dB"),
        ("phrases", "phrase 2:6 - 6:5", "arch pace", "5%"), ("tempo", "tempo", "tempo", "66"),
        ("articulation", "articulation", "roll", "50 ms"),
        ("strings", "strings 16:6 - 18 (low)", "position", "4"), ("tone", "sul tasto", "tone", "naturale"),
    ):  # fmt: skip
        entry = plan.entry(section, words)
        (old,) = [field.value for field in entry.fields if field.key == key]
        plan.make({"what": "settings", **at(entry), "keys": {key: value}})
        assert plan.text != first and plan.text.count("\n") == first.count("\n")
        plan.make({"what": "settings", **at(entry), "keys": {key: old}})
        assert plan.text == first
    assert read_plan(plan.path, first).source == plan.reading.plan.source
