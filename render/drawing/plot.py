"""One system with all that a reading, or several, lays over it: the drawing that the sheet and the page share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from render.drawing.drawn import Drawn
from render.drawing.engraving import Engraving, System
from render.drawing.labels import Comment, tempo_text, times_text
from render.drawing.lettering import text, width, wrapped
from render.drawing.lines import Line, level_y, lines_of, pace_y, path, thinned
from render.drawing.skyline import Skyline
from render.drawing.style import LETTERS
from render.drawing.writing import SIZE, SMALL, TINY, LabelWriter, Part, WrittenLabel, merged, numbered, triangle
from timing.columns import NEAR
from timing.where.naming import BarPlace

_GAP = 6.0  # units between what lies above one another
_LINE = 1.25  # of text, from line to line
_GUTTER, _HANGING = 28.0, 24.0  # between columns of comments; by which their texts are moved in at least
_TWO_COLUMNS = 560.0  # as wide as a system is at least for them
_OVER, _UNDER_PACE = ("hold", "tempo", "note"), ("slowing", "rubato")
_UNDER = ("dynamic", "hairpin", "tone", "slide", "second time")


@dataclass(frozen=True)
class Plotted:
    """A system as it is drawn. `svg` is markup for inside an <svg> of this width and height, in the units of Engraving;
    x are those of the system, y are within `height`."""

    svg: str
    width: float
    height: float
    staff_top: float  # the uppermost staff line
    staff_bottom: float  # the lowest
    pace_top: float
    pace: float  # the line of the basic tempo
    pace_bottom: float
    level_top: float
    level: float  # the axis of the swell
    level_bottom: float
    over: str  # of `svg`, what lies over the music
    under: str  # and what lies under it
    moved: float  # by how much the system itself is moved down between them


def plot_system(
    system: System, engraving: Engraving, drawn: Sequence[Drawn], number: int, *, comments: bool = True,
    named: bool = False, steep: float = 1.0, roomy: float = 0.0,
) -> Plotted:  # fmt: skip
    """Draw `system`, which is number `number` of an engraving, with up to four readings of its score.

    `comments`: with the texts of `why:` notes and cautions under it; their numbers stand at their places in any case.
    `named`: what is written of an entry of the first reading's plan is in a group with its name (`Label.entry`) as
    `data-entry`. `steep`: how many times as high as on a sheet the pace is drawn. `roomy`: the least room that each
    label has, across and down.
    All colours and weights are classes (see `style`): `reading a` to `reading d` is whatever belongs to one reading,
    `shared` what all say. A `path.curve` has in `data-over` "x,y" over each moment with a note, in units of its strip.
    """
    return _Plot(system, engraving, number, drawn, named, steep, roomy).made(comments)


class _Strip:
    """A part of the drawing around a line at y = 0."""

    def __init__(self, width: float):
        self.svg: list[str] = []
        self.above, self.below = Skyline(width, upwards=True), Skyline(width)


class _Plot:
    def __init__(self, system: System, engraving: Engraving, number: int, drawn: Sequence[Drawn], named: bool,
                 steep: float, roomy: float):  # fmt: skip
        self.system, self.engraving, self.number, self.drawn = system, engraving, number, drawn
        self.steep = steep
        self.letters = LETTERS[: len(drawn)]
        self.rows = system.bars["bar"]
        self.begins = float(system.moments["x"][0]) if len(system.moments) else float(system.bars["left"][0]) + 12
        self.ends = float(system.bars["right"][-1])
        self.write = LabelWriter(system.width, roomy)
        found = [
            (reading, label, part)
            for reading, each in enumerate(drawn)
            for label in each.labels_in(int(self.rows[0]), int(self.rows[-1]))
            if not (label.printed and engraving.engraved) and (part := self.part(label.start, label.end))
        ]
        self.said = merged(found, self.letters, named)
        if sum(bool(each.labels) for each in drawn) == 1:  # then it needs no letter to say whose they are
            self.said = [replace(each, letters="") for each in self.said]
        self.lines = [lines_of(d.pace, d.pace_like, d.bars, d.neighbours, system, engraving) for d in drawn]

    def made(self, comments: bool) -> Plotted:
        phrases, pace, level = self.phrases(), self.pace(), self.level()
        y = 2 - phrases.above.most
        over = _moved(y, phrases.svg)
        pace_top = y + _GAP * bool(phrases.svg)
        reference = pace_top - pace.above.most
        over += _moved(reference, pace.svg, "strip")
        pace_bottom = reference + pace.below.most
        staff = pace_bottom + _GAP - self.system.top
        score = f'<g class="score" transform="translate(0 {staff:.2f})">{self.system.svg}</g>'
        level_top = staff + self.system.bottom + _GAP
        axis = level_top - level.above.most
        under = _moved(axis, level.svg, "strip")
        level_bottom = bottom = axis + level.below.most
        if comments:
            svg, height = self.comments()
            under += _moved(bottom + _GAP, svg)
            bottom += height + _GAP * bool(svg)
        many = " many" if len(self.drawn) > 1 else ""
        return Plotted(
            f'<g class="plot{many}">{over}{score}{under}</g>', self.system.width, bottom + 3,
            staff + self.system.staff_top, staff + self.system.staff_bottom,
            pace_top, reference, pace_bottom, level_top, axis, level_bottom, over, under, staff,
        )  # fmt: skip

    # -- where

    def x(self, place: BarPlace) -> float:
        """The x of a place in this system."""
        return float(self.engraving.place(np.array([place[0]]), np.array([place[1]]))[1][0])

    def part(self, start: BarPlace, end: BarPlace) -> Part | None:
        """What of a stretch of the page lies in this system."""
        first, last = int(self.rows[0]), int(self.rows[-1])
        if end[0] < first or start[0] > last or (end[0] == first > start[0] and end[1] <= 0):
            return None
        begins, ends = start[0] >= first, end[0] <= last
        left = self.x(start) if begins else self.begins
        return Part(left, max(self.x(end) if ends else self.ends, left), begins, ends)

    def of(self, *kinds: str) -> list[WrittenLabel]:
        """What is said of these kinds, kind by kind."""
        return [said for kind in kinds for said in self.said if said.label.kind == kind]

    # -- phrases

    def phrases(self) -> _Strip:
        strip = _Strip(self.system.width)
        for said in sorted(self.of("phrase"), key=lambda each: -each.label.depth):
            strip.svg.append(self.write.bracket(strip.above, said))
        return strip

    # -- pace

    def pace(self) -> _Strip:
        strip = _Strip(self.system.width)
        strip.svg.append(f'<path class="reference" d="M{self.begins:.1f} 0H{self.ends:.1f}"/>')
        strip.above.add(self.begins, self.ends, -2)
        strip.below.add(self.begins, self.ends, 2)
        for reading, lines in enumerate(self.lines):
            svg = [self._pace_line(strip, line) for line in lines]
            strip.svg.append(self._of(reading, "pace", svg + self._letter(strip, reading)))
        for reading in range(len(self.drawn)):
            strip.svg.append(self._of(reading, "labels", self._tempo(strip, reading) + self._times(strip, reading)))
        strip.svg += [self.write.stretch(strip.below, said) for said in self.of(*_UNDER_PACE)]
        strip.svg += [self.write.sign(strip.above, said) for said in self.of(*_OVER)]
        for reading in range(len(self.drawn)):
            svg = [self._caution(strip.above, reading, each) for each in self._comments(reading) if each.caution]
            strip.svg.append(self._of(reading, "labels", svg))
        return strip

    def _pace_line(self, strip: _Strip, line: Line) -> str:
        x, y = line.x, self.steep * pace_y(line.value)
        strip.above.add_curve(x, np.minimum(y, 0) - 1)
        strip.below.add_curve(x, np.maximum(y, 0) + 1)
        noted = np.isin(np.round(x, 6), np.round(self.system.moments["x"], 6))
        needed = thinned(x, y, noted)
        data = path(x[needed], y[needed])
        ribbon = f'<path class="ribbon" d="{data}V0H{x[0]:.1f}Z"/>' if line.first else ""
        over = " ".join(f"{a:.2f},{b:.2f}" for a, b in zip(x[noted].tolist(), y[noted].tolist(), strict=True))
        return ribbon + (
            f'<path class="curve {line.kind}" data-pass="{line.pass_}" data-over="{over}" d="{data}"/>'
        )

    def _letter(self, strip: _Strip, reading: int) -> list[str]:
        """The reading's letter where its curve begins."""
        if len(self.drawn) < 2 or not self.lines[reading]:
            return []
        line = self.lines[reading][0]
        x = float(line.x[0]) - 8 - 11 * (len(self.drawn) - 1 - reading)
        y = self.steep * float(pace_y(line.value[:1])[0])
        strip.above.add(x - 9, x, y - 6)
        return [text(x, y + 4, self.letters[reading].upper(), "letter", SIZE, "end")]

    def _tempo(self, strip: _Strip, reading: int) -> list[str]:
        """The basic tempo at the beginning of the system, where no sign says it."""
        heard = self.rows[np.isin(self.rows, self.drawn[reading].bars["row"])]
        if not len(heard):
            return []
        row = int(heard[0])
        tempi = [each.tempo[each.bars["row"] == row][:1].tolist() for each in self.drawn[: reading + 1]]
        mine = ("shared", f"reading {self.letters[reading]}")
        first = [said.label for said in self.of("tempo") if said.kind in mine and said.label.start <= (row, NEAR)]
        told = any(label.text and label.start[0] == row for label in first)
        if told or tempi[-1] in tempi[:-1]:
            return []
        words = tempo_text(*tempi[-1][0])
        y = strip.above.place(0, width(words, SMALL) + 8, SMALL + 1, least=4)
        return [text(0, y - 1, words, "tempo", SMALL)]

    def _times(self, strip: _Strip, reading: int) -> list[str]:
        """Which time it is, where a curve other than the first begins."""
        drawn, made = self.drawn[reading], []
        for line in self.lines[reading]:
            if not line.first:
                words = times_text(drawn.bars["pass"][drawn.pace_like == line.ordinals[0]])
                taken = width(words, TINY + 1, "italic")
                x = min(float(line.x[0]), self.system.width - taken)
                y = strip.above.place(x, x + taken + 3, TINY + 1)
                made.append(text(x, y - 1, words, "times", TINY + 1))
        return made

    def _caution(self, skyline: Skyline, reading: int, comment: Comment) -> str:
        """A triangle with its number."""
        number = numbered(reading, comment.number, self.letters)
        x = max(min(self.x(comment.start), self.system.width - 10 - width(number, TINY)), 6.0)
        y = skyline.place(x - 6, x + 9 + width(number, TINY), 11)
        return f'<g class="caution">{triangle(x, y)}{text(x + 7, y - 3, number, "comment-number", TINY)}</g>'

    # -- level, and what else lies under the staff

    def level(self) -> _Strip:
        strip = _Strip(self.system.width)
        for reading, d in enumerate(self.drawn):
            lines = lines_of(d.level, d.level_like, d.bars, d.neighbours, self.system, self.engraving)
            strip.svg.append(self._of(reading, "level", [self._swell(strip, line) for line in lines]))
        ways = {"dynamic": self.write.sign, "slide": self.write.slide}
        for said in self.of(*_UNDER):
            if said.label.kind == "second time" and not (said.part.begins or said.part.ends):
                continue  # said where it begins, and where it is over
            strip.svg.append(ways.get(said.label.kind, self.write.stretch)(strip.below, said))
        return strip

    @staticmethod
    def _swell(strip: _Strip, line: Line) -> str:
        x, y = line.x, level_y(line.value)
        needed = thinned(x, y, np.zeros(len(x), bool))
        x, y = x[needed], y[needed]
        strip.above.add_curve(x, -y - 1)
        strip.below.add_curve(x, y + 1)
        upper, lower = path(x, -y), path(x[::-1], y[::-1])
        if not line.first:
            return f'<path class="edge {line.kind}" d="{upper}"/>'
        return f'<path class="swell" d="{upper}L{lower[1:]}Z"/><path class="edge" d="{upper}{path(x, y)}"/>'

    # -- comments

    def _comments(self, reading: int) -> tuple[Comment, ...]:
        return self.drawn[reading].comments_in(int(self.rows[0]), int(self.rows[-1]))

    def comments(self) -> tuple[list[str], float]:
        """The texts of the comments, in columns, and their height."""
        columns = 2 if self.system.width > _TWO_COLUMNS else 1
        room = (self.system.width - _GUTTER * (columns - 1)) / columns
        found, hanging = self._gathered(room)
        step = SMALL * _LINE
        total = sum(len(lines) for *_, lines in found)
        svg, column, row, tallest = [], 0, 0, 0
        for kind, number, caution, lines in found:
            if row and column < columns - 1 and row + len(lines) / 2 > total / columns:
                column, row = column + 1, 0
            x, y = column * (room + _GUTTER), (row + 1) * step
            made = [text(x, y - 3, number, "comment-number", TINY)]
            if caution:
                made.append(f'<g class="caution">{triangle(x + hanging - 9, y, 0.75)}</g>')
            style = "caution-text" if caution else "comment-text"
            made += [text(x + hanging, y + k * step, line, style, SMALL) for k, line in enumerate(lines)]
            svg.append(f'<g class="comments {kind}">{"".join(made)}</g>')
            row += len(lines)
            tallest = max(tallest, row)
        return svg, tallest * step

    def _gathered(self, room: float) -> tuple[list[tuple[str, str, bool, list[str]]], float]:
        """(class, numbers, whether a caution, lines) of the comments here, what several readings say alike once; and by
        how much their lines are moved in."""
        alike: dict[tuple, list[tuple[int, int]]] = {}
        for reading in range(len(self.drawn)):
            for each in self._comments(reading):
                alike.setdefault((each.text, each.caution, each.start), []).append((reading, each.number))
        numbers = [" ".join(numbered(reading, n, self.letters) for reading, n in by) for by in alike.values()]
        hanging = max([_HANGING, *(width(number, TINY) + 6 for number in numbers)])
        made = []
        for ((said, caution, _), by), number in zip(alike.items(), numbers, strict=True):
            kind = f"reading {self.letters[by[0][0]]}" if len(by) < max(len(self.drawn), 2) else "shared"
            lines = wrapped(said, room - hanging, SMALL, "semibold" if caution else "regular")
            made.append((kind, number, caution, lines))
        return made, hanging

    def _of(self, reading: int, what: str, svg: list[str]) -> str:
        return f'<g class="reading {self.letters[reading]} {what}">{"".join(svg)}</g>' if any(svg) else ""


def _moved(y: float, svg: list[str], kind: str = "") -> str:
    named = f' class="{kind}"' if kind else ""
    return f'<g{named} transform="translate(0 {y:.2f})">{"".join(svg)}</g>' if any(svg) else ""
