"""Plans to be mended, and what mends them."""

from __future__ import annotations

from pathlib import Path

from timing.cautions import fixing
from timing.cautions.fixing import Mended, everything
from timing.remarks import Edit

PLAN = """\
title: A test  # of mending
score: piece.musicxml
tempo: 60
phrases: [{bars: 1-8, inside: [1-4, 5-8]}]
"""
SLOW = PLAN + """
slowing:
  # the shift
  - {rallentando: 6:1 - 6:2, to: 60%, then: a tempo, why: "a, test"}  # hard
"""
MID = "slowing-mid-phrase"


def moved(bars: str, **others: str):
    """The change that moves every slowdown to these bars."""
    keys = {"rallentando": bars, "to": "60%", "then": "a tempo"} | others
    entry = "{" + ", ".join(f"{key}: {value}" for key, value in keys.items()) + "}"
    return lambda reading: [Edit("slowing", entry, slow.place()) for slow in reading.plan.slowing]


def fix(path: Path, text: str) -> Mended:
    """Mended by advice as well."""
    return fixing.fix(path, text, wanted=everything)


def write(folder: Path, text: str, name: str = "plan.yaml") -> Path:
    path = folder / name
    path.write_text(text)
    return path


def codes(remarks) -> list[str]:
    return [remark.code for remark in remarks]
