"""Reading every kind of file: MIDI, ABC, kern, MEI."""

from __future__ import annotations

import pytest
from support import rows
from written import standard_midi

from timing.score import Sign


def test_midi(read):
    # C4 and E4, a quarter each, then a half G4 struck ten ticks late: moved to its quarter
    track = b"\x00\x90\x3c\x40\x83\x60\x80\x3c\x00" + b"\x00\x90\x40\x40\x83\x60\x80\x40\x00"
    track += b"\x0a\x90\x43\x40\x87\x36\x80\x43\x00"
    score = read(standard_midi(track), "a.mid")
    assert rows(score.notes, "offset", "length", "pitch") == [(0, 1, 60), (1, 1, 64), (2, 2, 67)]


def test_midi_ties_over_bars_are_one_note(read):
    score = read(standard_midi(b"\x00\x90\x3c\x40\x9e\x00\x80\x3c\x00"), "a.mid")  # 3840 ticks: 8 quarters
    assert rows(score.notes, "bar", "length") == [(0, 8.0)]
    assert len(score.heads) == 2


def test_abc(read):
    tune = "X:1\nT:First\nM:3/4\nL:1/8\nQ:1/4=100\nK:D\nA2|:(d2 f2) [ce]2|{g}a4 a2|d6:|\n"
    score = read(tune + tune.replace("X:1\nT:First", "\nX:2\nT:Second"), "a.abc")
    assert score.title == "First"
    assert [r.code for r in score.remarks] == ["collection"]
    assert rows(score.bars, "number", "length", "shift") == [(0, 1, 2), (1, 3, 0), (2, 3, 0), (3, 3, 0)]
    assert rows(score.notes, "bar", "offset", "pitch", "grace") == [
        (0, 0, 69, 0), (1, 0, 74, 0), (1, 1, 78, 0), (1, 2, 73, 0), (1, 2, 76, 0), (2, 0, 79, 1), (2, 0, 81, 0),
        (2, 2, 81, 0), (3, 0, 74, 0),
    ]  # fmt: skip
    assert score.notes["signs"][1:3].tolist() == [Sign.SLURRED, Sign.SLUR_END]
    assert rows(score.marks_of("tempo", "repeat start", "repeat end"), "kind", "bar") == [
        ("tempo", 0), ("repeat start", 1), ("repeat end", 3),
    ]  # fmt: skip


def test_abc_bars_count_from_one_without_pickup(read):
    score = read("X:1\nT:t\nM:4/4\nL:1/4\nK:C\nCDEF|GABc|]\n", "a.abc")
    assert score.bars["number"].tolist() == [1, 2]


def test_abc_says_that_it_loses_ties_of_chords(read):
    score = read("X:1\nT:t\nM:4/4\nL:1/4\nK:C\n[CE]4-|[CE]4|C4|]\n", "a.abc")
    assert [r.code for r in score.remarks] == ["chord-ties"]


def test_abc_with_too_few_bar_lines_says_so(read):
    score = read("X:1\nT:t\nM:4/4\nL:1/4\nK:C\nCDEF|]\n", "a.abc")
    assert [r.code for r in score.remarks] == ["no-bar-lines"]
    assert rows(score.notes, "bar", "offset") == [(0, 0), (0, 1), (0, 2), (0, 3)]


def test_kern_with_ties_in_chords_and_a_grace_note(read):
    score = read("**kern\n*M4/4\n=1\n[2c [2e\n2c_ 2e_\n=2\n4c] 4e]\nqd\n4e\n2f\n==\n*-\n", "a.krn")
    assert rows(score.notes, "bar", "offset", "length", "pitch", "grace") == [
        (0, 0, 5, 60, 0), (0, 0, 5, 64, 0), (1, 1, 0, 62, 1), (1, 1, 1, 64, 0), (1, 2, 2, 65, 0),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("instruments", "parts"),
    [("*Ipiano\t*Ipiano", 1), ("*Ivioln\t*Ivioln", 2), ("*part1\t*part1", 1), ("*part2\t*part1", 2)],
)
def test_kern_spines_of_one_part(read, instruments, parts):
    lines = ["**kern\t**kern", "*staff2\t*staff1", instruments, "*M4/4\t*M4/4", "=1\t=1", "1C\t1c", "==\t==", "*-\t*-"]
    score = read("\n".join(lines) + "\n", "a.krn")
    assert len(score.parts) == parts
    assert rows(score.notes, "pitch") == [(60,), (48,)]


MEI = """<mei xmlns="http://www.music-encoding.org/ns/mei"><music><body><mdiv><score>
<scoreDef meter.count="4" meter.unit="4"><staffGrp {symbol}><staffDef n="1" lines="5"/>
<staffDef n="2" lines="5" trans.semi="-2" trans.diat="-1"/></staffGrp></scoreDef><section><measure n="1">
<staff n="1"><layer n="1"><note pname="c" oct="5" dur="2" tie="i"/><note pname="c" oct="5" dur="2" tie="t"/></layer>
<layer n="2"><note pname="e" oct="4" dur="1"/></layer></staff>
<staff n="2"><layer n="1"><note pname="c" oct="3" dur="1"/></layer></staff>
</measure></section></score></mdiv></body></music></mei>"""


def test_mei(read):
    score = read(MEI.format(symbol='symbol="brace"'), "a.mei")
    assert rows(score.notes, "part", "staff", "voice", "length", "pitch") == [
        (0, 1, 1, 4, 72), (0, 1, 2, 4, 64), (0, 2, 5, 4, 46),
    ]  # fmt: skip
    assert len(read(MEI.format(symbol=""), "a.mei").parts) == 2
