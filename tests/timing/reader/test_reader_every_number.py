"""Every number of a score that has nearly all that MusicXML can say, replaced by what no music has, one at a time."""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree.ElementTree import fromstring, tostring

import pytest
from written import FOUR_FOUR, back, bar, forward, musicxml, note

from timing.reader import _parse, guard, tabulate
from timing.reader.accidentals import write_accidentals
from timing.reader.mending import mend
from timing.reader.slips import Slips
from timing.score import Score


def read(text: str) -> Score:
    return tabulate(_parse(guard.Raw(Path("a.xml"), "xml", text.encode())))


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
