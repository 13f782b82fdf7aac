"""Read a score: MusicXML, MIDI, ABC, kern or MEI through music21, once, into the plain tables of timing/score.py.

What each kind of file gives:
- MusicXML (.musicxml, .xml, .mxl): everything the tables can hold. `timing.reader.musicxml` says what music21 leaves
  out and is taken from the elements.
- MEI and kern: notes, ties, graces, slurs, articulations, dynamics, bar lines, as far as music21 reads them, and
  ornaments (`timing.reader.ornaments`). Staves that a brace (MEI) or one part (kern) holds together are one part.
  The spines, repeats and sections of kern are read by rules of our own (`timing.reader.kern`); of several pieces in one
  file the first, with advice.
- ABC: the first tune of a collection, with advice. music21 drops ties between chords (a caution says so).
- MIDI has neither bars nor voices of its own: music21 moves the notes to the nearest sixteenth or triplet eighth,
  writes bars by the time signatures, and parts overlapping notes into voices.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from xml.etree.ElementTree import Element

import numpy as np

from timing.order.splitting import inner_repeats, split_bars
from timing.reader import cache as kept
from timing.reader import guard, kern
from timing.reader.bars import read_bars, within_bars
from timing.reader.credits import credited_title
from timing.reader.marks import read_marks, settle
from timing.reader.mending import LONGEST_BAR
from timing.reader.musicxml import read_facts, untag
from timing.reader.notes import read_notes, set_slurs
from timing.reader.ornaments import set_ornaments
from timing.reader.quiet import Warned, quiet, unbeamed
from timing.reader.walk import Parsed, walk_heads
from timing.remarks import CannotDo, Place, Remark, Severity
from timing.score import PART, Score

_MOST_WARNINGS = 10
_FORMATS = {"xml": "the format", "mxl": "the format", "midi": "MIDI", "abc": "ABC", "kern": "kern"}


def read_score(path: str | Path, *, cache: bool = True) -> Score:
    """The score in a file, as tables; `cache` keeps it for the next time.

    Raises CannotDo, with one clear reason, for a file that is missing, not a score, broken, empty or out of
    all measure.
    """
    raw = guard.load(path)
    name = kept.key(raw.kind, raw.content)
    if cache and (score := kept.load(name, raw.path)):
        return score
    parsed = _parse(raw)
    score = tabulate(parsed)
    if not len(score.notes):
        if not _has_rests(parsed):
            raise raw.refuse("score-empty", "holds no notes")
        message = f"{raw.path.name} holds no notes, only rests"
        silent = Remark(Severity.CAUTION, "score-silent", message, Place(raw.path))
        score = replace(score, remarks=(silent, *score.remarks))
    if cache:
        kept.store(name, score)
    return score


def _has_rests(parsed: Parsed) -> bool:
    """Whether anything is written in the bars; music21 fills empty ones with rests of its own."""
    if parsed.tree is not None:
        return any(element.tag in ("note", "rest", "mRest", "multiRest") for element in parsed.tree.iter())
    return any(True for _ in parsed.stream.recurse().getElementsByClass("Rest"))


def read_stream(path: str | Path) -> Parsed:
    """The file as music21 reads it, after the same checks and preparation as `read_score`; see `walk_heads`."""
    return _parse(guard.load(path))


def tabulate(parsed: Parsed) -> Score:
    """The tables of a parsed file; unlike `read_score`, of one with nothing but rests as well."""
    try:
        return _tabulate(parsed)
    except CannotDo:
        raise
    except Exception as error:
        raise _unreadable(parsed.raw, error) from error


def _tabulate(parsed: Parsed) -> Score:
    heads = walk_heads(parsed)
    notes, table, note_remarks = read_notes(heads)
    slurs = set_slurs(parsed, heads, notes, table)
    set_ornaments(parsed, heads, notes, table)
    marks = read_marks(parsed, heads, notes, table, slurs)
    bars, bar_remarks = read_bars(parsed, marks)
    guard.lasting(parsed.raw, float(bars["length"].sum()))
    marks = settle(marks, bars, _written(parsed, len(bars)))
    within_bars(notes, table, bars)
    place = Place(parsed.raw.path)
    names = [f"{number}{suffix}" for number, suffix in bars[["number", "suffix"]].tolist()]
    slips = parsed.facts.slips.told(names) if parsed.facts else []
    remarks = [*parsed.remarks, *slips, *note_remarks, *bar_remarks]
    score = Score(
        path=parsed.raw.path,
        title=_title(parsed),
        notes=notes,
        heads=table,
        bars=bars,
        marks=marks,
        parts=_parts(parsed),
        remarks=tuple(Remark(r.severity, r.code, r.message, r.place or place, r.bar_name, r.beat) for r in remarks),
    )
    return split_bars(score, inner_repeats(score))


def _written(parsed: Parsed, count: int) -> np.ndarray:
    """(count,) how far each bar is written, in quarters; as far as any can be, where no mark has an offset."""
    filled = parsed.facts.filled if parsed.facts else {}
    return np.array([float(filled.get(bar, LONGEST_BAR)) for bar in range(count)])


# -- parsing


def _parse(raw: guard.Raw) -> Parsed:
    """Check, prepare and parse; music21's own print-outs and warnings are caught and become remarks."""
    with quiet() as warned:
        try:
            parsed = _PARSERS[raw.kind](raw)
        except CannotDo:
            raise
        except RecursionError as error:
            raise raw.refuse("score-unsafe", "is nested too deeply to be read") from error
        except Exception as error:
            raise _unreadable(raw, error, warned) from error
        _bar(parsed)
    parsed.remarks += _warnings(warned)
    return parsed


def _bar(parsed: Parsed) -> None:
    """Give bars to what has none: a spine without bar lines, a tune so short that music21 takes no notice of them."""
    if not all(part.hasMeasures() for part in parsed.stream.parts):
        message = "there are too few bar lines to be read: bars are counted by the metre, and repeat signs are lost"
        parsed.remarks.append(Remark(Severity.ADVICE, "no-bar-lines", message))
    for part in parsed.stream.parts:
        if part.hasMeasures():
            continue
        if part.highestTime > LONGEST_BAR:
            raise parsed.raw.refuse("score-unsafe", f"goes on for {part.highestTime:,.0f} quarters without a bar line")
        part.makeMeasures(inPlace=True)


def _unreadable(raw: guard.Raw, error: Exception, warned: Sequence[Warned] = ()) -> CannotDo:
    """What music21 or we have stumbled over, without their words: those are for whoever programs (see the cause)."""
    said = " ".join(warning.message for warning in warned)
    found = re.search(r"exception took place in m\. (\S{1,12}) in part", said)
    bar = getattr(error, "measureNumber", "") or (found[1] if found else "")
    line = re.search(r"\bline (\d{1,7})\b", str(error)) if raw.kind in ("abc", "kern") else None
    where = f" in bar {bar}" if bar else f" near line {line[1]}" if line else ""
    message = f"cannot be read as music: something{where} is missing, or is not as {_FORMATS[raw.kind]} has it"
    return raw.refuse("score-unreadable", f"{message}; export the score again, or mend it where it was written")


def _warnings(warned: Sequence[Warned]) -> list[Remark]:
    """What music21 warned of; bars that are too full are remarked on elsewhere."""
    said = dict.fromkeys(" ".join(each.message.split()) for each in warned if "MusicXML" in each.kind)
    texts = [text for text in said if "overfull" not in text]
    return [
        Remark(Severity.ADVICE, "passed-over", f"reading passed over a fault: {text[:200]}")
        for text in texts[:_MOST_WARNINGS]
    ]


def _parse_xml(raw: guard.Raw) -> Parsed:
    tree = guard.xml(raw)
    root = tree.tag.rpartition("}")[2]
    if root == "mei":
        return _parse_mei(raw, tree)
    if root == "score-timewise":
        message = "is MusicXML sorted by bars (score-timewise); export it sorted by parts (score-partwise)"
        raise raw.refuse("not-a-score", message)
    if root != "score-partwise":
        raise raw.refuse("not-a-score", f"is XML but not a score: it holds <{root[:40]}>, not MusicXML or MEI")
    facts = read_facts(tree, raw)
    from music21.musicxml.xmlToM21 import MusicXMLImporter

    importer = MusicXMLImporter()
    importer.xmlRootToScore(tree, importer.stream)
    untag(facts)
    return Parsed(raw, "musicxml", importer.stream, tree, facts, facts.remarks)


def _parse_mei(raw: guard.Raw, tree: Element) -> Parsed:
    from xml.etree.ElementTree import tostring

    guard.metres(raw, [figure for e in tree.iter() for a, figure in e.items() if a in ("meter.count", "count")])
    rests = (rest.get("num", "1") for rest in tree.iter("{http://www.music-encoding.org/ns/mei}multiRest"))
    if any(not number.isdecimal() or int(number[:9]) > guard.MOST_BARS for number in rests):
        raise raw.refuse("score-unsafe", "asks for a rest of more bars than any music has")
    from music21.mei import MeiToM21Converter
    from music21.stream import Score as MusicScore

    stream = MeiToM21Converter(tostring(tree, encoding="unicode")).run()
    assert isinstance(stream, MusicScore)
    return Parsed(raw, "mei", stream, tree)


def _parse_midi(raw: guard.Raw) -> Parsed:
    content = guard.midi(raw)
    from music21.midi.translate import midiStringToStream

    return Parsed(raw, "midi", midiStringToStream(content))


def _parse_kern(raw: guard.Raw) -> Parsed:
    try:
        text, pieces = kern.first_piece(guard.text(raw))
        guard.text_size(raw, text)
        prepared = kern.prepare(text)
    except kern.SplitError as error:
        message = f"splits a staff more than {kern.MOST_SPLITS} times without joining it, at line {error.line}"
        raise raw.refuse("score-unsafe", f"{message}; no music needs that", error.line) from None
    text, bad = guard.text_metres(raw, prepared)
    return Parsed(raw, "kern", kern.parse(text), text=text, remarks=[*_the_first(pieces, "pieces"), *_no_metres(bad)])


def _the_first(count: int, what: str) -> list[Remark]:
    """Advice where a file is a collection."""
    if count < 2:
        return []
    return [Remark(Severity.ADVICE, "collection", f"the file holds {count} {what}; the first is read")]


def _parse_abc(raw: guard.Raw) -> Parsed:
    text = guard.text(raw)
    tunes = [found.start() for found in re.finditer(r"^X:", text, re.MULTILINE)]
    remarks = _the_first(len(tunes), "tunes")
    if len(tunes) > 1:
        text = text[: tunes[1]]
    guard.text_size(raw, text)
    text, bad = guard.text_metres(raw, text)
    remarks += _no_metres(bad)
    if re.search(r"^(?![A-Za-z+]:|%).*\[[^\]:]*\][\d/]*-|^(?![A-Za-z+]:|%).*\[[^\]:]*-", text, re.MULTILINE):
        message = "ties between chords are not read from ABC; the tied chords are struck again"
        remarks.append(Remark(Severity.CAUTION, "chord-ties", message))
    from music21.converter import parseData
    from music21.stream import Opus
    from music21.stream import Score as MusicScore

    with unbeamed():
        stream = parseData(text, format="abc")
    if isinstance(stream, Opus):
        stream = stream.scores[0]
    assert isinstance(stream, MusicScore)
    return Parsed(raw, "abc", stream, remarks=remarks)


def _no_metres(found: list[str]) -> list[Remark]:
    """A caution for time signatures that are none."""
    if not found:
        return []
    message = f"a time signature that is none ({found[0]!r}) is read as far as it has figures, else passed over"
    return [Remark(Severity.CAUTION, "bad-number", message)]


_PARSERS = {"xml": _parse_xml, "mxl": _parse_xml, "midi": _parse_midi, "kern": _parse_kern, "abc": _parse_abc}


# -- what is left


def _title(parsed: Parsed) -> str:
    about = parsed.stream.metadata
    title = guard.legible((about.title or about.movementName or "") if about is not None else "")
    if not title and parsed.facts:
        title = guard.legible(credited_title(parsed.root))
    return title[:200]


def _parts(parsed: Parsed) -> np.ndarray:
    groups = parsed.staves()
    rows = np.zeros(len(groups), PART)
    names: set[str] = set()
    for number, (row, staves) in enumerate(zip(rows, groups, strict=True)):
        first = staves[0]
        instrument = first.recurse().getElementsByClass("Instrument").first()
        sound = (instrument.instrumentName or "") if instrument is not None else ""
        row["instrument"] = guard.legible(sound)[:60]
        row["name"] = _unique(guard.legible(first.partName or sound) or f"Part {number + 1}", names)
        program = instrument.midiProgram if instrument is not None else None
        row["program"] = program if program is not None and 0 <= program < 128 else -1
        row["percussion"] = instrument is not None and (
            "UnpitchedPercussion" in instrument.classSet or instrument.midiChannel == 9
        )
        for string, pitch in (parsed.facts.tunings.get(number, {}) if parsed.facts else {}).items():
            row["tuning"][string - 1] = pitch
        if parsed.facts:
            row["capo"], row["plain"] = parsed.facts.capos.get(number, 0), number in parsed.facts.plain
            for string, note in parsed.facts.retuned.get(number, {}).items():
                row["retuned"][string - 1] = note + 1
    return rows


def _unique(name: str, taken: set[str]) -> str:
    name, count, base = name[:60], 1, name[:55]
    while name in taken:
        count += 1
        name = f"{base} {count}"
    taken.add(name)
    return name
