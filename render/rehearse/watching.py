"""The files of a sitting, watched by their folders, since whoever saves by a rename puts another file in their place.

What is seen of a file counts once it has been still for a moment: for a short one if it can be read, for a longer one
if it is refused or gone, for then somebody may be in the middle of writing it.
"""

from __future__ import annotations

import hashlib
import os
import time
from collections.abc import Callable, Iterable
from contextlib import suppress
from pathlib import Path
from threading import Event, Thread

STILL, REFUSED = 0.015, 0.1  # seconds
_LOOK = 0.005  # seconds between two looks at a file that moves
_TICK = 50_000_000  # nanoseconds
_LONGEST = 2.0  # seconds after which a file that never comes to rest is taken as it is
_ANYHOW = 1_000  # milliseconds after which all files are looked at, told or not: some disks tell nothing
_STEP, _DEBOUNCE = 5, 50  # milliseconds in which what belongs together is gathered


class Watch(Thread):
    """Looks after files until it is stopped."""

    def __init__(
        self, files: Callable[[], Iterable[Path]], readable: Callable[[Path], bool], changed: Callable[[Path], None]
    ):
        """`files` are those that are watched, which may be others after each change; `readable` says whether one can be
        read as it is, `changed` is told of one that has come to rest with another content, or none."""
        super().__init__(name="watching", daemon=True)
        self._files, self._readable, self._changed = files, readable, changed
        self._ended = Event()
        self._known: dict[Path, bytes | None] = {}
        self._signs: dict[Path, tuple[int, ...] | None] = {}
        for file in files():
            self._look(file)

    def stop(self) -> None:
        self._ended.set()

    def run(self) -> None:
        from watchfiles import watch

        while not self._ended.is_set():
            folders = self._folders()
            told = watch(
                *folders, stop_event=self._ended, step=_STEP, debounce=_DEBOUNCE, rust_timeout=_ANYHOW,
                yield_on_timeout=True, recursive=False, raise_interrupt=False, watch_filter=None,
            ) if folders else iter(lambda: self._ended.wait(_ANYHOW / 1000) or set(), True)  # fmt: skip
            with suppress(OSError):  # a folder has gone while it was looked for
                for _ in told:
                    self._look_at_all()
                    if self._folders() != folders:
                        break

    def _folders(self) -> list[str]:
        found = {os.path.realpath(file) for file in self._files()} | {os.path.abspath(file) for file in self._files()}
        return sorted({folder for file in found if os.path.isdir(folder := os.path.dirname(file))})

    def _look_at_all(self) -> None:
        files = list(self._files())
        for gone in self._known.keys() - set(files):
            del self._known[gone], self._signs[gone]
        for file in files:
            if file not in self._known:  # it is read from now on, and was just read
                self._look(file)
            elif self._moves(file):
                self._settle(file)

    def _moves(self, file: Path) -> bool:
        """Whether a file may have been written since it was looked at: the clock of a disk has coarse ticks."""
        sign = _sign(file)
        return sign != self._signs[file] or (sign is not None and time.time_ns() - sign[2] < _TICK)

    def _look(self, file: Path) -> bool:
        """Whether the content of a file is another one than it was."""
        self._signs[file] = _sign(file)
        now, before = _digest(file), self._known.get(file, b"")
        self._known[file] = now
        return now != before

    def _settle(self, file: Path) -> None:
        """Wait until a file has come to rest, and tell if it has changed."""
        before = self._known[file]
        begun = still = time.monotonic()
        readable: bool | None = None
        self._look(file)
        while not self._ended.is_set():
            now = time.monotonic()
            if self._moves(file) and self._look(file):
                still, readable = now, None
            if now - still >= STILL and readable is None:
                readable = self._known[file] is not None and self._readable(file)
            if readable or now - still >= REFUSED or now - begun >= _LONGEST:
                break
            self._ended.wait(_LOOK)
        if self._known[file] != before and not self._ended.is_set():
            self._changed(file)


def _sign(file: Path) -> tuple[int, ...] | None:
    """What is another one when a file is written, at hardly any cost; None where there is no file."""
    try:
        found = os.stat(file)
    except (OSError, ValueError):
        return None
    return found.st_ino, found.st_size, found.st_mtime_ns, found.st_ctime_ns


def _digest(file: Path) -> bytes | None:
    """The sum of a file's content; None where it cannot be read."""
    try:
        if not file.is_file():
            return None
        with file.open("rb") as opened:
            return hashlib.file_digest(opened, "sha256").digest()
    except (OSError, ValueError):
        return None
