"""Notes in cue size: which of them belong to the music.

MusicXML calls cues silent, but programs write small solo notes, ossias and embellishments the same way. A small note is
part of its voice where it is to be seen, no other note stands in its place in that voice, and its player does not rest
meanwhile. All others are what the standard means: what another part plays, for the eye. Those that are not even to be
seen are for programs alone and no notes at all.

Source: MusicXML 4.0, element cue; the distinction is the house's own.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import defaultdict
from fractions import Fraction
from math import inf
from typing import TYPE_CHECKING
from xml.etree.ElementTree import Element

if TYPE_CHECKING:
    from timing.reader.musicxml import NoteFacts


def tie_cues(element: Element) -> None:
    """Give a cue note the <tie> that its <tied> stands for: the standard leaves it out, since cues are silent."""
    if element.find("tie") is None:
        duration = element.find("duration")
        place = list(element).index(duration) + 1 if duration is not None else len(element)
        for tied in element.findall("notations/tied"):
            if (kind := tied.get("type", "")) in ("start", "stop"):
                element.insert(place, Element("tie", {"type": kind}))


def judge(notes: list[NoteFacts]) -> None:
    """Mark the cues among the notes and rests of one bar of a part (`silent`) that stand for another part's music."""
    if not any(note.cue for note in notes):
        return
    ordinary = [note for note in notes if not note.rest and not note.cue and not note.hidden]
    playing = {note.staff for note in ordinary} | {note.voice_name for note in ordinary}
    voices, chords = _times(ordinary, "voice_name", "staff"), _times(ordinary, "voice_name", "staff", "chord")
    rests = _Rests(notes)
    for note in notes:
        if note.cue:
            note.silent = (
                note.hidden
                or _in_place_of(note, voices, chords)
                or (not playing & {note.staff, note.voice_name} and rests.during(note))
            )


class _Times:
    """When notes begin, are half over, and end, each in order."""

    def __init__(self, notes: list[NoteFacts]):
        self._begin = sorted(note.start for note in notes)
        self._middle = sorted(note.start + note.length / 2 for note in notes)
        self._end = sorted(note.start + note.length for note in notes)

    def over(self, start: Fraction, end: Fraction) -> int:
        """How often one of the notes sounds in the middle of this time, or has its own middle within it: what shares
        more than half of the time, or of its own, does one or both, and nothing else does."""
        middle = (start + end) / 2
        sounding = bisect_left(self._begin, middle) - bisect_right(self._end, middle)
        return sounding + bisect_left(self._middle, end) - bisect_right(self._middle, start)


def _times(notes: list[NoteFacts], *keys: str) -> dict[tuple, _Times]:
    """The times of the notes that are alike in these."""
    groups: dict[tuple, list[NoteFacts]] = defaultdict(list)
    for note in notes:
        if note.length:
            groups[tuple(getattr(note, key) for key in keys)].append(note)
    return {alike: _Times(group) for alike, group in groups.items()}


def _in_place_of(cue: NoteFacts, voices: dict[tuple, _Times], chords: dict[tuple, _Times]) -> bool:
    """Whether an ordinary note of the same voice, not of its own chord, sounds for more than half of the cue's time,
    or of its own."""
    voice = voices.get((cue.voice_name, cue.staff))
    if voice is None or not cue.length:
        return False
    end = cue.start + cue.length
    chord = chords.get((cue.voice_name, cue.staff, cue.chord))
    return voice.over(cue.start, end) > (chord.over(cue.start, end) if chord else 0)


class _Rests:
    """The rests of each staff in order, with how far they reach: of the voice that rests longest, and of the others."""

    def __init__(self, notes: list[NoteFacts]):
        self._starts: dict[int, list[float | Fraction]] = defaultdict(list)
        self._reach: dict[int, list[tuple]] = defaultdict(list)  # end, its voice, the farthest end of any other voice
        spans = [(-inf, inf) if note.whole_bar else (note.start, note.start + note.length) for note in notes]
        rests = [(*span, note) for span, note in zip(spans, notes, strict=True) if note.rest and not note.hidden]
        for start, end, rest in sorted(rests, key=lambda each: each[0]):
            reach = self._reach[rest.staff]
            farthest, voice, other = reach[-1] if reach else (-inf, "", -inf)
            if end > farthest:
                other = other if voice == rest.voice_name else farthest
                farthest, voice = end, rest.voice_name
            elif voice != rest.voice_name:
                other = max(other, end)
            reach.append((farthest, voice, other))
            self._starts[rest.staff].append(start)

    def during(self, cue: NoteFacts) -> bool:
        """Whether another voice of the staff has a rest for all of the bar, or at least for all of the cue."""
        begun = bisect_right(self._starts[cue.staff], cue.start)
        if not begun:
            return False
        farthest, voice, other = self._reach[cue.staff][begun - 1]
        return (other if voice == cue.voice_name else farthest) >= cue.start + cue.length
