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

TYPE_CHECKING = False  # as in `typing`, which takes a while to import
if TYPE_CHECKING:
    from typing import Any

    from render.drawing.printing import sheet_pdf as sheet_pdf
    from render.drawing.printing import sheet_pngs as sheet_pngs
    from render.drawing.printing import sheet_svgs as sheet_svgs
    from render.drawing.sheet import make_sheet as make_sheet
    from render.drawing.sheet_files import write_sheet as write_sheet
    from render.midi.file import midi_bytes as midi_bytes
    from render.midi.file import write_midi as write_midi
    from render.page import page_html as page_html
    from render.page import write_page as write_page
    from render.sound.audio import render_audio as render_audio
    from render.sound.coding import encoded as encoded
    from render.sound.memory import lowered_alike as lowered_alike
    from render.sound.memory import render_sound as render_sound
    from render.sound.memory import sound_blocks as sound_blocks
    from render.telling.tables import timeline as timeline

_HOMES = {
    "midi_bytes": "render.midi.file",
    "write_midi": "render.midi.file",
    "render_sound": "render.sound.memory",
    "sound_blocks": "render.sound.memory",
    "lowered_alike": "render.sound.memory",
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
