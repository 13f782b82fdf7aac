"""D.C., D.S., Fine and Coda as they are written, and what is wrong with them."""

from __future__ import annotations

import re
from bisect import bisect
from dataclasses import dataclass, field

import numpy as np

from timing.order.repeats import bar_names, caution
from timing.remarks import Remark
from timing.score import Score

# in the words of a D.C. to them
_DANCES = re.compile(r"\bm\.? ?d\.? ?c\b|\bmen\b|\bmin\b|m[ei]nuett?|scherzo|march")


@dataclass(eq=False)
class Jump:
    """A D.C. or D.S. at the end of a bar. Its words say how far the music is played again."""

    row: int
    name: str  # as people say it
    words: str  # as printed, in small letters
    target: int

    @property
    def to_fine(self) -> bool:
        return "fine" in self.words

    @property
    def to_coda(self) -> bool:
        return any(word in self.words for word in ("coda", "𝄌", "⊕"))

    @property
    def with_repeats(self) -> bool:
        return re.search(r"\b(con|with)\s+(rep|rip)", self.words) is not None


@dataclass(eq=False)
class Exit:
    """A To Coda and the bar of its coda sign."""

    row: int
    coda: int


@dataclass
class Signs:
    """The jumps and signs by bar row. "After" acts when that bar has been played, "before" when it is next."""

    jumps: dict[int, list[Jump]] = field(default_factory=dict)
    fine_after: set[int] = field(default_factory=set)
    fine_before: set[int] = field(default_factory=set)
    exit_after: dict[int, Exit] = field(default_factory=dict)
    exit_before: dict[int, Exit] = field(default_factory=dict)
    remarks: list[Remark] = field(default_factory=list)
    someone_says_fine: bool = False
    someone_says_coda: bool = False

    def stops_at_fine(self, jump: Jump) -> bool:
        """A plain D.C. stops at the Fine, unless another jump of the piece says "al Fine"."""
        return jump.to_fine or not (jump.to_coda or self.someone_says_fine)

    def goes_to_coda(self, jump: Jump) -> bool:
        return jump.to_coda or not (jump.to_fine or self.someone_says_coda)


def read_signs(score: Score) -> Signs:
    """Gather the jumps of a score; a sign that several parts share counts once.

    A Fine or To Coda at the very beginning of a bar is taken for the end of that bar, as most files mean it, unless the
    bar before is closed by a double bar or a repeat sign: then it is the end of that one. A D.C. or D.S. in the bar
    before the closing repeat sign of a section is meant for its end: the words reach back from there. A single D.C.
    without a Fine, from a trio or to a minuet that it names, ends where the trio begins (common practice).
    """
    return _Reading(score).read()


class _Reading:
    def __init__(self, score: Score):
        self.score, self.signs = score, Signs()
        self.jumps: list[Jump] = []
        self.segnos, self.codas = self._rows("segno"), self._rows("coda")
        self.fines, self.exits = self._places("fine"), self._places("to coda")

    def read(self) -> Signs:
        self._read_jumps()
        self._read_exits()
        if not self.fines and not self.exits and not self.codas and (trio := self._trio()):
            self.signs.fine_before.add(trio)
        for row, late in self.fines:
            (self.signs.fine_after if late else self.signs.fine_before).add(row)
        self._judge()
        return self.signs

    def _rows(self, kind: str) -> list[int]:
        rows = set(self.score.marks_of(kind)["bar"].tolist())
        return sorted(row for row in rows if 0 <= row < len(self.score.bars))

    def _places(self, kind: str) -> list[tuple[int, bool]]:
        """(row, whether at its end) of each sign, in order."""
        late_at: dict[int, tuple[int, bool]] = {}  # by bar line: row + 1 for the end of a bar
        closed = set(self.score.marks_of("double bar", "repeat end")["bar"].tolist())
        for row, offset in self.score.marks_of(kind)[["bar", "offset"]].tolist():
            late = offset > 0 or row - 1 not in closed
            if 0 <= row < len(self.score.bars) and (late or row not in late_at):
                late_at[row + late] = row, late
        return [late_at[line] for line in sorted(late_at)]

    def _read_jumps(self) -> None:
        texts: dict[tuple[int, str], str] = {}
        for row, kind, text in self.score.marks_of("da capo", "dal segno")[["bar", "kind", "text"]].tolist():
            if 0 <= row < len(self.score.bars) and text.lower() not in texts.setdefault((row, kind), ""):
                texts[row, kind] += f" {text.lower()}"
        texts = self._at_section_ends(texts)
        before = iter(self.segnos)
        upcoming, latest = next(before, None), None
        for (row, kind), text in sorted(texts.items()):
            while upcoming is not None and upcoming <= row:
                latest, upcoming = upcoming, next(before, None)
            target = 0 if kind == "da capo" else latest if latest is not None else upcoming
            name = f"the {'D.C.' if kind == 'da capo' else 'D.S.'} after {bar_names(self.score, row, row)}"
            if target is None:
                self._caution(row, f"{name} has no segno to go back to: the music plays on", "put the segno in")
                continue
            if target > row:
                self._caution(row, f"{name} stands before its segno and jumps forward", "put the segno before it")
            self.jumps.append(Jump(row, name, text, target))
            self.signs.jumps.setdefault(row, []).append(self.jumps[-1])
        self.signs.someone_says_fine = any(jump.to_fine for jump in self.jumps)
        self.signs.someone_says_coda = any(jump.to_coda for jump in self.jumps)

    def _at_section_ends(self, texts: dict[tuple[int, str], str]) -> dict[tuple[int, str], str]:
        """Words of a return that stand in the bar before the one that closes a section are meant for its end."""
        lines = self.score.marks_of("repeat start", "repeat end", "double bar", "ending", "coda")
        closing = lines[np.isin(lines["kind"], ("repeat end", "double bar", "ending"))]
        closed = set(closing["end_bar"].tolist()) | set(closing["bar"].tolist())
        first = min(lines["bar"][np.isin(lines["kind"], ("repeat start", "repeat end"))].tolist(), default=0)
        kinds: dict[int, set[str]] = {}
        for row, kind in lines[["bar", "kind"]].tolist():
            kinds.setdefault(row, set()).add(kind)
        last = len(self.score.bars) - 1
        made = {}
        for (row, kind), text in texts.items():
            early = first <= row < last and row not in closed and kinds.get(row + 1) == {"repeat end"}
            made[row + early, kind] = text
        return made

    def _read_exits(self) -> None:
        paired = len(self.exits) == len(self.codas)
        for k, (row, late) in enumerate(self.exits):
            where = f"To Coda at {bar_names(self.score, row, row)}"
            if not self.codas:
                self._caution(row, f"{where} finds no coda sign: the music plays on", "put the coda sign in")
                continue
            coda = self.codas[k] if paired else self.codas[min(bisect(self.codas, row), len(self.codas) - 1)]
            if coda <= row:
                self._caution(row, f"{where} comes after its coda sign and jumps back", "put the coda sign after it")
            (self.signs.exit_after if late else self.signs.exit_before)[row] = Exit(row, coda)

    def _trio(self) -> int | None:
        """The bar at which the trio begins, after which a single D.C. goes back to play what comes before it."""
        if len(self.jumps) != 1 or self.jumps[0].name[4:8] != "D.C.":
            return None
        jump = self.jumps[0]
        words = self.score.marks_of("words", "tempo")
        named = [row for row, text in words[["bar", "text"]].tolist() if re.match(r"\W*trio\b", text, re.IGNORECASE)]
        if named:
            return min(named) if 0 < min(named) <= jump.row else None
        ends = sorted(set(self.score.marks_of("repeat end")["bar"].tolist()))
        if not _DANCES.search(jump.words) or len(ends) != 4:  # two sections of each
            return None
        starts = self.score.marks_of("repeat start")["bar"]
        return next((row for row in sorted(starts.tolist()) if ends[1] < row <= ends[2]), None)

    def _judge(self) -> None:
        """What the signs lack, as far as one sees it without playing."""
        end = len(self.score.bars) - 1
        early_fines = [row for row, late in self.fines if row < end or not late]
        if early_fines and not self.jumps:
            where = bar_names(self.score, early_fines[0], early_fines[0])
            text = f"no D.C. or D.S. leads back to the Fine at {where}: the music plays on"
            self._caution(early_fines[0], text, "put the D.C. or D.S. in")
        if self.exits and self.codas and not self.jumps:
            row = self.exits[0][0]
            text = f"no D.C. or D.S. leads back to To Coda at {bar_names(self.score, row, row)}: the music plays on"
            self._caution(row, text, "put the D.C. or D.S. in")
        if self.codas and not self.exits:
            row = self.codas[0]
            text = f"no To Coda leads to the coda sign at {bar_names(self.score, row, row)}"
            self._caution(row, text, "put To Coda at the bar where the music leaves for it")
        if self.segnos and not len(self.score.marks_of("dal segno")):
            row = self.segnos[0]
            text = f"no D.S. goes back to the segno at {bar_names(self.score, row, row)}"
            self._caution(row, text, "put the D.S. in")
        for jump in self.jumps:
            if jump.to_fine and not self.fines:
                self._caution(jump.row, f"{jump.name} says al Fine, but there is no Fine", "put the Fine in")
            if jump.to_coda and not self.exits and not self.codas:
                self._caution(jump.row, f"{jump.name} says al Coda, but there is no coda", "put both signs in")

    def _caution(self, row: int, message: str, mend: str) -> None:
        self.signs.remarks.append(caution(self.score, row, "jump-structure", message, mend))
