"""A sheet as what is printed, in memory: SVG that carries its letters, PDF with lines and letters as such, PNG."""

from __future__ import annotations

import re
import shutil
import tempfile
from collections.abc import Iterable
from functools import cache, lru_cache
from html import unescape
from pathlib import Path
from typing import Literal
from xml.sax.saxutils import escape

from render.drawing.fonts import FACES, MUSIC, WORDS, advances, font_face, music_font, music_letters, subset, words_file
from render.drawing.sheet import Sheet
from render.drawing.style import sheet_style

STAND_IN = "◊"  # for a letter that no font has
_DOTS = 200  # an inch, of a PNG
_TEXT = re.compile(r"<text[^>]*>(.*?)</text>", re.DOTALL)
_TAG = re.compile(r"<[^>]*>")
_STYLES = {"regular": ("normal", 400), "italic": ("italic", 400), "semibold": ("normal", 600)}


def sheet_svgs(sheet: Sheet) -> list[str]:
    """Each page as an SVG document that carries its letters."""
    fonts = _font_faces(sheet)
    return [page_svg(sheet, page, fonts) for page in sheet.pages]


def sheet_pdf(sheet: Sheet) -> bytes:
    """All pages as a PDF, with lines and letters as such."""
    (made,) = _typeset(sheet, "pdf")
    return made


def sheet_pngs(sheet: Sheet) -> list[bytes]:
    """Each page as a PNG of 200 dots an inch."""
    return _typeset(sheet, "png")


def page_svg(sheet: Sheet, page: str, fonts: str = "") -> str:
    """One page as an SVG document; `fonts` are CSS rules that carry its letters."""
    from render.drawing.pages import MM

    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{sheet.width / MM:.2f}mm" height="{sheet.height / MM:.2f}mm" '
        f'viewBox="0 0 {sheet.width:.2f} {sheet.height:.2f}"><title>{escape(sheet.title)}</title>'
        f"<style>{fonts}{sheet_style()}</style><defs>{sheet.definitions}</defs>"
        f'<rect class="sheet" width="100%" height="100%"/>{page}</svg>'
    )


def letters_of(sheet: Sheet) -> str:
    """All letters that stand on the pages."""
    found = (unescape(_TAG.sub("", words)) for page in sheet.pages for words in _TEXT.findall(page))
    return "".join(sorted(set().union(*found)))


@lru_cache(1)
def missing_letters(sheet: Sheet) -> str:
    """The letters for which neither the project's fonts nor those of the system have a shape."""
    letters = {ord(letter) for letter in letters_of(sheet) if not letter.isspace()}
    letters -= advances().keys() | {ord(letter) for letter in music_letters(map(chr, letters))}
    for file, index in _system_fonts() if letters else ():
        letters -= _shapes(file, index)
        if not letters:
            break
    return "".join(map(chr, sorted(letters)))


def _font_faces(sheet: Sheet) -> str:
    letters = letters_of(sheet)
    music = music_letters([letters])
    words = "".join(letter for letter in letters if letter not in music)
    rules = [font_face(WORDS, subset(words_file(face).read_bytes(), words), *_STYLES[face]) for face in FACES]
    return "".join(rules + ([font_face(MUSIC, subset(music_font(), music + " "))] if music else []))


def _typeset(sheet: Sheet, kind: Literal["pdf", "png"]) -> list[bytes]:
    """The documents of one kind that all pages come to: a PDF, or a PNG for each."""
    import typst

    from render.drawing.pages import MM

    with tempfile.TemporaryDirectory(prefix="lentando-") as folder:
        room = Path(folder)
        for face in FACES:
            shutil.copy(words_file(face), room)
        music = music_letters([letters_of(sheet)])
        (room / "music.ttf").write_bytes(subset(music_font(), music + " ", kind=None))
        # a letter that no font has would spoil the whole line
        instead = dict.fromkeys(map(ord, missing_letters(sheet)), STAND_IN)
        for number, page in enumerate(sheet.pages):
            (room / f"{number}.svg").write_text(page_svg(sheet, page).translate(instead), encoding="utf-8")
        source = (
            f"#set page(width: {sheet.width / MM:.2f}mm, height: {sheet.height / MM:.2f}mm, margin: 0mm)\n"
            "#set document(title: sys.inputs.title)\n"
            + "#pagebreak()\n".join(f'#image("{n}.svg", width: 100%)\n' for n in range(len(sheet.pages)))
        )
        (room / "sheet.typ").write_text(source, encoding="utf-8")
        made: bytes | list[bytes] = typst.compile(
            str(room / "sheet.typ"), root=folder, font_paths=[folder], format=kind, ppi=_DOTS,
            sys_inputs={"title": sheet.title}, pdf_tags=False,
        )  # fmt: skip
        return made if isinstance(made, list) else [made]


def _system_fonts() -> Iterable[tuple[str, int]]:
    import typst

    fonts = typst.Fonts(include_system_fonts=True, include_embedded_fonts=True).fonts()
    return dict.fromkeys((font.path, font.index) for font in fonts if font.path)


@cache
def _shapes(file: str, index: int) -> frozenset[int]:
    """The letters that a font file has; none where it cannot be read."""
    from fontTools.ttLib import TTFont, TTLibError

    try:
        with TTFont(file, fontNumber=index, lazy=True) as font:
            return frozenset(font.getBestCmap() or ())
    except (OSError, TTLibError):
        return frozenset()
