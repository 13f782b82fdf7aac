"""The one walk over a music21 stream: its parts, its bars and its noteheads, always in the same order.

`heads` of a Score are the rows of `walk_heads` in this order, so another module can parse the same file with
`timing.reader.read_stream`, walk it again, and meet the same noteheads: for MusicXML in the order of the file, else
part by part from the top, staff by staff, bar by bar, voice by voice, in time, chords in the order of the file.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from typing import TYPE_CHECKING, Any
from xml.etree.ElementTree import Element

from timing.columns import ROUNDING
from timing.reader.guard import Raw
from timing.reader.musicxml import FileFacts, NoteFacts, note_number
from timing.remarks import Remark

if TYPE_CHECKING:
    from music21.note import NotRest
    from music21.pitch import Pitch
    from music21.stream import Measure, Part, Score, Stream

VOICES_A_STAFF = 4  # where a file does not number them: staff 1 has voices 1-4, staff 2 has 5-8, as in MusicXML


@dataclass
class Parsed:
    """A file after parsing: the music21 Score, for MusicXML and MEI the XML tree, for MusicXML what it says besides,
    for kern the text."""

    raw: Raw
    kind: str  # musicxml, mei, midi, abc or kern
    stream: Score
    tree: Element | None = None
    facts: FileFacts | None = None
    remarks: list[Remark] = field(default_factory=list)
    text: str = ""

    @property
    def root(self) -> Element:
        """The XML tree of MusicXML or MEI."""
        assert self.tree is not None
        return self.tree

    def staves(self) -> list[list[Part]]:
        """The parts from the top, each as its staves from the top."""
        parts = list(self.stream.parts)
        groups: list[list[Part]] = []
        for number, part in enumerate(parts):
            if number and self._same_part(parts[number - 1], part):
                groups[-1].append(part)
            else:
                groups.append([part])
        return groups

    def _same_part(self, above: Part, part: Part) -> bool:
        if self.kind == "musicxml":
            names = [str(p.id).rpartition("-Staff") for p in (above, part)]
            return "PartStaff" in part.classes and names[0][1] != "" and names[0][0] == names[1][0]
        if self.kind == "kern":
            numbers = [_tandem(p, "*part") for p in (above, part)]
            if any(numbers):
                return numbers[0] == numbers[1]
            return above.partName == part.partName and all(_two_handed(p) for p in (above, part))
        if self.kind == "mei":
            braced = _braced(self.root)
            here = list(self.stream.parts).index(part)
            return any(here in group and here - 1 in group for group in braced)
        return False


def _tandem(part: Part, prefix: str) -> str:
    signs: Iterator[Any] = iter(part.getElementsByClass("MiscTandem"))
    found = (str(e.tandem) for e in signs if str(e.tandem).startswith(prefix))
    return next(found, "")


def _two_handed(part: Part) -> bool:
    return any({"KeyboardInstrument", "Harp"} & i.classSet for i in part.recurse().getElementsByClass("Instrument"))


def _braced(tree: Element) -> list[list[int]]:
    """The staves (from 0) that a brace makes one part."""
    space = "{http://www.music-encoding.org/ns/mei}"
    order = {staff: number for number, staff in enumerate(tree.iter(f"{space}staffDef"))}
    groups = tree.iter(f"{space}staffGrp")
    sign = f"{space}grpSym"
    return [
        [order[staff] for staff in group.findall(f"{space}staffDef")]
        for group in groups
        if group.get("symbol") == "brace" or any(s.get("symbol") == "brace" for s in group.findall(sign))
    ]


@dataclass(slots=True)
class Head:
    """A notehead: where it stands, the music21 objects (the note; the chord that holds it, or the note again)."""

    part: int
    staff: int
    voice: int
    bar: int
    offset: float | Fraction
    length: float | Fraction
    pitch: float  # sounding, in semitones, as MIDI counts
    grace: bool
    note: NotRest
    owner: NotRest
    facts: NoteFacts | None


def walk_bars(parsed: Parsed) -> Iterator[tuple[int, int, int, Measure]]:
    """(part, staff from 1, bar, its measure), in order."""
    for part, staves in enumerate(parsed.staves()):
        for staff, stream in enumerate(staves, start=1):
            for bar, measure in enumerate(of_class(stream, "Measure")):
                yield part, staff, bar, measure


def of_class(stream: Stream, name: str) -> list[Any]:
    """The elements of a stream that are of a music21 class; its own iterators cost more than the rest of the walk."""
    return [element for element in stream.elements if name in element.classSet]


def layers(measure: Measure) -> Iterator[tuple[int, Stream, float | Fraction]]:
    """(voice number from 1, stream of notes, its offset in the bar) of a bar."""
    yield 1, measure, 0.0
    for number, voice in enumerate(of_class(measure, "Voice"), start=1):
        name = str(voice.id)
        number = int(name) if name.isdecimal() and 0 < int(name) < 100 else number
        yield number, voice, measure.elementOffset(voice)


def walk_heads(parsed: Parsed) -> list[Head]:
    """Every notehead of the score; rests, chord symbols and cues that are not to be seen are none."""
    heads: list[tuple[int, Head]] = []
    shift = _Shifts(parsed)
    for part, staff, bar, measure in walk_bars(parsed):
        for number, layer, start in layers(measure):
            voice = (staff - 1) * VOICES_A_STAFF + number
            for owner in of_class(layer, "NotRest"):
                if "Harmony" in owner.classSet:
                    continue
                offset = layer.elementOffset(owner) + start
                for note in owner.notes if "ChordBase" in owner.classSet else (owner,):
                    place = note_number(note) if parsed.facts else None
                    facts = parsed.facts.notes[place] if parsed.facts and place is not None else None
                    head = Head(
                        part=part,
                        staff=facts.staff if facts else staff,
                        voice=facts.voice if facts else voice,
                        bar=bar,
                        offset=offset,
                        length=0.0 if owner.duration.isGrace else owner.quarterLength,
                        pitch=_pitch(note, facts) + (facts.shift if facts else shift(part, staff, measure, offset)),
                        grace=owner.duration.isGrace,
                        note=note,
                        owner=owner,
                        facts=facts,
                    )
                    if not (facts and facts.cue and facts.hidden):
                        heads.append((len(heads) if place is None else place, head))
    if parsed.facts:
        heads.sort(key=lambda pair: pair[0])
    return [head for _, head in heads]


def pitch_of(note: NotRest) -> Pitch | None:
    """The written pitch of a notehead; None where it has none, as in percussion."""
    return None if "Unpitched" in note.classSet else note.pitches[0]


def _pitch(note: NotRest, facts: NoteFacts | None) -> float:
    if (pitch := pitch_of(note)) is not None:
        return pitch.ps
    if facts and facts.unpitched is not None:
        return facts.unpitched
    sound = getattr(note.storedInstrument, "percMapPitch", None)
    return 60 if sound is None else sound


class _Shifts:
    """Semitones from written to sounding where the file is not MusicXML: by the instruments of each staff."""

    def __init__(self, parsed: Parsed):
        self._changes: dict[tuple[int, int], list[tuple[float, float]]] = {}
        if parsed.facts:
            return
        for part, staves in enumerate(parsed.staves()):
            for staff, stream in enumerate(staves, start=1):
                changes = [
                    (float(stream.elementOffset(i)), i.transposition.semitones)
                    for i in stream.getElementsByClass("Instrument")
                    if i.transposition is not None
                ]
                if changes and stream.atSoundingPitch is False:
                    self._changes[part, staff] = changes

    def __call__(self, part: int, staff: int, measure: Measure, offset: float | Fraction) -> float:
        changes = self._changes.get((part, staff))
        if not changes:
            return 0
        here = float(measure.offset + offset)
        return next((semitones for start, semitones in reversed(changes) if start <= here + ROUNDING), 0)
