"""Numbers in MusicXML that cannot be music, mended before anything reads them.

One slip of a program or a hand must not cost the whole score: a length below nothing, a tuplet of thousands, a
<backup> to before the bar. Each is put right by what stands beside it, or left out where it says nothing, and told.
What no mending can make bounded (bars without end, metres by the thousand) is still refused, by `timing.reader.guard`
and `timing.reader.musicxml`.

Source: MusicXML 4.0 (W3C Music Notation Community Group) for what each number may be; the bounds are the house's own.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from fractions import Fraction
from functools import cached_property
from xml.etree.ElementTree import Element

from timing.reader.figures import MOST_NUMBER, VALUES, between, figure, leave_out, tidy, whole, within
from timing.reader.guard import MOST_BEATS, SMALLEST_UNIT
from timing.reader.slips import Slips

LONGEST_BAR = 4096  # quarters; the longest written-out cadenza has some hundreds
MOST_DIVISIONS = 10**7
ROUNDED = Fraction(1, 8)  # quarters by which <backup> may go too far without a word: files round their tuplets
MOST_TIMES = 64  # that a repeat is heard
MOST_STAVES, MOST_IN_TUPLET, MOST_FIFTHS, MOST_SHIFT = 16, 512, 28, 60
MOST_STROKES, MOST_TUPLETS = 8, 6  # of a tremolo; within each other
MOST_LINES, MOST_STRINGS, MOST_OCTAVES, HIGHEST_OCTAVE, MOST_ALTER = 12, 12, 2, 12, 4

_ALTERS = {*range(-MOST_ALTER, MOST_ALTER + 1), *(Fraction(quarters, 2) for quarters in (-3, -1, 1, 3))}
_ENDING = re.compile(r"\s*(\d{1,2}\s*([,\s-]\s*\d{1,2}\s*)*)?", re.ASCII)  # the times it is for: "1", "1, 2", ""
_DIRECTIONS = ("forward", "backward")
_SHIFTS = ("8", "15", "22")
_ON_STAVES = {"key", "time", "clef", "transpose", "staff-details", "measure-style"}
_STEPS = set("ABCDEFG")
_OF_PITCH = {"tie", "instrument", "accidental", "notehead", "notehead-text", "stem"}  # what a rest has none of
_OF_RESTS = {"tuplet", "fermata"}  # the notations that a rest can have
_MENDED = "a number that cannot be music ({what}) is mended in {bars}: "
_SHOWN = 12  # letters of a number that is none


def mend(root: Element, parts: list[Element], slips: Slips) -> None:
    """Mend the numbers of a score in place, and remember the slips in these parts. What is beside the music, as where
    things stand on the paper, is put right without a word."""
    tidy(root)
    for part in parts:
        _Part(part, slips).run()


class _Part:
    """One walk through the bars of a part, with the time in quarters as its cursor, negative before the bar line."""

    def __init__(self, part: Element, slips: Slips):
        self._part, self._slips = part, slips
        self._row, self._divisions, self._cursor = 0, Fraction(1), Fraction(0)
        self._left_out: list[Element] = []  # of the notes of this bar
        self._unread: tuple[Element, Fraction] | None = None  # the note before, if it has no pitch any more; its length

    def run(self) -> None:
        handlers: dict[str, Callable[[Element], None]] = {
            "attributes": self._attributes, "note": self._note, "backup": self._backup, "forward": self._forward,
            "direction": self._direction, "barline": self._bar_line,
        }  # fmt: skip
        for row, measure in enumerate(self._part.iterfind("measure")):
            self._row, self._cursor = row, Fraction(0)
            self._left_out, self._unread = [], None
            for element in measure:
                if handler := handlers.get(element.tag):
                    handler(element)
            leave_out(measure, self._left_out)

    def _slip(self, done: str, element: Element) -> None:
        text = " ".join("".join(element.itertext()).split()) or element.get("times", "")
        what = f"{element.tag} {text[:_SHOWN] or 'without a value'}"
        self._slips.remember("bad-number", _MENDED + done, self._row, what)

    def _drop(self, parent: Element, element: Element, done: str) -> None:
        self._slip(done, element)
        parent.remove(element)

    def _drop_attribute(self, element: Element, key: str, done: str) -> None:
        said = Element(f"{element.tag} {key}")
        said.text = element.attrib.pop(key, "")
        self._slip(done, said)

    # -- time

    def _length(self, element: Element, done: str, instead: Callable[[], Fraction]) -> Fraction:
        """The quarters that a <duration> says, mended where it says none that can be; none without one."""
        duration = element.find("duration")
        if duration is None:
            return Fraction(0)
        value = figure(duration)
        if value is None or not 0 <= value / self._divisions <= LONGEST_BAR:
            self._slip(done, duration)
            value = self._set(duration, instead())
        return value / self._divisions

    def _set(self, duration: Element, quarters: Fraction) -> Fraction:
        duration.text = f"{float(quarters * self._divisions):.12g}"
        return Fraction(duration.text)

    def _backup(self, element: Element) -> None:
        here = max(Fraction(0), self._cursor)
        length = self._length(element, "the next voice begins with the bar", lambda: here)
        duration = element.find("duration")
        if duration is not None and length > here + ROUNDED and here == self._cursor:
            self._slip("it goes back to the bar line and no further", duration)
        if duration is not None and length > here:
            self._set(duration, here)
        self._cursor -= length

    def _forward(self, element: Element) -> None:
        """Where <backup> went to before the bar, <forward> comes back from there."""
        length = self._length(element, "it goes no way forward", lambda: Fraction(0))
        duration = element.find("duration")
        if self._cursor < 0 and length and duration is not None:
            self._set(duration, max(Fraction(0), self._cursor + length))
        self._cursor += length

    # -- notes

    def _note(self, element: Element) -> None:
        chord = self._chord(element)
        self._tuplets(element)
        duration, length = element.find("duration"), Fraction(0)
        if element.find("grace") is None:
            length = self._length(element, "it is as long as its note value", lambda: self._value(element))
        elif duration is not None and not within(figure(duration), 0, LONGEST_BAR * MOST_DIVISIONS):
            self._drop(element, duration, "a grace note has no length of its own")
        if not chord:
            self._cursor = max(Fraction(0), self._cursor) + length
        self._staff(element)
        for tremolo in element.iterfind("notations/ornaments/tremolo"):
            if not whole(tremolo, 0, MOST_STROKES) and (text := (tremolo.text or "").strip()):
                strokes = str(MOST_STROKES) if text.isdecimal() else "3"
                self._slip(f"the tremolo has {strokes} strokes", tremolo)
                tremolo.text = strokes
        pitch = element.find("pitch")
        if pitch is not None:
            self._pitch(pitch)
            self._step(element, pitch, length)

    def _tuplets(self, element: Element) -> None:
        changed = element.find("time-modification")
        bad = changed is not None and not self._modified(changed)
        if changed is not None and bad:
            self._drop(element, changed, "it stands outside the tuplet, as long as its duration says")
        for notations in element.iterfind("notations"):
            if bad:
                leave_out(notations, notations.findall("tuplet"))
            for tuplet in notations.iterfind("tuplet"):
                if not between(tuplet.get("number", "1"), MOST_TUPLETS):
                    self._drop_attribute(tuplet, "number", "it is the only tuplet there")
                if any(not whole(count, 1, MOST_IN_TUPLET) for count in tuplet.iter("tuplet-number")):
                    sides = tuplet.findall("tuplet-actual") + tuplet.findall("tuplet-normal")
                    leave_out(tuplet, sides)  # the time modification says the same

    def _modified(self, changed: Element) -> bool:
        counts = [count for count in changed if count.tag in ("actual-notes", "normal-notes")]
        return len(counts) == 2 and all(whole(count, 1, MOST_IN_TUPLET) for count in counts)

    def _value(self, element: Element) -> Fraction:
        """The length of the written note value; a quarter where there is none."""
        value = Fraction(VALUES.get((element.findtext("type") or "").strip(), 1))
        value *= 2 - Fraction(1, 2 ** min(len(element.findall("dot")), 8))
        changed = element.find("time-modification")
        if changed is not None:
            normal, actual = figure(changed.find("normal-notes")), figure(changed.find("actual-notes"))
            value *= normal / actual if normal and actual else 1
        return value

    def _staff(self, element: Element) -> None:
        staff = element.find("staff")
        if staff is not None and not whole(staff, 1, MOST_STAVES):
            self._drop(element, staff, "it belongs to the first staff")

    def _pitch(self, pitch: Element) -> None:
        alter, octave = pitch.find("alter"), pitch.find("octave")
        if alter is not None:
            semitones = figure(alter)
            if semitones is None or abs(semitones) > MOST_ALTER:
                self._drop(pitch, alter, "the note is not altered")
            elif semitones not in _ALTERS:
                self._slip("the note lies on the nearest semitone", alter)
                alter.text = str(round(semitones))
        if octave is not None and not whole(octave, -1, HIGHEST_OCTAVE):
            self._slip("the note lies in the octave of middle C", octave)
            octave.text = "4"

    def _step(self, element: Element, pitch: Element, length: Fraction) -> None:
        """Put a rest where no step can be read; nothing for a grace note, nor in a chord: the next of it is then its
        first."""
        step = pitch.find("step")
        said = (pitch.findtext("step") or "").strip().upper()
        if step is not None and said in _STEPS:
            step.text = said
            return
        self._slip("the note is left out", pitch if step is None else step)
        if element.find("chord") is not None:
            self._left_out.append(element)
            return
        if element.find("grace") is not None:
            self._left_out.append(element)
        self._unread = element, length
        element[list(element).index(pitch)] = Element("rest")
        leave_out(element, [child for child in element if child.tag in _OF_PITCH])
        for notations in element.iterfind("notations"):
            leave_out(notations, [child for child in notations if child.tag not in _OF_RESTS])

    def _chord(self, element: Element) -> bool:
        """Whether a note sounds with the one before. What the first of a chord has lost, the next one has."""
        chord, unread, self._unread = element.find("chord"), self._unread, None
        if chord is not None and unread is not None:
            element.remove(chord)
            self._left_out.append(unread[0])
            self._cursor -= unread[1]
            chord = None
        return chord is not None

    def _direction(self, element: Element) -> None:
        self._staff(element)
        offset = element.find("offset")
        if offset is not None and figure(offset) is None:
            self._drop(element, offset, "the mark stands where it is written")
        for shift in element.iterfind("direction-type/octave-shift"):
            if shift.get("size", "8") not in _SHIFTS:
                self._drop_attribute(shift, "size", "the sign is for one octave")
        for scordatura in element.iterfind("direction-type/scordatura"):
            self._strings(scordatura)

    def _bar_line(self, element: Element) -> None:
        for ending in element.iterfind("ending"):
            if not _ENDING.fullmatch(ending.get("number", "1")):
                self._drop_attribute(ending, "number", "the ending is for the times that its text names, or the first")
                ending.set("number", ",".join(re.findall(r"[1-9]\d?", ending.text or "")) or "1")
        for repeat in element.iterfind("repeat"):
            if repeat.get("direction") not in _DIRECTIONS:
                opens = element.get("location") == "left"
                self._drop_attribute(repeat, "direction", "the repeat sign opens at the left of a bar, else it closes")
                repeat.set("direction", _DIRECTIONS[not opens])
            if not between(repeat.get("times", "2"), MOST_TIMES):
                self._slip("the repeat is played once more", repeat)
                del repeat.attrib["times"]

    # -- what holds from here

    def _attributes(self, element: Element) -> None:
        bad = list(_bad_attributes(element))
        for child, done in bad:
            self._slip(done, child)
        leave_out(element, [child for child, _ in bad])
        for child in element:
            if child.tag in _ON_STAVES and not between(child.get("number", "1"), MOST_NUMBER):
                self._drop_attribute(child, "number", "it holds where one without a number does")
        for staves in element.iterfind("staves"):
            if not whole(staves, 1, MOST_STAVES):
                self._slip("there are as many staves as the notes name", staves)
                staves.text = str(self._named_staves)
        for divisions in element.iterfind("divisions"):
            if not 0 < (figure(divisions) or 0) <= MOST_DIVISIONS:
                self._slip("the divisions before it hold", divisions)
                divisions.text = f"{float(self._divisions):.12g}"
            self._divisions = figure(divisions) or self._divisions
        for details in element.iterfind("staff-details"):
            self._strings(details)

    def _strings(self, details: Element) -> None:
        bad = [item for item in details if not _tuned(item)]
        for item in bad:
            self._slip("it says nothing of the strings", item)
        leave_out(details, bad)

    @cached_property
    def _named_staves(self) -> int:
        staves = (staff for staff in self._part.iter("staff") if whole(staff, 1, MOST_STAVES))
        return max((int(staff.text or 1) for staff in staves), default=1)


def _bad_attributes(element: Element) -> Iterator[tuple[Element, str]]:
    """The children of <attributes> whose numbers cannot be, and what becomes of each."""
    for time in element.iterfind("time"):
        if time.find("senza-misura") is None and not _metre(time):
            yield time, "the time signature before it holds"
    for key in element.iterfind("key"):
        if not _key(key):
            yield key, "the key before it holds"
    for clef in element.iterfind("clef"):
        bounds = {"line": (1, 5), "clef-octave-change": (-MOST_OCTAVES, MOST_OCTAVES)}
        if not all(whole(item, *bounds[item.tag]) for item in clef if item.tag in bounds):
            yield clef, "the clef before it holds"
    for transpose in element.iterfind("transpose"):
        semitones, steps, octaves = (transpose.find(tag) for tag in ("chromatic", "diatonic", "octave-change"))
        given = [semitones, *(item for item in (steps, octaves) if item is not None)]
        fair = all(whole(item, -MOST_SHIFT, MOST_SHIFT) for item in given)
        if not fair or abs((figure(semitones) or Fraction(0)) + 12 * (figure(octaves) or Fraction(0))) > MOST_SHIFT:
            yield transpose, "the part sounds as it is written"


def _key(key: Element) -> bool:
    steps, alters = key.findall("key-step"), key.findall("key-alter")
    return (
        all(whole(fifths, -MOST_FIFTHS, MOST_FIFTHS) for fifths in key.iterfind("fifths"))
        and len(steps) == len(alters)
        and all((step.text or "").strip() in _STEPS for step in steps)
        and all(figure(alter) in _ALTERS for alter in alters)
    )


def _metre(time: Element) -> bool:
    beats = [figure.strip() for group in time.iterfind("beats") for figure in (group.text or "").split("+")]
    units = [(unit.text or "").strip() for unit in time.iterfind("beat-type")]
    return (
        bool(beats and units)
        and all(between(figure, MOST_BEATS) for figure in beats)
        and all(between(unit, SMALLEST_UNIT) for unit in units)
        and sum(map(int, beats)) <= MOST_BEATS
    )


def _tuned(item: Element) -> bool:
    if item.tag == "staff-lines":
        return whole(item, 0, MOST_LINES)
    if item.tag not in ("staff-tuning", "accord"):
        return True
    alter = item.find("tuning-alter")
    return (
        between(item.get("string" if item.tag == "accord" else "line", "0"), MOST_STRINGS)
        and whole(item.find("tuning-octave"), 0, HIGHEST_OCTAVE)
        and (alter is None or within(figure(alter), -MOST_ALTER, MOST_ALTER))
    )
