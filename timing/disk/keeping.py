"""The user's cache, where lies what need not be made again, and settings, and how files are put there."""

from __future__ import annotations

import os
from pathlib import Path

from timing.disk.unfinished import Unfinished


def folder() -> Path:
    """Where scores are kept."""
    if named := os.environ.get("LENTANDO_CACHE"):
        return Path(named)
    from platformdirs import user_cache_path

    return user_cache_path("lentando")


def settings_folder() -> Path:
    """Where choices are kept that hold for all plans."""
    if named := os.environ.get("LENTANDO_SETTINGS"):
        return Path(named)
    from platformdirs import user_config_path

    return user_config_path("lentando")


def put_in_place(finished: Unfinished, place: Path) -> None:
    """Put a file where the cache has it. A folder that stands there, which no file can replace, is moved out of the
    way; nothing of what it may hold is removed."""
    if place.is_dir() and not place.is_symlink():
        place.rename(finished.path.with_suffix(".aside"))
    finished.put(place)
