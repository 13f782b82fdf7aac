"""Slowdowns in the wrong places, over ten real scores: the warning finds them."""

from __future__ import annotations

import pytest
from judged import told
from music21 import corpus

from timing.companions import companion
from timing.drafting import draft
from timing.plan.kinds import Act
from timing.plan.planfile import read_plan
from timing.reader import read_score
from timing.reading import perform
from timing.remarks import CannotDo

SCORES = [
    "mozart/k545/movement1_exposition.mxl",
    "mozart/k155/movement2.mxl",
    "mozart/k156/movement4.mxl",
    "haydn/opus1no1/movement2.mxl",
    "haydn/opus1no1/movement4.mxl",
    "schumann_clara/polonaise_op1n2.mxl",
    "liliuokalani/aloha_oe.mxl",
    "handel/rinaldo/Lascia_chio_pianga.mxl",
    "leadSheet/fosterBrownHair.mxl",
    "chopin/mazurka06-2.krn",
]


@pytest.fixture(scope="module")
def counts(tmp_path_factory) -> list[tuple[int, int, int, int]]:
    """For each score: slowdowns of its draft, how many of them are told as they stand, how many are misplaced, and how
    many of those are told then."""
    folder, made = tmp_path_factory.mktemp("drafts"), []
    for number, name in enumerate(SCORES):
        path = folder / f"{number}.yaml"
        path.write_text(draft(read_score(corpus.getWork(name)), path).text, encoding="utf-8")
        plan = read_plan(path)
        reading = perform(read_score(corpus.getWork(name)), plan)
        try:
            beside = companion("misplaced", reading).reading
        except CannotDo:  # none of its slowdowns ends a phrase with room for it
            beside = reading
        pairs = zip(reading.plan.slowing, beside.plan.slowing, strict=True)
        moved = sum(str(old.where) != str(new.where) for old, new in pairs)
        slows = sum(slow.act is Act.SLOWS for slow in reading.plan.slowing)
        found = [len(told("slowing-mid-phrase", each)) for each in (reading, beside)]
        made.append((slows, found[0], moved, found[1]))
    return made


def test_at_least_nine_in_ten_are_found(counts):
    moved, found = (sum(column) for column in list(zip(*counts, strict=True))[2:])
    assert moved >= 40 and found >= 0.9 * moved


def test_most_slowdowns_can_be_misplaced(counts):
    """Those that are too mild to be heard as an ending stay."""
    slows, _, moved, _ = (sum(column) for column in zip(*counts, strict=True))
    assert moved >= 0.5 * slows


def test_where_they_were_none_is_told(counts):
    assert [before for _, before, _, _ in counts] == [0] * len(SCORES)
