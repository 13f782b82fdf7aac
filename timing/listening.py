"""Parts of a performance, to be heard by themselves: one line alone, or all but one. What is left stays as it is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from timing.performance import CARRIED, PLUCKED, Performance
from timing.reading import Reading
from timing.remarks import CannotDo, Severity
from timing.where import Where


def heard(reading: Reading, only: Sequence[str] = (), without: Sequence[str] = ()) -> Performance:
    """The performance with `only` these voices, and `without` those, each named as a plan names them (`melody`,
    `voice 2`, a part, several with commas). CannotDo for a name that the score does not have, or where nothing is left.
    """
    if not only and not without:
        return reading.performance
    where = Where(reading.score, reading.performance.bars)
    chosen = [[reading.lines.of_score(name, None, where) for name in names] for names in (only, without)]
    if where.remarks:
        raise CannotDo(replace(remark, severity=Severity.ERROR) for remark in where.remarks)
    kept = np.logical_or.reduce(chosen[0]) if only else np.ones(len(reading.score.notes), bool)
    for left_out in chosen[1]:
        kept = kept & ~left_out
    return _only(reading.performance, kept[reading.performance.notes["id"]])


def _only(performance: Performance, kept: np.ndarray) -> Performance:
    """A performance of some of its notes. A goal whose slide is not heard is plucked."""
    if not kept.any():
        raise CannotDo.because("no-notes", "none of the notes belong to the voices that are asked for: nothing is left")
    number = np.where(kept, np.cumsum(kept) - 1, -1)
    notes, glides = performance.notes.copy(), performance.glides
    alone = glides["goal"][~kept[glides["note"]]]
    alone = alone[notes["attack"][alone] == CARRIED]
    notes["attack"][alone] = PLUCKED
    glides = glides[kept[glides["note"]] & kept[glides["goal"]]]
    tables = {"glides": glides.copy()}
    for name in ("curves", "bends"):
        table = getattr(performance, name)
        tables[name] = table[kept[table["note"]]]
    for table, column in [(t, "note") for t in tables.values()] + [(tables["glides"], "goal")]:
        table[column] = number[table[column]]
    return replace(performance, notes=notes[kept], **tables)
