"""Plan files written for a test, and the faults that are told of them."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from timing.plan import Plan
from timing.plan.planfile import read_plan
from timing.remarks import CannotDo, Remark

SCORE = "score: piece.musicxml\n"

# No reader of music needs to know these.
NO_MUSICIAN_S_WORDS = re.compile(
    r"\b(int|str|float|dict|tuple|bool|NoneType|None|NaN|input|valid|instance|validation|Map|Text|Whole|Real|KeyError)\b"
)


def write(folder: Path, text: str | bytes, name: str = "plan.yaml") -> Path:
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def plan_of(folder: Path, text: str) -> Plan:
    return read_plan(write(folder, SCORE + text))


def faults_of(path: Path) -> list[Remark]:
    with pytest.raises(CannotDo) as refused:
        read_plan(path)
    return list(refused.value.remarks)


def faults(folder: Path, text: str | bytes) -> list[Remark]:
    return faults_of(write(folder, text))


def pointed_at(remark: Remark) -> str:
    """What stands at the place of a fault."""
    return remark.place.excerpt[remark.place.column - 1 :]
