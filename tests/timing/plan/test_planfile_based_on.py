"""Plans that start from another and say only what differs."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from planfiles import SCORE, faults, faults_of, plan_of, write

from soundfonts.banks import checked_bank
from timing.loading import load
from timing.plan import Plan
from timing.plan.planfile import MAX_CHAIN, read_plan
from timing.remarks import CannotDo


def chain(folder: Path, **texts: str) -> Plan:
    for name, text in texts.items():
        write(folder, text, f"{name}.yaml")
    return read_plan(folder / "own.yaml")


def test_a_plan_based_on_another_says_only_what_differs(tmp_path):
    (tmp_path / "sub").mkdir()
    write(
        tmp_path / "sub",
        SCORE + "title: old\ntempo: 60\nvoices: {bass: -3 dB, inner: -9 dB}\naccents: [{at: 1}]",
        "base.yaml",
    )
    plan = chain(tmp_path, own="based on: sub/base.yaml\ntitle: new\nvoices: {bass: 0 dB}\naccents: [{at: 2}]")
    assert plan.title == "new"
    assert plan.tempo[0].tempo == 60
    assert plan.voices["bass"].level == 0
    assert plan.voices["inner"].level == -9
    assert [str(accent.at) for accent in plan.accents] == ["1", "2"]
    assert plan.score == str(tmp_path / "sub" / "piece.musicxml")


def test_an_entry_at_the_same_place_is_laid_over_the_older_one(tmp_path):
    plan = chain(
        tmp_path,
        base=SCORE + "slowing: [{rallentando: 7:2 - 8:3, to: 80%, then: a tempo, pass: 1}, {ritenuto: 9, to: 70%}]",
        own="based on: base.yaml\nslowing: [{rallentando: 7:2-8:3, to: 60%, pass: 1}]",
    )
    assert [(entry.kind, entry.to, entry.then) for entry in plan.slowing] == [
        ("rallentando", 0.6, True),
        ("ritenuto", 0.7, None),
    ]


def test_another_pass_is_another_entry(tmp_path):
    plan = chain(
        tmp_path,
        base=SCORE + "slowing: [{rallentando: 7, to: 80%, pass: 1}]",
        own="based on: base.yaml\nslowing: [{rallentando: 7, to: 60%, pass: 2}]",
    )
    assert [(entry.passes, entry.to) for entry in plan.slowing] == [(1, 0.8), (2, 0.6)]


def test_a_slide_is_known_by_both_its_ends(tmp_path):
    plan = chain(
        tmp_path,
        base=SCORE + "glissandi: [{from: 3:1, to: 4:1, swell: 4 dB}, {from: 3:1, to: 5:1}]",
        own="based on: base.yaml\nglissandi: [{from: 3:1, to: 4:1, glide: 50%}]",
    )
    assert [(slide.glide, slide.swell) for slide in plan.glissandi] == [(0.5, 4), (0.3, 0)]


@pytest.mark.parametrize("omit", ["yes", "true"])
def test_omit_takes_an_older_entry_out(tmp_path, omit):
    plan = chain(
        tmp_path,
        base=SCORE + "holds: [{fermata: 24:3}, {breath: after 16:3}]\naccents: [{at: 1}]",
        own=f"based on: base.yaml\nholds: [{{breath: 16:3, omit: {omit}}}]",
    )
    assert [hold.kind for hold in plan.holds] == ["fermata"]
    assert len(plan.accents) == 1


def test_without_takes_whole_sections_out(tmp_path):
    base = SCORE + "order: [1-8]\nholds: [{fermata: 24:3}]\naccents: [{at: 1}]"
    plan = chain(tmp_path, base=base, own="based on: base.yaml\nwithout: [holds, order]\nholds: [{fermata: 3:1}]")
    assert [str(hold.where) for hold in plan.holds] == ["3:1"]
    assert plan.order is None
    assert len(plan.accents) == 1
    assert chain(tmp_path, base=base, own="based on: base.yaml\nwithout: accents").accents == ()


def test_without_in_the_older_plan_does_not_reach_further(tmp_path):
    plan = chain(
        tmp_path,
        first=SCORE + "accents: [{at: 1}]",
        base="based on: first.yaml\nwithout: accents\naccents: [{at: 2}]",
        own="based on: base.yaml",
    )
    assert [str(accent.at) for accent in plan.accents] == ["2"]


def test_a_fault_in_an_older_plan_names_that_file_and_line(tmp_path):
    write(tmp_path, SCORE + "slowing:\n  - {rallentando: 7, to: 500%}\n", "base.yaml")
    found = faults(tmp_path, "based on: base.yaml\ntitel: x\ntempo: 0")
    assert [(fault.place.file.name, fault.place.line) for fault in found] == [
        ("plan.yaml", 2),
        ("plan.yaml", 3),
        ("base.yaml", 3),
    ]


def test_an_unreadable_older_plan_is_told_with_the_plan_s_own_faults(tmp_path):
    write(tmp_path, "a: [", "base.yaml")
    found = faults(tmp_path, "based on: base.yaml\ntempo: 0\ntempo: 1")
    assert [fault.place.file.name for fault in found] == ["plan.yaml", "plan.yaml", "base.yaml"]


def test_circles_are_named(tmp_path):
    assert "plan.yaml is based on itself" in faults(tmp_path, "based on: plan.yaml")[0].message
    write(tmp_path, "based on: b.yaml", "a.yaml")
    write(tmp_path, "based on: plan.yaml", "b.yaml")
    found = faults(tmp_path, "based on: a.yaml")
    assert [fault.code for fault in found] == ["plan-circle"]
    assert "plan.yaml is based on a.yaml is based on b.yaml is based on plan.yaml" in found[0].message
    assert (found[0].place.file.name, found[0].place.line) == ("b.yaml", 1)


@pytest.mark.skipif(os.name == "nt", reason="needs links")
def test_a_circle_through_another_name_of_a_plan_is_said(tmp_path):
    write(tmp_path, "based on: b.yaml", "a.yaml")
    (tmp_path / "alias.yaml").symlink_to("a.yaml")
    write(tmp_path, "based on: alias.yaml", "b.yaml")
    (fault,) = faults_of(tmp_path / "a.yaml")
    assert fault.code == "plan-circle"
    said = "this goes in a circle: a.yaml is based on b.yaml is based on alias.yaml, which is a.yaml by another name"
    assert fault.message == said
    write(tmp_path, "based on: alias.yaml", "a.yaml")
    (fault,) = faults_of(tmp_path / "a.yaml")
    assert fault.message.endswith("a.yaml is based on alias.yaml, which is a.yaml by another name")


def test_in_a_circle_of_plans_with_one_name_their_folders_are_said(tmp_path):
    for folder, other in (("one", "two"), ("two", "one")):
        (tmp_path / folder).mkdir()
        write(tmp_path / folder, f"based on: ../{other}/plan.yaml", "plan.yaml")
    (fault,) = faults_of(tmp_path / "one" / "plan.yaml")
    assert fault.message.count("one") >= 2 and "two" in fault.message


@pytest.mark.skipif(os.name == "nt", reason="needs links")
def test_links_that_lead_in_a_circle_are_told_as_such(tmp_path):
    (tmp_path / "one.yaml").symlink_to("two.yaml")
    (tmp_path / "two.yaml").symlink_to("one.yaml")
    (tmp_path / "piece.musicxml").symlink_to("piece.musicxml")
    said = "is a link that leads in a circle, with no file at its end"
    (fault,) = faults_of(tmp_path / "one.yaml")
    assert fault.code == "no-plan" and said in fault.message
    (fault,) = faults(tmp_path, "based on: one.yaml")
    assert (fault.code, fault.message, fault.place.line) == ("plan-circle", f"'one.yaml' {said}", 1)
    write(tmp_path, SCORE, "plan.yaml")
    with pytest.raises(CannotDo, match=f"the score piece.musicxml {said}"):
        load(tmp_path / "plan.yaml")
    with pytest.raises(CannotDo, match=said):
        checked_bank(tmp_path / "one.yaml")


def test_a_plan_knows_all_files_that_it_was_read_from(tmp_path):
    plan = chain(tmp_path, first=SCORE, base="based on: first.yaml", own="based on: base.yaml\ntempo: 60")
    assert [file.name for file in plan.files] == ["own.yaml", "base.yaml", "first.yaml"]
    assert plan.model_copy(update={"title": "other"}).files == plan.files
    assert Plan(score="piece.musicxml").files == ()


def test_a_chain_has_an_end(tmp_path):
    write(tmp_path, SCORE, "0.yaml")
    for number in range(1, MAX_CHAIN + 2):
        write(tmp_path, f"based on: {number - 1}.yaml", f"{number}.yaml")
    assert read_plan(tmp_path / f"{MAX_CHAIN}.yaml").score
    assert "based on one another" in faults_of(tmp_path / f"{MAX_CHAIN + 1}.yaml")[0].message


@pytest.mark.parametrize(
    "name", ["bse.yaml", "no/where.yaml", "'a\\0b'", "''", "[a]", "x" * 400, '"\\uD83D\\uDE00.yaml"', "."]
)
def test_a_missing_older_plan_is_a_fault_at_its_name(tmp_path, name):
    write(tmp_path, SCORE, "base.yaml")
    found = faults(tmp_path, f"based on: {name}\n")
    assert found[0].place.line == 1
    assert ("did you mean 'base.yaml'?" in found[0].message) == (name == "bse.yaml")


def test_a_folder_full_of_entries_in_common_is_joined_quickly(tmp_path):
    entries = "".join(f"  - {{at: {n}:1}}\n" for n in range(1, 4001))
    plan = chain(tmp_path, base=f"{SCORE}accents:\n{entries}", own=f"based on: base.yaml\naccents:\n{entries}")
    assert len(plan.accents) == 4000


def test_a_newer_entry_replaces_what_excludes_it(tmp_path):
    base = "score: x.xml\nsecond time: [{bars: 1-8, softer: 3 dB}]\ndynamics: [{crescendo: 1-2, to mark: f}]\n"
    (tmp_path / "base.yaml").write_text(base)
    own = "based on: base.yaml\nsecond time: [{bars: 1-8, louder: 2 dB}]\ndynamics: [{crescendo: 1-2, by: 3 dB}]\n"
    (tmp_path / "own.yaml").write_text(own)
    plan = read_plan(tmp_path / "own.yaml")
    assert (plan.second_time[0].softer, plan.second_time[0].louder) == (None, 2.0)
    assert (plan.dynamics[0].to_mark, plan.dynamics[0].by) == (None, 3.0)


@pytest.mark.parametrize(
    ("place", "older", "newer"),
    [
        ("bars: 5-8, for: melody", "late: 40 ms", "early: 60 ms"),
        ("bars: 5-8, for: melody", "early: 60 ms", "late: 40 ms"),
        ("bars: 5-8", "hurry: 8%", "linger: 5%"),
        ("bars: 5-8", "linger: 5%", "hurry: 8%"),
    ],
)
def test_a_rubato_the_other_way_takes_the_place_of_the_older_one(place, older, newer, tmp_path):
    base = f"{SCORE}rubato: [{{{place}, {older}}}, {{bars: 5-8, long short: 1.6}}]"
    own = f"based on: base.yaml\nrubato: [{{{place}, {newer}}}]"
    first, second = chain(tmp_path, base=base, own=own).rubato
    (alone,) = plan_of(tmp_path, f"rubato: [{{{place}, {newer}}}]").rubato
    assert first == alone and second.long_short == 1.6


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="there are no pipes with names on this system")
@pytest.mark.parametrize(("make", "what"), [("mkdir", "a folder, not a plan"), ("mkfifo", "not an ordinary file")])
def test_what_is_there_and_is_no_plan_is_called_what_it_is(make, what, tmp_path):
    getattr(os, make)(tmp_path / "quiet.yaml")
    (fault,) = faults(tmp_path, "based on: quiet.yaml\n")
    assert (fault.message, fault.suggestion) == (f"'quiet.yaml' is {what}", None)


def test_a_phrase_that_is_its_bars_alone_is_the_one_at_its_place(tmp_path):
    write(tmp_path, SCORE + "phrases: [1-8, 9-16, {bars: 17-24, name: end}]\n", "base.yaml")
    own = "based on: base.yaml\nphrases:\n  - 1-8\n  - {bars: 9-16, omit: yes}\n  - {bars: 17-24, arch: 6%}\n"
    plan = read_plan(write(tmp_path, own))
    assert [(str(each.bars), each.name) for each in plan.phrases] == [("1-8", None), ("17-24", "end")]
