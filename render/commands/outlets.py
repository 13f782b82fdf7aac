"""Standard output and standard error, whatever they lead to: a pipe that nobody reads, a full disk, nothing at all.

A command goes on to its end where they take nothing more. What its reader did not want is no fault, and neither is it
that messages are lost; of standard output any other fault is told at the end.
"""

from __future__ import annotations

import os
import sys
from io import BufferedWriter, FileIO, TextIOWrapper
from typing import TYPE_CHECKING, TextIO

if TYPE_CHECKING:
    from _typeshed import ReadableBuffer

_OUT, _ERR = 1, 2


class Outlet(FileIO):
    """One of the two as raw bytes, which are thrown away once it takes no more; `fault` says why, unless that was its
    reader's wish."""

    def __init__(self, number: int):
        super().__init__(number, "w", closefd=False)
        self.fault: OSError | None = None
        self._shut = False

    def write(self, data: ReadableBuffer, /) -> int | None:  # type: ignore[override]  # as FileIO has it
        """Write some of the bytes, and say how many."""
        if not self._shut:
            try:
                return super().write(data)
            except BrokenPipeError:
                self._shut = True
            except OSError as fault:
                self.fault, self._shut = fault, True
        return memoryview(data).nbytes


def open_outlets() -> Outlet:
    """Open both anew; the outlet of standard output. Letters that a terminal does not have are replaced.

    A number that is closed is taken, so that no file of ours gets it and is written to by mistake: standard output by
    what cannot be written to, since its reader must know that there was nothing.
    """
    for number, way in enumerate((os.O_RDONLY, os.O_RDONLY, os.O_WRONLY)):
        _take(number, way)
    out, sys.stdout = _opened(_OUT, sys.stdout)
    _, sys.stderr = _opened(_ERR, sys.stderr)
    return out


def _take(number: int, way: int) -> None:
    try:
        os.fstat(number)
    except OSError:
        taken = os.open(os.devnull, way)
        if taken != number:
            os.dup2(taken, number)
            os.close(taken)


def _opened(number: int, stream: TextIO | None) -> tuple[Outlet, TextIO]:
    outlet = Outlet(number)
    if stream is None:  # it was closed when Python began
        return outlet, TextIOWrapper(BufferedWriter(outlet), "utf-8", "replace")
    # a console is written to by ways of its own
    if os.name == "nt" and stream.isatty() and isinstance(stream, TextIOWrapper):
        stream.reconfigure(errors="replace")
        return outlet, stream
    through = bool(getattr(stream, "write_through", False))
    lines = bool(stream.line_buffering)
    wrapped = BufferedWriter(outlet)
    return outlet, TextIOWrapper(wrapped, stream.encoding, "replace", line_buffering=lines, write_through=through)
