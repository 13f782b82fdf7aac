"""Mending by what remarks offer: a change is kept only if its remark is gone, nothing new has come, all reads back."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import pytest
from to_mend import MID, PLAN, SLOW, codes, fix, moved, write

from timing.cautions import check, fixing
from timing.remarks import Edit, Remark, Severity


def test_a_change_that_mends_is_kept(folder, offer):
    offer(MID, moved("8:1 - 8:4", why="a test"))
    path = write(folder, SLOW)
    mended = fix(path, SLOW)
    assert codes(mended.fixed) == [MID] and mended.refused == [] and mended.remarks == []
    assert mended.text == SLOW.replace("6:1 - 6:2", "8:1 - 8:4").replace('"a, test"', "a test")
    assert path.read_text() == SLOW  # nothing is written
    assert str(mended.reading.plan.slowing[0].where) == "8:1 - 8:4"


def test_advice_is_left_to_the_musician(folder):
    slowing = "slowing:\n  - {rallentando: 4:1 - 4:3, to: 70%, then: a tempo}\n  - {ritenuto: 7:1 - 8:4, to: 88%}\n"
    path, text = write(folder, PLAN + slowing), PLAN + slowing
    assert codes(check(fix(path, text).reading)) == []
    mended = fixing.fix(path, text)
    assert mended.text == text and codes(mended.remarks) == ["inner-end-slower"] and mended.refused == []
    chosen = fixing.fix(path, text, wanted=lambda remark: remark.code == "inner-end-slower")
    assert codes(chosen.fixed) == ["inner-end-slower"]


def test_a_sentence_keeps_its_small_slowing(folder):
    """A little at bar 4 of 2 + 2 + 4 is what a musician meant."""
    text = PLAN.replace("[1-4, 5-8]", "[1-2, 3-4, 5-8]")
    text += "slowing:\n  - {rallentando: 4:1 - 4:3, to: 88%, then: a tempo}\n  - {ritenuto: 7:1 - 8:4, to: 70%}\n"
    mended = fix(write(folder, text), text)
    assert mended.text == text and mended.remarks == [] and mended.fixed == []


def test_mending_twice_is_mending_once(folder, offer):
    offer(MID, moved("8:1 - 8:4"))
    once = fix(write(folder, SLOW), SLOW)
    twice = fix(write(folder, once.text), once.text)
    assert twice.text == once.text and twice.fixed == [] and twice.remarks == once.remarks


@pytest.mark.parametrize(
    ("edits", "why"),
    [
        (moved("5:1 - 6:2"), "would not be enough"),
        (moved("2:1 - 2:2"), "would bring slowing-mid-phrase in bar 2"),
        (moved("9:1 - 9:4"), "the score ends at bar 8"),
        (moved("8:1 - 8:4", to="0%"), "out of range"),
        (lambda reading: [Edit("slowing", "{rallentando: 8", reading.plan.slowing[0].place())], "does not fit"),
        (lambda reading: [Edit("holds", "{fermata: 2:1}")], "would not be enough"),
    ],
)
def test_a_change_that_does_not_mend_is_left(folder, offer, edits, why):
    offer(MID, edits)
    mended = fix(write(folder, SLOW), SLOW)
    assert mended.text == SLOW and mended.fixed == [] and codes(mended.remarks) == [MID]
    ((remark, said),) = mended.refused
    assert remark.code == MID and why in said


def test_advice_may_come_in_place_of_a_caution_and_only_so(folder, offer, monkeypatch):
    """Slowed at the end of the inner phrase: less slowed, the larger one has nothing to be judged by."""
    offer(MID, moved("4:1 - 4:4"))
    mended = fix(write(folder, SLOW), SLOW)
    assert codes(mended.fixed) == [MID]
    assert [(r.code, r.severity) for r in mended.remarks] == [("inner-end-slower", Severity.ADVICE)]
    told = fixing.check
    milder = {Severity.CAUTION: Severity.ADVICE}
    monkeypatch.setattr(fixing, "check", lambda *each: [replace(r, severity=milder.get(r.severity, r.severity))
                                                        for r in told(*each)])  # fmt: skip
    mended = fix(write(folder, SLOW), SLOW)
    assert mended.fixed == [] and "would bring inner-end-slower" in mended.refused[0][1]


def test_all_changes_of_a_remark_go_together(folder, offer):
    def both(reading):
        return [*moved("8:1 - 8:4")(reading), Edit("holds", "{fermata: 8:4}")] if not reading.plan.holds else ()

    offer(MID, both)
    mended = fix(write(folder, SLOW), SLOW)
    assert mended.text.endswith("  # hard\n\nholds:\n  - {fermata: 8:4}\n") and mended.remarks == []


def test_a_change_waits_for_the_one_that_makes_it_possible(folder, offer, monkeypatch):
    """The first remark's change brings a caution until the second one is mended."""
    text = PLAN + "slowing:\n  - {rallentando: 6:1 - 6:2, to: 60%, then: a tempo}\naccents: [{at: 2}, {at: 3}]\n"

    def told(reading, sound=None):
        accents, mid = reading.plan.accents, reading.plan.slowing[0].where.start.bar == "6"
        made = []
        if mid:
            made.append(Remark(Severity.CAUTION, "first", "x", fix=tuple(moved("8:1 - 8:4")(reading))))
        elif accents:
            made.append(Remark(Severity.CAUTION, "clash", "x"))
        made += [
            Remark(Severity.ADVICE, "second", "x", bar_name=str(each.at), fix=(Edit("accents", None, each.place()),))
            for each in accents
        ]
        return made

    monkeypatch.setattr(fixing, "check", told)
    mended = fix(write(folder, text), text)
    assert codes(mended.fixed) == ["second", "second", "first"] and mended.remarks == [] and mended.refused == []
    assert mended.text.endswith("{rallentando: 8:1 - 8:4, to: 60%, then: a tempo}\naccents: []\n")


def test_no_more_changes_are_tried_than_a_hundred(folder, monkeypatch):
    tried = []

    def told(reading, sound=None):
        tried.append(reading)
        new = (Edit("accents", "{at: 1}"),)
        return [Remark(Severity.ADVICE, "many", "x", bar_name=str(bar), fix=new) for bar in range(150)]

    monkeypatch.setattr(fixing, "check", told)
    mended = fix(write(folder, PLAN), PLAN)
    assert len(tried) == 1 + fixing.MOST_TRIED and mended.text == PLAN and len(mended.refused) == 150
    assert [("tried at a time" in why) for _, why in mended.refused] == [False] * 100 + [True] * 50


@pytest.mark.parametrize("accents", ["{at: 2}", "{at: 2}, {at: 3}"])
def test_what_was_left_is_tried_again_after_every_change(folder, monkeypatch, accents):
    """Two cautions of the piece as a whole forbid what would mend the first remark, until the last accent is gone."""
    text = PLAN + f"slowing:\n  - {{rallentando: 6:1 - 6:2, to: 60%, then: a tempo}}\naccents: [{accents}]\n"

    def told(reading, sound=None):
        accents, mid = reading.plan.accents, reading.plan.slowing[0].where.start.bar == "6"
        made = [Remark(Severity.CAUTION, "first", "x", fix=tuple(moved("8:1 - 8:4")(reading)))] if mid else []
        made += [Remark(Severity.CAUTION, "clash", "x")] if accents and not mid else []
        gone = [Edit("accents", None, each.place()) for each in accents]
        return made + [Remark(Severity.ADVICE, "second", "x", fix=tuple(gone[:1]))] * bool(gone)

    monkeypatch.setattr(fixing, "check", told)
    mended = fix(write(folder, text), text)
    if accents == "{at: 2}":
        assert codes(mended.fixed) == ["second", "first"] and mended.refused == []
    else:  # the second accent is told where the first one was: its change would not be enough
        said = {remark.code: why for remark, why in mended.refused}
        assert said == {"first": "the change would bring clash", "second": "the change would not be enough"}


def test_two_places_in_one_bar_are_two(folder, monkeypatch):
    """Each is left for a reason of its own, and one of them moved to the other's beat is a new one there."""
    text = PLAN + "accents: [{at: 2:1}, {at: 2:3}]\n"

    def told(reading, sound=None):
        return [
            Remark(Severity.CAUTION, "loud", "x", bar_name="2", beat=float(each.at.beat), fix=(
                Edit("accents", "{at: 2:2}" if each.at.beat == 1 else "{at: 9:1}", each.place()),
            ))
            for each in reading.plan.accents
        ]  # fmt: skip

    monkeypatch.setattr(fixing, "check", told)
    mended = fix(write(folder, text), text)
    assert [(remark.beat, why) for remark, why in mended.refused] == [
        (1, "the change would bring loud in bar 2"),
        (3, "bar 9: the score ends at bar 8"),
    ]


def test_what_only_a_sound_tells_is_mended_by_that_sound(folder, monkeypatch):
    """Of each accent a sound has something to say; without one nobody hears anything."""
    text = PLAN + "accents: [{at: 2}, {at: 3}]\n"

    def told(reading, sound=None):
        heard = reading.plan.accents if sound is not None else ()
        return [
            Remark(Severity.CAUTION, "loud", "x", bar_name=str(each.at), fix=(Edit("accents", None, each.place()),))
            for each in heard
        ]

    monkeypatch.setattr(fixing, "check", told)
    mended = fixing.fix(write(folder, text), text, SimpleNamespace())
    assert [remark.bar for remark in mended.fixed] == [2, 3] and mended.text.endswith("accents: []\n")
    assert fixing.fix(write(folder, text), text).text == text
    kept = text.replace("{at: 2}", "{at: 4}")  # a change that only the sound finds not to be enough

    def still(reading, sound=None):
        at = reading.plan.accents[0]
        there = [Remark(Severity.CAUTION, "loud", "x", fix=(Edit("accents", "{at: 5}", at.place()),))]
        return there if sound is not None else []

    monkeypatch.setattr(fixing, "check", still)
    mended = fixing.fix(write(folder, kept), kept, SimpleNamespace())
    assert mended.text == kept and [why for _, why in mended.refused] == ["the change would not be enough"]


def test_more_places_that_are_only_counted_are_more(folder, monkeypatch):
    text = PLAN + "accents: [{at: 1}]\n"

    def told(reading, sound=None):
        (accent,) = reading.plan.accents
        bar = int(str(accent.at))
        there = [Remark(Severity.CAUTION, "first", "x", fix=(Edit("accents", "{at: 2}", accent.place()),))]
        few = [Remark(Severity.CAUTION, "few", "x", bar_name="7"), Remark(Severity.CAUTION, "few", "x", more=3 + bar)]
        return (there if bar == 1 else []) + few

    monkeypatch.setattr(fixing, "check", told)
    mended = fix(write(folder, text), text)
    assert mended.text == text and mended.refused[0][1] == "the change would bring more of few"


# -- what is accepted


ACCEPTED = SLOW + "accept:\n  - {code: slowing-mid-phrase, at: 6:2, because: the shift}\n"


def test_what_is_accepted_is_not_mended(folder, offer):
    offer(MID, moved("8:1 - 8:4"))
    mended = fix(write(folder, ACCEPTED), ACCEPTED)
    assert mended.text == ACCEPTED and mended.fixed == [] and [r.accepted for r in mended.remarks] == ["the shift"]


def test_a_change_that_would_lose_what_is_accepted_is_left(folder, offer):
    text = ACCEPTED.replace("slowing:\n", "slowing:\n  - {ritenuto: 2:1 - 2:2, to: 60%, then: a tempo}\n")
    offer(MID, lambda reading: [Edit("slowing", None, slow.place()) for slow in reading.plan.slowing])
    mended = fix(write(folder, text), text)
    assert mended.text == text and "acceptance-unmatched" in mended.refused[0][1]


def test_an_acceptance_that_has_outlived_its_caution_is_taken_out(folder):
    text = PLAN + "accept:\n  # was hard\n  - {code: slowing-mid-phrase, at: 6:2, because: the shift}\n"
    mended = fix(write(folder, text), text)
    assert codes(mended.fixed) == ["acceptance-unmatched"] and mended.remarks == []
    assert mended.text == PLAN + "accept:\n  # was hard\n"


def test_an_acceptance_of_another_plan_that_has_outlived_its_caution_is_left_out(folder):
    write(folder, PLAN + "accept:\n  - {code: slowing-mid-phrase, at: 6:2, because: the shift}\n", "base.yaml")
    own = "based on: base.yaml\n"
    mended = fix(write(folder, own), own)
    assert codes(mended.fixed) == ["acceptance-unmatched"] and mended.remarks == []
    assert mended.text == own + "\naccept:\n  - {code: slowing-mid-phrase, at: 6:2, omit: yes}\n"


# -- where only some places are told


def test_places_that_were_only_counted_may_be_told_now(folder, monkeypatch):
    text = PLAN + "accents: [" + ", ".join(f"{{at: {bar}}}" for bar in range(1, 7)) + "]\n"

    def told(reading, sound=None):
        entries = [(int(str(accent.at)), accent) for accent in reading.plan.accents]
        made = [
            Remark(Severity.CAUTION, "few", "x", bar_name=str(bar), fix=(Edit("accents", None, accent.place()),))
            for bar, accent in entries[:3]
        ]
        left = len(entries) - 3
        return made + [Remark(Severity.CAUTION, "few", "more", bar_name=str(bar), more=left) for bar, _ in entries[3:4]]

    monkeypatch.setattr(fixing, "check", told)
    mended = fix(write(folder, text), text)
    assert [r.bar for r in mended.fixed] == [1, 2, 3, 4, 5, 6] and mended.text.endswith("accents: []\n")


def test_a_place_that_moves_is_not_mended_even_if_others_are_only_counted(folder, monkeypatch):
    text = PLAN + "accents: [{at: 1}]\n"

    def told(reading, sound=None):
        (accent,) = reading.plan.accents
        bar = int(str(accent.at))
        new = (Edit("accents", f"{{at: {bar + 1}}}", accent.place()),)
        first = Remark(Severity.CAUTION, "few", "x", bar_name=str(bar), fix=new)
        return [first, Remark(Severity.CAUTION, "few", "x", bar_name="9", more=4)]

    monkeypatch.setattr(fixing, "check", told)
    mended = fix(write(folder, text), text)
    assert mended.text == text and "would bring few in bar 2" in mended.refused[0][1]
