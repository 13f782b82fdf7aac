"""The phrases of whole scores: the score's own signs first, nested, and as a plan writes them."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from house import PLANS
from hypothesis import given
from hypothesis import strategies as st
from support import score

from timing.finding.boundaries import end_probabilities, phrase_scores
from timing.finding.leading import leading_voice
from timing.finding.phrases import find_phrases, range_of
from timing.finding.signs import read_signs
from timing.order import unfold
from timing.plan.position import parse_range
from timing.reader import read_score
from timing.where import Where

# two bars up to a long note, and two bars home
UPBEAT = "d4:1 g4:1 a4:1 b4:1 c5:1 d5:3"
EVEN = " ".join(["c4:1 e4:1 d4:1 f4:1"] * 9)  # nothing in it says where to breathe
CALL, ANSWER = "g4:1 a4:1 b4:1 c5:1 d5:3 b4:1", "c5:1 b4:1 a4:1 f#4:1 g4:4"


def tree(made) -> list:
    """The phrases in a plan's words: each with those inside it."""

    def said(phrases):
        return [[str(range_of(made, p)), *said(p.inside)] if p.inside else str(range_of(made, p)) for p in phrases]

    return said(find_phrases(made))


def every_phrase(phrases) -> list:
    """Those inside others as well."""
    return [one for phrase in phrases for one in (phrase, *every_phrase(phrase.inside))]


def ranges(made) -> set[str]:
    return {str(range_of(made, phrase)) for phrase in every_phrase(find_phrases(made))}


def sureness(made) -> np.ndarray:
    """(n,) of an end after each note of the leading voice."""
    line = leading_voice(made)
    signs = read_signs(made, line)
    return end_probabilities(phrase_scores(line.melody, signs.told, signs.walls))


# -- the pieces that come with the handbook, whose phrases their composer wrote down


def test_the_waltz_has_the_phrases_it_was_made_of():
    made = read_score(PLANS / "umbrella-stand.musicxml")
    assert ranges(made) >= {"1-16", "1-8", "9-16", "17-28", "17-24", "25-28"}
    fours = {(row, 3.0) for row in (3, 7, 11, 15, 19, 23, 27)}
    assert {phrase.end for phrase in every_phrase(find_phrases(made))} >= fours


def test_the_barcarolle_has_most_of_the_phrases_it_was_made_of():
    made = read_score(PLANS / "low-water.musicxml")
    assert ranges(made) >= {"0 - 2:5", "2:6 - 12:5", "2:6 - 6:5", "6:6 - 12:5", "12:6 - 16:5"}
    starts = np.append(0.0, np.cumsum(made.bars["length"]))
    found = np.array([starts[p.end[0]] + p.end[1] for p in every_phrase(find_phrases(made))])
    where = Where(made, unfold(made)[0])
    composed = ["0 - 2:5", "2:6 - 6:5", "6:6 - 12:5", "12:6 - 16:5", "16:6 - 18", "19-23", "24-27", "31:6 - 33"]
    for text in composed:  # not found is the end of the last answer (31:5)
        row, offset = where.range_end(parse_range(text))
        assert np.abs(found - starts[row] - offset).min() <= 1.5, text  # half a bar, as an upbeat


# -- nesting


def test_four_and_four_make_eight_and_sixteen():
    made = score(16, voices={1: " ".join([CALL, ANSWER] * 4)})
    assert tree(made) == [["1-16", ["1-8", "1-4", "5-8"], ["9-16", "9-12", "13-16"]]]


def test_two_and_two_and_four_make_eight():
    marks = [{"kind": "breath", "bar": row, "offset": 4.0} for row in (1, 3)]
    marks += [{"kind": "slur", "staff": 1, "bar": 4, "end_bar": 7, "end_offset": 3.0}]
    made = score(8, marks=marks)
    made.notes["pitch"] = 60 + np.arange(32) ** 2 * 7 % 13  # a tune that does not come back
    assert tree(made) == [["1-8", ["1-4", "1-2", "3-4"], "5-8"]]


def test_a_phrase_begins_with_its_upbeat():
    made = score(8, voices={1: " ".join([UPBEAT] * 4)}, pickup=1)
    assert {"0 - 2:3", "2:4 - 4:3", "0 - 4:3", "4:4 - 6:3", "4:4 - 8"} <= ranges(made)


@st.composite
def scores(draw):
    """Any melody of at least two notes with signs anywhere."""
    metre = draw(st.sampled_from([(4, 4), (3, 4), (6, 8)]))
    bars, pickup = draw(st.integers(1, 12)), draw(st.sampled_from([0.0, 0.5, 1.0]))
    room = bars * metre[0] * 4 / metre[1] + pickup
    words, at = [], 0.0
    while at < room - 1e-9:
        length = min(draw(st.sampled_from([0.25, 0.5, 1.0, 1.5, 3.0])), room - at)
        words.append(f"{draw(st.sampled_from(['c4', 'd4', 'e4', 'g4', 'c5', 'r']))}:{length:g}")
        at += length
    kinds = st.sampled_from(["fermata", "breath", "caesura", "slur", "double bar", "repeat start", "repeat end"])
    rows = st.integers(0, bars - 1)
    places = draw(st.lists(st.tuples(kinds, rows, st.sampled_from([0.0, 1.0, 2.5])), max_size=6))
    marks = [{"kind": kind, "bar": bar, "offset": offset, "end_offset": 2.0} for kind, bar, offset in places]
    return score(bars, metre, voices={1: " ".join(words)}, marks=marks, pickup=pickup)


@given(scores())
def test_phrases_cover_the_score_and_lie_inside_each_other(made):
    starts = np.append(0.0, np.cumsum(made.bars["length"]))

    def at(place):
        return pytest.approx(starts[place[0]] + place[1])

    def check(phrases, start, end):
        assert at(phrases[0].start) == at(start).expected and at(phrases[-1].end) == at(end).expected
        for one, following in pairwise(phrases):
            assert at(one.end) == at(following.start).expected
        for phrase in phrases:
            assert 0.0 <= phrase.sure <= 1.0
            assert len(phrase.inside) != 1
            if phrase.inside:
                check(phrase.inside, phrase.start, phrase.end)

    phrases = find_phrases(made)
    if len(leading_voice(made).rows) < 2:
        assert phrases == []
    else:
        last = len(made.bars) - 1
        check(phrases, (0, 0.0), (last, made.bars["length"][last]))


@given(scores())
def test_a_plan_finds_a_phrase_where_it_was_found(made):
    where = Where(made, unfold(made)[0])
    for phrase in every_phrase(find_phrases(made)):
        written = parse_range(str(range_of(made, phrase)))
        assert where.point(written.start) == pytest.approx(phrase.start)
        assert where.range_end(written) == pytest.approx(phrase.end)


@given(scores(), st.integers(-12, 12))
def test_a_transposed_score_has_the_same_phrases(made, by):
    notes = made.notes.copy()
    notes["pitch"] += by
    assert find_phrases(replace(made, notes=notes)) == find_phrases(made)


@given(scores())
def test_a_score_in_half_the_note_values_has_the_same_phrases(made):
    tables = {name: getattr(made, name).copy() for name in ("notes", "bars", "marks")}
    for column in ("offset", "length"):
        tables["notes"][column] /= 2
    for column in ("length", "shift"):
        tables["bars"][column] /= 2
    for column in ("offset", "end_offset"):
        tables["marks"][column] /= 2
    tables["bars"]["unit"] *= 2
    assert tree(replace(made, **tables)) == tree(made)


# -- the score's own signs


@pytest.mark.parametrize("kind", ["double bar", "repeat end", "repeat start", "coda", "fine", "da capo", "dal segno"])
def test_a_phrase_ends_where_sections_part(kind):
    begins = kind in ("repeat start", "coda")
    mark = {"kind": kind, "bar": 3, "offset": 0.0} if begins else {"kind": kind, "bar": 2, "offset": 4.0}
    found = find_phrases(score(9, voices={1: EVEN}, marks=[mark]))
    assert found[0].end == (2, 4.0) and found[0].section


def test_the_upbeat_to_a_section_belongs_to_it():
    marks = [{"kind": "repeat start", "bar": 5}]
    made = score(8, voices={1: " ".join([UPBEAT] * 4)}, pickup=1, marks=marks)
    assert [str(range_of(made, phrase)) for phrase in find_phrases(made)] == ["0 - 4:3", "4:4 - 8"]


@pytest.mark.parametrize("kind", ["fermata", "breath", "caesura"])
def test_a_phrase_ends_at_a_breath_and_under_a_fermata(kind):
    offset = 1.0 if kind == "fermata" else 2.0  # where the second note begins, or is over
    made = score(9, voices={1: EVEN}, marks=[{"kind": kind, "bar": 4, "offset": offset}])
    assert (4, 2.0) in {phrase.end for phrase in every_phrase(find_phrases(made))}


def test_a_long_slur_is_a_phrase_and_a_short_one_a_touch():
    plain = sureness(score(9, voices={1: EVEN}))
    long = {"kind": "slur", "staff": 1, "bar": 2, "end_bar": 4, "end_offset": 2.0}
    slurred = sureness(score(9, voices={1: EVEN}, marks=[long]))
    assert slurred[18] > plain[18]
    assert (slurred[8:18] < plain[8:18]).all()
    short = {"kind": "slur", "staff": 1, "bar": 2, "end_bar": 2, "end_offset": 1.0}
    np.testing.assert_array_equal(sureness(score(9, voices={1: EVEN}, marks=[short])), plain)


def test_a_silence_of_all_voices_is_a_surer_end_than_one_of_the_melody():
    melody = " ".join([CALL, "c5:1 b4:1 a4:1 f#4:1 g4:3 r:1"])
    together = score(8, voices={1: f"{melody} {melody}", 2: "g3:4 g3:4 g3:4 g3:3 r:1 g3:4 g3:4 g3:4 g3:4"})
    covered = score(8, voices={1: f"{melody} {melody}", 2: " ".join(["g3:4"] * 8)})
    last = 10  # the note before the rest
    assert sureness(together)[last] > sureness(covered)[last]


def test_a_first_ending_belongs_to_the_phrase_that_goes_on_to_the_second():
    tune = " ".join([CALL, ANSWER, "g4:4", CALL, ANSWER])
    marks = [
        {"kind": "ending", "bar": 3, "end_bar": 3, "text": "1"},
        {"kind": "repeat end", "bar": 3, "offset": 4.0, "value": 2},
        {"kind": "ending", "bar": 4, "end_bar": 4, "text": "2"},
    ]
    found = find_phrases(score(9, voices={1: tune}, marks=marks))
    assert found[0].start == (0, 0.0) and found[0].end == (4, 4.0)
    assert all(phrase.end[0] != 3 for phrase in every_phrase(found))


# -- scores without much to find


def test_percussion_and_silence_have_no_phrases():
    drums = score(4)
    drums.parts["percussion"] = True
    assert find_phrases(drums) == []
    assert find_phrases(score(4, voices={1: "r:4"})) == []
    assert find_phrases(score(4, voices={1: "c4:4"})) == []


def test_what_drums_play_before_the_melody_is_a_phrase_of_its_own():
    made = score(6, voices={1: f"{' '.join(['c4:1'] * 8)} {CALL} {ANSWER}"}, parts=("Drums", "Flute"))
    made.parts["percussion"] = [True, False]
    made.notes["part"] = made.notes["bar"] >= 2
    assert tree(made)[0][0] == "1-6" and {"1-2", "3-6"} <= ranges(made)


def test_one_bar_is_one_phrase():
    assert tree(score(1)) == ["1"]


def test_a_bar_without_a_metre_is_cut_like_any_other():
    made = score(1, voices={1: "c4:1"})
    made.bars["length"] = 64.0
    line = " ".join([CALL, ANSWER] * 4)
    long = score(16, voices={1: line})
    notes = long.notes.copy()
    notes["offset"] += 4.0 * notes["bar"]
    notes["bar"] = 0
    found = every_phrase(find_phrases(replace(made, notes=notes)))
    assert {phrase.end for phrase in found} >= {(0, 16.0), (0, 32.0), (0, 48.0), (0, 64.0)}


def test_a_piece_of_two_thousand_bars_has_short_phrases_inside():
    made = score(2000, voices={1: " ".join([CALL, ANSWER] * 500)})
    smallest = [phrase for phrase in every_phrase(find_phrases(made)) if not phrase.inside]
    assert [phrase.bars for phrase in smallest] == pytest.approx([4.0] * 500)
