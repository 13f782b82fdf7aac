"""Ornaments as they are read: whose they are, and how far their neighbours lie, by the page."""

from __future__ import annotations

from pathlib import Path

import pytest
from written import bar, musicxml, note

from timing.reader import read_score
from timing.score import Ornament, Score

TRILL, MORDENT, INVERTED = Ornament.TRILL, Ornament.MORDENT, Ornament.INVERTED_MORDENT
TURN, DELAYED = Ornament.TURN, Ornament.DELAYED_TURN


def signs(inside: str) -> str:
    return f"<notations><ornaments>{inside}</ornaments></notations>"


def start(fifths: int = 0, more: str = "") -> str:
    time = "<time><beats>4</beats><beat-type>4</beat-type></time>"
    return f"<divisions>12</divisions><key><fifths>{fifths}</fifths></key>{time}{more}"


def read(path: Path, *bars: str, attributes: str = "") -> Score:
    """The score of one part with these bars."""
    made = [bar(content, number, (attributes or start()) * (number == 1)) for number, content in enumerate(bars, 1)]
    file = path / "ornaments.musicxml"
    file.write_text(musicxml(made), encoding="utf-8")
    return read_score(file, cache=False)


def found(made: Score) -> list[tuple]:
    """(pitch, ornament, upper, lower) of the ornamented notes."""
    rows = made.notes[made.notes["ornament"] != Ornament.NONE]
    return [(int(n["pitch"]), Ornament(int(n["ornament"])), int(n["upper"]), int(n["lower"])) for n in rows]


def neighbours(made: Score) -> list[tuple[int, int]]:
    return [row[2:] for row in found(made)]


TRILLED, TIED = signs("<trill-mark/>"), "<tie type='{0}'/>{1}<notations><tied type='{0}'/></notations>"

# -- signs


@pytest.mark.parametrize(
    ("sign", "ornament"),
    [
        ("trill-mark", TRILL),
        ("shake", TRILL),
        ("mordent", MORDENT),
        ("inverted-mordent", INVERTED),
        ("turn", TURN),
        ("inverted-turn", Ornament.INVERTED_TURN),
        ("delayed-turn", DELAYED),
        ("delayed-inverted-turn", Ornament.DELAYED_INVERTED_TURN),
        ("vertical-turn", TURN),
        ("inverted-vertical-turn", Ornament.INVERTED_TURN),
    ],
)
def test_signs(tmp_path, sign, ornament):
    made = read(tmp_path, note("C4", 1, signs(f"<{sign}/>")) + note("E4", 3))
    assert found(made) == [(60, ornament, 2, 1)]
    assert made.notes["tremolo"].tolist() == [0, 0]


def test_of_two_signs_the_first_counts(tmp_path):
    made = read(tmp_path, note("C4", 4, signs("<inverted-mordent/><accidental-mark>flat</accidental-mark><turn/>")))
    assert found(made) == [(60, INVERTED, 1, 1)]


def test_other_signs_are_no_ornaments(tmp_path):
    made = read(tmp_path, note("C4", 4, signs("<schleifer/><other-ornament>x</other-ornament>")))
    assert found(made) == []


# -- neighbours


@pytest.mark.parametrize(
    ("fifths", "pitch", "expected"),
    [
        (1, "F#5", (1, 2)),  # G major: F sharp to G and E
        (1, "E5", (2, 2)),  # to F sharp and D
        (0, "E5", (1, 2)),
        (0, "B4", (1, 2)),
        (0, "C5", (2, 1)),
        (-3, "G4", (1, 2)),  # three flats: to A flat and F
        (-3, "Ab4", (2, 1)),
        (-3, "C5", (2, 2)),  # to D and B flat
        (-3, "B4", (1, 3)),  # B natural: to C, and A flat is far down
        (7, "B#4", (1, 2)),  # C sharp major: to C sharp and A sharp
        (-7, "Cb5", (2, 1)),
        (0, "E#5", (1, 3)),  # E sharp: F natural is the same key, so at least a semitone
    ],
)
def test_neighbours_are_those_of_the_key(tmp_path, fifths, pitch, expected):
    made = read(tmp_path, note(pitch, 4, TRILLED), attributes=start(fifths))
    assert neighbours(made) == [expected]


def test_a_key_holds_until_the_next(tmp_path):
    change = "<attributes><key><fifths>1</fifths></key></attributes>"
    trilled = note("E5", 4, TRILLED)
    made = read(tmp_path, trilled, change + trilled, trilled)
    assert neighbours(made) == [(1, 2), (2, 2), (2, 2)]


def test_accidentals_hold_until_the_bar_is_over(tmp_path):
    """Harmonic minor: G sharp before a mordent on A, and under a trill on F; in the next bar no more."""
    sharp = note("G#4", 1)
    made = read(tmp_path, sharp + note("A4", 1, TRILLED) + note("F4", 2, TRILLED), note("A4", 4, TRILLED))
    assert neighbours(made) == [(2, 1), (3, 1), (2, 2)]


def test_the_latest_accidental_counts_and_none_that_comes_later(tmp_path):
    made = read(
        tmp_path,
        note("A4", 1, TRILLED) + note("Bb4", 0.5) + note("A4", 1, TRILLED) + note("B4", 0.5) + note("A4", 1, TRILLED),
    )
    assert [upper for upper, _ in neighbours(made)] == [2, 1, 2]


def test_accidentals_are_those_of_the_line_and_staff(tmp_path):
    octave = read(tmp_path, note("Bb5", 1) + note("A4", 3, TRILLED))
    assert neighbours(octave) == [(2, 2)]
    second = "<backup><duration>48</duration></backup>" + note("Bb4", 4, "<staff>2</staff>", voice=5)
    below = read(tmp_path, note("rest", 1) + note("A4", 3, f"<staff>1</staff>{TRILLED}") + second,
                 attributes=start(more="<staves>2</staves>"))  # fmt: skip
    assert neighbours(below) == [(2, 2)]
    other = "<backup><duration>48</duration></backup>" + note("Bb4", 4, voice=2)
    beside = read(tmp_path, note("rest", 1) + note("A4", 3, TRILLED) + other)
    assert neighbours(beside) == [(1, 2)]


def test_an_accidental_that_is_tied_over_is_of_its_note_alone(tmp_path):
    first, second = (TIED.format(kind, "") for kind in ("start", "stop"))
    made = read(tmp_path, note("Bb4", 4, first), note("Bb4", 1, second) + note("A4", 3, TRILLED))
    assert neighbours(made) == [(2, 2)]


@pytest.mark.parametrize(
    ("inside", "expected"),
    [
        ("<trill-mark/><accidental-mark>flat</accidental-mark>", (1, 2)),
        ("<trill-mark/><accidental-mark>natural</accidental-mark>", (2, 2)),
        ("<trill-mark/><accidental-mark>three-quarters-flat</accidental-mark>", (2, 2)),
        ("<accidental-mark>flat</accidental-mark><trill-mark/>", (2, 2)),  # belongs to nothing
        ("<mordent/><accidental-mark placement='above'>sharp</accidental-mark>", (2, 1)),
        ("<inverted-mordent/><accidental-mark placement='below'>flat</accidental-mark>", (1, 2)),
        ("<turn/><accidental-mark placement='above'>flat</accidental-mark>", (1, 2)),
        ("<turn/><accidental-mark placement='below'>sharp</accidental-mark>", (2, 1)),
        ("<turn/><accidental-mark>flat</accidental-mark><accidental-mark>sharp</accidental-mark>", (1, 1)),
        ("<trill-mark trill-step='half'/>", (1, 2)),
        ("<trill-mark trill-step='whole'/>", (2, 2)),
    ],
)
def test_accidentals_at_the_sign(tmp_path, inside, expected):
    """On A4 in C major."""
    assert neighbours(read(tmp_path, note("A4", 4, signs(inside)))) == [expected]


def test_neighbours_of_a_transposing_instrument_are_those_that_it_reads(tmp_path):
    """A clarinet in A, in C: a trill on its E goes to its F, which sounds as C sharp and D."""
    transposed = start(more="<transpose><diatonic>-2</diatonic><chromatic>-3</chromatic></transpose>")
    assert found(read(tmp_path, note("E5", 4, TRILLED), attributes=transposed)) == [(73, TRILL, 1, 2)]


def test_what_has_no_pitch_can_be_trilled_and_nothing_else(tmp_path):
    drum = "<note><unpitched><display-step>E</display-step><display-octave>4</display-octave></unpitched>"
    half = f"{drum}<duration>24</duration><voice>1</voice>"
    made = read(tmp_path, "".join(f"{half}{signs(sign)}</note>" for sign in ("<trill-mark/>", "<turn/>")))
    assert [row[1:] for row in found(made)] == [(TRILL, 0, 0)]


# -- chords, ties, wavy lines


@pytest.mark.parametrize(
    ("low", "middle", "high", "expected"),
    [
        ("<mordent/>", "", "", [67]),  # files write the sign of a chord at its first note
        ("<mordent placement='below'/>", "", "", [60]),
        ("", "<mordent/>", "", [64]),
        ("", "", "<mordent/>", [67]),
        ("<mordent/>", "", "<mordent/>", [60, 67]),
    ],
)
def test_which_note_of_a_chord_has_the_sign(tmp_path, low, middle, high, expected):
    members = [(low, "C4", ""), (middle, "E4", "<chord/>"), (high, "G4", "<chord/>")]
    made = read(tmp_path, "".join(note(pitch, 4, signs(sign), first=chord) for sign, pitch, chord in members))
    assert [row[0] for row in found(made)] == expected


def test_a_tied_note_has_one_ornament(tmp_path):
    first, second = (TIED.format(kind, "") for kind in ("start", "stop"))
    made = read(tmp_path, note("C5", 4, first + TRILLED), note("C5", 4, second + TRILLED))
    assert found(made) == [(72, TRILL, 2, 1)] and made.notes["length"].tolist() == [8]
    assert found(read(tmp_path, note("C5", 4, first), note("C5", 4, second + signs("<turn/>")))) == []


def wavy(kind: str, number: int = 1) -> str:
    return f'<wavy-line type="{kind}" number="{number}"/>'


def test_a_wavy_line_over_tied_notes_is_one_trill(tmp_path):
    first, second = (TIED.format(kind, "") for kind in ("start", "stop"))
    made = read(
        tmp_path,
        note("C5", 4, first + signs("<trill-mark/>" + wavy("start"))),
        note("C5", 2, second) + note("D5", 2, signs(wavy("stop"))),
    )
    assert found(made) == [(72, TRILL, 2, 1)]


def test_a_line_after_a_trill_sign_makes_trills_until_its_end(tmp_path):
    """As in the last movement of Beethoven's op. 59 no. 3, bars 322-332: the note at the end has none."""
    content = note("C5", 1, signs("<trill-mark/>" + wavy("start"))) + note("D5", 1) + note("E5", 1)
    made = read(tmp_path, content + note("F5", 1, signs(wavy("stop"))))
    assert [row[0] for row in found(made)] == [72, 74, 76]


def test_a_line_alone_is_a_trill_unless_that_is_written_out(tmp_path):
    single = read(tmp_path, note("C5", 4, signs(wavy("start") + wavy("stop"))))
    assert [row[0] for row in found(single)] == [72]
    same = note("C5", 1, signs(wavy("start"))) + note("C5", 2) + note("C5", 1, signs(wavy("stop")))
    assert len(found(read(tmp_path, same))) == 2
    out = note("C5", 1, signs(wavy("start"))) + note("D5", 1, signs(wavy("continue")))
    assert found(read(tmp_path, out + note("C5", 2, signs(wavy("stop"))))) == []


def test_a_line_that_never_stops_goes_as_far_as_it_is_continued(tmp_path):
    """As in bars 26-30 of the first movement of Mozart's K. 458."""
    content = note("C5", 1, signs("<trill-mark/>" + wavy("start"))) + note("C5", 1, signs(wavy("continue")))
    assert len(found(read(tmp_path, content + note("C5", 2)))) == 2
    assert len(found(read(tmp_path, note("C5", 1, signs("<trill-mark/>" + wavy("start"))) + note("C5", 3)))) == 1


# -- tremolos


@pytest.mark.parametrize(
    ("kind", "quarters", "mark", "expected"),
    [
        ("quarter", 1, "<tremolo>1</tremolo>", 0.5),
        ("half", 2, "<tremolo type='single'>2</tremolo>", 0.25),
        ("quarter", 1.5, "<tremolo>3</tremolo>", 0.125),
        ("eighth", 0.5, "<tremolo>1</tremolo>", 0.25),
        ("16th", 0.25, "<tremolo>2</tremolo>", 1 / 16),
        ("quarter", 1, "<tremolo/>", 0.125),
        ("quarter", 1, "<tremolo type='unmeasured'>0</tremolo>", 1 / 64),
        ("quarter", 1, "<tremolo type='start'>3</tremolo>", 0),  # between two notes
    ],
)
def test_the_strokes_of_a_tremolo(tmp_path, kind, quarters, mark, expected):
    made = read(tmp_path, note("C4", quarters, f"<type>{kind}</type>{signs(mark)}") + note("E4", 4 - quarters))
    assert made.notes["tremolo"].tolist() == pytest.approx([expected, 0])


def test_the_strokes_of_a_tremolo_in_a_triplet(tmp_path):
    three = "<actual-notes>3</actual-notes><normal-notes>2</normal-notes>"
    third = f"<type>quarter</type><time-modification>{three}</time-modification>{signs('<tremolo>1</tremolo>')}"
    made = read(tmp_path, note("C4", 2 / 3, third) * 3 + note("E4", 2))
    assert made.notes["tremolo"][:3] == pytest.approx(1 / 3)


def test_a_tremolo_is_of_all_notes_of_a_chord(tmp_path):
    low = note("C4", 4, f"<type>whole</type>{signs('<tremolo>1</tremolo>')}")
    made = read(tmp_path, low + note("E4", 4, "<type>whole</type>", first="<chord/>"))
    assert made.notes["tremolo"].tolist() == [0.5, 0.5]


def between(kind: str, quarters: float, strokes: object, end: str = "stop", more: str = "") -> str:
    half = "<actual-notes>2</actual-notes><normal-notes>1</normal-notes>"
    head = f"<type>{kind}</type><time-modification>{half}</time-modification>"
    first = note("C4", quarters, head + signs(f"<tremolo type='start'>{strokes}</tremolo>"))
    return first + more + note("E4", quarters, head + signs(f"<tremolo type='{end}'>{strokes}</tremolo>"))


@pytest.mark.parametrize(
    ("kind", "quarters", "strokes", "expected"),
    [("whole", 2, 1, 0.5), ("half", 1, 3, 0.125), ("quarter", 0.5, 2, 0.25), ("half", 1, 0, 1 / 64),
     ("half", 1, "9" * 5000, 1 / 256)],
)  # fmt: skip
def test_a_tremolo_between_two_notes(tmp_path, kind, quarters, strokes, expected):
    made = read(tmp_path, between(kind, quarters, strokes) + note("G4", 4 - 2 * quarters) * (quarters < 2))
    assert made.notes["tremolo"][:2] == pytest.approx([expected, expected])
    assert made.notes["turn"].tolist() == [1, 2, 0][: len(made.notes)]


def test_a_tremolo_between_two_chords(tmp_path):
    third = note("E5", 2, "<type>whole</type>", first="<chord/>")
    made = read(tmp_path, between("whole", 2, 3, more=third) + third)
    assert sorted(made.notes[["offset", "turn"]].tolist()) == [(0, 1), (0, 1), (2, 2), (2, 2)]
    assert set(made.notes["tremolo"]) == {0.125}


@pytest.mark.parametrize(
    "content",
    [
        between("half", 1, 3, end="start") + note("G4", 2),  # it never ends
        between("half", 1, 3, more=note("D4", 1)) + note("G4", 1),  # nor are these neighbours
        note("C4", 1, signs("<tremolo type='start'>3</tremolo>"))
        + note("E4", 3, signs("<tremolo type='stop'>3</tremolo>")),  # of two lengths
        note("C4", 4, signs("<tremolo type='stop'>3</tremolo>")),
    ],
)
def test_what_is_no_tremolo_between_two_notes(tmp_path, content):
    notes = read(tmp_path, content).notes
    assert not notes["tremolo"].any() and not notes["turn"].any()


# -- kern


def test_ornaments_of_kern(tmp_path):
    """Humdrum User Guide: t and T half- and whole-tone trills, m and M mordents, w and W inverted ones, S a turn."""
    file = tmp_path / "ornaments.krn"
    rows = "**kern *k[f#] *M4/4 =1 4eet 4eeT 4ffM 4gm =2 4gw 4gW 4eS 4e = *-"
    file.write_text(rows.replace(" ", "\n") + "\n", encoding="utf-8")
    made = read_score(file, cache=False)
    assert [(row[1], *row[2:]) for row in found(made)] == [
        (TRILL, 1, 2), (TRILL, 2, 2), (MORDENT, 2, 2), (MORDENT, 2, 1),
        (INVERTED, 1, 1), (INVERTED, 2, 1), (TURN, 2, 2),
    ]  # fmt: skip


# -- MEI

_MEI = """<?xml version="1.0" encoding="UTF-8"?>
<mei xmlns="http://www.music-encoding.org/ns/mei"><music><body><mdiv><score>
<scoreDef meter.count="4" meter.unit="4">
<staffGrp><staffDef n="1" lines="5" clef.shape="G" clef.line="2"/></staffGrp></scoreDef>
<section><measure n="1"><staff n="1"><layer n="1">
<note xml:id="a" pname="a" oct="4" dur="4"/><note xml:id="b" pname="b" oct="4" dur="4"/>
<chord xml:id="c" dur="4"><note pname="c" oct="4"/><note pname="e" oct="4"/></chord>
<note xml:id="d" pname="g" oct="4" dur="4"/>
</layer></staff>{}</measure></section></score></mdiv></body></music></mei>
"""


@pytest.mark.parametrize(
    ("element", "expected"),
    [
        ('<trill startid="#a"/>', (69, TRILL, 2, 2)),
        ('<trill startid="#a" accidupper="f"/>', (69, TRILL, 1, 2)),
        ('<mordent startid="#b"/>', (71, MORDENT, 1, 2)),
        ('<mordent form="upper" startid="#b"/>', (71, INVERTED, 1, 2)),
        ('<turn startid="#d" accidlower="s"/>', (67, TURN, 2, 1)),
        ('<turn form="lower" startid="#d"/>', (67, Ornament.INVERTED_TURN, 2, 2)),
        ('<turn delayed="true" startid="#d"/>', (67, DELAYED, 2, 2)),
        ('<turn form="lower" delayed="true" startid="#d"/>', (67, Ornament.DELAYED_INVERTED_TURN, 2, 2)),
        ('<mordent startid="#c"/>', (64, MORDENT, 1, 2)),  # of a chord the highest note
    ],
)
def test_ornaments_of_mei(tmp_path, element, expected):
    file = tmp_path / "ornaments.mei"
    file.write_text(_MEI.format(element), encoding="utf-8")
    assert found(read_score(file, cache=False)) == [expected]


def test_ornaments_of_mei_that_name_no_note_are_told(tmp_path):
    file = tmp_path / "ornaments.mei"
    file.write_text(_MEI.format('<trill tstamp="1" staff="1"/><turn startid="#nowhere"/>'), encoding="utf-8")
    made = read_score(file, cache=False)
    assert found(made) == []
    assert [remark.message for remark in made.remarks] == ["2 ornaments that name no note of the score are left out"]
