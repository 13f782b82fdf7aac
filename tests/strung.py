"""Notes as a guitar plays them: on which strings and frets."""

from __future__ import annotations

import numpy as np
from support import reading, score

from timing.score import Sign


def fingered(voices: dict[int, str] | str, *signs: Sign, program: int = 24, bars: int = 2, marks=None, **plan):
    """The reading of notes as support.score writes them; every note has these signs; `marks` are (row, column, value)
    of what the score says of strings, frets and fingers."""
    made = score(bars=bars, voices={1: voices} if isinstance(voices, str) else voices, program=program)
    for sign in signs:
        made.notes["signs"] |= int(sign)
    for row, column, value in marks or ():
        made.notes[column][row] = value
    return reading(plan, made)


def places(*args, **more) -> list[str]:
    """string/fret of every note, in the order of the performance (by onset; a chord in no order that matters)."""
    notes = fingered(*args, **more).performance.notes
    notes = notes[np.lexsort((notes["pitch"], notes["score_onset"]))]
    return [f"{note['string']}/{note['fret']}" for note in notes]
