"""Marks whose <offset> carries them over bar lines: where they stand, and that they can be played."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from written import FOUR_FOUR, bar, musicxml, note

from timing.plan import Plan
from timing.reader import _parse, guard, tabulate
from timing.reading import perform
from timing.score import Score

BARS, LENGTH = 4, 4.0
FINEST = 1_000_000  # divisions a quarter
SAID = {
    "rit.": "<words>rit.</words>",
    "rit. - -": '<words>rit.</words></direction-type><direction-type><dashes type="start"/>',
    "- - end": '<dashes type="stop"/>',
    "a tempo": "<words>a tempo</words>",
    "Allegro": "<words>Allegro</words>",
    "number": "<metronome><beat-unit>quarter</beat-unit><per-minute>80</per-minute></metronome>",
    "f": "<dynamics><f/></dynamics>",
    "<": '<wedge type="crescendo"/>',
    "< end": '<wedge type="stop"/>',
    "cresc.": "<dynamics><other-dynamics>cresc.</other-dynamics></dynamics>",
    "dolce": "<words>dolce</words>",
    "tasto": "<words>sul tasto</words>",
    "pizz.": "<words>pizz.</words>",
    "Ped.": '<pedal type="start"/>',
}
IN_ITS_BAR = {"segno": "<segno/>", "D.C.": "<words>D.C.</words>", "Fine": "<words>Fine</words>"}


def say(name: str, offset: int) -> str:
    words = (SAID | IN_ITS_BAR)[name]
    return f"<direction><direction-type>{words}</direction-type><offset>{offset}</offset></direction>"


def read(bars: list[str]) -> Score:
    return tabulate(_parse(guard.Raw(Path("a.xml"), "xml", musicxml(bars, names=("Guitar",)).encode())))


def in_bar(row: int, said: str) -> Score:
    """Four bars of whole notes, 12 divisions a quarter; this is said at the beginning of one of them."""
    return read([bar(said * (n == row) + note("C4", 4), n + 1, FOUR_FOUR * (n == 0)) for n in range(BARS)])


@pytest.mark.parametrize("name", ["rit.", "Allegro", "number", "f", "<", "cresc.", "dolce", "tasto", "Ped."])
@pytest.mark.parametrize(
    ("offset", "place"),
    [
        (-24, (0, 2.0)),  # two quarters before the bar
        (-48, (0, 0.0)),
        (-60, (0, 0.0)),  # before the music: with its beginning
        (-100_000_000, (0, 0.0)),
        (24, (1, 2.0)),
        (60, (2, 1.0)),  # a quarter after the bar is over
        (10_000, (3, 4.0)),  # beyond the end: with it
    ],
)
def test_a_mark_stands_where_its_offset_carries_it(name, offset, place):
    score = in_bar(1, say(name, offset))
    (mark,) = score.marks[score.marks["kind"] != "double bar"]
    assert (mark["bar"], mark["offset"]) == place


@pytest.mark.parametrize("name", IN_ITS_BAR)
@pytest.mark.parametrize(("offset", "at"), [(-24, 0.0), (-1000, 0.0), (24, 2.0), (60, 4.0)])
def test_where_the_order_turns_is_said_of_the_bar_itself(name, offset, at):
    (mark,) = in_bar(1, say(name, offset)).marks_of("segno", "da capo", "fine")
    assert (mark["bar"], mark["offset"]) == (1, at)


def test_dashes_before_the_bar_stretch_their_words():
    score = in_bar(2, say("rit. - -", -24) + say("- - end", -12))
    (mark,) = score.marks_of("tempo")
    assert (mark["bar"], mark["offset"], mark["end_bar"], mark["end_offset"]) == (1, 2.0, 1, 3.0)


def test_a_slip_goes_on_with_the_next_bar():
    """In a bar that one voice overfills, what stands too late is heard as the next one begins, without any offset."""
    late = note("C4", 4) + note("C4", 1) + say("f", 0) + note("C4", 1) + "<backup><duration>72</duration></backup>"
    score = read([bar(late + note("E4", 4, voice=2), 1, FOUR_FOUR), bar(note("C4", 4), 2)])
    (mark,) = score.marks_of("dynamic")
    assert (mark["bar"], mark["offset"]) == (0, 4.0)


offsets = st.one_of(
    st.integers(-3, 3),
    st.integers(-5, 5).map(lambda quarters: quarters * FINEST),
    st.integers(-5, 5).map(lambda quarters: quarters * FINEST - 1),
    st.integers(-(10**10), 10**10),
)
directions = st.lists(
    st.tuples(st.integers(0, 4 * BARS - 1), st.sampled_from(list(SAID)), offsets), min_size=1, max_size=8
)


@given(said=directions)
@example(said=[(4, "rit. - -", -5 * FINEST), (4, "- - end", -6 * FINEST)])  # before the music
@example(said=[(6, "rit. - -", 0), (6, "- - end", 1)])  # shorter than any music
@example(said=[(0, "<", 4 * FINEST - 1), (1, "< end", 4 * FINEST)])
def test_whatever_its_offset_a_mark_stands_in_the_music_and_can_be_played(said):
    quarter = f"<note><pitch><step>C</step><octave>4</octave></pitch><duration>{FINEST}</duration></note>"
    beats = ["".join(say(name, offset) for at, name, offset in said if at == beat) for beat in range(4 * BARS)]
    first = FOUR_FOUR.replace("12", str(FINEST))
    score = read(
        [
            bar("".join(said + quarter for said in beats[4 * n : 4 * n + 4]), n + 1, first * (n == 0))
            for n in range(BARS)
        ]
    )
    marks = score.marks
    for row, offset in (("bar", "offset"), ("end_bar", "end_offset")):
        assert ((marks[row] >= 0) & (marks[row] < BARS)).all()
        assert ((marks[offset] >= 0) & (marks[offset] <= LENGTH)).all()
    dynamics = {round(4 * int(m["bar"]) + float(m["offset"]), 4) for m in score.marks_of("dynamic")}
    meant = {round(min(max(at + off / FINEST, 0), 4 * BARS), 4) for at, name, off in said if name == "f"}
    assert dynamics == meant
    perform(score, Plan.model_validate({"score": "made-by-hand.musicxml"}))
