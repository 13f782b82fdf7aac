"""Words as SVG text: what they are as markup, and how much room they take. Letters of the music font (in the private
use area, as SMuFL has them) may stand among the others."""

from __future__ import annotations

import io
from collections.abc import Iterator
from functools import cache
from itertools import groupby
from xml.sax.saxutils import escape

from render.drawing.fonts import music_font, text_width
from render.telling.words import plain

MUSIC_SCALE = 1.6  # of the letters of the music font against the words beside them
_DOT, _DOT_GAP = "\ue1e7", 1.2  # the dot of a dotted note, and units before it


def is_music(letter: str) -> bool:
    return "\ue000" <= letter <= "\uf8ff"


def markup(text: str) -> str:
    """The inside of an SVG <text>."""
    return "".join(_music(letters) if music else escape(letters) for music, letters in _runs(text))


def _music(letters: str) -> str:
    """Letters of the music font; a dot keeps away from its note."""
    note, dot, after = letters.partition(_DOT)
    rest = f'<tspan class="smufl" dx="{_DOT_GAP:g}">{dot}</tspan>' if dot else ""
    return (f'<tspan class="smufl">{note}</tspan>' if note else "") + rest + (_music(after) if after else "")


def width(text: str, size: float, face: str = "regular") -> float:
    """How wide a text is at this size."""
    made = 0.0
    for music, letters in _runs(text):
        if music:
            made += MUSIC_SCALE * size * sum(_music_advances().get(ord(letter), 0.5) for letter in letters)
            made += _DOT_GAP * letters.count(_DOT)
        else:
            made += text_width(letters, size, face)
    return made


def text(x: float, y: float, words: str, kind: str, size: float, anchor: str = "") -> str:
    """An SVG <text> with these classes; `anchor` is middle or end where it is not the start."""
    anchored = f' text-anchor="{anchor}"' if anchor else ""
    return f'<text class="{kind}" x="{x:.1f}" y="{y:.1f}" font-size="{size:g}"{anchored}>{markup(words)}</text>'


def wrapped(words: str, room: float, size: float, face: str = "regular", most: int = 6) -> list[str]:
    """The lines of a text in so much room; after the `most`-th the rest is left out."""
    lines: list[str] = []
    line = ""
    for word in _pieces(plain(words), room, size, face):
        longer = f"{line} {word}" if line else word
        if line and width(longer, size, face) > room:
            lines.append(line)
            longer = word
            if len(lines) == most:
                break
        line = longer
    else:
        return [*lines, line] if line else lines
    return [*lines[:-1], shortened(lines[-1] + " …", room, size, face)]


def shortened(words: str, room: float, size: float, face: str = "regular") -> str:
    """A text that has to do with so much room."""
    if width(words, size, face) <= room:
        return words
    words = words[: int(room / (0.2 * size)) + 1]
    while words and width(words + "…", size, face) > room:
        words = words[:-1]
    return words.rstrip(" …") + "…"


def _pieces(words: str, room: float, size: float, face: str) -> Iterator[str]:
    """The words, those cut that are longer than a line."""
    for word in words.split(" "):
        while width(word, size, face) > room and len(word) > 1:
            count = max(len(shortened(word, room, size, face)) - 1, 1)
            yield word[:count]
            word = word[count:]
        yield word


def _runs(words: str) -> Iterator[tuple[bool, str]]:
    for music, letters in groupby(words, is_music):
        yield music, "".join(letters)


@cache
def _music_advances() -> dict[int, float]:
    from fontTools.ttLib import TTFont

    with TTFont(io.BytesIO(music_font()), lazy=True) as font:
        widths, unit = font["hmtx"], font["head"].unitsPerEm
        return {code: widths[name][0] / unit for code, name in font.getBestCmap().items()}
