"""Laws that every performed order keeps, whatever the score holds."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from laws import MANY
from orders import mark, score_of, written

from timing.order import unfold
from timing.score import Score

KINDS = ["repeat start", "repeat end", "ending", "segno", "coda", "to coda", "fine", "da capo", "dal segno"]
TEXTS = ["", "1", "2", "1,2", "1-3", "3", "al Fine", "al Coda", "D.C. al Fine", "?"]


@st.composite
def scores(draw):
    """Any marks anywhere, sensible or not."""
    count = draw(st.integers(1, 9))
    row = st.integers(-1, count)
    marks = st.builds(
        mark,
        st.sampled_from(KINDS),
        row,
        st.sampled_from([0.0, 2.0, 4.0]),
        row,
        st.sampled_from([np.nan, np.inf, -1.0, 0.0, 1.0, 2.0, 3.0, 1e12]),
        st.sampled_from(TEXTS),
    )
    score = score_of(draw(st.lists(marks, max_size=12)), [str(k) for k in range(1, count + 1)])
    score.bars["length"] = draw(st.lists(st.sampled_from([0.5, 1.0, 3.0, 4.0]), min_size=count, max_size=count))
    return score


@given(scores(), st.booleans())
@MANY
def test_laws_of_every_order(score, always):
    passages, remarks = unfold(score, repeats_after_return=always)
    count = len(score.bars)
    assert 0 < len(passages) <= 64 * (count + 1)
    assert ((passages["row"] >= 0) & (passages["row"] < count)).all()
    ends = np.cumsum(score.bars["length"][passages["row"]])
    assert passages["start"].tolist() == [0.0, *ends[:-1]]
    assert (np.diff(passages["returned"].astype(int)) >= 0).all()
    bracketed = {
        row
        for m in score.marks_of("ending")
        if 0 <= m["bar"] < count
        for row in range(m["bar"] - 1, count)  # a short bracket may be drawn out; a second one alone makes a first
    }
    for row in set(passages["row"].tolist()):
        passes = passages["pass"][passages["row"] == row]
        assert (np.diff(passes) > 0).all() and passes[0] >= 1
        assert not passages["last"][passages["row"] == row][:-1].any()
        if row not in bracketed:
            assert passes.tolist() == list(range(1, len(passes) + 1))
            assert passages["last"][passages["row"] == row][-1]
    if len(set(passages["row"].tolist())) < count:
        assert any(remark.code in ("bars-never-played", "order-too-long") for remark in remarks)


@given(scores())
def test_marks_that_several_parts_share_count_once(score):
    second = score.marks.copy()
    second["part"] = 1
    both = Score(score.path, "x", score.notes, score.heads, score.bars, np.append(score.marks, second), score.parts)
    once, remarks = unfold(score)
    assert (once == unfold(both)[0]).all()
    assert remarks == unfold(both)[1]


@given(st.integers(1, 300))
def test_without_marks_the_order_is_the_page(count):
    passages, remarks = unfold(score_of([], [str(k) for k in range(count)]))
    assert passages["row"].tolist() == list(range(count)) and remarks == ()
    assert (passages["pass"] == 1).all() and passages["last"].all() and not passages["returned"].any()


@given(st.lists(st.tuples(st.integers(1, 4), st.integers(1, 5)), min_size=1, max_size=12), st.data())
def test_simple_repeats_are_heard_as_often_as_they_say(sections, data):
    """Sections of some bars, each heard some times; a start sign may be left out after a repeat or at the beginning."""
    words, expected, bar, implied = [], [], 0, True
    for length, times in sections:
        bars = list(range(bar, bar + length))
        bar += length
        signed = times > 1 and (not implied or data.draw(st.booleans()))
        words += ["|:"] * signed + [str(b) for b in bars] + [f":|{times}"] * (times > 1)
        expected += bars * times
        implied = times > 1
    passages, remarks = unfold(written(" ".join(words)))
    assert passages["row"].tolist() == expected and remarks == ()


# A piece as a tree: plain bars (None) with repeated sections between them, each (times, inside, endings).
TREES = st.recursive(
    st.just([None]),
    lambda inside: st.lists(
        st.tuples(
            st.integers(2, 3),
            inside,
            st.sampled_from([0, 2, 3]).flatmap(lambda n: st.lists(inside, min_size=n, max_size=n)),
        ),
        max_size=2,
    ).map(lambda sections: [None, *(item for section in sections for item in (section, None))]),
    max_leaves=12,
)


def print_tree(tree, bars) -> str:
    """The tree in the notation of this file, its bars numbered from the iterator."""
    words = []
    for item in tree:
        if item is None:
            words.append(str(next(bars)))
            continue
        times, inside, endings = item
        words += ["|:", print_tree(inside, bars)]
        for number, ending in enumerate(endings, 1):
            words += [f"[{number}", print_tree(ending, bars), *[":|"] * (number < len(endings)), "]"]
        if not endings:
            words.append(f":|{times}")
    return " ".join(words)


def play_tree(tree, bars, plainly=False) -> list[int]:
    """Its bars as heard; plainly is without repeats, with the last endings."""
    heard = []
    for item in tree:
        if item is None:
            heard.append(next(bars))
            continue
        times, inside, endings = item
        body = play_tree(inside, bars, plainly)
        ends = [play_tree(ending, bars, plainly) for ending in endings] or [[]] * times
        for ending in ends[-1:] if plainly else ends:
            heard += body + ending
    return heard


@given(TREES)
@MANY
def test_well_formed_trees_of_repeats(tree):
    score = written(print_tree(tree, iter(range(1, 10**6))))
    expected = play_tree(tree, iter(range(1, 10**6)))
    passages, remarks = unfold(score)
    limit = 64 * (len(score.bars) + 1)
    assert passages["number"].tolist() == expected[:limit]
    assert bool(remarks) == (len(expected) > limit)


@given(TREES, TREES, st.booleans())
@MANY
def test_well_formed_trees_with_da_capo_al_fine(first, second, always):
    bars = iter(range(1, 10**6))
    score = written(f"{print_tree(first, bars)} Fine {print_tree(second, bars)} DCalFine")
    bars = iter(range(1, 10**6))
    expected = play_tree(first, bars) + play_tree(second, bars)
    back = play_tree(first, iter(range(1, 10**6)), plainly=not always)
    passages, _ = unfold(score, repeats_after_return=always)
    assert passages["number"].tolist() == (expected + back)[: 64 * (len(score.bars) + 1)]
    assert (passages["returned"] == (np.arange(len(passages)) >= len(expected))).all()
