"""What the music does in time: score and plan become a performance. No MIDI, no audio, no files written.

    score = read_score("piece.musicxml")
    plan = read_plan("piece.yaml")
    reading = perform(score, plan)          # reading.performance.notes is one numpy table
    for remark in check(reading): ...

`load(plan_file)` does the first three at once, `load_all` for several plans of one piece. `compare` puts readings side
by side, `companion` makes one to stand beside another, `fix` mends a plan and `draft` writes a first one: all of them
give back values. Names are imported when they are first used, so that starting is quick.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from timing.cautions import check as check
    from timing.cautions.fixing import Mended as Mended
    from timing.cautions.fixing import fix as fix
    from timing.companions import companion as companion
    from timing.comparing import Comparison as Comparison
    from timing.comparing import compare as compare
    from timing.drafting import DraftedPlan as DraftedPlan
    from timing.drafting import draft as draft
    from timing.fitting import Fit as Fit
    from timing.fitting import fit as fit
    from timing.listening import heard as heard
    from timing.loading import load as load
    from timing.loading import load_all as load_all
    from timing.performance import Performance as Performance
    from timing.plan import Plan as Plan
    from timing.plan.planfile import read_plan as read_plan
    from timing.reader import read_score as read_score
    from timing.reading import Reading as Reading
    from timing.reading import perform as perform
    from timing.remarks import CannotDo as CannotDo
    from timing.remarks import Remark as Remark
    from timing.remarks import Severity as Severity
    from timing.score import Score as Score

_HOMES = {
    "read_score": "timing.reader",
    "read_plan": "timing.plan.planfile",
    "perform": "timing.reading",
    "Reading": "timing.reading",
    "load": "timing.loading",
    "load_all": "timing.loading",
    "check": "timing.cautions",
    "fix": "timing.cautions.fixing",
    "Mended": "timing.cautions.fixing",
    "compare": "timing.comparing",
    "Comparison": "timing.comparing",
    "companion": "timing.companions",
    "draft": "timing.drafting",
    "DraftedPlan": "timing.drafting",
    "fit": "timing.fitting",
    "Fit": "timing.fitting",
    "heard": "timing.listening",
    "CannotDo": "timing.remarks",
    "Remark": "timing.remarks",
    "Severity": "timing.remarks",
    "Plan": "timing.plan",
    "Score": "timing.score",
    "Performance": "timing.performance",
}

__all__ = list(_HOMES)


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(_HOMES[name]), name)
