"""music21 while it reads for us: it says nothing on the terminal, and beams no tune that nobody asks to have beamed.

It prints, warns through Python and warns on standard error. To turn all that aside, streams and warnings of the whole
process would have to be changed, and what other threads say meanwhile would be lost. So its modules are given a `print`
and a `warnings` of their own, once, when it is first needed; these ask who is speaking, and let everyone who does not
read for us be heard as ever.
"""

from __future__ import annotations

import sys
import threading
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    from music21.environment import Environment
    from music21.stream import Part


class Warned(NamedTuple):
    """A warning of music21."""

    kind: str  # the name of its class
    message: str


_warned: ContextVar[list[Warned] | None] = ContextVar("warned", default=None)  # while it reads for us
_unbeamed: ContextVar[bool] = ContextVar("unbeamed", default=False)
_first = threading.Lock()


@contextmanager
def quiet() -> Iterator[list[Warned]]:
    """Keeps what music21 says in this context from the terminal; gives the list of its warnings."""
    with _first:
        _prepare()
    warned: list[Warned] = []
    before = _warned.set(warned)
    try:
        yield warned
    finally:
        _warned.reset(before)


@contextmanager
def unbeamed() -> Iterator[None]:
    """Keeps music21, within `quiet`, from beaming a tune: it takes a time that is the square of the bars."""
    before = _unbeamed.set(True)
    try:
        yield
    finally:
        _unbeamed.reset(before)


@cache
def _prepare() -> None:
    """Give music21's modules, which are all imported with it, what is theirs alone."""
    import music21
    from music21.environment import Environment
    from music21.stream import Part

    told = _Warnings()
    for name, module in list(sys.modules.items()):
        if name.partition(".")[0] == music21.__name__:
            module.__dict__["print"] = _print
            if module.__dict__.get("warnings") is warnings:
                module.__dict__["warnings"] = told
    for name in ("warn", "printDebug"):
        setattr(Environment, name, _unless_quiet(getattr(Environment, name)))
    beam = "makeBeams"
    setattr(Part, beam, _unless_unbeamed(getattr(Part, beam)))  # in the place of what it has from Stream


class _Warnings:
    """The module `warnings` for modules of music21."""

    def warn(
        self, message: str | Warning, category: type[Warning] | None = None, stacklevel: int = 1, **named: Any
    ) -> None:
        """Keep a warning for whoever reads, or pass it on."""
        warned = _warned.get()
        if warned is None:
            warnings.warn(message, category, stacklevel + 1, **named)
        else:
            kind = type(message) if isinstance(message, Warning) else category or UserWarning
            warned.append(Warned(kind.__name__, str(message)))

    def __getattr__(self, name: str) -> Any:
        return getattr(warnings, name)


def _print(*words: Any, **named: Any) -> None:
    if _warned.get() is None:
        print(*words, **named)


def _unless_quiet(warn: Callable[..., None]) -> Callable[..., None]:
    def told(environment: Environment, *given: Any, **named: Any) -> None:
        if _warned.get() is None:
            warn(environment, *given, **named)

    return told


def _unless_unbeamed(beam: Callable[..., Any]) -> Callable[..., Any]:
    def made(part: Part, *given: Any, **named: Any) -> Any:
        return part if _unbeamed.get() else beam(part, *given, **named)

    return made
