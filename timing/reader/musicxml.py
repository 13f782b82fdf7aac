"""What music21 does not carry over from MusicXML, read from the elements themselves.

music21 reads pitches, lengths, ties, slurs, articulations, words, dynamics and metronome marks. It leaves
out, and this module adds: voice numbers of bars with one voice; string, fret and finger of each chord member; the sound
of unpitched notes; whether a grace note is slashed or takes its time from the note before; the direction of an arpeggio
on each note; hammer-on and pull-off by note; slides and glissandi by note (music21 ties them to the whole chord); where
exactly hairpins, pedal lines, dashes and endings begin and end; the jumps of <sound>; all bar lines of a bar, with
their fermatas; tuning and capo, in elements and in words.

A music21 note is matched to its element by a number that travels through music21 in the element's `relative-x`
attribute (music21 keeps it as `style.relativeX`).

Source: MusicXML 4.0 (W3C Music Notation Community Group).
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from fractions import Fraction
from typing import TYPE_CHECKING
from xml.etree.ElementTree import Element, SubElement

from timing.reader.cues import judge, tie_cues
from timing.reader.directions import Directions, MarkLine, find_lost_endings
from timing.reader.figures import figure, leave_out
from timing.reader.guard import Raw, metres
from timing.reader.mending import LONGEST_BAR, mend
from timing.reader.slips import Slips, and_more
from timing.reader.tunings import MOST_CAPO, string_words, words_of
from timing.remarks import CannotDo, Remark, Severity

if TYPE_CHECKING:
    from music21.note import GeneralNote

MOST_VOICES = 64
_MOST_NAMED = 3  # parts that are left out

_TAG = "relative-x"
_STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


@dataclass(slots=True)
class NoteFacts:
    """What the file says of one notehead or rest."""

    element: Element
    voice: int
    staff: int
    shift: int  # semitones from written to sounding
    voice_name: str = ""  # as written
    start: Fraction = Fraction(0)  # quarters after the bar line
    length: Fraction = Fraction(0)  # as written on this head
    chord: int = -1  # the place of the first note of its chord
    rest: bool = False
    whole_bar: bool = False  # a rest of the whole bar, by its sign
    hidden: bool = False  # not printed
    cue: bool = False
    silent: bool = False  # a cue of what another part plays
    slashed: bool = False
    after: bool = False  # a grace note that takes its time from the note before
    ring: bool = False
    left_hand: bool = False
    roll: int = 0
    string: int = 0
    fret: int = -1
    finger: int = -1
    unpitched: int | None = None


@dataclass
class FileFacts:
    notes: list[NoteFacts] = field(default_factory=list)
    lines: list[MarkLine] = field(default_factory=list)
    slides: list[tuple[int, int, str]] = field(default_factory=list)  # (from, to) in notes, words
    tunings: dict[int, dict[int, int]] = field(default_factory=dict)  # part -> string -> pitch
    retuned: dict[int, dict[int, int]] = field(default_factory=dict)  # part -> string -> semitones above C, by words
    capos: dict[int, int] = field(default_factory=dict)  # part -> fret
    plain: set[int] = field(default_factory=set)  # parts in plain treble clefs, without <transpose>
    implicit: set[int] = field(default_factory=set)  # bars whose number is not printed
    unnumbered: set[int] = field(default_factory=set)  # bars without a number
    filled: dict[int, Fraction] = field(default_factory=dict)  # how far the fullest part goes in each bar
    hidden: list[tuple[Element, str, str | None]] = field(default_factory=list)  # from music21: with tag and text
    metres: list[str] = field(default_factory=list)  # the upper figures of all time signatures
    remarks: list[Remark] = field(default_factory=list)
    slips: Slips = field(default_factory=Slips)  # what there is to say of bars once they have names


def note_number(element: GeneralNote) -> int | None:
    """The place in `FileFacts.notes` of a music21 note."""
    return int(element.style.relativeX) if element.hasStyleInformation and element.style.relativeX is not None else None


def read_facts(root: Element, raw: Raw) -> FileFacts:
    """Mend the tree, walk it once, prepare it for music21, and gather what music21 leaves out. CannotDo for what no
    music needs."""
    facts = FileFacts()
    if root.find("part-list/score-part") is None:
        raise raw.refuse("score-broken", "names no parts: its <part-list> is missing or empty")
    listed = {part.get("id") for part in root.iterfind("part-list/score-part")} | {None}
    parts = [part for part in root.iterfind("part") if part.get("id") in listed]
    others = [part for part in root.iterfind("part") if part.get("id") not in listed]
    leave_out(root, others)  # music21 passes over them: nobody else shall see them either
    facts.remarks += _left_out([part.get("id", "") for part in others])
    if all(part.find("measure") is None for part in parts):
        raise raw.refuse("score-empty", "holds no bars")
    mend(root, parts, facts.slips)
    sounds = {
        instrument.get("id"): int(unpitched) - 1
        for instrument in root.iter("midi-instrument")
        if (unpitched := (instrument.findtext("midi-unpitched") or "").strip()).isdecimal()
    }
    for number, part in enumerate(parts):
        _PartWalk(facts, number, part, sounds, raw).run()
    metres(raw, facts.metres)
    find_lost_endings(facts.lines, facts.slips)
    return facts


def _left_out(parts: list[str]) -> list[Remark]:
    """A caution for the parts, by their ids, that the part list does not name: music21 passes over them."""
    if not parts:
        return []
    named = ", ".join(repr(part[:20]) for part in parts[:_MOST_NAMED]) + and_more(len(parts) - _MOST_NAMED)
    which = f"parts {named} are" if len(parts) > 1 else f"part {named} is"
    pronoun = "them" if len(parts) > 1 else "it"
    message = f"the {which} left out: the part list does not name {pronoun}"
    return [Remark(Severity.CAUTION, "part-left-out", message)]


def untag(facts: FileFacts) -> None:
    """Make the tree what it was: without the numbers, with all that was hidden."""
    for note in facts.notes:
        note.element.attrib.pop(_TAG, None)
    for element, tag, text in facts.hidden:
        element.tag, element.text = tag, text


class _PartWalk:
    """One walk through a part, with the time in quarters as its cursor."""

    def __init__(self, facts: FileFacts, number: int, part: Element, sounds: dict[str | None, int], raw: Raw):
        self.facts, self.number, self.part, self.sounds, self.raw = facts, number, part, sounds, raw
        self.divisions = Fraction(1)
        self.shifts: dict[int, int] = {}
        self.clefs: set[bool] = set()  # whether each is a plain treble clef
        self.begins: int | None = None  # the bar of the first note
        self.bar, self.cursor, self.voice = 0, Fraction(0), "1"
        self.chord: list[int] = []
        self.chord_start = Fraction(0)
        self.slides: dict[tuple[str, str], tuple[int, str]] = {}
        measures = part.findall("measure")
        self.names = [measure.get("number", str(row))[:12] for row, measure in enumerate(measures, start=1)]
        self.directions = Directions(number, len(measures), facts.lines, facts.slips)
        self.reach: dict[str, dict[int, Fraction]] = {}  # voice -> staff -> end within the bar
        self.per_staff = False
        self.first = len(facts.notes)  # the part's first note
        self.staves = max((int(staves.text or 1) for staves in part.iterfind("measure/attributes/staves")), default=1)

    def run(self) -> None:
        handlers = {
            "note": self._note, "backup": self._backup, "forward": self._forward, "attributes": self._attributes,
            "direction": self._direction,
            "sound": lambda sound: self.directions.sound(sound, self.bar, self.cursor),
            "harmony": self._harmony,
            "barline": lambda line: self.directions.bar_line(line, self.bar, self.cursor),
        }  # fmt: skip
        for self.bar, measure in enumerate(self.part.findall("measure")):  # noqa: B020
            self.cursor, self.reach, fullest, first = Fraction(0), {}, Fraction(0), len(self.facts.notes)
            if not re.search(r"\d", measure.get("number", "")):
                self.facts.unnumbered.add(self.bar)
            if measure.get("implicit") == "yes":
                self.facts.implicit.add(self.bar)
            _join_chords(measure)
            for element in measure:
                if handler := handlers.get(element.tag):
                    handler(element)
                    fullest = max(fullest, self.cursor)
                if self.cursor > LONGEST_BAR:
                    raise self._absurd(f"a bar longer than {LONGEST_BAR:,} quarters")
            if len(self.reach) > MOST_VOICES:
                raise self._absurd(f"{len(self.reach)} voices in one bar")
            judge(self.facts.notes[first:])
            self.facts.filled[self.bar] = max(fullest, self.facts.filled.get(self.bar, Fraction(0)))
        self.directions.close()
        self._number_voices()
        if self.clefs == {True} and not self.shifts:
            self.facts.plain.add(self.number)

    # -- time

    def _absurd(self, what: str) -> CannotDo:
        name = self.names[self.bar] if self.names else "1"
        return self.raw.refuse("score-unsafe", f"asks for {what}, in bar {name}; no music needs that")

    def _length(self, element: Element) -> Fraction:
        return (figure(element.find("duration")) or Fraction(0)) / self.divisions

    def _backup(self, element: Element) -> None:
        self.cursor -= self._length(element)

    def _forward(self, element: Element) -> None:
        self.cursor += self._length(element)

    def _attributes(self, element: Element) -> None:
        if (divisions := element.find("divisions")) is not None:
            self.divisions = figure(divisions) or self.divisions
        for time in element.iterfind("time"):
            if time.find("senza-misura") is None:
                self.facts.metres.append("+".join(group.text or "" for group in time.iterfind("beats")))
        for transpose in element.findall("transpose"):
            self._transpose(transpose)
        self.clefs |= {_plain_treble(clef) for clef in element.findall("clef") if clef.findtext("sign") != "TAB"}
        for details in element.findall("staff-details"):
            self._tuning(details.findall("staff-tuning"), lines=int(details.findtext("staff-lines") or 0))
            if (capo := details.findtext("capo", "").strip()).isdecimal() and len(capo) < 3:
                self.facts.capos[self.number] = min(int(capo), MOST_CAPO)

    def _transpose(self, element: Element) -> None:
        chromatic = int(figure(element.find("chromatic")) or 0)
        shift = chromatic + 12 * int(figure(element.find("octave-change")) or 0)
        staff = element.get("number", "")
        for number in [int(staff)] if staff.isdecimal() else range(1, self.staves + 1):
            self.shifts[number] = shift
        if element.find("diatonic") is None:  # optional in MusicXML, music21 wants it
            diatonic = Element("diatonic")
            diatonic.text = str(round(chromatic * 7 / 12))
            element.insert(0, diatonic)

    def _tuning(self, tunings: list[Element], lines: int) -> None:
        """Strings count from the highest; <staff-tuning> counts lines from the lowest, <accord> counts strings."""
        strings = self.facts.tunings.setdefault(self.number, {}) if tunings else {}
        counted = [(t, int(t.get("line" if t.tag == "staff-tuning" else "string", 0))) for t in tunings]
        lines = max([lines, *(number for _, number in counted)], default=0)
        for tuning, number in counted:
            step, octave = tuning.findtext("tuning-step", ""), tuning.findtext("tuning-octave", "")
            string = number if tuning.tag == "accord" else lines + 1 - number
            if step in _STEPS and octave.isdecimal() and 1 <= string <= 12:
                alter = round(float(tuning.findtext("tuning-alter") or 0))
                strings[string] = _STEPS[step] + alter + 12 * (int(octave) + 1)

    def _direction(self, element: Element) -> None:
        offset = element.find("offset")
        at = self.cursor + (figure(offset) or 0) / self.divisions
        staff = int(figure(element.find("staff")) or 0)
        for scordatura in element.iterfind("direction-type/scordatura"):
            self._tuning(scordatura.findall("accord"), 0)
        self._strings_in_words(element, staff, at)
        self.directions.direction(element, staff, self.bar, at)

    def _strings_in_words(self, direction: Element, staff: int, at: Fraction) -> None:
        """Take note of what the words of a direction say of strings, and leave the rest of them to be read as words. A
        capo counts at the beginning only: later on the word may mean a barré."""
        text, german = words_of(direction)
        said = string_words(text, german) if text else None
        early = self.begins in (None, self.bar)
        if said is None or not (said.tuning or (said.capo and early)):
            return
        here = (self.number, staff, self.bar, at, self.bar, at)
        if said.tuning:
            self.facts.lines.append(MarkLine("tuning", *here, float(early), said.tuned))
            if early:
                self.facts.retuned.setdefault(self.number, {}).update(said.tuning)
        if said.capo and early:
            self.facts.lines.append(MarkLine("capo", *here, float(said.capo), said.capo_words))
        rest = said.rest if early or not said.capo else f"{said.rest} {said.capo_words}".strip()
        for words in list(direction.iter("words")):
            self._hide(words)
            if rest:
                words.tag, words.text, rest = "words", rest, ""

    def _harmony(self, element: Element) -> None:
        """Chord symbols do not sound, and some that are broken keep music21 busy for ever."""
        self._hide(element)

    def _hide(self, element: Element) -> None:
        """Keep an element from music21; see `untag`."""
        self.facts.hidden.append((element, element.tag, element.text))
        element.tag = f"hidden-{element.tag}"

    # -- notes

    def _note(self, element: Element) -> None:
        if self.staves > 1 and element.find("staff") is None:
            SubElement(element, "staff").text = "1"
        staff = int(figure(element.find("staff")) or 1)
        chord = element.find("chord") is not None
        grace = element.find("grace")
        voice = (element.findtext("voice") or "").strip() or (self.voice if chord else "1")
        length = Fraction(0) if grace is not None else self._length(element)
        start = self.chord_start if chord else self.cursor
        if not chord:
            self.chord, self.chord_start, self.voice = [], self.cursor, voice
            self.cursor += length
        rest = element.find("rest")
        if grace is None and rest is None:
            reach = self.reach.setdefault(voice, {})
            self.per_staff |= any(end > start for other, end in reach.items() if other != staff) and not chord
            reach[staff] = max(reach.get(staff, Fraction(0)), start + length)
        element.set(_TAG, str(len(self.facts.notes)))
        self.chord.append(len(self.facts.notes))
        if self.begins is None and rest is None:
            self.begins = self.bar
        facts = NoteFacts(
            element, 0, staff, self.shifts.get(staff, 0), voice, max(Fraction(0), start), length, self.chord[0],
            rest=rest is not None, whole_bar=rest is not None and rest.get("measure") == "yes",
            hidden=element.get("print-object") == "no", cue=element.find("cue") is not None,
        )  # fmt: skip
        if facts.cue:
            tie_cues(element)
        self.facts.notes.append(facts)
        if grace is not None:
            facts.slashed = grace.get("slash") == "yes"
            facts.after = grace.get("steal-time-previous") is not None and grace.get("steal-time-following") is None
        if element.find("unpitched") is not None:
            instrument = element.find("instrument")
            first = next(iter(self.sounds.values()), None)
            facts.unpitched = self.sounds.get(instrument.get("id") if instrument is not None else None, first)
        facts.roll = self.facts.notes[self.chord[0]].roll
        for notations in element.findall("notations"):
            self._notations(notations, facts)

    def _notations(self, notations: Element, facts: NoteFacts) -> None:
        here = len(self.facts.notes) - 1
        for item in notations:
            if item.tag == "technical":
                for sign in item:
                    self._technical(sign, facts)
            elif item.tag == "tied" and item.get("type") == "let-ring":
                facts.ring = True
            elif item.tag == "arpeggiate":
                for member in self.chord:  # some programs write the sign on one member alone
                    self.facts.notes[member].roll = -1 if item.get("direction") == "down" else 1
            elif item.tag in ("glissando", "slide"):
                key = (item.tag, item.get("number", "1"))
                if item.get("type") == "start":
                    self.slides[key] = (here, (item.text or "").strip())
                elif item.get("type") == "stop" and (start := self.slides.pop(key, None)):
                    self.facts.slides.append((start[0], here, start[1]))

    def _technical(self, sign: Element, facts: NoteFacts) -> None:
        text = (sign.text or "").strip()
        if sign.tag == "string" and text.isdecimal() and 1 <= int(text) <= 12:
            facts.string = int(text)
        elif sign.tag == "fret" and text.isdecimal() and int(text) <= 36:
            facts.fret = int(text)
        elif sign.tag == "fingering" and text.isdecimal() and int(text) <= 5 and facts.finger < 0:
            facts.finger = int(text)
        elif sign.tag == "open-string":
            facts.fret = 0
        elif sign.tag in ("hammer-on", "pull-off") and sign.get("type") == "stop":
            facts.left_hand = True

    def _number_voices(self) -> None:
        """Voices as numbers that are unique within the part: where every staff counts its own voices from 1, the
        second staff's numbers go on after the first's; a voice that wanders between staves keeps its number."""
        mine = self.facts.notes[self.first :]
        names = {facts.voice_name for facts in mine}
        numbers = {voice: int(voice) for voice in names if voice.isdecimal() and int(voice) < 1000}
        top = max(numbers.values(), default=0)
        for place, voice in enumerate(sorted(names - numbers.keys()), start=1):
            numbers[voice] = top + place
        top = max(numbers.values(), default=0)
        for facts in mine:
            facts.voice = numbers[facts.voice_name] + (top * (facts.staff - 1) if self.per_staff else 0)


def _plain_treble(clef: Element) -> bool:
    """Whether a clef is the treble clef, with nothing to say that it sounds in another octave."""
    sign, line = clef.findtext("sign", "").strip(), clef.findtext("line", "2").strip()
    return (sign, line) == ("G", "2") and clef.findtext("clef-octave-change", "0").strip() == "0"


def _join_chords(measure: Element) -> None:
    """Put what stands between the members of a chord before it: music21 takes such members for notes of their own."""
    first = last = None
    for place, element in enumerate(list(measure)):
        if element.tag != "note":
            continue
        if first is None or last is None or element.find("chord") is None:
            first = last = place
        elif place != last + 1:
            between = list(measure)[last + 1 : place]
            for other in between:
                measure.remove(other)
            for step, other in enumerate(between):
                measure.insert(first + step, other)
            first, last = first + len(between), place
        else:
            last = place
