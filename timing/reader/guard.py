"""What is checked before the notation library sees a score: that it is one, and that it can be read in bounded time.

A score is somebody else's file. Its music has one measure in all formats: 5,000 bars (a tune of ABC 1,000, since for
music21 they take a time that is their square), 200,000 notes, 20,000 quarters, 1,000 repeat signs. The largest of the
14,000 scores inside music21 have 502 bars (291 in ABC), 7,528 notes with the rests, and 40 repeat signs; a symphony of
an hour and a half has about 2,000 bars and 150,000 notes (from memory). Files have theirs: 50 MB of MusicXML or MEI,
packed or not, two million XML elements, 64 levels of nesting; 2 MB of MIDI; 5 MB of ABC or kern.
XML goes through defusedxml: a plain DOCTYPE, as most MusicXML files have one, is welcome; entities and anything
fetched from elsewhere are not. A packed score (.mxl) is read in memory, never unpacked to disk.
"""

from __future__ import annotations

import io
import re
import unicodedata
import zipfile
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING
from xml.etree.ElementTree import Element, ParseError, TreeBuilder

from timing.remarks import CannotDo, Place, Remark, Severity

if TYPE_CHECKING:
    from mido import MidiFile

MEGABYTE = 1_000_000
XML_SIZE = 50 * MEGABYTE
XML_ELEMENTS = 2_000_000
XML_DEPTH = 64
TEXT_SIZE = 5 * MEGABYTE
MIDI_SIZE = 2 * MEGABYTE
MOST_BARS, MOST_ABC_BARS = 5_000, 1_000  # of a part
MOST_NOTES = 200_000  # of all parts, as written
MOST_QUARTERS = 20_000
MOST_REPEATS = 1_000  # signs of a part
MOST_BEATS, SMALLEST_UNIT = 64, 256  # in a time signature
METRE_WORK = 500_000  # music21 takes time for every time signature, as the square of its beats
_NO_LETTERS = ("Cc", "Cs", "Cn")  # Unicode: controls, halves of letters, what is no character
KERN_SPINES = 128
MXL_FILES = 1_000
MXL_RATIO = 200  # music packs ten to thirty times; a bomb a thousand times

KINDS = "MusicXML (.musicxml, .xml, .mxl), MIDI (.mid), ABC (.abc), kern (.krn) or MEI (.mei)"
_SUFFIXES = {".abc": "abc", ".krn": "kern", ".mid": "midi", ".midi": "midi", ".mxl": "mxl"}


@dataclass(frozen=True)
class Raw:
    """A file as it lies on the disk. `kind`: xml (MusicXML or MEI), mxl, midi, abc or kern."""

    path: Path
    kind: str
    content: bytes

    def measure(self, count: float, most: int, what: str) -> None:
        """Refuse what comes to more than is read."""
        if count > most:
            raise self.refuse("score-size", f"has more than {most:,} {what}, the most that is read")

    def refuse(self, code: str, message: str, line: int | None = None, column: int | None = None) -> CannotDo:
        """A refusal of this file; the message goes on after the file's name."""
        place = Place(self.path, line, column)
        return CannotDo([Remark(Severity.ERROR, code, f"{self.path.name} {message}", place)])


def load(path: str | Path) -> Raw:
    """Read a file and tell by its content, or else by its suffix, what it is. CannotDo if it is no score."""
    path = Path(path)
    if not path.exists():
        raise CannotDo.because("score-missing", f"the score {path} does not exist", path)
    if not path.is_file():
        what = "a folder" if path.is_dir() else "not an ordinary file"
        raise CannotDo.because("score-unreadable", f"{path} is {what}; name a score: {KINDS}", path)
    try:
        with path.open("rb") as file:
            content = file.read(XML_SIZE + 1)
    except OSError as error:
        raise CannotDo.because("score-unreadable", f"{path} cannot be opened: {error.strerror}", path) from None
    raw = Raw(path, _kind(path, content), content)
    if not content.strip():
        raise raw.refuse("score-empty", "is empty")
    limit = {"midi": MIDI_SIZE, "abc": TEXT_SIZE, "kern": TEXT_SIZE}.get(raw.kind, XML_SIZE)
    if len(content) > limit:
        raise raw.refuse("score-size", f"is larger than {limit // MEGABYTE} MB, the most that is read")
    if not raw.kind:
        raise raw.refuse("not-a-score", f"is not a score that can be read: {KINDS}")
    return raw


def _kind(path: Path, content: bytes) -> str:
    head = content[:4096]
    if head.startswith(b"MThd"):
        return "midi"
    if head.startswith(b"PK\x03\x04"):
        return "mxl"
    if head.startswith((b"\xff\xfe<\0", b"\xfe\xff\0<")):
        return "xml"
    if head.removeprefix(b"\xef\xbb\xbf").lstrip().startswith(b"<"):
        return "xml"
    if re.search(rb"^(?:\*\*\S+\t)*\*\*kern\b", content, re.MULTILINE):
        return "kern"
    if re.search(rb"^X:", content, re.MULTILINE) and re.search(rb"^K:", content, re.MULTILINE):
        return "abc"
    return _SUFFIXES.get(path.suffix.lower(), "")


def xml(raw: Raw) -> Element:
    """The root of a MusicXML or MEI file, packed or not."""
    from defusedxml.common import DefusedXmlException
    from defusedxml.ElementTree import DefusedXMLParser

    content = _unpack(raw) if raw.kind == "mxl" else raw.content
    parser = DefusedXMLParser(target=_Builder(raw))
    try:
        parser.feed(content)
        return parser.close()
    except ParseError as error:
        line, column = error.position
        reason = str(error).partition(":")[0]
        message = f"is broken XML at line {line}, column {column + 1}: {reason}"
        raise raw.refuse("score-broken", message, line, column + 1) from None
    except DefusedXmlException:
        message = "defines XML entities or refers to other files, which no score needs; export it again"
        raise raw.refuse("score-unsafe", message) from None
    except (ValueError, LookupError):
        raise raw.refuse("score-broken", "is XML in an encoding that cannot be read; save it as UTF-8") from None


_COUNTED = ("part", "measure", "note", "repeat")


class _Builder(TreeBuilder):
    """Builds the tree, and gives up when it grows out of all measure."""

    def __init__(self, raw: Raw):
        super().__init__()
        self._raw, self._depth, self._count = raw, 0, 0
        self._bars = self._notes = self._repeats = 0

    def start(self, tag: str, attributes: dict[str, str]) -> Element:
        self._depth += 1
        self._count += 1
        name = tag.rpartition("}")[2]
        if name in _COUNTED:
            self._measure(name, attributes)
        if self._depth > XML_DEPTH:
            raise self._raw.refuse("score-unsafe", f"nests its XML more than {XML_DEPTH} levels deep")
        if self._count > XML_ELEMENTS:
            raise self._raw.refuse("score-size", f"has more than {XML_ELEMENTS:,} XML elements, the most that is read")
        return super().start(tag, attributes)

    def _measure(self, name: str, attributes: dict[str, str]) -> None:
        """Count the music of MusicXML, whose parts follow one another, and of MEI."""
        if name == "part":
            self._bars = self._repeats = 0
        self._bars += name == "measure"
        self._notes += name == "note"
        self._repeats += name == "repeat" or (name == "measure" and "rpt" in "".join(attributes.values()))
        self._raw.measure(self._bars, MOST_BARS, "bars")
        self._raw.measure(self._notes, MOST_NOTES, "notes")
        self._raw.measure(self._repeats, MOST_REPEATS, "repeat signs")

    def end(self, tag: str) -> Element:
        self._depth -= 1
        return super().end(tag)


def _unpack(raw: Raw) -> bytes:
    """The score inside a packed MusicXML file."""
    try:
        with zipfile.ZipFile(io.BytesIO(raw.content)) as packed:
            names = packed.namelist()
            if len(names) > MXL_FILES:
                raise raw.refuse("score-unsafe", f"is packed with more than {MXL_FILES:,} files")
            return _member(raw, packed, _root_name(raw, packed, names))
    except (zipfile.BadZipFile, zipfile.LargeZipFile, EOFError, NotImplementedError, RuntimeError, OSError):
        message = "cannot be unpacked: it is cut short, damaged or locked; save it once more"
        raise raw.refuse("score-broken", message) from None


def _root_name(raw: Raw, packed: zipfile.ZipFile, names: list[str]) -> str:
    container = "META-INF/container.xml"
    if container in names:
        found = re.search(rb"""<rootfile\s[^>]*?full-path\s*=\s*["']([^"'<>]+)["']""", _member(raw, packed, container))
        if found and (name := found[1].decode("utf-8", "replace")) in names:
            return name
    for name in names:
        if not name.startswith(("META-INF/", "__MACOSX/")) and name.lower().endswith((".xml", ".musicxml")):
            return name
    raise raw.refuse("not-a-score", "holds no MusicXML file")


def _member(raw: Raw, packed: zipfile.ZipFile, name: str) -> bytes:
    """One packed file, read up to the limit whatever its header claims."""
    info = packed.getinfo(name)
    if info.file_size > XML_SIZE:
        raise raw.refuse("score-size", f"unpacks to more than {XML_SIZE // MEGABYTE} MB, the most that is read")
    with packed.open(info) as file:
        content = file.read(XML_SIZE + 1)
    if len(content) > XML_SIZE:
        raise raw.refuse("score-size", f"unpacks to more than {XML_SIZE // MEGABYTE} MB, the most that is read")
    if len(content) > MEGABYTE and len(content) > MXL_RATIO * max(info.compress_size, 1):
        raise raw.refuse("score-unsafe", f"is packed more than {MXL_RATIO} times: no music packs so well")
    return content


def midi(raw: Raw) -> bytes:
    """The bytes of a MIDI file that mido can read and whose length and notes are within the limits."""
    import mido

    if not raw.content.startswith(b"MThd"):
        raise raw.refuse("not-a-score", "is not a MIDI file, though its name says so")
    try:
        file = mido.MidiFile(file=io.BytesIO(raw.content))
    except EOFError:
        raise raw.refuse("score-broken", "is a MIDI file cut short") from None
    except (OSError, ValueError, KeyError, IndexError, TypeError):
        message = "is a MIDI file with events that there are not in the standard; export it again"
        raise raw.refuse("score-broken", message) from None
    if file.ticks_per_beat <= 0 or file.ticks_per_beat >= 0x8000:
        message = "counts its time in film frames, not in quarters: export it with ticks a quarter"
        raise raw.refuse("score-broken", message)
    quarters = max((sum(message.time for message in track) for track in file.tracks), default=0) / file.ticks_per_beat
    lasting(raw, quarters)
    notes = sum(message.type == "note_on" and message.velocity > 0 for track in file.tracks for message in track)
    raw.measure(notes, MOST_NOTES, "notes")
    ends = any(m.type == "note_off" or (m.type == "note_on" and not m.velocity) for t in file.tracks for m in t)
    if not notes or not ends:
        raise raw.refuse("score-empty", "holds no notes" + (" that end" if notes else ""))
    raw.measure(_midi_bars(raw, file, quarters), MOST_BARS, "bars")
    return raw.content


def lasting(raw: Raw, quarters: float) -> None:
    """Refuse music that lasts out of all measure."""
    if quarters > MOST_QUARTERS:
        raise raw.refuse("score-size", f"lasts {quarters:,.0f} quarters; the most that is read is {MOST_QUARTERS:,}")


def _midi_bars(raw: Raw, file: MidiFile, quarters: float) -> float:
    """How many bars the time signatures make of a MIDI file."""
    changes, upper = [(0.0, 4.0)], []
    for track in file.tracks:
        ticks = 0
        for message in track:
            ticks += message.time
            if message.type == "time_signature":
                if message.denominator > SMALLEST_UNIT:
                    raise raw.refuse("score-unsafe", "counts in notes too small for any music")
                upper.append(str(message.numerator))
                changes.append((ticks / file.ticks_per_beat, 4 * max(message.numerator, 1) / message.denominator))
    metres(raw, upper)
    changes.sort(key=lambda change: change[0])
    starts = [start for start, _ in changes] + [max(quarters, changes[-1][0])]
    return sum((starts[n + 1] - starts[n]) / length + 1 for n, (_, length) in enumerate(changes))


# Numbers in which a text could ask for a piece of a billion bars: metres and lengths of more digits than music has.
_ABSURD = {
    "abc": re.compile(r"^[LQ]:.*\d{5}|^(?![A-Za-z+]:|%).*(?:[A-Ga-gxzZX\]][,']*/?\d{4}|\(\d{3}|\[[LQ]:[^\]]*\d{5})"),
    "kern": re.compile(r"^(?![!*=]).*\d{6}"),
}
_METRES = {
    "abc": re.compile(r"(?:^|\[)M:([^\]%\n]*)", re.MULTILINE),
    "kern": re.compile(r"\*M(\d[^\t\n]*)"),
}
_METRE = re.compile(r"\s*\(?\s*(\d[\d+ ]*)\)?\s*/\s*\d{1,3}(?:%\d+)?\s*")
_FRACTION = re.compile(r"(?<![\d/])\d{1,2}/\d{1,3}\s*$")
_NO_FIGURES = re.compile(r"\s*(?:C\|?|none|)\s*", re.IGNORECASE)


def text(raw: Raw) -> str:
    """The text of an ABC or kern file, as UTF-8 or, failing that, Latin-1."""
    try:
        content = raw.content.decode("utf-8-sig")
    except UnicodeDecodeError:
        content = raw.content.decode("latin-1")
    if "\0" in content:
        raise raw.refuse("not-a-score", "is not a text file")
    content = content.replace("\r\n", "\n").replace("\r", "\n")
    if raw.kind == "kern" and "**kern" not in content:
        raise raw.refuse("not-a-score", "has no **kern spine")
    if raw.kind == "abc" and not re.search(r"^K:", content, re.MULTILINE):
        raise raw.refuse("not-a-score", "has no tune: ABC needs a key (K:) before the notes")
    for number, line in enumerate(content.split("\n"), start=1):
        if raw.kind == "kern" and line.count("\t") >= KERN_SPINES:
            raise raw.refuse("score-unsafe", f"has more than {KERN_SPINES} spines at line {number}", number)
        if found := _ABSURD[raw.kind].search(line):
            message = f"asks for a length that no music has, at line {number}: {found[0][-40:]!r}"
            raise raw.refuse("score-unsafe", message, number)
    return content


_REPEATS = re.compile(r":+[|\]]|[|\[]+:|::")
_ABC_BESIDE = re.compile(r"""^(?:[A-Za-z+]:|%).*|%.*|"[^"]*"|[!+][^!+\n]*[!+]|\[[A-Za-z]:[^\]]*\]""", re.MULTILINE)


def text_size(raw: Raw, content: str) -> None:
    """Refuse an ABC tune or a kern score with more music than is read."""
    if raw.kind == "abc":
        music = _ABC_BESIDE.sub("", content)
        bars, most, signs = len(re.findall(r"\|[|\]:\d]*", music)), MOST_ABC_BARS, music
    else:
        lines = content.split("\n")
        lines_of_bars = [line.partition("\t")[0] for line in lines if line.startswith("=")]
        bars, most, signs = len(lines_of_bars), MOST_BARS, "\n".join(lines_of_bars)
        music = "\n".join(line for line in lines if line[:1] not in ("=", "*", "!"))
    raw.measure(len(_REPEATS.findall(signs)), MOST_REPEATS, "repeat signs")
    raw.measure(bars, most, "bars")
    raw.measure(len(re.findall(r"([A-Ga-g])\1*", music)), MOST_NOTES, "notes")


def text_metres(raw: Raw, content: str) -> tuple[str, list[str]]:
    """The text of an ABC or kern file with what is to be read of time signatures that are none, and what those were.
    CannotDo for metres out of all measure."""
    figures, bad = [], []

    def mended(found: re.Match[str]) -> str:
        said = found[1]
        if not _METRE.fullmatch(said) and not _NO_FIGURES.fullmatch(said):
            bad.append(said.strip()[:20])
            fraction = _FRACTION.search(said)  # as in FREI4/4, free in quarters
            said = fraction[0] if fraction else "none"
        if figure := _METRE.fullmatch(said):
            figures.append(figure[1])
        return found[0].replace(found[1], said) if said != "none" or raw.kind == "abc" else "*"

    content = _METRES[raw.kind].sub(mended, content)
    metres(raw, figures)
    return content, bad


def legible(text: str) -> str:
    """A name or words of a score on one line, without what is no letter, such as the control codes of a wrong
    encoding: a plan could not hold them."""
    return " ".join("".join(c for c in text if c.isspace() or unicodedata.category(c) not in _NO_LETTERS).split())


def metres(raw: Raw, written: Iterable[str]) -> None:
    """Refuse upper figures of time signatures (as written: "4", "3+2") that would take music21 minutes to work out."""
    work = 0
    for figure in written:
        beats = [int(b) if b.strip().isdecimal() else 0 for b in str(figure)[:100].split("+")]
        if min(beats) < 1 or sum(beats) > MOST_BEATS:
            raise raw.refuse("score-unsafe", f"has {str(figure)[:20]!r} beats in a time signature; no music needs that")
        work += sum(beats) ** 2
    if work > METRE_WORK:
        raise raw.refuse("score-size", "has more and larger time signatures than can be worked out")
