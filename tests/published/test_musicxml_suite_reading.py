"""Reading against the MIT-licensed MusicXML test suite inside music21 (MusicXML 4.0; version number in each file).

Expected places and lengths were worked out by hand from the XML: durations are <duration> over <divisions>, a note
stands where the durations before it in its voice add up to, and pitches are written pitch plus <transpose>.
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from written import suite

from timing.reader import read_score, read_stream, tabulate
from timing.remarks import CannotDo
from timing.score import Sign

SUITE = suite()


def read(name: str):
    return tabulate(read_stream(SUITE[name]))


def rows(table: np.ndarray, *columns: str) -> list[tuple]:
    return [tuple(row) for row in table[list(columns)].tolist()]


def places(name: str) -> list[tuple]:
    return rows(read(name).notes, "bar", "offset", "length", "pitch")


def sounding_notes(name: str) -> int:
    """Notes with a pitch, by the XML alone."""
    from xml.etree.ElementTree import parse
    from zipfile import ZipFile

    path = SUITE[name]
    if path.suffix == ".mxl":
        with ZipFile(path) as archive:
            (inside,) = [n for n in archive.namelist() if n.endswith(".xml") and not n.startswith("META-INF")]
            tree = parse(archive.open(inside))
    else:
        tree = parse(path)
    return sum(n.find("rest") is None and n.find("cue") is None for n in tree.iter("note"))


@pytest.mark.parametrize("name", SUITE)
def test_every_file_reads_or_gives_one_clear_error(name):
    try:
        score = read_score(SUITE[name], cache=False)
    except CannotDo as refusal:
        (reason,) = refusal.remarks
        assert "holds no notes" in reason.message and sounding_notes(name) == 0
        return
    assert len(score.heads) == sounding_notes(name)
    assert ("score-silent" in {remark.code for remark in score.remarks}) == (sounding_notes(name) == 0)


def test_a_pickup_and_a_bar_in_two_parts():
    # 4/4; first bar (implicit) 1 + 1/2 quarters; bar 1 of 2 quarters; implicit "X1" of 2 quarters; bar 2 of 3 quarters
    bars = read("46d").bars
    assert rows(bars, "number", "length", "shift") == [(0, 1.5, 2.5), (1, 2.0, 0.0), (1, 2.0, 2.0), (2, 3.0, 0.0)]


def test_the_second_voice_comes_in_after_a_backup():
    # bar 1: four quarters in voice 1, back by three, voice 2 begins on the second quarter
    notes = read("46e").notes
    assert rows(notes[notes["voice"] == 2], "bar", "offset", "pitch") == [(1, 1.0, 60)]


def test_tuplets_stand_at_the_float_nearest_to_their_fraction():
    # 84 divisions: triplets of 56 in bar 1; bar 2 triplets and 4:2 of 42; bar 3 21 (4:1) and septuplets of 36 (7:3);
    # bar 4 sextuplets of 28 (6:2), then 168
    lengths = [[56] * 6, [56] * 3 + [42] * 4, [21] * 4 + [36] * 7, [28] * 6 + [168]]
    expected = []
    for bar, values in enumerate(lengths):
        starts = np.concatenate([[0], np.cumsum(values)[:-1]])
        for start, value in zip(starts, values, strict=True):
            expected.append((bar, float(Fraction(int(start), 84)), float(Fraction(value, 84))))
    assert rows(read("23a").notes, "bar", "offset", "length") == expected


def test_nested_tuplets():
    # 30 divisions, 2/4: triplet eighths of 10, the middle two of six replaced by five of 4 (15:4)
    starts = [0, 10, 20, 24, 28, 32, 36, 40, 50]
    assert [n[1] for n in places("23d")] == [float(Fraction(s, 30)) for s in starts]


def test_grace_notes_by_their_place_before_the_main_note():
    # 24a, bar 1: D5, then E5 D5, D5, D5, each before a C5 on its own quarter; bar 2 begins with a stroked D5
    notes = read("24a").notes
    graces = notes[notes["grace"] > 0]
    first = graces[graces["bar"] == 0]
    by_place = sorted(rows(first, "offset", "grace", "pitch"), key=lambda g: (g[0], -g[1]))
    assert by_place == [(0.0, 1, 74), (1.0, 2, 76), (1.0, 1, 74), (2.0, 1, 74), (3.0, 1, 74)]
    assert not first["slashed"].any()
    assert graces[(graces["bar"] == 1) & (graces["offset"] == 0)]["slashed"].all()
    assert (graces["length"] == 0).all()


def test_a_chord_of_grace_notes_is_one_place():
    # 24b: C5; D5+F5 as graces before C5; B4+D5 as graces before A4+C5
    notes = read("24b").notes
    assert rows(notes[notes["grace"] > 0], "offset", "grace", "pitch") == [
        (1.0, 1, 74), (1.0, 1, 77), (2.0, 1, 71), (2.0, 1, 74),
    ]  # fmt: skip


def test_graces_at_the_end_of_a_bar_end_the_note_before():
    # 24c: two half notes E5, then G5 A5 with no note to follow in the bar
    notes = read("24c").notes
    assert rows(notes[notes["after"]], "offset", "grace", "pitch") == [(4.0, 2, 79), (4.0, 1, 81)]


def test_graces_that_take_their_time_from_the_note_before():
    # 24d: E5; G5 (steal-time-previous), A5 (steal-time-following), A5; E5; G5 A5 at the end of the bar
    notes = read("24d").notes
    graces = rows(notes[notes["grace"] > 0], "offset", "after", "grace", "pitch")
    assert sorted(graces, key=lambda g: (g[0], -g[1], -g[2])) == [
        (2.0, True, 1, 79), (2.0, False, 2, 81), (2.0, False, 1, 81), (4.0, True, 2, 79), (4.0, True, 1, 81),
    ]  # fmt: skip


def test_graces_on_another_staff():
    # 24e: the graces stand on staff 2, their main notes on staff 1
    notes = read("24e").notes
    assert set(notes[notes["grace"] > 0]["staff"]) == {2}
    assert set(notes[notes["grace"] == 0]["staff"]) == {1}


def test_a_slur_from_a_grace_note():
    notes = read("24f").notes
    assert rows(notes, "grace", "signs") == [(0, 0), (0, int(Sign.SLUR_END)), (1, int(Sign.SLURRED))]


def test_ties_make_one_note():
    # 33b: F4 over two bars of 4/4
    score = read("33b")
    assert rows(score.notes, "bar", "offset", "length", "pitch") == [(0, 0.0, 8.0, 65)]
    assert rows(score.heads, "note", "bar", "length") == [(0, 0, 4.0), (0, 1, 4.0)]


def test_ties_that_lead_nowhere_are_harmless():
    # 33i, five whole notes C5: tie from 1 (2 does not take it up), from 3 (4 only starts one), from 4 to 5
    assert places("33i") == [(0, 0.0, 4.0, 72), (1, 0.0, 4.0, 72), (2, 0.0, 4.0, 72), (3, 0.0, 8.0, 72)]


def test_tempo_marks_in_quarters_a_minute():
    # 31c: dotted quarter = 100; longa (16 quarters) = 100, "Adagio"; dotted quarter = dotted half (twice as fast);
    # longa = dotted 32nd (0.1875/16 of it); (dotted quarter = dotted half); (dotted quarter = 77)
    tempi = read("31c").marks_of("tempo")
    assert rows(tempi, "bar", "offset", "value") == [
        (0, 0.0, 150.0), (0, 2.0, 1600.0), (1, 0.0, 3200.0), (1, 2.0, 37.5), (2, 0.0, 75.0), (2, 2.0, 115.5),
    ]  # fmt: skip
    assert tempi["text"].tolist() == ["", "Adagio", "", "", "", ""]


def test_slides_from_note_to_note():
    # 33h: five bars of G4 F5 G4 F5 in quarters, a line from each G4 to the F5 after it; two of them with words
    score = read("33h")
    lines = score.marks_of("glissando")
    assert len(lines) == 10
    assert (score.notes["pitch"][lines["note"]] == 67).all()
    assert (score.notes["pitch"][lines["goal"]] == 77).all()
    assert (lines["end_offset"] - lines["offset"] == 1).all()
    assert sum(lines["text"] == "text") == 2


def test_rolled_chords():
    # 32d: seven chords C4 E5 G5: plain, up, plain, down, plain, not rolled (a bracket), plain
    notes = read("32d").notes
    assert notes["roll"].reshape(7, 3).tolist() == [[1] * 3, [1] * 3, [1] * 3, [-1] * 3, [1] * 3, [0] * 3, [1] * 3]


def test_transposing_instruments_sound():
    # 72a: trumpet in B flat, horn in E flat, piano: a scale of C major, written as each needs it
    score = read("72a")
    scale = [60, 62, 64, 65, 67, 69, 71, 72]
    assert [score.notes[score.notes["part"] == part]["pitch"].tolist() for part in range(3)] == [scale] * 3
    # 72b: A4+3, D5-2, Eb5-3, G5-7, A5-9, Eb4+9, D5-2, C5, Bb4+2, F#1+6+36, C5 (+ <chromatic> + 12 <octave-change>)
    assert read("72b").notes["pitch"].tolist() == [72] * 11
    # 72c: C4 for clarinet in E flat (+3), then in B flat (-2)
    assert read("72c").notes["pitch"].tolist() == [63, 58, 58]


def test_two_voices_on_a_staff():
    # 42a, bar 1 (8 divisions): voice 1 E5 half, D5, B4; voice 2 C5 half, B4, G4
    notes = read("42a").notes
    first = notes[notes["bar"] == 0]
    assert rows(first[first["voice"] == 1], "offset", "length", "pitch") == [(0, 2, 76), (2, 1, 74), (3, 1, 71)]
    assert rows(first[first["voice"] == 2], "offset", "length", "pitch") == [(0, 2, 72), (2, 1, 71), (3, 1, 67)]


@pytest.mark.parametrize("name", ["43a", "43b", "43c"])
def test_two_staves_are_one_part(name):
    # F4 on staff 1 in voice 1, B2 on staff 2 in voice 2, whole notes
    score = read(name)
    assert len(score.parts) == 1
    assert rows(score.notes, "part", "staff", "voice", "length", "pitch") == [(0, 1, 1, 4.0, 65), (0, 2, 2, 4.0, 47)]


def test_a_voice_that_wanders_between_staves_stays_one_voice():
    notes = read("43d").notes
    assert set(notes["staff"]) == {1, 2}
    assert len(set(notes["voice"])) == 1


def test_a_chord_with_a_direction_between_its_notes_is_one_chord():
    # 21f: A4 and, after a segno and a p, F sharp 4 and D4 with <chord/>
    assert places("21f") == [(0, 0.0, 1.0, 62), (0, 0.0, 1.0, 66), (0, 0.0, 1.0, 69)]


def test_articulations():
    # 32a, bar 3: accent, strong accent, staccato, tenuto; bar 4: detached legato, staccatissimo, spiccato, scoop
    notes = read("32a").notes
    assert [Sign(int(s)) for s in notes[notes["bar"] == 2]["signs"]] == [
        Sign.ACCENT, Sign.STRONG_ACCENT, Sign.STACCATO, Sign.TENUTO,
    ]  # fmt: skip
    assert [Sign(int(s)) for s in notes[notes["bar"] == 3]["signs"]] == [
        Sign.STACCATO | Sign.TENUTO, Sign.STACCATISSIMO, Sign.STACCATO, Sign(0),
    ]  # fmt: skip


def test_strings_of_a_tablature():
    # 71e: <staff-tuning> from line 1, the lowest: E2 A2 D3 G3 B3 E4
    assert read("71e").parts["tuning"][0].tolist() == [64, 59, 55, 50, 45, 40, 0, 0, 0, 0, 0, 0]
