"""What is heard and seen: MIDI, sound, tables, sheets, pages, and the command line.

    write_midi(performance, "take.mid")
    take = render_audio(performance, "take.wav")
    pdf = sheet_pdf(make_sheet(reading))
    html, facts = page_html([reading, other])

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
    "make_sheet": "render.drawing.sheet",
    "sheet_svgs": "render.drawing.printing",
    "sheet_pdf": "render.drawing.printing",
    "sheet_pngs": "render.drawing.printing",
    "write_sheet": "render.drawing.sheet_files",
    "page_html": "render.page",
    "write_page": "render.page",
}

__all__ = list(_HOMES)


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(_HOMES[name]), name)
