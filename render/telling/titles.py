"""What readings are called beside their piece, and beside each other."""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from collections.abc import Sequence

from render.telling.words import plain

_BRACKETS = {"(": ")", "[": "]", "{": "}"}
_BETWEEN = " \xa0,;:-–—"  # what may stand between the title of a piece and that of a reading
_PARTED = re.compile(r"\s|[–—(\[{]|[,;:.-](?:\s|$)|$")  # how it goes on after a piece: "Étude 1.5" is another than 1
_GOES_ON = re.compile(r"[\s_.'’&+/-]*[^\W_]")  # a word after a letter: "A walk", "A-flat", "B.C."


def own_title(title: str, piece: str) -> str:
    """What the title of a reading says beside that of the piece: "flowing" of "Low Water (flowing)", and "flowing, in
    strict time" of "Low Water (flowing), in strict time". All of it where it does not begin with the piece; nothing
    where it says no more. Brackets that were balanced stay so, and a letter alone is `apart`."""
    return apart(_beside(title.strip(), piece.strip()))


def apart(title: str) -> str:
    """A title that begins with a letter alone, with this letter in quotation marks: readings have letters too, and
    "B A, misplaced" would be read as two of them."""
    end = 1
    while end < len(title) and unicodedata.category(title[end]).startswith("M"):
        end += 1
    if not title[:1].isalnum() or _GOES_ON.match(title, end):
        return title
    return f"“{title[:end]}”{title[end:]}"


def names_beside(titles: Sequence[tuple[str, str, str]], letters: Sequence[str]) -> list[str]:
    """What readings are called side by side, from the title of each, that of its piece, and a name for one whose title
    cannot be seen: what `own_title` says, and the letters of those that would be called alike."""
    names = [own_title(plain(title), plain(piece)) or apart(plain(title).strip()) for title, piece, _ in titles]
    others = [apart(plain(other).strip()) for *_, other in titles]
    names = [next((name for name in both if _seen(name)), "untitled") for both in zip(names, others, strict=True)]
    while alike := {said for said, times in Counter(map(_seen, names)).items() if times > 1}:
        names = [
            f"{name} ({letter})" if _seen(name) in alike else name for name, letter in zip(names, letters, strict=False)
        ]
    return names


def _beside(title: str, piece: str) -> str:
    if not piece or not title.startswith(piece):
        return title
    rest = title[len(piece) :]
    if not _PARTED.match(rest):
        return title
    rest = _unwrapped(_trimmed(rest))
    if not rest.strip("()[]{}" + _BETWEEN):
        return ""
    return title if _balanced(title) and not _balanced(rest) else rest


def _unwrapped(words: str) -> str:
    """Words without the brackets round them, or round all of them before a comma or the like."""
    if words[:1] not in _BRACKETS:
        return words
    depth, closing = 0, None
    for place, letter in enumerate(words):
        depth += (letter in _BRACKETS) - (letter in _BRACKETS.values())
        if depth == 0:
            closing = place
            break
    if closing is None or words[closing] != _BRACKETS[words[0]]:
        return words
    after = words[closing + 1 :]
    if after and after.lstrip()[:1] not in (*",;:–—",):
        return words
    return _trimmed(_trimmed(words[1:closing]) + after)


def _trimmed(words: str) -> str:
    return words.lstrip(_BETWEEN + ".").rstrip(_BETWEEN)


def _balanced(words: str) -> bool:
    open_ = []
    for letter in words:
        if letter in _BRACKETS:
            open_.append(_BRACKETS[letter])
        elif letter in _BRACKETS.values() and (not open_ or open_.pop() != letter):
            return False
    return not open_


def _seen(name: str) -> str:
    """What one sees of a name; nothing, where nothing is to be seen."""
    return " ".join("".join(letter for letter in name if letter.isprintable() or letter.isspace()).split())
