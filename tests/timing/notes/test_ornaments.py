"""Ornaments as they are played, worked out by hand. Notes as in support.score; every beat is a quarter unless said."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from support import midi, reading, score

from timing.marks.uses import Fate
from timing.notes.ornaments import realise, whole_notes
from timing.performance import CARRIED, HARMONIC, PLUCKED, SLURRED
from timing.reading import perform
from timing.remarks import CannotDo
from timing.score import Ornament, Score, Sign

TRILL, MORDENT, INVERTED = Ornament.TRILL, Ornament.MORDENT, Ornament.INVERTED_MORDENT
TURN, INVERTED_TURN = Ornament.TURN, Ornament.INVERTED_TURN
DELAYED, DELAYED_INVERTED = Ornament.DELAYED_TURN, Ornament.DELAYED_INVERTED_TURN
ABOVE = {"articulation": {"trill": "from above"}}


def ornamented(text: str, signs: dict[int, Ornament], *, bars: int = 1, neighbours=(2, 1), **options) -> Score:
    """A score whose notes (by their place in the table) have ornaments."""
    made = score(bars, voices={1: text}, **options)
    for note, sign in signs.items():
        made.notes["ornament"][note] = sign
        made.notes["upper"][note], made.notes["lower"][note] = neighbours
    return made


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


# -- tremolos


@pytest.mark.parametrize(
    ("text", "stroke", "tempo", "count"),
    [
        ("c4:2", 0.5, 60, 4),  # one stroke: eighths
        ("c4:1", 0.25, 60, 4),
        ("c4:1", 0.125, 60, 8),
        ("c4:1", 0.125, 120, 8),  # 16 a second
        ("c4:1", 0.125, 150, 4),  # 32nds would be 20 a second
        ("c4:1.5", 0.5, 60, 3),
        ("c4:1", 1 / 64, 60, 16),  # unmeasured
        ("c4:0.5", 0.5, 60, 1),
    ],
)
def test_tremolos(text, stroke, tempo, count):
    made = score(1, voices={1: f"{text} e4:1"})
    made.notes["tremolo"][0] = stroke
    notes = reading({"tempo": tempo}, made).performance.notes
    length = float(text.partition(":")[2])
    assert notes["pitch"].tolist() == [60] * count + [64]
    assert notes["score_length"][:count] == pytest.approx(length / count)
    assert notes["end"][:count] == pytest.approx(notes["onset"][1:])


def by_turns(text: str = "c4:1 e4:1 g4:2", stroke: float = 0.25, plan: dict | None = None, **options):
    made = score(1, voices={1: text}, **options)
    made.notes["tremolo"][made.notes["offset"] < 2] = stroke
    made.notes["turn"] = np.select([made.notes["offset"] < 1, made.notes["offset"] < 2], [1, 2], 0)
    return reading({"tempo": 60} | (plan or {}), made)


@pytest.mark.parametrize(
    ("stroke", "tempo", "count"), [(0.5, 60, 4), (0.25, 60, 8), (0.125, 60, 16), (0.125, 150, 8), (1 / 64, 60, 32)]
)
def test_two_notes_take_turns_in_a_tremolo(stroke, tempo, count):
    notes = by_turns(stroke=stroke, plan={"tempo": tempo}).performance.notes
    assert notes["pitch"].tolist() == [60, 64] * (count // 2) + [67]
    assert notes["score_onset"].tolist() == pytest.approx([2 * n / count for n in range(count)] + [2])
    assert notes["score_length"][:count] == pytest.approx(2 / count)
    assert notes["beat"][:count] == pytest.approx(1 + notes["score_onset"][:count])
    assert notes["end"][:count] == pytest.approx(notes["onset"][1:])


@given(st.floats(1 / 64, 1.0), st.floats(20, 400))
def test_two_notes_fill_their_time_in_equal_turns(stroke, tempo):
    notes = by_turns(stroke=stroke, plan={"tempo": tempo}).performance.notes[:-1]
    assert notes["pitch"].tolist() == [60, 64] * (len(notes) // 2)
    assert notes["score_onset"].tolist() == pytest.approx([2 * n / len(notes) for n in range(len(notes))])
    assert notes["score_length"] == pytest.approx(2 / len(notes))
    assert np.diff(notes["onset"]).min(initial=1.0) >= 0.04 - 1e-9


def test_two_notes_that_have_no_time_for_turns_are_played_one_after_another():
    notes = by_turns("c4:1 e4:1 g4:2", 1.0).performance.notes
    assert notes[["pitch", "score_onset", "score_length"]].tolist() == [(60, 0, 1), (64, 1, 1), (67, 2, 2)]


def test_chords_take_turns_too_and_marks_tell_of_it():
    played = by_turns("c4+c5:1 e4+e5:1 g4:2", 0.5)
    notes = played.performance.notes
    heard = [sorted(notes["pitch"][notes["score_onset"] == at].tolist()) for at in (0, 0.5, 1)]
    assert heard == [[60, 72], [64, 76], [60, 72]]
    assert [(use.text, use.count) for use in played.marks] == [("tremolo between two notes", 2)]
    plain = by_turns("c4+c5:1 e4+e5:1 g4:2", 0.5, {"marks": {"ignore": "ornaments"}})
    assert len(plain.performance.notes) == 5


def test_on_a_guitar_a_tremolo_between_two_notes_lies_on_two_strings():
    notes = by_turns("e3:1 c4:1 g4:2", 0.25, program=24).performance.notes
    assert len(notes) == 9 and len(set(notes["string"][:8].tolist())) == 2
    assert set(notes["attack"][:8].tolist()) == {PLUCKED}


# -- what they leave as it was


def test_notes_without_a_sign_are_not_touched():
    plain = reading({}, score(2, voices={1: "c4:1 e4:1 d4:1g f4:2 g4:4"})).performance.notes
    also = reading({}, ornamented("c4:1 e4:1 d4:1g f4:2 g4:4", {4: TURN}, bars=2)).performance.notes
    columns = [name for name in plain.dtype.names if name != "pluck"]  # which is nan
    assert plain[columns][:4].tolist() == also[columns][:4].tolist()


def test_small_notes_know_where_they_are():
    notes = reading({}, ornamented("c4:6 e4:2", {0: TRILL}, bars=2)).performance.notes
    second = notes["score_onset"] >= 4
    assert np.array_equal(notes["bar"] == 2, second) and np.array_equal(notes["ordinal"] == 1, second)
    assert notes["beat"][:3] == pytest.approx([1, 1 + 1 / 12, 1 + 2 / 12])
    assert notes["beat"][second][:2] == pytest.approx([1, 1 + 1 / 12])
    assert notes["step"][notes["id"] == 0].tolist() == list(range(71))


def signs_of(text: str, sign: Ornament, **options) -> list[Sign]:
    made = ornamented(text, {0: sign}, **options)
    done = reading({}, made)
    played = np.zeros(len(made.notes), done.performance.notes.dtype)
    played["id"], played["part"] = np.arange(len(played)), 0
    played["score_length"], played["score_onset"] = made.notes["length"], made.notes["offset"]
    _, notes = realise(
        played, made.notes, done.plan.articulation, done.performance.time, done.performance.bars, np.array([True])
    )
    return [Sign(int(signs)) for signs in notes["signs"][: (len(notes) - len(made.notes) + 1)]]


def test_accents_are_of_the_first_note_and_what_shapes_the_end_is_of_the_last():
    first, middle, last = signs_of("c4:1>.) e4:3", MORDENT)
    assert first == Sign.ACCENT | Sign.SLURRED
    assert middle == Sign.SLURRED | Sign.LEFT_HAND
    assert last == Sign.STACCATO | Sign.SLUR_END | Sign.LEFT_HAND


def test_every_stroke_of_a_tremolo_is_played_as_it_is_written():
    made = score(1, voices={1: "c4:1. e4:3"})
    made.notes["tremolo"][0] = 0.5
    notes = reading({}, made).performance.notes
    assert (notes["end"] - notes["onset"])[:2] == pytest.approx([0.25, 0.25])


def test_only_the_last_note_is_short_under_a_dot():
    notes = reading({}, ornamented("c4:1. e4:3", {0: MORDENT})).performance.notes
    assert notes["end"][:2] == pytest.approx([1 / 16 + 0.02, 2 / 16 + 0.02])  # legato
    assert notes["end"][2] - notes["onset"][2] == pytest.approx(14 / 16 / 2)


def test_an_accent_of_the_plan_is_on_the_first_note():
    notes = reading({"accents": [{"at": "1:1"}]}, ornamented("c4:1 e4:3", {0: TRILL})).performance.notes
    assert notes["level"][0] - notes["level"][1] == pytest.approx(3)
    assert np.ptp(notes["level"][1:]) == 0


def test_an_appoggiatura_comes_before_the_ornament():
    made = ornamented("d4:1G c4:2 e4:2", {})
    main = int(np.flatnonzero(made.notes["pitch"] == 60)[0])
    made.notes["ornament"][main], made.notes["upper"][main] = TRILL, 2
    notes = reading({"tempo": 60}, made).performance.notes
    assert notes["pitch"].tolist() == [62, *([60, 62] * 6)[:11], 64]
    assert notes["onset"][:3] == pytest.approx([0, 1, 1 + 1 / 12])


def test_a_chord_waits_with_its_ornamented_note():
    made = ornamented("d5:1G c4+c5:2 e4:2", {})
    main = int(np.flatnonzero(made.notes["pitch"] == 72)[0])
    made.notes["ornament"][main], made.notes["lower"][main] = MORDENT, 1
    notes = reading({"tempo": 60}, made).performance.notes
    assert notes["pitch"].tolist() == [74, 60, 72, 71, 72, 64]
    assert notes["onset"] == pytest.approx([0, 1, 1, 1 + 1 / 16, 1 + 2 / 16, 2])
    assert notes["end"][1] == pytest.approx(2)


def test_an_acciaccatura_before_the_next_note_takes_its_time_from_the_last_note():
    made = ornamented("c4:1 f4:1g e4:3", {0: TRILL})
    notes = reading({}, made).performance.notes
    assert notes["onset"][-2:] == pytest.approx([0.93, 1]) and notes["end"][-3] == pytest.approx(0.93)


def test_each_hearing_has_its_ornament_and_a_slower_one_more_notes():
    marks = [{"kind": "repeat end", "bar": 0, "offset": 4.0, "end_offset": 4.0, "value": 2.0}]
    made = ornamented("c4:4 e4:4", {0: TRILL}, bars=2, marks=marks)
    slow = {"slowing": [{"ritenuto": "1", "to": "50%", "then": "a tempo", "pass": 2}]}
    notes = reading(slow | {"tempo": 90}, made).performance.notes
    trills = [notes[(notes["id"] == 0) & (notes["pass"] == number)] for number in (1, 2)]
    assert [len(trill) for trill in trills] == [31, 63]
    assert [float(trill["score_length"].sum()) for trill in trills] == pytest.approx([4, 4])
    same = reading({"tempo": 90}, made).performance.notes
    assert (same["id"] == 0).sum() == 2 * 31


def test_a_slowdown_stretches_a_trill():
    plan = {"slowing": [{"rallentando": "1", "to": "50%"}]}
    notes = reading(plan, ornamented("c4:4", {0: TRILL})).performance.notes
    assert np.all(np.diff(np.diff(notes["onset"])) > 0)
    assert np.allclose(np.diff(notes["score_onset"]), notes["score_length"][0])


def test_more_notes_than_memory_can_hold_are_refused():
    made = ornamented("c4:4000", {0: TRILL}, bars=1000)
    many = Score(**{**vars(made), "notes": np.repeat(made.notes, 100)})
    with pytest.raises(CannotDo, match="more than 1,000,000 notes"):
        reading({"tempo": 10, "articulation": {"trill speed": 16}}, many)


# -- as marks of the score


def test_ornaments_are_ignored_with_the_score_s_other_marks_or_by_themselves():
    made = ornamented("c4:1 e4:3", {0: TRILL, 1: MORDENT})
    made.notes["tremolo"][1] = 0.5
    for ignored in ("ignore", {"ignore": ["ornaments"]}):
        done = reading({"marks": ignored}, made)
        assert done.performance.notes["pitch"].tolist() == [60, 64]
        assert [(use.text, use.fate) for use in done.marks] == [
            ("trill", Fate.IGNORED), ("mordent", Fate.IGNORED), ("tremolo", Fate.IGNORED),
        ]  # fmt: skip
    assert len(reading({"marks": {"ignore": ["dynamics"]}}, made).performance.notes) == 11 + 3


def test_what_became_of_ornaments_is_told():
    made = ornamented("c4:4 c4:1 d4:1 e4:2", {0: DELAYED, 1: TRILL, 2: TRILL}, bars=2)
    uses = reading({}, made).marks
    assert [(use.section, use.text, use.place, use.count, use.fate) for use in uses] == [
        ("ornaments", "delayed turn", "1:1", 1, Fate.USED), ("ornaments", "trill", "2:1", 2, Fate.USED),
    ]  # fmt: skip
    (unheard, used) = reading({"order": ["2"]}, made).marks
    assert (unheard.text, unheard.fate) == ("delayed turn", Fate.WITHOUT_EFFECT) and used.fate == Fate.USED


# -- slides


def slide(note: int, goal: int) -> dict:
    return {"kind": "glissando", "note": note, "goal": goal, "bar": 0, "end_bar": 0, "value": np.nan}


@pytest.mark.parametrize("entry", [{"glide": "50%"}, {"from": "1:1"}, {"from": "1:1", "to": "1:3"}])
def test_a_slide_leaves_from_the_last_note_and_comes_to_the_first(entry):
    marks = [slide(0, 1)]
    made = ornamented("c4:2 e4:2", {0: TURN, 1: TRILL}, marks=marks)
    performance = reading({"glissandi": [entry]}, made).performance
    (glide,) = performance.glides
    note, goal = performance.notes[glide["note"]], performance.notes[glide["goal"]]
    assert (note["id"], note["step"], note["pitch"]) == (0, 3, 60)
    assert (goal["id"], goal["step"], goal["pitch"]) == (1, 0, 64)
    assert note["end"] == goal["onset"] == glide["arrive"]


def test_a_slide_may_carry_the_first_note_of_an_ornament():
    made = ornamented("c4:2 e4:2", {1: MORDENT}, marks=[slide(0, 1)], program=24)
    notes = reading({"glissandi": [{"arrive": "slurred"}]}, made).performance.notes
    assert notes["attack"].tolist() == [PLUCKED, CARRIED, SLURRED, SLURRED]


# -- strings

GUITAR = {"program": 24}


def strings(notes: np.ndarray) -> list[tuple[int, int]]:
    return [(int(n["string"]), int(n["fret"])) for n in notes]


def test_on_a_guitar_an_ornament_is_slurred_on_the_string_of_its_note():
    notes = reading({}, ornamented("c4:1 e4:3", {0: TURN}, neighbours=(2, 1), **GUITAR)).performance.notes
    assert notes["attack"].tolist() == [PLUCKED, SLURRED, SLURRED, SLURRED, PLUCKED]
    assert len(set(notes["string"][:4].tolist())) == 1
    assert (notes["fret"][:4] - notes["fret"][3]).tolist() == [2, 0, -1, 0]


def test_an_open_string_is_left_where_the_lower_neighbour_is_needed():
    plain = reading({}, ornamented("e4:1 e4:3", {}, **GUITAR)).performance.notes
    assert strings(plain[:1]) == [(1, 0)]
    notes = reading({}, ornamented("e4:1 e4:3", {0: MORDENT}, **GUITAR)).performance.notes
    assert strings(notes[:3]) == [(2, 5), (2, 4), (2, 5)]
    trill = reading({}, ornamented("e4:1 f4:3", {0: TRILL}, neighbours=(1, 2), **GUITAR)).performance.notes
    assert strings(trill[:3]) == [(1, 0), (1, 1), (1, 0)]


def test_a_string_that_is_asked_for_is_that_of_the_written_note():
    asked = {"strings": [{"at": "1:1", "string": 2, "fret": 5}]} | ABOVE
    notes = reading(asked, ornamented("e4:1 e4:3", {0: TRILL}, neighbours=(1, 2), **GUITAR)).performance.notes
    assert strings(notes[:3]) == [(2, 6), (2, 5), (2, 6)]
    written = ornamented("e4:1 e4:3", {0: INVERTED_TURN}, neighbours=(1, 2), **GUITAR)
    written.notes["string"][0], written.notes["fret"][0] = 3, 9
    assert strings(perform(written, reading({}).plan).performance.notes[:4]) == [(3, 7), (3, 9), (3, 10), (3, 9)]


def test_what_lies_under_the_open_string_is_plucked_on_the_next():
    asked = {"strings": [{"at": "1:1", "string": 1}]}
    notes = reading(asked, ornamented("e4:1 e4:3", {0: MORDENT}, **GUITAR)).performance.notes
    assert strings(notes[:3]) == [(1, 0), (2, 4), (1, 0)]
    assert notes["attack"][:3].tolist() == [PLUCKED] * 3


def test_below_the_lowest_string_a_neighbour_sounds_on_no_string():
    notes = reading({}, ornamented("e2:1 e4:3", {0: MORDENT}, **GUITAR)).performance.notes
    assert strings(notes[:3]) == [(6, 0), (0, -1), (6, 0)]


def test_neighbours_are_no_harmonics_and_do_not_ring_on():
    made = ornamented("e5:1 g2:3", {0: TRILL}, **GUITAR)
    made.notes["signs"][0] = Sign.LET_RING
    notes = reading({"strings": [{"at": "1:1", "harmonic": "yes"}]}, made).performance.notes
    trill = notes[notes["id"] == 0]
    assert np.array_equal(trill["technique"] == HARMONIC, trill["pitch"] == 76)
    assert trill["end"][:-1] == pytest.approx(trill["onset"][1:]) and trill["end"][-1] > 1.5


def test_the_strokes_of_a_tremolo_are_plucked():
    made = score(1, voices={1: "c4:1 e4:3"}, **GUITAR)
    made.notes["tremolo"][0] = 0.25
    notes = reading({}, made).performance.notes
    assert notes["attack"].tolist() == [PLUCKED] * 5 and len(set(strings(notes[:4]))) == 1


def test_elsewhere_nothing_is_said_of_the_left_hand():
    assert set(reading({}, ornamented("c4:1 e4:3", {0: TRILL})).performance.notes["attack"].tolist()) == {PLUCKED}


# -- laws

LENGTHS = st.sampled_from([1 / 64, 0.125, 0.25, 1 / 3, 0.5, 0.75, 1, 1.5, 2, 3, 7])
NOTES = st.tuples(st.sampled_from(["c4", "g4", "c4+e4"]), LENGTHS, st.sampled_from(list(Ornament)), st.integers(0, 3))
SLOWING = st.sampled_from(
    [[], [{"rallentando": "1-3", "to": "30%"}], [{"ritenuto": "2", "to": "50%", "then": "a tempo"}]]
)


@settings(max_examples=150, deadline=None)
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


@settings(max_examples=100, deadline=None)
@given(LENGTHS, st.integers(10, 300), st.integers(4, 16), st.sampled_from([(4, 4), (6, 8), (2, 2)]))
def test_no_trill_is_quicker_than_it_may_be_unless_it_has_three_notes_or_fewer(length, tempo, speed, metre):
    notes = first_note(f"c4:{length!r}", TRILL, {"tempo": tempo, "articulation": {"trill speed": speed}}, metre=metre)
    assume(len(notes) > 3)
    assert notes[0][1] * 60 / tempo >= 1 / speed - 1e-9
