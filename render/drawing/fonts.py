"""The two fonts of everything that is seen: Source Serif Pro for words, Leipzig (SMuFL) for music inside words.

Both are open (SIL Open Font License 1.1) and come with packages from PyPI; a page or a drawing carries the letters that
it uses, and no more.
"""

from __future__ import annotations

import base64
import io
import re
from collections.abc import Iterable
from functools import cache
from pathlib import Path

WORDS = "Source Serif Pro"
MUSIC = "Leipzig"  # the engraver's own
FACES = {"regular": "Regular", "italic": "It", "semibold": "Semibold"}


def words_file(face: str = "regular") -> Path:
    """The file (.ttf) of a face of the serif, one of FACES."""
    from font_source_serif_pro import font_directory

    return Path(font_directory) / f"SourceSerifPro-{FACES[face]}.ttf"


@cache
def music_font() -> bytes:
    """The music font, as the engraver's package has it (WOFF2)."""
    import verovio

    sheet = (Path(verovio.__file__).parent / "data" / f"{MUSIC}.css").read_text(encoding="ascii")
    return base64.b64decode(next(re.finditer(r"base64,([A-Za-z0-9+/=]+)", sheet))[1])


def music_letters(texts: Iterable[str]) -> str:
    """The letters of texts that only a music font has: those of the private use area, where SMuFL lies."""
    return "".join(sorted({letter for text in texts for letter in text if "\ue000" <= letter <= "\uf8ff"}))


def subset(font: bytes, letters: str, kind: str | None = "woff2") -> bytes:
    """A font with nothing but these letters, as WOFF2 (or another `kind` that fontTools writes; None: as plain
    OpenType)."""
    from fontTools.subset import Options, Subsetter
    from fontTools.ttLib import TTFont

    options = Options(notdef_outline=True, name_IDs=[1, 2, 4, 6, 13, 14], hinting=False)
    options.drop_tables += ["FFTM"]
    with TTFont(io.BytesIO(font), recalcTimestamp=False) as opened:
        subsetter = Subsetter(options)
        subsetter.populate(text=letters)
        subsetter.subset(opened)
        opened.flavor = kind
        made = io.BytesIO()
        opened.save(made)
    return made.getvalue()


@cache
def advances(face: str = "regular") -> dict[int, float]:
    """How far each letter moves on, in ems, by its code point."""
    from fontTools.ttLib import TTFont

    with TTFont(words_file(face), lazy=True) as font:
        widths, unit = font["hmtx"], font["head"].unitsPerEm
        return {code: widths[name][0] / unit for code, name in font.getBestCmap().items()}


def text_width(text: str, size: float, face: str = "regular") -> float:
    """How wide a text is in the serif at this size (kerning left out, which seldom makes it wider); a letter that the
    serif has not counts as one em."""
    widths = advances(face)
    return size * sum(widths.get(ord(letter), 1.0) for letter in text)


def font_face(family: str, font: bytes, style: str = "normal", weight: int = 400) -> str:
    """A CSS rule that carries a WOFF2 font."""
    data = base64.b64encode(font).decode("ascii")
    return (
        f'@font-face{{font-family:"{family}";font-style:{style};font-weight:{weight};'
        f'src:url(data:font/woff2;base64,{data}) format("woff2")}}'
    )
