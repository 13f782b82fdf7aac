"""The performed order, in a small notation: bars are numbers, `|:` and `:|` repeat signs (`:|5` is heard five times),
`[1` and `]` a bracket from the next bar to the last one, `%` a segno and `O` a coda sign over the next bar, `Fine`,
`ToCoda`, `DC`, `DS`, `DCalFine` stand at the end of the last bar, `<Fine` and `<ToCoda` at the very beginning of the
next."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from timing.order import unfold
from timing.remarks import Severity
from timing.score import BAR, HEAD, MARK, NOTE, PART, Score


def mark(
    kind: str, bar: int, offset: float = 0.0, end_bar: int = -1, value: float = np.nan, text: str = "", part: int = 0
):
    return (kind, bar, offset, end_bar, 0.0, part, 1, -1, -1, value, False, text)


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
