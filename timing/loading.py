"""From a plan's file to a reading in one step."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches
from pathlib import Path

from timing.plan.planfile import SCORES, read_plan
from timing.reader import read_score
from timing.reading import Reading, perform
from timing.remarks import CannotDo, Remark, Severity
from timing.scale import AS_PLANNED, Scale


def load(
    path: str | Path, fingering: str | None = None, scale: Scale = AS_PLANNED, text: str | None = None
) -> Reading:
    """Read a plan and its score and bring them together; `fingering` names another of the plan's ways to play than the
    plan itself does, `scale` draws the reading larger or smaller, and a `text` is read as if it stood in the plan's
    file. CannotDo lists every fault."""
    plan = read_plan(path, text)
    if fingering is not None:
        plan = plan.model_copy(update={"fingering": fingering})
    score_path = Path(plan.score)
    if not score_path.exists():
        folder = score_path.parent
        beside = [file.name for file in folder.iterdir()] if folder.is_dir() else []
        near = get_close_matches(score_path.name, [name for name in beside if name.lower().endswith(SCORES)], 1)
        message = f"there is no score {score_path.name} in {folder}" + (f": did you mean {near[0]}?" if near else "")
        suggestion = f"score: {near[0]}" if near else None
        raise CannotDo([Remark(Severity.ERROR, "no-score", message, plan.place("score"), suggestion=suggestion)])
    return perform(read_score(score_path), plan, scale)


def load_all(paths: Iterable[str | Path], fingering: str | None = None, scale: Scale = AS_PLANNED) -> list[Reading]:
    """As `load`, for several plans. CannotDo lists the faults of all of them, each once."""
    readings, faults = [], []
    for path in paths:
        try:
            readings.append(load(path, fingering, scale))
        except CannotDo as refusal:
            faults += refusal.remarks
    if faults:
        raise CannotDo(dict.fromkeys(faults))
    return readings
