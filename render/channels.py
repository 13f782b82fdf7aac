"""Lanes to MIDI ports and channels."""

from __future__ import annotations

import numpy as np

PER_PORT = 15  # sixteen but the tenth, which General MIDI keeps for drums


def channels(lanes: int) -> tuple[np.ndarray, np.ndarray]:
    """(lanes,) port and channel (0-15, never 9) of every lane; a new port begins when one is full."""
    port, place = np.divmod(np.arange(lanes), PER_PORT)
    return port, place + (place >= 9)
