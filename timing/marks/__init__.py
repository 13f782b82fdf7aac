"""The score's own marks act where the plan is silent: they become entries of the plan, put before its own.

A mark gives way to the entries of the same section that act in its bars, for its voices, on that pass; a hold, an
accent or a slide to one in the same place. Everything after this sees one plan.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import count
from math import inf, isfinite

import numpy as np

from timing.columns import NEAR
from timing.marks import playback
from timing.marks.left_out import LeftOut
from timing.marks.places import Page, Printed
from timing.marks.slides import slide_marks
from timing.marks.sound import accent_marks, dynamic_marks, note_signs, sweet_ends, tone_marks
from timing.marks.strings import string_marks
from timing.marks.time import Stops, fermatas, hold_marks, slowing_marks, tempo_marks
from timing.marks.tunings import note_tunings
from timing.marks.uses import Book, Fate, MarkUse
from timing.marks.vocabulary import SWELL
from timing.marks.words import NO_MEANING, Meaning, clauses, dynamic
from timing.notes.written import Written
from timing.plan import Plan
from timing.plan.entry import Entry
from timing.remarks import Remark
from timing.score import Ornament, Score
from timing.where import Fault, Where
from timing.where.hearings import Hearings

_SECTIONS = {
    "number": "tempo", "tempo": "tempo", "change": "tempo", "first tempo": "tempo", "same beat": "tempo",
    "pace": "slowing", "return": "slowing", "fermata": "holds", "breath": "holds", "caesura": "holds",
    "swell": "dynamics", "step": "dynamics", "sweet": "dynamics", "tone": "tone", "guitar tone": "tone",
    "sweet tone": "tone", "slide": "glissandi", "pizzicato": "strings", "arco": "strings", "harmonic": "strings",
    "rasgueado": "strings", "plucked": "strings",
}  # fmt: skip
_TEMPI = ("tempo", "change", "first tempo", "same beat")
_WHY_NOT = {
    "character": "it is for the player to feel", "technique": "it says how to play, which is not heard here",
    "figure": "it numbers a finger, a string or a piece", "heading": "it names what is played, and asks for nothing",
}  # fmt: skip


@dataclass(frozen=True, eq=False)
class Marked:
    """A plan with the score's own marks as entries before its own: what acts."""

    plan: Plan
    rows: np.ndarray  # the score's row (NOTE) of each performed note, without the signs that the plan leaves out
    uses: tuple[MarkUse, ...]  # what became of every mark
    remarks: tuple[Remark, ...]


def with_marks(plan: Plan, written: Written, where: Where) -> Marked:
    """Let the marks of the score act where the plan is silent."""
    hearings, played, lines = Hearings(where), written.table, written.lines
    score, page = where.score, Page(where.score, hearings, lines)
    left_out = LeftOut.of(plan, page, hearings)
    book = Book(page)
    found: dict[str, list[Printed]] = {section: [] for section in (*dict.fromkeys(_SECTIONS.values()), "accents")}
    for mark in _read(score, written, page, book):
        left = left_out.of_mark(mark)
        if mark.section in plan.marks.ignore:
            book.note(mark, Fate.IGNORED)
        elif left and len(left) == len(where.hearings(page.bar(mark.at))):
            book.note(mark, Fate.IGNORED, by=next(iter(left.values())))
        else:
            book.leave_out(mark, left)
            found[mark.section].append(mark)
    tones = {mark.text for mark in found["tone"]}  # `naturale` is one, and ends a pizzicato
    found["tone"] = sweet_ends(found["tone"], found["dynamics"], page)
    held = fermatas(found["holds"], page)
    stops = _stops(found, [(start, end) for start, end, _ in held], plan, page)
    made: dict[str, Sequence[Entry]] = {
        "tempo": tempo_marks(found["tempo"], plan, page, book),
        "slowing": slowing_marks(found["slowing"], stops, plan, page, book),
        "holds": hold_marks(found["holds"], held, plan, page, book),
        "tone": tone_marks(found["tone"], plan, written.programs, written.fretted, page, book),
        "glissandi": slide_marks(found["glissandi"], plan, written.programs, page, book),
        "strings": string_marks(
            found["strings"], plan, written.programs, written.fretted, tones, page, book
        ),
    }
    made["dynamics"], louder = dynamic_marks(found["dynamics"], _bar_lines(score, page), plan, page, book)
    made["accents"] = louder + accent_marks(found["accents"], plan, page, book)
    printed = score.notes[played["id"]]
    notes = left_out.of_notes(played, printed, book)
    left_out.tell(printed)
    note_signs(plan, played["id"], np.ascontiguousarray(played["score_onset"]), notes["signs"], lines, page, book)
    _note_ornaments(plan, played["id"], notes, page, book)
    note_tunings(plan, written.fretted, page, book)
    together = {section: (*entries, *getattr(plan, section)) for section, entries in made.items()}
    return Marked(plan.model_copy(update=together), notes, book.uses, tuple(hearings.remarks))


def _note_ornaments(plan: Plan, ids: np.ndarray, played: np.ndarray, page: Page, book: Book) -> None:
    """Write down what became of the ornaments, kind by kind; `timing.notes.ornaments` plays them. `ids` are the score's
    rows of the performed notes, `played` those rows (NOTE) without what the plan leaves out."""
    notes, every = page.score.notes, np.arange(len(page.score.notes))
    heard = np.isin(every, ids)
    kinds = [(kind.name.lower().replace("_", " "), _is_ornament(kind)) for kind in list(Ornament)[1:]]
    kinds += [("tremolo", lambda rows: (rows["tremolo"] > 0) & (rows["turn"] == 0))]
    for text, has in (*kinds, ("tremolo between two notes", lambda rows: rows["turn"] == 1)):
        for rows, fate, why in (
            (np.isin(every, ids[has(played)]), Fate.USED, ""),
            (has(notes) & ~heard, Fate.WITHOUT_EFFECT, "it is not heard in this order of the bars"),
        ):
            if rows.any():
                first = notes[np.argmax(rows)]
                at = page.at(first["bar"], first["offset"])
                mark = Printed("ornaments", text, NO_MEANING, at, at, int(first["part"]), int(first["staff"]))
                fate = Fate.IGNORED if "ornaments" in plan.marks.ignore else fate
                book.note(mark, fate, why * (fate != Fate.IGNORED), count=int(rows.sum()))


def _is_ornament(kind: Ornament) -> Callable[[np.ndarray], np.ndarray]:
    return lambda rows: rows["ornament"] == kind


# -- reading the marks


def _read(score: Score, written: Written, page: Page, book: Book) -> Iterator[Printed]:
    """Every mark that could be an entry, each of its meanings by itself; what is not understood is written down."""
    pedals = score.marks_of("pedal")
    if len(pedals):
        first = pedals[0]
        mark = _printed("holds", "pedal", Meaning("pedal"), first, page)
        book.note(mark, Fate.WITHOUT_EFFECT, "pedal lines are not played", count=len(pedals))
    kinds = ("dynamic", "hairpin", "tempo", "words", "fermata", "breath", "caesura", "glissando")
    number, rows = count(), score.marks_of(*kinds)
    senses = [_senses(row, written.fretted, page) for row in rows]
    silent = playback.unheard(rows, senses, page)
    for place, (row, said) in enumerate(zip(rows, senses, strict=True)):
        if place in silent:
            mark = _printed("tempo", f"tempo {row['value']:g}", Meaning("number"), row, page, next(number))
            book.note(mark, Fate.WITHOUT_EFFECT, silent[place])
        for text, meaning in said if place in silent else _numbered(row, said):
            section = _section(meaning) if meaning else ""
            mark = _printed(section, text, meaning, row, page, next(number))
            if meaning is None:
                book.note(mark, Fate.NOT_UNDERSTOOD)
            elif not section:
                book.note(mark, Fate.WITHOUT_EFFECT, _WHY_NOT[meaning.kind])
            elif mark.at >= page.length - NEAR and section != "holds":
                book.note(mark, Fate.WITHOUT_EFFECT, "nothing follows it")
            else:
                yield mark


def _printed(
    section: str, text: str, meaning: Meaning | None, row: np.void, page: Page, number: float = inf
) -> Printed:
    at, end = page.at(row["bar"], row["offset"]), page.at(row["end_bar"], row["end_offset"])
    places = (at, max(at, end), int(row["part"]), int(row["staff"]), int(row["note"]), int(row["goal"]))
    return Printed(section, text, meaning or NO_MEANING, *places, number, bool(row["hidden"]))


def _section(meaning: Meaning) -> str:
    if meaning.kind == "dynamic":
        does = dynamic(meaning.word)
        return "dynamics" if does is not None and does[0] is not None else "accents"
    return _SECTIONS.get(meaning.kind, "")


def _senses(row: np.void, fretted: np.ndarray, page: Page) -> list[tuple[str, Meaning | None]]:
    """(as people know it, what it means; None if it is not understood) of everything that a mark says."""
    kind, text = str(row["kind"]), str(row["text"])
    if kind == "hairpin":
        word = "crescendo" if row["value"] > 0 else "diminuendo"
        return [(word, Meaning("swell", word, inf if text == "niente" else SWELL[0]))]
    if kind == "glissando":
        return [(text or "slide", Meaning("slide"))]
    if kind in ("fermata", "breath", "caesura"):
        # over a bar line a fermata is a silence
        on_line = (
            kind == "fermata" and row["note"] < 0 and row["offset"] >= page.score.bars["length"][row["bar"]] - NEAR
        )
        return [(kind, Meaning("caesura" if on_line else kind))]
    if kind == "dynamic" and dynamic(text) is not None:
        return [(text, Meaning("dynamic", text))]
    found: list[tuple[str, Meaning | None]] = []
    for clause, meanings in clauses(text):
        known = [m for m in _chosen(meanings, bool(fretted[row["part"]])) if m.kind != "dynamic" or dynamic(m.word)]
        found += [(clause, meaning) for meaning in known] or [(clause, None)]
    return found


def _chosen(meanings: tuple[Meaning, ...], guitar: bool) -> list[Meaning]:
    """Of words with several senses those that count: some are a tone on the guitar alone; beside something to do a
    character is not told of."""
    kept = [m for m in meanings if guitar or m.kind not in ("guitar tone", "sweet tone")]
    if meanings and not kept:
        return [Meaning("technique")]
    return [m for m in kept if m.kind not in _WHY_NOT] or kept[:1]


def _numbered(row: np.void, found: list[tuple[str, Meaning | None]]) -> list[tuple[str, Meaning | None]]:
    """With the metronome number, which says more exactly what tempo words do. Under a `rit.` it is no new tempo."""
    value = float(row["value"])
    slows = any(meaning and meaning.kind == "pace" for _, meaning in found)
    if row["kind"] != "tempo" or not (isfinite(value) and value > 0) or slows:
        return found
    told = [clause for clause, meaning in found if meaning and meaning.kind in _TEMPI]
    others = [(clause, meaning) for clause, meaning in found if not meaning or meaning.kind not in _TEMPI]
    name = f"tempo {value:g}" + ", not printed" * bool(row["hidden"])
    return [(told[0] if told else name, Meaning("number", value=value)), *others]


# -- where what has no end of its own ends


def _bar_lines(score: Score, page: Page) -> list[float]:
    """The places of double bars and repeat signs, sorted."""
    rows = score.marks_of("double bar", "repeat end", "repeat start", "fine")
    return np.unique([page.at(row["bar"], row["offset"]) for row in rows]).tolist()


def _stops(found: dict[str, list[Printed]], holds: list[tuple[float, float]], plan: Plan, page: Page) -> Stops:
    """The places at which a slowdown without dashes ends; `holds` are the (start, end) of the fermatas."""
    answers = [mark.at for mark in found["slowing"] if mark.meaning.kind == "return"]
    answers += [mark.at for mark in found["tempo"]]
    lines, phrases = _bar_lines(page.score, page), list(plan.phrases)
    while phrases:
        phrase = phrases.pop()
        phrases += phrase.inside
        try:
            lines.append(page.at(*page.where.range_end(phrase.bars)))
        except Fault:
            continue  # it is told where phrases are read
    return Stops(np.unique([*answers, page.length]).tolist(), np.unique(lines).tolist(), holds)
