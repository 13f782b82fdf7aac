"""Finding and checking banks of sound (SoundFont 2 files)."""

from __future__ import annotations

import hashlib
import struct
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path
from typing import BinaryIO

from timing.disk.links import IN_A_CIRCLE, in_a_circle
from timing.remarks import CannotDo

_MOST_CHUNKS = 64  # a bank has three at the top level; a file of nothing but empty ones must not be walked to its end


def standard_bank() -> Path:
    """The General MIDI bank that comes inside the package pretty_midi."""
    package = find_spec("pretty_midi")
    bank = Path(package.origin).parent / "TimGM6mb.sf2" if package and package.origin else None
    if bank is None or not bank.is_file():
        message = "the General MIDI bank TimGM6mb.sf2 is missing from the package pretty_midi"
        raise CannotDo.because("no-bank", message, suggestion="pip install --force-reinstall pretty_midi")
    return bank


def checked_bank(path: str | Path) -> Path:
    """`path`, if it is a whole SoundFont 2 file; CannotDo says what is wrong with it otherwise. Only headers are read.

    A SoundFont is a RIFF file of form `sfbk` with the lists INFO, sdta and pdta (SoundFont 2.04 §4).
    """
    path = Path(path)
    try:
        if not path.is_file():
            what = "is a folder, not a SoundFont" if path.is_dir() else "does not exist"
            what = IN_A_CIRCLE if in_a_circle(path) else what
            raise CannotDo.because("no-bank", f"the SoundFont {path} {what}", path)
        with path.open("rb") as file:
            head = file.read(12)
            if len(head) < 12 or head[:4] != b"RIFF" or head[8:] != b"sfbk":
                raise CannotDo.because("not-a-bank", f"{path} is not a SoundFont (.sf2) file", path)
            size = path.stat().st_size
            promised = struct.unpack("<I", head[4:8])[0] + 8
            if promised > size:
                message = f"{path} is cut short: it should have {promised:,} bytes and has {size:,}"
                raise CannotDo.because("bank-cut-short", message, path)
            lists = _lists(file, promised)
    except OSError as fault:
        raise CannotDo.because("no-bank", f"the SoundFont {path} cannot be read: {fault.strerror}", path) from None
    if missing := [name for name in ("INFO", "sdta", "pdta") if name not in lists]:
        raise CannotDo.because("not-a-bank", f"{path} is a damaged SoundFont: its part {missing[0]} is missing", path)
    return path


def _lists(file: BinaryIO, end: int) -> set[str]:
    """The names of the LIST chunks at the top level."""
    found, position = set(), 12
    for _ in range(_MOST_CHUNKS):
        if position + 12 > end:
            break
        file.seek(position)
        kind, size, name = struct.unpack("<4sI4s", file.read(12))
        if position + 8 + size > end:
            break  # it reaches beyond the file: not a whole list
        if kind == b"LIST":
            found.add(name.decode("latin-1"))
        position += 8 + size + size % 2
    return found


def fingerprint(path: Path) -> str:
    """The SHA-256 of a bank, to be kept beside what was rendered with it. A large one takes a while, so it is taken
    once as long as the file stays as it is."""
    about = path.stat()
    return _digest(path, about.st_size, about.st_mtime_ns)


@lru_cache(64)
def _digest(path: Path, size: int, changed: int) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
