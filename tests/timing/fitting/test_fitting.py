"""Fits of plans that were performed: their entries come back."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from house import ROOT
from hypothesis import given
from hypothesis import strategies as st
from laws import FEW
from support import reading, score

from timing import fit, load
from timing.fitting import Fit, FittedEntry, beat_quarters
from timing.reading import Reading
from timing.remarks import CannotDo
from timing.time.pace import build_pace

EXACT = 0.001  # seconds: the noise of pairs that have none


def fitted(made: Reading, step: float = 1.0, noise: float = 0.0, seed: int = 0) -> Fit:
    quarters = np.arange(0.0, made.where.length + 1e-9, step)
    seconds = made.performance.time.seconds(quarters)
    if noise:
        seconds = seconds + np.random.default_rng(seed).normal(0, noise, len(seconds))
    return fit(made, quarters, seconds, noise or EXACT)


def entries(found: Fit, section: str) -> list[dict]:
    return [each.entry for each in found.entries if each.section == section]


def slowings(plan, where) -> list[tuple[float, float, float]]:
    """Start, end and end pace of all hearings of slowdowns."""
    return [(slow.run.start, slow.run.end, slow.to) for slow in build_pace(plan, where).slowings if slow.to < 1]


# -- single shapes


def test_strict_time_is_its_tempo_and_nothing_else():
    found = fitted(reading({"tempo": 84}))
    assert [(each.section, each.entry) for each in found.entries] == [("tempo", {"tempo": 84})]
    assert found.leftovers == () and found.tempo == pytest.approx(84)
    assert np.abs(found.rest).max() < 1e-6


@pytest.mark.parametrize(
    "entry",
    [
        {"rallentando": "7 - 8:2", "to": "70%", "then": "a tempo"},
        {"rallentando": "3:3 - 4:2", "to": "80%", "then": "a tempo by 5:1"},
        {"ritenuto": "3 - 3:3", "to": "75%", "then": "a tempo"},
        {"rallentando": "7-8", "to": "50%"},
    ],
)
def test_a_slowdown_comes_back_as_it_was_written(entry):
    found = fitted(reading({"tempo": 90, "slowing": [entry]}))
    assert entries(found, "slowing") == [entry]
    assert entries(found, "holds") == []
    assert found.tempo == pytest.approx(90, rel=0.01)


def test_hurrying_is_not_a_slowdown():
    found = fitted(reading({"slowing": [{"accelerando": "3-4", "to": "125%", "then": "a tempo"}]}))
    assert entries(found, "slowing") == [{"accelerando": "3-4", "to": "125%", "then": "a tempo"}]


@pytest.mark.parametrize(("length", "kind"), [("112%", "agogic"), ("180%", "fermata")])
def test_a_held_beat_is_no_slowdown(length, kind):
    found = fitted(reading({"holds": [{kind: "5:2", "length": length}]}))
    assert entries(found, "slowing") == []
    (hold,) = entries(found, "holds")
    assert hold[kind] == "5:2 - 5:3.0" and float(hold["length"].rstrip("%")) == pytest.approx(float(length[:-1]), abs=3)


def test_a_fermata_at_the_end_of_a_slowdown_is_told_from_it():
    plan = {"slowing": [{"rallentando": "7-8", "to": "60%"}], "holds": [{"fermata": "8:4", "length": "150%"}]}
    found = fitted(reading(plan))
    assert [slow["rallentando"] for slow in entries(found, "slowing")] == ["7-8"]
    assert [next(iter(hold)) for hold in entries(found, "holds")] == ["fermata"]
    (slow,) = slowings(found.plan, reading(plan).where)
    assert slow[2] == pytest.approx(0.6, abs=0.02)


def test_arches_are_found_where_they_earn_their_place():
    inside = [{"bars": "1-8", "arch": {"pace": "10%"}}, {"bars": "9-16"}]
    made = reading({"tempo": 100, "phrases": [{"bars": "1-16", "inside": inside}]}, bars=16)
    found = fitted(made)
    assert entries(found, "phrases") == [{"bars": "1-8", "arch": {"pace": "10%"}}]
    assert entries(found, "slowing") == []


def test_a_new_tempo_is_a_tempo_mark():
    found = fitted(reading({"tempo": [{"tempo": 80}, {"at": 9, "tempo": 112}]}, bars=16))
    assert entries(found, "tempo") == [{"tempo": 80}, {"at": "9", "tempo": 112}]
    assert entries(found, "slowing") == []


def test_tempi_are_told_in_beats_as_they_are_felt():
    found = fitted(reading({"tempo": "dotted quarter = 54"}, metre=(6, 8)), 1.5)
    assert entries(found, "tempo") == [{"tempo": "dotted quarter = 54"}]


# -- repeats


def repeated(plan: dict) -> Reading:
    marks = [{"kind": "repeat end", "bar": 7, "offset": 4.0, "value": 2}]
    return reading(plan, score(16, marks=marks))


def test_what_is_played_alike_each_time_is_one_entry_without_a_pass():
    made = repeated({"slowing": [{"rallentando": "7:1 - 8:2", "to": "75%", "then": "a tempo"}]})
    assert len(made.pace.slowings) == 2
    assert entries(fitted(made), "slowing") == [{"rallentando": "7 - 8:2", "to": "75%", "then": "a tempo"}]


def test_what_differs_is_bound_to_its_pass():
    first = {"rallentando": "7 - 8:2", "to": "88%", "then": "a tempo", "pass": 1}
    second = first | {"to": "65%", "pass": 2}
    found = entries(fitted(repeated({"slowing": [first, second]})), "slowing")
    assert sorted(found, key=lambda each: each["pass"]) == [first, second]


# -- the plans of the demo


@pytest.mark.parametrize(("name", "step"), [("low-water-flowing", 0.5), ("umbrella-stand-dancing", 1.0)])
def test_most_slowdowns_of_a_real_plan_come_back(name, step):
    made = load(ROOT / "plans" / f"{name}.yaml")
    found = fitted(made, step)
    mine, beat = slowings(found.plan, made.where), made.where.felt_beat(0.0)
    held = np.array([hold for each in found.entries if each.section == "holds" for hold in (each.end,)] or [-9.0])
    true = [slow for slow in made.pace.slowings if slow.to <= 0.9]
    ends = np.array([end for _, end, _ in mine])
    near = [np.abs(np.append(ends, held) - slow.run.end).min() <= beat + 1e-6 for slow in true]
    assert np.mean(near) >= 0.85
    assert 60 / found.tempo == pytest.approx(60 / made.performance.time.basic(0.0), rel=0.01)
    assert found.explained > 0.97 and found.detail < 0.02
    played = made.performance.time.seconds(np.arange(len(found.predicted)) * step)
    assert np.abs(np.diff(found.predicted - played)).max() < 0.15


def test_beats_and_seconds_of_an_entry_are_those_of_its_place():
    made = reading({"tempo": 60, "slowing": [{"rallentando": "7:1 - 8:2", "to": "70%", "then": "a tempo"}]})
    (slow,) = (each for each in fitted(made).entries if each.section == "slowing")
    assert (slow.start, slow.end) == (24.0, 30.0)
    assert (slow.begins, slow.ends) == tuple(made.performance.time.seconds([24.0, 30.0]))
    assert slow.explains > 0.5 and slow.sure > 0.99 and not slow.about


def test_what_no_entry_says_is_told_by_bars():
    made = reading({"tempo": 60}, bars=32)
    quarters = np.arange(0.0, 129.0)
    length = np.random.default_rng(3).normal(1.0, 0.03, 128)
    length[64:72] *= np.tile([0.86, 1.0], 4)
    found = fit(made, quarters, np.append(0.0, np.cumsum(length)), 0.01)
    for left in found.leftovers:
        assert left.message.endswith("which no entry says") and left.bars in left.message


# -- laws


@st.composite
def slowed(draw) -> list[dict]:
    """Slowdowns at the ends of some four-bar groups of 24 bars."""
    made = []
    for end in range(4, 25, 4):
        if draw(st.booleans()):
            length, beat = draw(st.integers(3, 8)), draw(st.integers(1, 4))
            first = 4 * (end - 1) + beat - length
            made.append(
                {
                    "rallentando": f"{first // 4 + 1}:{first % 4 + 1} - {end}:{beat}",
                    "to": f"{draw(st.integers(50, 88))}%",
                    "then": "a tempo",
                }
            )
    return made


@FEW
@given(slowed(), st.integers(50, 160))
def test_every_slowdown_is_found_within_a_beat_and_three_points(entries, tempo):
    made = reading({"tempo": tempo, "slowing": entries}, bars=24)
    found = fitted(made)
    mine = slowings(found.plan, made.where)
    for slow in made.pace.slowings:
        near = [abs(100 * (to - slow.to)) for _, end, to in mine if abs(end - slow.run.end) <= 1 + 1e-6]
        assert near and min(near) <= 8
    assert found.tempo == pytest.approx(tempo, rel=0.01)


@cache
def one_slowdown():
    """A reading, its beats with their seconds, and what is made of them."""
    made = reading({"tempo": 90, "slowing": [{"rallentando": "7 - 8:2", "to": "70%", "then": "a tempo"}]})
    quarters = np.arange(0.0, 33.0)
    seconds = made.performance.time.seconds(quarters)
    return made, quarters, seconds, fit(made, quarters, seconds, EXACT)


@FEW
@given(st.floats(0.3, 3.0), st.floats(0.0, 100.0))
def test_a_fit_knows_no_clock_and_scales_with_the_tempo(scale, late):
    made, quarters, seconds, one = one_slowdown()
    other = fit(made, quarters, seconds * scale + late, EXACT)
    assert entries(one, "slowing") == entries(other, "slowing")
    assert other.tempo * scale == pytest.approx(one.tempo, rel=0.02)
    assert other.predicted[0] == pytest.approx(seconds[0] * scale + late)


def test_nine_of_ten_slowdowns_are_found_under_noise():
    """With onsets that are 10 ms away from where they belong."""
    found, errors = [], []
    for seed in range(6):
        draw = np.random.default_rng(seed)
        plan = []
        for end in range(4, 33, 4):
            length, beat = int(draw.integers(4, 8)), int(draw.integers(1, 5))
            first = 4 * (end - 1) + beat - length
            where = f"{first // 4 + 1}:{first % 4 + 1} - {end}:{beat}"
            plan.append({"rallentando": where, "to": f"{draw.integers(55, 86)}%", "then": "a tempo"})
        made = reading({"tempo": 80, "slowing": plan}, bars=32)
        mine = slowings(fitted(made, 1.0, 0.01, seed).plan, made.where)
        for slow in made.pace.slowings:
            near = [100 * abs(to - slow.to) for _, end, to in mine if abs(end - slow.run.end) <= 1 + 1e-6]
            found.append(bool(near))
            errors += [min(near)] if near else []
    assert np.mean(found) >= 0.9
    assert np.median(errors) <= 3


def test_what_is_said_is_of_the_entries_that_are_left(monkeypatch):
    """Also where the last round still takes entries out."""
    monkeypatch.setattr("timing.fitting.pruning.TRIES", 1)
    lengths = np.random.default_rng(5).permutation(np.repeat([0.5, 0.55, 0.7, 1.2], 32))
    found = fit(reading({}, bars=32), np.arange(129.0), np.append(0.0, np.cumsum(lengths)), 0.01)
    assert len(entries(found, "slowing")) == len(found.plan.slowing)
    assert len(entries(found, "holds")) == len(found.plan.holds)


# -- what cannot be fitted


@pytest.mark.parametrize(
    ("quarters", "seconds", "said"),
    [
        ([0, 1], [0, 1], "takes 4 to"),
        ([], [], "takes 4 to"),
        ([0, 1, 2, 3], [0, 1, 2], "they go in pairs"),
        ([0, 1, 2, 3], [0, 1, 1, 2], "no later second"),
        ([0, 2, 1, 3], [0, 1, 2, 3], "no later quarter"),
        ([0, 1, 2, 3], [0, 1, float("nan"), 3], "no numbers"),
        ([0, 1, 2, float("inf")], [0, 1, 2, 3], "no numbers"),
        ([0, 1, 2, 99], [0, 1, 2, 3], "outside the performed order"),
        (["a", "b", "c", "d"], [0, 1, 2, 3], "not numbers"),
        ([[0, 1], [2, 3]], [0, 1, 2, 3], "one row"),
        ([0, 1, 2, 3], [0, 1000, 2000, 3000], "a tempo can be"),
        (list(range(32)), [*range(31), 30.0001], "one of them is wrong"),
    ],
)
def test_pairs_that_are_none_are_told_in_words(quarters, seconds, said):
    with pytest.raises(CannotDo) as refused:
        fit(reading(), quarters, seconds)
    (remark,) = refused.value.remarks
    assert said in remark.message and remark.code == "fit-pairs"


@pytest.mark.parametrize("noise", [-1, 2, float("nan"), "10 ms"])
def test_noise_is_a_number_of_seconds(noise):
    with pytest.raises(CannotDo, match="noise"):
        fit(reading(), [0, 1, 2, 3], [0, 1, 2, 3], noise)


@FEW
@given(st.lists(st.floats(0.01, 50.0), min_size=4, max_size=31))
def test_any_rising_pairs_are_fitted_or_refused_in_words(lengths):
    quarters, seconds = np.arange(len(lengths) + 1.0), np.append(0.0, np.cumsum(lengths))
    try:
        found = fit(reading(), quarters, seconds)
    except CannotDo as refused:
        assert refused.remarks
        return
    assert found.predicted.shape == quarters.shape and np.all(np.diff(found.predicted) > 0)
    for each in found.entries:
        assert isinstance(each, FittedEntry) and 0 <= each.explains <= 1 and 0 <= each.sure <= 1


def test_a_part_of_the_music_is_fitted_by_itself():
    made = reading({"tempo": 60, "slowing": [{"rallentando": "7 - 8:2", "to": "70%", "then": "a tempo"}]}, bars=16)
    quarters = beat_quarters(made.where, "beat", 16.0, 48.0)
    found = fit(made, quarters, made.performance.time.seconds(quarters), EXACT)
    assert entries(found, "slowing") == [{"rallentando": "7 - 8:2", "to": "70%", "then": "a tempo"}]
    assert [str(entry.where) for entry in found.standing if hasattr(entry, "to")] == ["7 - 8:2"]


