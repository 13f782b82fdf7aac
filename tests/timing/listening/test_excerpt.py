"""Laws of stretches, over performances that are made up."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from performances import performances
from support import midi, reading, score

from timing.listening import heard, stretch
from timing.listening.excerpt import excerpt, lead_in, some_of
from timing.performance import CARRIED, CURVE, PHRASE, PLUCKED
from timing.remarks import CannotDo

GRIDS = (0.0, 64 / 44_100, 0.25)
STAYS = ["id", "bar", "pitch", "level", "score_length", "lane", "attack"]


@st.composite
def in_bars(draw):
    """Performances whose notes know their bars, with phrases, and curves on some of the notes."""
    made = draw(performances())
    notes, bars = made.notes, np.repeat(made.bars[:1], 4)  # as far as the time map goes
    bars["start"], bars["number"] = np.arange(4) * 4.0, np.arange(4) + 1
    notes["ordinal"] = np.searchsorted(bars["start"], notes["score_onset"], side="right") - 1
    notes["bar"], notes["id"] = bars["number"][notes["ordinal"]], np.arange(len(notes))
    curves = np.zeros(2 * len(notes), CURVE)
    curves["note"] = np.repeat(np.arange(len(notes)), 2)
    curves["lane"], curves["level"] = notes["lane"][curves["note"]], draw(st.floats(-6, 6))
    curves["second"] = np.stack([notes["onset"], notes["end"]], axis=1).ravel()
    spans = [(0.0, 7.0, 0, 0, "first"), (1.0, 5.5, 1, 1, "inner"), (7.0, 16.0, 0, 2, "second")]
    return replace(made, bars=bars, curves=curves, phrases=np.array(spans, PHRASE))


@st.composite
def stretches(draw):
    made = draw(in_bars())
    start = draw(st.integers(0, 63))
    end = draw(st.integers(start + 1, 64))
    return made, start / 4, end / 4, draw(st.sampled_from(GRIDS))


@given(stretches())
def test_every_note_of_the_stretch_is_there_moved_by_one_constant_and_no_other(found):
    made, start, end, grid = found
    inside = (made.notes["score_onset"] >= start - 1e-6) & (made.notes["score_onset"] < end - 1e-6)
    if not inside.any():
        with pytest.raises(CannotDo, match="nothing to play"):
            excerpt(made, start, end, grid)
        return
    part, own = excerpt(made, start, end, grid), made.notes[inside]
    assert np.array_equal(part.notes[STAYS], own[STAYS])
    for column in ("onset", "end"):
        assert np.ptp(own[column] - part.notes[column]) < 1e-9
    moved = float(np.median(own["onset"] - part.notes["onset"]))
    assert np.ptp(np.append(own["end"] - part.notes["end"], moved)) < 1e-9
    first = min(own["onset"].min(), float(made.time.seconds(start)))
    assert -1e-9 <= first - moved < max(grid, 1e-9) + 1e-8
    if grid:
        assert abs(moved / grid - round(moved / grid)) < 1e-5
    mine = np.isin(made.curves["note"], np.flatnonzero(inside))
    assert np.abs(made.curves["second"][mine] - moved - part.curves["second"]).max(initial=0) < 1e-9
    assert np.array_equal(part.notes["id"][part.curves["note"]], made.notes["id"][made.curves["note"][mine]])


@given(stretches())
def test_the_time_map_agrees_at_every_knot(found):
    made, start, end, grid = found
    assume(((made.notes["score_onset"] >= start) & (made.notes["score_onset"] < end)).any())
    part = excerpt(made, start, end, grid)
    earlier = start - lead_in(part)  # the quarter of the whole at which the part begins
    row = np.flatnonzero(made.notes["id"] == part.notes["id"][0])[0]
    moved = made.notes["onset"][row] - part.notes["onset"][0]
    knots = np.unique(np.concatenate([made.time.knots, np.linspace(start, end, 9)]))
    knots = knots[(knots >= start) & (knots <= end)]
    assert np.allclose(part.time.seconds(knots - earlier), made.time.seconds(knots) - moved, rtol=0, atol=1e-8)
    inner = knots[:-1] + 1e-3 * np.diff(knots)
    assert np.allclose(part.time.tempo(inner - earlier), made.time.tempo(inner), rtol=1e-6)
    assert np.allclose(part.notes["score_onset"], made.notes["score_onset"][part.notes["id"]] - earlier, atol=1e-9)
    assert part.time.knots[-1] == pytest.approx(part.quarters, abs=1e-9)


@given(stretches())
def test_bars_are_cut_where_the_stretch_is(found):
    made, start, end, grid = found
    assume(((made.notes["score_onset"] >= start) & (made.notes["score_onset"] < end)).any())
    part = excerpt(made, start, end, grid)
    bars, lead = part.bars, lead_in(part)
    assert np.allclose(bars["start"], np.append(0, np.cumsum(bars["length"]))[:-1], atol=1e-9)
    assert part.quarters - lead == pytest.approx(end - start, abs=1e-9)
    music = bars[bars["pass"] > 0]
    lines = made.bars["start"][(made.bars["start"] > start) & (made.bars["start"] < end)]
    assert np.allclose(music["start"], np.append(start, lines) - start + lead, atol=1e-9)
    assert music["shift"][0] == pytest.approx(start % 4, abs=1e-9) and not music["shift"][1:].any()
    assert np.array_equal(bars["number"][part.notes["ordinal"]], part.notes["bar"])
    inside = part.notes["score_onset"] - bars["start"][part.notes["ordinal"]]
    assert (inside > -1e-6).all() and (inside < bars["length"][part.notes["ordinal"]] + 1e-6).all()
    assert (part.phrases["start"] >= lead - 1e-9).all() and (part.phrases["end"] <= part.quarters + 1e-9).all()
    over = (made.phrases["end"] > start + 1e-6) & (made.phrases["start"] < end - 1e-6)
    assert part.phrases["name"].tolist() == made.phrases["name"][over].tolist()


@given(in_bars(), st.sampled_from(GRIDS))
def test_a_stretch_of_all_is_all(made, grid):
    part = excerpt(made, 0.0, made.quarters, grid)
    for name in ("notes", "bars", "curves", "bends", "glides", "phrases", "lanes"):
        assert getattr(part, name).tolist() == getattr(made, name).tolist()
    assert np.array_equal(part.time.pieces, made.time.pieces)


@given(stretches(), st.data())
def test_voices_of_a_stretch_are_the_stretch_of_the_voices(found, data):
    """What is left out does not move what is left."""
    made, start, end, grid = found
    assume(((made.notes["score_onset"] >= start) & (made.notes["score_onset"] < end)).any())
    part = excerpt(made, start, end, grid)
    kept = np.array(data.draw(st.lists(st.booleans(), min_size=len(part.notes), max_size=len(part.notes))), bool)
    assume(kept.any())
    columns = [*STAYS, "onset", "end"]
    assert np.array_equal(some_of(part, kept).notes[columns], part.notes[kept][columns])


# -- slides at the edges


def sliding():
    entries = [{"from": a, "to": b, "arrive": "slurred", "swell": "2 dB"} for a, b in (("1:1", "2:1"), ("2:1", "3:1"))]
    return reading({"glissandi": entries}, score(4, voices={1: "c5:4 e5:4 g5:4 c5:4"}, program=40))


def test_a_slide_from_outside_leaves_a_plucked_goal_and_one_that_goes_out_goes_no_further():
    made = sliding()
    assert made.performance.notes["attack"].tolist() == [PLUCKED, CARRIED, CARRIED, PLUCKED]
    part = heard(made, bars="2")
    assert part.notes["attack"].tolist() == [PLUCKED] and part.notes["pitch"].tolist() == [midi("e5")]
    assert not len(part.glides)
    both = heard(made, bars="1-2")
    assert both.notes["attack"].tolist() == [PLUCKED, CARRIED]
    assert both.glides[["note", "goal"]].tolist() == [(0, 1)]
    assert both.bends["second"].max() == pytest.approx(8) and both.curves["second"].max() <= 8 + 1e-9


def test_small_notes_before_a_bar_come_with_it_and_those_that_end_it_stay_in_theirs():
    made = score(2, voices={1: "c5:4 d5:0.0g e5:4"})
    part = heard(reading({}, made), bars="2", grid=64 / 44_100)
    assert part.notes["pitch"].tolist() == [midi("d5"), midi("e5")]
    assert part.notes["onset"][0] < 64 / 44_100 < 0.05 < part.notes["onset"][1] < 0.2
    assert part.bars["pass"].tolist() == [0, 1] and part.bars["number"].tolist() == [1, 2]
    made.notes["after"][made.notes["grace"] > 0] = True
    made.notes["bar"][made.notes["grace"] > 0], made.notes["offset"][made.notes["grace"] > 0] = 0, 4.0
    made.notes.sort(order=["bar", "offset"])
    assert heard(reading({}, made), bars="1").notes["pitch"].tolist() == [midi("c5"), midi("d5")]
    assert heard(reading({}, made), bars="2").notes["pitch"].tolist() == [midi("e5")]


# -- which hearing


def repeated():
    """Bars 1-4 twice, then 5-8, then 1-4 once more."""
    return reading({"order": "1-4, 1-4, 5-8, 1-4"}, bars=8)


@pytest.mark.parametrize(
    ("bars", "passes", "start", "end"),
    [
        ("2-3", None, 4, 12), ("2-3", 2, 20, 28), ("2-3", 3, 52, 60), ("2-3", "last", 52, 60),
        ("2-3", "da capo", 52, 60), ("3-6", None, 24, 40), ("3-6", 2, 24, 40), ("2:2 - 3:3", 2, 21, 27),
        ("6", "last", 36, 40), ("2:2 - 2:3.5", None, 5, 6.5),
    ],
)  # fmt: skip
def test_which_hearing_is_meant(bars, passes, start, end):
    """The first from beginning to end, or the one that begins on that pass."""
    run = stretch(repeated(), bars, passes)
    assert (run.start, run.end) == (start, end)


@pytest.mark.parametrize(
    ("bars", "passes", "said"),
    [
        ("9", None, "the score ends at bar 8"),
        ("2:5 - 3", None, "bar 2 has 4 beats"),
        ("3-6", 1, "not heard in one go on pass 1, but on pass 2"),
        ("3-6", "da capo", "not heard in one go after a da capo, but on pass 2"),
        ("2", 4, "not heard in one go on pass 4, but on pass 1 and 2 and 3"),
        ("5-3", None, "did you mean 3-5"),
        ("two", None, "not a position"),
        (None, 2, "pass 2 of which bars"),
    ],
)
def test_what_is_not_there_is_said(bars, passes, said):
    with pytest.raises(CannotDo, match=said):
        heard(repeated(), bars=bars, passes=passes)


def test_bars_that_do_not_follow_each_other_are_never_heard_in_one_go():
    made = reading({"order": "1-4, 7-8"}, bars=8)
    with pytest.raises(CannotDo, match="never heard in one go: the order of the bars is 1-4, 7-8"):
        heard(made, bars="3-7")


def test_a_stretch_of_rests_has_nothing_to_play():
    with pytest.raises(CannotDo, match="nothing to play"):
        heard(reading({}, score(3, voices={1: "c4:4 r:4 c4:4"})), bars="2")
