"""Boundaries of phrases: what shares one moves together, and what would be left empty is refused."""

from __future__ import annotations

import pytest
from gestures import at, refused, sitting
from house import PLANS

from timing.changing.offers import offers
from timing.changing.spots import PageSpot

TOP = f"score: {PLANS / 'umbrella-stand.musicxml'}\ntempo: 120\n"
NESTED = TOP + """\
phrases:
  # the waltz
  - bars: 1-16  # all of it
    inside:
      - {bars: 1-8, arch: 6%, inside: [1-4, 5-8]}   # up
      - {bars: 9-16, inside: [9-12, '13-16']}
  - {bars: 17-28, name: trio}
"""


def moved(plan, words, end, row, offset=0.0):
    entry = plan.entry("phrases", words)
    plan.make({"what": "move", **at(entry), "end": end, "to": {"row": row, "offset": offset, "pass": None}})
    return plan.text


def brackets(plan):
    def inner(phrases):
        return [(str(phrase.bars), *inner(phrase.inside)) for phrase in phrases]

    return inner(plan.reading.plan.phrases)


def test_both_sides_of_a_boundary_and_all_that_share_it_move_together(tmp_path):
    plan = sitting(tmp_path, NESTED)
    assert moved(plan, "phrase 1-8", "end", 8, 1.0) == (
        NESTED.replace("1-8, arch", "1 - 9:1, arch").replace("5-8]", "5 - 9:1]")
        .replace("{bars: 9-16", "{bars: 9:2 - 16").replace("[9-12,", "[9:2 - 12,")
    )  # fmt: skip
    assert moved(plan, "phrase 9:2", "start", 8) == NESTED
    assert moved(plan, "phrase 17-28", "start", 15) == (
        NESTED.replace("bars: 1-16", "bars: 1-15").replace("bars: 9-16", "bars: 9-15").replace("'13-16'", "13-15")
        .replace("17-28", "16-28")
    )  # fmt: skip


def test_a_boundary_inside_moves_alone(tmp_path):
    plan = sitting(tmp_path, NESTED)
    assert moved(plan, "phrase 5-8", "start", 3) == NESTED.replace("[1-4, 5-8]", "[1-3, 4-8]")


def test_a_phrase_in_block_style_and_crlf_keeps_its_comments(tmp_path):
    text = NESTED.replace("\n", "\r\n")
    plan = sitting(tmp_path, text)
    assert moved(plan, "phrase 1-16", "end", 14, 3.0) == (
        text.replace("bars: 1-16", "bars: 1-15").replace("bars: 9-16", "bars: 9-15").replace("'13-16'", "13-15")
        .replace("17-28", "16-28")
    )  # fmt: skip


@pytest.mark.parametrize(
    ("words", "end", "row", "why"),
    [
        ("phrase 1-8", "end", 0, "nothing is left"),
        ("phrase 5-8", "start", 0, "the phrase 1-4 would have nothing left"),
        ("phrase 1-8", "end", 3, "the phrase 5-8 would have nothing left"),
        ("phrase 1-8", "end", 12, "the phrase 9-12 would have nothing left"),
        ("phrase 17-28", "end", 99, "no such bar"),
        ("phrase 5-8", "start", 4, "ends there already"),
        ("phrase 1-4", "whole", 20, "would have nothing left"),
    ],
)
def test_a_phrase_of_which_nothing_would_be_left_is_refused(tmp_path, words, end, row, why):
    plan = sitting(tmp_path, NESTED)
    entry = plan.entry("phrases", words)
    asked = {"what": "move", **at(entry), "end": end, "to": {"row": row, "offset": 0, "pass": None}}
    assert why in refused(asked, plan.reading, plan.text)


def test_a_phrase_that_would_stick_out_of_the_outer_one_is_refused(tmp_path):
    plan = sitting(tmp_path, TOP + "phrases: [{bars: 1-8, inside: [2-3, 5-7]}]\n")
    entry = plan.entry("phrases", "phrase 1-8")
    asked = {"what": "move", **at(entry), "end": "end", "to": {"row": 5, "offset": 0, "pass": None}}
    assert "the phrase 5-7 would stick out of 1-8" in refused(asked, plan.reading, plan.text)


def taken(plan, id_, row, offset=0.0, until=None):
    plan.make({"what": "offer", "id": id_, "at": {"row": row, "offset": offset}, "until": until})
    return plan.text


def test_a_phrase_ends_or_begins_where_it_is_parted(tmp_path):
    plan = sitting(tmp_path, NESTED)
    assert taken(plan, "phrase end", 1, 2.0) == NESTED.replace("[1-4, 5-8]", "[1-2, 3-4, 5-8]")
    assert taken(plan, "phrase begin", 19).endswith("  - {bars: 17-19, name: trio}\n  - 20-28\n")
    plan = sitting(tmp_path, NESTED)
    assert taken(plan, "inner phrase begin", 19).endswith("{bars: 17-28, name: trio, inside: [17-19, 20-28]}\n")
    plan = sitting(tmp_path, NESTED)
    text = taken(plan, "move phrase end", 7)
    assert "{bars: 1 - 8:1, arch" in text and "5 - 8:1]" in text and "{bars: 8:2 - 16" in text


def test_the_arch_of_a_phrase_that_is_parted_is_that_of_both(tmp_path):
    plan = sitting(tmp_path, TOP + "phrases:\n  - bars: 1-8\n    arch: {pace: 6%}  # a\n    why: so\n")
    text = taken(plan, "phrase end", 3, 2.0)
    assert text == TOP + (
        "phrases:\n  - bars: 1-4\n    arch: {pace: 6%}  # a\n    why: so\n  - {bars: 5-8, arch: {pace: 6%}}\n"
    )


def test_where_there_is_no_phrase_one_comes(tmp_path):
    plan = sitting(tmp_path, TOP)
    assert taken(plan, "phrase end", 7, 2.0) == TOP + "\nphrases:\n  - 1-8\n"
    assert taken(plan, "phrase begin", 8) == TOP + "\nphrases:\n  - 1-8\n  - 9-28\n"
    assert taken(plan, "phrase", 1, 0.0, {"row": 3, "offset": 3.0}).endswith("- {bars: 1-8, inside: [2-4]}\n  - 9-28\n")


def test_an_end_that_stands_is_not_offered_again(tmp_path):
    plan = sitting(tmp_path, NESTED)
    ids = {each.id for each in offers(plan.reading, PageSpot(7, 2.0))}
    assert not {"phrase end", "move phrase end"} & ids and "phrase begin" in ids
