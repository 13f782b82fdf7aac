"""What differs when a draft's music is heard again."""

from __future__ import annotations

import numpy as np

from timing.drafting.items import DraftItem
from timing.reading import Reading
from timing.where.naming import bars_at

SOFTER = "3 dB"  # the second time (common practice; the amount is the house's own)
_TONES_OF_STRINGS = range(40, 44)  # General MIDI programs of bowed strings, which have a tone over the fingerboard
_WHY = "a repeat is played differently, then everything comes back (common practice)"


def second_time_items(reading: Reading) -> list[DraftItem]:
    """Repeated passages softer and, on strings, in another tone: each as it is heard, with its own ending."""
    bars, score = reading.performance.bars, reading.score
    again = np.flatnonzero((bars["pass"] == 2) & ~bars["returned"])
    programs = reading.performance.lanes["program"]
    strung = reading.performance.tunings.any() or (len(programs) > 0 and np.isin(programs, _TONES_OF_STRINGS).all())
    entry = {"softer": SOFTER} | ({"tone": "sul tasto"} if strung else {})
    heard_on = (np.diff(again) == 1) & np.append(reading.where.neighbours, False)[again[:-1]] if len(again) else []
    passages = np.split(bars["row"][again], np.flatnonzero(~np.asarray(heard_on, bool)) + 1) if len(again) else []
    return [DraftItem({"bars": bars_at(score, int(rows[0]), int(rows[-1]))} | entry, _WHY) for rows in passages]
