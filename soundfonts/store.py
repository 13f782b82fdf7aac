"""Keeping what takes seconds to build: a file in the user's cache, whole or not at all.

Two processes may build the same bank at once: each writes a file of its own and puts it in place in one step, and
either is as good. Where the cache can't be written, the bank lies in a temporary folder until the process ends.
"""

from __future__ import annotations

import atexit
import contextlib
import os
import re
import shutil
import tempfile
from collections.abc import Callable
from contextlib import AbstractContextManager
from functools import cache
from pathlib import Path
from typing import BinaryIO

from soundfonts.banks import checked_bank, fingerprint
from timing.disk.keeping import folder, put_in_place
from timing.disk.unfinished import NUMBER, Unfinished, tidy, unfinished
from timing.remarks import CannotDo


def kept(name: str, family: str, version: str, write: Callable[[BinaryIO], None]) -> Path:
    """The bank `name` from the cache, written by `write` if it isn't there or isn't whole.

    Names begin with family and version; files of other versions, and what a killed process left behind, are removed.
    Raises CannotDo where there is no room for it anywhere.
    """
    for place in (folder(), _temporary):
        here = place() if callable(place) else place
        path = here / name
        if whole(path):
            return path
        try:
            here.mkdir(parents=True, exist_ok=True)
            _tidy(here, family, version)
            _write_whole(path, write)
            return path
        except OSError as fault:
            refusal = fault
    message = f"no room for the sound of the guitar, neither in {folder()} nor in {here}: {refusal.strerror}"
    raise CannotDo.because("no-room", message, suggestion="LENTANDO_CACHE names another folder")


def whole(path: Path) -> bool:
    """Is this a SoundFont, and of the bytes that were written? What was damaged inside would be loud noise."""
    try:
        checked_bank(path)
        return _beside(path).is_file() and fingerprint(path) == _beside(path).read_text(encoding="ascii")
    except (CannotDo, OSError, UnicodeDecodeError):
        return False


def _beside(path: Path) -> Path:
    """The file that holds the SHA-256 of a bank."""
    return path.with_name(f"{path.name}.sha256")


def _write_whole(path: Path, write: Callable[[BinaryIO], None]) -> None:
    with _unfinished(path) as bank, _unfinished(path) as digest:
        with bank.path.open("wb") as file:
            write(file)
            file.flush()
            os.fsync(file.fileno())
        digest.path.write_text(fingerprint(bank.path), encoding="ascii")
        put_in_place(digest, _beside(path))
        put_in_place(bank, path)


def _unfinished(path: Path) -> AbstractContextManager[Unfinished]:
    return unfinished(path.parent, f"{path.stem}-", ".part")


def _tidy(place: Path, family: str, version: str) -> None:
    """Remove banks of other versions, and unfinished files that nobody writes any more."""
    tidy(place, re.compile(rf"{re.escape(family)}-.*-{NUMBER}\.part"))
    for path in place.glob(f"{family}-*"):
        if path.suffix != ".part" and not path.name.startswith(f"{family}-{version}-"):
            with contextlib.suppress(OSError):
                path.unlink()


@cache
def _temporary() -> Path:
    """A folder for the life of this process."""
    place = Path(tempfile.mkdtemp(prefix="lentando-"))
    atexit.register(shutil.rmtree, place, ignore_errors=True)
    return place
