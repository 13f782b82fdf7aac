"""Beats of bars: how they are felt, and all of them in order."""

from __future__ import annotations

import numpy as np

from timing.columns import NEAR, spread

# A beat of a bar: from and to which quarter of the bar it lasts, and which beat of the metre it is, from 0.
BAR_BEAT = np.dtype(
    [
        ("row", np.int64),
        ("number", np.int64),
        ("start", np.float64),
        ("end", np.float64),
        ("begins", np.bool_),  # in this bar; else a part of it is missing, which a pickup begins within
        ("ends", np.bool_),
    ]
)


def is_compound(bars: np.ndarray) -> np.ndarray:
    """(n,) whether bars (one or a table, with `beats` and `unit`) are felt in groups of three: 6/8, 9/8, 6/16, but not
    3/8."""
    return (bars["unit"] >= 8) & (bars["beats"] % 3 == 0) & (bars["beats"] > 3)


def felt_beat(bars: np.ndarray) -> np.ndarray:
    """(n,) quarters of a beat as it is felt in these bars (one or a table): in 6/8 it is a dotted quarter."""
    return np.where(is_compound(bars), 3, 1) * 4 / bars["unit"]


def beats_of(bars: np.ndarray, beat: np.ndarray) -> np.ndarray:
    """BAR_BEAT table of all beats of these bars (with `shift` and `length`), of (n,) `beat` quarters in each: row by
    row, at least one a bar."""
    first = np.floor(bars["shift"] / beat + NEAR).astype(np.int64)
    over = np.ceil((bars["shift"] + bars["length"]) / beat - NEAR).astype(np.int64)
    row, place = spread(np.maximum(over - first, 1))
    made = np.zeros(len(row), BAR_BEAT)
    made["row"], made["number"] = row, first[row] + place
    start = made["number"] * beat[row] - bars["shift"][row]
    end, length = start + beat[row], bars["length"][row]
    made["start"], made["end"] = np.maximum(start, 0), np.minimum(end, length)
    made["begins"], made["ends"] = start > -NEAR, end < length + NEAR
    return made
