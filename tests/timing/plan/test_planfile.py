"""Reading plan files: every fault at its place, all at once, and nothing but CannotDo whatever the file holds."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from laws import MANY
from planfiles import NO_MUSICIAN_S_WORDS, SCORE, faults, faults_of, plan_of, pointed_at, write
from ruamel.yaml import YAML

from timing.plan import Plan
from timing.plan.planfile import read_plan
from timing.remarks import MOST_TOLD, CannotDo

# -- one fault, at its key


@pytest.mark.parametrize(
    ("text", "at", "says"),
    [
        ("titel: x", "titel", "did you mean 'title'?"),
        ("title: ''", "''", "empty"),
        ("title: true", "true", "must be a text in quotes"),
        ("title: [a]", "[a]", "must be a text"),
        (f"title: {'x' * 201}", "xxx", "201 letters: the most is 200"),
        ("title:", "title", "nothing stands after 'title'"),
        ("tempo: 0", "0", "a tempo of 0 is out of range: it can be 5 to 1000"),
        ("tempo: 1000000000", "1000000000", "out of range"),
        ("tempo: .nan", ".nan", "is not a tempo"),
        ("tempo: .inf", ".inf", "is not a tempo"),
        ("tempo: -60", "-60", "out of range"),
        ("tempo: yes", "yes", "is not a tempo"),
        ("tempo: true", "true", "is not a tempo"),
        ("tempo: quater = 60", "quater", "'quater' is not a note value known here: whole"),
        ("tempo: [60, 70]", "70", "say 'at' which bar"),
        ("tempo: {at: 3, over: 4-5, tempo: 60}", "over", "'at' and 'over' cannot both hold"),
        ("tempo: [{at: 3, tempo: 60, curvature: 2}]", "curvature", "only a tempo that is reached 'over' a range"),
        ("tempo: [{over: 3-4, tempo: 60, curvature: 11}]", "11", "11 is out of range: it can be 1 to 10"),
        ("tempo: [{over: 3-4, tempo: 60, curvature: true}]", "true", "is not a number from 1 to 10"),
        ("slowing: [{rallentando: 7:2 - 8:3, to: 0%}]", "0%", "0% is out of range: it can be 10% to 300%"),
        ("slowing: [{rallentando: 7:2 - 8:3, to: 300%}]", "300%", "'to' must be below 100% (got 300%)"),
        ("slowing: [{rallentando: 7:2 - 8:3, to: 0.8}]", "0.8", "write 80%"),
        ("slowing: [{rallentando: 7:2 - 8:3, to: 80}]", "80", "write it with its unit, as in 80%"),
        ("slowing: [{rallentando: 7:2 - 8:3, to: 1000000000%}]", "1000", "out of range"),
        ("slowing: [{rallentando: 7:2 - 8:3, to: true}]", "true", "is not in per cent"),
        ("slowing: [{rallentando: 7:2 - 8:3, to: .nan}]", ".nan", "is not in per cent"),
        ("slowing: [{rallentando: 7:2 - 8:3, to: [80%]}]", "[80%]", "a list is not in per cent"),
        ("slowing: [{rallentando: 7:2 - 8:3, to: '80,5%'}]", "'80,5%'", "write the number with a point, as in 80.5%"),
        ("slowing: [{rallentando: 7:2 - 8:3, to: }]", "to", "nothing stands after 'to'"),
        ("slowing: [{rallentando: 7:2 - 8:3, to:80%}]", "to:80%", "after a colon comes a space, as in 'to: 80%'"),
        ("slowing: [{rallentando: 7:2 - 8:3, then: at tempo}]", "at tempo", "write 'a tempo'"),
        ("slowing: [{rallentando: 7:2 - 8:3, then: a tempo by x}]", "a tempo", "'x' is not a position"),
        ("slowing: [{rallentando: 7:2 - 8:3, louder: 3 dB}]", "louder", "only an allargando grows 'louder'"),
        ("slowing: [{rallentando: 7:2 - 8:3, why: so, then}]", "then", "nothing stands after 'then'"),
        ("slowing: [{rallentando: 7:2 - 8:3, why: a, b c}]", "b c", "a comma inside { } ends the value"),
        ("slowing: [{rallentando: 7.2}]", "7.2", "as in 7:2"),
        ("slowing: [{rallentando: 2024-01-01}]", "2024", "is not a range"),
        ("slowing: [{rallentando: {a: 1}}]", "{a: 1}", "a group of settings is not a position"),
        ("slowing: [{rallentando: 7-8, ritenuto: 8}]", "ritenuto", "'rallentando' and 'ritenuto' cannot be one entry"),
        ("slowing: [{ralentando: 7-8}]", "ralentando", "did you mean 'rallentando'?"),
        ("slowing: [{rit.: 7-8}]", "rit.", "did you mean 'ritardando'?"),
        ("slowing: [{cresc.: 7-8}]", "cresc.", "it belongs in an entry under 'dynamics'"),
        ("slowing: [{to: 80%}]", "{to", "this entry does not say what it is: it needs rallentando"),
        ("slowing: [rallentando]", "rallentando", "an entry of 'slowing' is a group of settings"),
        ("slowing: {rallentando: 7-8}", "{rall", "'slowing' is a list: begin each entry with a dash"),
        ("slowing: [{a tempo: 9, to: 80%}]", "to", "'a tempo' goes back to the basic tempo"),
        ("rallentando: 7-8", "rallentando", "it belongs in an entry under 'slowing'"),
        ("holds: [{fermata: 24:3, seconds: 2}]", "seconds", "as in length: 150%"),
        ("holds: [{fermata: 24:3, length: 1.5}]", "1.5", "write 150%"),
        ("holds: [{breath: after 16:3, length: 150%}]", "length", "as in seconds: 0.2"),
        ("holds: [{breath: after 16:3, seconds: '0,2'}]", "'0,2'", "write 0.2"),
        ("holds: [{breath: after 16:3, seconds: 60}]", "60", "it can be 0.01 to 10"),
        ("holds: [{breath: after 16:3, in time: maybe}]", "maybe", "neither yes nor no"),
        ("dynamics: [{at: 9}]", "{at", "needs a 'mark'"),
        ("dynamics: [{at: 9, mark: mff}]", "mff", "did you mean 'mf'?"),
        ("dynamics: [{at: 9, mark: f, by: 3 dB}]", "by", "a crescendo or diminuendo gets there by degrees"),
        ("dynamics: [{crescendo: 5-7, mark: f}]", "mark", "as in to mark: f"),
        ("dynamics: [{crescendo: 5-7, by: 3 dB, to mark: f}]", "to mark", "'by' and 'to mark' cannot both hold"),
        ("dynamics: [{crescendo: 7:1}]", "7:1", "needs a beginning and an end"),
        ("dynamics: [{crescendo: 5-7, by: -3 dB}]", "-3 dB", "it can be 0 dB to 40 dB"),
        ("tone: [{bars: 1, tone: ponticelo}]", "ponticelo", "did you mean 'ponticello'?"),
        ("room: smal", "smal", "did you mean 'small'?"),
        ("tone: [{bars: 1, tone: 90 cm}]", "90 cm", "it can be 1 cm to 40 cm"),
        ("tone: [{bars: 1}]", "{bars", "'tone' is missing from this entry"),
        ("second time: [{bars: 1-8}]", "{bars", "does not say what differs"),
        ("second time: [{bars: 1-8, softer: 3 dB, louder: 3 dB}]", "louder", "cannot both hold"),
        ("glissandi: [{from: 3:1, to: 3:0}]", "3:0", "beats are counted from 1"),
        ("glissandi: [{from: 3:1, to: 3:2+1/0}]", "3:2+1/0", "divides by zero"),
        ("glissandi: [{from: 3:1, to: 3:2, arrive: slured}]", "slured", "did you mean 'slurred'?"),
        ("accents: [{at: 3, pass: 0}]", "0", "is not a time through the music"),
        ("accents: [{at: 3, pass: second}]", "second", "write 2"),
        ("accents: [{at: 3, pass: lats}]", "lats", "did you mean 'last'?"),
        ("accents: [{at: 3, pass: true}]", "true", "is not a time through the music"),
        ("accents: [{at: 3, omit: yes}]", "omit", "there is no such entry to leave out"),
        ("phrases: [{bars: 1-8, inside: [1-4, 5:x]}]", "5:x", "is not a position"),
        ("phrases: [{bars: 1-8, arch: 4 dB}]", "4 dB", "is not in per cent"),
        ("phrases: [{bars: 1-8, arch: {pace: 80%}}]", "80%", "it can be 0% to 50%"),
        ("phrases: [{bars: 1-8, inside: [{bars: 1-4, arc: 3%}]}]", "arc", "did you mean 'arch'?"),
        ("voices: {melody: 3}", "3", "write it with its unit, as in 3 dB"),
        ("voices: {melody: loud}", "loud", "is not in decibels (dB)"),
        ("voices: {bass: {lead: 1 s}}", "1 s", "is not in milliseconds (ms)"),
        ("voices: {bass: {lev: 3 dB}}", "lev", "did you mean 'level'?"),
        ("voices: [melody]", "[melody]", "'voices' is a group of settings"),
        ("articulation: {staccato: 50}", "50", "write it with its unit, as in 50%"),
        ("instrument: {Violin: [x]}", "[x]", "must be a text"),
        ("order: [1-8, 9:x]", "9:x", "is not a position"),
        ("order: []", "[]", "the order is a list of bars"),
        ("order: {a: 1}", "{a: 1}", "the order is a list of bars"),
        ("without: slowing", "without", "name that plan with 'based on'"),
        ("repeats after da capo: 1", "1", "neither yes nor no"),
        ("marks: {ignore: [fermatas]}", "fermatas", "is not a kind of mark"),
        ("marks: {ignore: [{at: 3}]}", "{at: 3}", "'mark' is missing from this entry"),
        ("marks: {ignore: [{mark: fermata}]}", "{mark", "it needs at or bars"),
        ("marks: {ignore: [{at: 3:x, mark: fermata}]}", "3:x", "is not a position"),
        ("marks: {ignore: [{at: 3, mark: fermata, pas: 1}]}", "pas", "did you mean 'pass'?"),
    ],
)
def test_a_fault_stands_at_the_word_that_is_wrong(tmp_path, text, at, says):
    found = faults(tmp_path, SCORE + text)
    assert [(says in fault.message, pointed_at(fault).startswith(at)) for fault in found] == [(True, True)], found
    assert found[0].place.file == tmp_path / "plan.yaml"
    assert found[0].place.line == 2


def test_the_nearest_word_is_a_suggestion_of_its_own(tmp_path):
    found = faults(tmp_path, SCORE + "titel: x\ndynamics: [{at: 1, mark: mff}]")
    assert [fault.suggestion for fault in found] == ["title", "mf"]


def test_all_faults_are_told_at_once_in_the_order_of_the_file(tmp_path):
    text = """\
titel: x
score: a.musicxml
slowing:
  - {rallentando: 7:x, to: 300%, louder: 3 dB, why: one, two}
  - {ritenuto: 8:1, ritenuto: 9:1, to: 80}
phrases: [{inside: [1-4]}]
"""
    found = faults(tmp_path, text)
    assert [(fault.place.line, pointed_at(fault).split(":")[0]) for fault in found] == [
        (1, "titel"), (4, "7"), (4, "300%, louder"), (4, "louder"), (4, "two}"),
        (5, "ritenuto"), (5, "80}"), (6, "{inside"),
    ]  # fmt: skip
    assert "line 5, column 6" in found[5].message


def test_thousands_of_faults_are_counted_not_listed(tmp_path):
    found = faults(tmp_path, SCORE + "slowing:\n" + "  - {rallentando: 7-8, to: 500%}\n" * 3000)
    assert len(found) == MOST_TOLD + 1
    assert found[-1].message == f"... and {3000 - MOST_TOLD} more faults after these"


def test_a_section_has_a_limit(tmp_path):
    found = faults(tmp_path, SCORE + "accents:\n" + "  - {at: 1}\n" * 5001)
    assert [fault.message for fault in found] == ["'accents' has more entries than a plan can hold (5000)"]


def test_a_section_whose_entries_are_taken_out_is_empty(tmp_path):
    plan = plan_of(tmp_path, "slowing:\n#  - {rallentando: 7-8}\nvoices:\narticulation:\n")
    assert plan.slowing == ()
    assert plan.voices == {}
    assert plan.articulation.staccato == 0.5


def test_a_plan_needs_a_score(tmp_path):
    assert "does not name its score" in faults(tmp_path, "title: x\n")[0].message
    assert "does not name its score" in faults(tmp_path, "")[0].message


@pytest.mark.parametrize(
    "text", ["score: [a]", "score: true", "score: ''", f"score: {'a' * 300}.xml", f"score: {'a/' * 900}b"]
)
def test_a_score_s_name_is_a_file_s_name(tmp_path, text):
    assert "name" in faults(tmp_path, text)[0].message


@pytest.mark.parametrize("text", ["- a", "just words", "3", "[1, 2]"])
def test_a_plan_is_made_of_settings(tmp_path, text):
    assert "a plan is made of settings" in faults(tmp_path, text)[0].message


def test_the_score_is_found_from_the_plan_s_folder(tmp_path):
    assert plan_of(tmp_path, "").score == str(tmp_path / "piece.musicxml")
    assert read_plan(write(tmp_path, "score: /music/piece.xml")).score == "/music/piece.xml"


def test_a_score_is_not_a_plan(tmp_path):
    assert (
        "write a plan with the line 'score: piece.musicxml'"
        in faults_of(write(tmp_path, "", "piece.musicxml"))[0].message
    )


# -- anything at all

WORDS = sorted(
    {
        "score",
        "title",
        "slowing",
        "phrases",
        "bars",
        "inside",
        "arch",
        "pace",
        "level",
        "to",
        "then",
        "why",
        "pass",
        "omit",
        "for",
    }
    | {key for model in (Plan, *Plan.__subclasses__()) for key in model.known()}
    | {
        key
        for field in Plan.model_fields.values()
        for key in ("rallentando", "fermata", "crescendo", "at", "from", field.alias or "mark")
    }
)
VALUES = st.sampled_from(
    [
        *(
            None,
            True,
            False,
            0,
            1,
            -1,
            7,
            10**9,
            10**30,
            1.5,
            float("nan"),
            float("inf"),
            "7:2",
            "7:2 - 8:3",
            "8-7",
            "1-8",
        ),
        *(
            "80%",
            "300%",
            "3 dB",
            "-3 dB",
            "20 ms",
            "5 cm",
            "a tempo",
            "a tempo by 9:3",
            "after 16:3",
            "f",
            "mff",
            "last",
        ),
        *(
            "yes",
            "no",
            "sul tasto",
            "",
            "dotted quarter = 54",
            "tempo primo",
            "90%",
            "melody",
            "2024-01-01",
            "010",
            "0x1F",
        ),
        *("1_000", "x" * 3000, "7:" * 400, "−3 dB", "\n"),
    ]
)
TREES = st.recursive(
    VALUES,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.sampled_from(WORDS), inner, max_size=5),
    max_leaves=25,
)
FUZZ = settings(MANY, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])


def told_in_words(path: Path) -> None:
    """Reading either works or is refused with places and without the words of programmers."""
    try:
        assert isinstance(read_plan(path), Plan)
    except CannotDo as refused:
        assert refused.remarks
        for fault in refused.remarks:
            assert fault.place.file == path
            assert fault.message and "\n" not in fault.message and len(fault.message) < 500
            assert not NO_MUSICIAN_S_WORDS.search(re.sub(r"'[^']*'", "", fault.message)), fault.message


@FUZZ
@given(
    st.dictionaries(
        st.sampled_from([field.alias or name for name, field in Plan.model_fields.items()]), TREES, max_size=8
    )
)
def test_any_structure_is_read_or_refused(tmp_path, tree):
    path = tmp_path / "plan.yaml"
    yaml = YAML(typ="safe", pure=True)
    yaml.representer.ignore_aliases = lambda _: True
    with path.open("w", encoding="utf-8") as file:
        yaml.dump(tree, file)
    told_in_words(path)


@FUZZ
@given(st.text(max_size=200) | st.text(alphabet="ab:-{}[],'\"#&*!|>%@` \t\n\r0.\x85\u2028", max_size=60))
def test_any_text_is_read_or_refused(tmp_path, text):
    path = tmp_path / "plan.yaml"
    path.write_bytes(text.encode("utf-8", "surrogatepass"))
    told_in_words(path)


@FUZZ
@given(st.binary(max_size=200))
def test_any_bytes_are_read_or_refused(tmp_path, data):
    told_in_words(write(tmp_path, data))
