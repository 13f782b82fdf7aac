"""How much of a reading's shaping is played, and how fast: one reading, drawn larger or smaller."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Scale:
    """`amount` scales all shaping: changes of pace in log pace, of level in dB, waiting and displacement in seconds. At
    0 the score is played in strict time at an even level, at 1 as planned. `pace` is a factor on every tempo.

    Basic tempi (also those that are reached by degrees), tones, strings, slides and written articulation have no
    amount: they stay.
    """

    amount: float = 1.0
    pace: float = 1.0


AS_PLANNED = Scale()
