"""Tuning and capo as scores have them: in elements, and in words over the music."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from written import FOUR_FOUR, bar, musicxml, note

from timing.instruments.tuning import retuned
from timing.marks.uses import Fate
from timing.plan import Plan
from timing.plan.strings import TUNINGS
from timing.reader import _parse, guard, read_stream, tabulate
from timing.reader.tunings import string_words
from timing.reading import Reading, perform

CLEF = "<clef><sign>G</sign><line>2</line><clef-octave-change>-1</clef-octave-change></clef>"
STANDARD = ("E2", "A2", "D3", "G3", "B3", "E4")
CAPO = "<staff-details><staff-lines>6</staff-lines>{}<capo>{}</capo></staff-details>"
LINES = "".join(
    f'<staff-tuning line="{line}"><tuning-step>{pitch[0]}</tuning-step><tuning-octave>{pitch[1]}</tuning-octave>'
    "</staff-tuning>"
    for line, pitch in enumerate(STANDARD, 1)
)


def words(*texts: str, more: str = "") -> str:
    said = "".join(f"<words {more}>{text}</words>" for text in texts)
    return f"<direction><direction-type>{said}</direction-type></direction>"


def at(string: int, fret: int) -> str:
    return f"<notations><technical><string>{string}</string><fret>{fret}</fret></technical></notations>"


def guitar(*bars: str, attributes: str = CLEF, name: str = "Classical guitar") -> str:
    first, *others = bars
    made = [bar(first, 1, FOUR_FOUR + attributes), *(bar(text, n) for n, text in enumerate(others, 2))]
    return musicxml(made, names=(name,))


def read(text: str, **plan) -> Reading:
    score = tabulate(_parse(guard.Raw(Path("x.musicxml"), "xml", text.encode())))
    return perform(score, Plan.model_validate({"score": "x.musicxml", "tempo": 60} | plan))


def places(reading: Reading) -> list[tuple[int, int, int]]:
    return reading.performance.notes[["pitch", "string", "fret"]].tolist()


def codes(reading: Reading) -> list[str]:
    return [remark.code for remark in reading.remarks]


# -- a capo in the score's elements: open strings sound higher, pitches sound already (MusicXML 4.0)

AT_THREE = note("G4", 2, at(1, 0)) + note("A2", 2, at(6, 2))


@pytest.mark.parametrize("lines", [LINES, ""])
def test_frets_count_from_the_capo_of_the_score(lines):
    played = read(guitar(AT_THREE, attributes=CLEF + CAPO.format(lines, 3)))
    assert places(played) == [(67, 1, 0), (45, 6, 2)]
    assert played.performance.tunings[0, :6].tolist() == [67, 62, 58, 53, 48, 43]
    assert codes(played) == []


@pytest.mark.parametrize(("capo", "higher"), [(0, -3), (2, -1), (3, 0), (5, 2)])
def test_the_plans_capo_moves_the_sound_and_not_the_hand(capo, higher):
    played = read(guitar(AT_THREE, attributes=CLEF + CAPO.format(LINES, 3)), capo=capo)
    assert places(played) == [(67 + higher, 1, 0), (45 + higher, 6, 2)]
    assert played.capos.tolist() == [capo]
    assert codes(played) == []


def test_the_tuning_of_a_plan_goes_under_the_capo_of_the_score():
    played = read(guitar(AT_THREE, attributes=CLEF + CAPO.format(LINES, 3)), tuning="dropped D")
    assert played.performance.tunings[0, :6].tolist() == [67, 62, 58, 53, 48, 41]


def test_a_capo_and_strings_with_a_point_are_whole_numbers():
    written = guitar(AT_THREE, attributes=CLEF + CAPO.format(LINES, "3.0")).replace("<string>1<", "<string>1.0<")
    assert places(read(written)) == [(67, 1, 0), (45, 6, 2)]


@pytest.mark.parametrize(("before", "after"), [('line="1"', 'line="x"'), ("<tuning-octave>2", "<tuning-octave>2.5")])
def test_a_string_that_cannot_be_is_left_out_of_the_tuning(before, after):
    played = read(guitar(AT_THREE, attributes=CLEF + CAPO.format(LINES.replace(before, after, 1), 3)))
    assert [remark.code for remark in played.remarks if remark.code == "bad-number"] == ["bad-number"]


@pytest.mark.parametrize("capo", ["", "three", "-1", "999"])
def test_a_capo_that_is_no_fret(capo):
    assert read(guitar(AT_THREE, attributes=CLEF + CAPO.format(LINES, capo))).capos.tolist() == [0]


def test_a_capo_means_nothing_without_a_guitar():
    played = read(guitar(AT_THREE, attributes=CLEF + CAPO.format(LINES, 3), name="Violin"))
    assert played.performance.notes["pitch"].tolist() == [67, 45]
    assert not played.capos.any()


# -- a capo in words


@pytest.mark.parametrize(
    ("text", "fret"),
    [
        ("Capo III", 3), ("capo 3", 3), ("Capotasto 2", 2), ("Cejilla 3", 3), ("capo al 3° tasto", 3),
        ("Capo on 3rd fret", 3), ("Capo at fret 5", 5), ("Capodastre case II", 2), ("Kapodaster im 4. Bund", 4),
        ("Capo: VII", 7), ("cejilla en III", 3),
        ("Da capo 2", 0), ("D.C. al Fine", 0), ("½ Cejilla III", 0), ("capo 30", 0), ("Capo", 0), ("Capo XIII", 0),
    ],
)  # fmt: skip
def test_words_for_a_capo(text, fret):
    assert string_words(text).capo == fret


def test_a_capo_in_words_is_told_and_nothing_is_moved():
    played = read(guitar(words("Capo III") + note("G3", 4)))
    assert played.performance.notes["pitch"].tolist() == [55]
    (remark,) = [remark for remark in played.remarks if remark.code == "capo-in-words"]
    assert remark.suggestion == "capo: 3"
    assert (remark.bar, remark.severity) == (1, "advice")
    assert [(use.text, use.fate) for use in played.marks] == [("Capo III", Fate.WITHOUT_EFFECT)]


@pytest.mark.parametrize(
    ("plan", "attributes", "fate", "pitch"),
    [
        ({"capo": 3}, "", Fate.OVERRIDDEN, 58),
        ({"capo": 0}, "", Fate.OVERRIDDEN, 55),
        ({"marks": "ignore"}, "", Fate.IGNORED, 55),
        ({}, CAPO.format(LINES, 3), Fate.USED, 55),
        ({}, CAPO.format(LINES, 2), Fate.WITHOUT_EFFECT, 55),
        ({"instrument": "violin"}, "", Fate.WITHOUT_EFFECT, 55),
    ],
)
def test_a_capo_in_words_beside_what_else_is_said(plan, attributes, fate, pitch):
    played = read(guitar(words("Capo III") + note("G3", 4), attributes=CLEF + attributes), **plan)
    assert [use.fate for use in played.marks] == [fate]
    assert played.performance.notes["pitch"].tolist() == [pitch]
    assert "capo-in-words" not in codes(played)


def test_a_cejilla_later_on_may_be_a_barre():
    played = read(guitar(note("G3", 4), words("Cejilla III") + note("G3", 4)))
    assert [(use.text, use.fate) for use in played.marks] == [("Cejilla III", Fate.WITHOUT_EFFECT)]


# -- tuning in words


@pytest.mark.parametrize(
    ("text", "tuning"),
    [
        ("⑥ = D", {6: 2}), ("6 = Re", {6: 2}), ("6ª en Re", {6: 2}), ("6th string to D", {6: 2}), ("VI = Re", {6: 2}),
        ("Drop D", {6: 2}), ("Dropped D tuning", {6: 2}), ("Double drop D", {1: 2, 6: 2}), ("⑥ D", {6: 2}),
        ("⑥ in D ⑤ in G", {6: 2, 5: 7}), ("⑥=D, ⑤=G", {6: 2, 5: 7}), ("⑤ = Sol y ⑥ = Re", {5: 7, 6: 2}),
        ("accordez la 6e corde en ré", {6: 2}), ("La sixième corde en ré", {6: 2}), ("Scordatura ⑥=D", {6: 2}),
        ("6. Saite nach D stimmen", {6: 2}), ("sexta cuerda en Re", {6: 2}), ("Sesta in Re", {6: 2}),
        ("6.ª em Ré", {6: 2}), ("low E to D", {6: 2}), ("tune the 6th string down to D", {6: 2}), ("(6) = D", {6: 2}),
        ("③ = F#", {3: 6}), ("③ = Fis", {3: 6}), ("③ = Fa sostenido", {3: 6}), ("⑥ = Eb", {6: 3}), ("⑥ = Es", {6: 3}),
        ("② = H", {2: 11}), ("② = B", {2: 11}), ("② = Bb", {2: 10}), ("2. Saite = B", {2: 10}), ("② = Sib", {2: 10}),
        ("DADGAD", {6: 2, 5: 9, 4: 2, 3: 7, 2: 9, 1: 2}),
        ("Tuning: D A D G B E", {6: 2, 5: 9, 4: 2, 3: 7, 2: 11, 1: 4}),
        ("Stimmung: D A D G H E", {6: 2, 5: 9, 4: 2, 3: 7, 2: 11, 1: 4}), ("⑦ = C", {7: 0}), ("⑥=D⑤=G", {6: 2, 5: 7}),
        ("tune 6th string to a low D", {6: 2}), ("⑥ = la", {6: 9}),
        # what means something else
        ("Étude 6 in D", {}), ("Sonata 6a in Re maggiore", {}), ("VI in D", {}), ("1=C", {}), ("6 to D", {}),
        ("③ a", {}), ("♩ = 60", {}), ("a tempo", {}), ("CV", {}), ("② C II", {}), ("2nd time to D", {}), ("⑥ = X", {}),
        ("FACADE", {}), ("2ª cuerda en la posición V", {}), ("6th string to a", {}),
        ("sul D", {}), ("drop dead", {}), ("x" * 500 + " ⑥ = D", {}),
    ],
)  # fmt: skip
def test_words_for_a_tuning(text, tuning):
    assert string_words(text).tuning == tuning


def test_what_else_the_words_say_is_left():
    said = string_words("Andante, ⑥ = D; Capo II")
    assert (said.tuned, said.capo_words, said.rest) == ("⑥ = D", "Capo II", "Andante")
    assert string_words("Andante con moto").rest == "Andante con moto"


@given(st.text(st.sampled_from("⑥⑤ =→:()[].,;-1236abdeginrstDEHVIX#♭ªº½ré"), max_size=40), st.booleans())
def test_any_words_are_read_and_none_of_them_lost(text, german):
    said = string_words(text, german)
    assert all(1 <= string <= 10 and 0 <= note_ <= 11 for string, note_ in said.tuning.items())
    assert bool(said.tuning) == bool(said.tuned)
    assert 0 <= said.capo <= 12
    if not said.tuning and not said.capo:
        assert said.rest == " ".join(text.split()) or "⑥" in text or "⑤" in text


@given(st.lists(st.integers(0, 12), min_size=12, max_size=12))
def test_each_string_goes_down_or_a_little_up_to_its_note(asked):
    base = TUNINGS["standard"]
    made = retuned(base, asked)
    for string, (before, note_, after) in enumerate(zip([*base, *[0] * 6], asked, made, strict=True)):
        if note_ and after:
            assert after % 12 == note_ - 1
            assert string > 5 or -8 <= after - before <= 3
        else:
            assert after == before


def test_a_tuning_in_words_is_used():
    played = read(guitar(words("⑥ = D") + note("D2", 2) + note("G2", 2)))
    assert places(played) == [(38, 6, 0), (43, 6, 5)]
    assert [(use.section, use.text, use.place, use.fate) for use in played.marks] == [
        ("tuning", "⑥ = D", "1:1", Fate.USED)
    ]
    assert codes(played) == []


@pytest.mark.parametrize("name", ["Guitarra", "Gitarre", "Guitar 2"])
def test_a_word_for_a_tempo_beside_a_tuning_keeps_its_own(name):
    played = read(guitar(words("Andante 6th string to D") + note("D2", 4), name=name))
    assert [(use.text, use.fate) for use in played.marks if use.section == "tuning"] == [("6th string to D", Fate.USED)]
    assert [use.text for use in played.marks if use.section == "tempo"] == ["Andante"]
    assert played.performance.notes["string"].tolist() == [6]


def test_a_figure_in_a_circle_of_its_own():
    written = (
        '<direction><direction-type><words enclosure="circle">6</words><words> = D</words></direction-type></direction>'
    )
    played = read(guitar(written + note("D2", 4)))
    assert [(use.text, use.fate) for use in played.marks] == [("⑥ = D", Fate.USED)]


def test_german_words_that_say_so():
    low = read(guitar(words("② = B", more='xml:lang="de"') + note("D3", 4)))
    assert low.performance.tunings[0, :6].tolist() == [64, 58, 55, 50, 45, 40]


def test_the_tuning_of_the_plan_goes_over_that_in_words():
    played = read(guitar(words("⑥ = D") + note("E2", 4)), tuning="standard")
    assert places(played) == [(40, 6, 0)]
    assert [use.fate for use in played.marks] == [Fate.OVERRIDDEN]


@pytest.mark.parametrize("ignored", ["ignore", {"ignore": ["tuning"]}])
def test_a_tuning_in_words_can_be_ignored(ignored):
    played = read(guitar(words("⑥ = D") + note("E2", 4)), marks=ignored)
    assert played.performance.tunings[0, 5] == 40
    assert [use.fate for use in played.marks] == [Fate.IGNORED]


def test_words_take_the_strings_from_where_the_score_has_them():
    lowered = LINES.replace("<tuning-step>E", "<tuning-step>D", 1)  # of the lowest line
    details = f"<staff-details><staff-lines>6</staff-lines>{lowered}</staff-details>"
    played = read(guitar(words("⑥ = D") + note("D2", 4), attributes=CLEF + details))
    assert played.performance.tunings[0, 5] == 38


def test_strings_are_tuned_once():
    played = read(guitar(note("E2", 4), words("⑥ = D") + note("E2", 4)))
    assert played.performance.tunings[0, 5] == 40
    assert [(use.fate, use.why) for use in played.marks] == [
        (Fate.WITHOUT_EFFECT, "strings are tuned once, before the piece begins")
    ]


def test_a_tuning_is_for_its_part_alone():
    second = [bar(words("⑥ = D") + note("D2", 4), 1, FOUR_FOUR + CLEF)]
    text = musicxml([bar(note("E2", 4), 1, FOUR_FOUR + CLEF)], second, names=("Guitar 1", "Guitar 2"))
    assert read(text).performance.tunings[:, 5].tolist() == [40, 38]


@pytest.mark.parametrize("text", ["⑥ = X", "6. Saite = W"])
def test_what_is_not_understood_stays_so(text):
    played = read(guitar(words(text) + note("E2", 4)))
    assert [use.fate for use in played.marks] == [Fate.NOT_UNDERSTOOD]


def test_words_for_strings_mean_nothing_on_a_violin():
    played = read(guitar(words("IV = D") + note("G3", 4), name="Violin"))
    assert [(use.text, use.fate) for use in played.marks] == [("IV = D", Fate.WITHOUT_EFFECT)]
    assert not played.performance.tunings.any()


def test_the_words_stay_in_the_file_that_is_engraved(tmp_path):
    file = tmp_path / "words.musicxml"
    file.write_text(guitar(words("Andante", "⑥ = D", "Capo II") + note("D2", 4)), encoding="utf-8")
    assert [element.text for element in read_stream(file).tree.iter("words")] == ["Andante", "⑥ = D", "Capo II"]


@given(st.integers(0, 12), st.integers(0, 12), st.integers(0, 7), st.integers(1, 6))
def test_frets_stay_whatever_capo_the_plan_puts_on(mine, planned, fret, string):
    sounding = TUNINGS["standard"][string - 1] + mine + fret
    names = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
    pitch = f"{names[sounding % 12]}{sounding // 12 - 1}"
    played = read(guitar(note(pitch, 4, at(string, fret)), attributes=CLEF + CAPO.format(LINES, mine)), capo=planned)
    assert np.array_equal(places(played)[0], (sounding - mine + planned, string, fret))


NONE = ["A B C D E F", "F A C E G B", "first in G", "Third to C", "second to B", "fifth in D"]
SOME = ["D A D G A D", "C G D G A D", "D G D G B D", "E A D G B E", "E B E G# B E", "sexta en Re"]


@pytest.mark.parametrize("text", NONE)
def test_letters_and_ordinals_that_tune_nothing(text):
    assert string_words(text).tuning == {}


@pytest.mark.parametrize("text", SOME)
def test_letters_and_ordinals_that_do(text):
    assert string_words(text).tuning[6] in (0, 2, 4)
