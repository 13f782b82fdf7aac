"""From a plan's file to a reading in one step."""

from __future__ import annotations

import os
from collections.abc import Iterable
from difflib import get_close_matches
from pathlib import Path

from timing.disk.links import IN_A_CIRCLE, in_a_circle
from timing.order.splitting import split_alike
from timing.plan import Plan
from timing.plan.planfile import SCORES, read_plan
from timing.reader import read_score
from timing.reading import Reading, perform
from timing.remarks import CannotDo, Remark, Severity
from timing.score import Score
from timing.time.scale import AS_PLANNED, Scale


def load(
    path: str | Path, fingering: str | None = None, scale: Scale = AS_PLANNED, text: str | None = None
) -> Reading:
    """Read a plan and its score and bring them together; `fingering` names another of the plan's ways to play than the
    plan itself does, `scale` draws the reading larger or smaller, and a `text` is read as if it stood in the plan's
    file. CannotDo lists every fault."""
    return perform(*_read(path, fingering, text), scale)


def _read(path: str | Path, fingering: str | None = None, text: str | None = None) -> tuple[Score, Plan]:
    plan = read_plan(path, text)
    if fingering is not None:
        plan = plan.model_copy(update={"fingering": fingering})
    return read_score(score_file(plan)), plan


def score_file(plan: Plan) -> Path:
    """The score that a plan names. CannotDo where there is no such file."""
    assert plan.score is not None  # else it has been refused
    score_path = Path(plan.score)
    if in_a_circle(score_path):
        message = f"the score {score_path.name} {IN_A_CIRCLE}"
        raise CannotDo([Remark(Severity.ERROR, "no-score", message, plan.place("score"))])
    if not score_path.exists():
        folder = score_path.parent
        beside = [file.name for file in folder.iterdir()] if folder.is_dir() else []
        near = get_close_matches(score_path.name, [name for name in beside if name.lower().endswith(SCORES)], 1)
        message = f"there is no score {score_path.name} in {folder}" + (f": did you mean {near[0]}?" if near else "")
        suggestion = f"score: {near[0]}" if near else None
        raise CannotDo([Remark(Severity.ERROR, "no-score", message, plan.place("score"), suggestion=suggestion)])
    return score_path


def load_all(paths: Iterable[str | Path], fingering: str | None = None, scale: Scale = AS_PLANNED) -> list[Reading]:
    """As `load`, for several plans; where the order of one of them turns within a bar, that bar is split in all
    readings of the same file. CannotDo lists the faults of all of them, each once."""
    readings: list[Reading] = []
    sources: list[tuple[Score, Plan]] = []
    faults: list[Remark] = []
    for path in paths:
        try:
            sources.append(_read(path, fingering))
            readings.append(perform(*sources[-1], scale))
        except CannotDo as refusal:
            faults += refusal.remarks
    if faults:
        raise CannotDo(dict.fromkeys(faults))
    files = [os.path.realpath(reading.score.path) for reading in readings]
    for number, (reading, (score, plan)) in enumerate(zip(list(readings), sources, strict=True)):
        same = [other.score for other, file in zip(readings, files, strict=True) if file == files[number]]
        alike = split_alike(score, same)
        if len(alike.bars) > len(reading.score.bars):
            readings[number] = perform(alike, plan, scale)
    return readings
