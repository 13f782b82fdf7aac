"""Places along orders made by hand."""

from __future__ import annotations

import numpy as np
from support import score

from timing.performance import PASSAGE
from timing.plan.position import parse_range
from timing.score import Score
from timing.where import Where

SIXTEEN = ((1, 8, 1), (1, 8, 2), (9, 16, 1))  # bars, pass: |: 1-8 :| 9-16
DA_CAPO = ((1, 8, 1), (9, 12, 1), (1, 4, 2))  # and back to the beginning, Fine at bar 4


def where(order=SIXTEEN, made: Score | None = None, returned: int = 99, **options) -> Where:
    """Places along an order of (first bar, last bar, pass); stretch number `returned` begins what follows a return."""
    made = made or score(**{"bars": max(last for _, last, _ in order)} | options)
    first = int(made.bars["number"][0])
    heard = [(bar - first, pass_, k >= returned) for k, (a, b, pass_) in enumerate(order) for bar in range(a, b + 1)]
    bars = np.zeros(len(heard), PASSAGE)
    bars["row"], bars["pass"], bars["returned"] = zip(*heard, strict=True)
    for column in ("number", "length", "beats", "unit", "shift"):
        bars[column] = made.bars[column][bars["row"]]
    bars["start"] = np.cumsum(bars["length"]) - bars["length"]
    bars["last"] = [row not in bars["row"][k + 1 :] for k, row in enumerate(bars["row"])]
    return Where(made, bars)


def ending(number: str, first: int, last: int) -> dict:
    """An ending over these rows of bars."""
    return {"kind": "ending", "bar": first, "end_bar": last, "text": number}


def spans(here: Where, text: str, passes=None, arriving: bool = False) -> list[tuple[float, float]]:
    return [(run.start, run.end) for run in here.runs(parse_range(text), passes, arriving)]
