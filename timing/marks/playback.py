"""Tempi that stand in a file and not on the page: which of them act.

A file can carry tempi that are not printed (MusicXML's <sound tempo> without a metronome mark, or a metronome mark that
is not to be shown), so that programs have something to play. Under a tempo word such a number says how fast the word
is meant. Anywhere else it is a program's way of playing: it slows under a `rit.`, waits at a fermata and comes back
under `a tempo`. What is printed goes before it: it acts only as long as the page has said no tempo at all, and there
only if it opens the piece or lasts.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import isfinite

import numpy as np

from timing.columns import NEAR
from timing.marks.places import Page
from timing.marks.words import Meaning

LASTING = 4  # bars; what a program slows and quickens for expression is over sooner (the house's own value)

_SET = {"tempo", "change"}  # words that a number makes exact
_LEAD = {"first tempo", "same beat", "return", "pace"}  # words that say themselves where the tempo goes


def unheard(rows: np.ndarray, senses: Sequence[list[tuple[str, Meaning | None]]], page: Page) -> dict[int, str]:
    """The rows of hidden tempi that do not act, and why. `rows` are MARK rows, `senses` what the words of each mean."""
    places = [round(page.at(row["bar"], row["offset"]), 6) for row in rows]
    here: dict[float, tuple[set[str], list[int]]] = {}  # what the words of a place mean, and the rows with a number
    printed = set()  # places with a number on the page
    for number, (at, row, said) in enumerate(zip(places, rows, senses, strict=True)):
        kinds, numbers = here.setdefault(at, (set(), []))
        kinds |= {meaning.kind for _, meaning in said if meaning}
        if row["kind"] == "tempo" and isfinite(row["value"]):
            numbers.append(number)
            printed |= set() if row["hidden"] else {at}
        printed |= {at} if "number" in kinds else set()
    turns = sorted(at for at, (kinds, numbers) in here.items() if numbers or at in printed or kinds & (_SET | _LEAD))
    made: dict[int, str] = {}
    said_before = False
    for at, following in zip(turns, [*turns, page.length][1:], strict=True):
        kinds, numbers = here[at]
        bars = page.bar(following, over=True) - page.bar(at) + 1
        lasts = at <= page.starts[1] + NEAR or bars >= LASTING
        why = _why_not(kinds, at in printed, said_before, lasts)
        made |= {number: why for number in numbers if why and rows[number]["hidden"]}
        said_before |= at in printed or bool(kinds & (_SET | {"first tempo"}))
    return made


def _why_not(kinds: set[str], printed: bool, said_before: bool, lasts: bool) -> str:
    """Why a tempo that is not printed does not act beside words of these kinds; nothing if it does."""
    if printed:
        return "it is not printed, and the number that is printed there stands"
    if kinds & _SET:
        return ""
    if kinds & _LEAD:
        return "it is not printed, and the words there say what the tempo does"
    if said_before:
        return "it is not printed, and the tempo that is printed before it stands"
    return "" if lasts else f"it is not printed, and holds for less than {LASTING} bars"
