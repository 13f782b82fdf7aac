"""What columns of moments and of counts need everywhere: how near is one moment, and rows spread by counts."""

from __future__ import annotations

import numpy as np

# How near is near enough: in quarters, bars or seconds, and in shares of them.
ROUNDING = 1e-9  # what rounding may have done to a sum
NEAR = 1e-6  # what lies so close together is one moment: nothing in music is as short
WITHIN = 1e-4  # so little before the end of a bar or beat is still within it


def spread(counts: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """One row for each of so many things: (n,) which of the counts it belongs to, and which of them it is, from 0."""
    owner = np.repeat(np.arange(len(counts)), counts)
    return owner, np.arange(len(owner)) - (np.cumsum(counts) - counts)[owner]
