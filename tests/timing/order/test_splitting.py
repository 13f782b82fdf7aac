"""Bars that are split where the order of the bars turns within them: nothing else changes."""

from __future__ import annotations

import numpy as np
import pytest
from house import PLANS
from hypothesis import given
from hypothesis import strategies as st
from support import reading, rows, score
from written import FOUR_FOUR, bar, musicxml, note

from timing.loading import load_all
from timing.order import in_words, unfold
from timing.order.splitting import inner_repeats, split_bars
from timing.plan import Plan
from timing.reader import read_score
from timing.reading import perform
from timing.remarks import CannotDo
from timing.score import Score


def demo() -> Score:
    return read_score(PLANS / "umbrella-stand.musicxml")


def written(made: Score, table: np.ndarray, bar_column: str = "bar", offset: str = "offset") -> np.ndarray:
    """Quarters from the beginning of the score as it is written."""
    starts = np.cumsum(made.bars["length"]) - made.bars["length"]
    return starts[table[bar_column]] + table[offset]


@st.composite
def cuts(draw) -> list[tuple[int, float]]:
    return draw(
        st.lists(st.tuples(st.integers(0, 27), st.sampled_from([0.0, 0.5, 1.0, 4 / 3, 2.0, 2.5, 3.0, 9.0])), max_size=8)
    )


@given(cuts())
def test_all_stands_where_it_stood(places):
    whole = demo()
    split = split_bars(whole, places)
    inside = {(row, at) for row, at in places if 0 < at < whole.bars["length"][row]}
    assert len(split.bars) == len(whole.bars) + len(inside)
    assert np.flatnonzero(~split.bars["continued"]).size == len(whole.bars)
    assert np.isclose(split.bars["length"].sum(), whole.bars["length"].sum())
    assert (split.bars["length"] > 0).all()
    order = np.lexsort((split.notes["offset"], split.notes["bar"]))
    assert (order == np.arange(len(order))).all()
    by_head = np.argsort(whole.notes["head"]), np.argsort(split.notes["head"])
    one, two = whole.notes[by_head[0]], split.notes[by_head[1]]
    assert np.allclose(written(whole, one), written(split, two))
    assert np.allclose(whole.beat(one["bar"], one["offset"]), split.beat(two["bar"], two["offset"]))
    columns = [name for name in one.dtype.names if name not in ("bar", "offset")]
    assert one[columns].tolist() == two[columns].tolist()
    assert np.allclose(written(whole, whole.heads), written(split, split.heads))
    assert (split.notes["head"][split.heads["note"]] == whole.notes["head"][whole.heads["note"]]).all()
    assert (split.notes["bar"] <= len(split.bars)).all()
    assert (split.notes["offset"] <= split.bars["length"][split.notes["bar"]]).all()


@given(cuts())
def test_marks_stand_where_they_stood(places):
    whole = demo()
    split = split_bars(whole, places)

    def all_of(made: Score) -> list[tuple]:
        at, to = written(made, made.marks), written(made, made.marks, "end_bar", "end_offset")
        heads = [made.notes["head"][made.marks[side]] * (made.marks[side] >= 0) for side in ("note", "goal")]
        kinds = made.marks[["kind", "part", "staff", "text"]].tolist()
        return sorted(
            zip(kinds, at.round(6).tolist(), to.round(6).tolist(), *map(np.ndarray.tolist, heads), strict=True)
        )

    assert all_of(split) == all_of(whole)
    assert (split.marks["offset"] <= split.bars["length"][split.marks["bar"]]).all()


@given(cuts(), cuts())
def test_splitting_again_where_it_is_split_does_nothing(first, second):
    whole = demo()
    split = split_bars(whole, first)
    assert split_bars(split, [(row, 0.0) for row in range(len(split.bars))]) is split
    starts = np.cumsum(whole.bars["length"]) - whole.bars["length"]
    later = np.cumsum(split.bars["length"]) - split.bars["length"]
    rows = [int(np.searchsorted(later, starts[row] + at + 1e-6, side="right")) - 1 for row, at in second if at < 3]
    again = split_bars(split, [(k, starts[row] + at - later[k]) for k, (row, at) in
                               zip(rows, [cut for cut in second if cut[1] < 3], strict=True)])  # fmt: skip
    at_once = split_bars(whole, first + second)
    for table in ("bars", "notes", "heads"):
        one, two = getattr(again, table), getattr(at_once, table)
        assert all(np.allclose(one[c], two[c]) for c in one.dtype.names if one[c].dtype.kind != "U")


@pytest.mark.parametrize("order", ["1 - 8:2, 8:3 - 28", "1-3, 4 - 4:2.5, 4:2.5 - 28", "1 - 5:1, 5:2, 5:3 - 28"])
def test_playing_on_over_a_cut_sounds_as_if_there_were_none(order):
    whole = perform(demo(), Plan.model_validate({"score": "x.musicxml", "order": "1-28"}))
    split = perform(demo(), Plan.model_validate({"score": "x.musicxml", "order": order}))
    columns = ["onset", "end", "pitch", "level", "part", "voice", "beat", "bar"]
    one, two = whole.performance.notes, split.performance.notes
    assert len(one) == len(two)
    for column in columns:
        assert np.allclose(one[column], two[column])


# -- what stands at a cut or reaches over it


def sign(kind: str, bar: int, offset: float, end: tuple[int, float] | None = None, **more) -> dict:
    """A mark from an offset in a row of bars to an `end`; without one it ends where it stands."""
    return {"kind": kind, "bar": bar, "offset": offset, "end_bar": (end or (bar, offset))[0],
            "end_offset": (end or (bar, offset))[1]} | more  # fmt: skip


def cut_in_two(*marks: dict, voices: dict[int, str] | None = None) -> Score:
    """Three bars of 4/4, the second one split after two of its beats into rows 1 and 2."""
    return split_bars(score(3, voices=voices, marks=list(marks)), [(1, 2.0)])


def places(made: Score) -> list[tuple]:
    return rows(made.marks, "bar", "offset", "end_bar", "end_offset")


@pytest.mark.parametrize(
    "kind", ["repeat end", "double bar", "fine", "to coda", "da capo", "dal segno", "breath", "caesura", "fermata"]
)
def test_what_closes_the_music_stays_before_the_cut(kind):
    """A fermata over no note is one over the line."""
    assert places(cut_in_two(sign(kind, 1, 2.0))) == [(1, 2.0, 1, 2.0)]


@pytest.mark.parametrize("kind", ["repeat start", "segno", "coda", "dynamic", "words", "tempo", "key"])
def test_what_opens_the_music_goes_after_the_cut(kind):
    assert places(cut_in_two(sign(kind, 1, 2.0))) == [(2, 0.0, 2, 0.0)]


@pytest.mark.parametrize("before", ["c4:4 c4:2", "r:4 r:2"])
def test_a_fermata_on_a_note_goes_with_its_note(before):
    """Also on the first note of the score."""
    number = 0 if "r" in before else 2
    made = cut_in_two(sign("fermata", 1, 2.0, note=number), voices={1: f"{before} d4:2 e4:4"})
    assert places(made) == [(2, 0.0, 2, 0.0)]
    assert made.notes["pitch"][made.marks["note"]].tolist() == [62]


@pytest.mark.parametrize(
    ("begin", "end", "now"),
    [
        ((1, 0.0), (1, 2.0), (1, 0.0, 1, 2.0)),  # up to the cut
        ((1, 0.0), (1, 3.0), (1, 0.0, 2, 1.0)),  # over it
        ((1, 1.0), (1, 1.5), (1, 1.0, 1, 1.5)),  # before it
        ((1, 2.0), (1, 3.0), (2, 0.0, 2, 1.0)),  # from it
        ((0, 3.0), (1, 2.0), (0, 3.0, 1, 2.0)),  # from another bar, and with an offset that is less at its end
        ((1, 3.0), (2, 1.0), (2, 1.0, 3, 1.0)),
        ((0, 0.0), (2, 4.0), (0, 0.0, 3, 4.0)),
    ],
)
@pytest.mark.parametrize("kind", ["hairpin", "slur", "pedal", "ending"])
def test_a_mark_with_an_end_is_as_long_as_it_was(kind, begin, end, now):
    assert places(cut_in_two(sign(kind, *begin, end))) == [now]


def test_a_slide_ends_on_the_note_it_comes_to():
    """Which is after the cut that a hairpin up to the same place stops at."""
    voices = {1: "c4:4 d4:2 e4:2 f4:4"}
    made = cut_in_two(sign("glissando", 1, 0.0, (1, 2.0), note=1, goal=2), voices=voices)
    assert places(made) == [(1, 0.0, 2, 0.0)]
    assert made.notes["pitch"][[made.marks["note"][0], made.marks["goal"][0]]].tolist() == [62, 64]


def test_a_slide_from_the_rest_before_the_first_note_ends_on_it():
    made = cut_in_two(sign("glissando", 1, 1.0, (1, 2.0), goal=0), voices={1: "r:4 r:2 e4:2 f4:4"})
    assert places(made) == [(1, 1.0, 2, 0.0)]
    assert made.marks[["note", "goal"]].tolist() == [(-1, 0)]


def test_marks_of_no_note_stay_so():
    made = cut_in_two(sign("dynamic", 1, 2.0, text="f"), sign("breath", 0, 4.0))
    assert made.marks[["note", "goal"]].tolist() == [(-1, -1)] * 2


def with_small_note(after: bool) -> Score:
    """Bar 2 has a minim, a small note at its end, and another minim."""
    whole = score(3, voices={1: "c4:4 d4:2 a4:0g e4:2 f4:4"})
    whole.notes["after"] = after & (whole.notes["grace"] > 0)
    whole.heads["note"] = np.arange(len(whole.notes))
    for column in ("bar", "offset", "length"):
        whole.heads[column] = whole.notes[column]
    return whole


@pytest.mark.parametrize(("after", "place"), [(True, (1, 2.0)), (False, (2, 0.0))])
def test_a_small_note_stays_with_the_note_that_it_belongs_to(after, place):
    """One that ends the note before it stays before the cut, one that leads to the next goes after it."""
    made = split_bars(with_small_note(after), [(1, 2.0)])
    small = made.notes["grace"] > 0
    assert rows(made.notes[small], "bar", "offset") == [place]
    assert rows(made.notes[made.notes["pitch"] == 64], "bar", "offset") == [(2, 0.0)]
    assert rows(made.heads[small[made.heads["note"]]], "bar", "offset") == [place]


def test_the_head_of_a_note_that_is_left_out_keeps_its_place():
    """A note that begins at the cut, left out as a cue is: its head opens the second part as the note did."""
    whole = with_small_note(False)
    made = split_bars(whole.without(whole.notes["pitch"] == 64), [(1, 2.0)])
    assert rows(made.heads[made.heads["note"] < 0], "note", "bar", "offset") == [(-1, 2, 0.0)]


def test_a_cut_between_triplets_is_exactly_where_the_next_one_begins():
    """Though thirds that are added up differ from the fraction by rounding."""
    whole = score(1, voices={1: "c4:1 d4:1 " + "e4:0.3333333333333333 " * 3 + "f4:1"})
    whole.notes["offset"][[3, 4]] = [2 + 1 / 3 - 4e-16, 2 + 2 / 3 + 4e-16]
    made = split_bars(whole, [(0, 2 + 1 / 3), (0, 2 + 2 / 3)])
    assert made.notes["bar"].tolist() == [0, 0, 0, 1, 2, 2]
    assert made.notes["offset"][3:5].tolist() == [0.0, 0.0]


# -- repeat signs and endings within a bar


def repeated(*marks: dict) -> str:
    whole = score(5, marks=list(marks))
    made = split_bars(whole, inner_repeats(whole))
    bars, remarks = unfold(made)
    assert not remarks
    return in_words(made, bars)


@pytest.mark.parametrize(
    ("signs", "said"),
    [
        ([sign("repeat start", 1, 2.0), sign("repeat end", 3, 3.0)], "1 - 2:2, 2:3 - 4:3, 2:3 - 4:3, 4:4 - 5"),
        ([sign("repeat start", 1, 2.0), sign("repeat end", 3, 4.0)], "1 - 2:2, 2:3 - 4, 2:3 - 4, 5"),
        ([sign("repeat end", 3, 3.0)], "1 - 4:3, 1 - 4:3, 4:4 - 5"),
    ],
)
def test_a_section_begins_or_ends_within_a_bar(signs, said):
    assert repeated(*signs) == said


def test_endings_begin_within_a_bar():
    """Beats 3 and 4 of bar 3 are the first ending, the first two of bar 4 the second one."""
    endings = [sign("ending", 2, 2.0, (2, 4.0), text="1"), sign("ending", 3, 0.0, (3, 2.0), text="2")]
    assert repeated(*endings, sign("repeat end", 2, 4.0)) == "1-3, 1 - 3:2, 4-5"


def test_beats_for_the_second_time_only():
    """Nothing but the bracket tells where they begin and where they stop."""
    only = sign("ending", 1, 1.0, (2, 2.0), text="2")
    assert repeated(only, sign("repeat end", 3, 4.0)) == "1 - 2:1, 3:3 - 4, 1-4, 5"


# -- the plan's own order


def order_of(text: str, **options) -> str:
    return reading({"order": text}, **options).order


ORDERS = [
    ("1 - 8:2, 5:3 - 12", "1 - 5:2, 5:3 - 8:2, 5:3 - 8:2, 8:3 - 12"),
    ("1-4, 2:2 - 3:1, 6-8", "1 - 2:1, 2:2 - 4, 2:2 - 3:1, 6-8"),
    ("1:2 - 2", "1:2 - 2"),
    ("3:2", "3:2"),
    ("1 - 2:3.5, 3", "1 - 2:3.5, 3"),
    ("1 - 2:3+1/3, 2:3+1/3 - 3", "1-3"),
    ("1 - 2:4, 3-4", "1-4"),  # a last beat that is over is the bar
    ("2:1 - 3", "2-3"),
    ("1 - 3:1.0, 5", "1-2, 5"),  # the instant of a bar line
]


@pytest.mark.parametrize(("told", "said"), ORDERS)
def test_an_order_that_turns_within_bars(told, said):
    """Both ends are counted in, as everywhere in the plan: 8:2 as an end is until beat 2 is over."""
    assert order_of(told, bars=12) == said
    assert order_of(said, bars=12) == said


def test_what_is_heard_of_an_order_that_turns_within_bars():
    scale = "c4:1 d4:1 e4:1 f4:1 g4:1 a4:1 b4:1 c5:1 d5:1 e5:1 f5:1 g5:1"
    made = reading({"order": "1 - 2:2, 1:3 - 3"}, made=score(3, voices={1: scale}))
    heard = made.performance.notes
    assert heard["pitch"].tolist() == [60, 62, 64, 65, 67, 69, 64, 65, 67, 69, 71, 72, 74, 76, 77, 79]
    assert heard["onset"].tolist() == list(range(16))
    assert heard["bar"].tolist() == [1, 1, 1, 1, 2, 2, 1, 1, 2, 2, 2, 2, 3, 3, 3, 3]
    assert heard["beat"].tolist() == [1, 2, 3, 4, 1, 2, 3, 4, 1, 2, 3, 4, 1, 2, 3, 4]
    assert heard["pass"].tolist() == [1, 1, 1, 1, 1, 1, 2, 2, 2, 2, 1, 1, 1, 1, 1, 1]


def test_a_note_that_sounds_on_ends_where_the_order_leaves():
    made = reading({"order": "1 - 1:2, 2"}, made=score(2, voices={1: "c4:4 d4:4"}))
    notes = made.performance.notes
    assert notes["score_length"].tolist() == [2.0, 4.0]
    assert notes["pitch"].tolist() == [60, 62]


def test_positions_of_the_plan_stay_where_they_are():
    """A slowdown over a cut, and a mark on a beat after one."""
    plan = {"order": "1 - 3:2, 3:3 - 6", "slowing": [{"rallentando": "3:1 - 3:4", "to": "50%", "then": "a tempo"}]}
    split = reading(plan, bars=6)
    whole = reading({**plan, "order": "1-6"}, bars=6)
    assert np.allclose(split.performance.notes["onset"], whole.performance.notes["onset"])


def test_the_upbeat_of_a_repeat_is_no_da_capo():
    made = reading({"order": "1 - 4:3, 4:4 - 8, 4:4 - 8"}, bars=8)
    assert not made.performance.bars["returned"].any()
    back = reading({"order": "5-8, 1 - 4:3"}, bars=8)
    assert back.performance.bars["returned"].tolist() == [False] * 4 + [True] * 4


@pytest.mark.parametrize(
    ("told", "says"),
    [
        ("2:3 - 2:2", "2:3 - 2:2 ends before it begins: did you mean 2:2 - 2:3?"),
        ("4 - 2:2", "ends before it begins"),
        ("1 - 2:7", "there is no 2:7"),
        ("2:3 - 2:3.0", "ends where it begins"),
        ("1 - 1:1.0", "ends where it begins"),
    ],
)
def test_orders_that_cannot_be(told, says):
    with pytest.raises(CannotDo) as refused:
        reading({"order": told}, bars=8)
    assert says in refused.value.remarks[0].message


@given(
    st.lists(st.tuples(st.integers(1, 6), st.sampled_from(["", ":2", ":3", ":1.5"]), st.integers(1, 6),
                       st.sampled_from(["", ":1", ":2", ":2.5"])), min_size=1, max_size=5),
    st.sampled_from([0.0, 1.0]),
)  # fmt: skip
def test_what_check_prints_is_the_same_order(stretches, pickup):
    told = [f"{a}{b} - {c}{d}" for a, b, c, d in stretches if (a, b or ":1") < (c, d or ":5")]
    if not told:
        return
    made = reading({"order": ", ".join(told)}, bars=6, pickup=pickup)
    again = reading({"order": made.order}, bars=6, pickup=pickup)
    assert again.order == made.order
    one, two = made.performance.notes, again.performance.notes
    for column in ("onset", "end", "pitch", "bar", "beat"):
        assert np.allclose(one[column], two[column])


def test_the_two_rows_of_a_divided_bar_are_told_by_their_beats(tmp_path):
    """Also where the file itself has the bar in two."""
    back = '<barline location="right"><repeat direction="backward"/></barline>'
    bars = [
        bar(note("C4", 4), 1, FOUR_FOUR),
        bar(note("D4", 3) + back, 2),
        bar(note("E4", 1), "X1", more='implicit="yes"'),
        bar(note("F4", 4), 3),
    ]
    path = tmp_path / "score.musicxml"
    path.write_text(musicxml(bars), encoding="utf-8")
    made = read_score(path, cache=False)
    said = in_words(made, unfold(made)[0])
    assert said == "1 - 2:3, 1 - 2:3, 2:4 - 3"
    again = perform(made, Plan.model_validate({"score": "score.musicxml", "order": said}))
    assert again.performance.bars["row"].tolist() == [0, 1, 0, 1, 2, 3]


# -- readings side by side


def test_readings_of_one_file_have_the_same_bars(tmp_path):
    path = tmp_path / "score.musicxml"
    path.write_text(musicxml([bar(note("C4", 2) + note("D4", 2), n, FOUR_FOUR if n == 1 else "") for n in range(1, 5)]))
    for name, order in (("a", "[1 - 2:2, 2-4]"), ("b", "[1-4]"), ("c", "[1-3, 3:3 - 4]")):
        (tmp_path / f"{name}.yaml").write_text(f"score: score.musicxml\norder: {order}\n")
    readings = load_all([tmp_path / f"{name}.yaml" for name in "abc"])
    assert [len(made.score.bars) for made in readings] == [6, 6, 6]
    assert [made.order for made in readings] == ["1, 2 - 2:2, 2 - 2:2, 2:3 - 4", "1-4", "1 - 3:2, 3:3 - 3, 3:3 - 3, 4"]


def test_readings_of_one_file_are_split_alike_in_the_last_bar_too(tmp_path):
    path = tmp_path / "score.musicxml"
    path.write_text(musicxml([bar(note("C4", 2) + note("D4", 2), n, FOUR_FOUR if n == 1 else "") for n in (1, 2)]))
    for name, order in (("a", "[1-2]"), ("b", "[1 - 2:2, 2]")):
        (tmp_path / f"{name}.yaml").write_text(f"score: score.musicxml\norder: {order}\n")
    readings = load_all([tmp_path / f"{name}.yaml" for name in "ab"])
    assert [made.score.bars["length"].tolist() for made in readings] == [[4.0, 2.0, 2.0]] * 2
