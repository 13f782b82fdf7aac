"""Glissandi: from the plan's entries to slides between performed notes."""

from __future__ import annotations

import numpy as np

from timing.lines import Lines
from timing.performance import GLIDE, PLUCKED, SLURRED
from timing.plan import Glissando, Plan
from timing.remarks import Severity
from timing.timemap import TimeMap
from timing.where import Where


def build_glides(plan: Plan, played: np.ndarray, order: np.ndarray, time: TimeMap, lines: Lines, where: Where) -> np.ndarray:
    """GLIDE table of the plan's slides; marks the goals' attack in `played`.

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
            made.append((finished[note], finished[arrived], end - entry.glide * (end - begin), end, entry.swell, attack))
    return np.array(made, GLIDE)


def _pairs(entry: Glissando, where: Where) -> list[tuple[float, float]]:
    """(start, goal) in quarters for each hearing: the goal is the next time its place is reached."""
    starts, goals = where.moments_of(entry, "from"), where.moments_of(entry, "to")
    pairs = []
    for start in starts:
        later = goals[goals > start + 1e-9]
        if len(later) and later[0] <= where.line_ends[where.ordinal(start)] + 1e-9:
            pairs.append((float(start), float(later[0])))
    if len(starts) and len(goals) and not pairs:
        message = f"the slide ends at {entry.to}, which does not follow {entry.from_} in this order"
        where.remark(Severity.ERROR, "plan-position", message, entry.place("to"))
    return pairs


def _notes(
    entry: Glissando, played: np.ndarray, chosen: np.ndarray, start: float, goal: float, where: Where
) -> tuple[int, int] | None:
    """The rows of the sliding note and of its goal: in one voice, the highest that both have."""
    real = chosen & (played["score_length"] > 0)
    here = np.flatnonzero(real & (np.abs(played["score_onset"] - start) < 1e-6))
    there = np.flatnonzero(real & (np.abs(played["score_onset"] - goal) < 1e-6))
    for rows, position, key in ((here, entry.from_, "from"), (there, entry.to, "to")):
        if not len(rows):
            where.remark(Severity.ERROR, "plan-position", f"no note begins at {position}", entry.place(key))
            return None
    voice = played[["part", "staff", "voice"]]
    pairs = [(a, b) for a in here for b in there if voice[a] == voice[b]]
    if not pairs:
        message = f"no voice has both a note at {entry.from_} and one at {entry.to}: name the voice with `for`"
        where.remark(Severity.ERROR, "plan-position", message, entry.place())
        return None
    return max(pairs, key=lambda pair: (played["pitch"][pair[0]], played["pitch"][pair[1]]))
