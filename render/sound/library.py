"""The FluidSynth library: found, bound by pyfluidsynth, and kept from the terminal.

The system's own is taken first; otherwise the copy that the pygame-ce wheel carries for its mixer. pyfluidsynth looks
for the library while it is imported, with no say in where; so its module is made here with an import of its own, which
finds ours, and nothing that other threads could see is changed for it.
"""

from __future__ import annotations

import builtins
import ctypes
import ctypes.util
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from importlib.util import find_spec, module_from_spec
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

from timing.remarks import CannotDo

_INT, _POINTER, _TEXT = ctypes.c_int, ctypes.c_void_p, ctypes.c_char_p
_LEVELS = 5  # of FluidSynth's own messages
# GLib (its API reference): all levels, and the flags that come with one; libinstpatch speaks under no name.
_ALL = 0xFF | 1 | 2
_DOMAINS = (None, b"libInstPatch", b"GLib", b"GLib-GObject")
_HANDLER = ctypes.CFUNCTYPE(None, _TEXT, _INT, _TEXT, _POINTER)


@cache
def binding() -> ModuleType:
    """pyfluidsynth's module, bound to a library. CannotDo names what was tried and what mends it."""
    tried: list[str] = []
    for finder in (ctypes.util.find_library, lambda _: next(iter(bundled()), None)):
        try:
            return _bound(finder, tried)
        except (ImportError, OSError, AttributeError) as refusal:
            fault = refusal
    message = (
        "no sound: the FluidSynth library was not found, neither the system's nor the one in the package pygame-ce "
        f"(tried {', '.join(dict.fromkeys(tried))}: {fault}). MIDI files and checks work without it"
    )
    raise CannotDo.because("no-synth", message, suggestion="pip install pygame-ce")


def version(fluidsynth: ModuleType) -> str:
    """As in `2.5.7`."""
    numbers = [ctypes.c_int() for _ in range(3)]
    fluidsynth.fluid_version(*numbers)
    return ".".join(str(number.value) for number in numbers)


def bundled() -> list[str]:
    """The FluidSynth libraries inside the pygame-ce wheel (without importing it)."""
    spec = find_spec("pygame")
    if spec is None or not spec.origin:
        return []
    package = Path(spec.origin).parent
    places = ((package.parent / "pygame_ce.libs", "libfluidsynth*.so*"), (package / ".dylibs", "libfluidsynth*.dylib"))
    found = [path for folder, pattern in (*places, (package, "libfluidsynth*.dll")) for path in folder.glob(pattern)]
    return [str(path) for path in sorted(found)]


def _bound(finder: Callable[[str], str | None], tried: list[str]) -> ModuleType:
    """The module with a library that `finder` finds. Names or paths are added to `tried`."""

    def find_library(name: str) -> str | None:
        found = finder(name)
        tried.append(found or f"lib{name}")
        return found

    def imported(name: str, *more: Any) -> Any:
        return SimpleNamespace(find_library=find_library) if name == "ctypes.util" else __import__(name, *more)

    spec = find_spec("fluidsynth")
    if spec is None or spec.loader is None:
        raise ImportError("the package pyfluidsynth is not there")
    module = module_from_spec(spec)
    # it announces what it found where CI is set
    vars(module)["__builtins__"] = vars(builtins) | {"__import__": imported, "print": lambda *_: None}
    spec.loader.exec_module(module)
    library = module._fl
    library.fluid_synth_write_float.argtypes = [_POINTER, _INT, *[_POINTER, _INT, _INT] * 2]
    preset = library.fluid_synth_get_channel_preset
    preset.argtypes, preset.restype = [_POINTER, _INT], _POINTER
    for level in range(_LEVELS):  # what matters is said by us
        library.fluid_set_log_function(level, None, None)
    return module


@contextmanager
def glib_hushed(library: ctypes.CDLL) -> Iterator[None]:
    """What GLib says in this thread meanwhile is dropped; in any other it says it as ever.

    For a bank that it cannot read FluidSynth may ask libinstpatch, which complains on the terminal through the GLib
    that both are built with. FluidSynth without it has nothing to hush.
    """
    try:
        add, remove, usual = library.g_log_set_handler, library.g_log_remove_handler, library.g_log_default_handler
    except AttributeError:
        yield
        return
    add.argtypes, add.restype = [_TEXT, _INT, _HANDLER, _POINTER], ctypes.c_uint
    remove.argtypes, remove.restype = [_TEXT, ctypes.c_uint], None
    usual.argtypes, usual.restype = [_TEXT, _INT, _TEXT, _POINTER], None
    here = threading.get_ident()

    def say(domain: bytes | None, level: int, message: bytes | None, _: int | None) -> None:
        if threading.get_ident() != here:
            usual(domain, level, message, None)

    handler = _HANDLER(say)
    added = [(domain, add(domain, _ALL, handler, None)) for domain in _DOMAINS]
    try:
        yield
    finally:
        for domain, number in added:
            remove(domain, number)
