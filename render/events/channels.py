"""Lanes to MIDI ports and channels."""

from __future__ import annotations

import numpy as np

from timing.remarks import CannotDo

PER_PORT = 15  # sixteen but the tenth, which General MIDI keeps for drums


def channels(lanes: int, ports: int) -> tuple[np.ndarray, np.ndarray]:
    """(lanes,) port and channel (0-15, never 9) of every lane; a new port begins when one is full.

    CannotDo where there are more lanes than so many `ports` hold.
    """
    if lanes > ports * PER_PORT:
        message = f"the music has {lanes} voices: at most {ports * PER_PORT} can be told apart here"
        raise CannotDo.because("too-many-voices", message)
    port, place = np.divmod(np.arange(lanes), PER_PORT)
    return port, place + (place >= 9)
