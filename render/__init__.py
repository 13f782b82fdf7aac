"""What is heard and seen: MIDI, sound, tables, and the command line.

    write_midi(performance, "take.mid")
    take = render_audio(performance, "take.wav")

Names are imported when they are first used, so that starting is quick.
"""

from __future__ import annotations

import importlib

TYPE_CHECKING = False  # as in `typing`, which takes a while to import
if TYPE_CHECKING:
    from render.midi.file import write_midi as write_midi
    from render.sound.audio import render_audio as render_audio
    from render.telling.tables import timeline as timeline

_HOMES = {"write_midi": "render.midi.file", "render_audio": "render.sound.audio", "timeline": "render.telling.tables"}

__all__ = list(_HOMES)


def __getattr__(name: str) -> object:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(_HOMES[name]), name)
