"""Changes of a plan that is based on another one: laid over, left out and written anew, or said to stand there."""

from __future__ import annotations

import pytest
from gestures import at, refused, sitting
from house import PLANS

from timing.changing.entries import entries

BASE = f"""\
score: {PLANS / 'umbrella-stand.musicxml'}
title: Quiet
tempo: [120, {{at: 17, tempo: 100}}]
instrument: piano
voices: {{bass: -3 dB, inner: -6 dB}}
phrases:
  - {{bars: 1-16, name: waltz, inside: [1-8, 9-16]}}
  - 17-28
slowing:
  - {{rallentando: 7:1 - 8:1, to: 80%, then: a tempo}}
  - {{ritenuto: 15:1 - 16:1, to: 70%}}
"""
OWN = "based on: base.yaml  # the quiet one\ntitle: Brisk\n"


@pytest.fixture
def plan(tmp_path):
    (tmp_path / "base.yaml").write_text(BASE)
    return sitting(tmp_path, OWN)


def after(plan, base=BASE):
    assert (plan.path.parent / "base.yaml").read_text() == base, "the other file is never touched"
    return plan.text.removeprefix(OWN)


def change(plan, section, words, what, **more):
    plan.make({"what": what, **at(plan.entry(section, words)), **more})
    return after(plan)


def test_entries_say_in_which_plan_they_stand(plan):
    files = {(each.section, each.words): each.file for each in entries(plan.reading)}
    assert files["title", "title: Brisk"] is None
    assert files["slowing", "rallentando 7:1 - 8:1, to 80%, then a tempo"] == "base.yaml"


def test_an_older_entry_is_laid_over_where_only_how_much_changes(plan):
    text = change(plan, "slowing", "rallentando", "depth", to=0.7)
    assert text == "\nslowing:\n  - {rallentando: 7:1 - 8:1, to: 70%, then: a tempo}\n"
    text = change(plan, "slowing", "rallentando", "depth", to=0.6)
    assert text == "\nslowing:\n  - {rallentando: 7:1 - 8:1, to: 60%, then: a tempo}\n"
    assert [str(each.where) for each in plan.reading.plan.slowing if not each.printed] == ["7:1 - 8:1", "15:1 - 16:1"]


def test_an_older_entry_that_moves_is_left_out_and_written_anew(plan):
    to = {"row": 6, "offset": 3.0, "pass": None}
    text = change(plan, "slowing", "rallentando", "move", end="end", to=to)
    assert text == (
        "\nslowing:\n  - {rallentando: 7:1 - 8:1, omit: yes}\n  - {rallentando: 7:1 - 7:3, to: 80%, then: a tempo}\n"
    )
    assert [str(each.where) for each in plan.reading.plan.slowing if not each.printed] == ["15:1 - 16:1", "7:1 - 7:3"]


def test_an_older_entry_is_left_out(plan):
    assert change(plan, "slowing", "ritenuto", "remove") == "\nslowing:\n  - {ritenuto: 15:1 - 16:1, omit: yes}\n"


def test_an_entry_of_one_s_own_that_lies_over_an_older_one_does_not_let_it_show_again(tmp_path):
    (tmp_path / "base.yaml").write_text(BASE)
    plan = sitting(tmp_path, OWN + "slowing:\n  - {rallentando: 7:1 - 8:1, to: 70%}  # less\n")
    to = {"row": 5, "offset": 0.0, "pass": None}
    change(plan, "slowing", "rallentando", "move", end="start", to=to)
    assert [str(each.where) for each in plan.reading.plan.slowing if not each.printed] == ["15:1 - 16:1", "6:1 - 8:1"]
    plan = sitting(tmp_path, OWN + "slowing:\n  - {rallentando: 7:1 - 8:1, to: 70%}  # less\n")
    assert change(plan, "slowing", "rallentando", "depth", to=0.6) == (
        "slowing:\n  - {rallentando: 7:1 - 8:1, to: 60%}  # less\n"
    ), "what the older one says goes without saying"
    change(plan, "slowing", "rallentando", "remove")
    assert [each.kind for each in plan.reading.plan.slowing if not each.printed] == ["ritenuto"]


def test_an_older_phrase_moves_with_its_neighbours_and_those_inside(plan):
    change(plan, "phrases", "phrase 17-28", "move", end="start", to={"row": 15, "offset": 0.0, "pass": None})
    phrases = {str(each.bars): [str(inner.bars) for inner in each.inside] for each in plan.reading.plan.phrases}
    assert phrases == {"1-15": ["1-8", "9-15"], "16-28": []}


def test_a_phrase_inside_an_older_one_moves(plan):
    text = change(plan, "phrases", "phrase 1-8", "move", end="end", to={"row": 6, "offset": 3.0, "pass": None})
    assert text == "\nphrases:\n  - {bars: 1-16, name: waltz, inside: [1-7, 8-16]}\n"


def test_voices_settings_and_tempi_of_the_older_plan(plan):
    assert change(plan, "voices", "bass", "settings", keys={"level": "-1 dB"}) == "\nvoices: {bass: -1 dB}\n"
    text = change(plan, "instrument", "instrument", "settings", keys={"instrument": "harp"})
    assert text.endswith("instrument: harp\n")
    text = change(plan, "tempo", "tempo 100", "settings", keys={"tempo": 90})
    assert text.endswith("\ntempo: [120, {at: 17, tempo: 90}]\n")
    assert plan.reading.plan.voices["inner"].level == -6


@pytest.mark.parametrize(
    ("section", "words", "asked"),
    [
        ("instrument", "instrument", {"what": "settings", "keys": {"instrument": None}}),
        ("voices", "bass", {"what": "remove"}),
    ],
)
def test_what_cannot_be_said_from_here_is_said_to_stand_there(plan, section, words, asked):
    given = asked | at(plan.entry(section, words))
    assert "base.yaml: change it there" in refused(given, plan.reading, plan.text)
    assert after(plan) == ""


def test_a_setting_of_one_s_own_that_hides_an_older_one_is_not_taken_out_unseen(plan):
    given = {"what": "settings", **at(plan.entry("title", "title")), "keys": {"title": None}}
    assert "would show again" in refused(given, plan.reading, plan.text)


def test_ways_to_play_one_passage_are_told_apart_by_their_names(tmp_path):
    low_water = PLANS / "low-water.musicxml"
    (tmp_path / "base.yaml").write_text(
        f"score: {low_water}\ntempo: 60\nstrings:\n"
        "  - {bars: 17-18, name: high, position: 8}\n  - {bars: 17-18, name: low, position: 3}\n"
    )
    plan = sitting(tmp_path, OWN)
    text = change_(plan, "strings 17-18 (high)", keys={"position": 7})
    assert text == "\nstrings:\n  - {bars: 17-18, name: high, position: 7}\n"
    positions = {each.name: each.position for each in plan.reading.plan.strings if each.name}
    assert positions == {"high": 7, "low": 3}


def change_(plan, words, **more):
    plan.make({"what": "settings", **at(plan.entry("strings", words)), **more})
    return plan.text.removeprefix(OWN)
