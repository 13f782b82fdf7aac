"""One number that cannot be music does not cost the whole score."""

from __future__ import annotations

from functools import cached_property
from pathlib import Path

import pytest
from written import FOUR_FOUR, back, bar, forward, musicxml, note

from timing.reader import _parse, guard, mending, read_score, tabulate
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
