"""One number that cannot be music does not cost the whole score."""

from __future__ import annotations

import copy
from pathlib import Path
from xml.etree.ElementTree import fromstring, tostring

import pytest
from written import FOUR_FOUR, bar, musicxml, note

from timing.reader import _parse, guard, read_score, tabulate
from timing.remarks import Severity
from timing.score import Score

EIGHTH, DOTTED = "<type>eighth</type>", "<type>quarter</type><dot/>"
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
}


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
<direction>
  <direction-type><words default-x="4" default-y="-20" relative-x="1">dolce</words></direction-type>
  <offset>6</offset><staff>1</staff><sound tempo="60" dynamics="80"/>
</direction>
<direction>
  <direction-type><metronome><beat-unit>quarter</beat-unit><per-minute>60</per-minute></metronome></direction-type>
</direction>"""
STRUNG = """<type>quarter</type><staff>1</staff>
<notations><technical><string>3</string><fret>2</fret><fingering>1</fingering></technical></notations>"""
ATTRIBUTES = """
<divisions>12</divisions>
<key number="1"><fifths>1</fifths></key>
<time><beats>4</beats><beat-type>4</beat-type></time>
<staves>2</staves>
<clef number="1"><sign>G</sign><line>2</line><clef-octave-change>-1</clef-octave-change></clef>
<staff-details>
  <staff-lines>6</staff-lines>
  <staff-tuning line="1">
    <tuning-step>E</tuning-step><tuning-alter>0</tuning-alter><tuning-octave>2</tuning-octave>
  </staff-tuning>
  <capo>1</capo>
</staff-details>
<transpose><diatonic>0</diatonic><chromatic>0</chromatic><octave-change>0</octave-change></transpose>"""
REPEAT = '<barline location="right"><repeat direction="backward" times="2"/></barline>'
NOTES = [
    note("C#4", 1, STRUNG),
    note("C4", 1, EIGHTH + TUPLET.format(3)),
    note("C4", 2, "<type>half</type><dot/>", first="<grace/>"),
    note("C4", 2, "<type>half</type>"),
    back(4) + forward(2) + note("A3", 2, "<staff>2</staff>", voice=2),
]
RICH = one_bar(DIRECTIONS + "".join(NOTES) + REPEAT, ATTRIBUTES)
BAD = ("-1", "0", "x", "", "1000000000", "99999999999999999999", "1e999", "nan", "3.7", "-0.5", "²", "Ⅻ")


def numbers() -> list[tuple[int, str]]:
    """The numbers of RICH: the element's place, and the attribute that holds it ("" for its text)."""
    spots = {}
    for place, element in enumerate(fromstring(RICH).iter()):
        for key, text in (("", element.text or ""), *element.items()):
            if text.lstrip("-").isdecimal() and (element.tag, key) != ("measure", "number"):
                spots.setdefault((element.tag, key), (place, key))
    return list(spots.values())


@pytest.mark.parametrize(("place", "key"), numbers(), ids=lambda value: str(value))
def test_no_number_costs_the_score(place, key):
    tree = fromstring(RICH)
    for bad in BAD:
        changed = copy.deepcopy(tree)
        element = list(changed.iter())[place]
        if key:
            element.set(key, bad)
        else:
            element.text = bad
        score = read(tostring(changed, encoding="unicode"))
        assert score.notes["bar"].tolist()[-1] == 1, (element.tag, key, bad)


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
