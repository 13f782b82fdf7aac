"""Glissandi: from the plan's entries to slides between performed notes."""

from __future__ import annotations

import numpy as np

from timing.lines import Lines
from timing.performance import GLIDE, PLUCKED, SLURRED
from timing.plan import Glissando, Plan
from timing.remarks import Severity
from timing.timemap import TimeMap
from timing.where import Where


def build_glides(
    plan: Plan, played: np.ndarray, order: np.ndarray, time: TimeMap, lines: Lines, where: Where
) -> np.ndarray:
    """GLIDE table of the plan's slides; in `played` the sliding notes sound until their goals, whose attack is marked.

    `played` is sorted by score onset; `order` is the sorting of the finished performance, to whose rows the table
    refers.
    """
    finished = np.argsort(order)
    made = []
    for entry in plan.glissandi:
        chosen = lines.select(entry.for_, entry.place("for"), where)
        for start, goal in _pairs(entry, where):
            pair = _notes(entry, played, chosen, start, goal, where)
            if pair is None:
                continue
            note, arrived = pair
            begin, end = played["onset"][note], played["onset"][arrived]
            attack = SLURRED if entry.arrive == "slurred" else PLUCKED
            played["attack"][arrived] = attack
            played["end"][note] = end
            leave = end - entry.glide * (end - begin)
            made.append((finished[note], finished[arrived], leave, end, entry.swell, attack))
    return np.array(made, GLIDE)


def _pairs(entry: Glissando, where: Where) -> list[tuple[float, float]]:
    """(start, goal) in quarters for each hearing: the goal is the next time its place is reached."""
    starts, goals = where.moments_of(entry, "from"), where.moments_of(entry, "to")
    following = np.append(goals, np.inf)[np.searchsorted(goals, starts, side="right")]
    pairs = [
        (float(start), float(goal))
        for start, goal in zip(starts, following, strict=True)
        if goal <= where.line_ends[where.ordinal(start)]
    ]
    if len(starts) and len(goals) and not pairs:
        message = f"the slide ends at {entry.to}, which does not follow {entry.from_} in this order"
        where.remark(Severity.ERROR, "plan-position", message, entry.place("to"))
    return pairs


def _notes(
    entry: Glissando, played: np.ndarray, chosen: np.ndarray, start: float, goal: float, where: Where
) -> tuple[int, int] | None:
    """The rows of the sliding note and of its goal: in one voice, the highest that both have."""
    here, there = (_highest(played, chosen, quarters) for quarters in (start, goal))
    for found, position, key in ((here, entry.from_, "from"), (there, entry.to, "to")):
        if not found:
            where.remark(Severity.ERROR, "plan-position", f"no note begins at {position}", entry.place(key))
            return None
    voices = here.keys() & there.keys()
    if not voices:
        message = f"no voice has both a note at {entry.from_} and one at {entry.to}: name the voice with `for`"
        where.remark(Severity.ERROR, "plan-position", message, entry.place())
        return None
    best = max(voices, key=lambda voice: (played["pitch"][here[voice]], played["pitch"][there[voice]], voice))
    return here[best], there[best]


def _highest(played: np.ndarray, chosen: np.ndarray, quarters: float) -> dict[tuple, int]:
    """For each voice that begins a note at this moment, the row of the highest."""
    first, last = np.searchsorted(played["score_onset"], (quarters - 1e-6, quarters + 1e-6))
    rows = np.arange(first, last)[chosen[first:last] & (played["score_length"][first:last] > 0)]
    rows = rows[np.argsort(played["pitch"][rows], kind="stable")]
    return {played[["part", "staff", "voice"]][row].item(): int(row) for row in rows}
