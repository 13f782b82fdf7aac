"""The notes as a table for other programs: what its columns are called, and what they say of voices and strings."""

from __future__ import annotations

import csv
import io
import re
from pathlib import Path

import numpy as np
from support import reading, score

from render.telling.tables import NOTE_COLUMNS, timeline, timeline_csv
from timing.loading import load

PLANS = Path(__file__).parents[3] / "plans"
HANDBOOK = (PLANS / "README.md").read_text(encoding="utf-8")


def test_the_handbook_lists_the_columns_in_their_order():
    section = HANDBOOK.partition("## Every note in a table\n")[2].partition("\n## ")[0]
    rows = re.findall(r"^\| (`.*?) \|", section, re.MULTILINE)
    assert tuple(name for row in rows for name in re.findall("`(.*?)`", row)) == NOTE_COLUMNS


def test_what_must_sound_by_itself_is_known_by_part_staff_voice_string_and_slide():
    """The words of musicians tell apart all that has a channel of its own, but for slides that sound at once."""
    made = load(PLANS / "low-water-flowing.yaml")
    notes, lanes = made.performance.notes, made.performance.lanes
    rows = timeline(made)["notes"]
    assert [row["sliding"] for row in rows] == lanes["sliding"][notes["lane"]].tolist()
    assert 0 < sum(row["sliding"] for row in rows) < len(rows)
    strings = {(row["part"], row["string"]) for row in rows if not row["sliding"]}
    assert len(strings) == np.sum(~lanes["sliding"])
    assert not {"lane", "lanes"} & set(rows[0])


def test_voices_of_a_keyboard_have_their_staff_and_number():
    made = reading({}, score(2, voices={1: "c5:4", 2: "c3:4"}))
    rows = list(csv.DictReader(io.StringIO(timeline_csv(made))))
    said = {(row["staff"], row["voice"], row["sliding"]) for row in rows}
    assert said == {("1", "1", "False"), ("1", "2", "False")}
