"""Files are written whole or not at all."""

from __future__ import annotations

import atexit
import codecs
import errno
import os
import secrets
import stat
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from functools import partial
from pathlib import Path

from timing.remarks import CannotDo


@contextmanager
def temporary_file(folder: Path, suffix: str = "") -> Iterator[Path]:
    """An empty file in `folder` that only the user may read; it is gone at the end. OSError where there can be none."""
    file = folder / f".lentando-{secrets.token_hex(8)}{suffix}"
    take_away = partial(_take_away, file)
    # an interrupt comes when it likes, even while the file is made or taken away: the end of the process sees to it
    atexit.register(take_away)
    try:
        file.touch(0o600, exist_ok=False)
        yield file
    finally:
        take_away()
        atexit.unregister(take_away)


@contextmanager
def written_whole(path: str | Path, mode: int | None = None) -> Iterator[Path]:
    """Give a temporary file beside `path`, and put it in its place when all went well; on any failure nothing is left.

    It has the permissions `mode`, or those of any new file. Where `path` is a link, the file that it points to is
    replaced. Raises CannotDo where the folder does not exist, cannot be written to, or has no room, and where a file
    stands that may not be written over.
    """
    path = Path(path)
    target = Path(os.path.realpath(path))
    try:
        if target.is_dir():
            raise CannotDo.because("cannot-write", f"{path} is a folder: name a file", path)
        if target.exists() and not _may_write(target):
            raise CannotDo.because("cannot-write", f"{path} is protected against writing: name another file", path)
        with temporary_file(target.parent) as temporary:
            yield temporary
            os.chmod(temporary, 0o666 & ~_umask() if mode is None else mode)
            os.replace(temporary, target)
    except OSError as fault:
        raise _in_words(path, fault) from None


def rewrite(path: Path, before: str, after: str) -> None:
    """Put a text in the place of another one in a file (UTF-8; a byte order mark stays), whole or not at all; links and
    permissions stay. CannotDo if it may not be written, or no longer holds the text `before`."""
    message = f"{path} has been changed by someone else meanwhile, so nothing is written: try again"
    changed = CannotDo.because("plan-changed", message, path)
    if not path.is_file():
        raise changed
    if not _may_write(path):
        raise CannotDo.because("cannot-write", f"{path} is protected against writing, so it stays as it is", path)
    with written_whole(path, stat.S_IMODE(path.stat().st_mode)) as temporary:
        mark = codecs.BOM_UTF8 if path.read_bytes().startswith(codecs.BOM_UTF8) else b""
        temporary.write_bytes(mark + after.encode())
        if path.read_bytes() != mark + before.encode():
            raise changed


def _take_away(file: Path) -> None:
    with suppress(OSError):
        file.unlink(missing_ok=True)


def _may_write(path: Path) -> bool:
    return bool(path.stat().st_mode & 0o222) and os.access(path, os.W_OK)


def keep_from_inputs(path: Path, inputs: Iterable[Path]) -> None:
    """CannotDo if `path` is one of the files that were read, by whatever name: a link to it, or the same letters in
    another case where the system does not tell them apart."""
    for given in inputs:
        if path.resolve() == given.resolve() or (path.exists() and given.exists() and path.samefile(given)):
            raise CannotDo.because("output-is-input", f"{path} is what the music is read from: name another file", path)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _in_words(path: Path, fault: OSError) -> CannotDo:
    reasons = {
        errno.ENOENT: f"there is no folder {path.parent}",
        errno.ENOTDIR: f"{path.parent} is not a folder",
        errno.ENOSPC: "no space is left on the disk",
        errno.EDQUOT: "no space is left for you on the disk",
        errno.EACCES: f"you may not write in {path.parent}",
        errno.EPERM: f"you may not write in {path.parent}",
        errno.EROFS: f"{path.parent} can only be read",
        errno.ENAMETOOLONG: "the name is too long",
    }
    reason = reasons.get(fault.errno or 0, fault.strerror or str(fault))
    return CannotDo.because("cannot-write", f"{path} cannot be written: {reason}", path)
