"""What a change made on a page means in the plan's text.

A page asks for a change in JSON (`timing.changing.asked`); `edits_for` says which entries of the plan it changes, and
`changed` gives the text with it: to the letter the same wherever nothing changes. `entries` lists what can be touched,
`offers` what could stand at a place.
"""

from __future__ import annotations

from collections.abc import Sequence

from timing.changing.asked import (
    AcceptRemark,
    Asked,
    DrawHairpin,
    MendRemark,
    MoveEnd,
    Remove,
    SetAmount,
    SetDepth,
    SetKeys,
    TakeOffer,
)  # fmt: skip
from timing.changing.checks import check_left_out
from timing.changing.drawing import draw_hairpin
from timing.changing.moving import move
from timing.changing.offers import offer
from timing.changing.remarked import accept_remark, mend_remark
from timing.changing.settings import set_amount, set_depth, set_keys
from timing.changing.spots import cannot
from timing.changing.standing import SETTINGS, find
from timing.plan.mending import mend
from timing.plan.older import alike, applied, ways
from timing.plan.planfile import read_plan
from timing.reading import Reading, perform
from timing.remarks import CannotDo, Edit, Remark


def edits_for(reading: Reading, remarks: Sequence[Remark], change: Asked) -> tuple[Edit, ...]:
    """The changes of the plan that a change on the page means; `remarks` are those of the reading, as the page numbers
    them. CannotDo, in a musician's words, where it cannot be made."""
    match change:
        case SetKeys():
            made = set_keys(reading, change)
        case MoveEnd():
            made = move(reading, change)
        case SetDepth():
            made = set_depth(reading, change)
        case SetAmount():
            made = set_amount(reading, change)
        case DrawHairpin():
            made = draw_hairpin(reading, change)
        case TakeOffer():
            made = list(offer(reading, change.id, change.at, change.until).edits)
        case Remove():
            each = find(reading.plan, change.target)
            check_left_out(reading, each)
            made = [Edit(each.section, None, each.place)]
        case MendRemark():
            made = mend_remark(remarks, change)
        case AcceptRemark():
            made = accept_remark(remarks, change)
    return tuple(made)


def changed(reading: Reading, remarks: Sequence[Remark], text: str, change: Asked) -> str:
    """The plan's text with a change that was made on the page; `text` is the one that the reading was made of. An entry
    of a plan that this one is based on is laid over, or left out and written anew here. The new text can be read as a
    plan, and says the same as before but for what was changed. CannotDo where that cannot be."""
    plan, at = reading.plan, reading.plan.place()
    if at is None:
        raise cannot("this plan has no text that could be changed")
    edits = edits_for(reading, remarks, change)
    refused: CannotDo | None = None
    for way in ways(plan, edits):
        try:
            made = mend(text, way())
            after = read_plan(at.file, made)
        except CannotDo as refusal:
            refused = refused or refusal
            continue
        if any(edit.section in (*SETTINGS, "voices") for edit in edits):
            perform(reading.source, after)  # names of parts, instruments and voices are the score's to know
        if plan.based_on is None or alike(after.source or {}, applied(plan.source or {}, edits)):
            return made
    raise refused or cannot("what stands in the older plan would show again: change it there")
