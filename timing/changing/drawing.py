"""A hairpin drawn on the band of the level."""

from __future__ import annotations

from typing import Any, get_args

from timing.changing.asked import DrawHairpin
from timing.changing.here import Here
from timing.changing.settings import changed_entry, decibels
from timing.changing.spots import cannot
from timing.plan.edits import added
from timing.plan.kinds import Act
from timing.plan.notation import FormKind
from timing.plan.sound import Dynamic
from timing.plan.words import LevelChange
from timing.reading import Reading
from timing.remarks import Edit

_MOST = next(about.most for about in get_args(LevelChange) if isinstance(about, FormKind))


def draw_hairpin(reading: Reading, asked: DrawHairpin) -> list[Edit]:
    """The change by which the level rises (below 0: falls) by so many dB from one place until another. A hairpin that
    goes from and to there already is changed."""
    here = Here(reading, asked.start, asked.until)
    if not here.stretch:
        raise cannot("a hairpin needs a beginning and an end")
    if here.page.quarter(here.page.place(asked.start)) > here.page.quarter(here.page.place(asked.until)):
        raise cannot("a hairpin ends after it begins")
    by = round(asked.to, 1)
    if by == 0:
        raise cannot("a hairpin that neither rises nor falls is none")
    if abs(by) > (_MOST or 0):
        raise cannot(f"a hairpin can go by {_MOST:g} dB at most")
    kind = "crescendo" if by > 0 else "diminuendo"
    for item, entry in here.entries("dynamics"):
        if entry.act is not Act.STANDS and entry.for_ is None and _same(here, entry):
            keys: dict[str, Any] = {"by": decibels(abs(by))}
            if entry.act is not Dynamic.DOES[kind].act:
                keys["kind"] = kind
            return [changed_entry(reading, item, keys)]
    end = here.page.place(asked.until)  # on a bar line it arrives on the beat after it, if that is what is meant
    bars = here.page.range_text(here.start, end, arriving=True)
    return [added("dynamics", {kind: bars, "by": decibels(abs(by))} | here.on_pass)]


def _same(here: Here, entry: Dynamic) -> bool:
    start, end = here.ends(entry, entry.kind)
    return abs(start - here.quarter) < 1e-5 and abs(end - here.over_quarter) < 1e-5
