"""Ornaments: which sign each note has, and the semitones to the neighbours that it touches.

A neighbour is the next step of the scale as the page has it: an accidental at the sign counts first, then what stands
on the neighbour's line earlier in the bar, then the key. So harmonic accidentals are heard, and a trill on F sharp in
G major goes to G.

- MusicXML: the elements of <ornaments>, since music21 keeps neither the note of a chord that has the sign nor where a
  wavy line ends. A wavy line that begins with a trill sign makes trills of all notes of its voice that begin before
  its end; one without a sign only if they have one pitch (else the trill is written out in notes).
- MEI: its <trill>, <mordent> and <turn> that name their note; music21 passes over them.
- kern and whatever else music21 finds ornaments in: its own classes; kern says whole or half tone itself.

A tremolo between two notes is read from MusicXML alone.

A sign at a chord belongs to its highest note (common practice), unless it stands below, or at one member that is not
the first; a tremolo is of all notes. Of several signs on one note the first counts.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import TYPE_CHECKING, Any
from xml.etree.ElementTree import Element

import numpy as np

from timing.columns import ROUNDING
from timing.reader.walk import Head, Parsed, of_class, pitch_of, walk_bars
from timing.remarks import Remark, Severity
from timing.score import Ornament

if TYPE_CHECKING:
    from music21.common.types import StepName
    from music21.key import KeySignature

_SIGNS = {
    "trill-mark": Ornament.TRILL,
    "shake": Ornament.TRILL,
    "mordent": Ornament.MORDENT,
    "inverted-mordent": Ornament.INVERTED_MORDENT,
    "turn": Ornament.TURN,
    "vertical-turn": Ornament.TURN,
    "inverted-turn": Ornament.INVERTED_TURN,
    "inverted-vertical-turn": Ornament.INVERTED_TURN,
    "delayed-turn": Ornament.DELAYED_TURN,
    "delayed-inverted-turn": Ornament.DELAYED_INVERTED_TURN,
}
_CLASSES = {
    "Trill": Ornament.TRILL,
    "Mordent": Ornament.MORDENT,
    "InvertedMordent": Ornament.INVERTED_MORDENT,
    "Turn": Ornament.TURN,
    "InvertedTurn": Ornament.INVERTED_TURN,
}
_FROM_BELOW = (Ornament.MORDENT,)  # an accidental at these is the lower neighbour's wherever it is printed
_BOTH = (Ornament.TURN, Ornament.INVERTED_TURN, Ornament.DELAYED_TURN, Ornament.DELAYED_INVERTED_TURN)
_ALTERS = {"sharp": 1, "flat": -1, "natural": 0, "double-sharp": 2, "sharp-sharp": 2, "flat-flat": -2,
           "natural-sharp": 1, "natural-flat": -1, "double-flat": -2}  # fmt: skip
_SCALE = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_STEPS: tuple[StepName, ...] = ("C", "D", "E", "F", "G", "A", "B")
_MEI_ALTERS = {"s": 1, "f": -1, "n": 0, "ss": 2, "x": 2, "ff": -2}
_FLAGS = {"eighth": 1, "16th": 2, "32nd": 3, "64th": 4, "128th": 5, "256th": 6}
_WIDEST = 4  # semitones to a neighbour: E double flat to F sharp is no neighbour any more
AS_QUICK_AS_CAN_BE = 1 / 64  # quarters, for a tremolo that is not measured


@dataclass
class _Found:
    """A sign at a notehead, and what it says of its neighbours: alterations of the page, or semitones outright."""

    code: Ornament
    upper: int | None = None
    lower: int | None = None
    semitones: int | None = None
    below: bool = False  # printed below


def set_ornaments(parsed: Parsed, heads: list[Head], notes: np.ndarray, table: np.ndarray) -> None:
    """Write `ornament`, `upper`, `lower`, `tremolo` and `turn` into `notes` (NOTE); `table` (HEAD) says whose the heads
    are."""
    first = notes["head"]
    signs = _mei_signs(parsed, heads) if parsed.kind == "mei" else {}
    strokes: dict[int, float] = {}  # by note or chord
    for number, head in enumerate(heads):
        if (found := _sign(head)) is not None:
            signs[number] = found
        if (tremolo := _tremolo(head)) is not None:
            strokes[id(head.owner)] = tremolo
    for number, head in enumerate(heads):
        if id(head.owner) in strokes:
            notes["tremolo"][table["note"][number]] = strokes[id(head.owner)]
    for first_rows, second_rows, stroke in _between(heads, notes, table):
        rows = first_rows + second_rows
        notes["tremolo"][rows], notes["turn"][rows] = stroke, [1] * len(first_rows) + [2] * len(second_rows)
    signs = _on_members(signs, heads)
    for number in _under_lines(heads, signs, set(first.tolist())) if parsed.facts else ():
        signs.setdefault(number, _Found(Ornament.TRILL))
    page = _Page(parsed, heads, {(heads[number].part, heads[number].staff, heads[number].bar) for number in signs})
    for number, found in sorted(signs.items(), reverse=True):  # of several heads of a note the first counts
        note = notes[table["note"][number]]
        if found.code != Ornament.TRILL and first[table["note"][number]] != number:
            continue  # on the last head of a tied note only a trill goes on
        pitched = pitch_of(heads[number].note) is not None
        if pitched or found.code == Ornament.TRILL:
            note["ornament"] = found.code
            note["upper"], note["lower"] = page.neighbours(heads[number], found) if pitched else (0, 0)


# -- signs


def _elements(head: Head) -> list[Element]:
    return head.facts.element.findall("notations/ornaments/*") if head.facts else []


def _sign(head: Head) -> _Found | None:
    if head.facts is None:
        return next(filter(None, map(_of_class, head.owner.expressions)), None)
    found: _Found | None = None
    for element in _elements(head):
        if element.tag == "accidental-mark" and found is not None:
            _alter(found, element)
        elif found is not None and element.tag in _SIGNS:
            break
        elif element.tag in _SIGNS:
            found = _Found(_SIGNS[element.tag], below=element.get("placement") == "below")
            if element.get("trill-step") in ("half", "whole") and found.code == Ornament.TRILL:
                found.semitones = 1 if element.get("trill-step") == "half" else 2
    return found


def _alter(found: _Found, mark: Element) -> None:
    """An accidental at a sign is the upper neighbour's, unless only the lower one is touched or, at a turn, it stands
    below or is the second one."""
    alter = _ALTERS.get((mark.text or "").strip())
    below = found.code in _BOTH and (mark.get("placement") == "below" or found.upper is not None)
    if below or found.code in _FROM_BELOW:
        found.lower = alter
    else:
        found.upper = alter


def _of_class(expression: Any) -> _Found | None:
    """What a music21 expression stands for; its subclasses may say half or whole tone."""
    code = next((_CLASSES[name] for name in expression.classes if name in _CLASSES), None)
    if code is None:
        return None
    if code in (Ornament.TURN, Ornament.INVERTED_TURN) and getattr(expression, "isDelayed", False):
        code = Ornament(code + 2)
    name = type(expression).__name__
    semitones = 1 if name.startswith("HalfStep") else 2 if name.startswith("WholeStep") else None
    return _Found(code, semitones=semitones)


def _mei_signs(parsed: Parsed, heads: list[Head]) -> dict[int, _Found]:
    """The signs of MEI, which stand beside the notes and name theirs; advice where some name none."""
    places: dict[str, int] = {}
    for number, head in enumerate(heads):
        places.setdefault(str(head.note.id), number)
        places.setdefault(str(head.owner.id), number)
    signs: dict[int, _Found] = {}
    astray = 0
    for element in parsed.root.iter():
        tag, form = str(element.tag).rpartition("}")[2], element.get("form")
        if tag == "trill":
            code = Ornament.TRILL
        elif tag == "mordent":
            code = Ornament.INVERTED_MORDENT if form == "upper" else Ornament.MORDENT
        elif tag == "turn":
            code = Ornament.INVERTED_TURN if form == "lower" else Ornament.TURN
            code = Ornament(code + 2 * (element.get("delayed") == "true"))
        else:
            continue
        named = places.get((element.get("startid") or "").removeprefix("#"))
        astray += named is None
        if named is not None:
            upper, lower = (_MEI_ALTERS.get(element.get(f"accid{side}", "")) for side in ("upper", "lower"))
            signs.setdefault(named, _Found(code, upper, lower, below=element.get("place") == "below"))
    if astray:
        message = f"{astray} ornament{'s' * (astray > 1)} that name no note of the score are left out"
        parsed.remarks.append(Remark(Severity.ADVICE, "passed-over", message))
    return signs


def _on_members(signs: dict[int, _Found], heads: list[Head]) -> dict[int, _Found]:
    """The signs by the heads that they belong to: of a chord with one sign, which files write at its first member, the
    highest, or the lowest if it stands below."""
    chords: dict[int, list[int]] = {}
    wanted = {id(heads[number].owner) for number in signs}
    for number, head in enumerate(heads):
        if id(head.owner) in wanted:
            chords.setdefault(id(head.owner), []).append(number)
    placed = {}
    for members in chords.values():
        signed = [number for number in members if number in signs]
        if signed == members[:1] or (signed == members and heads[members[0]].facts is None):
            best = min if signs[signed[0]].below else max
            placed[best(members, key=lambda number: heads[number].pitch)] = signs[signed[0]]
        else:
            placed |= {number: signs[number] for number in signed}
    return placed


def _tremolo(head: Head) -> float | None:
    """Quarters between the strokes of a tremolo on this note (not of one between two notes)."""
    if head.facts is None:
        expressions: list[Any] = head.owner.expressions
        strokes = [e.numberOfMarks for e in expressions if type(e).__name__ == "Tremolo"]
        kind = head.owner.duration.type if strokes else ""
    else:
        single = [e for e in _elements(head) if e.tag == "tremolo" and e.get("type") not in ("start", "stop")]
        strokes, kind = [_strokes(e) for e in single], head.facts.element.findtext("type") or ""
    if not strokes:
        return None
    return _stroke_length(head, strokes[0], kind, 1)


def _stroke_length(head: Head, strokes: int, kind: str, halves: int) -> float:
    """Quarters between so many strokes on a note of this kind. In a tremolo between two notes each lasts half of what
    is written, which files put down as a tuplet: of `halves` 2."""
    ratio = Fraction(halves)
    for tuplet in head.owner.duration.tuplets:
        ratio *= Fraction(tuplet.tupletMultiplier())
    ratio = min(ratio, Fraction(1)) if halves > 1 else ratio
    return float(ratio / 2 ** (strokes + _FLAGS.get(kind, 0))) if strokes else AS_QUICK_AS_CAN_BE


def _between(heads: list[Head], notes: np.ndarray, table: np.ndarray) -> list[tuple[list[int], list[int], float]]:
    """(rows of the first, rows of the second, quarters between strokes) of every tremolo between two notes or chords
    that follow each other in a bar and are equally long."""
    signs: dict[int, dict[str, Element]] = {}  # by note or chord
    members: dict[int, list[int]] = {}
    order: dict[tuple[int, int], list[Head]] = {}  # by voice
    for number, head in enumerate(heads):
        ends = [e for e in _elements(head) if e.tag == "tremolo" and e.get("type") in ("start", "stop")]
        found = {e.get("type", ""): e for e in ends}
        members.setdefault(id(head.owner), []).append(int(table["note"][number]))
        if found and id(head.owner) not in signs:
            signs[id(head.owner)] = found
            order.setdefault((head.part, head.voice), []).append(head)
    made = []
    for voice in order.values():
        for first, second in pairwise(voice):
            start, stop = signs[id(first.owner)].get("start"), signs[id(second.owner)].get("stop")
            rows, others = members[id(first.owner)], members[id(second.owner)]
            if start is not None and stop is not None and _follow(notes, rows, others):
                kind = (first.facts.element.findtext("type") or "") if first.facts else ""
                made.append((rows, others, _stroke_length(first, _strokes(start), kind, 2)))
    return made


def _follow(notes: np.ndarray, rows: list[int], others: list[int]) -> bool:
    """Whether these notes begin together and are all as long as the others, which begin where they end."""
    every = notes[rows + others]
    begin = np.where(np.arange(len(every)) < len(rows), 0.0, every["length"][0]) + every["offset"][0]
    alike = np.allclose(every["length"], every["length"][0]) and np.allclose(every["offset"], begin)
    return bool(alike and every["length"][0] > 0 and len(set(every["bar"].tolist())) == 1)


def _strokes(element: Element) -> int:
    """How many strokes are written, 8 at most; 0 where they are not measured."""
    text = (element.text or "").strip()
    if element.get("type") == "unmeasured":
        return 0
    return min(int(text[:3]), 8) if text.isdecimal() else 3


# -- wavy lines


def _under_lines(heads: list[Head], signs: dict[int, _Found], beginnings: set[int]) -> list[int]:
    """The first heads of the notes that wavy lines make trills of."""
    # (part, voice, number) -> first head, last head with a sign of the line
    open_: dict[tuple[int, int, str], tuple[int, int]] = {}
    lines: list[tuple[int, int, bool]] = []  # first head, last head, whether that one is under the line
    for number, head in enumerate(heads):
        for element in _elements(head):
            if element.tag != "wavy-line":
                continue
            key, kind = (head.part, head.voice, element.get("number", "1")), element.get("type")
            if kind == "start":
                if key in open_:
                    lines.append((*open_.pop(key), True))
                open_[key] = (number, number)
            elif kind == "continue" and key in open_:
                open_[key] = (open_[key][0], number)
            elif kind == "stop" and key in open_:
                start = open_.pop(key)[0]
                lines.append((start, number, start == number))
    lines += [(*ends, True) for ends in open_.values()]
    voices: dict[tuple[int, int], list[tuple[int, float, int]]] = {}
    if lines:
        for number, head in enumerate(heads):
            if not head.grace and number in beginnings:
                voices.setdefault((head.part, head.voice), []).append((head.bar, float(head.offset), number))
    under: list[int] = []
    for voice in voices.values():
        voice.sort()
    for start, end, included in lines:
        voice = voices.get((heads[start].part, heads[start].voice), [])
        low, high = ((heads[n].bar, float(heads[n].offset), side) for n, side in ((start, -1), (end, -1)))
        last = (*high[:2], len(heads)) if included else high
        spanned = voice[bisect_right(voice, low) : bisect_right(voice, last)]
        covered = _highest([number for _, _, number in spanned], heads)
        if start in signs or len({heads[number].pitch for number in covered}) == 1:
            under += covered
    return under


def _highest(numbers: list[int], heads: list[Head]) -> list[int]:
    """Of these heads the highest of each chord."""
    best: dict[int, int] = {}
    for number in numbers:
        owner = id(heads[number].owner)
        if owner not in best or heads[number].pitch > heads[best[owner]].pitch:
            best[owner] = number
    return list(best.values())


# -- the page


class _Page:
    """Keys and accidentals, as far as they are asked for: `bars` are the (part, staff, bar) with ornaments."""

    def __init__(self, parsed: Parsed, heads: list[Head], bars: set[tuple[int, int, int]]):
        self._keys: dict[tuple[int, int], list[tuple[float, float, KeySignature]]] = {}
        self._seen: dict[tuple, list[tuple[float, int]]] = {}  # (part, staff, bar, step, octave) -> offset, alteration
        if not bars:
            return
        for part, staff, bar, measure in walk_bars(parsed):
            keys = self._keys.setdefault((part, staff), [])
            for key in of_class(measure, "KeySignature"):
                keys.append((bar, float(measure.elementOffset(key)), key))
        for part, staves in enumerate(parsed.staves()):
            for staff, stream in enumerate(staves, start=1):
                outside = of_class(stream, "KeySignature")  # where a format writes it before the first bar
                self._keys.setdefault((part, staff), [])[:0] = [(-1, 0.0, key) for key in outside[:1]]
        for head in heads:
            tied = head.note.tie is not None and head.note.tie.type in ("stop", "continue") and head.offset == 0
            pitch = pitch_of(head.note)
            if (head.part, head.staff, head.bar) in bars and pitch is not None and not tied:
                place = (head.part, head.staff, head.bar, pitch.step, pitch.octave)
                self._seen.setdefault(place, []).append((float(head.offset), int(pitch.alter)))
        for seen in self._seen.values():
            seen.sort(key=lambda pair: pair[0])

    def neighbours(self, head: Head, found: _Found) -> tuple[int, int]:
        """Semitones up and down to the neighbours of a note."""
        up, down = self._distance(head, 1, found.upper), self._distance(head, -1, found.lower)
        if found.semitones is not None:
            up = found.semitones if found.code != Ornament.MORDENT else up
            down = found.semitones if found.code == Ornament.MORDENT else down
        return up, down

    def _distance(self, head: Head, direction: int, alter: int | None) -> int:
        pitch = head.note.pitches[0]
        place = _STEPS.index(pitch.step) + direction
        step, octave = _STEPS[place % 7], (pitch.octave if pitch.octave is not None else 4) + place // 7
        if alter is None:
            alter = self._in_force(head, step, octave)
        away = _SCALE[step] + alter + 12 * (place // 7) - _SCALE[pitch.step] - round(pitch.alter)
        return min(max(direction * away, 1), _WIDEST)

    def _in_force(self, head: Head, step: StepName, octave: int) -> int:
        """The alteration of a line of the staff at a note: by the notes before it in the bar, else by the key."""
        seen = self._seen.get((head.part, head.staff, head.bar, step, octave), [])
        before = bisect_right([offset for offset, _ in seen], float(head.offset) + ROUNDING)
        if before:
            return seen[before - 1][1]
        keys = self._keys.get((head.part, head.staff), [])
        here = bisect_right([key[:2] for key in keys], (head.bar, float(head.offset) + ROUNDING))
        accidental = keys[here - 1][2].accidentalByStep(step) if here else None
        return int(accidental.alter) if accidental is not None else 0
