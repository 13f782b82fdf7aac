"""What a score gets before it is engraved: values and beams that it lacks, words at the side and place where they are
read."""

from __future__ import annotations

import re
from fractions import Fraction
from itertools import pairwise
from xml.etree.ElementTree import Element, fromstring

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from written import FOUR_FOUR, back, bar, musicxml, note

from render.drawing.engraver import engrave
from render.drawing.preparing import prepared
from timing.reader import read_score

TREBLE = "<clef><sign>G</sign><line>2</line></clef>"
FOUR = [note(pitch) for pitch in ("C5", "E5", "G4", "B4")]
LOW = [note(pitch) for pitch in ("C4", "A3", "G3", "B3")]
DOUBLE = '<barline location="right"><bar-style>light-light</bar-style></barline>'
BAR = np.dtype([("beats", np.int16), ("unit", np.int16), ("shift", np.float64)])


def words(text: str, more: str = "", place: str = "", offset: float = 0) -> str:
    later = f"<offset>{12 * offset:g}</offset>" if offset else ""
    return f"<direction {place}><direction-type><words {more}>{text}</words></direction-type>{later}</direction>"


def found_in(tmp_path, *bars: str) -> dict[str, tuple]:
    """Where words stand that are engraved: the row of their bar by where they begin, x from its left to its right line
    as 0 to 1, y in staff spaces over (+) or under (-) the staff, and the anchor."""
    path = tmp_path / "score.musicxml"
    path.write_text(musicxml([bar(content, number) for number, content in enumerate(bars, 1)]), encoding="utf-8")
    (system,) = engrave(read_score(path, cache=False), 1400).systems
    root = fromstring(system.svg)
    scale = float(re.search(r"[\d.]+", root.get("transform"))[0])
    found = {}
    for group in root.iter("g"):
        text = group.find("text")
        if group.get("class", "").split()[0:1] in (["dir"], ["tempo"]) and text is not None:
            x, y = float(text.get("x")) * scale, float(text.get("y")) * scale
            row = int(np.flatnonzero(system.bars["left"] <= x - 1)[-1])
            left, right = system.bars[["left", "right"]][row]
            height = max(system.staff_top - y, 0.0) or min(system.staff_bottom - y, 0.0)
            found["".join(text.itertext())] = (
                row,
                (x - left) / (right - left),
                height / 8,
                text.get("text-anchor", "start"),
            )
    return found


BEGIN = f"<attributes>{FOUR_FOUR}{TREBLE}</attributes>"


@pytest.mark.parametrize("text", ["Da Capo al fine", "D.C. al Fine", "D.S. al Coda", "Fine", "To Coda"])
@pytest.mark.parametrize("how", ["after all", "by an offset", "at the last note"])
def test_where_the_music_turns_is_said_over_the_end_of_its_bar(text, how, tmp_path):
    content = {
        "after all": "".join(LOW) + words(text), "by an offset": words(text, offset=4) + "".join(LOW),
        "at the last note": "".join(LOW[:3]) + words(text) + LOW[3],
    }[how]  # fmt: skip
    row, x, height, anchor = found_in(tmp_path, BEGIN + "".join(FOUR), content + DOUBLE, "".join(FOUR))[text]
    assert (row, anchor) == (1, "end") and 0.8 < x <= 1.001 and height > 0


def test_a_return_before_the_last_note_ends_with_its_bar_and_a_fine_within_one_stays(tmp_path):
    within = "".join(FOUR[:2]) + words("D.C.") + words("Fine") + "".join(FOUR[2:])
    found = found_in(tmp_path, BEGIN + within, "".join(FOUR))
    assert found["D.C."][0] == 0 and found["D.C."][1] > 0.9 and found["D.C."][3] == "end"
    assert 0.4 < found["Fine"][1] < 0.8 and found["Fine"][3] == "start"


def test_words_stand_where_the_file_has_them(tmp_path):
    """MusicXML 4.0: default-y counts tenths upwards from the uppermost line of the staff, which is 40 high."""
    said = words("dolce") + words("quiet", 'default-y="25"') + words("low", 'default-y="-75"') + words("Andante")
    said += words("Meno mosso", place='placement="below"') + words("poco rit.") + words("Presto", 'default-y="-60"')
    found = found_in(tmp_path, BEGIN + said + "".join(FOUR) + words("D.C.", place='placement="below"'), "".join(FOUR))
    over = {text for text, (*_, height, _) in found.items() if height > 0}
    assert over == {"quiet", "Andante"}
    assert found["D.C."][3] == "end"


def test_a_tempo_in_words_is_written_as_one_and_other_words_are_not(tmp_path):
    path = tmp_path / "score.musicxml"
    said = [
        words("Andante mosso."),
        words("dolce"),
        words("poco rit."),
        words("Fine"),
        words("Più mosso", "", 'placement="above"'),
    ]
    path.write_text(musicxml([bar(BEGIN + "".join(said) + "".join(FOUR), 1)]), encoding="utf-8")
    root = fromstring(engrave(read_score(path, cache=False), 1400).systems[0].svg)
    found = {
        "".join(group.itertext()): group.get("class").split()[0]
        for group in root.iter("g")
        if group.find("text") is not None
    }
    assert {text for text, kind in found.items() if kind == "tempo"} == {"Andante mosso.", "Più mosso"}


# -- values and beams

METRES = [(4, 4), (3, 4), (2, 4), (5, 4), (2, 2), (6, 8), (9, 8), (3, 8), (5, 8), (7, 8), (4, 8), (12, 16)]
LENGTHS = {48: ("whole", 0), 36: ("half", 1), 24: ("half", 0), 18: ("quarter", 1), 12: ("quarter", 0), 9: ("eighth", 1),
           6: ("eighth", 0), 3: ("16th", 0)}  # fmt: skip  # in divisions of a quarter: 12


def bars_of(*metres: tuple[int, int], shift: float = 0.0) -> np.ndarray:
    return np.array([(*metre, shift) for metre in metres], BAR)


@st.composite
def rhythms(draw) -> tuple[tuple[int, int], list[tuple[int, bool]]]:
    """A metre, and the lengths of notes that fill a bar of it; whether each is a rest."""
    beats, unit = metre = draw(st.sampled_from(METRES))
    left, made = beats * 48 // unit, []
    while left > 0:
        length = draw(st.sampled_from([each for each in LENGTHS if each <= left]))
        made.append((length, draw(st.booleans()) and draw(st.booleans())))
        left -= length
    return metre, made


def written_in(rhythm: list[tuple[int, bool]], metre: tuple[int, int]) -> list[Element]:
    content = "".join(note("rest" if rest else "C5", Fraction(length, 12)) for length, rest in rhythm)
    text = musicxml([bar(content, 1, "<divisions>12</divisions>")]).partition("?>")[2]
    return list(fromstring(prepared(text, bars_of(metre))).iter("note"))


@given(rhythms())
def test_every_note_gets_the_value_of_its_length(made):
    metre, rhythm = made
    for element, (length, _) in zip(written_in(rhythm, metre), rhythm, strict=True):
        assert (element.findtext("type"), len(element.findall("dot"))) == LENGTHS[length]
        assert int(element.findtext("duration")) == length


@given(rhythms())
def test_beams_join_neighbours_that_have_flags_within_a_beat_or_quavers_within_two(made):
    metre, rhythm = made
    beats, unit = metre
    compound = unit >= 8 and beats % 3 == 0
    beat = Fraction(12, unit) if compound else Fraction(1)
    groups, start = [], Fraction(0)
    for element, (length, rest) in zip(written_in(rhythm, metre), rhythm, strict=True):
        beam = element.findtext("beam")
        if beam == "begin":
            groups.append([])
        if beam is not None:
            assert not rest and length < 12
            groups[-1].append((start, length, beam))
        start += Fraction(length, 12)
    for group in groups:
        assert [beam for *_, beam in group] == ["begin", *["continue"] * (len(group) - 2), "end"]
        for (one, length, _), (two, *_) in pairwise(group):
            assert two == one + Fraction(length, 12)
        first, last = group[0][0], group[-1][0]
        if first // beat != last // beat:
            plain = all(length == 6 for _, length, _ in group)
            irregular = unit == 8 and not compound and first // beat == beats // 2 - 1  # 7/8 ends with three
            assert (plain and unit < 8 and last - first < 3) or irregular


@given(rhythms())
def test_nothing_that_could_be_joined_within_a_beat_is_left_with_flags(made):
    metre, rhythm = made
    beats, unit = metre
    beat = Fraction(12, unit) if unit >= 8 and beats % 3 == 0 else Fraction(1)
    elements, start = written_in(rhythm, metre), Fraction(0)
    for (one, other), ((length, rest), (next_length, next_rest)) in zip(
        pairwise(elements), pairwise(rhythm), strict=True
    ):
        after = start + Fraction(length, 12)
        if not rest and not next_rest and max(length, next_length) < 12 and start // beat == after // beat:
            assert one.findtext("beam") in ("begin", "continue") and other.findtext("beam") in ("continue", "end")
        start = after


@pytest.mark.parametrize(("metre", "shift", "rhythm", "beams"), [
    ((4, 4), 0, [6] * 8, ["begin", "continue", "continue", "end"] * 2),
    ((4, 4), 0, [6, 6, 3, 3, 6, *[6] * 4],
     ["begin", "end", "begin", "continue", "end", "begin", "continue", "continue", "end"]),
    ((3, 4), 0, [6] * 6, ["begin", *["continue"] * 4, "end"]),
    ((6, 8), 0, [6] * 6, ["begin", "continue", "end"] * 2),
    ((6, 8), 2.5, [6], [None]),
    ((6, 8), 1.0, [6, 6, 6, 6], [None, "begin", "continue", "end"]),
    ((7, 8), 0, [6] * 7, ["begin", "end", "begin", "end", "begin", "continue", "end"]),
    ((2, 2), 0, [6] * 8, ["begin", "continue", "continue", "end"] * 2),
])  # fmt: skip
def test_beams_as_musicians_write_them(metre, shift, rhythm, beams):
    """Common practice."""
    content = "".join(note("C5", Fraction(length, 12)) for length in rhythm)
    text = musicxml([bar(content, 1, "<divisions>12</divisions>")]).partition("?>")[2]
    root = fromstring(prepared(text, bars_of(metre, shift=shift)))
    assert [element.findtext("beam") for element in root.iter("note")] == beams


@pytest.mark.parametrize("more", ["<beam number='1'>begin</beam>", "<lyric><text>la</text></lyric>"])
def test_a_part_with_beams_or_words_keeps_its_own(more):
    content = note("C5", 0.5, more) + note("C5", 0.5) * 7
    text = musicxml([bar(content, 1, "<divisions>12</divisions>")]).partition("?>")[2]
    root = fromstring(prepared(text, bars_of((4, 4))))
    assert len(list(root.iter("beam"))) == more.count("<beam")


def test_voices_are_beamed_by_themselves_and_chords_and_small_notes_once():
    upper = (
        note("C5", 0.5)
        + note("E5", 0.5, first="<chord/>")
        + note("D5", first="<grace/>")
        + note("F5", 0.5)
        + note("rest", 3)
    )
    content = upper + back(4) + note("C4", 1, voice=2) + note("D4", 0.5, voice=2) * 2
    text = musicxml([bar(content, 1, "<divisions>12</divisions>")]).partition("?>")[2]
    root = fromstring(prepared(text, bars_of((4, 4))))
    beams = ["begin", None, None, "end", None, None, "begin", "end"]
    assert [element.findtext("beam") for element in root.iter("note")] == beams


def test_notes_without_values_have_stems_and_rests_are_drawn(tmp_path):
    path = tmp_path / "bare.musicxml"
    path.write_text(musicxml([bar(note("C5", 1) + note("rest", 1) + note("D5", 0.5) * 4, 1, FOUR_FOUR + TREBLE)]))
    (system,) = engrave(read_score(path, cache=False), 700).systems
    kinds = [group.get("class") for group in fromstring(system.svg).iter("g")]
    assert (kinds.count("stem"), kinds.count("rest"), kinds.count("beam"), kinds.count("flag")) == (5, 1, 1, 0)


def test_a_grace_note_without_a_value_and_bars_of_rest_that_are_counted_are_engraved(tmp_path):
    path = tmp_path / "rests.musicxml"
    many = "<measure-style><multiple-rest>2</multiple-rest></measure-style>"
    rest = '<note><rest measure="yes"/><duration>48</duration><voice>1</voice></note>'
    bars = [bar(rest, 1, FOUR_FOUR + TREBLE + many), bar(rest, 2), bar(note("D5", first="<grace/>") + "".join(FOUR), 3)]
    path.write_text(musicxml(bars))
    systems = engrave(read_score(path, cache=False), 700).systems
    assert [row for system in systems for row in system.bars["bar"].tolist()] == [0, 1, 2]
