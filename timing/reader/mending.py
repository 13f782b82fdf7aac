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
from xml.etree.ElementTree import Element

from timing.reader.guard import MOST_BEATS, SMALLEST_UNIT
from timing.reader.slips import Slips

LONGEST_BAR = 4096  # quarters; the longest written-out cadenza has some hundreds
MOST_DIVISIONS = 10**7
ROUNDED = Fraction(1, 8)  # quarters by which <backup> may go too far without a word: files round their tuplets
MOST_TIMES = 64  # that a repeat is heard
MOST_STAVES, MOST_IN_TUPLET, MOST_FIFTHS, MOST_SHIFT = 16, 512, 28, 60
MOST_LINES, MOST_STRINGS, MOST_OCTAVES, HIGHEST_OCTAVE, MOST_ALTER = 12, 12, 2, 12, 4

_NUMBER = re.compile(r"[+-]?\d{1,12}(\.\d{1,12})?", re.ASCII)
_VALUES = {
    "maxima": 32, "long": 16, "breve": 8, "whole": 4, "half": 2, "quarter": 1, "eighth": Fraction(1, 2),
    **{f"{n}th": Fraction(4, n) for n in (16, 64, 128, 256, 512, 1024)}, "32nd": Fraction(1, 8),
}  # fmt: skip
_ALTERS = {*range(-MOST_ALTER, MOST_ALTER + 1), *(Fraction(quarters, 2) for quarters in (-3, -1, 1, 3))}
_PLACES = {"default-x", "default-y", "relative-x", "relative-y"}
_MENDED = "a number that cannot be music ({what}) is mended in {bars}: "
_SHOWN = 12  # letters of a number that is none


def figure(element: Element | None) -> Fraction | None:
    """The number that an element holds; None if it holds none."""
    text = (element.text or "").strip() if element is not None else ""
    return Fraction(text) if _NUMBER.fullmatch(text) else None


def whole(element: Element | None, least: int, most: int) -> bool:
    """Whether an element holds a whole number between these, both included."""
    value = figure(element)
    return value is not None and value.denominator == 1 and least <= value <= most


def mend(root: Element, parts: list[Element], slips: Slips) -> None:
    """Mend the numbers of a score in place, and remember the slips in these parts. Where things stand on the paper is
    put right without a word."""
    for part in parts:
        _Part(part, slips).run()
    for element in root.iter():
        for key in _PLACES.intersection(element.attrib):
            if not _NUMBER.fullmatch(element.get(key).strip()):
                del element.attrib[key]
    for defaults in root.findall("defaults"):
        if any(figure(item) is None for tag in ("tenths", "millimeters") for item in defaults.iter(tag)):
            root.remove(defaults)


class _Part:
    """One walk through the bars of a part, with the time in quarters as its cursor, negative before the bar line."""

    def __init__(self, part: Element, slips: Slips):
        self._part, self._slips = part, slips
        self._row, self._divisions, self._cursor = 0, Fraction(1), Fraction(0)

    def run(self) -> None:
        handlers: dict[str, Callable] = {
            "attributes": self._attributes, "note": self._note, "backup": self._backup, "forward": self._forward,
            "direction": self._direction, "barline": self._bar_line,
        }  # fmt: skip
        for row, measure in enumerate(self._part.iterfind("measure")):
            self._row, self._cursor = row, Fraction(0)
            for element in list(measure):
                if handler := handlers.get(element.tag):
                    handler(element)

    def _slip(self, done: str, element: Element) -> None:
        text = " ".join("".join(element.itertext()).split()) or element.get("times", "")
        what = f"{element.tag} {text[:_SHOWN] or 'without a value'}"
        self._slips.remember("bad-number", _MENDED + done, self._row, what)

    def _drop(self, parent: Element, element: Element, done: str) -> None:
        self._slip(done, element)
        parent.remove(element)

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
        if length > here + ROUNDED and here == self._cursor:
            self._slip("it goes back to the bar line and no further", element.find("duration"))
        if length > here:
            self._set(element.find("duration"), here)
        self._cursor -= length

    def _forward(self, element: Element) -> None:
        """Where <backup> went to before the bar, <forward> comes back from there."""
        length = self._length(element, "it goes no way forward", lambda: Fraction(0))
        if self._cursor < 0 and length:
            self._set(element.find("duration"), max(Fraction(0), self._cursor + length))
        self._cursor += length

    # -- notes

    def _note(self, element: Element) -> None:
        changed = element.find("time-modification")
        if changed is not None and not self._modified(changed):
            self._drop(element, changed, "it stands outside the tuplet, as long as its duration says")
            for notations in element.iterfind("notations"):
                for tuplet in notations.findall("tuplet"):
                    notations.remove(tuplet)
        length = Fraction(0)
        if element.find("grace") is None:
            length = self._length(element, "it is as long as its note value", lambda: self._value(element))
        if element.find("chord") is None:
            self._cursor = max(Fraction(0), self._cursor) + length
        self._staff(element)
        pitch = element.find("pitch")
        if pitch is not None:
            self._pitch(pitch)

    def _modified(self, changed: Element) -> bool:
        counts = [count for count in changed if count.tag in ("actual-notes", "normal-notes")]
        return len(counts) == 2 and all(whole(count, 1, MOST_IN_TUPLET) for count in counts)

    def _value(self, element: Element) -> Fraction:
        """The length of the written note value; a quarter where there is none."""
        value = Fraction(_VALUES.get((element.findtext("type") or "").strip(), 1))
        value *= 2 - Fraction(1, 2 ** min(len(element.findall("dot")), 8))
        changed = element.find("time-modification")
        if changed is not None:
            value *= figure(changed.find("normal-notes")) / figure(changed.find("actual-notes"))
        return value

    def _staff(self, element: Element) -> None:
        staff = element.find("staff")
        if staff is not None and not whole(staff, 1, MOST_STAVES):
            self._drop(element, staff, "it belongs to the first staff")

    def _pitch(self, pitch: Element) -> None:
        alter, octave = pitch.find("alter"), pitch.find("octave")
        if alter is not None and (figure(alter) is None or abs(figure(alter)) > MOST_ALTER):
            self._drop(pitch, alter, "the note is not altered")
        elif alter is not None and figure(alter) not in _ALTERS:
            self._slip("the note lies on the nearest semitone", alter)
            alter.text = str(round(figure(alter)))
        if octave is not None and not whole(octave, -1, HIGHEST_OCTAVE):
            self._slip("the note lies in the octave of middle C", octave)
            octave.text = "4"

    def _direction(self, element: Element) -> None:
        self._staff(element)
        offset = element.find("offset")
        if offset is not None and figure(offset) is None:
            self._drop(element, offset, "the mark stands where it is written")

    def _bar_line(self, element: Element) -> None:
        for repeat in element.iterfind("repeat"):
            if not _between(repeat.get("times", "2"), MOST_TIMES):
                self._slip("the repeat is played once more", repeat)
                del repeat.attrib["times"]

    # -- what holds from here

    def _attributes(self, element: Element) -> None:
        for bad, done in list(_bad_attributes(element)):
            self._drop(element, bad, done)
        for staves in element.iterfind("staves"):
            if not whole(staves, 1, MOST_STAVES):
                self._slip("there are as many staves as the notes name", staves)
                named = [int(staff.text) for staff in self._part.iter("staff") if whole(staff, 1, MOST_STAVES)]
                staves.text = str(max(named, default=1))
        for divisions in element.iterfind("divisions"):
            if not 0 < (figure(divisions) or 0) <= MOST_DIVISIONS:
                self._slip("the divisions before it hold", divisions)
                divisions.text = f"{float(self._divisions):.12g}"
            self._divisions = figure(divisions)
        for details in element.iterfind("staff-details"):
            for item in list(details):
                if not _tuned(item):
                    self._drop(details, item, "it says nothing of the strings")


def _bad_attributes(element: Element) -> Iterator[tuple[Element, str]]:
    """The children of <attributes> whose numbers cannot be, and what becomes of each."""
    for time in element.iterfind("time"):
        if time.find("senza-misura") is None and not _metre(time):
            yield time, "the time signature before it holds"
    for key in element.iterfind("key"):
        if any(not whole(fifths, -MOST_FIFTHS, MOST_FIFTHS) for fifths in key.iterfind("fifths")):
            yield key, "the key before it holds"
    for clef in element.iterfind("clef"):
        bounds = {"line": (1, 5), "clef-octave-change": (-MOST_OCTAVES, MOST_OCTAVES)}
        if not all(whole(item, *bounds[item.tag]) for item in clef if item.tag in bounds):
            yield clef, "the clef before it holds"
    for transpose in element.iterfind("transpose"):
        semitones, steps, octaves = (transpose.find(tag) for tag in ("chromatic", "diatonic", "octave-change"))
        given = [semitones, *(item for item in (steps, octaves) if item is not None)]
        fair = all(whole(item, -MOST_SHIFT, MOST_SHIFT) for item in given)
        if not fair or abs(figure(semitones) + 12 * (figure(octaves) or 0)) > MOST_SHIFT:
            yield transpose, "the part sounds as it is written"


def _metre(time: Element) -> bool:
    beats = [figure.strip() for group in time.iterfind("beats") for figure in (group.text or "").split("+")]
    units = [(unit.text or "").strip() for unit in time.iterfind("beat-type")]
    return (
        bool(beats and units)
        and all(_between(figure, MOST_BEATS) for figure in beats)
        and all(_between(unit, SMALLEST_UNIT) for unit in units)
        and sum(map(int, beats)) <= MOST_BEATS
    )


def _between(text: str, most: int) -> bool:
    return text.isdecimal() and len(text) < 9 and 0 < int(text) <= most


def _tuned(item: Element) -> bool:
    if item.tag == "staff-lines":
        return whole(item, 0, MOST_LINES)
    if item.tag != "staff-tuning":
        return True
    line, alter = item.get("line", "0"), item.find("tuning-alter")
    return (
        _between(line, MOST_STRINGS)
        and whole(item.find("tuning-octave"), 0, HIGHEST_OCTAVE)
        and (alter is None or (figure(alter) is not None and abs(figure(alter)) <= MOST_ALTER))
    )
