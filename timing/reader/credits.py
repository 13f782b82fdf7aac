"""The title of a MusicXML score from what is printed on its first page, where the file does not say it by itself.

Source: MusicXML 4.0 (W3C Music Notation Community Group), the elements of <credit>.
"""

from __future__ import annotations

import re
from xml.etree.ElementTree import Element

from timing.reader.figures import SIZES, number

_OF_PEOPLE = re.compile(
    r"(?:music|words|lyrics|text|arr|arranged|composed|transcribed|transcr|edited|ed)\b[ .:]|by\b|copyright\b|©|\(c\)",
    re.IGNORECASE,
)


def credited_title(tree: Element) -> str:
    """What is credited as the title; else the largest words in the middle of the top of page 1, the topmost of several
    of one size, unless they name who wrote it. Nothing where there is neither."""
    credits = [credit for credit in tree.findall("credit") if (credit.get("page") or "1").strip() == "1"]
    for credit in credits:
        if "title" in _types(credit) and (text := _text(credit.findall("credit-words"))):
            return text
    people = {_text([each]) for each in tree.iterfind("identification/creator")}
    people |= {_text([each]) for each in tree.iterfind("identification/rights")}
    height = number(tree.findtext("defaults/page-layout/page-height")) or 0
    found = []
    for credit in credits:
        words = [each for each in credit.findall("credit-words") if _text([each])]
        if _types(credit) or not words:
            continue
        size = max(map(_size, words))
        first, high = words[0], number(words[0].get("default-y")) or 0
        text = _text([each for each in words if _size(each) == size])
        centred = "center" in (first.get("justify"), first.get("halign"))
        if centred and high >= height / 2 and text not in people and not _OF_PEOPLE.match(text):
            found.append((size, high, text))
    return max(found, key=lambda each: each[:2])[2] if found else ""


def _types(credit: Element) -> list[str]:
    return [(each.text or "").strip().lower() for each in credit.findall("credit-type")]


def _text(words: list[Element]) -> str:
    return " ".join(" ".join(each.text or "" for each in words).split())


def _size(words: Element) -> float:
    size = words.get("font-size", "").strip()
    return SIZES[size] if size in SIZES else float(number(size) or 0)
