"""Repeat signs and endings as files have them, well and badly written, up to the order in which the bars are played.

The right orders are worked out by hand from what the page shows."""

from __future__ import annotations

from pathlib import Path

from written import FOUR_FOUR, bar, musicxml, note

from timing.order import in_words, unfold
from timing.reader import read_score
from timing.score import Score

BEGIN, END = '<repeat direction="forward"/>', '<repeat direction="backward"/>'


def start(number: str) -> str:
    return f'<ending number="{number}" type="start"/>'


def stop(number: str, how: str = "stop") -> str:
    return f'<ending number="{number}" type="{how}"/>'


def left(content: str) -> str:
    return f'<barline location="left">{content}</barline>'


def right(content: str) -> str:
    return f'<barline location="right">{content}</barline>'


def read(folder: Path, *parts: list[tuple[str, str]]) -> Score:
    """A score of parts, each its bars: what stands at the left and at the right of four quarters."""
    four = "".join(note(pitch) for pitch in ("C5", "D5", "E5", "F5"))
    made = [
        [bar(before + four + after, n, FOUR_FOUR if n == 1 else "") for n, (before, after) in enumerate(part, start=1)]
        for part in parts
    ]
    path = folder / "score.musicxml"
    path.write_text(musicxml(*made), encoding="utf-8")
    return read_score(path, cache=False)


def order(score: Score) -> str:
    return in_words(score, unfold(score)[0])


def said(score: Score) -> list[str]:
    return [remark.message for remark in (*score.remarks, *unfold(score)[1])]


PLAIN = ("", "")


def middle(content: str) -> str:
    return f'<barline location="middle">{content}</barline>'


def halves(between: str, after: str = "", pitches: str = "CDEF") -> str:
    """The four quarters of a bar with something in its middle."""
    first, second = ("".join(note(f"{pitch}5") for pitch in half) for half in (pitches[:2], pitches[2:]))
    return first + between + second + after


def in_one(folder: Path, *bars: str) -> Score:
    path = folder / "score.musicxml"
    made = [bar(content, n, FOUR_FOUR if n == 1 else "") for n, content in enumerate(bars, start=1)]
    path.write_text(musicxml(made), encoding="utf-8")
    return read_score(path, cache=False)


def test_two_bar_lines_on_one_side_of_a_bar(tmp_path):
    """The second one does not hide the repeat sign of the first."""
    bars = [PLAIN, (left(BEGIN), ""), (left(start("1")), right(stop("1") + END) + right(start("2"))),
            ("", right(stop("2"))), PLAIN]  # fmt: skip
    score = read(tmp_path, bars)
    assert order(score) == "1, 2-3, 2, 4-5"
    assert said(score) == []


def test_an_ending_announced_at_the_bar_line_before_it(tmp_path):
    """At the end of a bar begins what stands over the next."""
    bars = [PLAIN, (left(BEGIN), ""), (left(start("1")), right(stop("1") + END + start("2"))),
            ("", right(stop("2"))), PLAIN]  # fmt: skip
    score = read(tmp_path, bars)
    assert order(score) == "1, 2-3, 2, 4-5"
    assert said(score) == []


def test_an_ending_that_begins_and_stops_at_one_bar_line_is_that_bar(tmp_path):
    bars = [PLAIN, (left(BEGIN), ""), ("", right(start("1") + stop("1") + END)), (left(start("2")), right(stop("2")))]
    score = read(tmp_path, bars)
    assert order(score) == "1, 2-3, 2, 4"
    assert said(score) == []


def test_an_ending_announced_after_the_last_bar_is_none(tmp_path):
    score = read(tmp_path, [PLAIN, ("", right(END + start("2")))])
    assert order(score) == "1-2, 1-2"
    assert len(score.marks_of("ending")) == 0


def test_a_first_ending_whose_beginning_is_lost(tmp_path):
    bars = [PLAIN, (left(BEGIN), ""), ("", right(stop("") + END)), (left(start("2")), right(stop("2", "discontinue"))),
            PLAIN]  # fmt: skip
    score = read(tmp_path, bars)
    assert order(score) == "1, 2-3, 2, 4-5"
    assert said(score) == ["an ending stops in bar 3 that never began: it is taken for that bar alone"]


def test_a_second_ending_whose_beginning_is_lost_follows_the_first(tmp_path):
    bars = [(left(start("1")), ""), ("", right(stop("1") + END)), ("", right(stop(""))), PLAIN]
    score = read(tmp_path, bars)
    assert score.marks_of("ending")[["bar", "end_bar", "text"]].tolist() == [(0, 1, "1"), (2, 2, "2")]


def test_a_beginning_that_one_part_has_is_not_lost(tmp_path):
    full = [PLAIN, (left(start("1")), ""), ("", right(stop("1") + END)), (left(start("2")), right(stop("2"))), PLAIN]
    lost = [PLAIN, PLAIN, ("", right(stop("1") + END)), (left(start("2")), right(stop("2"))), PLAIN]
    for parts in ([full, lost], [lost, full]):
        score = read(tmp_path, *parts)
        assert order(score) == "1-3, 1, 4-5"
        assert said(score) == []


def test_a_second_ending_without_a_first_one(tmp_path):
    bars = [PLAIN, (left(BEGIN), ""), ("", right(END)), (left(start("2")), right(stop("2"))), PLAIN]
    score = read(tmp_path, bars)
    assert order(score) == "1, 2-3, 2, 4-5"
    assert said(score) == ['ending "2" over bar 4 has no first one: bar 3 is taken for it']


def test_repeat_signs_on_the_other_side_of_their_bar_line(tmp_path):
    """A start sign at the end of a bar is the next bar's, an end sign at the beginning of one the last one's."""
    score = read(tmp_path, [("", right(BEGIN)), PLAIN, PLAIN, (left(END), "")])
    assert order(score) == "1, 2-3, 2-3, 4"
    assert said(score) == []


def test_signs_before_the_first_and_after_the_last_bar_are_none(tmp_path):
    score = read(tmp_path, [(left(END), ""), ("", right(BEGIN))])
    assert order(score) == "1-2"
    assert said(score) == []


def test_how_often_a_repeat_is_played(tmp_path):
    for times, played in (("3", "1, 1, 1"), ("1", "1"), ("many", "1, 1"), ("0", "1, 1")):
        score = read(tmp_path, [("", right(f'<repeat direction="backward" times="{times}"/>'))])
        assert order(score) == played


# -- in the middle of a bar


def test_repeat_signs_in_the_middle_of_bars(tmp_path):
    """A section that begins and ends on the third beat."""
    score = in_one(tmp_path, halves(""), halves(middle(BEGIN)), halves(""), halves(middle(END)), halves(""))
    assert order(score) == "1 - 2:2, 2:3 - 4:2, 2:3 - 4:2, 4:3 - 5"
    assert said(score) == []
    assert score.bars["number"].tolist() == [1, 2, 2, 3, 4, 4, 5]
    assert score.bars["length"].tolist() == [4, 2, 2, 4, 2, 2, 4]
    assert score.bars["shift"].tolist() == [0, 0, 2, 0, 0, 2, 0]
    assert score.bars["continued"].tolist() == [False, False, True, False, False, True, False]


def test_one_sign_in_the_middle_of_a_bar_goes_back_to_the_beginning(tmp_path):
    score = in_one(tmp_path, halves(""), halves(middle(END)), halves("", right(END)))
    assert order(score) == "1 - 2:2, 1 - 2:2, 2:3 - 3, 2:3 - 3"


def test_two_signs_in_one_bar(tmp_path):
    quarters = [note(f"{pitch}5") for pitch in "CDEF"]
    content = quarters[0] + middle(BEGIN) + quarters[1] + quarters[2] + middle(END) + quarters[3]
    assert order(in_one(tmp_path, content)) == "1 - 1:1, 1:2 - 1:3, 1:2 - 1:3, 1:4 - 1"


def test_endings_that_meet_in_the_middle_of_a_bar(tmp_path):
    score = in_one(
        tmp_path,
        halves(""),
        left(start("1")) + halves(middle(stop("1") + END + start("2"))),
        halves("", right(stop("2"))),
        halves(""),
    )
    assert order(score) == "1 - 2:2, 1, 2:3 - 4"
    assert said(score) == []


def test_a_sign_in_the_middle_at_the_beginning_or_the_end_of_its_bar(tmp_path):
    score = in_one(tmp_path, halves(""), middle(BEGIN) + halves(""), halves("", middle(END)), halves(""))
    assert order(score) == "1, 2-3, 2-3, 4"
    assert not score.bars["continued"].any()


def test_notes_stand_on_the_beats_where_they_stood(tmp_path):
    score = in_one(tmp_path, halves(middle(END), pitches="CDEF"), halves("", pitches="GABC"))
    assert score.notes[["bar", "offset"]].tolist() == [
        (0, 0), (0, 1), (1, 0), (1, 1), (2, 0), (2, 1), (2, 2), (2, 3)
    ]  # fmt: skip
    assert score.beat(score.notes["bar"], score.notes["offset"]).tolist() == [1, 2, 3, 4, 1, 2, 3, 4]
