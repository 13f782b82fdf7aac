"""Bars as printed: pickups, divided bars, short and long bars, changes of metre."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from written import FOUR_FOUR, bar, musicxml, note

from timing.plan import Plan
from timing.reader import _parse, guard, tabulate
from timing.reading import perform
from timing.score import Score

END = '<barline location="right"><repeat direction="backward"/></barline>'
START = '<barline location="left"><repeat direction="forward"/></barline>'
DOUBLE = '<barline location="right"><bar-style>light-light</bar-style></barline>'
HIDDEN = 'implicit="yes"'


def ending(number: int, *, closed: bool = True) -> str:
    start = f'<barline location="left"><ending number="{number}" type="start"/></barline>'
    stop = f'<barline location="right"><ending number="{number}" type="{"stop" if closed else "discontinue"}"/>'
    return start + "{}" + stop + ('<repeat direction="backward"/>' if closed else "") + "</barline>"


def read(*parts: list[str]) -> Score:
    return tabulate(_parse(guard.Raw(Path("a.xml"), "xml", musicxml(*parts).encode())))


def quarters(count: float, more: str = "", before: str = "") -> str:
    return before + note("C4", count) + more


def printed(score: Score) -> list[tuple]:
    return score.bars[["number", "length", "shift"]].tolist()


def codes(score: Score) -> list[str]:
    return [remark.code for remark in score.remarks]


@pytest.mark.parametrize(
    ("number", "more", "expected"), [(0, HIDDEN, 0), (0, "", 0), (1, HIDDEN, 0), (1, "", 0)], ids=str
)
def test_a_pickup_counts_to_the_end_of_its_bar(number, more, expected):
    score = read([bar(quarters(1), number, FOUR_FOUR, more), bar(quarters(4), 1), bar(quarters(3), 2)])
    assert printed(score) == [(expected, 1, 3), (1, 4, 0), (2, 3, 0)]
    assert score.beat(0, 0.0) == 4
    assert not score.remarks


def test_a_whole_first_bar_is_no_pickup():
    assert printed(read([bar(quarters(4), 1, FOUR_FOUR), bar(quarters(4), 2)])) == [(1, 4, 0), (2, 4, 0)]


def test_a_score_of_one_short_bar_has_no_pickup():
    assert printed(read([bar(quarters(1), 1, FOUR_FOUR)])) == [(1, 1, 0)]


def test_a_bar_divided_by_a_repeat():
    # 3 quarters to the repeat sign; the rest of the bar, without a number of its own, leads into the next part
    score = read(
        [
            bar(quarters(4), 1, FOUR_FOUR),
            bar(quarters(3, END), 2),
            bar(quarters(1), "X1", more=HIDDEN),
            bar(quarters(4), 3),
        ]
    )
    assert printed(score) == [(1, 4, 0), (2, 3, 0), (2, 1, 3), (3, 4, 0)]
    assert score.beat(2, 0.0) == 4


def test_a_bar_in_three_parts():
    parts = [bar(quarters(1), 2), bar(quarters(2), "X1", more=HIDDEN), bar(quarters(1), "X2", more=HIDDEN)]
    score = read([bar(quarters(4), 1, FOUR_FOUR), *parts, bar(quarters(4), 3)])
    assert printed(score) == [(1, 4, 0), (2, 1, 0), (2, 2, 1), (2, 1, 3), (3, 4, 0)]


def test_two_short_neighbours_of_one_bar_keep_their_own_numbers():
    score = read([bar(quarters(4), 1, FOUR_FOUR), bar(quarters(3, END), 2), bar(quarters(1), 3), bar(quarters(4), 4)])
    assert printed(score) == [(1, 4, 0), (2, 3, 0), (3, 1, 3), (4, 4, 0)]


def test_a_pickup_to_a_later_section():
    score = read([bar(quarters(4, DOUBLE), 1, FOUR_FOUR), bar(quarters(1), 2), bar(quarters(4), 3)])
    assert printed(score) == [(1, 4, 0), (2, 1, 3), (3, 4, 0)]


def test_a_section_that_completes_its_pickup_before_the_repeat():
    score = read([bar(quarters(1), 0, FOUR_FOUR), bar(quarters(4), 1), bar(quarters(3, END), 2), bar(quarters(4), 3)])
    assert printed(score) == [(0, 1, 3), (1, 4, 0), (2, 3, 0), (3, 4, 0)]
    assert not score.remarks


def test_two_endings_that_complete_a_pickup_both_begin_on_beat_one():
    first, second = ending(1).format(note("C4", 2)), ending(2, closed=False).format(note("C4", 2))
    score = read(
        [bar(quarters(2), 0, FOUR_FOUR), bar(quarters(4), 1), bar(first, 2), bar(second, 3), bar(quarters(4), 4)]
    )
    assert printed(score) == [(0, 2, 2), (1, 4, 0), (2, 2, 0), (3, 2, 0), (4, 4, 0)]


def test_a_short_bar_in_the_midst_is_as_long_as_its_voices_say():
    score = read([bar(quarters(4), 1, FOUR_FOUR), bar(quarters(4), 2), bar(quarters(1), 3), bar(quarters(4), 4)])
    assert printed(score)[2] == (3, 1, 0)
    assert codes(score) == ["short-bar"]
    assert score.remarks[0].bar == 3


def test_a_short_bar_whose_staves_disagree_keeps_its_metre():
    upper = [bar(quarters(4), 1, FOUR_FOUR), bar(quarters(4), 2), bar(quarters(3), 3), bar(quarters(4), 4)]
    lower = [bar(quarters(4), 1, FOUR_FOUR), bar(quarters(4), 2), bar(quarters(2), 3), bar(quarters(4), 4)]
    score = read(upper, lower)
    assert printed(score)[2] == (3, 4, 0)
    assert "not the same in every staff; the missing beats are silent" in score.remarks[0].message


@pytest.mark.parametrize("line", [DOUBLE, END])
def test_no_silence_before_a_sign(line):
    # the rest of bar 3 comes after the sign at the end of bar 5: as long as its voices say, and without a word
    bars = [quarters(4), quarters(4), quarters(1, line), quarters(4), quarters(3, line), quarters(4)]
    score = read([bar(b, n, FOUR_FOUR if n == 1 else "") for n, b in enumerate(bars, start=1)])
    assert score.bars["length"].tolist() == [4, 4, 1, 4, 3, 4]
    assert not score.remarks


def test_a_bar_filled_up_by_forward_is_no_slip():
    content = quarters(3) + "<forward><duration>12</duration></forward>"
    score = read([bar(quarters(4), 1, FOUR_FOUR), bar(content, 2), bar(quarters(4), 3)])
    assert printed(score)[1] == (2, 4, 0)
    assert not score.remarks


def test_the_fullest_part_counts():
    upper = [bar(quarters(4), 1, FOUR_FOUR), bar(quarters(2), 2), bar(quarters(4), 3)]
    lower = [bar(quarters(4), 1, FOUR_FOUR), bar(quarters(4), 2), bar(quarters(4), 3)]
    score = read(upper, lower)
    assert printed(score)[1] == (2, 4, 0)
    assert not score.remarks


def test_a_bar_over_its_metre_lasts_as_long_as_its_notes():
    score = read([bar(quarters(5), 1, FOUR_FOUR), bar(quarters(4), 2)])
    assert printed(score) == [(1, 5, 0), (2, 4, 0)]
    assert codes(score) == ["overfull-bar"]


def second(*notes: str, after: float = 4) -> str:
    """A second voice, from the beginning of a bar on in which `after` quarters are written so far."""
    return f"<backup><duration>{round(after * 12)}</duration></backup>" + "".join(notes)


def hidden(quarters: float, *, voice: int = 2, pitch: str = "rest", first: str = "") -> str:
    return note(pitch, quarters, voice=voice, first=first).replace("<note>", '<note print-object="no">')


STRETCHED = {
    "hidden rests": second(hidden(4), hidden(2.25)),
    "hidden cues": second(hidden(6, pitch="E4", first="<cue/>")),
    "a rounding": second(note("E4", 4, voice=2).replace(">48<", ">48.25<")),
    "a rest that another voice does not share": second(note("rest", 5, voice=2)),
    "a note too long": second(note("E4", 2, voice=2), note("G4", 3, voice=2)),
    "small notes that come out a little long": second(*(note("E4", 0.5, voice=2, first="<cue/>") for _ in range(9))),
}


@pytest.mark.parametrize("more", STRETCHED.values(), ids=STRETCHED)
def test_another_voice_that_ends_with_the_metre_holds_the_bar(more):
    score = read([bar(quarters(4, more), 1, FOUR_FOUR), bar(quarters(4), 2)])
    assert printed(score) == [(1, 4, 0), (2, 4, 0)]
    begun = score.notes[score.notes["offset"] < 4]
    assert (begun["offset"] + begun["length"] <= 4).all()


@pytest.mark.parametrize("name", ["hidden rests", "hidden cues", "a rounding"])
def test_what_is_not_printed_stretches_a_bar_without_a_word(name):
    assert not read([bar(quarters(4, STRETCHED[name]), 1, FOUR_FOUR), bar(quarters(4), 2)]).remarks


def test_what_begins_after_such_a_bar_is_heard_with_the_next():
    five = second(*(note("E4", 1, voice=2) for _ in range(5)))
    score = read([bar(quarters(4, five), 1, FOUR_FOUR), bar(quarters(4), 2)])
    assert score.bars["length"].tolist() == [4, 4]
    played = perform(score, Plan()).performance.notes
    late = played[(played["pitch"] == 64) & (played["score_onset"] == 4)]
    assert late[["bar", "beat"]].tolist() == [(2, 1)]


def test_the_last_bar_waits_for_what_begins_late():
    score = read([bar(quarters(4, second(*(note("E4", 1, voice=2) for _ in range(5)))), 1, FOUR_FOUR)])
    assert score.bars["length"].tolist() == [5]


def test_all_voices_but_for_a_rounding():
    rounded = (note("C4", 4) + second(note("E4", 4, voice=2))).replace(">48<", ">48.25<")
    score = read([bar(rounded, 1, FOUR_FOUR)])
    assert printed(score) == [(1, 4, 0)]
    assert score.notes["length"].tolist() == [4, 4]


def test_voices_that_go_beyond_the_metre_together_are_believed():
    score = read([bar(quarters(5) + second(note("rest", 5, voice=2), after=5), 1, FOUR_FOUR), bar(quarters(4), 2)])
    assert printed(score) == [(1, 5, 0), (2, 4, 0)]
    assert codes(score) == ["overfull-bar"]


def test_a_cadenza_lasts_as_long_as_its_notes():
    run = second(*(note("E4", 0.5, voice=2) for _ in range(20)))
    score = read([bar(quarters(4, run), 1, FOUR_FOUR), bar(quarters(4), 2)])
    assert printed(score) == [(1, 10, 0), (2, 4, 0)]


def test_a_note_tied_out_of_a_bar_that_is_held_to_its_metre_sounds_no_longer():
    tied = note("E4", 5, '<tie type="start"/>', voice=2)
    on = note("E4", 4, '<tie type="stop"/>', voice=2)
    score = read([bar(quarters(4, second(tied)), 1, FOUR_FOUR), bar(quarters(4, second(on)), 2)])
    assert score.bars["length"].tolist() == [4, 4]
    assert score.notes[score.notes["pitch"] == 64]["length"].tolist() == [8]


def test_bars_with_the_same_slip_are_told_of_at_once():
    long, short, whole = {1, 3, 5, 6, 7, 12}, {9}, range(1, 14)
    lengths = {n: 5 if n in long else 3 if n in short else 4 for n in whole}
    score = read([bar(quarters(lengths[n]), n, FOUR_FOUR * (n == 1)) for n in whole])
    assert codes(score) == ["overfull-bar", "short-bar"]
    first, alone = score.remarks
    assert first.bar == 1 and first.message.startswith("bar 1 holds more than its metre")
    assert first.message.endswith("; the same holds for bars 3, 5-7, 12")
    assert alone.bar == 9 and "the same" not in alone.message
    score = read([bar(quarters(5), n, FOUR_FOUR * (n == 1)) for n in (1, 2)])
    assert [remark.message.rpartition("; ")[2] for remark in score.remarks] == ["the same holds for bar 2"]
    many = read([bar(quarters(4 + n % 2), n, FOUR_FOUR * (n == 1)) for n in range(1, 61)])
    assert len(many.remarks) == 1 and many.remarks[0].message.endswith(" and 17 more")


def test_a_bar_without_notes_has_its_metre():
    score = read([bar(quarters(4), 1, FOUR_FOUR), bar("", 2), bar(note("rest", 4), 3), bar(quarters(4), 4)])
    assert score.bars["length"].tolist() == [4, 4, 4, 4]


def test_changes_of_metre():
    metre = "<time><beats>{}</beats><beat-type>{}</beat-type></time>"
    bars = [
        bar(quarters(4), 1, FOUR_FOUR),
        bar(quarters(3), 2, metre.format(6, 8)),
        bar(quarters(2.5), 3, metre.format("3+2", 8)),
        bar(quarters(2.5), 4),
    ]
    score = read(bars)
    assert score.bars[["length", "beats", "unit"]].tolist() == [(4, 4, 4), (3, 6, 8), (2.5, 5, 8), (2.5, 5, 8)]
    assert score.beat(1, 1.5) == 4


def test_music_without_metre_lasts_as_it_stands():
    free = "<divisions>12</divisions><time><senza-misura/></time>"
    score = read([bar(quarters(7), 1, free), bar(quarters(2), 2)])
    assert printed(score) == [(1, 7, 0), (2, 2, 0)]
    assert not score.remarks


def test_numbers_with_letters_and_without():
    score = read(
        [bar(quarters(4), "12a", FOUR_FOUR), bar(quarters(4), "12b"), bar(quarters(4), ""), bar(quarters(4), "?")]
    )
    assert [score.bar_name(row) for row in range(4)] == ["12a", "12b", "13", "14"]


def test_parts_of_different_lengths():
    score = read([bar(quarters(4), 1, FOUR_FOUR)], [bar(quarters(4), 1, FOUR_FOUR), bar(quarters(4), 2)])
    assert score.bars["number"].tolist() == [1, 2]


@given(st.lists(st.sampled_from([1, 2, 3, 4, 5]), min_size=1, max_size=8), st.data())
def test_bars_hold_their_notes_and_their_beats_stay_within_the_metre(lengths, data):
    lines = [data.draw(st.sampled_from(["", END, DOUBLE])) for _ in lengths]
    hidden = [data.draw(st.sampled_from(["", HIDDEN])) for _ in lengths]
    score = read(
        [
            bar(quarters(length, line), number, FOUR_FOUR if number == 1 else "", more)
            for number, (length, line, more) in enumerate(zip(lengths, lines, hidden, strict=True), start=1)
        ]
    )
    bars = score.bars
    assert (bars["length"] == lengths).all()
    assert (bars["shift"] >= 0).all()
    assert (bars["shift"] + bars["length"] <= [max(4, length) for length in lengths]).all()
