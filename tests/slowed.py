"""Plans with phrases in 4/4, a slowdown in them, and how grave its place is."""

from __future__ import annotations

from judged import told
from support import reading

from timing.reading import Reading
from timing.remarks import Remark
from timing.timemap import TimeMap

FOUR = {"phrases": [{"bars": "1-4"}, {"bars": "5-8"}]}
EIGHT = {"phrases": [{"bars": "1-8"}]}
NESTED = {"phrases": [{"bars": "1-8", "inside": ["1-4", "5-8"]}]}
TWOS = {"phrases": [{"bars": "1-4", "inside": ["1-2", "3-4"]}, {"bars": "5-8", "inside": ["5-6", "7-8"]}]}
PLACE = ("slowing-mid-phrase", "slowing-over-end")  # of one slowdown only one of them is told


def found(code: str, plan: dict, **options) -> list[Remark]:
    return told(code, reading(plan, **options))


def severities(plan: dict, where: str, to: str = "70%", kind: str = "rallentando", **options) -> list[str]:
    """How grave the place of one slowdown is: [] if it is fine."""
    made = reading(plan | {"slowing": [{kind: where, "to": to, "then": "a tempo"}]}, **options)
    return [str(remark.severity) for code in PLACE for remark in told(code, made)]


def pace_before(reading: Reading, quarters: float) -> float:
    """The pace against the basic tempo just before this quarter, holds left out."""
    pieces = reading.performance.time.pieces.copy()
    pieces["hold"] = 1.0
    time = TimeMap(pieces)
    return float(time.tempo(quarters, before=True) / time.basic(quarters, before=True))
