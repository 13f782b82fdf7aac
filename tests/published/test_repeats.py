"""Repeats against the MIT-licensed MusicXML test suite inside music21 (files 45a-45g).

The orders were worked out by hand from the XML and from common practice: a repeat sign leads back to the start sign
still open, else to just after the repeat before, else to the beginning; an ending is for the times that it names.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from timing.order import in_words, unfold
from timing.reader import read_score

REGULAR = {
    # bar 1 ends with a repeat heard 5 times, bar 2 follows
    "45a": "1, 1, 1, 1, 1, 2",
    # bar 2 is the first ending, bar 3 the second, bar 4 follows
    "45b": "1-2, 1, 3-4",
    # 2-3 between two signs, 5 times; the sign after 7 finds no open start and goes back to after bar 3, 3 times in all
    "45c": "1, 2-3, 2-3, 2-3, 2-3, 2-3, 4-7, 4-7, 4-7, 8",
    # first and second ending in bars 2 and 3; bar 5 twice; the sign after 7 goes back to 6, the second time without the
    # first ending (7); 8-9 twice, and 10
    "45e": "1-2, 1, 3-4, 5, 5, 6-7, 6, 8-9, 8-9, 10",
}

IRREGULAR = {
    # the second ending (3-5) has no repeat sign, so the third (6) is never reached; of the endings 1 and 5 (10, 11)
    # nothing leads back from the first to the other
    "45d": (
        "1-2, 1, 3-5, 7-10, 12",
        ['ending "2" over bars 3-5 has no repeat sign', "bar 6 is never played", "bar 11 is never played"],
    ),
    # bar 2 is for the times 1, 2 and 3, bar 3 for the second as well; the sign after bar 4 leads back to the beginning
    # until the three times are over (the second bracket's stop in bar 4 is one too many: its bracket ended in bar 3)
    "45f": ("1-2, 4, 1-4, 1-2, 4, 5", ['the endings over bars 2-3 are numbered "1, 2, 3" and "2"']),
    # the repeat that starts at bar 2 never ends: once
    "45g": ("1-2", ["the repeat that starts at bar 2 has no end"]),
}


def score(name: str):
    import music21

    (path,) = (Path(music21.__file__).parent / "musicxml").glob(f"*/{name}*.xml")
    return read_score(path, cache=False)


@pytest.mark.parametrize(("name", "order"), REGULAR.items(), ids=REGULAR)
def test_regular_repeats(name, order):
    read = score(name)
    passages, remarks = unfold(read)
    assert in_words(read, passages) == order
    assert remarks == ()


@pytest.mark.parametrize(("name", "order", "cautions"), [(k, *v) for k, v in IRREGULAR.items()], ids=IRREGULAR)
def test_irregular_repeats_are_read_literally_with_a_caution(name, order, cautions):
    read = score(name)
    passages, remarks = unfold(read)
    assert in_words(read, passages) == order
    messages = [remark.message for remark in remarks]
    assert all(any(caution in message for message in messages) for caution in cautions)


def test_the_fifth_time_is_the_last():
    passages, _ = unfold(score("45a"))
    assert passages["pass"].tolist() == [1, 2, 3, 4, 5, 1]
    assert passages["last"].tolist() == [False] * 4 + [True] * 2
    assert passages["start"].tolist() == [0, 4, 8, 12, 16, 20]


def test_the_second_ending_is_the_second_time():
    passages, _ = unfold(score("45b"))
    assert passages["pass"].tolist() == [1, 1, 2, 2, 1]
    assert passages["last"].tolist() == [False, False, True, True, True]
