"""The performed order, in a small notation: bars are numbers, `|:` and `:|` repeat signs (`:|5` is heard five times),
`[1` and `]` a bracket from the next bar to the last one, `%` a segno and `O` a coda sign over the next bar, `Fine`, `ToCoda`,
`DC`, `DS`, `DCalFine`, ... at the end of the last bar, `<Fine` and `<ToCoda` at the very beginning of the next."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from timing.order import MAX_BARS, in_words, unfold
from timing.remarks import CannotDo, Severity
from timing.repeats import ending_numbers
from timing.score import BAR, HEAD, MARK, NOTE, PART, Score


def mark(kind: str, bar: int, offset: float = 0.0, end_bar: int = -1, value: float = np.nan, text: str = "", part: int = 0):
    return (kind, bar, offset, end_bar, 0.0, part, 1, -1, -1, value, text)


def score_of(marks: list[tuple], names: list[str]) -> Score:
    bars = np.zeros(len(names), BAR)
    bars["number"] = [int(name.rstrip("abc")) for name in names]
    bars["suffix"] = [name.lstrip("0123456789") for name in names]
    bars["length"], bars["beats"], bars["unit"] = 4.0, 4, 4
    tables = (np.zeros(0, NOTE), np.zeros(0, HEAD), bars, np.array(marks, MARK), np.zeros(1, PART))
    return Score(Path("x"), "x", *tables)


def written(text: str) -> Score:
    """A score in the notation above."""
    names, marks, open_brackets = [], [], []
    for token in text.split():
        last, after = len(names) - 1, len(names)
        if token == "|:":
            marks.append(mark("repeat start", after))
        elif token.startswith(":|"):
            marks.append(mark("repeat end", last, 4.0, value=float(token[2:] or "nan")))
        elif token.startswith("["):
            open_brackets.append((after, token[1:]))
        elif token == "]":
            first, number = open_brackets.pop()
            marks.append(mark("ending", first, end_bar=last, text=number))
        elif token in "%O":
            marks.append(mark({"%": "segno", "O": "coda"}[token], after))
        elif token.lstrip("<") in ("Fine", "ToCoda"):
            kind = {"Fine": "fine", "ToCoda": "to coda"}[token.lstrip("<")]
            marks.append(mark(kind, after, 0.0) if token.startswith("<") else mark(kind, last, 4.0))
        elif token.startswith(("DC", "DS")):
            kind = {"DC": "da capo", "DS": "dal segno"}[token[:2]]
            words = token.replace("al", " al ").replace("with", " with ").replace("_", " ")
            marks.append(mark(kind, last, 4.0, text=words))
        else:
            names.append(token)
    assert not open_brackets
    return score_of(marks, names)


def played(text: str, **how) -> tuple[str, list[str]]:
    """The printed numbers in performed order, and what the cautions say."""
    score = written(text)
    passages, remarks = unfold(score, **how)
    assert all(remark.severity is Severity.CAUTION and remark.suggestion for remark in remarks)
    return " ".join(score.bar_name(row) for row in passages["row"]), [remark.message for remark in remarks]


# -- well-formed structures, worked out by hand; none of them earns a caution

WELL_FORMED = [
    # repeats
    ("1 2 3", "1 2 3"),
    ("|: 1 2 :| 3", "1 2 1 2 3"),
    ("1 2 :| 3", "1 2 1 2 3"),
    ("1 |: 2 3 :|", "1 2 3 2 3"),
    ("|: 1 :|4 2", "1 1 1 1 2"),
    ("|: 1 :|1 2", "1 2"),
    ("1 2 :| 3 4 :| 5", "1 2 1 2 3 4 3 4 5"),  # the second one goes back to after the first
    ("|: 1 :| |: 2 :| |: 3 :|", "1 1 2 2 3 3"),
    ("|: 1 |: 2 :| 3 :| 4", "1 2 2 3 1 2 2 3 4"),  # nested
    ("|: 1 |: 2 |: 3 :| 4 :| 5 :|", "1 2 3 3 4 2 3 3 4 5 1 2 3 3 4 2 3 3 4 5"),
    ("0 1 2 :| 3", "0 1 2 0 1 2 3"),  # from the pickup
    ("1 2a :| 2b 3 :|", "1 2a 1 2a 2b 3 2b 3"),  # a repeat sign in the middle of bar 2
    # endings
    ("1 [1 2 :| ] [2 3 ] 4", "1 2 1 3 4"),
    ("|: 1 2 [1 3 4 :| ] [2 5 6 ]", "1 2 3 4 1 2 5 6"),
    ("1 [1 2 :| ] [2 3 :| ] [3 4 ] 5", "1 2 1 3 1 4 5"),
    ("1 [1,2 2 :| ] [3 3 ] 4", "1 2 1 2 1 3 4"),
    ("1 [1.-3. 2 :| ] [4. 3 ]", "1 2 1 2 1 2 1 3"),
    ("1 [1 2 :| ] 3 4", "1 2 1 3 4"),  # the second ending is the music that follows
    ("1 [1 2 :| ] [2 3 :| ] 4", "1 2 1 3 4"),  # a repeat sign that only closes the last ending
    ("|: 1 [1 2 :| ] [2 3 ] |: 4 [1 5 :| ] [2 6 ]", "1 2 1 3 4 5 4 6"),
    ("1 [1 2 :| ] [2 3 ] 4 5 :| 6", "1 2 1 3 4 5 4 5 6"),  # goes back to after the second ending
    ("|: 1 [1 2 ] [2 3 ] 4 :| 5", "1 2 4 1 3 4 5"),  # bars for one time each in the middle of a repeat
    ("|: 1 [2 2 ] 3 :| 4", "1 3 1 2 3 4"),  # second time only
    ("1 [1 2 3 :| ] [2 4 |: 5 :| ] 6", "1 2 3 1 4 5 5 6"),  # a repeat inside an ending
    ("|: 1 |: 2 [1 3 :| ] [2 4 ] 5 :| 6", "1 2 3 2 4 5 1 2 3 2 4 5 6"),  # endings of the inner repeat
    ("|: 1 |: 2 :| [1 3 :| ] [2 4 ]", "1 2 2 3 1 2 2 4"),  # endings of the outer one
    ("|: 1 [1 |: 2 [1 3 :| ] [2 4 ] 5 :| ] [2 6 ]", "1 2 3 2 4 5 1 6"),  # endings within an ending
    ("1 [1 2 ] 3 :| [2 4 ] 5", "1 2 3 1 4 5"),  # a bracket drawn too short runs up to its repeat sign
    # returns
    ("1 2 Fine 3 4 DCalFine", "1 2 3 4 1 2"),
    ("1 2 Fine 3 4 DC", "1 2 3 4 1 2"),
    ("1 2 <Fine 3 4 DCalFine", "1 2 3 4 1 2"),
    ("1 % 2 3 Fine 4 DSalFine", "1 2 3 4 2 3"),
    ("1 % 2 3 DS 4 Fine", "1 2 3 2 3 4"),
    ("1 2 3 DC", "1 2 3 1 2 3"),
    ("1 2 3 Fine", "1 2 3"),
    ("1 2 ToCoda 3 4 DCalCoda O 5 6", "1 2 3 4 1 2 5 6"),
    ("1 % 2 3 ToCoda 4 DSalCoda O 5 6", "1 2 3 4 2 3 5 6"),
    ("1 % 2 3 <ToCoda 4 DSalCoda O 5 6", "1 2 3 4 2 3 5 6"),
    ("1 % 2 3 O 4 DSalCoda O 5 6", "1 2 3 4 2 3 5 6"),  # the coda sign also says where to leave
    ("1 2 ToCoda 3 DCalCoda O 4 5 Fine", "1 2 3 1 2 4 5"),
    ("|: 1 2 :| Fine |: 3 4 :| DCalFine", "1 2 1 2 3 4 3 4 1 2"),  # no repeats after the return
    ("1 [1 2 :| ] [2 3 DC ]", "1 2 1 3 1 3"),  # the last ending after the return
    ("1 [1 2 :| ] [2 3 Fine ] 4 DCalFine", "1 2 1 3 4 1 3"),
    ("1 [1 2 :| ] [2 3 :| ] [3 4 ] 5 DC", "1 2 1 3 1 4 5 1 4 5"),
    ("1 [1 2 DC ] [2 3 ]", "1 2 1 3"),  # endings of the D.C. itself
    ("1 [1 2 :| ] [2 3 DC ] [3 4 ]", "1 2 1 3 1 4"),  # the third one is for the D.C.
    ("1 ToCoda 2 DCalCoda O |: 3 :| 4", "1 2 1 3 3 4"),  # the coda is new: its repeats are played
    ("1 2 DC 3 :| 4", "1 2 1 2 3 3 4"),  # so is what follows the D.C. bar
    ("1 2 Fine 3 DCalFine 4 DCalFine", "1 2 3 1 2"),  # the second D.C. comes too late (a caution, see below)
    ("1 % 2 ToCoda 3 DSalFine 4 Fine 5 DSalCoda O 6", "1 2 3 2 3 4"),  # words choose; see the cautions below
    ("% 1 ToCoda 2 DS 3 DSalCoda O 4", "1 2 1 2 3 1 4"),  # the plain D.S. leaves the coda to the one that names it
    ("1 ToCoda 2 ToCoda 3 DCalCoda O 4 DCalCoda O 5", "1 2 3 1 4 1 2 5"),  # two codas, in turn
]
TOO_LATE = {"1 2 Fine 3 DCalFine 4 DCalFine", "1 % 2 ToCoda 3 DSalFine 4 Fine 5 DSalCoda O 6"}


@pytest.mark.parametrize(("text", "order"), WELL_FORMED, ids=[text for text, _ in WELL_FORMED])
def test_order_worked_out_by_hand(text, order):
    found, cautions = played(text)
    assert found == order
    assert bool(cautions) == (text in TOO_LATE)
