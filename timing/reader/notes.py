"""From noteheads to sounding notes: ties merged, grace notes counted, signs and slurs set."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import Any

import numpy as np

from timing.reader.walk import Head, Parsed
from timing.remarks import Remark, Severity
from timing.score import HEAD, NOTE, Sign

SIGNS = {
    "Staccato": Sign.STACCATO,
    "Staccatissimo": Sign.STACCATISSIMO,
    "Spiccato": Sign.STACCATO,
    "Tenuto": Sign.TENUTO,
    "DetachedLegato": Sign.STACCATO | Sign.TENUTO,
    "Accent": Sign.ACCENT,
    "StrongAccent": Sign.STRONG_ACCENT,
    "Pizzicato": Sign.PIZZICATO,
    "SnapPizzicato": Sign.PIZZICATO,
    "NailPizzicato": Sign.PIZZICATO,
    "Harmonic": Sign.HARMONIC,
    "StringHarmonic": Sign.HARMONIC,
}
_ROLLS = {"normal": 1, "up": 1, "down": -1}


def read_notes(heads: list[Head]) -> tuple[np.ndarray, np.ndarray, list[Remark]]:
    """NOTE and HEAD rows (heads in the order of the walk), without the slurs, and what is to be said of them."""
    remarks: list[Remark] = []
    merged = _merge_ties(heads)
    graces = _count_graces(heads)
    rows = np.zeros(len(merged), NOTE)
    for row, members in zip(rows, merged, strict=True):
        head = heads[members[0]]
        row["bar"], row["offset"], row["length"] = head.bar, float(head.offset), _total(heads, members)
        row["pitch"] = _in_range(head, remarks)
        row["part"], row["staff"], row["voice"] = head.part, head.staff, head.voice
        row["grace"], row["after"] = graces.get(members[0], (0, False))
        row["signs"], row["head"] = _signs(heads, members), members[0]
        if head.offset == 0 and head.note.tie and head.note.tie.type in ("stop", "continue"):
            row["signs"] |= Sign.TIED_IN
        _written(row, head)
    order = np.lexsort([rows[column] for column in ("pitch", "voice", "staff", "part", "offset", "bar")])
    rows = rows[order]
    place = np.empty(len(rows), np.int64)
    place[order] = np.arange(len(rows))
    table = np.zeros(len(heads), HEAD)
    for number, members in enumerate(merged):
        for member in members:
            head = heads[member]
            table[member] = (place[number], head.bar, float(head.offset), float(head.length))
    if any(head.pitch != round(head.pitch) for head in heads):
        message = "notes between the semitones are played on the nearest semitone"
        remarks.append(Remark(Severity.ADVICE, "microtones", message))
    return rows, table, remarks


def _total(heads: list[Head], members: list[int]) -> float:
    return float(sum(Fraction(heads[m].length) for m in members))


def _in_range(head: Head, remarks: list[Remark]) -> int:
    pitch = round(head.pitch)
    if 0 <= pitch <= 127:
        return pitch
    message = "a note lies beyond the range of MIDI and is moved there by octaves"
    remark = Remark(Severity.CAUTION, "pitch-range", message)
    if remark not in remarks:
        remarks.append(remark)
    return pitch % 12 if pitch < 0 else max(range(pitch % 12, 128, 12))


def _merge_ties(heads: list[Head]) -> list[list[int]]:
    """The heads of each note.

    A tie goes on in the next head of its pitch that begins where it ends (in the same bar, or at the beginning of the
    next), in its own voice if there is a choice; a tie that leads nowhere ends with its head.
    """
    merged: list[list[int]] = []
    waiting: dict[tuple, list[list[int]]] = {}  # where a tie may go on -> notes whose last head is tied on
    order = sorted(range(len(heads)), key=lambda h: (heads[h].bar, heads[h].offset, not heads[h].grace, h))
    for number in order:
        head = heads[number]
        tie = head.note.tie
        silent = bool(head.facts and head.facts.silent)  # a cue of another part goes on from no note of this one
        sound = (head.part, (round(head.pitch * 100), silent))
        note = None
        if tie and tie.type in ("stop", "continue"):
            note = _continued(heads, waiting, (*sound, head.bar, round(float(head.offset), 6)), head.voice)
        if note is None:
            note = [number]
            merged.append(note)
        else:
            note.append(number)
        if tie and tie.type in ("start", "continue") and not head.grace:
            for place in ((head.bar, round(float(head.offset + head.length), 6)), (head.bar + 1, 0.0)):
                waiting.setdefault((*sound, *place), []).append(note)
    return sorted(merged)


def _continued(heads: list[Head], waiting: dict[tuple, list[list[int]]], place: tuple, voice: int) -> list[int] | None:
    """The note, tied on at its last head, that goes on at this place; it no longer waits."""
    here = [note for note in waiting.pop(place, []) if _waits(heads, note, place)]
    found = min(here, key=lambda note: heads[note[-1]].voice != voice, default=None)
    if len(here) > 1:
        waiting[place] = [note for note in here if note is not found]
    return found


def _waits(heads: list[Head], note: list[int], place: tuple) -> bool:
    """Whether a note that was tied on towards this place has not gone on since."""
    last = heads[note[-1]]
    _, _, bar, offset = place
    return round(float(last.offset + last.length), 6) == offset if last.bar == bar else last.bar + 1 == bar


def _count_graces(heads: list[Head]) -> dict[int, tuple[int, bool]]:
    """For each grace note: its place counted back from the main note, and whether it ends the note before instead.

    It does where no main note of its voice follows at the same moment of the bar, or where the file says that its time
    is taken from the note before.
    """
    groups: dict[tuple, list[int]] = {}
    mains = set()
    for number, head in enumerate(heads):
        moment = (head.part, head.voice, head.bar, head.offset)
        if head.grace:
            groups.setdefault((*moment, bool(head.facts and head.facts.after)), []).append(number)
        else:
            mains.add(moment)
    counted = {}
    for (*place, stolen), numbers in groups.items():
        after = stolen or tuple(place) not in mains
        owners = list(dict.fromkeys(id(heads[n].owner) for n in numbers))
        for number in numbers:
            counted[number] = (len(owners) - owners.index(id(heads[number].owner)), after)
    return counted


def _signs(heads: list[Head], members: list[int]) -> int:
    signs = Sign(0)
    for member in members:
        head = heads[member]
        for owner in {id(o): o for o in (head.owner, head.note)}.values():
            for sign in owner.articulations:
                signs |= SIGNS.get(type(sign).__name__, 0)
        if head.facts and head.facts.ring:
            signs |= Sign.LET_RING
    if facts := heads[members[0]].facts:
        signs |= Sign.LEFT_HAND if facts.left_hand else 0
        signs |= (Sign.SILENT_CUE if facts.silent else Sign.CUE) if facts.cue else 0
    return int(signs)


def _written(row: np.void, head: Head) -> None:
    """String, fret, finger, stroke and arpeggio sign."""
    row["fret"] = row["finger"] = -1
    facts = head.facts
    if facts:
        row["string"], row["fret"], row["finger"] = facts.string, facts.fret, facts.finger
        row["roll"], row["slashed"] = facts.roll, facts.slashed
        return
    row["slashed"] = head.grace and bool(getattr(head.owner.duration, "slash", False))
    expressions: list[Any] = head.owner.expressions
    for sign in expressions:
        if type(sign).__name__ == "ArpeggioMark":
            row["roll"] = _ROLLS.get(sign.type, 0)


def set_slurs(parsed: Parsed, heads: list[Head], notes: np.ndarray, table: np.ndarray) -> list[tuple[int, int]]:
    """Set SLURRED and SLUR_END on the notes under each slur; the slurs as (first, last) rows of notes.

    Under a slur are the notes of the voice in which it begins, from its first note until its last. A slur that has no
    end, or ends before it begins or in another part, is left out.
    """
    first: dict[int, int] = {}
    for number, head in enumerate(heads):
        first.setdefault(id(head.owner), number)
    members: dict[int, list[int]] = {}
    for number, head in enumerate(heads):
        members.setdefault(id(head.owner), []).append(int(table["note"][number]))
    moments = _moments(notes)
    voices: dict[tuple[int, int], np.ndarray] = {}
    slurs = []
    for slur in spanners(parsed, "Slur"):
        ends = [first[id(e)] for e in (slur.getFirst(), slur.getLast()) if id(e) in first]
        if len(ends) < 2 or ends[0] == ends[1] or heads[ends[0]].part != heads[ends[1]].part:
            continue
        start, end = (int(table["note"][e]) for e in ends)
        if moments[start] >= moments[end]:
            continue
        key = (heads[ends[0]].part, heads[ends[0]].voice)
        if key not in voices:
            rows = np.flatnonzero((notes["part"] == key[0]) & (notes["voice"] == key[1]))
            voices[key] = rows[np.argsort(moments[rows], kind="stable")]
        rows = voices[key]
        low, high = np.searchsorted(moments[rows], [moments[start], moments[end]])
        closing = members[id(slur.getLast())]
        under = np.setdiff1d(np.union1d(rows[low:high], members[id(slur.getFirst())]), closing)
        notes["signs"][under] |= int(Sign.SLURRED)
        notes["signs"][closing] |= int(Sign.SLUR_END)
        slurs.append((start, end))
    return slurs


def _moments(notes: np.ndarray) -> np.ndarray:
    """The order in which notes sound, as numbers: graces after a note, then graces before one, then the note."""
    kind = np.where(notes["grace"] == 0, 2, np.where(notes["after"], 0, 1))
    columns = np.column_stack([notes["bar"], notes["offset"], kind, -notes["grace"].astype(np.int64)])
    return np.unique(columns, axis=0, return_inverse=True)[1].ravel()


def spanners(parsed: Parsed, name: str) -> Iterator[Any]:
    """All spanners of a class (by its music21 name), in the order of the stream, each once."""
    seen = set()
    for stream in (parsed.stream, *(staff for staves in parsed.staves() for staff in staves)):
        for spanner in stream.getElementsByClass(name):
            if id(spanner) not in seen:
                seen.add(id(spanner))
                yield spanner
