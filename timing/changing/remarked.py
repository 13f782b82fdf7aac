"""What is asked of a remark: that it be mended, or that it may stand."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from timing.changing.asked import AcceptRemark, MendRemark
from timing.changing.spots import cannot
from timing.plan.edits import added
from timing.plan.position import beat_name
from timing.remarks import Edit, Remark, Severity
from timing.where import near


def mend_remark(remarks: Sequence[Remark], asked: MendRemark) -> list[Edit]:
    """The changes that a remark offers."""
    remark = _remark(remarks, asked.index)
    if not remark.fix:
        instead = f": {remark.suggestion}" if remark.suggestion else ""
        raise cannot(f"it takes a musician to decide what mends this{instead}")
    return list(remark.fix)


def accept_remark(remarks: Sequence[Remark], asked: AcceptRemark) -> list[Edit]:
    """The entry by which the plan accepts a remark where it is told."""
    remark = _remark(remarks, asked.index)
    if remark.severity is Severity.ERROR:
        raise cannot("an error cannot be accepted: it has to be mended")
    if remark.more:
        raise cannot("this stands for several places: accept some of them, and the next ones are named")
    if remark.accepted is not None:
        raise cannot("this is accepted already")
    entry: dict[str, Any] = {"code": remark.code}
    if remark.bar_name is not None:
        beat = "" if remark.beat is None else f":{beat_name(remark.beat)}"
        entry["at"] = f"{remark.bar_name}{beat}"
        if _told_elsewhere(remarks, remark) or (remark.pass_ or 1) > 1:
            entry["pass"] = remark.pass_ or 1
    return [added("accept", entry | {"because": asked.because})]


def _remark(remarks: Sequence[Remark], index: int) -> Remark:
    if not 0 <= index < len(remarks):
        raise cannot("this remark is told no more")
    return remarks[index]


def _told_elsewhere(remarks: Sequence[Remark], remark: Remark) -> bool:
    """Whether the same is told at this place on another pass, which is not meant."""
    same = (remark.code, remark.bar_name, near(remark.beat))
    told = [each for each in remarks if (each.code, each.bar_name, near(each.beat)) == same and each.accepted is None]
    return any(each.pass_ != remark.pass_ for each in told)
