"""The marks of a score: dynamics, hairpins, tempo, words, slurs, fermatas, repeats and jumps, in rows of MARK.

A mark of the whole score (tempo, repeats, endings, jumps, double bars) that every part repeats is one row. A mark that
stands on all staves of a part, or between them, has staff 0. Jumps are known by their signs, by their words ("D.C. al
Fine", "To Coda") and by the attributes of MusicXML's <sound>.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from math import inf, isfinite, nan
from typing import TYPE_CHECKING, Any

import numpy as np

from timing.reader.guard import legible
from timing.reader.kern import read_signs
from timing.reader.keys import read_signatures
from timing.reader.musicxml import FileFacts
from timing.reader.notes import spanners
from timing.reader.walk import Head, Parsed, layers, of_class, walk_bars
from timing.score import MARK

if TYPE_CHECKING:
    from music21.stream import Measure

_OF_THE_SCORE = (
    "repeat start", "repeat end", "segno", "coda", "to coda", "fine", "da capo", "dal segno", "double bar",
)  # fmt: skip

APART = 1e-5  # quarters between places that are two; nothing in music is as short
_AT_THE_BEGINNING = ("repeat start", "ending", "segno")

_JUMPS = [
    ("da capo", r"\bd\s*\.?\s*c\b\.?(?!\w)|\bda\s+capo\b"),
    ("dal segno", r"\bd\s*\.?\s*s\b\.?(?!\w)|\bdal\s+segno\b"),
    ("to coda", r"^\W*(?:to|alla|al)\s+(?:the\s+)?coda\b|^\W*to\s*[⊕𝄌]"),
    ("coda", r"^\W*coda\W*$|^[⊕𝄌]$"),
    ("segno", r"^\W*segno\W*$|^𝄋$"),
    ("fine", r"^\W*(?:fine|fin)\W*$"),
]

# Words that set or change the tempo (common practice), by their beginnings.
_TEMPO_WORDS = re.compile(
    r"\b(?:grav(?:e|issimo)|larg|lent|adag|andant|moderat|allegr|vivac|viv[oe]\b|prest|tempo|rit(?:\.|\b|ard|enut)|rall"
    r"|allarg|slarg|accel|string|affrett|calando|morendo|smorz|pi[uù] (?:mosso|lento|vivo)|meno mosso|più|stretto"
    r"|doppio|a piacere|ad lib|rubato|animat|animando|langsam|schnell|mäßig|massig|bewegt|lebhaft|ruhig|etwas|sehr"
    r"|lentement|vite|vif|modéré|modere|slow|fast|quick|swing|walking)",
    re.IGNORECASE,
)


@dataclass
class _Mark:
    kind: str
    part: int
    staff: int
    bar: int
    offset: float  # inf: the end of the bar
    end_bar: int
    end_offset: float
    note: int = -1
    goal: int = -1
    value: float = nan
    text: str = ""
    ratio: float = nan  # of a tempo to the one before it
    printed: bool = True

    @property
    def hidden(self) -> bool:
        return not self.printed


def jump_kind(text: str) -> str | None:
    """Which jump some words on the page mean, if any."""
    for kind, pattern in _JUMPS:
        if re.search(pattern, text.strip(), re.IGNORECASE):
            return kind
    return None


def read_marks(
    parsed: Parsed, heads: list[Head], notes: np.ndarray, table: np.ndarray, slurs: list[tuple[int, int]]
) -> np.ndarray:
    """MARK rows, sorted by place; offsets that are infinite mean the end of the bar (see `settle`)."""
    marks: list[_Mark] = []
    numbers = {}
    for part, staff, bar, measure in walk_bars(parsed):
        numbers[id(measure)] = bar
        if parsed.kind not in ("musicxml", "kern"):
            marks += _bar_lines(part, bar, measure)
        for _, layer, start in layers(measure):
            found = (_element(e, part, staff, bar, float(layer.elementOffset(e) + start)) for e in layer.elements)
            marks += [mark for mark in found if mark]
    marks += _on_notes(parsed, heads, table)
    marks += [
        _Mark("slur", int(notes[a]["part"]), int(notes[a]["staff"]), int(notes[a]["bar"]), float(notes[a]["offset"]),
              int(notes[b]["bar"]), float(notes[b]["offset"]), note=a, goal=b)
        for a, b in slurs
    ]  # fmt: skip
    marks += [_here("key", part, 0, bar, at, value=fifths) for part, bar, at, fifths in read_signatures(parsed, heads)]
    if parsed.kind == "kern":
        marks += _from_kern(parsed)
    if parsed.facts:
        marks += _from_facts(parsed.facts, heads, notes, table)
    else:
        marks += _endings(parsed, numbers) + _wedges(parsed, heads)
    last = max(numbers.values(), default=0)
    marks = [mark for mark in marks if mark.kind != "double bar" or mark.bar < last]
    return _rows(_tempi(_once(_jumps(marks))))


def settle(marks: np.ndarray, bars: np.ndarray, written: np.ndarray) -> np.ndarray:
    """Put the ends of bars into the offsets that wait for them, and every mark into the bar in which it stands; sorted.

    An <offset> can carry a mark over a bar line, but not out of the music. `written` is how far each bar is written, in
    quarters: what stands there beyond the end of the bar is heard when that is over. What says where the order of the
    bars turns stays in its bar, wherever in it that is said.
    """
    starts = np.append(0.0, np.cumsum(bars["length"]))
    stay = np.isin(marks["kind"], (*_OF_THE_SCORE, "ending"))
    for offset, bar in (("offset", "bar"), ("end_offset", "end_bar")):
        rows, lasts = marks[bar], bars["length"][marks[bar]]
        beyond = marks[offset] - np.maximum(lasts, written[rows])
        carried = np.where(marks[offset] < 0, starts[rows] + marks[offset], starts[rows + 1] + beyond)
        moved = ((marks[offset] < 0) | (beyond > 0)) & np.isfinite(marks[offset]) & ~stay
        marks[offset] = np.clip(marks[offset], 0, lasts)
        at = np.clip(carried[moved], 0, starts[-1])
        marks[bar][moved] = np.clip(np.searchsorted(starts, at, side="right") - 1, 0, len(bars) - 1)
        marks[offset][moved] = at - starts[marks[bar][moved]]
    _put_together(marks, starts)
    return marks[np.lexsort([marks["staff"], marks["part"], marks["offset"], marks["bar"]])]


def _put_together(marks: np.ndarray, starts: np.ndarray) -> None:
    """Bring what lies nearer together than any music to one place: to the bar line, where that is as near."""
    ends = (("offset", "bar"), ("end_offset", "end_bar"))
    places = np.concatenate([starts, *(starts[marks[bar]] + marks[offset] for offset, bar in ends)])
    order = np.argsort(places, kind="stable")  # of equal ones the bar line is the first
    group = np.cumsum(np.diff(places[order], prepend=places[order[0]]) > APART)
    first = np.unique(group, return_index=True)[1]
    meant = places[order[first]]
    lines = np.flatnonzero(order < len(starts))
    meant[group[lines]] = places[order[lines]]
    moved = np.flatnonzero(meant[group] != places[order])
    places[order[moved]] = meant[group[moved]]
    put = np.isin(np.arange(len(places)), order[moved])
    for number, (offset, bar) in enumerate(ends):
        mine = slice(len(starts) + number * len(marks), len(starts) + (number + 1) * len(marks))
        rows, lasts = marks[bar], np.diff(starts)[marks[bar]]
        marks[offset] = np.where(put[mine], np.clip(places[mine] - starts[rows], 0, lasts), marks[offset])


def _here(kind: str, part: int, staff: int, bar: int, offset: float, **more: Any) -> _Mark:
    return _Mark(kind, part, staff, bar, offset, bar, offset, **more)


def _bar_lines(part: int, bar: int, measure: Measure) -> list[_Mark]:
    marks = []
    for line, offset in ((measure.leftBarline, 0.0), (measure.rightBarline, inf)):
        if line is None:
            continue
        if "Repeat" in line.classSet:
            start = line.direction == "start"
            value = nan if start else float(line.times or 2)
            marks.append(_here("repeat start" if start else "repeat end", part, 0, bar, offset, value=value))
        elif line.type in ("double", "final", "heavy-heavy", "heavy-light") and offset:
            marks.append(_here("double bar", part, 0, bar, offset))
    return marks


def _from_kern(parsed: Parsed) -> list[_Mark]:
    """The signs of the text itself; music21 keeps the line at which a bar begins as its priority."""
    opened = [measure.priority for part, staff, _, measure in walk_bars(parsed) if (part, staff) == (0, 1)]
    return [
        _Mark(kind, 0, 0, bar, 0.0 if kind in _AT_THE_BEGINNING else inf, last, inf, value=value, text=text)
        for kind, bar, last, value, text in read_signs(parsed.text, opened)
    ]


def _element(element: Any, part: int, staff: int, bar: int, offset: float) -> _Mark | None:
    """The mark that a music21 object in a bar stands for."""
    classes = element.classSet
    if "Dynamic" in classes:
        return _here("dynamic", part, staff, bar, offset, text=element.value or "")
    if "TempoIndication" in classes:
        value, ratio, text, printed = _tempo(element)
        return _here("tempo", part, staff, bar, offset, value=value, ratio=ratio, text=text, printed=printed)
    if "RepeatExpression" in classes:
        text = element.getText() or ""
        kind = jump_kind(text) or jump_kind(re.sub(r"(?<=[a-z])(?=[A-Z])", " ", type(element).__name__))
        return _here(kind, part, 0, bar, offset, text=text) if kind else None
    if "TextExpression" in classes and (text := _words(element.content)):
        kind = jump_kind(text)
        if kind:
            return _here(kind, part, 0, bar, offset, text=text)
        return _here("tempo" if _TEMPO_WORDS.search(text) else "words", part, staff, bar, offset, text=text)
    return None


def _words(content: str | None) -> str:
    """The words of a direction; what a metronome mark between parentheses leaves of them is none."""
    text = " ".join((content or "").split())
    if not re.search(r"\w", text):
        return ""
    return text if text.count("(") == text.count(")") else text.strip(" ()")


def _tempo(element: Any) -> tuple[float, float, str, bool]:
    """(quarters a minute, ratio to the tempo before, words, whether it is printed) of a music21 tempo indication."""
    if "MetricModulation" in element.classSet:
        old, new = element.oldReferent, element.newReferent
        ratio = float(new.quarterLength / old.quarterLength) if old and new and old.quarterLength else nan
        return nan, ratio, "", True
    if "MetronomeMark" not in element.classSet:
        return nan, nan, str(element.text), True
    number = None if element.numberImplicit else element.number
    printed = number is not None
    number = element.numberSounding if number is None else number
    value = float(number * element.referent.quarterLength) if number else nan
    text = _words(str(element.text)) if element.text and not element.textImplicit else ""
    return (value if isfinite(value) and 0 < value < 10_000 else nan), nan, text, printed


def _on_notes(parsed: Parsed, heads: list[Head], table: np.ndarray) -> list[_Mark]:
    """Fermatas, breaths and caesuras, on notes and rests."""
    rows: dict[int, int] = {}
    for number, head in enumerate(heads):
        rows.setdefault(id(head.owner), int(table["note"][number]))
    marks = []
    for part, staff, bar, measure in walk_bars(parsed):
        for _, layer, start in layers(measure):
            for owner in of_class(layer, "GeneralNote"):
                if not owner.expressions and not owner.articulations:
                    continue
                offset = float(layer.elementOffset(owner) + start)
                note = rows.get(id(owner), -1)
                if any("Fermata" in e.classSet for e in owner.expressions):
                    marks.append(_here("fermata", part, staff, bar, offset, note=note))
                end = float(layer.elementOffset(owner) + start + owner.quarterLength)
                for sign in owner.articulations:
                    kind = {"BreathMark": "breath", "Caesura": "caesura"}.get(type(sign).__name__)
                    if kind:
                        marks.append(_here(kind, part, staff, bar, end, note=note))
    return marks


def _endings(parsed: Parsed, numbers: dict[int, int]) -> list[_Mark]:
    marks = []
    for bracket in spanners(parsed, "RepeatBracket"):
        bars = sorted(numbers[id(m)] for m in bracket.getSpannedElements() if id(m) in numbers)
        if bars:
            text = ",".join(str(n) for n in bracket.numberRange) or "1"
            marks.append(_Mark("ending", 0, 0, bars[0], 0.0, bars[-1], inf, text=text))
    return marks


def _wedges(parsed: Parsed, heads: list[Head]) -> list[_Mark]:
    """Hairpins as music21 has them: from the beginning of their first note to the end of their last."""
    places = {id(head.owner): head for head in reversed(heads)}
    marks = []
    for name, value in (("Crescendo", 1.0), ("Diminuendo", -1.0)):
        for wedge in spanners(parsed, name):
            first, last = places.get(id(wedge.getFirst())), places.get(id(wedge.getLast()))
            if first and last:
                end = float(last.offset + last.length)
                place = (first.part, first.staff, first.bar, float(first.offset), last.bar, end)
                marks.append(_Mark("hairpin", *place, value=value))
    return marks


def _from_facts(facts: FileFacts, heads: list[Head], notes: np.ndarray, table: np.ndarray) -> list[_Mark]:
    """What the XML alone tells: hairpins, pedal, dashes, endings, jumps of <sound>, fermatas on bar lines, slides."""
    marks = [
        _Mark(line.kind, line.part, line.staff, line.bar, float(line.offset), line.end_bar, float(line.end_offset),
              value=line.value, text=line.text)
        for line in facts.lines
    ]  # fmt: skip
    rows = {id(head.facts): int(table["note"][number]) for number, head in enumerate(heads)}
    for start, goal, text in facts.slides:
        a, b = (rows.get(id(facts.notes[place])) for place in (start, goal))
        if a is not None and b is not None and a != b:
            first, last = notes[a], notes[b]
            marks.append(
                _Mark("glissando", int(first["part"]), int(first["staff"]), int(first["bar"]), float(first["offset"]),
                      int(last["bar"]), float(last["offset"]), note=a, goal=b, text=text)
            )  # fmt: skip
    return marks


def _jumps(marks: list[_Mark]) -> list[_Mark]:
    """Tell the signs apart that stand for two things: the coda sign at "To Coda", the segno beside "D.S."."""
    bars = {kind: {m.bar for m in marks if m.kind == kind} for kind in _OF_THE_SCORE}
    doubtful = {"coda": bars["to coda"], "segno": bars["dal segno"] if len(bars["segno"]) > 1 else set()}
    marks = [m for m in marks if m.bar not in doubtful.get(m.kind, ())]
    codas = sorted({m.bar for m in marks if m.kind == "coda"})
    if len(codas) > 1 and not bars["to coda"]:
        for mark in marks:
            if mark.kind == "coda" and mark.bar == codas[0]:
                mark.kind = "to coda"
    return marks


def _once(marks: list[_Mark]) -> list[_Mark]:
    """One row for what is said many times."""
    kept: dict[tuple[str | float | None, ...], _Mark] = {}
    for mark in marks:
        key: tuple[str | float | None, ...]
        if mark.kind.startswith("repeat"):
            key = (mark.kind, mark.bar, mark.offset)
        elif mark.kind in _OF_THE_SCORE:
            key = (mark.kind, mark.bar)
        elif mark.kind == "ending":
            key = (mark.kind, mark.bar, mark.offset, mark.end_bar, mark.end_offset)
        else:
            key = (mark.kind, mark.part, mark.bar, mark.offset, mark.end_bar, mark.end_offset, mark.note, mark.text)
            key += (mark.value if isfinite(mark.value) else None, mark.goal)
        first = kept.setdefault(key, mark)
        if first is not mark:
            first.text = first.text or mark.text
            if first.staff != mark.staff:
                first.staff = 0
    return list(kept.values())


def _tempi(marks: list[_Mark]) -> list[_Mark]:
    """One tempo at a moment: its printed number, else the one that sounds, with all its words; dashes stretch words."""
    moments: dict[tuple[int, float], _Mark] = {}
    others, dashes = [], []
    for mark in marks:
        if mark.kind == "words" and mark.end_bar >= 0 and (mark.end_bar, mark.end_offset) != (mark.bar, mark.offset):
            dashes.append(mark)
        elif mark.kind != "tempo":
            others.append(mark)
        elif (first := moments.setdefault((mark.bar, mark.offset), mark)) is not mark:
            if isfinite(mark.value) and (not isfinite(first.value) or (mark.printed and not first.printed)):
                first.value, first.printed = mark.value, mark.printed
            first.ratio = mark.ratio if np.isnan(first.ratio) else first.ratio
            if mark.text not in first.text:
                first.text = f"{first.text} {mark.text}".strip()
    before = nan
    for mark in (moments[key] for key in sorted(moments)):
        if np.isnan(mark.value):
            mark.value = before * mark.ratio
        before = mark.value if isfinite(mark.value) else before
    found = others + list(moments.values())
    here: dict[tuple[int, float], list[_Mark]] = {}
    for mark in found:
        if mark.kind in ("words", "tempo"):
            here.setdefault((mark.bar, mark.offset), []).append(mark)
    for dash in dashes:
        for mark in here.get((dash.bar, dash.offset), ()):
            if mark.kind == "tempo" or mark.part == dash.part:  # a tempo is the whole score's
                mark.end_bar, mark.end_offset = dash.end_bar, dash.end_offset
    return found


def _rows(marks: list[_Mark]) -> np.ndarray:
    rows = np.zeros(len(marks), MARK)
    for row, mark in zip(rows, marks, strict=True):
        for column in MARK.names or ():
            value = getattr(mark, column)
            row[column] = legible(value)[:80] if column == "text" else value
    return rows
