"""What became of words that say how strings are tuned or where a capo lies (`timing.instruments.tuning` plays them)."""

from __future__ import annotations

import numpy as np

from timing.instruments.parts import of_parts
from timing.marks.places import Page, Printed
from timing.marks.uses import Book, Fate
from timing.marks.words import NO_MEANING
from timing.plan import Plan
from timing.reader.tunings import unread


def note_tunings(plan: Plan, fretted: np.ndarray, page: Page, book: Book) -> None:
    """Write down what became of them. `fretted` are the parts that have strings and frets."""
    score = page.score
    planned = {key: [said for said, _ in of_parts(score, plan, key, page.hearings)] for key in ("tuning", "capo")}
    for row in score.marks_of("words", "tempo"):
        for clause in unread(str(row["text"])) if fretted[row["part"]] else ():
            book.note(_printed("tuning", clause, row, page), Fate.NOT_UNDERSTOOD)
    for row in score.marks_of("tuning", "capo"):
        key, part = str(row["kind"]), int(row["part"])
        mark = _printed(key, str(row["text"]), row, page)
        if "tuning" in plan.marks.ignore:
            book.note(mark, Fate.IGNORED)
        elif not fretted[part]:
            book.note(mark, Fate.WITHOUT_EFFECT, "no guitar plays it")
        elif planned[key][part] is not None:
            book.note(mark, Fate.OVERRIDDEN)
        elif why := _why_not(row, score.parts[part]):
            book.note(mark, Fate.WITHOUT_EFFECT, why)
        else:
            book.note(mark, Fate.USED)


def _printed(key: str, text: str, row: np.void, page: Page) -> Printed:
    at = page.at(row["bar"], row["offset"])
    return Printed(key, text, NO_MEANING, at, at, int(row["part"]), int(row["staff"]))


def _why_not(row: np.void, part: np.void) -> str:
    """Why words do not act; empty if they do, or say what the score says besides."""
    if row["kind"] == "tuning":
        return "" if row["value"] else "strings are tuned once, before the piece begins"
    if part["capo"]:
        return "" if part["capo"] == row["value"] else f"the score has its own capo, at fret {part['capo']}"
    return "the notes sound as they are written; `capo:` is for you to say"
