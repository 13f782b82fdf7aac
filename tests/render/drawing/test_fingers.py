"""What a guitar's page has over and under its notes: fingers, strings in circles, and the accidentals it needs."""

from __future__ import annotations

import re
from xml.etree.ElementTree import Element, fromstring

import pytest
from hypothesis import given
from hypothesis import strategies as st
from written import FOUR_FOUR, bar, musicxml, note

from render.drawing.engraver import engrave
from render.drawing.engraving import SPACE
from timing.reader import read_score
from timing.reader.accidentals import write_accidentals

EIGHT = "<clef><sign>G</sign><line>2</line><clef-octave-change>-1</clef-octave-change></clef>"
QUARTER = "<type>quarter</type>"
BACK = "<backup><duration>48</duration></backup>"


def technical(inside: str) -> str:
    return f"<notations><technical>{inside}</technical></notations>"


@pytest.fixture
def drawn(tmp_path):
    """The systems of a score (its bars, in 4/4), as one element."""

    def draw(*bars: str, attributes: str = EIGHT) -> Element:
        first, *others = bars
        file = tmp_path / "made.musicxml"
        made = [bar(first, 1, FOUR_FOUR + attributes), *(bar(text, n) for n, text in enumerate(others, 2))]
        file.write_text(musicxml(made, names=("Guitar",)), encoding="utf-8")
        engraving = engrave(read_score(file, cache=False), 1060)
        return fromstring(f"<svg>{''.join(system.svg for system in engraving.systems)}</svg>")

    return draw


def groups(root: Element, kind: str) -> list[Element]:
    return [group for group in root.iter("g") if kind in group.get("class", "").split()]


def strings(root: Element) -> list[tuple[str, float, float]]:
    """Each number with the middle of its circle."""
    found = []
    for group in groups(root, "string"):
        (circle,), (text,) = group.findall("ellipse"), group.findall("text")
        assert text.get("text-anchor") == "middle"
        assert text.get("x") == circle.get("cx")
        assert abs(float(text.get("y")) - float(circle.get("cy"))) < float(circle.get("ry"))
        found.append((text.text, float(circle.get("cx")), float(circle.get("cy"))))
    return found


# -- strings and fingers


def test_each_string_of_the_score_stands_in_a_circle(drawn):
    marks = ("<string>4</string><fingering>2</fingering>", "<string>3</string><fret>4</fret>",
             "<fingering>0</fingering>", "<string>12</string>")  # fmt: skip
    root = drawn("".join(note("B3", 1, QUARTER + technical(mark)) for mark in marks))
    assert [number for number, *_ in strings(root)] == ["4", "3", "12"]
    fingers = [group for group in groups(root, "fing") if group not in groups(root, "string")]
    assert ["".join(finger.itertext()) for finger in fingers] == ["2", "0"]


def test_the_circle_stands_off_its_note_and_off_the_finger(drawn):
    root = drawn("".join(note(pitch, 1, QUARTER + technical("<fingering>1</fingering><string>5</string>"))
                         for pitch in ("E3", "A3", "E4", "E5")))  # fmt: skip
    (radius,) = {float(circle.get("rx")) for circle in root.iter("ellipse")}
    assert 1.2 < 2 * radius / 180 < 2  # of a staff space, which has 180 of the engraver's units
    fingers = [group.find("text") for group in groups(root, "fing") if group.find("ellipse") is None]
    for (_, x, y), finger in zip(strings(root), fingers, strict=True):
        assert abs(x - float(finger.get("x"))) < 1
        assert y + radius < float(finger.get("y")) - 0.6 * 303  # over the head of the figure, which is so large


def test_the_circle_stands_over_the_stem(drawn):
    """A quarter with its stem up reaches to 3.5 spaces over its head (common practice)."""
    root = drawn("".join(note("G3", 1, QUARTER + technical("<string>3</string>")) for _ in range(4)))
    uses = [use.get("transform") for group in groups(root, "notehead") for use in group.iter("use")]
    heads = [float(re.search(r"translate\([^,]*, ?([\d.]+)", use)[1]) for use in uses]
    for (_, _, y), head in zip(strings(root), heads, strict=True):
        assert head - y > 3.5 * 180


def test_what_belongs_to_the_lower_voice_stands_below(drawn):
    upper = "".join(note("E5", 1, QUARTER + technical("<string>1</string>")) for _ in range(4))
    lower = "".join(note("E3", 1, QUARTER + technical("<string>6</string>"), voice=2) for _ in range(4))
    found = strings(drawn(upper + BACK + lower))
    assert max(y for number, _, y in found if number == "1") < min(y for number, _, y in found if number == "6")


def test_a_chord_has_its_strings_one_over_the_other(drawn):
    chord = note("C4", 4, "<type>whole</type>" + technical("<string>5</string>"))
    chord += note("E4", 4, "<type>whole</type>" + technical("<string>4</string>"), first="<chord/>")
    (_, x1, y1), (_, x2, y2) = strings(drawn(chord))
    assert abs(x1 - x2) < 180
    assert abs(y1 - y2) >= 260


def test_tablature_has_its_strings_on_its_lines(drawn):
    staves = '<staves>2</staves><clef number="1"><sign>G</sign><line>2</line></clef>'
    staves += '<clef number="2"><sign>TAB</sign><line>5</line></clef>'
    above = note("E4", 4, "<type>whole</type><staff>1</staff>" + technical("<string>1</string><fret>0</fret>"))
    below = note("E4", 4, "<type>whole</type><staff>2</staff>" + technical("<string>1</string><fret>0</fret>"), voice=5)
    assert len(strings(drawn(above + BACK + below, attributes=staves))) == 1


def test_a_string_that_is_none_is_left_out(drawn):
    assert strings(drawn(note("E4", 4, technical("<string>high</string>")))) == []


def test_the_room_over_the_staff_counts_the_circles(tmp_path):
    room = []
    for mark in ("", technical("<string>2</string>")):
        file = tmp_path / "made.musicxml"
        content = note("E5", 4, "<type>whole</type>" + mark)
        file.write_text(musicxml([bar(content, 1, FOUR_FOUR + EIGHT)], names=("Guitar",)), encoding="utf-8")
        (system,) = engrave(read_score(file, cache=False), 1060).systems
        room.append(system.staff_top - system.top)
    assert room[1] > room[0] + SPACE


# -- accidentals


def needed(*bars: str, attributes: str = "") -> list[list[str | None]]:
    """The accidentals of the notes of each bar, once those are written that are needed."""
    first, *others = bars
    made = [bar(first, 1, FOUR_FOUR + attributes), *(bar(text, n) for n, text in enumerate(others, 2))]
    root = fromstring(musicxml(made).partition("?>")[2].partition(">\n")[2])
    write_accidentals(root)
    return [[n.findtext("accidental") for n in measure.iter("note")] for measure in root.iter("measure")]


def key(fifths: int) -> str:
    return f"<key><fifths>{fifths}</fifths></key>"


def test_a_file_without_accidentals_is_drawn_with_those_it_needs(drawn):
    root = drawn("".join(note(pitch, 1, QUARTER) for pitch in ("G#3", "G3", "B3", "E4")))
    assert len(groups(root, "accid")) == 2  # the sharp, and the natural after it


def test_an_accidental_holds_in_its_bar_at_its_octave():
    assert needed(
        note("F#4") + note("F#4") + note("F#5") + note("F4"), note("F4") + note("F#4") + note("F5") + note("F#5")
    ) == [["sharp", None, "sharp", "natural"], [None, "sharp", None, "sharp"]]


@pytest.mark.parametrize(
    ("fifths", "pitch", "accidental"),
    [(0, "F4", None), (1, "F#4", None), (1, "F4", "natural"), (-1, "Bb4", None), (-1, "B4", "natural"),
     (-1, "F#4", "sharp"), (7, "B#4", None), (-3, "Ab4", None), (-3, "Db4", "flat"), (2, "C4", "natural")],
)  # fmt: skip
def test_the_key_explains_its_own(fifths, pitch, accidental):
    assert needed(note(pitch, 4), attributes=key(fifths)) == [[accidental]]


def test_a_key_that_changes_within_the_bar():
    change = f"<attributes>{key(1)}</attributes>"
    assert needed(note("F#4", 2) + change + note("F#5", 2)) == [["sharp", None]]


def test_voices_that_sound_together_share_what_holds():
    upper, lower = note("F#4", 2) + note("F4", 2), note("D4", 3, voice=2) + note("F4", 1, voice=2)
    assert needed(upper + BACK + lower) == [["sharp", "natural", None, None]]
    earlier = note("D4", 1, voice=2) + note("F4", 3, voice=2)
    assert needed(upper + BACK + earlier) == [["sharp", None, None, "natural"]]


def test_staves_have_accidentals_of_their_own():
    above, below = note("F#4", 4, "<staff>1</staff>"), note("F#4", 4, "<staff>2</staff>", voice=5)
    assert needed(above + BACK + below, attributes="<staves>2</staves>") == [["sharp", "sharp"]]


def test_a_tie_over_the_bar_line_needs_none():
    tied = note("F#4", 4, '<notations><tied type="start"/></notations>', first="")
    goes_on = note("F#4", 2, '<notations><tied type="stop"/></notations>')
    assert needed(tied, goes_on + note("F#4", 2)) == [["sharp"], [None, "sharp"]]


def test_a_file_that_has_accidentals_keeps_its_own():
    assert needed(note("F#4", 1, "<accidental>sharp</accidental>") + note("G#4", 3)) == [["sharp", None]]


def test_parts_are_judged_one_by_one():
    own = [bar(note("F#4", 1, "<accidental>sharp</accidental>") + note("G#4", 3), 1, FOUR_FOUR)]
    root = fromstring(musicxml(own, [bar(note("G#4", 4), 1, FOUR_FOUR)]).partition("?>")[2].partition(">\n")[2])
    write_accidentals(root)
    assert [[n.findtext("accidental") for n in part.iter("note")] for part in root.iter("part")] == [
        ["sharp", None], ["sharp"],
    ]  # fmt: skip


def test_tablature_has_no_accidentals():
    assert needed(note("F#4", 4), attributes="<clef><sign>TAB</sign><line>5</line></clef>") == [[None]]


def test_an_accidental_stands_where_musicxml_wants_it():
    written = note("F#4", 1, "<type>quarter</type><dot/><stem>up</stem>")
    root = fromstring(f"<score><part><measure>{written}</measure></part></score>")
    write_accidentals(root)
    assert [child.tag for child in root.find(".//note")] == [
        "pitch", "duration", "voice", "type", "dot", "accidental", "stem",
    ]  # fmt: skip


PITCHES = st.sampled_from([f"{step}{sign}{octave}" for step in "CFGB" for sign in ("", "#", "b") for octave in (4, 5)])


@given(st.lists(st.lists(PITCHES, min_size=4, max_size=4), min_size=1, max_size=4), st.integers(-7, 7))
def test_what_is_printed_reads_as_what_sounds(bars, fifths):
    """Reading the page as a player does, by key and accidentals, gives back every pitch; and no sign stands idle."""
    printed = needed(*("".join(map(note, pitches)) for pitches in bars), attributes=key(fifths))
    signature = dict.fromkeys("FCGDAEB"[:fifths] if fifths > 0 else "BEADGCF"[: -fifths], "#" if fifths > 0 else "b")
    signs = {"sharp": "#", "flat": "b", "natural": ""}
    for pitches, accidentals in zip(bars, printed, strict=True):
        holds = {}
        for pitch, accidental in zip(pitches, accidentals, strict=True):
            place = pitch[0] + pitch[-1]
            before = holds.get(place, signature.get(pitch[0], ""))
            if accidental is not None:
                holds[place] = signs[accidental]
                assert holds[place] != before
            assert pitch == pitch[0] + holds.get(place, before) + pitch[-1]
