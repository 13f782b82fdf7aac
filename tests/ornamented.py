"""Scores whose notes have ornaments. Notes as in support.score."""

from __future__ import annotations

from support import score

from timing.score import Ornament, Score

TRILL, MORDENT, INVERTED = Ornament.TRILL, Ornament.MORDENT, Ornament.INVERTED_MORDENT
TURN, INVERTED_TURN = Ornament.TURN, Ornament.INVERTED_TURN
DELAYED, DELAYED_INVERTED = Ornament.DELAYED_TURN, Ornament.DELAYED_INVERTED_TURN
ABOVE = {"articulation": {"trill": "from above"}}


def ornamented(text: str, signs: dict[int, Ornament], *, bars: int = 1, neighbours=(2, 1), **options) -> Score:
    """A score whose notes (by their place in the table) have ornaments."""
    made = score(bars, voices={1: text}, **options)
    for note, sign in signs.items():
        made.notes["ornament"][note] = sign
        made.notes["upper"][note], made.notes["lower"][note] = neighbours
    return made
