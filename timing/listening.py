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


def carried_by(notes: np.ndarray) -> list[np.ndarray]:
    """The rows of each sound that carries notes (PLAYED), in order: first the one that is struck."""
    carried = np.flatnonzero(notes["attack"] == CARRIED)
    if not len(carried):
        return []
    order = np.lexsort((notes["onset"], notes["lane"]))
    sound = np.cumsum(notes["attack"][order] != CARRIED)
    these = np.unique(sound[notes["attack"][order] == CARRIED])
    return [order[slice(*np.searchsorted(sound, (one, one + 1)))] for one in these]


def _only(performance: Performance, kept: np.ndarray) -> Performance:
    """A performance of some of its notes. Where a sound would carry a note that is left out, it goes no further, and
    what is left of the notes that it would carry after that is plucked."""
    if not kept.any():
        raise CannotDo.because("no-notes", "none of the notes belong to the voices that are asked for: nothing is left")
    number = np.where(kept, np.cumsum(kept) - 1, -1)
    notes, glides = performance.notes.copy(), performance.glides
    until = np.full(len(notes), np.inf)  # seconds at which each sound is cut
    for chain in carried_by(notes):
        cut = np.flatnonzero(~kept[chain])
        if len(cut):
            until[chain[: cut[0]]] = notes["onset"][chain[cut[0]]]
            notes["attack"][chain[cut[0] + 1 :]] = PLUCKED
    heard_ = kept[glides["note"]] & kept[glides["goal"]] & (glides["arrive"] < until[glides["note"]])
    heard_ &= (glides["attack"] != CARRIED) | (notes["attack"][glides["goal"]] == CARRIED)
    tables = {"glides": glides[heard_]}
    for name in ("curves", "bends"):
        table = getattr(performance, name)
        tables[name] = table[kept[table["note"]] & (table["second"] <= until[table["note"]] + 1e-9)]
    for table, column in [(t, "note") for t in tables.values()] + [(tables["glides"], "goal")]:
        table[column] = number[table[column]]
    return replace(performance, notes=notes[kept], **tables)
