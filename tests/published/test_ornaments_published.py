"""Ornaments against outside sources: the MIT-licensed MusicXML test suite and the corpus inside music21, and what
music21 itself makes of the same signs (it knows of keys, not of accidentals earlier in the bar)."""

from __future__ import annotations

import numpy as np
import pytest
from corpora import corpus
from support import reading
from written import bar, musicxml, note, suite

from timing.notes.ornaments import whole_notes
from timing.reader import read_score, read_stream, tabulate
from timing.reader.walk import walk_heads
from timing.score import Ornament

NONE, TRILL, MORDENT, INVERTED, TURN, INVERTED_TURN, DELAYED, _ = Ornament
SUITE = suite()
STEPS = ["C4", "D4", "E4", "F4", "G4", "A4", "B4"]
SIGNS = {
    "trill-mark": TRILL,
    "mordent": MORDENT,
    "inverted-mordent": INVERTED,
    "turn": TURN,
    "inverted-turn": INVERTED_TURN,
}


def touched(row: np.void) -> list[int]:
    """The semitones away from its note that an ornament touches, from below."""
    up, down = int(row["upper"]), -int(row["lower"])
    only = {TRILL: [up], INVERTED: [up], MORDENT: [down]}
    return only.get(Ornament(int(row["ornament"])), [down, up])


# -- the test suite


def test_the_suite_s_ornaments():
    """File 32aa names each of its ornaments in the lyrics; the notes are C5, in C major."""
    made = tabulate(read_stream(SUITE["32aa"]))
    rows = made.notes[(made.notes["ornament"] != NONE) | (made.notes["tremolo"] > 0)]
    found = [(int(n["bar"]), float(n["offset"]), Ornament(int(n["ornament"]))) for n in rows]
    assert found == [
        (0, 0, TRILL), (0, 1, TURN), (0, 2, DELAYED), (0, 3, INVERTED_TURN),
        (1, 0, TRILL), (1, 1, TRILL), (1, 2, TRILL),  # a shake, two wavy lines
        (2, 0, MORDENT), (2, 1, INVERTED), (2, 3, NONE),  # then a schleifer, which is not played; three strokes
        (3, 0, TURN), (3, 1, TURN),
    ]  # fmt: skip
    assert rows["tremolo"][9] == 1 / 8
    assert rows["upper"].tolist()[-2:] == [2, 3]  # D natural, D sharp
    assert rows["lower"].tolist()[-2:] == [1, 1]


def test_the_suite_s_trill_over_notes_until_small_notes_at_its_end():
    """File 33f: a trill from G5, on over A5, until small notes G5 and A5 end it in 6/8."""
    made = tabulate(read_stream(SUITE["33f"]))
    trills = made.notes[made.notes["ornament"] == TRILL]
    assert trills["pitch"].tolist() == [79, 81] and trills["upper"].tolist() == [2, 2]
    notes = reading({"tempo": 60}, made).performance.notes
    end = notes[-4:]
    assert end["pitch"].tolist() == [83, 81, 79, 81]
    assert np.diff(end["score_onset"]) == pytest.approx(end["score_length"][:3])
    assert end["score_onset"][-1] + end["score_length"][-1] == pytest.approx(3)


def test_the_suite_s_trill_lines():
    """File 33a, bars 6 and 7: a line after a trill sign until the third note of the bar, and one on a single note."""
    made = tabulate(read_stream(SUITE["33a"]))
    rows = made.notes[made.notes["ornament"] != NONE]
    assert [(int(n["bar"]), float(n["offset"])) for n in rows] == [(5, 0), (5, 1), (6, 0)]


# -- music21 as the yardstick


@pytest.mark.parametrize("fifths", range(-7, 8))
def test_neighbours_in_every_key_are_those_that_music21_finds(fifths, tmp_path):
    from music21 import expressions, key, pitch
    from music21 import note as m21note

    signature = key.KeySignature(fifths)
    kinds = {
        "trill-mark": expressions.Trill,
        "mordent": expressions.Mordent,
        "inverted-mordent": expressions.InvertedMordent,
        "turn": expressions.Turn,
        "inverted-turn": expressions.InvertedTurn,
    }
    names = []
    for step in STEPS:
        altered = signature.accidentalByStep(step[0])
        names.append(step[0] + {None: "", 1: "#", -1: "b"}[altered and int(altered.alter)] + step[1])
    start = f"<divisions>12</divisions><key><fifths>{fifths}</fifths></key>"
    bars = []
    for sign in SIGNS:
        for name in names:
            ornament = f"<notations><ornaments><{sign}/></ornaments></notations>"
            attributes = f"{start}<time><beats>4</beats><beat-type>4</beat-type></time>" if not bars else ""
            bars.append(bar(note(name, 4, ornament), len(bars) + 1, attributes))
    file = tmp_path / "keys.musicxml"
    file.write_text(musicxml(bars), encoding="utf-8")
    made = read_score(file, cache=False)
    for row, (sign, name) in zip(made.notes, [(s, n) for s in SIGNS for n in names], strict=True):
        written = m21note.Note(pitch.Pitch(name.replace("b", "-")))
        theirs = kinds[sign]()
        theirs.resolveOrnamentalPitches(written, keySig=signature)
        away = sorted(round(p.ps - written.pitch.ps) for p in theirs.ornamentalPitches)
        assert SIGNS[sign] == row["ornament"] and touched(row) == away, (fifths, sign, name)


@pytest.mark.parametrize("sign", ["mordent", "inverted-mordent", "turn", "inverted-turn", "trill-mark"])
def test_the_notes_of_an_ornament_come_in_the_order_that_music21_gives_them(sign, tmp_path):
    from music21 import converter

    ornament = f"<notations><ornaments><{sign}/></ornaments></notations>"
    attributes = "<divisions>12</divisions><time><beats>4</beats><beat-type>4</beat-type></time>"
    text = musicxml([bar(note("A4", 4, ornament), 1, attributes)])
    file = tmp_path / "one.musicxml"
    file.write_text(text, encoding="utf-8")
    ours = reading({"tempo": 60}, read_score(file, cache=False)).performance.notes["pitch"].tolist()
    (written,) = converter.parse(str(file)).recurse().notes
    before, main, after = written.expressions[0].realize(written)
    theirs = [n.pitch.midi for n in (*before, *([main] if main is not None else []), *after)]
    if sign == "trill-mark":
        assert ours[:8] == theirs[:8] and set(ours) == set(theirs)
    elif sign in ("turn", "inverted-turn"):  # music21 has the note itself first, and then the turn
        assert ours == theirs[-4:]
    else:
        assert ours == theirs


CORPUS = {  # how many signs each file has, each on a note of its own
    "bach/bwv187.7.mxl": 5,
    "bach/bwv29.8.mxl": 3,
    "bach/bwv299.mxl": 3,
    "mozart/k155/movement2.mxl": 28,
    "haydn/opus1no1/movement1.mxl": 9,
    "haydn/opus1no1/movement3.mxl": 16,
    "beethoven/opus18no1/movement4.mxl": 31,
    "schumann_clara/polonaise_op1n3.mxl": 7,
    "weber/concertino_clarinet.mxl": 9,
}


@pytest.mark.parametrize("name", CORPUS)
def test_neighbours_in_the_corpus_are_music21_s_but_for_accidentals_in_the_bar(name):
    from music21 import expressions, key

    parsed = read_stream(corpus(name))
    made, heads = tabulate(parsed), walk_heads(parsed)
    assert (made.notes["ornament"] != NONE).sum() == CORPUS[name]
    compared = 0
    for number, head in enumerate(heads):
        row = made.notes[made.heads["note"][number]]
        signs = [e for e in head.owner.expressions if isinstance(e, expressions.Ornament)]
        if row["head"] != number or row["ornament"] == NONE or head.note.pitch != head.owner.pitches[-1] or not signs:
            continue
        signs[0].resolveOrnamentalPitches(head.owner)
        theirs = sorted(round(p.ps - head.note.pitch.ps) for p in signs[0].ornamentalPitches)
        if touched(row) != theirs:
            signature = head.owner.getContextByClass(key.KeySignature) or key.KeySignature(0)
            in_bar = [other.note.pitch for other in heads if (other.part, other.bar) == (head.part, head.bar)]
            strange = {p.step for p in in_bar if p.accidental != signature.accidentalByStep(p.step)}
            assert strange & {p.step for p in signs[0].ornamentalPitches}
        compared += 1
    assert compared >= CORPUS[name] - 1


@pytest.mark.parametrize("name", [*CORPUS, "cpebach/h186.mxl", "beethoven/opus59no3/movement4.mxl"])
@pytest.mark.parametrize("trill", ["from the main note", "from above"])
def test_ornaments_of_the_corpus_fill_their_notes(name, trill):
    made = read_score(corpus(name))
    plan = {"tempo": 100, "articulation": {"trill": trill}, "slowing": [{"rallentando": "1-4", "to": "60%"}]}
    done = reading(plan, made)
    table = done.performance.notes[np.argsort(done.performance.notes["score_onset"], kind="stable")]
    first, last, owner = whole_notes(table)
    source = made.notes[table["id"][first]]
    assert np.all(table["pitch"][last] == source["pitch"])
    assert np.bincount(owner)[source["ornament"] != NONE].min() >= 1
    assert np.bincount(owner)[source["ornament"] != NONE].max() > 2
    assert np.all(np.bincount(owner)[(source["ornament"] == NONE) & (source["tremolo"] == 0)] == 1)
    assert np.all(table["end"] > table["onset"])
    inside = np.flatnonzero(np.isin(source["ornament"], [MORDENT, INVERTED, TURN]) & (source["grace"] == 0))
    starts = done.performance.bars["start"][table["ordinal"][first[inside]]] + source["offset"][inside]
    ends = (table["score_onset"] + table["score_length"])[last[inside]]
    lengths = np.minimum(source["length"][inside], done.where.line_ends[table["ordinal"][first[inside]]] - starts)
    assert ends == pytest.approx(starts + lengths)


def test_beethoven_s_long_trills_are_one_each():
    """Op. 59 no. 3, last movement, bars 322-332: F tied over two bars, F again, then G over six and a half."""
    made = read_score(corpus("beethoven/opus59no3/movement4.mxl"))
    first = made.notes[(made.notes["part"] == 0) & (made.notes["ornament"] == TRILL)]
    long = [(made.bar_name(int(n["bar"])), int(n["pitch"]), float(n["length"])) for n in first if n["length"] > 4]
    assert long[:3] == [("322", 89, 8), ("324", 90, 8), ("326", 91, 27)]
