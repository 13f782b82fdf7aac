"""What is heard and seen: MIDI, sound, tables, and the command line.

    write_midi(performance, "take.mid")
    take = render_audio(performance, "take.wav")

In memory the same are `midi_bytes(performance)` and `render_sound(performance)`, an array with its facts.

Names are imported when they are first used, so that starting is quick.
"""

from __future__ import annotations

import importlib
from typing import Any

_HOMES = {
    "midi_bytes": "render.midi.file",
    "write_midi": "render.midi.file",
    "render_sound": "render.sound.memory",
    "sound_blocks": "render.sound.memory",
    "encoded": "render.sound.coding",
    "render_audio": "render.sound.audio",
    "timeline": "render.telling.tables",
}

__all__ = list(_HOMES)


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(_HOMES[name]), name)
