"""The score's own dynamics, accents, tones and slides."""

from __future__ import annotations

import numpy as np
import pytest
from marked import dynamic, fates, hairpin, levels, made, sign
from support import reading, score

from timing.marks.uses import Fate
from timing.performance import HARMONIC, PIZZICATO, POINTS, TECHNIQUES, TONES
from timing.plan.words import LEVELS
from timing.score import Sign

REPEATED = {"order": ["1-4", "1-4", "5-8"]}


# -- dynamics


@pytest.mark.parametrize(("text", "level"), [*LEVELS.items(), ("pppp", -28), ("ffff", 0), ("ffffff", 0), ("n", -28)])
def test_every_dynamic(text, level):
    played = made(dynamic(text, 2))
    assert levels(played, 3, 4, 31) == [-12, level, level] and fates(played) == [Fate.USED]


def test_a_dynamic_stays_until_the_next():
    assert levels(made(dynamic("p", 1), dynamic("f", 3, 2)), 0, 8, 9) == [-20, -20, -8]


def test_one_mark_more_or_less_than_the_one_before():
    def words(text: str, bar: int) -> dict:
        return sign("words", bar, text=text, end_bar=bar - 1)

    played = made(words("più f", 1), words("più f", 2), words("subito p", 3), words("più piano", 4), dynamic("fff", 5),
                  words("più forte", 6))  # fmt: skip
    assert levels(played, 0, 4, 8, 12, 16, 20) == [-8, -4, -20, -24, 0, 0]
    assert fates(played) == [Fate.USED] * 6


@pytest.mark.parametrize(
    ("marks", "quarters", "expected"),
    [
        ([sign("words", 2, text="cresc.", end_bar=3, end_offset=0.0)], (4, 8, 12, 16), [-12, -10, -8, -8]),  # dashes
        ([sign("words", 2, text="cresc.")], (4, 12, 20, 24), [-12, -10, -8, -8]),  # four bars
        ([sign("words", 2, text="cresc. molto")], (4, 20), [-12, -4]),
        ([sign("words", 2, text="dim."), dynamic("pp", 4)], (4, 8, 12), [-12, -18, -24]),
        ([sign("words", 2, text="dim."), sign("double bar", 3, 5)], (4, 8, 12, 16), [-12, -14, -16, -16]),
        ([sign("words", 2, text="sempre pp")], (0, 4), [-12, -24]),
    ],
)
def test_dynamics_in_words(marks, quarters, expected):
    marks = [mark | {"end_bar": 3} if mark.get("end_bar") == 3 else mark for mark in marks]
    assert levels(made(*marks), *quarters) == expected


def test_a_forte_piano():
    played = made(dynamic("fp", 2), voices={1: "c4:4 c4:1 c4:3 c4:8"})
    assert levels(played, 0, 4, 5) == [-12, -8, -20]


@pytest.mark.parametrize(("text", "more"), [("sf", 6), ("sfz", 6), ("fz", 6), ("rf", 3), ("rfz", 3)])
def test_a_sforzato_is_for_its_notes_alone(text, more):
    assert levels(made(dynamic(text, 2)), 3, 4, 5) == [-12, -12 + more, -12]


def test_amounts_of_accents_are_the_plan_s():
    plan = {"articulation": {"sforzato": "8 dB", "accent": "1 dB", "strong accent": "2 dB"}}
    played = made(dynamic("sf", 2), plan=plan, bars=2, voices={1: "c4:1> c4:1 c4:2 c4:4"})
    assert levels(played, 0, 1, 4) == [-11, -12, -4]
    ours = score(1)
    ours.notes["signs"][:2] = [Sign.STRONG_ACCENT, Sign.STRONG_ACCENT | Sign.ACCENT]
    assert levels(reading(plan, ours), 0, 1, 2) == [-10, -10, -12]


def test_each_part_has_its_own_dynamics():
    ours = score(4, voices={1: "c5:1 " * 16, 2: "c3:1 " * 16}, parts=("Flute", "Piano"))
    ours.notes["part"] = ours.notes["voice"] - 1
    marks = score(1, marks=[dynamic("p", 1), dynamic("f", 1, part=1), hairpin(1, 2, 1, 3, 1, part=1)]).marks
    ours = type(ours)(**(vars(ours) | {"marks": marks}))
    played = reading({}, ours)
    assert levels(played, 0, 8) == [-20, -20] and levels(played, 0, 8, part=1) == [-8, -4]


def test_the_first_staff_speaks_for_all_and_another_for_itself():
    ours = score(4, voices={1: "c5:1 " * 16, 2: "c3:1 " * 16})
    ours.notes["staff"] = ours.notes["voice"]
    marks = score(1, marks=[dynamic("p", 1), dynamic("f", 2, staff=2), dynamic("mp", 3)]).marks
    played = reading({}, type(ours)(**(vars(ours) | {"marks": marks})))
    assert levels(played, 0, 4, 8, staff=1) == [-20, -20, -16] and levels(played, 0, 4, 8, staff=2) == [-20, -8, -16]


def test_a_part_without_notes_has_no_dynamics():
    played = made(dynamic("p", 1), dynamic("f", 1, part=1), parts=("Flute", "Tacet"))
    assert fates(played) == [Fate.USED, Fate.WITHOUT_EFFECT] and levels(played, 0) == [-20]


# -- giving way


def test_dynamics_of_the_plan_go_over_the_score_s_bar_by_bar():
    played = made(dynamic("p", 1), dynamic("f", 3), dynamic("pp", 5), plan={"dynamics": [{"at": "3:3", "mark": "mp"}]})
    assert levels(played, 0, 8, 10, 16) == [-20, -20, -16, -24]
    assert fates(played) == [Fate.USED, Fate.OVERRIDDEN, Fate.USED] and played.marks[1].by is played.plan.dynamics[-1]


def test_a_crescendo_of_the_plan_also_speaks_for_the_bar_on_which_it_arrives():
    played = made(dynamic("p", 3), plan={"dynamics": [{"crescendo": "2:1 - 3:1", "by": "4 dB"}]})
    assert levels(played, 8) == [-8] and fates(played) == [Fate.OVERRIDDEN]
    assert fates(made(dynamic("p", 3), plan={"dynamics": [{"crescendo": 2, "by": "4 dB"}]})) == [Fate.USED]


def test_a_dynamic_is_overridden_on_one_pass_only():
    plan = REPEATED | {"dynamics": [{"at": 2, "mark": "f", "pass": 2}]}
    played = made(dynamic("p", 2), plan=plan)
    assert levels(played, 4, 20) == [-20, -8]
    assert (played.marks[0].fate, played.marks[0].passes) == (Fate.USED, (2,))


def test_what_the_plan_says_of_other_voices_leaves_a_dynamic_alone():
    ours = score(4, voices={1: "c5:1 " * 16, 2: "c3:1 " * 16}, parts=("Flute", "Piano"))
    ours.notes["part"] = ours.notes["voice"] - 1
    marks = score(1, marks=[dynamic("p", 2), dynamic("p", 2, part=1)]).marks
    ours = type(ours)(**(vars(ours) | {"marks": marks}))
    played = reading({"dynamics": [{"at": 2, "mark": "ff", "for": "Piano"}]}, ours)
    assert levels(played, 4) == [-20] and levels(played, 4, part=1) == [-4]
    assert fates(played) == [Fate.USED, Fate.OVERRIDDEN]


def test_accents_give_way_to_the_plan_s_in_the_same_place():
    plan = {"accents": [{"at": "1:2", "by": "1 dB"}, {"at": "2:1", "by": "2 dB"}]}
    played = made(dynamic("sf", 2), dynamic("sf", 2, 2), plan=plan, bars=2, voices={1: "c4:1> c4:1> c4:2 c4:1 c4:3"})
    assert levels(played, 0, 1, 4, 5) == [-9, -11, -10, -6]
    told = {(use.text, use.fate): use.count for use in played.marks}
    assert told == {
        ("accent", Fate.USED): 1, ("accent", Fate.OVERRIDDEN): 1, ("sf", Fate.USED): 1, ("sf", Fate.OVERRIDDEN): 1
    }  # fmt: skip


def test_a_sign_and_an_sf_on_one_note_are_one_accent():
    assert levels(made(dynamic("sf", 1), voices={1: "c4:1> c4:3 c4:28"}), 0, 1) == [-6, -12]


# -- tone


def tones(played, *quarters: float) -> list[str]:
    notes = played.performance.notes
    return [TONES[int(notes["tone"][notes["score_onset"] == at][0])] for at in quarters]


def words(text: str, bar: int, beat: float = 1, **more) -> dict:
    return sign("words", bar, beat, text=text, **more)


def test_tones_of_strings():
    marks = [words("sul tasto", 2), words("sul pont.", 3, 2), words("nat.", 4)]
    played = made(*marks, program=24)
    assert tones(played, 0, 4, 8, 9, 12) == ["naturale", "sul tasto", "sul tasto", "sul ponticello", "naturale"]
    assert fates(made(*marks, program=40)) == [Fate.USED] * 3
    assert fates(made(*marks, program=0)) == [Fate.WITHOUT_EFFECT] * 3


def plucks(played, *quarters: float) -> list[float]:
    """cm from the bridge of the notes that begin at these quarters, 0 for the usual place."""
    notes = played.performance.notes
    return [float(np.nan_to_num(notes["pluck"][notes["score_onset"] == at][0])) for at in quarters]


@pytest.mark.parametrize(("text", "softer"), [("dolce", 2), ("poco dolce", 1), ("molto dolce", 3), ("dolciss.", 2)])
def test_dolce_is_a_little_softer_and_on_the_guitar_nearer_to_the_fingerboard(text, softer):
    for program in (0, 24, 40):
        played = made(dynamic("p", 1), words(text, 2), program=program)
        assert levels(played, 3, 4, 31) == [-20, -20 - softer, -20 - softer]
        assert set(fates(played)) == {Fate.USED}
        assert plucks(played, 3, 4, 31) == ([0, 16, 16] if program == 24 else [0, 0, 0])
    assert POINTS["naturale"] + 1 < 16 < POINTS["sul tasto"] - 1
    assert tones(made(words("metallico", 2), program=24), 4) == ["sul ponticello"]


def test_dolce_lasts_until_the_next_dynamic():
    played = made(words("dolce", 2), dynamic("f", 3), words("dolce", 4), dynamic("f", 4), program=24)
    assert levels(played, 4, 8, 12) == [-14, -8, -10] and plucks(played, 4, 8, 12) == [16, 0, 16]
    played = made(words("dolce", 2), words("nat.", 3), program=24)
    assert plucks(played, 4, 8) == [16, 0] and levels(played, 4, 8) == [-14, -14]


def test_dolce_again_is_no_softer():
    played = made(words("dolce", 2), words("dolciss.", 3))
    assert levels(played, 4, 8) == [-14, -14] and fates(played) == [Fate.USED, Fate.WITHOUT_EFFECT]
    assert "dolce at 2:1" in played.marks[1].why


def test_dolce_gives_way_to_the_plan():
    plan = {"dynamics": [{"at": 2, "mark": "f"}], "tone": [{"bars": "2-8", "tone": "bright"}]}
    played = made(words("dolce", 2), plan=plan, program=24)
    assert levels(played, 4) == [-8] and plucks(played, 4) == [0] and fates(played) == [Fate.OVERRIDDEN] * 2
    assert levels(made(words("dolce", 2), plan={"marks": {"ignore": "dynamics"}}), 4) == [-12]


def test_a_plan_can_be_a_little_softer_from_a_place_on():
    plan = {"dynamics": [{"at": 2, "mark": "p", "softer": "2 dB"}, {"at": 4, "louder": "3 dB"}]}
    assert levels(made(plan=plan), 3, 4, 12) == [-12, -22, -19]


@pytest.mark.parametrize(
    ("text", "goal"), [("cresc. al f", -8), ("cresc. poco a poco al ff", -4), ("crescendo a mf", -12), ("cresc.", -16)]
)
def test_a_crescendo_leads_to_the_dynamic_that_it_names(text, goal):
    played = made(dynamic("p", 1), words(text, 2, end_bar=2, end_offset=4.0))
    assert levels(played, 4) == [-20] and levels(played, 12, 31) == [goal, goal]
    assert set(fates(played)) == {Fate.USED}
    assert levels(made(dynamic("f", 1), words("dim. al pp", 2, end_bar=2, end_offset=4.0)), 4, 12) == [-8, -24]


def test_a_tone_of_the_plan_goes_over_the_score_s_where_it_acts():
    plan = {"tone": [{"bars": "3", "tone": "sul ponticello"}]}
    played = made(words("sul tasto", 2), plan=plan, program=24)
    assert tones(played, 4, 8, 12) == ["sul tasto", "sul ponticello", "sul tasto"] and fates(played) == [Fate.USED]
    played = made(
        words("sul tasto", 2), words("nat.", 4), plan={"tone": [{"bars": "2-8", "tone": "bright"}]}, program=24
    )
    assert tones(played, 4, 12) == ["bright", "bright"] and fates(played) == [Fate.OVERRIDDEN] * 2


def test_pizzicato_of_guitars():
    played = made(words("pizz.", 2), words("nat.", 3), program=24)
    found = played.performance.notes["technique"] == TECHNIQUES.index("pizzicato")
    assert TECHNIQUES.index("pizzicato") == PIZZICATO
    assert np.flatnonzero(found).tolist() == [4, 5, 6, 7]
    assert fates(made(words("pizz.", 2), words("arco", 3), program=73)) == [Fate.WITHOUT_EFFECT] * 2


@pytest.mark.parametrize("program", [40, 42, 48])
def test_pizzicato_of_bowed_strings_ends_with_arco(program):
    played = made(words("pizz.", 2), words("arco", 3), program=program)
    assert techniques(played, PIZZICATO) == [4, 5, 6, 7] and fates(played) == [Fate.USED] * 2
    plan = {"strings": [{"bars": "2-3", "pizzicato": "yes"}]}
    assert fates(made(words("pizz.", 2), words("arco", 3), plan=plan, program=program))[0] == Fate.OVERRIDDEN
    assert fates(made(words("arco", 3), program=program)) == [Fate.WITHOUT_EFFECT]


def techniques(played, technique: int) -> list[float]:
    """The quarters at which notes of this technique begin."""
    notes = played.performance.notes
    return notes["score_onset"][notes["technique"] == technique].tolist()


# e5 and b4: the twelfth fret of the first two strings
BELLS = {1: "e5:1 b4:1 e5:1 b4:1 " * 8}


@pytest.mark.parametrize("text", ["arm.", "armonici", "harm. XII", "Arm. 12", "nat. harm.", "sons harmoniques"])
def test_harmonics_are_of_the_notes_that_the_word_stands_over(text):
    played = made(words(text, 2, 2), voices=BELLS, program=24)
    assert techniques(played, HARMONIC) == [5] and fates(played) == [Fate.USED]
    played = made(words(text, 2, 2, end_bar=2, end_offset=2.0), voices=BELLS, program=24)  # with dashes
    assert techniques(played, HARMONIC) == [5, 6, 7, 8, 9]
    played = made(words(text, 2, 2), words("nat.", 3), voices=BELLS, program=24)
    assert techniques(played, HARMONIC) == [5, 6, 7]


def test_harmonics_where_there_are_none():
    played = made(words("arm.", 2), program=0)
    assert fates(played) == [Fate.WITHOUT_EFFECT] and "guitars" in played.marks[0].why
    played = made(words("arm.", 2), voices={1: "f4:1 " * 32}, program=24)  # on no string, and it is said
    assert techniques(played, HARMONIC) == [] and "no-harmonic" in [remark.code for remark in played.remarks]
    plan = {"strings": [{"bars": 2, "harmonic": "yes"}]}
    assert fates(made(words("arm.", 2), plan=plan, voices=BELLS, program=24)) == [Fate.OVERRIDDEN]
    assert fates(made(words("vibrato", 2), program=24)) == [Fate.WITHOUT_EFFECT]


CHORDS = {1: "e3+b3+e4+g4:1 " * 32}


def spread(played, at: float) -> float:
    """Milliseconds from the first to the last note of the chord at these quarters."""
    notes = played.performance.notes
    onsets = notes["onset"][notes["score_onset"] == at]
    return round(1000 * float(onsets.max() - onsets.min()), 3)


def test_a_rasgueado_rolls_the_chords_of_its_bar():
    played = made(words("rasg.", 2), voices=CHORDS, program=24)
    assert [spread(played, at) for at in (3, 4, 7, 8)] == [0, 36, 36, 0] and fates(played) == [Fate.USED]
    notes = played.performance.notes
    struck = notes[notes["score_onset"] == 4]
    assert struck["pitch"][np.argsort(struck["onset"])].tolist() == [52, 59, 64, 67]
    played = made(words("rasg.", 2), words("punteado", 4), voices=CHORDS, program=24)
    assert [spread(played, at) for at in (4, 8, 11, 12)] == [36, 36, 36, 0] and fates(played) == [Fate.USED] * 2
    plan = {"articulation": {"rasgueado": "20 ms"}, "strings": [{"bars": 3, "rasgueado": "yes"}]}
    played = made(words("rasg.", 2), plan=plan, voices=CHORDS, program=24)
    assert [spread(played, at) for at in (4, 8, 12)] == [60, 60, 0]
    plan = {"strings": [{"bars": 2, "rasgueado": "yes", "pass": 1}]}
    assert fates(made(words("rasg.", 2), plan=plan, voices=CHORDS, program=24)) == [Fate.OVERRIDDEN]
    assert fates(made(words("rasg.", 2), voices=CHORDS, program=0)) == [Fate.WITHOUT_EFFECT]


# -- slides


def slide(**options):
    ours = score(2, voices={1: "c4:2 g4:2 c4:4"}, marks=[sign("glissando", 1, note=0, goal=1)], **options)
    ours.marks["end_offset"] = 2
    return ours


@pytest.mark.parametrize(("program", "swell"), [(24, 3), (40, 0), (73, 0)])
def test_a_slide_line_slides_by_itself(program, swell):
    played = reading({}, slide(program=program))
    (glide,) = played.performance.glides
    assert glide["swell"] == pytest.approx(swell) and fates(played) == [Fate.USED]
    assert (glide["arrive"] - glide["leave"]) == pytest.approx(0.4)  # of a note of two seconds, less than 30 %
    assert [remark for remark in played.remarks if remark.severity != "advice"] == []


def test_keys_do_not_bend():
    played = reading({}, slide(program=0))
    assert len(played.performance.glides) == 0 and fates(played) == [Fate.WITHOUT_EFFECT]


@pytest.mark.parametrize(
    ("entry", "fate"), [({"glide": "50%"}, "overridden"), ({"from": "1:1", "glide": "50%"}, "overridden")]
)
def test_a_slide_gives_way_in_the_same_place(entry, fate):
    played = reading({"glissandi": [entry]}, slide(program=24))
    (glide,) = played.performance.glides
    note = played.performance.notes[glide["note"]]
    assert (glide["arrive"] - glide["leave"]) == pytest.approx(0.5 * (note["end"] - note["onset"]))
    assert fates(played) == [fate] and glide["swell"] == 0
