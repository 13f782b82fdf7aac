"""The letters of the page: the faces of the serif, and the signs of the music font, with nothing but what is used."""

from __future__ import annotations

import re
from functools import cache

from render.drawing.fonts import FACES, MUSIC, WORDS, font_face, music_font, music_letters, subset, words_file

_ALWAYS = "".join(map(chr, range(0x20, 0x7F))) + "–−’“”×·"  # what the script may write
_STYLES = {"regular": ("normal", 400), "italic": ("italic", 400), "semibold": ("normal", 600)}
_TAGS = re.compile("<[^>]*>")


def font_faces(markup: str) -> str:
    """CSS rules that carry the fonts for all text of the page."""
    text = _TAGS.sub("", markup)
    letters = "".join(sorted({*_ALWAYS, *text} - set(music := music_letters([text]))))
    rules = [font_face(WORDS, _words(face, letters), *_STYLES[face]) for face in FACES]
    if music:
        rules.append(font_face(MUSIC, subset(music_font(), music + " ")))
    return "".join(rules)


@cache
def _words(face: str, letters: str) -> bytes:
    return subset(words_file(face).read_bytes(), letters)
