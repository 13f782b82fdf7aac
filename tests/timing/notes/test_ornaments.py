"""Ornaments as they are played, worked out by hand. Notes as in support.score; every beat is a quarter unless said."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from ornamented import ABOVE, DELAYED, DELAYED_INVERTED, INVERTED, INVERTED_TURN, MORDENT, TRILL, TURN, ornamented
from support import midi, reading, score

from timing.notes.ornaments import whole_notes
from timing.score import Ornament, Score


def first_note(text: str, sign: Ornament, plan: dict | None = None, **options) -> list[tuple[int, float]]:
    """(pitch, written length in quarters) of each note of the ornament on the first note."""
    notes = reading(plan, ornamented(text, {0: sign}, **options)).performance.notes
    return [(int(n["pitch"]), float(n["score_length"])) for n in notes[notes["id"] == 0]]


def figure(names: str, *lengths: float | Fraction) -> list[tuple[int, float]]:
    """The notes of `names`; the last length holds for all that are left but the last one, which has what is left."""
    *each, whole = lengths
    count = len(names.split())
    each = [*each, *[each[-1]] * (count - 1 - len(each))][: count - 1]
    made = [*each, whole - sum(each)]
    return [(pitch, pytest.approx(float(length))) for pitch, length in zip(pitches(names), made, strict=True)]


def pitches(names: str) -> list[int]:
    return [midi(name) for name in names.split()]


def alternating(count: int, first: str = "c4", second: str = "d4") -> str:
    return " ".join([first, second][n % 2] for n in range(count))


# -- trills


@pytest.mark.parametrize(
    ("text", "tempo", "metre", "count", "to_a_quarter"),
    [
        ("c4:1", 60, (4, 4), 11, 12),  # 12 a second
        ("c4:2", 60, (4, 4), 23, 12),
        ("c4:0.5", 60, (4, 4), 5, 12),
        ("c4:0.25", 60, (4, 4), 3, 12),
        ("c4:1", 72, (4, 4), 7, 8),  # 9.6 a second; 12 to a beat would be 14.4
        ("c4:1", 90, (4, 4), 7, 8),  # just 12
        ("c4:1", 91, (4, 4), 5, 6),  # 8 would be just too quick
        ("c4:1", 120, (4, 4), 5, 6),
        ("c4:1", 180, (4, 4), 3, 4),
        ("c4:1.5", 90, (6, 8), 11, 8),  # three eighths, four notes to each
        ("c4:3", 90, (6, 8), 23, 8),
        ("c4:1.5", 60, (6, 8), 17, 12),  # six notes to each eighth
        ("c4:2", 90, (2, 2), 15, 8),
        (f"c4:{2 / 3!r}", 60, (4, 4), 7, 12),  # in a triplet
    ],
)
def test_a_trill_goes_by_the_beat_as_quick_as_it_may(text, tempo, metre, count, to_a_quarter):
    length = float(text.partition(":")[2])
    made = first_note(f"{text} e4:1", TRILL, {"tempo": tempo}, metre=metre, bars=2)
    assert made == figure(alternating(count), Fraction(1, to_a_quarter), length)


def test_a_trill_from_above_has_a_note_on_every_part_of_the_beat():
    assert first_note("c4:1 e4:3", TRILL, ABOVE) == figure(alternating(12, "d4", "c4"), Fraction(1, 12), 1)


def test_the_speed_of_trills_is_the_plan_s():
    slow = {"articulation": {"trill speed": 6}}
    assert first_note("c4:1 e4:3", TRILL, slow) == figure(alternating(5), Fraction(1, 6), 1)


@pytest.mark.parametrize(
    ("tempo", "from_main", "from_above"),
    [
        (120, "c4 d4 c4", "d4 c4"),  # 125 ms for a sixteenth
        (180, "d4 c4", "d4 c4"),  # 83 ms: three would have 28 ms each
        (400, "c4", "c4"),  # 37 ms
    ],
)
def test_short_trills_have_fewer_notes(tempo, from_main, from_above):
    for plan, names in (({}, from_main), (ABOVE, from_above)):
        count = len(names.split())
        made = first_note("c4:0.25 e4:3", TRILL, plan | {"tempo": tempo})
        assert made == figure(names, Fraction(1, 4 * count), 0.25)


def test_a_trill_on_what_has_no_pitch_is_a_roll():
    made = first_note("c4:1 e4:3", TRILL, neighbours=(0, 0))
    assert made == figure("c4 " * 12, Fraction(1, 12), 1)


def with_endings(text: str, after: bool) -> Score:
    made = ornamented(text, {})
    made.notes["ornament"][0], made.notes["upper"][0] = TRILL, 2
    made.notes["after"][made.notes["grace"] > 0] = after
    return made


@pytest.mark.parametrize("after", [True, False])
def test_small_notes_that_end_a_trill_are_part_of_it(after):
    """Eight to the beat: the trill leans on its first note, to come out right."""
    notes = reading({"tempo": 90}, with_endings("c4:1 b3:1G c4:1G d4:3", after)).performance.notes
    assert notes["pitch"].tolist() == pitches("c4 d4 c4 d4 c4 b3 c4 d4")
    assert notes["score_onset"] * 8 == pytest.approx([0, 2, 3, 4, 5, 6, 7, 8])
    assert np.all(notes["end"][:6] >= notes["onset"][1:7])


def test_trillo_und_mordant():
    """J. S. Bach, Explication (1720), from memory: from above, and after that lower neighbour and note; all equal."""
    notes = reading(ABOVE | {"tempo": 90}, with_endings("c4:1 b3:1G c4:1G d4:3", True)).performance.notes
    assert notes["pitch"].tolist() == pitches("d4 c4 d4 c4 d4 c4 b3 c4 d4")
    assert notes["score_onset"] * 8 == pytest.approx(list(range(9)))


def test_other_small_notes_belong_to_the_next_note():
    for text in ("c4:1 b3:1g c4:1g d4:3", "c4:1 b3:1G c4:1G e4:1G d4:3"):
        notes = reading({"tempo": 60}, with_endings(text, False)).performance.notes
        assert (notes["id"] == 0).sum() == 11
        assert notes["score_onset"][notes["step"] == 0][1:] == pytest.approx(1.0)


def test_where_there_is_no_time_small_notes_come_after_the_trill():
    notes = reading({"tempo": 120}, with_endings("c4:0.25 b3:1g c4:1g d4:3", True)).performance.notes
    assert notes["pitch"].tolist() == pitches("c4 d4 c4 b3 c4 d4")
    assert notes["score_onset"].tolist() == pytest.approx([0, 1 / 12, 1 / 6, 0.25, 0.25, 0.25])


# -- mordents and turns


def test_mordents_are_quick_and_held():
    """Sixteen to the beat: no more than 18 a second."""
    assert first_note("c4:1 e4:3", MORDENT) == figure("c4 b3 c4", Fraction(1, 16), 1)
    assert first_note("c4:1 e4:3", INVERTED) == figure("c4 d4 c4", Fraction(1, 16), 1)
    assert first_note("c4:3 e4:1", MORDENT) == figure("c4 b3 c4", Fraction(1, 16), 3)
    assert first_note("c4:1 e4:2", MORDENT, {"tempo": 120}, metre=(3, 4)) == figure("c4 b3 c4", Fraction(1, 8), 1)
    assert first_note("c4:1.5 e4:1.5", MORDENT, {"tempo": 90}, metre=(6, 8)) == figure("c4 b3 c4", Fraction(1, 12), 1.5)


def test_short_mordents_have_fewer_notes():
    for sign, names in ((MORDENT, "b3 c4"), (INVERTED, "d4 c4")):
        assert first_note("c4:0.25 e4:3", sign, {"tempo": 120}) == figure(f"c4 {names}", Fraction(1, 12), 0.25)
        assert first_note("c4:0.25 e4:3", sign, {"tempo": 180}) == figure(names, Fraction(1, 8), 0.25)
        assert first_note("c4:0.25 e4:3", sign, {"tempo": 400}) == figure("c4", 0.25, 0.25)


def test_a_short_trill_from_above_has_four_notes():
    """The trill of J. S. Bach's Explication (1720) and C. P. E. Bach's half trill (1753), from memory."""
    assert first_note("c4:1 e4:3", INVERTED, ABOVE) == figure("d4 c4 d4 c4", Fraction(1, 16), 1)
    assert first_note("c4:1 e4:3", MORDENT, ABOVE) == figure("c4 b3 c4", Fraction(1, 16), 1)


@pytest.mark.parametrize(("sign", "names"), [(TURN, "d4 c4 b3 c4"), (INVERTED_TURN, "b3 c4 d4 c4")])
def test_a_turn_has_four_equal_notes_or_its_last_is_held(sign, names):
    """J. S. Bach's Explication (1720), from memory, has the "cadence" as four equal notes."""
    assert first_note("c4:1 e4:3", sign, {"tempo": 180}) == figure(names, Fraction(1, 4), 1)
    assert first_note("c4:0.5 e4:3", sign, {"tempo": 120}) == figure(names, Fraction(1, 8), 0.5)
    assert first_note("c4:1 e4:3", sign) == figure(names, Fraction(1, 12), 1)
    assert first_note("c4:1.5 e4:1.5", sign, {"tempo": 90}, metre=(6, 8)) == figure(names, Fraction(1, 8), 1.5)


@pytest.mark.parametrize(("sign", "names"), [(DELAYED, "c4 d4 c4 b3 c4"), (DELAYED_INVERTED, "c4 b3 c4 d4 c4")])
def test_a_delayed_turn_comes_at_the_end_of_its_note(sign, names):
    assert first_note("c4:1 e4:3", sign) == figure(names, Fraction(8, 12), Fraction(1, 12), 1)
    assert first_note("c4:2 e4:2", sign, {"tempo": 90}) == figure(names, Fraction(12, 8), Fraction(1, 8), 2)
    # where there is less time, in the second half
    assert first_note("c4:1 e4:3", sign, {"tempo": 120}) == figure(names, Fraction(1, 2), Fraction(1, 8), 1)
    # where there is less still: five equal notes, then the turn alone
    assert first_note("c4:0.5 e4:3", sign, {"tempo": 120}) == figure(names, Fraction(1, 10), 0.5)
    turn = " ".join(names.split()[1:])
    assert first_note("c4:0.25 e4:3", sign, {"tempo": 90}) == figure(turn, Fraction(1, 16), 0.25)


def test_on_a_dotted_note_a_delayed_turn_ends_on_the_dot():
    """C. P. E. Bach (1753), from memory: note, turn in the second third, the note again."""
    names = "c4 d4 c4 b3 c4"
    third = [Fraction(1, 2), Fraction(1, 6), Fraction(1, 6), Fraction(1, 6)]
    assert first_note("c4:1.5 e4:0.5", DELAYED, {"tempo": 120}) == figure(names, *third, 1.5)
    late = [Fraction(2) - Fraction(3, 12), Fraction(1, 12)]
    assert first_note("c4:3 e4:1", DELAYED) == figure(names, *late, 3)


def test_short_turns_have_fewer_notes():
    for sign in (TURN, INVERTED_TURN, DELAYED, DELAYED_INVERTED):
        begun = "d4 c4" if sign in (TURN, DELAYED) else "b3 c4"
        assert first_note("c4:0.25 e4:3", sign, {"tempo": 150}) == figure(begun, Fraction(1, 8), 0.25)
        assert first_note("c4:0.25 e4:3", sign, {"tempo": 400}) == figure("c4", 0.25, 0.25)


# -- laws

LENGTHS = st.sampled_from([1 / 64, 0.125, 0.25, 1 / 3, 0.5, 0.75, 1, 1.5, 2, 3, 7])
NOTES = st.tuples(st.sampled_from(["c4", "g4", "c4+e4"]), LENGTHS, st.sampled_from(list(Ornament)), st.integers(0, 3))
SLOWING = st.sampled_from(
    [[], [{"rallentando": "1-3", "to": "30%"}], [{"ritenuto": "2", "to": "50%", "then": "a tempo"}]]
)


@given(
    st.lists(NOTES, min_size=1, max_size=10),
    st.sampled_from(["g", "G"]),
    st.integers(10, 400),
    st.sampled_from([(4, 4), (6, 8), (2, 2), (5, 16)]),
    SLOWING,
    st.booleans(),
    st.sampled_from([0, 24]),
)
def test_ornaments_fill_their_notes_and_end_on_them(rows, grace, tempo, metre, slowing, above, program):
    words = []
    for name, length, _, graces in rows:
        words += [f"d4:1{grace}"] * graces + [f"{name}:{length!r}"]
    total = sum(length for _, length, *_ in rows)
    bars = int(total / (metre[0] * 4 / metre[1])) + 3
    made = score(bars, metre, voices={1: " ".join(words)}, program=program)
    mains = np.flatnonzero(made.notes["grace"] == 0)
    kinds = np.repeat([sign for _, _, sign, _ in rows], [name.count("+") + 1 for name, *_ in rows])
    made.notes["ornament"][mains] = kinds
    made.notes["tremolo"][mains] = np.where(kinds == Ornament.NONE, 0.25, 0)
    made.notes["upper"], made.notes["lower"] = 2, 1
    plan = {"tempo": tempo, "slowing": slowing} | (ABOVE if above else {})
    performance = reading(plan, made).performance
    table = performance.notes[np.argsort(performance.notes["score_onset"], kind="stable")]
    first, last, owner = whole_notes(table)
    assert sorted(table["id"][first].tolist()) == list(range(len(made.notes)))
    assert np.all(table["onset"] >= 0) and np.all(table["end"] - table["onset"] > 1e-9)
    for number, (begin, end) in enumerate(zip(first, last, strict=True)):
        parts, source = table[owner == number], made.notes[table["id"][begin]]
        assert parts["step"].tolist() == list(range(len(parts)))
        assert parts["pitch"][-1] == source["pitch"]
        assert set((parts["pitch"].astype(int) - source["pitch"]).tolist()) <= {-1, 0, 2}
        edges = np.append(parts["score_onset"], table["score_onset"][end] + table["score_length"][end])
        assert np.all(np.diff(edges) > 0) or source["grace"]
        assert parts["score_length"] == pytest.approx(np.diff(edges))
        if source["grace"]:
            continue
        start = made.bars["length"][: source["bar"]].sum() + source["offset"]
        assert edges[0] >= start - 1e-9 and edges[-1] <= start + source["length"] + 1e-9
        seconds = performance.time.seconds(edges)
        if len(parts) > 1:
            assert np.diff(seconds).mean() >= 0.04 * 0.999
        if source["ornament"] != Ornament.TRILL and not rows_lean(made, source):
            assert edges[[0, -1]] == pytest.approx([start, start + source["length"]])


def rows_lean(made: Score, source: np.void) -> bool:
    """Whether an appoggiatura stands before a note."""
    here = (made.notes["bar"] == source["bar"]) & (made.notes["offset"] == source["offset"])
    here &= made.notes["grace"] > 0
    return bool(here.any())


@given(LENGTHS, st.integers(10, 300), st.integers(4, 16), st.sampled_from([(4, 4), (6, 8), (2, 2)]))
def test_no_trill_is_quicker_than_it_may_be_unless_it_has_three_notes_or_fewer(length, tempo, speed, metre):
    notes = first_note(f"c4:{length!r}", TRILL, {"tempo": tempo, "articulation": {"trill speed": speed}}, metre=metre)
    assume(len(notes) > 3)
    assert notes[0][1] * 60 / tempo >= 1 / speed - 1e-9
