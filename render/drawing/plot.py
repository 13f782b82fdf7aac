"""One system with everything that a reading, or several, lays over it: the drawing that the sheet and the page share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from render.drawing.drawn import Drawn
from render.drawing.engraving import Engraving, System
from render.drawing.labels import Comment, Label, Place, tempo_text, times_text
from render.drawing.lettering import plain, shortened, text, width, wrapped
from render.drawing.lines import Line, level_y, lines_of, pace_y, path, thinned
from render.drawing.skyline import Skyline
from render.drawing.style import LETTERS

SIZE, SMALL, TINY = 12.5, 11.5, 8.5  # of text, in units
_GAP = 6.0  # between what lies above one another
_LINE = 1.25  # of text, from line to line
_ABOVE = ("hold",)
_BELOW = ("slowing", "rubato")
_UNDER = ("dynamic", "hairpin", "tone", "slide", "second time")


@dataclass(frozen=True)
class Plotted:
    """A system as it is drawn. `svg` is markup for inside an <svg> of this width and height; all y are in it, as x of
    the system are."""

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


def plot_system(
    system: System, engraving: Engraving, drawn: Sequence[Drawn], number: int, *, comments: bool = True
) -> Plotted:
    """Draw system `number` of an engraving (`system`, that is) with these readings, up to four. `comments`: with the
    texts of the `why:` notes and cautions under it (their numbers stand at their places in any case)."""
    plot = _Plot(system, engraving, number, list(drawn))
    return plot.made(comments)


@dataclass
class _Strip:
    """A part of the drawing around a line at y = 0."""

    width: float
    svg: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.above, self.below = Skyline(self.width, upwards=True), Skyline(self.width)


class _Plot:
    def __init__(self, system: System, engraving: Engraving, number: int, drawn: list[Drawn]):
        self.system, self.engraving, self.number, self.drawn = system, engraving, number, drawn
        self.rows = system.bars["bar"]
        self.begins = float(system.moments["x"][0]) if len(system.moments) else 0.0
        self.labels = [[label for label in each.labels if self.part(label.start, label.end)] for each in drawn]

    def made(self, comments: bool) -> Plotted:
        phrases, pace, level = self.phrases(), self.pace(), self.level()
        parts, y = [], 2.0
        y -= phrases.above.most
        parts.append(_moved(0, y, phrases.svg))
        top = y + (_GAP if phrases.svg else 0)
        y = top - pace.above.most
        parts.append(_moved(0, y, pace.svg))
        reference, bottom = y, y + pace.below.most
        y = bottom + _GAP - self.system.top
        parts.append(f'<g class="score" transform="translate(0 {y:.1f})">{self.system.svg}</g>')
        staff = y
        y += self.system.bottom + _GAP
        level_top = y
        y -= level.above.most
        parts.append(_moved(0, y, level.svg))
        axis, y = y, y + level.below.most
        level_bottom = y
        if comments:
            svg, height = self.comments()
            parts.append(_moved(0, y + _GAP, svg))
            y += height + (_GAP if svg else 0)
        many = " many" if len(self.drawn) > 1 else ""
        svg = f'<g class="plot{many}">{"".join(parts)}</g>'
        return Plotted(
            svg, self.system.width, y + 2, staff + self.system.staff_top, staff + self.system.staff_bottom,
            top, reference, bottom, level_top, axis, level_bottom,
        )  # fmt: skip

    # -- where

    def x(self, place: Place) -> float:
        """The x of a place in this system; of one outside of it nan."""
        system, x = self.engraving.place(np.array([place[0]]), np.array([place[1]]))
        return float(x[0]) if system[0] == self.number else float("nan")

    def part(self, start: Place, end: Place) -> tuple[float, float, bool, bool] | None:
        """From and to which x a stretch of the page lies in this system, and whether it begins and ends here."""
        first, last = int(self.rows[0]), int(self.rows[-1])
        length = float(self.engraving.lengths[last])
        if end[0] < first or start[0] > last or (end[0] == first and end[1] <= 0 and start[0] < first):
            return None
        begun, over = start[0] >= first, end[0] <= last
        left = self.x(start) if begun else self.begins
        right = self.x(end) if over else self.x((last, length))
        return left, max(right, left), begun, over

    # -- phrases

    def phrases(self) -> _Strip:
        strip = _Strip(self.system.width)
        seen: dict[tuple, None] = {}
        found = []
        for reading, labels in enumerate(self.labels):
            for label in labels:
                key = (label.start, label.end, label.depth, label.text, label.times)
                if label.kind == "phrase" and (key not in seen or label.comment):
                    found.append((label, reading, key in seen))
                    seen[key] = None
        shared = {key for key in seen if all(self._has(each, key) for each in self.drawn)}
        for label, reading, _ in sorted(found, key=lambda each: (-each[0].depth, each[1])):
            key = (label.start, label.end, label.depth, label.text, label.times)
            kind = "phrase" if key in shared else f"phrase reading {LETTERS[reading % 4]}"
            self._bracket(strip, label, kind)
        return strip

    @staticmethod
    def _has(drawn: Drawn, key: tuple) -> bool:
        return any((each.start, each.end, each.depth, each.text, each.times) == key for each in drawn.labels)

    def _bracket(self, strip: _Strip, label: Label, kind: str) -> None:
        left, right, begun, over = self.part(label.start, label.end)
        left, right = left - 5, max(right - 9, left + 4)
        name = f"{plain(label.text)} ({label.times})" if label.times else plain(label.text)
        if not begun and name:
            name = f"({name})"
        name = shortened(name, max(right - left, 40), SMALL, "italic")
        taken = width(name, SMALL, "italic") if name else 0.0
        y = strip.above.place(left, max(right, left + taken + 12), 5 + (SMALL if name else 0), gap=2.5) - 4
        data = f"M{left:.1f} {y + 4:.1f}v-4" if begun else f"M{left:.1f} {y:.1f}"
        data += f"H{right:.1f}" + ("v4" if over else "")
        svg = f'<path d="{data}"/>'
        if name:
            svg += text(left + 4, y - 3, name, "name", SMALL)
        if label.comment and begun:
            svg += self._number(left + 5 + taken, y - 6, label.comment)
        strip.svg.append(f'<g class="{kind}">{svg}</g>')

    @staticmethod
    def _number(x: float, y: float, number: int) -> str:
        return text(x, y, str(number), "comment-number", TINY)

    # -- pace

    def pace(self) -> _Strip:
        strip = _Strip(self.system.width)
        right = float(self.system.bars["right"][-1])
        strip.svg.append(f'<path class="reference" d="M{self.begins:.1f} 0H{right:.1f}"/>')
        strip.above.add(self.begins, right, -2)
        strip.below.add(self.begins, right, 2)
        for reading, each in enumerate(self.drawn):
            lines = self._lines(each.pace, each.pace_like, each)
            svg = [self._pace_line(strip, line) for line in lines]
            strip.svg.append(self._of(reading, svg, "pace"))
        for reading, each in enumerate(self.drawn):
            svg = self._letter(strip, reading, each) + [self._tempo(strip, reading, each)]
            svg += self._times(strip, each)
            for label in self.labels[reading]:
                if label.kind in _BELOW:
                    svg.append(self._stretch(strip.below, label))
                elif label.kind in ("hold", "tempo", "note"):
                    svg.append(self._sign(strip.above, label))
            svg += [self._caution(strip.above, comment) for comment in self._here(each) if comment.caution]
            strip.svg.append(self._of(reading, svg, "labels"))
        return strip

    def _lines(self, points: np.ndarray, like: np.ndarray, drawn: Drawn) -> list[Line]:
        return lines_of(points, like, drawn.bars, drawn.neighbours, self.system, self.engraving)

    def _pace_line(self, strip: _Strip, line: Line) -> str:
        x, y = line.x, pace_y(line.value)
        strip.above.add_curve(x, np.minimum(y, 0) - 1)
        strip.below.add_curve(x, np.maximum(y, 0) + 1)
        at_note = np.isin(np.round(x, 3), np.round(self.system.moments["x"], 3))
        needed = thinned(x, y, at_note)
        made = ""
        if line.first:
            made += f'<path class="ribbon" d="{path(x[needed], y[needed])}V0H{x[0]:.1f}Z"/>'
        over = " ".join(f"{a:.2f},{b:.2f}" for a, b in zip(x[at_note], y[at_note], strict=True))
        return made + (
            f'<path class="curve {line.kind}" data-pass="{line.pass_}" data-over="{over}" '
            f'd="{path(x[needed], y[needed])}"/>'
        )

    def _letter(self, strip: _Strip, reading: int, drawn: Drawn) -> list[str]:
        """The reading's letter where its curve begins."""
        lines = self._lines(drawn.pace, drawn.pace_like, drawn)
        if len(self.drawn) < 2 or not lines:
            return []
        x = float(lines[0].x[0]) - 9 - 10 * (len(self.drawn) - 1 - reading)
        y = float(pace_y(lines[0].value[:1])[0])
        return [text(x, y + 4, LETTERS[reading % 4].upper(), "letter", SIZE, "end")]

    def _tempo(self, strip: _Strip, reading: int, drawn: Drawn) -> str:
        """The basic tempo at the beginning of the system, where no other sign says it."""
        heard = np.flatnonzero(drawn.bars["row"] == self.rows[0])
        first = (int(self.rows[0]), 1e-6)
        if not len(heard) or any(each.kind == "tempo" and each.start <= first <= each.end and each.text
                                 and each.start[0] == first[0] for each in self.labels[reading]):  # fmt: skip
            return ""
        words = tempo_text(*drawn.tempo[heard[0]])
        others = [each.tempo[np.flatnonzero(each.bars["row"] == self.rows[0])[:1]] for each in self.drawn[:reading]]
        if any(len(other) and np.allclose(other[0], drawn.tempo[heard[0]]) for other in others):
            return ""
        y = strip.above.place(0, width(words, SMALL) + 8, SMALL + 1, least=4)
        return text(0, y - 1, words, "tempo", SMALL)

    def _times(self, strip: _Strip, drawn: Drawn) -> list[str]:
        """Which time it is, where a curve other than the first begins."""
        made = []
        for line in self._lines(drawn.pace, drawn.pace_like, drawn):
            like = np.isin(drawn.pace_like, line.ordinals[:1])
            if not line.first:
                words = times_text(drawn.bars["pass"][like])
                x = float(line.x[0])
                y = strip.above.place(x, x + width(words, TINY + 1, "italic"), TINY + 1)
                made.append(text(x, y - 1, words, "times", TINY + 1))
        return made

    # -- what stands at a place or over a stretch

    @staticmethod
    def _said(label: Label) -> str:
        """What is written, with the passes on which it holds."""
        if not label.times or not label.text:
            return plain(label.text)
        before = label.kind == "second time"
        return plain(f"{label.times}: {label.text}" if before else f"{label.text} ({label.times})")

    @staticmethod
    def _again(label: Label) -> str:
        """What is written where a stretch goes on from the system before."""
        if label.kind == "second time":
            return f"({label.times})" if label.times else ""
        return f"({plain(label.text)})" if label.kind == "tone" else f"({plain(label.text).partition(' ')[0]})"

    def _stretch(self, skyline: Skyline, label: Label) -> str:
        """Words with a dashed line as far as they act."""
        left, right, begun, over = self.part(label.start, label.end)
        words = self._said(label) if begun else self._again(label)
        number = label.comment if begun else 0
        more = 2 + 4.5 * len(str(number)) if number else 0.0
        words = shortened(words, self.system.width - more, SIZE, "italic")
        taken = width(words, SIZE, "italic")
        left = min(left - 4, self.system.width - taken - more)
        ends = left + taken + more
        y = skyline.place(left, max(ends, right) + 3, SIZE, gap=1) + SIZE - 2.5
        svg = text(left, y, words, "words", SIZE)
        if number:
            svg += self._number(left + taken + 1.5, y - 4, number)
        if right - ends > 10:
            hook = "v-4" if over else ""
            svg += f'<path class="extent dashed" d="M{ends + 3:.1f} {y - 3:.1f}H{right - 2:.1f}{hook}"/>'
        return f'<g class="{label.kind.replace(" ", "-")}">{svg}</g>'

    def _sign(self, skyline: Skyline, label: Label) -> str:
        """A sign over its place, with what is to say of it."""
        left, _, begun, _ = self.part(label.start, label.end)
        if not begun:
            return ""
        words = self._said(label)
        taken = width(words, SMALL)
        number = 4.5 * len(str(label.comment)) + 1 if label.comment else 0.0
        left = max(min(left - 4, self.system.width - taken - number), 0.0)
        y = skyline.place(left, left + taken + number + 3, SMALL + 1)
        svg = text(left, y - 1, words, "words", SMALL) if words else ""
        if label.comment:
            svg += self._number(left + taken + 1, y - 4, label.comment)
        kind = "tempo-change" if label.kind == "tempo" else label.kind
        return f'<g class="{kind}">{svg}</g>' if svg else ""

    def _caution(self, skyline: Skyline, comment: Comment) -> str:
        """A triangle with its number."""
        x = max(self.x(comment.start), 6.0)
        number = 4.5 * len(str(comment.number)) + 2
        y = skyline.place(x - 6, x + 7 + number, 11)
        return f'<g class="caution">{_triangle(x, y)}{self._number(x + 7, y - 3, comment.number)}</g>'

    # -- level and what lies under the staff

    def level(self) -> _Strip:
        strip = _Strip(self.system.width)
        for reading, each in enumerate(self.drawn):
            svg = [self._swell(strip, line) for line in self._lines(each.level, each.level_like, each)]
            strip.svg.append(self._of(reading, svg, "level"))
        write = {"dynamic": self._dynamic, "slide": self._slide}
        for reading in range(len(self.drawn)):
            svg = []
            for kind in _UNDER:
                for label in self.labels[reading]:
                    if label.kind == kind and not (label.printed and self.engraving.engraved):
                        svg.append(write[kind](strip.below, label) if kind in write else self._stretch(strip.below, label))
            strip.svg.append(self._of(reading, svg, "labels"))
        return strip

    def _swell(self, strip: _Strip, line: Line) -> str:
        x, y = line.x, level_y(line.value)
        needed = thinned(x, y, np.zeros(len(x), bool))
        x, y = x[needed], y[needed]
        strip.above.add_curve(x, -y - 1)
        strip.below.add_curve(x, y + 1)
        upper, lower = path(x, -y), path(x[::-1], y[::-1])
        if not line.first:
            return f'<path class="edge {line.kind}" d="{upper}"/>'
        return f'<path class="swell" d="{upper}L{lower[1:]}Z"/><path class="edge" d="{upper}{path(x, y)}"/>'

    def _slide(self, skyline: Skyline, label: Label) -> str:
        """A slanted line under the slide, and its name."""
        left, right, begun, over = self.part(label.start, label.end)
        right = max(right, left + 14)
        words = self._said(label)
        taken = width(words, SIZE, "italic")
        number = 4.5 * len(str(label.comment)) + 2 if label.comment else 0.0
        at = max(left - taken - number - 5, 0.0)
        left = max(left, at + taken + number + 4)
        y = skyline.place(at, right + 3, SIZE, gap=1)
        low, high = y + SIZE - 3, y + 3
        rise = (low, high) if label.rises else (high, low)
        svg = text(at, y + SIZE - 2.5, words, "words", SIZE)
        svg += f'<path class="extent" d="M{left:.1f} {rise[0]:.1f}L{max(right, left + 14):.1f} {rise[1]:.1f}"/>'
        if label.comment:
            svg += self._number(at + taken + 1.5, y + SIZE - 6.5, label.comment)
        return f'<g class="slide">{svg}</g>' if begun else ""

    def _dynamic(self, skyline: Skyline, label: Label) -> str:
        left, _, begun, _ = self.part(label.start, label.end)
        words = self._said(label)
        taken = width(words, SIZE)
        number = 4.5 * len(str(label.comment)) + 1 if label.comment else 0.0
        y = skyline.place(left - 4, left + taken + number, SIZE, gap=1) + SIZE - 2
        svg = text(left - 4, y, words, "words", SIZE)
        if label.comment:
            svg += self._number(left - 3 + taken, y - 4, label.comment)
        return f'<g class="dynamic">{svg}</g>' if begun else ""

    # -- comments

    def _here(self, drawn: Drawn) -> list[Comment]:
        return [each for each in drawn.comments if self.rows[0] <= each.start[0] <= self.rows[-1]]

    def comments(self) -> tuple[list[str], float]:
        """The texts of the comments, in columns, and their height."""
        columns = 2 if self.system.width > 560 else 1
        gutter = 24.0
        room = (self.system.width - gutter * (columns - 1)) / columns
        found = []
        for reading, each in enumerate(self.drawn):
            letter = LETTERS[reading % 4].upper() if len(self.drawn) > 1 else ""
            for comment in self._here(each):
                lines = wrapped(comment.text, room - 20, SMALL, "semibold" if comment.caution else "regular")
                found.append((reading, f"{letter}{comment.number}", comment.caution, lines))
        step = SMALL * _LINE
        total = sum(len(lines) for *_, lines in found)
        svg, column, line, tallest = [], 0, 0, 0
        for reading, number, caution, lines in found:
            if line and column < columns - 1 and (line + len(lines) / 2) > total / columns:
                column, line = column + 1, 0
            x = column * (room + gutter)
            kind = "caution-text" if caution else "comment-text"
            at = (line + 1) * step
            rows = [text(x, at - 3, number, "comment-number", TINY)]
            if caution:
                rows.append(f'<g class="caution">{_triangle(x + 11, at - 1, 0.75)}</g>')
            rows += [text(x + 20, (line + 1 + k) * step, words, kind, SMALL) for k, words in enumerate(lines)]
            svg.append(self._of(reading, rows, "comments"))
            line += len(lines)
            tallest = max(tallest, line)
        return svg, tallest * step

    @staticmethod
    def _of(reading: int, svg: list[str], what: str) -> str:
        return f'<g class="reading {LETTERS[reading % 4]} {what}">{"".join(svg)}</g>'


def _triangle(x: float, y: float, scale: float = 1.0) -> str:
    """The sign of a caution, over the middle of its foot."""
    return (
        f'<path transform="translate({x:.1f} {y:.1f}) scale({scale:g})" d="M-5.5 0h11l-5.5 -9.5zm5.5 -6.4v3.2m0 1.1v1"/>'
    )


def _moved(x: float, y: float, svg: list[str]) -> str:
    return f'<g transform="translate({x:.1f} {y:.1f})">{"".join(svg)}</g>'
