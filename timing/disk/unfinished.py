"""Files that are being written: each is held by its process, so that what a killed one left behind can be told apart.

Where the system knows flock (Linux, macOS), the file is locked for as long as it is written; a lock ends with its
process, however that ends. On Windows an open file cannot be removed, which comes to the same, but it cannot be put in
its place either: there it is let go of just before, and nothing that was touched within the last minute is tidied away.
"""

from __future__ import annotations

import atexit
import os
import re
import secrets
import stat
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

try:
    import fcntl
except ImportError:
    fcntl = None  # type: ignore[assignment]  # on Windows

_SETTLED = 60  # seconds
NUMBER = "[0-9a-f]{16}"  # as a pattern: what makes the names of unfinished files differ


PRIVATE = 0o600  # permissions: the user's alone
AS_ANY = 0o666  # all, of which the system takes away what no new file is to have


class Unfinished:
    """A new and empty file with these permissions, held by this process."""

    def __init__(self, path: Path, permissions: int = PRIVATE):
        self.path = path
        self._permissions = permissions
        self._held: int | None = None

    def make(self) -> bool:
        """Make and hold the file; False where another process has tidied it away before it was held."""
        new = os.O_RDWR | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
        self._held = os.open(self.path, new, self._permissions)
        if fcntl is None:
            return True
        with suppress(OSError):  # a disk without locks: then no one can tidy there either
            fcntl.flock(self._held, fcntl.LOCK_EX)
        return _same(self._held, self.path)

    def put(self, place: Path) -> None:
        """Put it, finished, in the place of another file. OSError where that is not possible."""
        if fcntl is None:
            self._let_go()
        os.replace(self.path, place)

    def take_away(self) -> None:
        """Let go of it, and remove it if it is still there."""
        self._let_go()
        with suppress(OSError):
            self.path.unlink(missing_ok=True)

    def _let_go(self) -> None:
        held, self._held = self._held, None
        if held is not None:
            os.close(held)


@contextmanager
def unfinished(folder: Path, before: str, after: str = "", permissions: int = PRIVATE) -> Iterator[Unfinished]:
    """A file in `folder` to be written, with a name of its own between `before` and `after`; gone at the end, unless it
    was put somewhere. OSError where there can be none."""
    made = False
    while not made:
        file = Unfinished(folder / f"{before}{secrets.token_hex(8)}{after}", permissions)
        # an interrupt comes when it likes, even while the file is made or taken away: the end of the process sees to it
        atexit.register(file.take_away)
        try:
            if made := file.make():
                yield file
        finally:
            file.take_away()
            atexit.unregister(file.take_away)


def tidy(folder: Path, names: re.Pattern[str]) -> None:
    """Remove the files of `folder` that have such a name and that no living process writes."""
    with suppress(OSError), os.scandir(folder) as entries:
        left = [Path(entry.path) for entry in entries if names.fullmatch(entry.name) and _plain(entry)]
        for path in left:
            with suppress(OSError):
                _remove_if_left(path)


def _plain(entry: os.DirEntry[str]) -> bool:
    with suppress(OSError):
        return entry.is_file(follow_symlinks=False)
    return False


def _remove_if_left(path: Path) -> None:
    if fcntl is None:
        if time.time() - path.stat().st_mtime > _SETTLED:
            path.unlink()
        return
    held = os.open(path, os.O_RDWR | os.O_NOFOLLOW | os.O_NONBLOCK)
    try:
        fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
        if _same(held, path):
            path.unlink()
    finally:
        os.close(held)


def _same(held: int, path: Path) -> bool:
    """Whether what is held still has that name."""
    try:
        there = os.lstat(path)
    except FileNotFoundError:
        return False
    return stat.S_ISREG(there.st_mode) and os.path.samestat(os.fstat(held), there)
