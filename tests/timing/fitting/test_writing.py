"""Fitted entries put into the text of a plan."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from house import ROOT

from timing import fit, load
from timing.fitting import written
from timing.reading import Reading

FILE = ROOT / "plans" / "low-water-flowing.yaml"
TEXT = FILE.read_text(encoding="utf-8")


def played(name: str, step: float) -> tuple[Reading, np.ndarray, np.ndarray]:
    """The time of another plan of the piece."""
    made = load(ROOT / "plans" / f"{name}.yaml")
    quarters = np.arange(0.0, made.where.length + 1e-9, step)
    return made, quarters, made.performance.time.seconds(quarters)


def apart(one: Reading, other: Reading) -> float:
    """Standard deviation of the log lengths of beats of one reading against those of another."""
    beats = np.arange(0.0, one.where.length, 1.5)
    lengths = [np.log(np.diff(each.performance.time.seconds(beats))) for each in (one, other)]
    return float(np.std(lengths[0] - lengths[1]))


@pytest.fixture(scope="module")
def inward():
    _, quarters, seconds = played("low-water-inward", 0.5)
    flowing = load(FILE)
    return fit(flowing, quarters, seconds, 0.001), load(ROOT / "plans" / "low-water-inward.yaml")


def test_a_plan_goes_as_was_played_when_all_is_accepted(inward):
    found, other = inward
    text = written(TEXT, found.entries, FILE, found.standing)
    mended = load(FILE, text=text)
    assert apart(mended, other) < 0.06 < apart(load(FILE), other)
    assert mended.performance.time.length == pytest.approx(other.performance.time.length, rel=0.02)


def test_comments_and_all_that_is_no_time_stay(inward):
    found, _ = inward
    text = written(TEXT, found.entries, FILE, found.standing)
    for line in TEXT.splitlines():
        if line.startswith("#") or "crescendo" in line or "tone:" in line or "position" in line:
            assert line in text


def test_nothing_accepted_leaves_the_text_to_the_letter(inward):
    assert written(TEXT, [], FILE) == TEXT


def test_some_are_accepted_and_nothing_else_changes(inward):
    found, _ = inward
    tempo = next(each for each in found.entries if each.section == "tempo")
    text = written(TEXT, [tempo], FILE)
    changed = [(old, new) for old, new in zip(TEXT.splitlines(), text.splitlines(), strict=True) if old != new]
    assert changed == [("tempo: dotted quarter = 56", f"tempo: {tempo.entry['tempo']}")]


def test_entries_stand_beside_the_old_ones_unless_they_make_room(inward):
    found, _ = inward
    slow = next(each for each in found.entries if each.section == "slowing")
    beside = load(FILE, text=written(TEXT, [slow], FILE)).plan
    instead = load(FILE, text=written(TEXT, [slow], FILE, found.standing)).plan
    own = [entry for entry in beside.slowing if not entry.printed]
    assert len(own) in (11, 12)
    (left,) = (entry for entry in instead.slowing if not entry.printed)
    assert slow.entry[left.kind].replace(" ", "") == str(left.where).replace(" ", "")


def test_an_entry_of_the_same_place_is_changed_and_keeps_its_reason():
    made, quarters, seconds = played("low-water-flowing", 0.5)
    found = fit(made, quarters, seconds, 0.001)
    text = written(TEXT, found.entries, FILE)
    for why in ("the boat is lifted", "the first full stop in a new place"):
        assert why in text


def test_what_an_older_plan_says_is_left_out_by_name():
    file = ROOT / "plans" / "low-water-misplaced.yaml"
    made = load(file)
    quarters = np.arange(0.0, made.where.length + 1e-9, 0.5)
    found = fit(made, quarters, made.performance.time.seconds(quarters), 0.001)
    text = written(file.read_text(encoding="utf-8"), found.entries, file, found.standing)
    mended = load(file, text=text)
    assert apart(mended, made) < 0.06
    assert "omit: yes" in text or "omit: true" in text


def test_phrases_that_the_plan_lacks_come_with_their_arches(tmp_path: Path):
    score = ROOT / "plans" / "umbrella-stand.musicxml"
    file = tmp_path / "plan.yaml"
    bare = f"score: {score}  # the waltz\n"
    phrase = "phrases: [{bars: 1-16, inside: [{bars: 1-8, arch: {pace: 9%}}, 9-16], arch: {pace: 6%}}]\n"
    shaped = load(file, text=bare + "tempo: 126\n" + phrase)
    quarters = np.arange(0.0, shaped.where.length + 1e-9)
    found = fit(shaped, quarters, shaped.performance.time.seconds(quarters), 0.001)
    assert any(each.section == "phrases" for each in found.entries)
    mended = load(file, text=written(bare, found.entries, file))
    assert "# the waltz" in written(bare, found.entries, file)
    assert [remark.code for remark in mended.remarks if "overlap" in remark.code] == []
