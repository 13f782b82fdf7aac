"""The repeats as they are written: which bars form a section that is heard again, and which stand under an ending.

Common practice throughout: a repeat sign leads back to the start sign that is still open; without one, to just after
the repeat before, after the D.C. or D.S. before, or to the beginning. The endings that follow one another belong to the
section before them. How often a section is heard follows the MusicXML 4.0 reference (elements repeat and ending):
`times` holds for repeats outside endings; under endings their numbers say it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from timing.remarks import Remark, Severity
from timing.score import Score

_BY_HAND = "or say the order in the plan, as in `order: [1-8, 1-8, 9-16]`"


@dataclass(eq=False)
class Section:
    """Bars that may be heard several times. `times` counts all hearings; without a repeat sign, its endings tell."""

    start: int
    times: int = 1
    closed: bool = False  # it has its repeat sign
    last_plain: int = -1  # its last bar so far that stands under no ending and in no smaller section


@dataclass(eq=False)
class Ending:
    """The bars under one bracket, first to last, and the hearings it is for."""

    first: int
    last: int
    numbers: tuple[range, ...]
    section: Section | None = None
    anchor: int = -1  # the bar of the section that leads into the endings
    leads_back: bool = False  # by a repeat sign, D.C. or D.S.

    def is_for(self, time: int) -> bool:
        return any(time in numbers for numbers in self.numbers)

    @property
    def lowest(self) -> int:
        return min(numbers[0] for numbers in self.numbers)

    @property
    def highest(self) -> int:
        return max(numbers[-1] for numbers in self.numbers)

    @property
    def text(self) -> str:
        spans = (str(r[0]) if r[0] == r[-1] else f"{r[0]}-{r[-1]}" for r in self.numbers)
        return f'"{", ".join(spans)}"'


@dataclass(eq=False)
class _Group:
    """Endings side by side. `open` are those that have not run out, the latest one last."""

    section: Section
    anchor: int
    endings: list[Ending] = field(default_factory=list)
    open: list[Ending] = field(default_factory=list)
    last: int = -1
    highest: int = 0
    repeated: bool = False
    jumps: bool = False


@dataclass
class Repeats:
    """The written structure, by bar row; `remarks` say what is wrong with it."""

    home: list[Section]  # the smallest section round each bar
    under: list[Ending | None]  # the ending over each bar
    starts: dict[int, Section]
    endings: dict[int, Ending]  # by first bar
    back: dict[int, Section]  # where the repeat sign at the end of a bar leads
    remarks: list[Remark]


def read_repeats(score: Score, jumps: set[int]) -> Repeats:
    """Find the sections and endings of a score; `jumps` are the rows of the bars that close with a D.C. or D.S.

    Marks that several parts share count once. Takes time in proportion to the bars and marks.
    """
    return _Scan(score, jumps).run()


def caution(score: Score, row: int, code: str, message: str, mend: str) -> Remark:
    """A caution about the order of the bars; the way round every one of them is the plan's own order."""
    return Remark(Severity.CAUTION, code, message, bar_name=score.bar_name(row), suggestion=f"{mend}, {_BY_HAND}")


def bar_names(score: Score, first: int, last: int) -> str:
    """The bars from row first to row last, as printed: "bar 6" or "bars 3-5"."""
    names = score.bar_name(first), score.bar_name(last)
    return f"bar {names[0]}" if names[0] == names[1] else f"bars {names[0]}-{names[1]}"


def ending_numbers(text: str) -> tuple[range, ...]:
    """The hearings that a bracket is for: "1", "1,2", "1.-3."; empty if it has no number."""
    spans = re.findall(r"(\d+)(?:\W*[-–]\W*(\d+))?", text)
    numbers = (range(int(low), int(high or low) + 1) for low, high in spans)
    return tuple(span for span in numbers if span and span[0] > 0)


class _Scan:
    """One walk from left to right over the written bars."""

    def __init__(self, score: Score, jumps: set[int]):
        self.score, self.jumps, self.count = score, jumps, len(score.bars)
        self.remarks: list[Remark] = []
        self.begins = set(self._marks("repeat start")["bar"].tolist())
        self.ends: dict[int, int] = {}  # row: times heard in all, 0 where the sign does not say
        for row, value in self._marks("repeat end")[["bar", "value"]].tolist():
            times = int(value) if np.isfinite(value) and value >= 1 else 0
            self.ends[row] = max(times, self.ends.get(row, 0))
        self.brackets = self._brackets()
        self.implied = Section(0)  # where a repeat sign leads when no start sign is open
        self.stack: list[Section] = []  # sections whose start sign is still open
        self.groups: list[_Group] = []
        self.loose: list[_Group] = []  # endings without a repeat sign among them
        self.found = Repeats([], [], {0: self.implied}, {}, {}, self.remarks)

    def run(self) -> Repeats:
        for row in range(self.count):
            self._finish_groups(row)
            self._begin(row)
            self._place(row)
            if row in self.ends:
                self._end(row)
            if row in self.jumps:
                self._jump(row)
        self._finish_groups(self.count)
        self._judge_leftovers()
        return self.found

    # -- the marks, once each

    def _marks(self, kind: str) -> np.ndarray:
        marks = self.score.marks_of(kind)
        return marks[(marks["bar"] >= 0) & (marks["bar"] < self.count)]

    def _brackets(self) -> dict[int, Ending]:
        """Endings by first bar: of several parts the first one speaks. One drawn too short runs up to its repeat."""
        found: dict[int, Ending] = {}
        disputed = set()
        for row, end, text in self._marks("ending")[["bar", "end_bar", "text"]].tolist():
            ending = Ending(row, min(max(row, end), self.count - 1), ending_numbers(text))
            if found.setdefault(row, ending).numbers != ending.numbers:
                disputed.add(row)
        for row in sorted(disputed):
            self._caution(row, f"different endings begin at {self._bars(row)}: the first one counts", "keep one")
        found = dict(sorted(found.items()))
        endings = list(found.values())
        covered = -1
        for here, there in pairwise(endings):
            covered = max(covered, here.last)
            gap = range(covered + 1, there.first)
            alone = gap and not self.begins.intersection(gap) and not self.ends.keys() & range(here.first, gap[-1])
            follows = here.numbers and there.numbers and there.lowest == here.highest + 1
            if alone and follows and gap[-1] in self.ends:
                here.last = covered = gap[-1]
        return self._with_first(found)

    def _with_first(self, found: dict[int, Ending]) -> dict[int, Ending]:
        """Where a second ending follows a repeat sign that stands under none, the bar before it is the first one."""
        taken = self.begins.union(*(range(ending.first, ending.last + 1) for ending in found.values()))
        for row, ending in list(found.items()):
            before = row - 1
            if ending.numbers and ending.lowest == 2 and before in self.ends and before not in taken:
                found[before] = Ending(before, before, (range(1, 2),))
                where, first = self._bars(row, ending.last), self._bars(before)
                text = f"ending {ending.text} over {where} has no first one: {first} is taken for it"
                self._caution(before, text, "put the first ending's bracket in")
        return dict(sorted(found.items()))

    # -- the walk

    @property
    def _top(self) -> Section:
        return self.stack[-1] if self.stack else self.implied

    def _begin(self, row: int) -> None:
        ending = self.brackets.get(row)
        starts = row in self.begins
        if ending and starts and not self.groups and not self.stack:
            self._open(row)  # the endings belong to the section that starts with them
            self._group(ending)
            return
        if ending:
            self._group(ending)
        if starts:
            self._open(row)

    def _open(self, row: int) -> None:
        self.stack.append(Section(row))
        self.found.starts[row] = self.stack[-1]

    def _group(self, ending: Ending) -> None:
        """Put an ending beside those before it, or begin a new group."""
        group = self.groups[-1] if self.groups else None
        if group is not None and group.last >= ending.first and self._top is group.section:
            where = self._bars(ending.first)
            self._caution(ending.first, f"two endings overlap at {where}", "let one end before the next begins")
        elif group is None or group.last >= ending.first:
            group = _Group(self._top, self._top.last_plain)
            self.groups.append(group)
        self._add(group, ending)

    def _add(self, group: _Group, ending: Ending) -> None:
        if not ending.numbers:
            ending.numbers = (range(group.highest + 1, group.highest + 2),)
            where = self._bars(ending.first, ending.last)
            self._caution(ending.first, f"the ending over {where} has no number: read as {ending.text}", "number it")
        ending.section, ending.anchor = group.section, group.anchor
        group.endings.append(ending)
        group.open.append(ending)
        group.last = max(group.last, ending.last)
        group.highest = max(group.highest, ending.highest)
        group.section.times = max(group.section.times, ending.highest)
        self.found.endings[ending.first] = ending

    def _place(self, row: int) -> None:
        under = None
        if self.groups:
            still_open = self.groups[-1].open
            while still_open[-1].last < row:
                still_open.pop()
            under = still_open[-1]
        self.found.home.append(self._top)
        self.found.under.append(under)
        if under is None or under.section is not self._top:
            self._top.last_plain = row

    def _end(self, row: int) -> None:
        section = self.found.back[row] = self._top
        under = self.found.under[row]
        if under is None or under.section is not section:
            self._close(section, max(self.ends[row] or 2, section.times), row + 1)
            return
        self.groups[-1].repeated = under.leads_back = True
        if row != under.last:
            text = f"the repeat sign after {self._bars(row)} stands inside ending {under.text} and not at its end"
            self._caution(row, text, "let the bracket end at the repeat sign")

    def _jump(self, row: int) -> None:
        if self.groups:
            self.groups[-1].jumps = self.groups[-1].open[-1].leads_back = True
        elif not self.stack:
            self._renew(row + 1)

    def _close(self, section: Section, times: int, after: int) -> None:
        section.times, section.closed = times, True
        for k in reversed(range(len(self.stack))):
            if self.stack[k] is section:
                del self.stack[k]
                break
        if not self.stack and not self.groups:
            self._renew(after)

    def _renew(self, row: int) -> None:
        self.implied = self.found.starts[row] = Section(row)

    def _finish_groups(self, row: int) -> None:
        while self.groups and not self._goes_on(self.groups[-1], row):
            group = self.groups.pop()
            if group.repeated:
                alone = len(group.endings) == 1  # the second ending is simply the music that follows
                self._close(group.section, max(2, group.highest + alone), row)
            else:
                self.loose.append(group)
                if group.jumps and not self.stack and not self.groups:
                    self._renew(row)
            self._judge(group)

    def _goes_on(self, group: _Group, row: int) -> bool:
        if group.last >= row:
            return True
        ending = self.brackets.get(row)
        if ending is None or group.last != row - 1:
            return False
        follows = bool(ending.numbers) and ending.lowest > group.highest
        return follows or (len(self.groups) == 1 and row not in self.begins)

    # -- what is wrong

    def _judge(self, group: _Group) -> None:
        first, last = group.endings[0].first, group.last
        spans = [span for ending in group.endings for span in ending.numbers]
        count = 0 if group.repeated else spans[0][0] - 1  # in the middle of a section, "2" alone is a bar for that time
        for span in spans:
            if span[0] != count + 1:
                texts = " and ".join(ending.text for ending in group.endings)
                text = f"the endings over {self._bars(first, last)} are numbered {texts}: read literally"
                self._caution(first, text, "number endings 1, 2, 3 in order, each number once")
                break
            count = span[-1]
        for here, there in pairwise(group.endings):
            if (group.repeated or group.jumps) and not here.leads_back:
                where = self._bars(here.first, here.last)
                text = f"ending {here.text} over {where} has no repeat sign, though ending {there.text} follows"
                self._caution(here.last, text, "put the repeat sign at its end")
        for ending in group.endings:
            times = self.ends.get(ending.last, 0)
            if group.repeated and times > group.section.times:
                text = f"the repeat after {self._bars(ending.last)} asks for {times} times, the endings for "
                self._caution(ending.last, f"{text}{group.section.times}: the endings count", "make the two agree")

    def _judge_leftovers(self) -> None:
        for section in self.stack:
            text = f"the repeat that starts at {self._bars(section.start)} has no end: the music is played once"
            self._caution(section.start, text, "put a repeat sign at its end or take the start sign out")
        for group in self.loose:
            if not group.section.closed and not group.jumps:
                where = self._bars(group.endings[0].first, group.last)
                text = f"the endings over {where} belong to no repeat"
                self._caution(group.endings[0].first, text, "put the repeat sign at the end of the first one")

    def _bars(self, first: int, last: int | None = None) -> str:
        return bar_names(self.score, first, first if last is None else last)

    def _caution(self, row: int, message: str, mend: str) -> None:
        self.remarks.append(caution(self.score, row, "repeat-structure", message, mend))
