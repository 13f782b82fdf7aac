"""The FluidSynth library: found, bound, and kept from the terminal.

The system's own is taken first; otherwise the copy that the pygame-ce wheel carries for its mixer. It is bound with
ctypes alone, since the package that binds it looks for it while it is imported, with no say in where, and so could find
the wheel's only where the search of the whole process was changed.
"""

from __future__ import annotations

import ctypes
import ctypes.util
import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from importlib.util import find_spec
from pathlib import Path

from timing.remarks import CannotDo

_NAMES = ("fluidsynth", "fluidsynth-3", "libfluidsynth", "libfluidsynth-3") if os.name == "nt" else ("fluidsynth",)
_INT, _POINTER, _TEXT = ctypes.c_int, ctypes.c_void_p, ctypes.c_char_p
_NUMBERS = ctypes.POINTER(ctypes.c_int)

# Of FluidSynth 2 (its API reference): what each function gives, and what it takes.
_FUNCTIONS: dict[str, tuple[type | None, list[type]]] = {
    "fluid_version": (None, [_NUMBERS] * 3),
    "fluid_set_log_function": (_POINTER, [_INT, _POINTER, _POINTER]),
    "new_fluid_settings": (_POINTER, []),
    "delete_fluid_settings": (None, [_POINTER]),
    "fluid_settings_setnum": (_INT, [_POINTER, _TEXT, ctypes.c_double]),
    "fluid_settings_setint": (_INT, [_POINTER, _TEXT, _INT]),
    "new_fluid_synth": (_POINTER, [_POINTER]),
    "delete_fluid_synth": (None, [_POINTER]),
    "fluid_synth_sfload": (_INT, [_POINTER, _TEXT, _INT]),
    "fluid_synth_program_select": (_INT, [_POINTER, *[_INT] * 4]),
    "fluid_synth_program_change": (_INT, [_POINTER, *[_INT] * 2]),
    "fluid_synth_get_channel_preset": (_POINTER, [_POINTER, _INT]),
    "fluid_synth_noteon": (_INT, [_POINTER, *[_INT] * 3]),
    "fluid_synth_noteoff": (_INT, [_POINTER, *[_INT] * 2]),
    "fluid_synth_cc": (_INT, [_POINTER, *[_INT] * 3]),
    "fluid_synth_pitch_bend": (_INT, [_POINTER, *[_INT] * 2]),
    "fluid_synth_get_active_voice_count": (_INT, [_POINTER]),
    "fluid_synth_write_float": (_INT, [_POINTER, _INT, *[_POINTER, _INT, _INT] * 2]),
}

_LEVELS = 5  # of FluidSynth's own messages
# GLib (its API reference): all levels, and the flags that come with one; libinstpatch speaks under no name.
_ALL = 0xFF | 1 | 2
_DOMAINS = (None, b"libInstPatch", b"GLib", b"GLib-GObject")
_HANDLER = ctypes.CFUNCTYPE(None, _TEXT, _INT, _TEXT, _POINTER)


@cache
def binding() -> ctypes.CDLL:
    """The library with its functions. CannotDo names what was tried and what mends it."""
    tried: list[str] = []
    fault = ""
    for path in _places(tried):
        try:
            return _bound(path)
        except (OSError, AttributeError) as refusal:
            fault = f": {refusal}"
    message = (
        "no sound: the FluidSynth library was not found, neither the system's nor the one in the package pygame-ce "
        f"(tried {', '.join(dict.fromkeys(tried))}{fault}). MIDI files and checks work without it"
    )
    raise CannotDo.because("no-synth", message, suggestion="pip install pygame-ce")


def version(library: ctypes.CDLL) -> str:
    """As in `2.5.7`."""
    numbers = [ctypes.c_int() for _ in range(3)]
    library.fluid_version(*numbers)
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


def _places(tried: list[str]) -> Iterator[str]:
    """Where the library may be; names and paths are added to `tried`."""
    for name in _NAMES:
        found = ctypes.util.find_library(name)
        tried.append(found or f"lib{name}")
        if found:
            yield found
    brewed = Path(os.environ.get("HOMEBREW_PREFIX", ""), "lib", "libfluidsynth.dylib")
    for path in [str(brewed)] * ("HOMEBREW_PREFIX" in os.environ and brewed.exists()) + bundled():
        tried.append(path)
        yield path


def _bound(path: str) -> ctypes.CDLL:
    library = ctypes.CDLL(path)
    for name, (gives, takes) in _FUNCTIONS.items():
        function = getattr(library, name)
        function.restype, function.argtypes = gives, takes
    for level in range(_LEVELS):  # what matters is said by us
        library.fluid_set_log_function(level, None, None)
    return library


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
