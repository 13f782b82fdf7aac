"""Notes that leave the clock in a score of eight bars, at 60 quarters a minute unless said."""

from __future__ import annotations

import numpy as np
from support import reading, score

from timing.plan import Plan
from timing.reading import perform
from timing.score import Ornament
from timing.time.scale import Scale

BARS = 8
TWO = {1: "c5:1 d5:1 " * 2 * BARS, 2: "c3:1 g3:1 " * 2 * BARS}  # two voices in quarters, end to end
UPPER = "e5:.5( d5:.5) c5:1. d5:1g e5:.25 f5:.25 e5:.5 g5:1- "  # a bar with signs and a small note


def notes(plan: dict, scale: Scale | None = None, **options) -> np.ndarray:
    """The performed notes in the order of the score."""
    made = score(**{"bars": BARS, "voices": TWO} | options)
    plan = Plan.model_validate({"score": "made-by-hand.musicxml", "tempo": 60} | plan)
    table = perform(made, plan, scale or Scale()).performance.notes
    return table[np.lexsort((table["id"], table["ordinal"]))]


def late(plan: dict, voice: int = 1, **options) -> np.ndarray:
    """Seconds by which each onset of a voice is later than at strict 60."""
    table = notes(plan, **options)
    table = table[table["voice"] == voice]
    return table["onset"] - table["score_onset"]


def codes(plan: dict, **options) -> list[str]:
    return [remark.code for remark in reading(plan, **{"bars": BARS, "voices": TWO} | options).remarks]


def ornamented(made, note: int):
    """The score with a mordent on one note."""
    made.notes["ornament"][note] = Ornament.MORDENT
    made.notes["upper"][note], made.notes["lower"][note] = 2, 1
    return made
