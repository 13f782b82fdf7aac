"""Readings as they are judged: what is told of them, and what the fix of a remark makes of their plans."""

from __future__ import annotations

from pathlib import Path

from support import score

from timing.cautions import check
from timing.cautions.rules import Sound
from timing.plan.edits import shown, written
from timing.plan.yamltext import parse
from timing.reading import Reading
from timing.remarks import Remark
from timing.score import Score


def guitar(voices: dict[int, str] | str, bars: int = 2, **options) -> Score:
    """A score for guitar; `voices` as for `support.score`, or those of the first voice alone."""
    return score(bars, voices={1: voices} if isinstance(voices, str) else voices, program=24, **options)


def told(code: str, made: Reading, sound: Sound | None = None) -> list[Remark]:
    """What is told of one kind."""
    return [remark for remark in check(made, sound) if remark.code == code]


def in_file(plan: dict) -> dict:
    """The plan as it is read from a file: each of its entries has a place."""
    read, faults = parse(Path("plan.yaml"), "\n".join(f"{key}: {written(value)}" for key, value in plan.items()))
    assert faults == []
    return dict(read)


def mended(plan: dict, remark: Remark) -> dict:
    """The plan (as from `in_file`) with the fix of a remark, which is also what the remark suggests."""
    assert remark.fix and shown(remark.fix) == remark.suggestion
    made = dict(plan)
    for edit in remark.fix:
        new = [] if edit.entry is None else [_read(edit.entry)]
        old = made.get(edit.section, [])
        if edit.place is None:
            made[edit.section] = [*old, *new] if edit.entry.startswith("{") else new[0]
        else:
            assert sum(entry.place == edit.place for entry in old) == 1
            made[edit.section] = [kept for entry in old for kept in (new if entry.place == edit.place else [entry])]
    return in_file(made)


def entries_of(remark: Remark) -> list:
    """The entries of a fix."""
    return [_read(edit.entry) for edit in remark.fix]


def _read(text: str) -> dict | str:
    read, faults = parse(Path("entry.yaml"), f"entry: {text}")
    assert faults == []
    return read["entry"]
