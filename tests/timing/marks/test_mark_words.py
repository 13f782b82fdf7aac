"""The words over a score, and the tables of them in the handbook."""

from __future__ import annotations

import math
import re

import pytest
from house import PLANS
from hypothesis import example, given
from hypothesis import strategies as st

from timing.marks import vocabulary
from timing.marks.vocabulary import CHANGES, DEPTHS, FASTER, PACES, SLOWER, SWELLS, TONES
from timing.marks.words import clauses, dynamic, plain

HANDBOOK = (PLANS / "README.md").read_text(encoding="utf-8")


def said(text: str) -> list[list[tuple]]:
    """For each clause (kind, word, value) of all that it means."""
    return [[(m.kind, m.word, round(m.value, 3)) for m in meanings] for _, meanings in clauses(text)]


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("rit.", "ritardando", 0.5),
        ("poco rit.", "ritardando", 0.65),
        ("rit. molto", "ritardando", 0.4),
        ("POCO RALL.", "rallentando", 0.65),
        ("riten.", "ritenuto", 0.75),
        ("molto allargando", "allargando", 0.55),
        ("poco a poco accel.", "accelerando", 1.15),
        ("string.", "stringendo", 1.15),
        ("langsamer werdend", "ritardando", 0.5),
        ("etwas zurückhaltend", "ritenuto", 0.85),
        ("etwas gedehnt", "ritenuto", 0.85),
        ("drängend", "stringendo", 1.15),
        ("Cédez un peu", "ritardando", 0.65),
        ("cedez", "ritardando", 0.5),
        ("en retenant", "ritenuto", 0.75),
        ("très retenu", "ritenuto", 0.65),
        ("pressez", "stringendo", 1.15),
        ("retardando", "ritardando", 0.5),
        ("acelerando", "accelerando", 1.15),
        ("hold back", "ritenuto", 0.75),
        ("broaden a little", "allargando", 0.75),
        ("gradually slowing down", "ritardando", 0.5),
        ("lentando", "ritardando", 0.5),
        ("string. il tempo", "stringendo", 1.15),
        ("Nach und nach schneller", "accelerando", 1.18),
        ("sempre più mosso", "accelerando", 1.18),
        ("poco a poco più lento", "ritardando", 0.85),
    ],
)
def test_slowing_and_hurrying(text, kind, value):
    assert said(text) == [[("pace", kind, value)]]


@pytest.mark.parametrize(
    ("text", "beats"),
    [
        ("Andante", 76),
        ("Allegro con brio", 132),
        ("Andante con moto", 84),
        ("Molto allegro", 132 * 1.12),
        ("Allegro ma non troppo", 132 * 0.94),
        ("Sehr langsam", 54 * 0.88),
        ("Nicht zu schnell", 116),
        ("Lebhaft, aber nicht zu schnell", 132),
        ("Ziemlich langsam", 54 * 1.06),
        ("Calme", 66),
        ("Un peu lent", 52 * 1.06),
        ("Mässig", 92),
        ("Modéré", 92),
        ("Despacio", 54),
        ("Very slowly", 54 * 0.88),
        ("Tempo di valzer", 160),
    ],
)
def test_tempo_words(text, beats):
    meanings = said(text)[0]
    assert meanings[0][0] == "tempo" and meanings[0][2] == pytest.approx(beats, abs=1e-3)


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("a tempo", "return"), ("Im Tempo", "return"), ("au mouvement", "return"), ("a tiempo", "return"),
        ("in time", "return"), ("Zeitmaß", "return"), ("Tempo I", "first tempo"), ("Tempo primo", "first tempo"),
        ("Tempo I°", "first tempo"), ("1er Mouvement", "first tempo"), ("l'istesso tempo", "same beat"),
        ("L’istesso tempo", "same beat"), ("meno mosso", "change"), ("Più mosso", "change"), ("más lento", "change"),
        ("pizz.", "pizzicato"), ("arco", "arco"), ("espressivo", "character"), ("sul pont.", "tone"),
        ("Tempo Iº", "first tempo"), ("1º Tempo", "first tempo"), ("tempo ordinario", "return"), ("m.s.", "technique"),
        ("con sord.", "technique"), ("C. VII", "technique"), ("1/2 CII", "technique"), ("sul G string", "technique"),
        ("poco meno", "change"), ("più agitato", "character"),
    ],
)  # fmt: skip
def test_other_words(text, kind):
    assert [meaning[0] for meaning in said(text)[0]] == [kind]


def test_clauses_are_read_one_by_one():
    assert clauses("Andantino, cullando")[1] == ("cullando", ())
    found = [clause for clause, _ in clauses("Lento (♩ = 50); molto espressivo")]
    assert found == ["Lento", "molto espressivo", "♩ = 50"]
    assert said("molto rit. e dim.") == [[("pace", "ritardando", 0.4), ("swell", "diminuendo", 4.0)]]
    assert said("cresc. molto ed accel.") == [[("swell", "crescendo", 8.0), ("pace", "accelerando", 1.15)]]
    assert said("calando") == [[("pace", "rallentando", 0.65), ("swell", "diminuendo", 4.0)]]


@pytest.mark.parametrize(
    "text", ["nicht eilen", "ohne zu eilen", "sans ralentir", "senza rall.", "non rit.", "without slowing", "no rit."]
)
def test_what_is_not_to_be_done_is_not_done(text):
    assert said(text) == [[("character", "", 0)]]


@pytest.mark.parametrize(
    ("text", "kind", "mark"),
    [
        ("subito p", "dynamic", "p"), ("p subito", "dynamic", "p"), ("f possibile", "dynamic", "f"),
        ("sub. piano", "dynamic", "p"), ("poco f", "dynamic", "mf"), ("sehr leise", "dynamic", "pp"),
        ("mezzo forte", "dynamic", "mf"), ("rinforz.", "dynamic", "rfz"), ("più f", "step", "louder"),
        ("un poco più piano", "step", "softer"), ("meno f", "step", "softer"),
    ],
)  # fmt: skip
def test_dynamics_in_words(text, kind, mark):
    assert said(text) == [[(kind, mark, 0)]]


def test_ever_louder_is_a_crescendo_and_leads_to_nothing_a_diminuendo():
    assert said("sempre più f") == [[("swell", "crescendo", 4.0)]] and said("immer leiser")[0][0][1] == "diminuendo"
    assert said("dim. al niente") == [[("swell", "diminuendo", math.inf)]]
    assert said("p cresc.") == [[("dynamic", "p", 0), ("swell", "crescendo", 4.0)]]
    assert next(meanings for _, meanings in clauses("cre - scen - do"))[0].word == "crescendo"


@pytest.mark.parametrize(
    "text",
    [
        "cullando",
        "a duello",
        "The slow train",
        "D string",
        "f",
        "piano",
        "Forte",
        "CI VI",
        "Tempo perduto",
        "",
        "-",
    ],
)
def test_what_is_not_understood(text):
    assert all(meanings == [] for meanings in said(text))


@pytest.mark.parametrize("text", ["Медленно", "ゆっくり", "Πιο αργά", "慢板", "ลาก", "בהתמדה", "Pomału", "ﾞ"])
def test_words_of_any_script_are_words(text):
    assert clauses(text) == [(text, ())] and plain(text)


@pytest.mark.parametrize("text", ["______", "_ _ _", "'", "’ _ ’", "°", "- - -", "…"])
def test_lines_and_signs_are_no_words(text):
    assert clauses(text) == []


@given(st.text())
@example("_____")
@example("ﾞ, ͺ, º, ²")
def test_any_text_is_read_and_every_clause_with_a_letter_is_told(text):
    found = [clause for clause, _ in clauses(text)]
    told = "".join("".join(found).split())
    letters = [letter for letter in text.replace("1/2", "½") if letter.isalpha()]
    assert set("=<&") & set(text) or [letter for letter in told if letter.isalpha()] == letters


@pytest.mark.parametrize(
    ("letters", "does"),
    [
        ("mf", ("mf", None)), ("pppp", ("ppp", None)), ("ffff", ("fff", None)), ("n", ("ppp", None)),
        ("sf", (None, "sforzato")), ("sfz", (None, "sforzato")), ("fz", (None, "sforzato")), ("rfz", (None, "accent")),
        ("fp", ("p", 12.0)), ("sfp", ("p", 12.0)), ("xyz", None), ("", None),
    ],
)  # fmt: skip
def test_dynamic_signs(letters, does):
    assert dynamic(letters) == does


@pytest.mark.parametrize(
    ("text", "quarters"),
    [
        ("(♩ = 60)", 60), ("♩.=54", 81), ("M.M. ♪ = 100", 50), ("q = 165", 165), ("dotted quarter = 54", 81),
        ("♩ = c. 72", 72), ("♩=60–66", 63), ("\U0001d15e = 40", 80), ("\ueca5\uecb7 = 60", 90), ("Viertel = 88", 88),
        ("Halbe=50", 100),
    ],
)  # fmt: skip
def test_metronome_marks_in_words(text, quarters):
    assert said(text) == [[("number", "", quarters)]]


@pytest.mark.parametrize("text", ["♩ = ♪", "⑥ = D", "x = 5", "♩ = 1", "♩ = 12345"])
def test_what_is_no_metronome_mark(text):
    assert [m for _, meanings in clauses(text) for m in meanings if m.kind == "number"] == []


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("Tema", "heading"), ("Var. II", "heading"), ("Trio.", "heading"), ("Minore", "heading"), ("A", "heading"),
        ("R. Schumann", "heading"), ("W.A. Mozart", "heading"), ("Op. 16 Nr. 5", "heading"), ("No. 5", "figure"),
        ("Flauto", "heading"),
        ("© 2003 The Mill", "heading"), ("arr. by A. Miller", "heading"), ("I.", "figure"), ("1839", "figure"),
        ("p i m a", "figure"), ("i-m", "figure"), ("4", "figure"), ("③", "figure"), ("teneramente", "character"),
        ("Mit innigster Empfindung", "character"), ("vibrato", "technique"), ("col punto d'arco", "technique"),
    ],
)  # fmt: skip
def test_names_and_numbers_ask_for_nothing(text, kind):
    assert [meaning[0] for meaning in said(text)[0]] == [kind]


@pytest.mark.parametrize(
    ("text", "word"), [("II. Allegro", "allegro"), ("Trio. Vivace", "vivace"), ("No. 3 Lento", "lento")]
)
def test_a_tempo_after_a_name_or_a_number_is_one(text, word):
    assert [(kind, tempo) for kind, tempo, _ in said(text)[0]] == [("tempo", word)]


def test_words_that_files_spell_in_their_own_way():
    assert said("<i>sempre più piano</i>") == said("&lt;i&gt;sempre più piano&lt;/i&gt;") == said("sempre più piano")
    assert [each[0][0] for each in map(said, ("ritar -", "dan", "do"))] == [
        ("pace", "ritardando", 0.5), ("character", "", 0), ("character", "", 0),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "goal"),
    [
        ("cresc. al f", "f"), ("cresc. molto al ff", "ff"), ("dim. a pp", "pp"), ("crescendo bis zum fortissimo", "ff"),
        ("cresc.", ""), ("cresc. e f", ""), ("cresc. al fine", ""), ("cresc. al sfz", ""), ("cresc. al ffff", "fff"),
    ],
)  # fmt: skip
def test_where_a_crescendo_leads(text, goal):
    ((_, meanings),) = clauses(text)
    assert meanings[0].kind == "swell" and meanings[0].goal == goal
    assert len(meanings) == (2 if text in ("cresc. e f", "cresc. al sfz") else 1)


def test_dynamics_among_words_are_in_small_letters():
    assert said("sempre pp") == [[("dynamic", "pp", 0)]]
    assert said("ff marcato") == [[("dynamic", "ff", 0), ("character", "", 0)]]
    assert said("FF") == [[]]


def test_every_word_is_read_as_what_its_table_says():
    tables = {"pace": PACES, "swell": SWELLS, "tone": TONES}
    for kind, table in tables.items():
        for phrases in table.values():
            for phrase in phrases:
                assert kind in [meaning[0] for meaning in said(phrase)[0]], phrase
    for phrases in CHANGES.values():
        assert all([meaning[0] for meaning in said(phrase)[0]] == ["change"] for phrase in phrases)
    for phrase in vocabulary.TEMPI:
        assert said(phrase) == [[("tempo", phrase, vocabulary.TEMPI[phrase])]]


def test_no_word_slows_in_one_table_and_hurries_in_another():
    phrases = [plain(phrase) for table in (PACES, CHANGES) for each in table.values() for phrase in each]
    assert len(phrases) == len(set(phrases))


# -- the handbook


def rows(*heading: str) -> list[list[str]]:
    """The rows of the table of the handbook with this heading."""
    lines = HANDBOOK.splitlines()
    start = lines.index("| " + " | ".join(heading) + " |") + 2
    found = []
    for line in lines[start:]:
        if not line.startswith("|"):
            return found
        found.append([cell.strip() for cell in line.strip("|").split("|")])
    return found


def test_the_tempo_words_of_the_handbook_are_those_that_are_played():
    shown = [
        each.rpartition(" ") for _, cell in rows("language", "word and beats a minute") for each in cell.split(", ")
    ]
    assert {word: int(beats) for word, _, beats in shown} == vocabulary.TEMPI
    further, back = re.search(
        r"lead (\d+) % further away from 96, \*poco\* and the like (\d+) % back", HANDBOOK
    ).groups()
    assert (int(further) / 100, int(back) / 100) == (vocabulary.FURTHER, vocabulary.LESS_FAR)
    assert vocabulary.MIDDLE == 96


def test_the_depths_of_the_handbook_are_those_that_are_played():
    shown = {name: cells for name, *cells in rows("words", "plain", "with *poco*", "with *molto*")}
    swell = tuple(float(cell.removesuffix(" dB")) for cell in shown.pop("crescendo, diminuendo"))
    assert swell == vocabulary.SWELL
    found = {name: tuple(int(cell.removesuffix("%")) / 100 for cell in cells) for name, cells in shown.items()}
    assert found == DEPTHS | {
        "slower and softer": vocabulary.DYING_DEPTHS,
        "slower from here": SLOWER,
        "faster from here": FASTER,
    }


def test_the_words_of_the_handbook_are_those_that_are_understood():
    shown = {name: tuple(cell.split(", ")) for name, cell in rows("meaning", "words")}
    expected = PACES | {name: phrases for name, phrases in TONES.items()}
    expected |= {
        name: vocabulary.ALONE[value] for name, value in (("a little slower", 0.92), ("a little faster", 1.08))
    }
    expected |= {"how to play": vocabulary.TECHNIQUE, "not": vocabulary.NOT, "little by little": vocabulary.GRADUALLY}
    expected |= {f"one mark {step}": phrases for step, phrases in vocabulary.STEPS.items()}
    expected |= {marks[0]: phrases for marks, phrases in vocabulary.SPOKEN.items()}
    expected |= {"to or from nothing": vocabulary.NOTHING}
    expected |= {"crescendo": SWELLS[1], "diminuendo": SWELLS[-1], "slower and softer": vocabulary.DYING}
    expected |= {
        "a tempo": vocabulary.RETURNS,
        "tempo primo": vocabulary.FIRST_TEMPO,
        "twice as fast": vocabulary.DOUBLE,
    }
    expected |= {"slower from here": CHANGES[SLOWER], "faster from here": CHANGES[FASTER]}
    expected |= {"the same beat": vocabulary.SAME_BEAT, "pizzicato": vocabulary.PIZZICATO}
    expected |= {"end of a pizzicato": vocabulary.ARCO, "a little": vocabulary.LESS, "much": vocabulary.MORE}
    expected |= {f"{tone}, on the guitar": phrases for tone, phrases in vocabulary.GUITAR_TONES.items()}
    expected |= {"dolce": vocabulary.SWEET, "harmonics": vocabulary.HARMONICS, "rasgueado": vocabulary.RASGUEADO}
    expected |= {"end of a rasgueado or of harmonics": vocabulary.PLUCKED_AGAIN}
    expected |= {"names of what is played": vocabulary.HEADINGS, "where a crescendo leads": vocabulary.TO}
    assert shown == expected


@pytest.mark.parametrize("text", ["armonico", "armónico", "ritmico", "étude"])
def test_a_word_that_is_spelt_in_two_ways_has_its_sense_once(text):
    ((_, meanings),) = clauses(text)
    assert len(meanings) == 1
