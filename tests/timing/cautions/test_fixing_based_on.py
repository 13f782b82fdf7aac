"""Mending plans that are based on others: what is theirs is left out or written anew, never changed there."""

from __future__ import annotations

import pytest
from to_mend import MID, PLAN, SLOW, codes, fix, moved, write

from timing.cautions import fixing
from timing.plan.planfile import read_plan
from timing.remarks import CannotDo, Edit, Remark, Severity


def test_an_entry_of_another_plan_is_left_out_and_written_anew(folder, offer):
    offer(MID, moved("8:1 - 8:4"))
    base = write(folder, SLOW.replace("to: 60%", "to: 60%, pass: 1"), "base.yaml")
    before, own = base.read_text(), "based on: base.yaml\n"
    mended = fix(write(folder, own), own)
    assert codes(mended.fixed) == [MID] and mended.remarks == []
    assert mended.text == (
        "based on: base.yaml\n\nslowing:\n  - {rallentando: 6:1 - 6:2, pass: 1, omit: yes}\n"
        "  - {rallentando: 8:1 - 8:4, to: 60%, then: a tempo}\n"
    )
    assert base.read_text() == before
    assert [str(slow.where) for slow in read_plan(write(folder, mended.text)).slowing] == ["8:1 - 8:4"]


def test_an_entry_at_the_same_place_is_laid_over_the_other_plan_s(folder, offer):
    offer("no-return", moved("4:1 - 4:4"))
    write(folder, PLAN + "slowing: [{rallentando: 4:1 - 4:4, to: 60%}]\n", "base.yaml")
    own = "based on: base.yaml\nslowing:\n"
    mended = fix(write(folder, own), own)
    assert codes(mended.fixed) == ["no-return"] and "no-return" not in codes(mended.remarks)
    assert mended.text == own + "  - {rallentando: 4:1 - 4:4, to: 60%, then: a tempo}\n"


def test_where_a_change_takes_long_one_is_tried_and_the_rest_waits(folder, monkeypatch):
    monkeypatch.setattr(fixing, "MOST_SECONDS", 0)
    text = PLAN + "accept:\n" + "".join(f"  - {{code: {MID}, at: {bar}, because: a test}}\n" for bar in (2, 3, 6))
    path = write(folder, text)
    stale = [remark for remark in fix(path, text).refused if remark[0].code == "acceptance-unmatched"]
    assert stale and all("tried at a time: mend again" in why for _, why in stale)
    assert len(fix(path, text).fixed) == 1


def test_an_entry_laid_over_another_plan_s_leaves_that_one_out(folder, offer):
    offer(MID, moved("4:1 - 4:4"))
    write(folder, SLOW, "base.yaml")
    own = "based on: base.yaml\nslowing:\n  - {rallentando: 6:1 - 6:2, to: 50%}  # deeper\n"
    mended = fix(write(folder, own), own)
    assert codes(mended.fixed) == [MID] and codes(mended.remarks) == ["inner-end-slower"]
    assert mended.text == (
        "based on: base.yaml\nslowing:\n  - {rallentando: 6:1 - 6:2, omit: yes}  # deeper\n"
        "  - {rallentando: 4:1 - 4:4, to: 60%, then: a tempo}\n"
    )


def test_what_cannot_be_meant_from_here_is_said_to_stand_there(folder, offer):
    offer(MID, lambda reading: [Edit("score", None, reading.plan.place("score"))])
    write(folder, SLOW, "base.yaml")
    own = "based on: base.yaml\n"
    mended = fix(write(folder, own), own)
    assert mended.text == own and mended.refused[0][1] == "the entry stands in base.yaml: change it there"


def test_a_phrase_inside_one_of_another_plan_is_changed_by_the_outer_one(folder, offer):
    def inner(reading):
        first, second = reading.plan.phrases[0].inside
        return [Edit("phrases", "1 - 6:2", first.place()), Edit("phrases", "6:3 - 8", second.place())]

    offer(MID, inner)
    write(folder, SLOW, "base.yaml")
    own = "based on: base.yaml\n"
    mended = fix(write(folder, own), own)
    assert mended.text == own + "\nphrases:\n  - {bars: 1-8, inside: [1 - 6:2, 6:3 - 8]}\n"
    assert [str(inner.bars) for inner in mended.reading.plan.phrases[0].inside] == ["1 - 6:2", "6:3 - 8"]


@pytest.mark.parametrize("tempo", ["[60, {at: 5, tempo: 66}]", "60"])
def test_a_tempo_of_another_plan_is_replaced_with_all_the_others_of_its_list(folder, monkeypatch, tempo):
    def told(reading, sound=None):
        mark = reading.plan.tempo[0]
        bare = Remark(Severity.ADVICE, "bare", "x", fix=(Edit("tempo", "quarter = 60", mark.place("tempo")),))
        return [bare] if "=" not in str((mark.source or {}).get("tempo")) else []

    monkeypatch.setattr(fixing, "check", told)
    write(folder, PLAN.replace("tempo: 60", f"tempo: {tempo}"), "base.yaml")
    own = "based on: base.yaml\n"
    mended = fix(write(folder, own), own)
    if tempo == "60":
        assert mended.text == own + "\ntempo: quarter = 60\n" and mended.remarks == []
    else:
        assert mended.text == own + "\ntempo: [quarter = 60, {at: 5, tempo: 66}]\n" and mended.remarks == []


def test_nothing_of_another_plan_is_hidden_by_what_is_added(folder, monkeypatch):
    def told(reading, sound=None):
        there = isinstance(reading.plan.instrument, dict)
        return [] if there else [Remark(Severity.ADVICE, "drum", "x", fix=(Edit("instrument", "{Piano: woodblock}"),))]

    monkeypatch.setattr(fixing, "check", told)
    write(folder, PLAN + "instrument: violin\n", "base.yaml")
    own = "based on: base.yaml\n"
    mended = fix(write(folder, own), own)
    assert mended.text == own and mended.refused[0][1] == "the entry stands in base.yaml: change it there"


@pytest.mark.parametrize(
    ("base", "own", "after"),
    [
        ("accents: [{at: 2}]\n", "", "\naccents:\n  - {at: 5}\n"),  # entries of a section add up
        ("", "", "\naccents:\n  - {at: 5}\n"),
        ("", "accents: [{at: 2}]\n", None),
    ],
)
def test_an_entry_is_added_beside_those_of_another_plan(folder, monkeypatch, base, own, after):
    def told(reading, sound=None):
        there = any(str(each.at) == "5" for each in reading.plan.accents)
        return [] if there else [Remark(Severity.ADVICE, "soft", "x", fix=(Edit("accents", "{at: 5}"),))]

    monkeypatch.setattr(fixing, "check", told)
    write(folder, PLAN + base, "base.yaml")
    text = "based on: base.yaml\n" + own
    mended = fix(write(folder, text), text)
    assert codes(mended.fixed) == ["soft"] and mended.refused == []
    accents = [str(each.at) for each in mended.reading.plan.accents]
    assert accents == (["2", "5"] if base or own else ["5"])
    assert after is None or mended.text == text + after


@pytest.mark.parametrize(
    ("base", "own"),
    [
        ("", "voices: {bass: -2 dB}\n"),  # its own
        ("voices: {bass: -2 dB}\n", ""),
        ("voices: {bass: -2 dB}\n", "voices: {inner: -2 dB}\n"),
        ("", ""),
    ],
)
def test_a_voice_is_added_beside_those_of_another_plan(folder, monkeypatch, base, own):
    def told(reading, sound=None):
        new = (Edit("voices", "{melody: 1 dB}"),)
        return [] if "melody" in reading.plan.voices else [Remark(Severity.ADVICE, "soft", "x", fix=new)]

    monkeypatch.setattr(fixing, "check", told)
    write(folder, PLAN + base, "base.yaml")
    text = "based on: base.yaml\n" + own
    mended = fix(write(folder, text), text)
    assert codes(mended.fixed) == ["soft"] and mended.refused == []
    assert ("bass" in mended.reading.plan.voices) is ("bass" in base + own)


@pytest.mark.parametrize(
    ("base", "own", "kept"), [("", "instrument: violin\n", True), ("instrument: violin\n", "", False)]
)
def test_only_the_plan_s_own_instrument_gives_way_to_another(folder, monkeypatch, base, own, kept):
    def told(reading, sound=None):
        new = (Edit("instrument", "{Piano: woodblock}"),)
        return [Remark(Severity.ADVICE, "drum", "x", fix=new)] * (reading.plan.instrument == "violin")

    monkeypatch.setattr(fixing, "check", told)
    write(folder, PLAN + base, "base.yaml")
    text = "based on: base.yaml\n" + own
    mended = fix(write(folder, text), text)
    assert codes(mended.fixed) == ["drum"] * kept and bool(mended.refused) is not kept
    assert mended.reading.plan.instrument == ({"Piano": "woodblock"} if kept else "violin")


def test_of_the_second_time_an_entry_of_another_plan_is_written_anew(folder, monkeypatch):
    def told(reading, sound=None):
        (entry,) = reading.plan.second_time
        new = (Edit("second time", "{bars: 1-4, louder: 2 dB}", entry.place()),)
        return [Remark(Severity.ADVICE, "same", "x", fix=new)] if entry.softer else []

    monkeypatch.setattr(fixing, "check", told)
    write(folder, PLAN + "order: [1-8, 1-8]\nsecond time: [{bars: 5-8, softer: 3 dB}]\n", "base.yaml")
    own = "based on: base.yaml\n"
    mended = fix(write(folder, own), own)
    assert codes(mended.fixed) == ["same"]
    assert mended.text == (
        "based on: base.yaml\n\nsecond time:\n  - {bars: 5-8, omit: yes}\n  - {bars: 1-4, louder: 2 dB}\n"
    )


def test_an_entry_of_another_plan_can_be_left_out(folder, offer):
    offer(MID, lambda reading: [Edit("slowing", None, slow.place()) for slow in reading.plan.slowing])
    write(folder, SLOW, "base.yaml")
    own = "based on: base.yaml\n"
    mended = fix(write(folder, own), own)
    assert codes(mended.fixed) == [MID] and mended.remarks == []
    assert mended.text == own + "\nslowing:\n  - {rallentando: 6:1 - 6:2, omit: yes}\n"


def test_a_plan_that_cannot_be_read_is_refused_with_all_its_faults(folder):
    with pytest.raises(CannotDo) as refused:
        fix(folder / "plan.yaml", PLAN + "slowng: []\naccents: [{at: 0:0}]\n")
    assert len(refused.value.remarks) == 2
