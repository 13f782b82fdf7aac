"""One number that cannot be music does not cost the whole score."""

from __future__ import annotations

import re
from functools import cached_property
from pathlib import Path
from xml.etree.ElementTree import fromstring, tostring

import pytest
from written import FOUR_FOUR, bar, musicxml, note

from timing.reader import _parse, guard, mending, read_score, tabulate
from timing.reader.accidentals import write_accidentals
from timing.reader.mending import mend
from timing.reader.slips import Slips
from timing.remarks import Severity
from timing.score import Score

EIGHTH, DOTTED = "<type>eighth</type>", "<type>quarter</type><dot/>"
TIED = '<notations><tied type="start"/></notations>'
TUPLET = (
    "<time-modification><actual-notes>{}</actual-notes><normal-notes>2</normal-notes></time-modification>"
    '<notations><tuplet type="start"/></notations>'
)


def read(text: str) -> Score:
    return tabulate(_parse(guard.Raw(Path("a.xml"), "xml", text.encode())))


def one_bar(content: str, attributes: str = FOUR_FOUR) -> str:
    return musicxml([bar(content, 1, attributes), bar(note("E4", 4), 2)])


def back(quarters: float) -> str:
    return f"<backup><duration>{round(quarters * 12)}</duration></backup>"


def forward(quarters: float) -> str:
    return f"<forward><duration>{round(quarters * 12)}</duration></forward>"


FOUR = "".join(note("C4", 1) for _ in range(4))
# what is written in the first bar; (offset, length, pitch) of its notes; the remark
MENDED = {
    "a negative length": (
        one_bar(FOUR + back(1) + note("G3", -0.25, EIGHTH, voice=2)),
        [*((at, 1, 60) for at in range(4)), (3, 0.5, 55)],
        "duration -3) is mended in bar 1: it is as long as its note value",
    ),
    "a length that is no number, dotted": (
        one_bar("".join(note("C4", 1, DOTTED) for _ in range(2)).replace("<duration>12<", "<duration>?<") + note("C4")),
        [(0, 1.5, 60), (1.5, 1.5, 60), (3, 1, 60)],
        "duration ?) is mended",
    ),
    "a length without a note value": (one_bar(note("C4", 10**9) + note("C4", 3)), [(0, 1, 60), (1, 3, 60)], "duration"),
    "a voice that begins before the bar": (
        one_bar(FOUR + back(500) + forward(497) + note("A3", 1, voice=2)),
        [*((at, 1, 60) for at in range(4)), (1, 1, 57)],
        "it goes back to the bar line and no further",
    ),
    "notes before the bar": (
        one_bar(FOUR + back(6) + note("A3", 4, voice=2)),
        [*((at, 1, 60) for at in range(4)), (0, 4, 57)],
        "it goes back to the bar line and no further",
    ),
    "a way back that is no number": (
        one_bar(FOUR + back(4).replace("48", "all") + note("A3", 4, voice=2)),
        [*((at, 1, 60) for at in range(4)), (0, 4, 57)],
        "the next voice begins with the bar",
    ),
    "a way forward that is no number": (
        one_bar(forward(1).replace("12", "-1") + note("A3", 4)),
        [(0, 4, 57)],
        "it goes no way forward",
    ),
    "a tuplet of thousands": (
        one_bar(note("C4", 2, TUPLET.format(6561)) + note("C4", 2)),
        [(0, 2, 60), (2, 2, 60)],
        "it stands outside the tuplet",
    ),
    "a tuplet of 0": (one_bar(note("C4", 4, TUPLET.format(0))), [(0, 4, 60)], "it stands outside the tuplet"),
    "divisions of 0": (
        one_bar(note("C4", 4), FOUR_FOUR + "<divisions>0</divisions>"),
        [(0, 4, 60)],
        "divisions 0) is mended in bar 1: the divisions before it hold",
    ),
    "a repeat heard nobody knows how often": (
        one_bar(note("C4", 4) + '<barline location="right"><repeat direction="backward" times="x"/></barline>'),
        [(0, 4, 60)],
        "repeat x) is mended in bar 1: the repeat is played once more",
    ),
    "a metre of a million": (
        one_bar(note("C4", 4), FOUR_FOUR.replace("<beats>4<", "<beats>1000000<")),
        [(0, 4, 60)],
        "the time signature before it holds",
    ),
    "a metre of a sum": (
        one_bar(note("C4", 4), FOUR_FOUR.replace("<beats>4<", "<beats>60+60<")),
        [(0, 4, 60)],
        "the time signature before it holds",
    ),
    "a key of a million": (
        one_bar(note("C4", 4), FOUR_FOUR + "<key><fifths>1000000</fifths></key>"),
        [(0, 4, 60)],
        "the key before it holds",
    ),
    "a clef on line 9": (
        one_bar(note("C4", 4), FOUR_FOUR + "<clef><sign>G</sign><line>9</line></clef>"),
        [(0, 4, 60)],
        "the clef before it holds",
    ),
    "a transposition out of hearing": (
        one_bar(note("C4", 4), FOUR_FOUR + "<transpose><chromatic>999</chromatic></transpose>"),
        [(0, 4, 60)],
        "the part sounds as it is written",
    ),
    "a thousand staves": (
        one_bar(note("C4", 4, "<staff>2</staff>"), FOUR_FOUR + "<staves>1000</staves>"),
        [(0, 4, 60)],
        "there are as many staves as the notes name",
    ),
    "staff 1000": (one_bar(note("C4", 4, "<staff>1000</staff>")), [(0, 4, 60)], "it belongs to the first staff"),
    "an octave that is none": (
        one_bar(note("C4", 4).replace("<octave>4", "<octave>x")),
        [(0, 4, 60)],
        "the note lies in the octave of middle C",
    ),
    "raised by a hundred": (
        one_bar(note("C#4", 4).replace("<alter>1", "<alter>100")),
        [(0, 4, 60)],
        "the note is not altered",
    ),
    "raised by a third of a tone": (
        one_bar(note("C#4", 4).replace("<alter>1", "<alter>0.67")),
        [(0, 4, 61)],
        "the note lies on the nearest semitone",
    ),
    "a grace note with a length that is none": (
        one_bar(note("D4", first="<grace/>").replace("<voice>", "<duration>nan</duration><voice>") + note("C4", 4)),
        [(0, 4, 60), (0, 0, 62)],
        "a grace note has no length of its own",
    ),
    "a key of steps that are no notes": (
        one_bar(note("C4", 4), FOUR_FOUR + "<key><key-step>F</key-step><key-alter>x</key-alter></key>"),
        [(0, 4, 60)],
        "the key before it holds",
    ),
    "a key on a staff that is none": (
        one_bar(note("C4", 4), FOUR_FOUR + '<key number="x"><fifths>1</fifths></key>'),
        [(0, 4, 60)],
        "key number x) is mended in bar 1: it holds where one without a number does",
    ),
    "a string of a scordatura that is none": (
        one_bar(
            '<direction><direction-type><scordatura><accord string="x"><tuning-step>D</tuning-step>'
            "<tuning-octave>2</tuning-octave></accord></scordatura></direction-type></direction>" + note("C4", 4)
        ),
        [(0, 4, 60)],
        "it says nothing of the strings",
    ),
    "a tremolo of 99": (
        one_bar(note("C4", 4, '<notations><ornaments><tremolo type="single">99</tremolo></ornaments></notations>')),
        [(0, 4, 60)],
        "tremolo 99) is mended in bar 1: the tremolo has 8 strokes",
    ),
    "a tremolo of nobody knows how many": (
        one_bar(note("C4", 4, '<notations><ornaments><tremolo type="single">x</tremolo></ornaments></notations>')),
        [(0, 4, 60)],
        "the tremolo has 3 strokes",
    ),
    "a tuplet that is not numbered": (
        one_bar(note("C4", 4, TUPLET.format(3).replace("<tuplet ", '<tuplet number="x" '))),
        [(0, 4, 60)],
        "tuplet number x) is mended in bar 1: it is the only tuplet there",
    ),
    "an ending of no time": (
        one_bar(note("C4", 4) + '<barline><ending number="x" type="stop">2.</ending></barline>'),
        [(0, 4, 60)],
        "ending number x) is mended in bar 1: the ending is for the times that its text names",
    ),
    "a step that is none": (
        one_bar(note("C4", 2).replace("<step>C", "<step>X") + note("D4", 2)),
        [(2, 2, 62)],
        "step X) is mended in bar 1: the note is left out",
    ),
    "a step that is none, tied, with signs": (
        one_bar(
            note("C4", 2, '<tie type="start"/><accidental>sharp</accidental>' + TIED).replace("<step>C", "<step>X")
            + note("D4", 2)
        ),
        [(2, 2, 62)],
        "the note is left out",
    ),
    "a step that is none in a chord": (
        one_bar(
            note("C4", 2) + note("E4", 2, first="<chord/>").replace("<step>E", "<step>")
            + note("G4", 2, first="<chord/>") + note("D4", 2)
        ),
        [(0, 2, 60), (0, 2, 67), (2, 2, 62)],
        "the note is left out",
    ),
    "a step that is none at the head of a chord": (
        one_bar(
            note("C4", 2).replace("<step>C", "<step>X") + note("E4", 2, first="<chord/>")
            + note("G4", 2, first="<chord/>") + note("D4", 2) + back(4) + note("A3", 4, voice=2)
        ),
        [(0, 2, 64), (0, 2, 67), (2, 2, 62), (0, 4, 57)],
        "the note is left out",
    ),
    "a grace note without a step": (
        one_bar(note("C4", first="<grace/>").replace("<step>C</step>", "") + note("D4", 4)),
        [(0, 4, 62)],
        "the note is left out",
    ),
}  # fmt: skip


@pytest.mark.parametrize(("text", "notes", "said"), MENDED.values(), ids=MENDED)
def test_the_place_is_mended_and_the_rest_is_read(text, notes, said):
    score = read(text)
    first = score.notes[score.notes["bar"] == 0]
    assert sorted(first[["offset", "length", "pitch"]].tolist()) == sorted(notes)
    assert score.notes["pitch"][-1] == 64
    assert score.bars["length"].tolist() == [4, 4]
    told = [remark for remark in score.remarks if remark.code == "bad-number"]
    assert [said in remark.message for remark in told] == [True]
    assert told[0].severity is Severity.CAUTION
    assert told[0].bar == 1


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ("<octave>4</octave>", "<octave>4.0</octave>"),
        ("<fifths>1</fifths>", "<fifths>1.0</fifths>"),
        ("<staves>2</staves>", "<staves> +2.0 </staves>"),
        ("<staff>2</staff>", "<staff>2.0</staff>"),
        ("<actual-notes>3</actual-notes>", "<actual-notes>3.0</actual-notes>"),
        ("<staff-lines>6</staff-lines>", "<staff-lines>6.0</staff-lines>"),
        ("<chromatic>0</chromatic>", "<chromatic>0.0</chromatic>"),
        ("<line>2</line>", "<line>2.0</line>"),
        ("<beats> 2 + 2 </beats>", "<beats>2.0+2.0</beats>"),
        ("<string>3</string>", "<string>3.0</string>"),
        ('times="2"', 'times="2.0"'),
        ('<accord string="6">', '<accord string="6.0">'),
    ],
)
def test_a_whole_number_may_be_written_with_a_point(before, after):
    one, other = read(RICH), read(RICH.replace(before, after))
    assert before in RICH
    assert other.remarks == one.remarks
    for table in ("notes", "bars", "marks", "parts"):
        assert str(getattr(other, table)) == str(getattr(one, table))


def test_a_part_that_is_not_listed_is_in_nobodys_way():
    """Nothing of it is mended, so nobody may read it."""
    bad = '<part id="P9"><measure><attributes><divisions>inf</divisions></attributes><note/></measure></part>'
    text = musicxml([bar(note("C4", 4), 1, FOUR_FOUR)]).replace("</score-partwise>", bad + "</score-partwise>")
    parsed = _parse(guard.Raw(Path("a.xml"), "xml", text.encode()))
    assert [part.get("id") for part in parsed.tree.iterfind("part")] == ["P1"]
    assert [remark.code for remark in parsed.remarks] == ["part-left-out"]


def test_the_staves_of_a_part_are_counted_once(monkeypatch):
    counted = []
    named = mending._Part._named_staves.func
    counts = cached_property(lambda part: counted.append(part) or named(part))
    counts.__set_name__(mending._Part, "_named_staves")
    monkeypatch.setattr(mending._Part, "_named_staves", counts)
    bars = [bar(note("C4", 4), number, FOUR_FOUR + "<staves>x</staves>") for number in range(1, 9)]
    assert read(musicxml(bars)).bars["length"].tolist() == [4] * 8
    assert len(counted) == 1


def test_what_is_mended_often_is_told_once():
    bars = [bar(note("C4", -4, EIGHTH), number, FOUR_FOUR if number == 1 else "") for number in range(1, 9)]
    (told,) = (remark for remark in read(musicxml(bars)).remarks if remark.code == "bad-number")
    assert "in bars 1, 2, 3, 4, 5 and 3 more:" in told.message


def test_a_way_back_that_is_rounded_is_no_slip():
    score = read(one_bar(FOUR + back(4).replace("48", "48.5") + note("A3", 4, voice=2)))
    assert score.notes["offset"][score.notes["pitch"] == 57].tolist() == [0]
    assert not score.remarks


def test_a_score_without_slips_is_left_as_it_is():
    text = one_bar(FOUR + back(4) + forward(2) + note("A3", 2, voice=2))
    assert not read(text).remarks


DIRECTIONS = """
<print page-number="1" staff-spacing="10">
  <page-layout><page-height>1500</page-height><page-width>1000</page-width></page-layout>
  <system-layout><system-distance>80</system-distance></system-layout>
  <staff-layout number="2"><staff-distance>60</staff-distance></staff-layout><measure-numbering>none</measure-numbering>
</print>
<direction>
  <direction-type><words default-x="4" default-y="-20" relative-x="1" font-size="12">dolce</words></direction-type>
  <offset>6</offset><voice>1</voice><staff>1</staff><sound tempo="60" dynamics="80" pan="0" elevation="0"/>
</direction>
<direction>
  <direction-type><metronome><beat-unit>quarter</beat-unit><per-minute>60</per-minute></metronome></direction-type>
</direction>
<direction><direction-type><wedge type="crescendo" number="1" spread="0"/></direction-type></direction>
<direction><direction-type><octave-shift type="down" size="8" number="1"/></direction-type></direction>
<direction><direction-type><dashes type="start" number="1"/></direction-type></direction>
<direction><direction-type><bracket type="start" number="2" line-end="up" end-length="10"/></direction-type></direction>
<direction><direction-type><pedal type="start" number="1"/></direction-type></direction>
<direction><direction-type><scordatura><accord string="6">
  <tuning-step>D</tuning-step><tuning-alter>0</tuning-alter><tuning-octave>2</tuning-octave>
</accord></scordatura></direction-type></direction>"""
ENDS = """
<direction><direction-type><wedge type="stop" number="1" spread="15"/></direction-type></direction>
<direction><direction-type><octave-shift type="stop" size="8" number="1"/></direction-type></direction>
<direction><direction-type><dashes type="stop" number="1"/></direction-type></direction>
<direction><direction-type><bracket type="stop" number="2" line-end="up" end-length="10"/></direction-type></direction>
<direction><direction-type><pedal type="stop" number="1"/></direction-type></direction>"""
STRUNG = """<type>quarter</type><staff>1</staff><beam number="1">begin</beam>
<notations default-y="0"><technical><string>3</string><fret>2</fret><fingering>1</fingering>
<bend><bend-alter>1</bend-alter><release offset="3"/></bend></technical>
<ornaments><tremolo type="single">3</tremolo><wavy-line type="start" number="1"/></ornaments>
<slur type="start" number="1" bezier-x="3"/><tied type="start" number="1"/><slide type="start" number="1"/>
<arpeggiate number="1"/></notations><lyric number="1"><text>la</text></lyric>"""
COUNTED = """<type>eighth</type><time-modification><actual-notes>3</actual-notes><normal-notes>2</normal-notes>
</time-modification><notations><tuplet type="start" number="1">
<tuplet-actual><tuplet-number>3</tuplet-number></tuplet-actual>
<tuplet-normal><tuplet-number>2</tuplet-number></tuplet-normal></tuplet>
<slur type="stop" number="1"/><slide type="stop" number="1"/></notations>"""
ATTRIBUTES = """
<divisions>12</divisions>
<key number="1"><cancel>2</cancel><fifths>1</fifths><key-octave number="1">5</key-octave></key>
<key number="2"><key-step>F</key-step><key-alter>1</key-alter></key>
<time number="1"><beats> 2 + 2 </beats><beat-type> 4 </beat-type></time>
<staves>2</staves>
<instruments>1</instruments>
<clef number="1"><sign>G</sign><line>2</line><clef-octave-change>-1</clef-octave-change></clef>
<staff-details number="1">
  <staff-lines>6</staff-lines>
  <staff-tuning line="1">
    <tuning-step>E</tuning-step><tuning-alter>0</tuning-alter><tuning-octave>2</tuning-octave>
  </staff-tuning>
  <capo>1</capo><staff-size>100</staff-size>
</staff-details>
<transpose number="1"><diatonic>0</diatonic><chromatic>0</chromatic><octave-change>0</octave-change></transpose>
<measure-style number="1"><multiple-rest>2</multiple-rest></measure-style>"""
REPEAT = """<barline location="right"><ending number="1" type="stop" end-length="10"/>
<repeat direction="backward" times="2"/></barline>"""
NOTES = [
    '<barline location="left"><ending number="1" type="start" default-y="30">1</ending></barline>',
    "<figured-bass><figure><figure-number>6</figure-number></figure><duration>12</duration></figured-bass>",
    "<harmony><root><root-step>C</root-step><root-alter>1</root-alter></root><kind>major</kind><inversion>1</inversion>"
    "<degree><degree-value>7</degree-value><degree-alter>0</degree-alter><degree-type>add</degree-type></degree>"
    "<offset>1</offset></harmony>",
    note("C#4", 1, STRUNG).replace("<note>", '<note dynamics="80" attack="1" release="1" default-x="3">'),
    note("C4", 1, COUNTED),
    note("D4", 2, first='<grace steal-time-previous="10" steal-time-following="20"/>'),
    note("E4", 2, first="<grace/>").replace("<voice>", "<duration>6</duration><voice>"),
    note("C4", 2, "<type>half</type>"),
    ENDS,
    back(4) + forward(2) + note("A3", 1, "<staff>2</staff>", voice=2),
    note("rest", 1, "<staff>2</staff>", voice=2).replace(
        "<rest/>", "<rest><display-step>B</display-step><display-octave>4</display-octave></rest>"
    ),
]
HEAD = """
<defaults><scaling><millimeters>7</millimeters><tenths>40</tenths></scaling>
<page-layout><page-height>1500</page-height><page-width>1000</page-width><page-margins type="both">
<left-margin>50</left-margin><right-margin>50</right-margin><top-margin>50</top-margin><bottom-margin>50</bottom-margin>
</page-margins></page-layout><system-layout><system-margins><left-margin>0</left-margin><right-margin>0</right-margin>
</system-margins><system-distance>100</system-distance><top-system-distance>70</top-system-distance></system-layout>
<staff-layout number="1"><staff-distance>60</staff-distance></staff-layout></defaults>
<credit page="1"><credit-words default-y="1400" font-size="20" justify="center">Study</credit-words></credit>
<part-list><part-group type="start" number="1"/>"""
SOUND = """<score-instrument id="I1"><instrument-name>Guitar</instrument-name></score-instrument>
<midi-instrument id="I1"><midi-channel>1</midi-channel><midi-bank>1</midi-bank><midi-program>25</midi-program>
<midi-unpitched>{}</midi-unpitched><volume>80</volume><pan>0</pan><elevation>0</elevation></midi-instrument>
</score-part>"""
DRUM = "<unpitched><display-step>E</display-step><display-octave>4</display-octave></unpitched>"


def rich() -> str:
    """A score of two parts in which every number stands that music21 or we read."""
    one = [bar(DIRECTIONS + "".join(NOTES) + REPEAT, 1, ATTRIBUTES, 'width="200"'), bar(note("E4", 4), 2)]
    beaten = note("rest", 4).replace("<rest/>", DRUM)
    two = [bar(beaten, 1, FOUR_FOUR + "<clef><sign>percussion</sign></clef>"), bar(beaten, 2)]
    text = musicxml(one, two).replace("<part-list>", HEAD).replace("</score-part>", SOUND.format(""), 1)
    text = text.replace("<midi-unpitched></midi-unpitched>", "")
    head, tail = text.split("</part-list>")
    last = SOUND.format(36).replace("I1", "I2")
    return f'{head.removesuffix("</score-part>")}{last}<part-group type="stop" number="1"/></part-list>{tail}'


RICH = rich()
BAD = ("-1", "0", "x", "", "1000000000", "1e999", "nan", "3.7", "4.0", "-0.5", "²")


def numbers() -> dict[str, tuple[int, str]]:
    """The numbers and steps of RICH by their elements: the place, and the attribute that holds it ("" for its text)."""
    root = fromstring(RICH)
    within = {id(child): element.tag for element in root.iter() for child in element}
    spots = {}
    for place, element in enumerate(root.iter()):
        for key, text in (("", element.text or ""), *element.items()):
            is_number = re.fullmatch(r"-?[\d +]+", text.strip()) or element.tag == "step"
            if is_number and (element.tag, key) != ("measure", "number"):
                spots.setdefault(f"{within.get(id(element))}/{element.tag} {key}".strip(), (place, key))
    return spots


def changed(place: int, key: str, value: str) -> str:
    """RICH with another value in one place."""
    tree = fromstring(RICH)
    element = list(tree.iter())[place]
    if key:
        element.set(key, value)
    else:
        element.text = value
    return tostring(tree, encoding="unicode")


@pytest.mark.parametrize("spot", numbers().values(), ids=numbers())
def test_no_number_costs_the_score(spot):
    mended = set()  # what is mended alike is read once
    for bad in BAD:
        text = changed(*spot, bad)
        tree = fromstring(text)
        mend(tree, tree.findall("part"), Slips())
        if (alike := tostring(tree)) not in mended:
            mended.add(alike)
            parsed = _parse(guard.Raw(Path("a.xml"), "xml", text.encode()))
            assert tabulate(parsed).notes["bar"].tolist()[-1] == 1, bad
            write_accidentals(parsed.tree)


def test_the_rich_score_itself_is_right():
    assert not [remark for remark in read(RICH).remarks if remark.code == "bad-number"]


@pytest.mark.parametrize(("metre", "beats"), [("FREI3/4", 3), ("four/4", 4), ("FREI", 4)])
def test_a_time_signature_of_words_is_read_as_far_as_it_has_figures(metre, beats, tmp_path):
    path = tmp_path / "a.abc"
    path.write_text(f"X:1\nT:Tune\nM:{metre}\nL:1/4\nK:C\n{'CDE|' * 4}\n")
    score = read_score(path, cache=False)
    assert score.notes["pitch"].tolist() == [60, 62, 64] * 4
    assert [repr(metre) in remark.message for remark in score.remarks if remark.code == "bad-number"] == [True]
    assert score.bars["beats"][0] == beats


def test_only_the_tune_that_is_read_has_to_be_right(tmp_path):
    path = tmp_path / "a.abc"
    path.write_text("X:1\nM:4/4\nL:1/4\nK:C\nCDEF|GABc|c4|\n\nX:2\nM:FREI4/4\nK:C\nCDEF|\n")
    assert [remark.code for remark in read_score(path, cache=False).remarks] == ["collection"]


def test_what_was_mended_is_kept_with_the_score(tmp_path, monkeypatch):
    monkeypatch.setenv("LENTANDO_CACHE", str(tmp_path / "kept"))
    path = tmp_path / "a.musicxml"
    path.write_text(MENDED["a negative length"][0])
    first, again = read_score(path), read_score(path)
    assert first.remarks == again.remarks
    assert (first.notes == again.notes).all()
