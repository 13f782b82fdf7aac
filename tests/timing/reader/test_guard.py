"""What is refused before the notation library sees it, each with one clear sentence."""

from __future__ import annotations

import pytest
from support import reading, score
from written import DOCTYPE, FOUR_FOUR, bar, musicxml, note, packed, standard_midi

from timing.plan import Plan
from timing.reader import guard, read_score
from timing.reading import perform
from timing.remarks import CannotDo, Severity
from timing.score import Ornament

WHOLE = note("C4", 4)
GOOD = musicxml([bar(WHOLE, 1, FOUR_FOUR)])
CONTAINER = '<container><rootfiles><rootfile full-path="{}"/></rootfiles></container>'
STRUCK = b"\x00\x90\x3c\x40\x83\x60\x80\x3c\x00"  # C4 for 480 ticks
MEI = (
    '<mei xmlns="http://www.music-encoding.org/ns/mei"><music><body><mdiv><score><scoreDef meter.count="{}" '
    'meter.unit="4"><staffGrp><staffDef n="1" lines="5"/></staffGrp></scoreDef><section><measure n="1"><staff n="1">'
    '<layer n="1">{}</layer></staff></measure></section></score></mdiv></body></music></mei>'
)
ABC = "X:1\nT:Tune\nM:{}\nL:1/4\nK:C\n{}\n"
KERN = "**kern\n*M{}\n=1\n{}\n==\n*-\n"


OPENED = '<barline location="left"><repeat direction="forward"/></barline>'


def with_attributes(attributes: str) -> str:
    return musicxml([bar(WHOLE, 1, attributes)])


def metre(beats: object, unit: object = 4) -> str:
    return f"<divisions>12</divisions><time><beats>{beats}</beats><beat-type>{unit}</beat-type></time>"


REFUSED = {
    "empty": ("a.musicxml", b"", "is empty"),
    "blanks": ("a.musicxml", b" \n\t ", "is empty"),
    "zeros": ("a.musicxml", b"\0" * 100, "not a score that can be read"),
    "prose": ("a.txt", b"This is no music.", "not a score that can be read"),
    "web page": ("a.xml", b"<html><body/></html>", "not a score: it holds <html>"),
    "sorted by bars": ("a.xml", b"<score-timewise/>", "sorted by bars"),
    "no parts": ("a.xml", b"<score-partwise/>", "names no parts"),
    "no part that is named": ("a.xml", GOOD.replace('<part id="P1"', '<part id="P9"'), "holds no bars"),
    "no bars": ("a.xml", musicxml([]), "holds no bars"),
    "neither notes nor rests": ("a.xml", musicxml([bar("", 1, FOUR_FOUR)]), "holds no notes"),
    "cut short": ("a.xml", GOOD[:-40], r"broken XML at line 3, column \d+"),
    "wrong tag": ("a.xml", GOOD.replace("</measure>", "</mesure>"), r"line 3, column \d+: mismatched tag"),
    "unknown encoding": ("a.xml", b'<?xml version="1.0" encoding="none-such"?><a/>', "an encoding that cannot be read"),
    "entity bomb": (
        "a.xml",
        '<!DOCTYPE s [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;">]><score-partwise>&b;</score-partwise>',
        "defines XML entities",
    ),
    "outside entity": ("a.xml", '<!DOCTYPE s [<!ENTITY a SYSTEM "file:///x">]><a>&a;</a>', "refers to other files"),
    "undefined entity": ("a.xml", DOCTYPE + "<score-partwise>&nbsp;</score-partwise>", "broken XML at line 3"),
    "deep": ("a.xml", "<a>" * 1_000_000, "more than 64 levels deep"),
    "many large metres": ("a.xml", musicxml([bar(WHOLE, 1, metre(64) * 300)]), "more and larger time signatures"),
    "long bar": ("a.xml", musicxml([bar(note("C4", 1000) * 5, 1, FOUR_FOUR)]), "a bar longer than 4,096 quarters"),
    "a hundred voices": (
        "a.xml",
        musicxml([bar("".join(note("C4", 0, voice=v) for v in range(1, 101)), 1, FOUR_FOUR)]),
        "100 voices in one bar",
    ),
    "no such note value": ("a.xml", GOOD.replace("</voice>", "</voice><type>x</type>"), "cannot be read as music"),
    "bomb": ("a.mxl", packed(a_xml="<score-partwise>" + " " * 60_000_000), "unpacks to more than 50 MB"),
    "well packed": ("a.mxl", packed(a_xml="<score-partwise>" + " " * 5_000_000), "packed more than 200 times"),
    "many files": ("a.mxl", packed(**{f"f{n}_txt": "x" for n in range(1001)}), "packed with more than 1,000 files"),
    "nothing packed": ("a.mxl", packed(a_txt="x"), "holds no MusicXML file"),
    "archive cut short": ("a.mxl", packed(a_xml=GOOD)[:-30], "cannot be unpacked"),
    "not MIDI": ("a.mid", b"hello", "not a MIDI file"),
    "MIDI cut short": ("a.mid", standard_midi(STRUCK)[:-6], "cut short"),
    "MIDI without notes": ("a.mid", standard_midi(b""), "holds no notes"),
    "MIDI without ends": ("a.mid", standard_midi(b"\x00\x90\x3c\x40"), "holds no notes that end"),
    "MIDI for days": ("a.mid", standard_midi(STRUCK[:4] + b"\xff\xff\xff\x7f" + STRUCK[-3:]), "lasts 559,241 quarters"),
    "MIDI of many bars": (
        "a.mid",
        # 1/64, then a note for 480 * 15000 ticks: 240,000 bars
        standard_midi(b"\x00\xff\x58\x04\x01\x06\x18\x08" + STRUCK[:4] + b"\x83\xb7\xba\x00" + STRUCK[-3:]),
        "more than 5,000 bars",
    ),
    "MIDI metre of 0": ("a.mid", standard_midi(b"\x00\xff\x58\x04\x00\x02\x18\x08" + STRUCK), "'0' beats"),
    "MIDI in film frames": ("a.mid", standard_midi(STRUCK, division=0xE728), "film frames"),
    "MIDI divisions 0": ("a.mid", standard_midi(STRUCK, division=0), "film frames"),
    "ABC without key": ("a.abc", b"X:1\nT:Tune\nCDEF|\n", "needs a key"),
    "ABC metre": ("a.abc", ABC.format("1000000/4", "CDEF|"), "beats in a time signature"),
    "ABC length": ("a.abc", ABC.format("4/4", "C1000000000|"), "no music has, at line 6"),
    "ABC chord length": ("a.abc", ABC.format("4/4", "[CEG]1000000000|"), "no music has, at line 6"),
    "ABC without bar lines": ("a.abc", ABC.format("4/4", "C999 " * 100), "without a bar line"),
    "ABC broken": ("a.abc", ABC.format("4/4", "[[[(("), "cannot be read as music"),
    "kern metre": ("a.krn", KERN.format("1000000/4", "4c"), "beats in a time signature"),
    "kern length": ("a.krn", KERN.format("4/4", "1%1000000000c"), "no music has, at line 4"),
    "kern long bar": ("a.krn", KERN.format("4/4", "1%9999c"), "a bar longer than 4,096 quarters"),
    "kern spines": ("a.krn", "**kern\n" + "*^\t" * 200 + "\n", "more than 128 spines"),
    "kern broken": ("a.krn", "**kern\t**kern\n4c\n4c\t4c\t4c\n*-\n", "cannot be read as music"),
    "nested repeats in ABC": ("a.abc", ABC.format("4/4", "|: " * 3000 + "CDEF |"), "more than 1,000 repeat signs"),
    "nested repeats in kern": ("a.krn", KERN.format("4/4", "1c\n=!|:\n" * 3000 + "1c"), "more than 1,000 repeat signs"),
    "nested repeats": ("a.xml", musicxml([bar(OPENED + WHOLE) * 3000]), "more than 1,000 repeat signs"),
    "nested repeats in MEI": (
        "a.mei", MEI.format(4, "").replace("</measure>", "</measure>" + '<measure left="rptstart"/>' * 3000),
        "more than 1,000 repeat signs",
    ),
    "many bars in ABC": ("a.abc", ABC.format("4/4", "CDEF |\n" * 20_000), "more than 1,000 bars"),
    "many bars in kern": ("a.krn", KERN.format("4/4", "1c\n=\n" * 20_000 + "1c"), "more than 5,000 bars"),
    "many empty bars": ("a.xml", musicxml([bar(WHOLE, 1, FOUR_FOUR), "<measure/>" * 100_000]), "more than 5,000 bars"),
    "many bars in MEI": (
        "a.mei", MEI.format(4, "").replace("</measure>", "</measure>" + "<measure/>" * 5000), "more than 5,000 bars",
    ),
    "many notes in ABC": ("a.abc", ABC.format("4/4", "C/2" * 200_001 + "|"), "more than 200,000 notes"),
    "many notes in kern": ("a.krn", KERN.format("4/4", "4c\n" * 200_001), "more than 200,000 notes"),
    "many notes": ("a.xml", musicxml([bar("<note/>" * 200_001, 1, FOUR_FOUR)]), "more than 200,000 notes"),
    "many long bars": ("a.xml", musicxml([bar(note("C4", 4000), 1, FOUR_FOUR) * 6]), "24,000 quarters"),
    "MEI metre": ("a.mei", MEI.format(10**6, '<note pname="c" oct="4" dur="1"/>'), "beats in a time signature"),
    "MEI rests": ("a.mei", MEI.format(4, '<multiRest num="1000000000"/>'), "a rest of more bars"),
}  # fmt: skip


@pytest.mark.parametrize(("name", "content", "message"), REFUSED.values(), ids=REFUSED)
def test_refused_with_one_clear_sentence(tmp_path, name, content, message, capfd):
    path = tmp_path / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    with pytest.raises(CannotDo, match=message) as refusal:
        read_score(path, cache=False)
    (remark,) = refusal.value.remarks
    assert remark.severity is Severity.ERROR
    assert remark.place.file == path
    assert remark.message.startswith(name)
    assert capfd.readouterr() == ("", "")


def test_a_missing_file_a_folder_and_a_device(tmp_path):
    with pytest.raises(CannotDo, match="does not exist"):
        guard.load(tmp_path / "none.musicxml")
    with pytest.raises(CannotDo, match="is a folder"):
        guard.load(tmp_path)
    with pytest.raises(CannotDo, match="not an ordinary file"):
        guard.load("/dev/zero")


def test_a_file_that_cannot_be_opened(tmp_path, monkeypatch):
    path = tmp_path / "a.musicxml"
    path.write_text(GOOD)

    def closed(*_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("pathlib.Path.open", closed)
    with pytest.raises(CannotDo, match="cannot be opened: Permission denied"):
        guard.load(path)


def test_a_file_that_is_too_large(tmp_path, monkeypatch):
    monkeypatch.setattr(guard, "XML_SIZE", 1000)
    monkeypatch.setattr(guard, "MEGABYTE", 1000)
    path = tmp_path / "a.musicxml"
    path.write_text(GOOD.ljust(1001))
    with pytest.raises(CannotDo, match="larger than 1 MB"):
        guard.load(path)


def test_too_many_elements(tmp_path, monkeypatch):
    monkeypatch.setattr(guard, "XML_ELEMENTS", 10)
    path = tmp_path / "a.musicxml"
    path.write_text(GOOD)
    with pytest.raises(CannotDo, match="more than 10 XML elements"):
        guard.xml(guard.load(path))


def test_a_collection_may_hold_more_than_a_tune(tmp_path):
    path = tmp_path / "a.abc"
    path.write_text(ABC.format("4/4", "CDEF|:CDEF:|") * 2000)
    assert len(read_score(path, cache=False).bars) == 2


def test_what_stands_beside_the_notes_of_a_tune_is_not_counted(tmp_path):
    """Words, chord symbols and ornaments of a tune are no notes and no bars."""
    path = tmp_path / "a.abc"
    path.write_text(ABC.format("4/4", '"Am7|:"!trill!CDEF|\nw: a|b|:c\n% |:\n' * 400 + "C4|]"))
    raw = guard.load(path)
    guard.text_size(raw, guard.text(raw))  # 401 bars, 1,601 notes


def test_too_many_midi_notes(tmp_path, monkeypatch):
    monkeypatch.setattr(guard, "MOST_NOTES", 2)
    path = tmp_path / "a.mid"
    path.write_bytes(standard_midi(STRUCK * 3))
    with pytest.raises(CannotDo, match="has more than 2 notes"):
        guard.midi(guard.load(path))


ACCEPTED = {
    "doctype": ("a.musicxml", GOOD),
    "utf-16": ("a.xml", GOOD.replace('encoding="UTF-8"', 'encoding="UTF-16"').encode("utf-16")),
    "latin-1": ("a.xml", GOOD.replace("UTF-8", "ISO-8859-1").replace("Part 1", "Flöte").encode("latin-1")),
    "byte order mark": ("a.xml", b"\xef\xbb\xbf" + GOOD.encode()),
    "packed": ("a.mxl", packed(**{"META-INF__container_xml": CONTAINER.format("score.xml"), "score_xml": GOOD})),
    "packed without container": ("a.mxl", packed(score_musicxml=GOOD)),
    "a path that leads out": (
        "a.mxl",
        packed(**{"META-INF__container_xml": CONTAINER.format("../../etc/passwd"), "score_xml": GOOD}),
    ),
    "MIDI": ("a.mid", standard_midi(STRUCK)),
    "ABC": ("a.abc", ABC.format("4/4", "C4|")),
    "kern": ("a.krn", KERN.format("4/4", "1c")),
    "MEI": ("a.mei", MEI.format(4, '<note pname="c" oct="4" dur="1"/>')),
    "misnamed": ("a.txt", GOOD),
    "misnamed MIDI": ("a.xml", standard_midi(STRUCK)),
    "misnamed kern": ("a.abc", KERN.format("4/4", "1c")),
}


@pytest.mark.parametrize(("name", "content"), ACCEPTED.values(), ids=ACCEPTED)
def test_accepted_whatever_its_dress(tmp_path, name, content):
    path = tmp_path / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    assert read_score(path, cache=False).notes["pitch"].tolist() == [60]


def test_more_notes_than_are_played(monkeypatch):
    """Repeats and ornaments are counted before they are made."""
    monkeypatch.setattr("timing.notes.written.MOST_PLAYED", 60)
    monkeypatch.setattr("timing.notes.ornaments.MOST_PLAYED", 60)
    assert len(reading(bars=4, plan={"order": "1-4, 1-4"}).performance.notes) == 32
    with pytest.raises(CannotDo, match="in this order of the bars there are more than 60 notes"):
        reading(bars=4, plan={"order": "1-4, 1-4, 1-4, 1-4"})
    trilled = score(bars=4, voices={1: "c4:16"})
    trilled.notes["ornament"], trilled.notes["upper"] = Ornament.TRILL, 2
    with pytest.raises(CannotDo, match="with those of the ornaments there are more than 60 notes"):
        perform(trilled, Plan.model_validate({"score": "made-by-hand.musicxml", "tempo": 60}))
