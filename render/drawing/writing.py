"""Labels as markup, each put where there is room."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from render.drawing.labels import Label
from render.drawing.lettering import shortened, text, width
from render.drawing.skyline import Skyline
from render.telling.words import plain

SIZE, SMALL, TINY = 13.0, 12.0, 9.0  # of text, in units
_INDENT = 4.0  # by which words begin before their place, as dynamics do
_LEAST_LETTERS = 8  # of a name that is shortened
_LETTER = 0.75  # of the size of the words: the letter of a reading before them


@dataclass(frozen=True)
class Part:
    """What of a stretch of the page lies in a system: from x to x, and whether it begins and ends there."""

    left: float
    right: float
    begins: bool
    ends: bool


@dataclass(frozen=True)
class WrittenLabel:
    """A label as it is written: which readings say so (their letters; empty where there is one reading, or all do), and
    the numbers of their comments."""

    label: Label
    part: Part
    letters: str
    kind: str  # the class that has its colour
    numbers: str
    entry: str = ""  # its name, where it is one of the first reading's and is to be told apart

    @property
    def words(self) -> str:
        """What is written, with the passes on which it holds; in brackets what goes on from the system before."""
        label = self.label
        if not self.part.begins:
            return self._again()
        if not label.times or not label.text:
            return plain(label.text)
        before = label.kind == "second time"
        return plain(f"{label.times}: {label.text}" if before else f"{label.text} ({label.times})")

    def _again(self) -> str:
        label = self.label
        if label.kind == "second time":
            return f"({label.times})" if label.times else ""
        whole = label.kind in ("tone", "phrase")
        words = plain(label.text) if whole else plain(label.text).partition(" ")[0]
        times = f", {label.times}" if label.times else ""
        return f"({words}{times})" if words else ""


class LabelWriter:
    """Writes labels into a system of this width, each with so much room, at `least`, across and down."""

    def __init__(self, room: float, least: float = 0.0):
        self.room, self._least = room, least

    def _place(self, skyline: Skyline, left: float, right: float, height: float, gap: float = 2.0) -> float:
        """The nearest place that is free, as `Skyline.place` has it."""
        more = max(self._least - (right - left), 0.0) / 2
        return skyline.place(left - more, right + more, max(height, self._least - gap), gap=gap)

    def bracket(self, skyline: Skyline, said: WrittenLabel) -> str:
        """A phrase: a line with hooks, and its name."""
        left = max(said.part.left - 6, 0.0)
        right = max(said.part.right - (9 if said.part.ends else 0), left + 4)
        here = right - left - 8 if said.part.ends else self.room - left - 8
        line = _Line(self, said, SMALL, here, "italic")
        height = 5 + (SMALL if line.taken else 0)
        at = max(min(left + 4, self.room - line.taken), 0.0)
        y = self._place(skyline, min(left, at), max(right, at + line.taken + 4), height, 2.5) - 4
        data = f"M{left:.1f} {y + 4:.1f}v-4" if said.part.begins else f"M{left:.1f} {y:.1f}"
        data += f"H{right:.1f}" + ("v4" if said.part.ends else "")
        return _group(said, f'<path d="{data}"/>{line.at(at, y - 3)}')

    def stretch(self, skyline: Skyline, said: WrittenLabel) -> str:
        """Words with a dashed line as far as they act."""
        line = _Line(self, said, SIZE, self.room, "italic")
        left = max(min(said.part.left - _INDENT, self.room - line.taken), 0.0)
        end, right = left + line.taken, said.part.right
        y = self._place(skyline, left, max(end, right) + 4, SIZE + 1.5, 1) + SIZE - 1.5
        svg = line.at(left, y)
        if right - end > 12:
            hook = "v-4" if said.part.ends else ""
            svg += f'<path class="extent dashed" d="M{end + 4:.1f} {y - 3:.1f}H{right - 3:.1f}{hook}"/>'
        return _group(said, svg)

    def sign(self, skyline: Skyline, said: WrittenLabel) -> str:
        """A sign or a mark at its place, with what is to say of it."""
        if not said.part.begins:
            return ""
        line = _Line(self, said, SMALL, self.room)
        left = max(min(said.part.left - _INDENT, self.room - line.taken), 0.0)
        top = self._place(skyline, left, left + line.taken + 4, SMALL + 1.5, 1.5)
        y = top + SMALL - 1 if skyline.downwards else top - 2
        return _group(said, line.at(left, y)) if line.taken else ""

    def slide(self, skyline: Skyline, said: WrittenLabel) -> str:
        """The name of a slide, and a slanted line under it."""
        if not said.part.begins:
            return ""
        line = _Line(self, said, SIZE, self.room, "italic")
        end = max(said.part.right, said.part.left + 16)
        left = max(min(said.part.left, end - 24) - line.taken - 4, 0.0)
        begin = max(said.part.left, left + line.taken + 4)
        y = self._place(skyline, left, max(end, begin + 14) + 4, SIZE + 1.5, 1) + 1
        low, high = (y + SIZE - 2.5, y + 4) if said.label.rises else (y + 4, y + SIZE - 2.5)
        svg = f'<path class="extent" d="M{begin:.1f} {low:.1f}L{max(end, begin + 14):.1f} {high:.1f}"/>'
        return _group(said, line.at(left, y + SIZE - 2.5) + svg)


class _Line:
    """The words of a label after the letters of the readings, and before the numbers of the comments."""

    def __init__(self, writer: LabelWriter, said: WrittenLabel, size: float, room: float, face: str = "regular"):
        self.size = size
        self.letters, self.numbers = said.letters, said.numbers if said.part.begins else ""
        self._before = width(self.letters, size * _LETTER, "semibold") + 3 if self.letters else 0.0
        after = width(self.numbers, TINY) + 2.5 if self.numbers else 0.0
        self.words = shortened(said.words, min(room, writer.room) - self._before - after, size, face)
        if said.label.kind == "phrase" and len(self.words) < min(len(said.words), _LEAST_LETTERS):
            self.words = ""  # it is said in the next system
        self._own = width(self.words, size, face)
        if not self.words and not self.numbers:
            self._before = 0.0
        self.heard, room = said.label.heard if said.part.begins else "", writer.room - self._before - self._own - after
        more = width(self.heard, TINY + 1) + 7 if self.heard else 0.0
        if more > room:
            self.heard, more = "", 0.0
        self._after = self._before + self._own + after
        self.taken = self._after + more

    def at(self, x: float, y: float) -> str:
        svg = ""
        if self.letters and (self.words or self.numbers):
            svg += text(x, y, self.letters, "letter", self.size * _LETTER)
        if self.words:
            svg += text(x + self._before, y, self.words, "words", self.size)
        if self.numbers:
            svg += text(x + self._before + self._own + 1.5, y - 0.34 * self.size, self.numbers, "comment-number", TINY)
        if self.heard:
            svg += text(x + self._after + 7, y, self.heard, "heard", TINY + 1)
        return svg


def triangle(x: float, y: float, scale: float = 1.0) -> str:
    """The sign of a caution, over the middle of its foot."""
    place = f"translate({x:.1f} {y:.1f}) scale({scale:g})"
    return f'<path transform="{place}" d="M-5.5 0h11l-5.5 -9.5zm5.5 -6.4v3.2m0 1.1v1"/>'


def merged(
    found: Sequence[tuple[int, Label, Part]], letters: Sequence[str], named: bool = False
) -> list[WrittenLabel]:
    """Labels of readings (by their number, with `letters`), what several say alike once; `named`: those of the first
    reading's plan with the names of their entries."""
    alike: dict[tuple, list[tuple[int, Label, Part]]] = {}
    for each in found:
        label = each[1]
        place = (label.start, label.end, label.times, label.depth)
        alike.setdefault((label.kind, label.text, label.heard, *place), []).append(each)
    made = []
    for same in alike.values():
        readings = sorted({reading for reading, *_ in same})
        everyone = len(readings) == len(letters)
        own = "" if everyone else "".join(letters[reading].upper() for reading in readings)
        kind = "shared" if everyone and len(letters) > 1 else f"reading {letters[readings[0]]}"
        said = dict.fromkeys((reading, label.comment) for reading, label, _ in same if label.comment)
        numbers = " ".join(numbered(reading, number, letters) for reading, number in said)
        entry = same[0][1].entry if named and readings[0] == 0 else ""
        made.append(WrittenLabel(same[0][1], same[0][2], own, kind, numbers, entry))
    return made


def numbered(reading: int, number: int, letters: Sequence[str]) -> str:
    """The number of a comment, with the letter of its reading where there are several."""
    return f"{letters[reading].upper() if len(letters) > 1 else ''}{number}"


def _group(said: WrittenLabel, svg: str) -> str:
    kind = "tempo-change" if said.label.kind == "tempo" else said.label.kind.replace(" ", "-")
    named = f' data-entry="{escape(said.entry, quote=True)}"' if said.entry else ""
    return f'<g class="{kind} {said.kind}"{named}>{svg}</g>'
