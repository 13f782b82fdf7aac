"""Slowdowns, hurrying and returns along the performed order, at 60 quarters a minute unless said."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from judged import in_file, mended, told
from support import reading

from timing.remarks import CannotDo


def paces(plan: dict, *quarters: float, **options) -> list[float]:
    """The pace just after each of these quarters."""
    time = reading(plan, **{"bars": 12} | options).performance.time
    return [round(float(time.tempo(at + 1e-7)) / 60, 4) for at in quarters]


def slowing(*entries: dict, **plan) -> dict:
    return {"slowing": list(entries)} | plan


def codes(plan: dict, **options) -> list[str]:
    return [remark.code for remark in reading(plan, **{"bars": 12} | options).remarks]


def test_a_rallentando_gives_way_by_degrees_and_a_ritenuto_at_once():
    gradual = slowing({"rallentando": "3-4", "to": "60%", "curvature": 1, "then": "a tempo"})
    assert paces(gradual, 8, 12, 15.9999, 16) == [1, 0.8, 0.6, 1]
    at_once = slowing({"ritenuto": "3-4", "to": "60%", "then": "a tempo"})
    assert paces(at_once, 7.99, 8, 12, 15.9999, 16) == [1, 0.6, 0.6, 0.6, 1]


@pytest.mark.parametrize(("one", "other"), [("rallentando", "ritardando"), ("accelerando", "stringendo")])
def test_two_words_for_the_same(one, other):
    entry = {"to": "120%" if one == "accelerando" else "80%", "then": "a tempo"}
    at = (8, 10, 15, 16, 20)
    assert paces(slowing({one: "3-4"} | entry), *at) == paces(slowing({other: "3-4"} | entry), *at)


def test_without_a_number_the_end_of_the_piece_decides_and_hurrying_is_mild():
    assert paces(slowing({"rallentando": "11-12"}), 47.9999) == [0.5]
    assert paces(slowing({"rallentando": "10-11"}), 44) == [0.84]
    assert paces(slowing({"accelerando": "10-11"}), 44) == [1.15]


def test_without_a_return_the_new_pace_stays():
    plan = slowing({"rallentando": "3-4", "to": "80%"})
    assert paces(plan, 16, 30, 47) == [0.8, 0.8, 0.8]


def test_a_return_by_degrees():
    plan = slowing({"rallentando": "3-4", "to": "60%", "then": "a tempo by 6:1"})
    middle = ((0.6**3 + 1) / 2) ** (1 / 3)
    assert paces(plan, 16, 18, 20) == [0.6, round(middle, 4), 1]


def test_a_bare_a_tempo():
    held = {"rallentando": "3-4", "to": "60%"}
    assert paces(slowing(held, {"a tempo": "7"}), 23.9, 24) == [0.6, 1]
    assert paces(slowing(held, {"a tempo": "7:3"}), 25.9, 26) == [0.6, 1]
    over = paces(slowing(held, {"a tempo": "7-8"}), 23.9, 28, 32)
    assert over == [0.6, round(((0.6**3 + 1) / 2) ** (1 / 3), 4), 1]
    # it also cuts a slowdown that is still going on
    assert paces(slowing({"rallentando": "3-4", "to": "60%", "curvature": 1}, {"a tempo": "4"}), 11.9999, 12) == [
        0.8,
        1,
    ]


def test_a_new_tempo_ends_a_pace_that_was_held():
    tempo = [{"tempo": 60}, {"at": 7, "tempo": 90}]
    assert paces(slowing({"rallentando": "3-4", "to": "60%"}, tempo=tempo), 20, 24) == [0.6, 1.5]


def test_a_gradual_new_tempo_takes_the_held_pace_with_it():
    tempo = [{"tempo": 60}, {"over": "7-8", "tempo": 90, "curvature": 1}]
    held = paces(slowing({"ritenuto": "3-4", "to": "60%"}, tempo=tempo), 23.9999, 24, 28, 32)
    assert held == [0.6, 0.6, round(1.25 * ((0.6**3 + 1) / 2) ** (1 / 3), 4), 1.5]


def test_a_new_tempo_inside_a_slowdown_does_not_stop_it():
    tempo = [{"tempo": 60}, {"at": 4, "tempo": 90}]
    plan = slowing({"rallentando": "3-4", "to": "60%", "curvature": 1, "then": "a tempo"}, tempo=tempo)
    assert paces(plan, 11.9999, 12, 15.9999, 16) == [0.8, 1.2, 0.9, 1.5]
    plan = slowing({"ritenuto": "3-4", "to": "60%"}, tempo=tempo)
    assert paces(plan, 8, 12, 40) == [0.6, 0.9, 0.9]


def test_slowdowns_in_a_chain_go_on_from_each_other():
    plan = slowing({"rallentando": "3", "to": "80%"}, {"rallentando": "4", "to": "50%", "curvature": 1})
    assert paces(plan, 12, 14, 16) == [0.8, 0.65, 0.5]
    back = slowing({"rallentando": "3", "to": "80%", "then": "a tempo"}, {"rallentando": "4", "to": "50%"})
    assert paces(back, 11.9999, 12) == [0.8, 1]


def test_the_later_entry_replaces_the_earlier_where_they_overlap():
    first = {"rallentando": "3-6", "to": "50%", "curvature": 1, "then": "a tempo"}
    second = {"rallentando": "5-8", "to": "40%", "curvature": 1, "then": "a tempo"}
    plan = slowing(first, second)
    assert codes(plan) == ["slowings-overlap"]
    # halfway through the first, at .75, the second goes on from there; the first one's return is not heard
    assert paces(plan, 15.9999, 16, 24, 31.9999, 32) == [0.75, 0.75, 0.575, 0.4, 1]
    inside = slowing(first, {"ritenuto": "4", "to": "40%"})
    assert paces(inside, 12, 16, 24, 30) == [0.4, 0.4, 0.4, 0.4]
    assert paces(slowing(second, first), 16, 24, 31) == [0.75, 1, 1]  # the first entry is gone
    assert codes(slowing(first, {"ritenuto": "7"})) == []  # they only touch


def test_slowdowns_that_begin_within_one_beat_can_be_parted_too():
    plan = in_file(slowing({"rallentando": "3:1 - 4:4", "to": "80%"}, {"ritenuto": "3:1.5 - 4:4", "to": "60%"}))
    (remark,) = told("slowings-overlap", reading(plan, bars=12))
    parted = reading(mended(plan, remark), bars=12)
    assert told("slowings-overlap", parted) == []
    assert [(slow.run.start, slow.run.end) for slow in parted.pace.slowings] == [(8.0, 8.5), (8.5, 16.0)]


def test_overlaps_on_different_passes_do_not_matter():
    plan = slowing({"rallentando": "3-4", "pass": 1}, {"ritenuto": "4", "pass": 2}, order=["1-4", "1-4"])
    assert codes(plan) == []


def test_a_slowdown_acts_only_where_its_end_is_heard():
    """Bars 1-4 with bar 4 under a first ending; 5 is the second."""
    endings = [
        {"kind": "ending", "bar": 3, "end_bar": 3, "text": "1"},
        {"kind": "ending", "bar": 4, "end_bar": 4, "text": "2"},
        {"kind": "repeat end", "bar": 3, "offset": 4.0},
    ]
    into_first = slowing({"ritenuto": "3-4", "to": "60%", "then": "a tempo"})
    assert paces(into_first, 8, 15, 16, 24, bars=6, marks=endings) == [0.6, 0.6, 1, 1]
    into_second = slowing({"ritenuto": "3-5", "to": "60%", "then": "a tempo"})
    # the skipped first ending does not break the second time; the first time bar 5 is never reached
    assert paces(into_second, 8, 24, 28, 31.99, 32, bars=6, marks=endings) == [1, 0.6, 0.6, 0.6, 1]


@pytest.mark.parametrize(("passes", "expected"), [(1, [0.6, 1, 1]), (2, [1, 0.6, 1]), ("last", [1, 1, 0.6])])
def test_passes(passes, expected):
    plan = slowing({"ritenuto": "3-4", "to": "60%", "then": "a tempo", "pass": passes}, order=["1-4"] * 3)
    assert paces(plan, 9, 25, 41) == expected


def test_where_the_order_goes_back_a_held_pace_ends():
    plan = slowing({"rallentando": "3-4", "to": "60%"}, order=["1-4", "1-4"])
    assert paces(plan, 15.9999, 16, 31.9999) == [0.6, 1, 0.6]


def test_a_return_by_a_place_counts_once_for_every_time():
    """The first time through nothing leads to bar 5, so the return is at once; the second time it is by degrees."""
    plan = slowing({"rallentando": "3-4", "to": "60%", "then": "a tempo by 6:1"}, order=["1-4", "1-8"])
    middle = round(((0.6**3 + 1) / 2) ** (1 / 3), 4)
    assert paces(plan, 16, 20, 32, 34, 36) == [1, 1, 0.6, middle, 1]


def test_a_return_that_comes_too_early_is_an_error():
    for by in ("3:1", "40"):
        with pytest.raises(CannotDo, match=r"the return by 3:1 does not come after|bar 40"):
            reading(slowing({"rallentando": "3-4", "then": f"a tempo by {by}"}), bars=12)


def test_an_allargando_grows_louder_and_comes_back():
    def levels(**more) -> dict[float, float]:
        plan = slowing({"allargando": "3-4", "to": "70%"} | more)
        notes = reading(plan, bars=12).performance.notes
        return dict(zip(notes["score_onset"].tolist(), (notes["level"] + 12).round(4).tolist(), strict=True))

    assert [levels(then="a tempo")[at] for at in (8, 12, 15, 16)] == [0, 1, 1.75, 0]
    assert [levels(louder="4 dB")[at] for at in (8, 12, 16, 47)] == [0, 2, 4, 4]  # as long as the pace is held
    by_degrees = levels(louder="4 dB", then="a tempo by 6:1")
    assert 0 < by_degrees[18] < 4 and by_degrees[20] == 0


def test_an_allargando_that_a_later_entry_cuts_stops_growing():
    plan = slowing({"allargando": "3-6", "louder": "4 dB"}, {"rallentando": "5-6", "then": "a tempo"})
    notes = reading(plan, bars=12).performance.notes
    level = dict(zip(notes["score_onset"].tolist(), (notes["level"] + 12).tolist(), strict=True))
    assert [level[at] for at in (12, 16, 20, 24)] == pytest.approx([1, 2, 2, 0])


percent = st.integers(20, 99)


@given(
    percent, st.floats(1, 10).map(lambda q: round(q, 2)), st.sampled_from(["rallentando", "ritenuto", "allargando"]),
    st.integers(1, 50), st.integers(5, 95), st.integers(5, 12), st.integers(1, 4), st.booleans(),
)  # fmt: skip
def test_the_pace_as_the_range_ends_is_what_the_plan_says(to, q, kind, height, peak, bar, beat, tempo):
    """Arches on two levels and tempo marks included."""
    arch = {"pace": f"{height}%", "pace peak": f"{peak}%"}
    plan = slowing({kind: f"4:2 - {bar}:{beat}", "to": f"{to}%", "curvature": q, "then": "a tempo"})
    plan["phrases"] = [{"bars": "1-12", "arch": arch, "inside": [{"bars": "3-9", "arch": arch}]}]
    if tempo:
        plan["tempo"] = [{"tempo": 60}, {"over": "5-6", "tempo": 90}, {"at": "7:2", "tempo": "80%"}]
    time = reading(plan, bars=12).performance.time
    end = 4.0 * (bar - 1) + beat
    assert float(time.tempo(end, before=True) / time.basic(end, before=True)) == pytest.approx(to / 100, rel=1e-9)


def test_thousands_of_slowdowns_in_one_place_are_answered():
    entries = [{"rallentando": f"1:1 - {2 + k % 10}:{1 + k % 4}", "to": "70%"} for k in range(1000)]
    made = reading(slowing(*entries), bars=12)
    assert len(made.pace.slowings) == 1  # they all begin together, so the last one is left
    assert np.all(np.isfinite(made.performance.notes["onset"]))


def test_a_slowdown_begins_from_the_tempo_that_is_new_there():
    """Held at half the tempo until bar 9, where 90 is written: the second slowdown starts from 90."""
    plan = {
        "tempo": [60, {"at": 9, "tempo": 90}],
        "slowing": [{"rallentando": "3-4", "to": "50%"}, {"rallentando": "9-10", "to": "80%"}],
    }
    time = reading(plan, bars=12).performance.time
    assert time.tempo([31.999, 32.0, 39.999999]) == pytest.approx([30, 90, 72], abs=1e-3)


def test_a_slowdown_from_the_first_bar_of_a_repeat_begins_anew_each_time():
    plan = {"order": ["1-2", "1-2", "1-2"], "slowing": [{"rallentando": "1-2", "to": "50%"}]}
    time = reading(plan, bars=2).performance.time
    assert time.tempo([0.0, 8.0, 16.0]) == pytest.approx([60, 60, 60])
    assert time.tempo([8.0, 16.0, 24.0], before=True) == pytest.approx([30, 30, 30])


@pytest.mark.parametrize(("first", "second"), [("1/3", "2/3"), ("2/3", "1/3"), ("1/3", "1/3"), ("2/3", "2/3")])
def test_overlapping_slowdowns_that_begin_on_thirds_of_a_beat_can_be_parted(first, second):
    slow = [
        {"rallentando": f"3:1+{first} - 6", "to": "80%"},
        {"rallentando": f"4:2+{second} - 8", "to": "70%", "then": "a tempo"},
    ]
    (remark,) = told("slowings-overlap", reading({"slowing": slow}, bars=12))
    (edit,) = remark.fix
    assert f"4:2+{second}" in edit.entry
