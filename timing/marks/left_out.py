"""Single marks of the score that a plan leaves out: `marks: {ignore: [{at: 12:3, mark: fermata}]}`.

What stands over the staff is taken out before it becomes an entry; what stands on notes is taken from the performed
notes, hearing by hearing. Either is written down in the book of marks, and a place without such a mark is told.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from timing.marks.places import Page, Printed
from timing.marks.uses import Book, Fate
from timing.marks.words import NO_MEANING, plain
from timing.plan import MarkLeftOut, Plan
from timing.plan.position import Position, Range
from timing.remarks import Severity
from timing.score import Ornament, Sign
from timing.where import Fault, Where
from timing.where.hearings import Hearings

_NEAR = 1e-3  # quarters from a place that is named to a moment

_SIGNS = {
    "staccato": Sign.STACCATO, "staccatissimo": Sign.STACCATISSIMO, "tenuto": Sign.TENUTO, "accent": Sign.ACCENT,
    "strong accent": Sign.STRONG_ACCENT, "slur": Sign.SLURRED | Sign.SLUR_END, "let ring": Sign.LET_RING,
    "harmonic": Sign.HARMONIC, "pizzicato": Sign.PIZZICATO, "ligado": Sign.LEFT_HAND,
}  # fmt: skip
_COLUMNS = {"arpeggio": ("roll", 0), "string": ("string", 0), "fret": ("fret", -1), "finger": ("finger", -1)}
_ORNAMENTS = {kind.name.lower().replace("_", " "): kind for kind in list(Ornament)[1:]}
SECTIONS = {
    "accents": ("accent", "strong accent"), "ornaments": (*_ORNAMENTS, "tremolo"),
    "articulation": ("staccato", "staccatissimo", "tenuto"),
    "strings": ("string", "fret", "finger", "let ring", "harmonic", "pizzicato", "ligado"),
}  # fmt: skip  # of what stands on notes, by the section of a plan


@dataclass
class _Asked:
    """An entry, where it holds on the page (from and to), and whether it has met anything."""

    entry: MarkLeftOut
    start: float
    end: float
    met: bool = False

    def holds(self, at: np.ndarray | float) -> np.ndarray | bool:
        return (at > self.start - _NEAR) & (at < self.end - _NEAR)


@dataclass
class LeftOut:
    """The marks that a plan leaves out; `score` is the score's own table of notes."""

    page: Page
    hearings: Hearings
    asked: list[_Asked]
    seen: list[tuple[float, str]] = field(default_factory=list)  # what stands over the staff, and where

    @classmethod
    def of(cls, plan: Plan, page: Page, hearings: Hearings) -> LeftOut:
        """Faulty places become remarks."""
        found = []
        for entry in plan.marks.ignore:
            if isinstance(entry, MarkLeftOut):
                key = "at" if entry.at is not None else "bars"
                try:
                    found.append(_Asked(entry, *_span(entry, page, hearings.where)))
                except Fault as fault:
                    hearings.remark(Severity.ERROR, "plan-position", str(fault), entry.place(key))
        return cls(page, hearings, found)

    def of_mark(self, mark: Printed) -> dict[int, MarkLeftOut]:
        """The performed bars in which a mark over the staff is left out, each with the entry that says so."""
        self.seen.append((mark.at, mark.text))
        mine = [asked for asked in self.asked if asked.holds(mark.at) and _is_called(mark, asked.entry.mark)]
        return self._hearings(self.page.bar(mark.at), mine)

    def _hearings(self, row: int, mine: list[_Asked]) -> dict[int, MarkLeftOut]:
        made = {}
        for asked in mine:
            for bar in self.hearings.where.hearings(row).tolist():
                if self.hearings.where.on_pass(asked.entry.passes)[bar]:
                    made[bar] = asked.entry
                    asked.met = True
        return made

    def of_notes(self, played: np.ndarray, notes: np.ndarray, book: Book) -> np.ndarray:
        """`notes` (NOTE, of the performed notes `played`) without the signs that are left out there."""
        if not self.asked:
            return notes
        notes, written = notes.copy(), notes
        places = self.page.starts[written["bar"]] + written["offset"]
        for asked in self.asked:
            heard = asked.holds(places) & self.hearings.where.on_pass(asked.entry.passes)[played["ordinal"]]
            for name in _names(asked.entry.mark):
                rows = heard & _has(written, name)
                rows = self._whole_slurs(asked, rows, played, places) if name == "slur" else rows
                if rows.any():
                    asked.met = True
                    _take(notes, rows, name)
                    self._note(book, asked.entry, name, written, played["id"], rows)
        return notes

    def _whole_slurs(self, asked: _Asked, rows: np.ndarray, played: np.ndarray, places: np.ndarray) -> np.ndarray:
        """The notes under the slurs that begin where an entry holds."""
        made = rows & False
        heard = self.hearings.where.on_pass(asked.entry.passes)[played["ordinal"]]
        notes = self.page.score.notes
        for slur in self.page.score.marks_of("slur"):
            start, end = (self.page.at(slur[b], slur[o]) for b, o in (("bar", "offset"), ("end_bar", "end_offset")))
            if asked.holds(start):
                first = notes[slur["note"]]
                voice = (played["part"] == first["part"]) & (played["voice"] == first["voice"])
                made |= heard & voice & (places >= start - _NEAR) & (places <= end + _NEAR)
        return made

    def _note(
        self, book: Book, entry: MarkLeftOut, name: str, notes: np.ndarray, ids: np.ndarray, rows: np.ndarray
    ) -> None:
        first = notes[np.argmax(rows)]
        at = self.page.at(first["bar"], first["offset"])
        section = next((section for section, names in SECTIONS.items() if name in names), "articulation")
        mark = Printed(section, name, NO_MEANING, at, at, int(first["part"]), int(first["staff"]))
        passes = () if entry.passes is None else _passes(self.hearings.where, entry)
        book.note(mark, Fate.IGNORED, by=entry, passes=passes, count=len(np.unique(ids[rows])))

    def tell(self, notes: np.ndarray) -> None:
        """Remark on what met no mark, with what marks do stand there; `notes` are the played rows (NOTE)."""
        for asked in self.asked:
            if asked.met:
                continue
            places = self.page.starts[notes["bar"]] + notes["offset"]
            here = notes[asked.holds(places)]
            there = [text for at, text in self.seen if asked.holds(at)]
            there += [name for name in (*_SIGNS, *_COLUMNS, *_ORNAMENTS, "tremolo") if _has(here, name).any()]
            entry = asked.entry
            what = ", ".join(f"'{text}'" for text in list(dict.fromkeys(there))[:12]) or "no mark at all"
            where = entry.at if entry.at is not None else entry.bars
            on = f" on pass {entry.passes}" if entry.passes is not None else ""
            message = f"no '{entry.mark}' stands at {where}{on}, so nothing is left out; there stands {what}"
            self.hearings.remark(Severity.CAUTION, "no-such-mark", message, entry.place("mark"))


def _span(entry: MarkLeftOut, page: Page, where: Where) -> tuple[float, float]:
    there: Position | Range = entry.where
    if isinstance(there, Range):
        begin, end = where.both_ends(there)
        return page.at(*begin), page.at(*end)
    start = page.at(*where.point(there))
    return start, start + 2 * _NEAR if there.instant else page.at(*where.end_point(there))


def _is_called(mark: Printed, name: str) -> bool:
    """Whether a mark over the staff goes by this name: what is printed, what it is, or its section of a plan."""
    kind = mark.meaning.kind
    also = {"swell": "hairpin", "slide": "glissando", "dynamic": "dynamics"}.get(kind, "")
    return plain(name) in [plain(each) for each in (mark.text, mark.section, kind, also) if each]


def _names(name: str) -> tuple[str, ...]:
    """The signs on notes that a name means."""
    if name in SECTIONS:
        return SECTIONS[name]
    return (name,) if name in _SIGNS or name in _COLUMNS or name in _ORNAMENTS or name == "tremolo" else ()


def _has(notes: np.ndarray, name: str) -> np.ndarray:
    if name in _SIGNS:
        return (notes["signs"] & int(_SIGNS[name])) != 0
    if name in _COLUMNS:
        column, none = _COLUMNS[name]
        return notes[column] != none
    return notes["tremolo"] > 0 if name == "tremolo" else notes["ornament"] == _ORNAMENTS[name]


def _take(notes: np.ndarray, rows: np.ndarray, name: str) -> None:
    if name in _SIGNS:
        notes["signs"][rows] &= ~np.uint32(_SIGNS[name])
    elif name in _COLUMNS:
        column, none = _COLUMNS[name]
        notes[column][rows] = none
    else:
        for column in ("tremolo", "turn") if name == "tremolo" else ("ornament",):
            notes[column][rows] = 0


def _passes(where: Where, entry: MarkLeftOut) -> tuple[int, ...]:
    return tuple(np.unique(where.bars["pass"][where.on_pass(entry.passes)]).tolist())
