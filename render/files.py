"""Files are written whole or not at all."""

from __future__ import annotations

import codecs
import errno
import os
import re
import stat
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from timing.disk.links import IN_A_CIRCLE
from timing.disk.unfinished import AS_ANY, NUMBER, PRIVATE, Unfinished, tidy, unfinished
from timing.remarks import CannotDo

_BEFORE = ".lentando-"
_UNFINISHED = re.compile(rf"{re.escape(_BEFORE)}{NUMBER}(\.[a-z0-9]+)?")


@contextmanager
def temporary_file(folder: Path, suffix: str = "", permissions: int = PRIVATE) -> Iterator[Unfinished]:
    """An empty file in `folder`, by default one that only the user may read; it is gone at the end. OSError where there
    can be none. What was left behind there when a process was killed goes first."""
    tidy(folder, _UNFINISHED)
    with unfinished(folder, _BEFORE, suffix, permissions) as file:
        yield file


@contextmanager
def written_whole(path: str | Path, permissions: int | None = None) -> Iterator[Path]:
    """Give a temporary file beside `path`, and put it in its place when all went well; on any failure nothing is left.

    It has these `permissions`, or those of any new file. Where `path` is a link, the file that it points to is
    replaced. Raises CannotDo where the folder does not exist, cannot be written to, or has no room, and where something
    stands that may not be written over.
    """
    path = Path(path)
    with faults_of(path):
        target = _target(path)
        with temporary_file(target.parent, permissions=AS_ANY if permissions is None else PRIVATE) as temporary:
            yield temporary.path
            if permissions is not None:
                os.chmod(temporary.path, permissions)
            temporary.put(target)


@contextmanager
def faults_of(path: Path) -> Iterator[None]:
    """What goes wrong meanwhile is a fault of this file: CannotDo in the place of an OSError."""
    try:
        yield
    except OSError as fault:
        raise _in_words(path, fault) from None


def refuse_outputs(files: Iterable[Path], inputs: Iterable[Path]) -> None:
    """CannotDo if one of these files could not be written, or is one of those that were read: to be asked for all
    files of a command before the first is written."""
    inputs = list(inputs)
    for file in files:
        try:
            _target(file)
        except OSError as fault:
            raise _in_words(file, fault) from None
        keep_from_inputs(file, inputs)


def _target(path: Path) -> Path:
    """The file that will stand there, wherever links lead to. CannotDo where something else does, which a file must not
    replace, and where it is protected; OSError where that cannot be seen."""
    target = Path(os.path.realpath(path))
    try:
        mode = os.stat(path).st_mode
    except FileNotFoundError:
        os.stat(target.parent)
        return target
    if not stat.S_ISREG(mode):
        what = next((words for found, words in _NO_FILES if found(mode)), "is not a file")
        raise CannotDo.because("cannot-write", f"{path} {what}: name a file", path)
    if not _may_write(target):
        raise CannotDo.because("cannot-write", f"{path} is protected against writing: name another file", path)
    return target


_NO_FILES = (
    (stat.S_ISDIR, "is a folder"),
    (stat.S_ISFIFO, "is a pipe, not a file"),
    (stat.S_ISSOCK, "is a socket, not a file"),
    (stat.S_ISCHR, "is a device, not a file"),
    (stat.S_ISBLK, "is a device, not a file"),
)


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


def _may_write(path: Path) -> bool:
    return bool(path.stat().st_mode & 0o222) and os.access(path, os.W_OK)


def keep_from_inputs(path: Path, inputs: Iterable[Path]) -> None:
    """CannotDo if `path` is one of the files that were read, by whatever name: a link to it, or the same letters in
    another case where the system does not tell them apart."""
    for given in inputs:
        if _same(path, given):
            raise CannotDo.because("output-is-input", f"{path} is what the music is read from: name another file", path)


def _same(one: Path, other: Path) -> bool:
    if os.path.realpath(one) == os.path.realpath(other):
        return True
    with suppress(OSError):  # one of them is not there
        return os.path.samefile(one, other)
    return False


def _in_words(path: Path, fault: OSError) -> CannotDo:
    folder = Path(os.path.realpath(path)).parent if os.path.islink(path) else path.parent
    reasons = {
        errno.ENOENT: f"there is no folder {folder}",
        errno.ENOTDIR: f"{folder} is not a folder",
        errno.ENOSPC: "no space is left on the disk",
        errno.EDQUOT: "no space is left for you on the disk",
        errno.EACCES: f"you may not write in {folder}",
        errno.EPERM: f"you may not write in {folder}",
        errno.EROFS: f"{folder} can only be read",
        errno.ENAMETOOLONG: "the name is too long",
        errno.ELOOP: f"it {IN_A_CIRCLE}",
    }
    reason = reasons.get(fault.errno or 0, fault.strerror or str(fault))
    return CannotDo.because("cannot-write", f"{path} cannot be written: {reason}", path)
