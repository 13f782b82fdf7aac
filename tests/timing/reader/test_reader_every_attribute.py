"""Every attribute that only says how a score looks, with odd values on all of its elements: it costs nothing."""

from __future__ import annotations

from pathlib import Path
from xml.etree.ElementTree import fromstring, tostring

import pytest
from written import FOUR_FOUR, bar, musicxml, note, packed, standard_midi

from timing.reader import _parse, guard, read_score, tabulate
from timing.remarks import CannotDo
from timing.score import Score

DIRECTIONS = "".join(
    f"<direction><direction-type>{said}</direction-type></direction>"
    for said in (
        "<rehearsal>A</rehearsal>", "<words>rit.</words>", "<dynamics><f/></dynamics>", '<wedge type="crescendo"/>',
        '<dashes type="start"/>', '<bracket type="start" line-end="up"/>', '<octave-shift type="down"/>',
        '<pedal type="start"/>', "<metronome><beat-unit>quarter</beat-unit><per-minute>60</per-minute></metronome>",
        "<segno/>", "<coda/>", "<symbol>x</symbol>", '<string-mute type="on"/>', "<eyeglasses/>",
        "<other-direction>x</other-direction>", "<harp-pedals/>", "<accordion-registration/>",
    )
)  # fmt: skip
ENDS = "".join(
    f'<direction><direction-type><{kind} type="stop"{more}/></direction-type></direction>'
    for kind, more in {"wedge": "", "dashes": "", "bracket": ' line-end="up"', "octave-shift": "", "pedal": ""}.items()
)
SIGNS = """<type>quarter</type><dot/><accidental>sharp</accidental><stem>up</stem><notehead>normal</notehead>
<beam number="1">begin</beam><notations><tuplet type="start"/><slur type="start"/><tied type="start"/>
<glissando type="start" line-type="wavy">gliss.</glissando><slide type="start"/>
<ornaments><trill-mark/><accidental-mark>flat</accidental-mark><wavy-line type="start"/></ornaments>
<technical><up-bow/><harmonic/><open-string/><fingering>1</fingering><string>2</string><fret>1</fret><stopped/>
<snap-pizzicato/><hammer-on type="start">H</hammer-on><bend><bend-alter>1</bend-alter></bend></technical>
<articulations><accent/><strong-accent type="up"/><staccato/><tenuto/><scoop/><plop/><doit/><falloff/><caesura/>
<breath-mark>comma</breath-mark><stress/><other-articulation>x</other-articulation></articulations>
<fermata type="upright">normal</fermata><arpeggiate/><non-arpeggiate type="top"/></notations>
<lyric><syllabic>single</syllabic><text>la</text><extend type="start"/></lyric>"""
STOPS = """<notations><slur type="stop"/><tied type="stop"/><glissando type="stop">x</glissando><slide type="stop"/>
<ornaments><wavy-line type="stop"/><inverted-mordent/><turn/></ornaments></notations>"""
HEAD = """<credit page="1"><credit-type>title</credit-type><credit-words>Study</credit-words></credit><part-list>
<part-group type="start" number="1"><group-name>G</group-name><group-symbol>brace</group-symbol></part-group>"""
ATTRIBUTES = """<divisions>12</divisions><key><fifths>1</fifths></key>
<time><beats>4</beats><beat-type>4</beat-type></time>
<clef><sign>G</sign><line>2</line></clef>"""
RICH = musicxml(
    [
        bar("<print><measure-numbering>none</measure-numbering></print>" + DIRECTIONS + note("G4", 1, SIGNS)
            + note("G4", 3, STOPS) + ENDS
            + '<barline location="right"><bar-style>light-light</bar-style></barline>', 1, ATTRIBUTES),
        bar(note("A4", 4), 2),
    ]
).replace("<part-list>", HEAD)  # fmt: skip

XML = "{http://www.w3.org/XML/1998/namespace}"
LOOKS = """
justify halign valign font-family font-style font-size font-weight underline overline line-through rotation
letter-spacing line-height dir enclosure color print-dot print-lyric print-spacing print-leger placement orientation
line-type line-shape line-length line-end dash-length space-length default-x default-y relative-y bezier-x bezier-y
bezier-x2 bezier-y2 bezier-offset symbol bracket show-number show-type parentheses editorial cautionary accelerate
beats first-beat second-beat last-beat start-note trill-step two-note-turn long id smufl non-controlling spread fan
time-only new-system new-page blank-page page-number width end-length unbroken use-dots use-stems ratio
filled full-page level display additional after-barline abbreviated separator common unplayed tip bell-cap
substitution alternate approach departure first-fret number-of-lines show-fret elevation pan attack release
staff-spacing optional-unique-id source an-attribute-that-no-one-knows
"""
ODD = ("", "odd", "-1", "1e400", "nan", "0", "1_000", "ünknown, words")


def read(text: str) -> Score:
    return tabulate(_parse(guard.Raw(Path("a.xml"), "xml", text.encode())))


def dressed(attribute: str, value: str) -> str:
    tree = fromstring(RICH)
    for element in tree.iter():
        element.set(attribute, value)
    return tostring(tree, encoding="unicode")


@pytest.fixture(scope="module")
def plain() -> Score:
    return read(RICH)


@pytest.mark.parametrize("attribute", [*LOOKS.split(), f"{XML}lang", f"{XML}space"])
def test_what_only_looks_changes_nothing_that_sounds(attribute, plain):
    for value in ODD:
        score = read(dressed(attribute, value))
        for table in ("notes", "bars", "marks", "parts"):
            assert str(getattr(score, table)) == str(getattr(plain, table)), value


def test_a_size_of_letters_and_of_notes(plain):
    for value in ODD:
        text = RICH.replace("<type>", f'<type size="{value}">').replace("<accidental>", f'<accidental size="{value}">')
        assert str(read(text).notes) == str(plain.notes)


@pytest.mark.parametrize(("before", "after"), [("<stem>up<", "<stem>x<"), (">begin</beam>", ">x</beam>")])
def test_stems_and_beams_of_no_kind(before, after, plain):
    assert before in RICH
    assert str(read(RICH.replace(before, after)).notes) == str(plain.notes)


def test_a_repeat_sign_without_a_direction_goes_by_its_side():
    sign = '<barline location="right"><repeat{}/></barline>'
    for said in ("", ' direction=""', ' direction="back"'):
        score = read(musicxml([bar(note("C4", 4) + sign.format(said), 1, FOUR_FOUR)]))
        assert [str(kind) for kind in score.marks["kind"]] == ["repeat end"]
        assert [remark.code for remark in score.remarks] == ["bad-number"]
    right = read(musicxml([bar(note("C4", 4) + sign.format(' direction="backward"'), 1, FOUR_FOUR)]))
    assert not right.remarks


def test_strings_are_counted_by_the_attribute_of_their_element():
    def score(more: str) -> Score:
        pitch = "<tuning-step>D</tuning-step><tuning-octave>2</tuning-octave>"
        tuning = f'<staff-tuning line="1"{more}>{pitch}</staff-tuning>'
        details = f"<staff-details><staff-lines>6</staff-lines>{tuning}</staff-details>"
        return read(musicxml([bar(note("C4", 4), 1, FOUR_FOUR + details)]))

    assert str(score(' string=""').parts) == str(score(' string="9"').parts) == str(score("").parts)


# -- what cannot be read is said in words of music

PYTHON = ("object", "list index", "literal", "convert", "NoneType", "attribute", "Error", "Exception", "argument", "(")
BROKEN = {
    "kern": ("a.krn", b"**kern\t**kern\n4c\n4c\t4c\t4c\n*-\n"),
    "abc": ("a.abc", b"X:1\nT:Tune\nM:4/4\nL:1/4\nK:C\n[[[((\n"),
    "note value": ("a.xml", RICH.replace("<type>quarter</type>", "<type>x</type>").encode()),
    "encoding": ("a.xml", b'<?xml version="1.0" encoding="none-such"?><a/>'),
    "MIDI": ("a.mid", standard_midi(b"\x00\x90\xff\xff\xff")),
    "packed": ("a.mxl", packed(a_xml=RICH)[:-30]),
    "mei": ("a.mei", b'<mei xmlns="http://www.music-encoding.org/ns/mei"><music/></mei>'),
}


@pytest.mark.parametrize(("name", "content"), BROKEN.values(), ids=BROKEN)
def test_no_refusal_is_in_the_words_of_a_program(name, content, tmp_path):
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(CannotDo) as refusal:
        read_score(path, cache=False)
    (remark,) = refusal.value.remarks
    assert not [word for word in PYTHON if word in remark.message], remark.message


def test_a_refusal_names_the_bar(tmp_path):
    path = tmp_path / "a.xml"
    path.write_text(musicxml([bar(note("C4", 4), 1, FOUR_FOUR), bar(note("C4", 4, "<type>x</type>"), 2)]))
    with pytest.raises(CannotDo, match="something in bar 2 is missing, or is not as the format has it"):
        read_score(path, cache=False)
