"""The hairpins of the score: to which level they lead."""

from __future__ import annotations

import pytest
from marked import dynamic, fates, hairpin, levels, made, sign

from timing.marks.uses import Fate


def test_a_hairpin_to_nothing_and_one_from_there():
    to = hairpin(-1, 1, 1, 3, 1, text="niente")
    assert levels(made(dynamic("f", 1), to, dynamic("p", 3)), 0, 4, 7.0, 8) == [-8, -18, -25.5, -20]
    words = sign("words", 2, text="dim. al niente", end_bar=3, end_offset=0.0)
    assert levels(made(words), 4, 12, 31) == [-12, -28, -28]
    rising = hairpin(1, 2, 1, 4, 1, text="niente")
    assert levels(made(dynamic("f", 1), rising, dynamic("p", 4)), 3, 4, 8, 12) == [-8, -28, -24, -20]
    assert levels(made(rising), 4, 12) == [-28, -24]


def test_a_hairpin_arrives_at_the_dynamic_at_its_end():
    assert levels(made(dynamic("p", 1), hairpin(1, 1, 1, 3, 1), dynamic("f", 3)), 0, 4, 8) == [-20, -14, -8]
    assert levels(made(dynamic("f", 1), hairpin(-1, 1, 1, 3, 1), dynamic("pp", 3)), 4, 8) == [-16, -24]


def test_a_dynamic_within_a_bar_is_the_hairpin_s_goal():
    assert levels(made(dynamic("p", 1), hairpin(1, 1, 1, 2, 1), dynamic("f", 2, 4)), 2, 4, 7) == [-14, -8, -8]
    assert levels(made(dynamic("p", 1), hairpin(1, 1, 1, 2, 1), dynamic("f", 3, 2)), 4, 8, 9) == [-16, -16, -8]


def test_a_dynamic_inside_a_hairpin_ends_it():
    assert levels(made(dynamic("p", 1), hairpin(1, 1, 1, 3, 3), dynamic("f", 3)), 4, 8, 9) == [-14, -8, -8]


def test_a_hairpin_without_a_goal_is_one_dynamic():
    assert levels(made(dynamic("p", 1), hairpin(1, 2, 1, 3, 1)), 4, 6, 8, 20) == [-20, -18, -16, -16]
    played = made(dynamic("p", 1), hairpin(1, 1, 1, 2, 1), hairpin(-1, 2, 1, 3, 1), dynamic("p", 3))
    assert levels(played, 0, 4, 8) == [-20, -16, -20]


def test_a_sudden_piano_after_a_crescendo():
    assert levels(made(dynamic("mf", 1), hairpin(1, 1, 1, 2, 1), dynamic("p", 2)), 2, 3, 4) == [-10, -9, -20]


def test_a_hairpin_leads_into_what_the_plan_says():
    plan = {"dynamics": [{"at": 3, "mark": "ff"}]}
    played = made(dynamic("p", 1), hairpin(1, 2, 1, 3, 1), dynamic("mf", 3), plan=plan)
    assert levels(played, 4, 6, 8) == [-20, -12, -4] and fates(played) == [Fate.USED, Fate.USED, Fate.OVERRIDDEN]


@pytest.mark.parametrize(
    ("mark", "quarters", "expected"),
    [
        (dynamic("f", 3), (2, 4, 8), [-14, -8, -8]),  # a bar after the hairpin's end: its goal
        (dynamic("f", 3, 1.5), (2, 4, 9), [-18, -16, -8]),  # later: the hairpin is one dynamic, and then it is f
    ],
)
def test_a_bar_after_a_hairpin_is_as_far_away_as_its_goal_may_be(mark, quarters, expected):
    assert levels(made(dynamic("p", 1), hairpin(1, 1, 1, 2, 1), mark), *quarters) == expected


@pytest.mark.parametrize(("at", "goal"), [("2:1", -8), ("2:4", -8), ("3:1", -8), ("3:2", -16), ("3:3", -16)])
def test_of_the_plan_s_dynamics_too_the_goal_is_within_a_bar(at, goal):
    plan = {"dynamics": [{"at": at, "mark": "f"}]}
    assert levels(made(dynamic("p", 1), hairpin(1, 1, 1, 2, 1), plan=plan), 2, 4) == [(-20 + goal) / 2, goal]


@pytest.mark.parametrize(
    ("printed", "planned", "goal"), [((2, 3), "3:1", -4), ((3, 1), "2:3", -8), ((2, 3), "2:3", -8), ((2, 2), "2:3", -8)]
)
def test_of_two_goals_the_nearer_one_counts(printed, planned, goal):
    """Whichever of score and plan has it; of two in one bar the plan's."""
    plan = {"dynamics": [{"at": planned, "mark": "f"}]}
    played = made(dynamic("p", 1), hairpin(1, 1, 1, 2, 1), dynamic("ff", *printed), plan=plan)
    assert levels(played, 2) == [(-20 + goal) / 2]


def test_a_dynamic_after_the_next_hairpin_is_not_the_goal_of_the_first():
    marks = [dynamic("p", 1), hairpin(1, 1, 1, 2, 1), hairpin(1, 2, 2, 2, 3), dynamic("ff", 2, 3)]
    assert levels(made(*marks), 2, 4, 5, 6) == [-18, -16, -16, -4]
