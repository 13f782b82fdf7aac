"""Laws of comparing, along any order and for any entries."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from laws import FEW
from support import reading, score

from timing.comparing import compare
from timing.remarks import CannotDo

BARS = 6


@st.composite
def ranges(draw) -> str:
    first, last = sorted(draw(st.tuples(st.integers(1, BARS), st.integers(1, BARS))))
    if draw(st.booleans()):
        return f"{first}-{last}"
    beats = sorted(draw(st.tuples(st.integers(1, 3), st.integers(1, 3)))) if first == last else [2, 3]
    return f"{first}:{beats[0]} - {last}:{beats[1]}"


def some(**keys) -> st.SearchStrategy[list[dict]]:
    entry = st.fixed_dictionaries(keys, optional={"pass": st.sampled_from([1, 2, "last"])})
    return st.lists(entry, max_size=3)


@st.composite
def plans(draw, orders: bool = True) -> dict:
    percent = st.sampled_from(["70%", "80%", "90%"])
    inside = draw(st.lists(st.integers(1, BARS - 1), max_size=2, unique=True).map(sorted))
    edges = [0, *inside, BARS]
    arch = st.sampled_from(["6%", False])
    phrases = [{"bars": f"{a + 1}-{b}", "arch": draw(arch)} for a, b in pairwise(edges)]
    made = {
        "tempo": draw(st.sampled_from([50, 60, 90])),
        "phrases": draw(st.sampled_from([phrases, []])),
        "slowing": draw(some(rallentando=ranges(), to=percent) | some(ritenuto=ranges(), to=percent)),
        "holds": draw(some(fermata=ranges()) | some(agogic=ranges(), length=st.just("120%"))),
        "dynamics": draw(some(at=st.integers(1, BARS), mark=st.sampled_from(["p", "f"]))),
        "tone": draw(some(bars=ranges(), tone=st.sampled_from(["dark", "bright"]))),
        "second time": draw(some(bars=ranges(), softer=st.just("2 dB"))),
        "voices": draw(st.sampled_from([{}, {"bass": "-3 dB"}, {"melody": {"lead": "20 ms"}}])),
    }
    if orders:
        stretches = st.tuples(st.integers(1, BARS), st.integers(1, BARS)).map(sorted)
        order = draw(st.none() | st.lists(stretches, min_size=1, max_size=4))
        made["order"] = [f"{a}-{b}" for a, b in order] if order else [f"1-{BARS}"]
    return made


REPEATS = [{"kind": "repeat start", "bar": 1}, {"kind": "repeat end", "bar": 3, "offset": 3.0}]


VOICES = {1: "c5:1 d5:0.5 e5:0.5 r:1 " * BARS, 2: "c3:3 " * BARS}
SCORES = {"once": score(BARS, (3, 4), voices=VOICES), "repeated": score(BARS, (3, 4), voices=VOICES, marks=REPEATS)}
scores = st.sampled_from(sorted(SCORES))


@given(plans(), scores)
@FEW
def test_a_reading_is_the_same_as_itself(plan, made):
    one, other = reading(plan, SCORES[made]), reading(plan, SCORES[made])
    compared = compare([one, other])
    assert compared.same and compared.differences == [] and compared.scores == compared.orders == []
    assert [str(row[0]) for row in compared.measures] == [str(row[1]) for row in compared.measures]
    assert np.array_equal(compared.shares[:, 0], compared.shares[:, 1], equal_nan=True)


def told(compared, step: int) -> list:
    """All that is compared, with the readings in their order (1) or turned round (-1)."""
    made = []
    for span, measures, shares in zip(compared.spans, compared.measures, compared.shares, strict=True):
        of = (span.kind, span.bars, span.pass_, span.depth, span.partly, span.of[::step])
        rounded = [tuple(round(x, 6) if isinstance(x, float) else x for x in row) for row in measures[::step].tolist()]
        tones = [sorted(zip(compared.tones, each, strict=True)) for each in np.round(shares[::step], 6).tolist()]
        made.append(str((of, rounded, tones)))
    made += [str((d.section, d.voice, d.passes, d.words[::step], d.plays[::step])) for d in compared.differences]
    made += [str((a.what, a.of[::step], a.bars, a.pass_)) for a in compared.orders]
    return sorted(made)


def bare(*order: str) -> dict:
    """A plan of one phrase, in an order."""
    return {"tempo": 50, "phrases": [{"bars": "1-6", "arch": "6%"}], "order": list(order)}


@given(plans(), plans(), scores)
@example(bare("1-6"), bare("2-2", "1-6"), "once")  # one phrase of the same ends, with another hearing of a bar in it
def test_turned_round_it_says_the_same(one, other, made):
    readings = [reading(plan, SCORES[made]) for plan in (one, other)]
    try:
        there = compare(readings)
    except CannotDo as refusal:
        assert [remark.code for remark in refusal.remarks] == ["nothing-shared"]
        with pytest.raises(CannotDo, match="no bar is played by all"):
            compare(readings[::-1])
        return
    back = compare(readings[::-1])
    assert told(there, 1) == told(back, -1)
    assert (there.alike, there.same) == (back.alike, back.same)


@given(plans(orders=False), plans(orders=False), scores)
@FEW
def test_the_outer_phrases_together_are_the_piece(one, other, made):
    for plan in (one, other):
        plan["phrases"] = plan["phrases"] or [f"1-{BARS}"]
    compared = compare([reading(plan, SCORES[made]) for plan in (one, other)])
    for number, reading_ in enumerate(compared.readings):
        mine = [span.kind == "phrase" and span.of[number] for span in compared.spans]
        for seconds in compared.measures["seconds"][mine].sum(axis=0) - compared.measures["seconds"][-1]:
            assert abs(seconds) < 1e-9
        assert compared.measures["seconds"][-1, number] == pytest.approx(reading_.performance.time.length, abs=1e-9)


@given(plans(), plans(), scores)
@FEW
def test_every_measure_is_possible(one, other, made):
    try:
        compared = compare([reading(plan, SCORES[made]) for plan in (one, other)])
    except CannotDo:
        return
    measures = compared.measures[compared.measures["seconds"] > 0]
    assert (measures["low_bpm"] <= measures["high_bpm"]).all()
    assert (measures["slowest_bpm"] <= measures["low_bpm"] * (1 + 1e-9) + 100 * measures["held"]).all()
    loud = measures[np.isfinite(measures["loudest"])]
    assert (loud["softest"] <= loud["loudest"]).all()
    heard = compared.shares[np.isfinite(compared.shares).all(axis=2)]
    assert np.allclose(heard.sum(axis=1), 1)
    own = [reading_.performance.time.length for reading_ in compared.readings]
    assert compared.measures["seconds"][-1].tolist() == pytest.approx(own, abs=1e-9)
    assert (compared.measures["seconds"] <= np.array(own) + 1e-9).all()
