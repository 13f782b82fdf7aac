"""Remarks as the page shows them, each with its place on the music."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from timing.plan.edits import shown
from timing.reading import Reading
from timing.remarks import Remark


def remark_list(remarks: Sequence[Remark], plan: Path, reading: Reading | None = None) -> list[dict[str, Any]]:
    """Remarks as plain values; `own` says whether one stands in this plan, not in one that it is based on. Without a
    reading they have no place on the music."""
    return [_values(index, remark, plan, reading) for index, remark in enumerate(remarks)]


def _values(index: int, remark: Remark, plan: Path, reading: Reading | None) -> dict[str, Any]:
    place = remark.place
    row, offset = _on_the_page(remark, reading)
    return {
        "index": index, "severity": str(remark.severity), "code": remark.code, "message": remark.message,
        "file": place.file.name if place else None, "line": place.line if place else None,
        "column": place.column if place else None, "row": row, "offset": offset, "pass": remark.pass_,
        "bar": remark.bar_name, "beat": remark.beat, "suggestion": remark.suggestion, "fix": bool(remark.fix),
        "mends": shown(remark.fix) if remark.fix else None, "accepted": remark.accepted, "stands": remark.stands,
        "own": place is None or place.file == plan,
    }  # fmt: skip


def _on_the_page(remark: Remark, reading: Reading | None) -> tuple[int | None, float]:
    """The row of a remark's bar, and the quarters after its bar line."""
    if reading is None or remark.bar_name is None:
        return None, 0.0
    rows = reading.where.rows_called(remark.bar_name)
    if not len(rows):
        return None, 0.0
    bars = reading.where.score.bars[rows]
    offset = 0.0 if remark.beat is None else (remark.beat - 1) * 4 / int(bars["unit"][0])
    for row, bar in zip(list(rows), bars, strict=True):
        inside = offset - float(bar["shift"])
        if inside < bar["length"]:
            return int(row), max(inside, 0.0)
    return int(rows[-1]), float(bars["length"][-1])
