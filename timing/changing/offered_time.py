"""What could stand at a place of time: slowing down, coming back, breaths and holds."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from timing.changing.here import Here, Offer
from timing.columns import NEAR
from timing.plan.kinds import HOLDS, Act
from timing.plan.time import Hold, Slowing
from timing.time.slowing import DEFAULT_HURRY, usual_pace

_RITENUTO = "70%"  # as the handbook's example; a held tempo that is surely heard (the house's own value)


def offered_time(here: Here) -> list[Iterator[Offer]]:
    """Slowdowns into the place, or over the stretch; the tempo that comes back; holds."""
    return [_slowdowns(here), _return(here), _holds(here)]


def _slowdowns(here: Here) -> Iterator[Offer]:
    into = here.start if here.stretch else here.before(here.full_bar)
    if into is not None and not here.stretch and here.page.quarter(into) > here.quarter - NEAR:
        into = None  # the phrase begins here: nothing leads into it
    taken = {entry.kind for _, entry in here.entries("slowing") if _ends_here(here, entry)}
    last = here.last_over >= here.where.length - NEAR
    then = {} if last and len(here.heard) == 1 else {"then": "a tempo"}
    where = "over this stretch" if here.stretch else "into this"
    if into is not None and not taken & {"rallentando", "ritardando", "allargando"}:
        endings = here.reading.phrase_spans[1:].T
        to = usual_pace(Act.SLOWS, here.last_over, endings, here.where)
        bars = here.page.range_text(into, here.over)
        entry = {"rallentando": bars, "to": f"{to:.0%}", **then}
        yield here.add("rallentando", f"rallentando {where}", "slowing", "time", entry)
    over = here.over if here.stretch else here.bar_over
    if here.page.quarter(over) > here.quarter + NEAR and "ritenuto" not in taken:
        entry = {"ritenuto": here.page.range_text(here.start, over), "to": _RITENUTO, **then}
        yield here.add("ritenuto", "ritenuto here", "slowing", "time", entry)
    if into is not None and not taken & {"accelerando", "stringendo"}:
        entry = {"accelerando": here.page.range_text(into, here.over), "to": f"{DEFAULT_HURRY:.0%}", **then}
        yield here.add("accelerando", f"accelerando {where}", "slowing", "time", entry)


def _ends_here(here: Here, entry: Slowing) -> bool:
    return abs(here.ends(entry, entry.kind)[1] - here.over_quarter) < NEAR


def _return(here: Here) -> Iterator[Offer]:
    if _away(here):
        yield here.add("a tempo", "a tempo from here", "slowing", "time", {"a tempo": here.at_text})


def _away(here: Here) -> bool:
    """Whether the pace is held away from the basic tempo where the place is heard, by a slowdown that is over."""
    going = here.reading.pace.slowings
    pieces = here.reading.performance.time.pieces
    for moment in here.moments:
        row = min(int(np.searchsorted(pieces["end"], moment + NEAR)), len(pieces) - 1)
        under_way = any(slow.run.start - NEAR <= moment < slow.run.end - NEAR for slow in going)
        if abs(float(pieces["v0"][row]) - 1) > 0.005 and not under_way:
            return True
    return False


def _holds(here: Here) -> Iterator[Offer]:
    standing = [entry for _, entry in here.entries("holds")]
    begun = {entry.kind for entry in standing if entry.act is Act.STRETCHES and _meets(here, entry)}
    if len(here.notes):
        if "fermata" not in begun:
            entry = {"fermata": here.beat_text, "length": f"{HOLDS['fermata'].usual:.0%}"}
            yield here.add("fermata", "fermata", "holds", "time", entry)
        if "agogic" not in begun:
            entry = {"agogic": here.beat_text, "length": f"{HOLDS['agogic'].usual:.0%}"}
            yield here.add("agogic", "lean on this note (agogic)", "holds", "time", entry)
    silent = any(entry.act is Act.SILENCES and _falls_silent(here, entry) for entry in standing)
    if not silent and here.over_quarter < here.page.starts[-1] - NEAR:
        after = f"after {here.page.after_text(here.over)}"
        for kind in ("breath", "caesura"):
            silence = {kind: after, "seconds": HOLDS[kind].usual}
            yield here.add(kind, f"{kind} after this", "holds", "time", silence)


def _meets(here: Here, entry: Hold) -> bool:
    start, end = here.ends(entry, entry.kind)
    return start < here.over_quarter - NEAR and end > here.quarter + NEAR


def _falls_silent(here: Here, entry: Hold) -> bool:
    return abs(here.ends(entry, entry.kind)[1] - here.over_quarter) < NEAR
