"""Notes in cue size: which of them belong to the music.

MusicXML calls cues silent, but programs write small solo notes, ossias and embellishments the same way. A small note is
part of its voice where it is to be seen, no other note stands in its place in that voice, and its player does not rest
meanwhile. All others are what the standard means: what another part plays, for the eye. Those that are not even to be
seen are for programs alone and no notes at all.

Source: MusicXML 4.0, element cue; the distinction is the house's own.
"""

from __future__ import annotations

from collections.abc import Iterable
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
            if tied.get("type") in ("start", "stop"):
                element.insert(place, Element("tie", {"type": tied.get("type")}))


def judge(notes: list[NoteFacts]) -> None:
    """Mark the cues among the notes and rests of one bar of a part (`silent`) that stand for another part's music."""
    if not any(note.cue for note in notes):
        return
    rests = [note for note in notes if note.rest and not note.hidden]
    ordinary = [note for note in notes if not note.rest and not note.cue and not note.hidden]
    playing = {note.staff for note in ordinary} | {note.voice_name for note in ordinary}
    for note in notes:
        if note.cue:
            note.silent = (
                note.hidden
                or any(_in_place_of(note, other) for other in ordinary if other.length)
                or (not playing & {note.staff, note.voice_name} and _resting(note, rests))
            )


def _in_place_of(cue: NoteFacts, other: NoteFacts) -> bool:
    """Whether an ordinary note of the same voice sounds for more than half of the cue's time, or of its own."""
    if other.voice_name != cue.voice_name or other.staff != cue.staff or other.chord == cue.chord:
        return False
    common = min(cue.start + cue.length, other.start + other.length) - max(cue.start, other.start)
    return common > min(cue.length, other.length) / 2


def _resting(cue: NoteFacts, rests: Iterable[NoteFacts]) -> bool:
    """Whether another voice of the staff has a rest for all of the bar, or at least for all of the cue."""
    return any(
        rest.staff == cue.staff
        and rest.voice_name != cue.voice_name
        and (rest.whole_bar or (rest.start <= cue.start and cue.start + cue.length <= rest.start + rest.length))
        for rest in rests
    )
