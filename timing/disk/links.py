"""Links between files."""

from __future__ import annotations

import errno
import os
from pathlib import Path

IN_A_CIRCLE = "is a link that leads in a circle, with no file at its end"
_WINDOWS_LOOP = 1921  # ERROR_CANT_RESOLVE_FILENAME


def in_a_circle(path: Path) -> bool:
    """Whether links lead from here back to themselves; to all other questions it looks as if nothing were there."""
    try:
        os.stat(path)
    except (OSError, ValueError) as fault:
        return getattr(fault, "errno", None) == errno.ELOOP or getattr(fault, "winerror", None) == _WINDOWS_LOOP
    return False
