"""Kern as music21 should be given it, and what it does not carry over from it.

A staff of kern is a column of the text (a spine) that splits where the staff has more voices, and is joined again.
music21 joins two spines at a time, takes whatever is joined for the halves of one split, and loses what is split again:
here joins are brought to that form, and all halves are put where they belong.

It reads some closing repeat signs as opening ones too, loses others where the staff is split at the bar line, and knows
nothing of sections: repeats are read from the text. Where the text lists the order of its sections (`*>[A,A1,A,A2,B]`,
and `*>A` where each begins), that list says what is repeated, which endings there are, and what comes da capo; the
repeat signs are then only what the page shows of it.

Source: The Humdrum Toolkit (D. Huron), reference manual, on spine paths, **kern bar lines, and strophes and sections.
"""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from itertools import pairwise
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from music21.humdrum import spineParser
    from music21.stream import Score

_PATHS = {"*^", "*v", "*x", "*-", "*+"}
_MOST_JOINED = 16  # spines of one staff; no staff has more voices
_END = re.compile(r"(\*-\t)*\*-")  # of a piece
_LIST = re.compile(r"^\*>\[([^\]\t\n]*)\]", re.MULTILINE)  # of sections, in their order
MOST_SPLITS = 64  # within each other, in one staff

Spine = tuple[int, ...]  # the column in which it began, then which half of each split it is


class SplitError(Exception):
    """More than MOST_SPLITS splits within each other, at this line of the text."""

    def __init__(self, line: int):
        super().__init__(line)
        self.line = line


def first_piece(text: str) -> tuple[str, int]:
    """The text of the first piece in a file, and how many it holds: each has its spines begun anew."""
    lines = text.splitlines(keepends=True)
    begins = [number for number, line in enumerate(lines) if line.startswith("**")]
    if len(begins) < 2:
        return text, 1
    ends = (n for n in range(*begins[:2]) if _END.fullmatch(lines[n].rstrip()))
    return "".join(lines[: next(ends, begins[1] - 1) + 1]), len(begins)


def parse(text: str) -> Score:
    """The music21 score of a text that is prepared."""
    from music21.humdrum import spineParser
    from music21.stream import Score

    class Spines(spineParser.SpineCollection):
        def performInsertions(self) -> None:  # noqa: N802 (music21's name)
            _name_voices(self.spines)
            for spine in reversed(self.spines):  # a spine comes before what it is split into
                if spine.childSpines:
                    _put_in_halves(self, spine)

    class Data(spineParser.HumdrumDataCollection):
        def createHumdrumSpines(self, *given: Any) -> spineParser.SpineCollection:  # noqa: N802
            spines = super().createHumdrumSpines(*given)
            spines.__class__ = Spines
            return spines

    data = Data(text)
    data.parse()
    assert isinstance(data.stream, Score)  # an Opus stands for several pieces
    return data.stream


def _name_voices(spines: list[Any]) -> None:
    """Give what halves are split into a voice of its own; music21 gives the halves of the staff theirs."""
    paths: dict[int, tuple[bool, ...]] = {}  # whether it is the second half, from the staff down
    for spine in spines:
        if spine.parentSpine is not None:
            path = paths[id(spine)] = (*paths.get(id(spine.parentSpine), ()), not spine.isFirstVoice)
            if len(path) > 1:
                voice = 1 + sum(second << depth for depth, second in enumerate(path[:3]))  # music21 has nine
                for element in spine.stream:
                    element.groups.append(f"voice{voice}")


def _put_in_halves(spines: Any, spine: Any) -> None:
    """Put the halves of each split of a spine where they belong in it; music21 leaves out halves of halves, and takes
    one split that follows another at once for a later one."""
    numbers, points = spines.humdrumLineNumbers, sorted(spine.childSpineInsertPoints)
    made = spine.stream.__class__()
    for element in spine.stream:
        number = numbers.get(element)
        while points and number is not None and points[0] < number:
            spines.performSpineInsertion(spine, made, points.pop(0))
        made.coreAppend(element)
        if number is not None and spine.parentSpine is None:
            del numbers[element]  # as music21 does: by what is left it places comments
    for point in points:
        spines.performSpineInsertion(spine, made, point)
    made.coreElementsChanged()
    spine.stream = made


# -- spines


def prepare(text: str) -> str:
    """The same music with spines joined two at a time, the halves of the latest split first, and with closing repeat
    signs that music21 does not take for opening ones as well (it would add a bar after the last of them).

    Where spines are joined that are no halves of one split, while the staff has more of them, all are joined and split
    anew. SplitError where what is split is split again without end: music21 copies the music of each half into what
    it is a half of.
    """
    made: list[str] = []
    spines: list[Spine] = []
    for number, line in enumerate(text.splitlines(), start=1):
        fields = line.rstrip().split("\t")
        if line.startswith("**"):
            spines = [(column,) for column in range(len(fields))]
        elif len(fields) == len(spines) and not _PATHS.isdisjoint(fields):
            lines, spines = _step(fields, spines)
            if any(len(spine) - 1 > MOST_SPLITS for spine in spines):
                raise SplitError(number)
            made += lines
            continue
        made.append(re.sub(r"(^|\t)(=+):", r"\1\2 :", line) if line.startswith("=") else line)
    return "\n".join(made) + "\n"


def _step(fields: list[str], spines: list[Spine]) -> tuple[list[str], list[Spine]]:
    """The lines for one line of spine paths, and the spines after it."""
    lines: list[str] = []
    fields, spines = list(fields), list(spines)
    anew = []  # staves in which all is joined and split again, and how many of their spines become one
    for first, last in reversed(_joins(fields, spines)):
        if last - first > _MOST_JOINED:
            continue
        while last - first > 2 and (pair := _halves(spines, first, last)) is not None:
            lines.append(_at(len(fields), pair, "*v", "*v"))
            spines[pair : pair + 2] = [spines[pair][:-1]]
            del fields[pair]
            last -= 1
        columns = [column for column, spine in enumerate(spines) if spine[0] == spines[first][0]]
        in_one_piece = columns == list(range(columns[0], columns[-1] + 1)) and len(columns) <= _MOST_JOINED
        if _halves(spines, first, last) is None and in_one_piece and _of_one_staff(spines, first, last):
            anew.append((spines[first][0], last - first))
            fields[first:last] = ["*"] * (last - first)
    lines.append("\t".join(fields))
    spines = _after(fields, spines)
    for staff, joined in anew:
        more, spines = _anew(spines, staff, joined)
        lines += more
    return [line for line in lines if line.strip("*\t")], spines


def _joins(fields: list[str], spines: list[Spine]) -> list[tuple[int, int]]:
    """The columns (first, last excluded) of each join: neighbours of one staff; of several where one has no more."""
    found, start = [], None
    for column in range(len(fields) + 1):
        inside = column < len(fields) and fields[column] == "*v"
        if start is not None and (not inside or (spines[column][0] != spines[start][0] and column - start > 1)):
            found.append((start, column))
            start = None
        if inside and start is None:
            start = column
    return found


def _of_one_staff(spines: list[Spine], first: int, last: int) -> bool:
    return last - first > 1 and all(spine[0] == spines[first][0] for spine in spines[first:last])


def _halves(spines: list[Spine], first: int, last: int) -> int | None:
    """The column of the first of two neighbours that are the halves of one split, the latest one."""
    pairs = [
        column
        for column in range(first, last - 1)
        if len(spines[column]) > 1 and spines[column][:-1] == spines[column + 1][:-1]
    ]
    return max(pairs, key=lambda column: len(spines[column]), default=None)


def _after(fields: list[str], spines: list[Spine]) -> list[Spine]:
    """The spines after a line that joins two at a time."""
    made: list[Spine] = []
    waiting: Spine | None = None
    exchanged: int | None = None
    for field, spine in zip(fields, spines, strict=True):
        if field == "*^":
            made += [(*spine, 0), (*spine, 1)]
        elif field == "*v" and waiting is None:
            waiting = spine
        elif field == "*v":
            made.append(spine[:-1] or waiting[:-1] or spine if waiting else spine)
            waiting = None
        elif field == "*x" and exchanged is None:
            exchanged = len(made)
            made.append(spine)
        elif field == "*x" and exchanged is not None:
            made.append(made[exchanged])
            made[exchanged] = spine
            exchanged = None
        elif field == "*+":
            made += [spine, spine]
        elif field != "*-":
            made.append(spine)
    return made


def _anew(spines: list[Spine], staff: int, joined: int) -> tuple[list[str], list[Spine]]:
    """Join a whole staff, and split it into as many spines as it has when `joined` of them are one."""
    lines, spines = [], list(spines)
    columns = [column for column, spine in enumerate(spines) if spine[0] == staff]
    first, last = columns[0], columns[-1] + 1
    wanted = last - first - joined + 1
    while last - first > 1:
        pair = _halves(spines, first, last)
        pair = last - 2 if pair is None else pair
        lines.append(_at(len(spines), pair, "*v", "*v"))
        spines[pair : pair + 2] = [spines[pair][:-1]]
        last -= 1
    spines[first] = (staff,)
    for column in range(first, first + wanted - 1):
        lines.append(_at(len(spines), column, "*^"))
        spines[column : column + 1] = [(*spines[column], 0), (*spines[column], 1)]
    return lines, spines


def _at(width: int, column: int, *fields: str) -> str:
    return "\t".join(["*"] * column + list(fields) + ["*"] * (width - column - len(fields)))


# -- repeats and sections: (kind, bar, last bar, value, text), as in MARK


def read_signs(text: str, opened: list[int]) -> list[tuple[str, int, int, float, str]]:
    """Repeat signs, endings, jumps and double bars. `opened` are the lines, from 1, at which the bars begin (0: with
    the text itself)."""
    if any(there <= here for here, there in pairwise(opened)):
        return []  # the bars are not the text's own
    sections = _sections(text, opened)
    made = []
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.startswith("="):
            continue
        sign, after = line.split("\t", 1)[0], bisect_left(opened, number)
        ends, starts = re.search(r":[|!]", sign), re.search(r"[|!]:", sign)
        if sections is None and ends and after:
            made.append(("repeat end", after - 1, after - 1, 2.0, ""))
        if sections is None and starts and after < len(opened):
            made.append(("repeat start", after, after, float("nan"), ""))
        if not ends and re.search(r"==|[|!]{2}", sign) and after:
            made.append(("double bar", after - 1, after - 1, float("nan"), ""))
    return made + (sections or [])


def _sections(text: str, opened: list[int]) -> list[tuple[str, int, int, float, str]] | None:
    """What the text's own list of its sections says, as signs; None without one, or where no signs say the same."""
    listed = _LIST.search(text)
    if not listed or not (begins := _labels(text, opened)):
        return None
    order = [name.strip() for name in listed[1].split(",")]
    places, firsts = {name: place for place, name in enumerate(begins)}, list(begins.values())
    if firsts[0] != 0 or any(there <= here for here, there in pairwise(firsts)) or not set(order) <= begins.keys():
        return None
    lasts = [*(first - 1 for first in firsts[1:]), len(opened) - 1]
    return _as_signs([places[name] for name in order], firsts, lasts)


def _labels(text: str, opened: list[int]) -> dict[str, int] | None:
    """The bar at which each section begins; None if one begins within a bar or has no music, or two have one name."""
    found: dict[str, int] = {}
    waiting = None  # a section whose music is still to come
    fresh = True  # no music since the bar line
    begins_bar = True  # the section that waits does
    for number, line in enumerate(text.splitlines(), start=1):
        if line.startswith("="):
            fresh = begins_bar = True
        elif label := re.match(r"\*>([^\[\]\t]+)(\t|$)", line):
            if waiting is not None or label[1] in found:
                return None
            waiting, begins_bar = label[1], fresh
        elif line and line[0] not in "*!":
            if waiting is not None:
                if not begins_bar:
                    return None
                found[waiting] = bisect_right(opened, number) - 1
            fresh, waiting = False, None
    return found if waiting is None else None


def _as_signs(order: list[int], firsts: list[int], lasts: list[int]) -> list[tuple[str, int, int, float, str]] | None:
    """The signs that make players take the sections in this order: each one time after time, or with an ending for each
    time, and at last once more from an earlier one on, without repeats."""
    nan, made = float("nan"), []
    at = section = 0
    while at < len(order) and order[at] == section:
        times = 1
        while order[at + times : at + times + 1] == [section]:
            times += 1
        endings = 0
        while order[at + 2 * endings : at + 2 * endings + 2] == [section, section + endings + 1]:
            endings += 1
        if times > 1 or endings > 1:
            made.append(("repeat start", firsts[section], firsts[section], nan, ""))
        if times > 1:
            made.append(("repeat end", lasts[section], lasts[section], float(times), ""))
            at, section = at + times, section + 1
        elif endings > 1:
            for number in range(1, endings + 1):
                first, last = firsts[section + number], lasts[section + number]
                made.append(("ending", first, last, nan, str(number)))
                if number < endings:
                    made.append(("repeat end", last, last, 2.0, ""))
            at, section = at + 2 * endings, section + endings + 1
        else:
            at, section = at + 1, section + 1
    if section < len(firsts):
        return None
    again = order[at:]
    if not again:
        return made
    if again != list(range(again[0], again[-1] + 1)):
        return None
    if again[0]:
        made.append(("segno", firsts[again[0]], firsts[again[0]], nan, ""))
    if again[-1] < len(firsts) - 1:
        made.append(("fine", lasts[again[-1]], lasts[again[-1]], nan, ""))
    made.append(("dal segno" if again[0] else "da capo", lasts[-1], lasts[-1], nan, ""))
    return made
