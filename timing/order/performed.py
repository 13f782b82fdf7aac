"""The order in which a plan has its score performed, and where everything lies in it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from timing.order import unfold
from timing.order.splitting import rows_of, split_bars
from timing.plan import Plan
from timing.remarks import Remark, Severity, refuse_errors
from timing.score import Score
from timing.where import Fault, Where
from timing.where.hearings import Hearings


@dataclass(frozen=True, eq=False)
class Ordered:
    """The performed order of a score whose bars are split where the plan's order turns within them."""

    where: Where
    remarks: tuple[Remark, ...]


def in_order(score: Score, plan: Plan) -> Ordered:
    """The order that the plan names, or the score's own. CannotDo lists every place of the plan's order that the score
    does not have."""
    score, order = _own_order(score, plan)
    bars, remarks = unfold(score, order=order, repeats_after_return=plan.repeats_after_da_capo)
    return Ordered(Where(score, bars), remarks)


def _own_order(score: Score, plan: Plan) -> tuple[Score, list[tuple[int, int, bool]] | None]:
    """The score with its bars split where the plan's order turns within them, and that order as (first row, last row,
    after a return). A return to before the passage just played is the da capo; starting the same passage again is a
    repeat."""
    if plan.order is None:
        return score, None
    hearings = Hearings(Where(score, unfold(score, order=[(0, len(score.bars) - 1, False)])[0]))
    stretches = []
    for number, bars in enumerate(plan.order):
        try:
            stretches.append(hearings.where.both_ends(bars))
        except Fault as fault:
            hearings.remark(Severity.ERROR, "plan-position", str(fault), plan.place("order", number))
    refuse_errors(hearings.remarks, plan.place())
    split = split_bars(score, [place for stretch in stretches for place in stretch])
    made: list[tuple[int, int, bool]] = []
    for begin, end in rows_of(score, split, np.array(stretches).reshape(-1, 2, 2)).tolist():
        before, _, returned = made[-1] if made else (begin, end, False)
        made.append((begin, end, returned or begin < before))
    return split, made
