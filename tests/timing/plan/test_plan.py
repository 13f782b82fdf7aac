"""What the models of a plan hold: every key of the language, its short forms, its units, its place."""

from __future__ import annotations

from pathlib import Path

import pytest
from pydantic import ValidationError

from timing.plan import Plan
from timing.plan.planfile import read_plan
from timing.plan.position import parse_position, parse_range
from timing.plan.sound import Dynamic, SecondTime
from timing.plan.time import Hold, Phrase, Slowing, TempoMark


def plan(**sections) -> Plan:
    return Plan.model_validate({key.replace("_", " "): value for key, value in sections.items()})


def test_an_empty_plan_asks_for_nothing():
    empty = Plan.model_validate({})
    assert not any(
        (empty.tempo, empty.voices, empty.phrases, empty.slowing, empty.holds, empty.dynamics, empty.accents)
    )
    assert not any((empty.tone, empty.second_time, empty.glissandi, empty.order, empty.instrument))


def test_every_key_of_the_language(tmp_path: Path):
    path = tmp_path / "plan.yaml"
    path.write_text(
        """\
title: The Tide Mill, a quiet reading
score: tide-mill.musicxml
instrument: classical guitar       # or one per part
tempo: 63                          # or `dotted quarter = 54`; a list with `at:` where it changes
order: [1-8, 1-8, 9-24, 1-8]       # optional
voices:
  melody: 0 dB
  bass: -3 dB
  inner: -9 dB
phrases:
  - {bars: 1-8, inside: [1-4, 5-8], arch: {pace: 6%, pace peak: 40%, level: 3 dB, level peak: 55%}}
  - {bars: 9-24, inside: [9-12, 13-16, 17-24]}
slowing:
  - {rallentando: 7:2 - 8:3, to: 80%, then: a tempo, pass: 1, why: the bass is still walking}
  - {ritenuto: 23:1 - 24:3, to: 70%, then: a tempo}
  - {allargando: 7:1 - 8:3, to: 55%, louder: 3 dB, pass: last}
holds:
  - {fermata: 24:3, length: 150%}
  - {breath: after 16:3, seconds: 0.2}
dynamics:
  - {at: 1, mark: mp}
  - {crescendo: 5:1 - 7:1, by: 4 dB}
tone:
  - {bars: 13-14, tone: sul ponticello}
second time:
  - {bars: 1-8, softer: 4 dB, tone: sul tasto}
glissandi:
  - {from: 10:3, to: 11:1, glide: 30%, swell: 4 dB}
""",
        encoding="utf-8",
    )
    made = read_plan(path)
    assert (made.title, made.instrument, made.tempo[0].tempo) == (
        "The Tide Mill, a quiet reading",
        "classical guitar",
        63,
    )
    assert made.order == tuple(map(parse_range, ("1-8", "1-8", "9-24", "1-8")))
    assert {name: voice.level for name, voice in made.voices.items()} == {"melody": 0, "bass": -3, "inner": -9}
    first, second = made.phrases
    assert (first.arch.pace, first.arch.pace_peak, first.arch.level, first.arch.level_peak) == (0.06, 0.40, 3, 0.55)
    assert [str(inner.bars) for inner in second.inside] == ["9-12", "13-16", "17-24"]
    rallentando, ritenuto, allargando = made.slowing
    assert (rallentando.kind, rallentando.where, rallentando.to) == ("rallentando", parse_range("7:2 - 8:3"), 0.8)
    assert (rallentando.then, rallentando.passes, rallentando.why) == (True, 1, "the bass is still walking")
    assert (ritenuto.kind, ritenuto.passes) == ("ritenuto", None)
    assert (allargando.louder, allargando.passes) == (3, "last")
    fermata, breath = made.holds
    assert (fermata.where, fermata.length) == (parse_range("24:3"), 1.5)
    assert (breath.where, breath.seconds) == (parse_position("16:3"), 0.2)
    assert (made.dynamics[0].mark, made.dynamics[1].by) == ("mp", 4)
    assert made.tone[0].tone == "sul ponticello"
    assert (made.second_time[0].softer, made.second_time[0].tone) == (4, "sul tasto")
    slide = made.glissandi[0]
    assert (slide.from_, slide.to, slide.glide, slide.swell) == (parse_position("10:3"), parse_position("11:1"), 0.3, 4)


@pytest.mark.parametrize(
    ("short", "long"),
    [
        ({"tempo": 63}, {"tempo": [{"tempo": 63}]}),
        ({"tempo": [63, {"at": 9, "tempo": "90%"}]}, {"tempo": [{"tempo": 63}, {"at": 9, "tempo": "90%"}]}),
        ({"tempo": {"tempo": "dotted quarter = 54"}}, {"tempo": 81}),
        ({"voices": {"bass": "-3 dB"}}, {"voices": {"bass": {"level": "-3 dB"}}}),
        (
            {"phrases": [{"bars": "1-8", "inside": ["1-4", 5]}]},
            {"phrases": [{"bars": "1-8", "inside": [{"bars": "1-4"}, {"bars": "5"}]}]},
        ),
        ({"phrases": [{"bars": "1-8", "arch": "6%"}]}, {"phrases": [{"bars": "1-8", "arch": {"pace": "6%"}}]}),
        ({"phrases": [{"bars": 1, "arch": True}]}, {"phrases": [{"bars": 1, "arch": {"pace": True, "level": True}}]}),
        (
            {"phrases": [{"bars": 1, "arch": "yes"}]},
            {"phrases": [{"bars": 1, "arch": {"pace": "yes", "level": "yes"}}]},
        ),
        ({"phrases": [{"bars": 1, "arch": "no"}]}, {"phrases": [{"bars": 1}]}),
        ({"order": "1-8, 1-8"}, {"order": ["1-8", "1-8"]}),
        ({"order": 3}, {"order": [3]}),
        ({"slowing": [{"rallentando": 7, "pass": "2"}]}, {"slowing": [{"rallentando": "7", "pass": 2}]}),
        ({"holds": [{"breath": "16:3", "in time": "yes"}]}, {"holds": [{"breath": "after 16:3", "in time": True}]}),
        ({"tone": [{"bars": 1, "tone": "ponticello"}]}, {"tone": [{"bars": 1, "tone": "sul ponticello"}]}),
        ({"tone": [{"bars": 1, "tone": "Sul  Tasto"}]}, {"tone": [{"bars": 1, "tone": "tasto"}]}),
        ({"tone": [{"bars": 1, "tone": "5 cm from the bridge"}]}, {"tone": [{"bars": 1, "tone": "5 cm"}]}),
        ({"title": 1812}, {"title": "1812"}),
    ],
)
def test_short_forms_say_the_same(short, long):
    assert Plan.model_validate(short).model_dump() == Plan.model_validate(long).model_dump()


@pytest.mark.parametrize("tempo", [{"at": 3, "tempo": 1.5}, {"tempo": "fast"}])
def test_in_python_faults_are_validation_errors(tempo):
    with pytest.raises(ValidationError):
        plan(tempo=[tempo])


def test_tempi_that_lean_on_others():
    marks = plan(tempo=[63, {"at": 9, "tempo": "90%"}, {"at": 17, "tempo": "Tempo primo"}]).tempo
    assert [mark.tempo for mark in marks] == [63.0, "90%", "tempo primo"]


def test_then_is_a_tempo_at_once_or_by_a_place():
    assert Slowing.model_validate({"rallentando": 7, "then": "a tempo"}).then is True
    assert Slowing.model_validate({"rallentando": 7, "then": "a tempo by 9:3"}).then == parse_position("9:3")


def test_hurrying_may_come_back_to_less_than_the_tempo():
    assert Slowing.model_validate({"accelerando": 7, "to": "95%"}).to == 0.95
    with pytest.raises(ValidationError, match="'to' must be below 100%"):
        Slowing.model_validate({"rallentando": 7, "to": "100%"})


@pytest.mark.parametrize(
    ("model", "entry", "kind"),
    [
        (Slowing, {"a tempo": "9-10"}, "a tempo"),
        (Slowing, {"stringendo": "9-10"}, "stringendo"),
        (Hold, {"agogic": "9:1"}, "agogic"),
        (Dynamic, {"decrescendo": "9-10"}, "decrescendo"),
        (Dynamic, {"at": 9, "mark": "fff"}, "at"),
    ],
)
def test_an_entry_has_one_kind_and_its_place(model, entry, kind):
    made = model.model_validate(entry)
    assert made.kind == kind
    assert made.where == made.value(kind) is not None
    assert str(made.where) == str(entry[kind])


def test_an_entry_may_be_the_only_thing_that_says_no():
    assert SecondTime.model_validate({"bars": "1-8", "dynamics": "p"}).dynamics == "p"
    with pytest.raises(ValidationError, match="does not say what differs"):
        SecondTime.model_validate({"bars": "1-8", "pass": 2, "why": "x"})


def test_a_gradual_tempo_bends_evenly_in_time():
    assert TempoMark.model_validate({"over": "3-4", "tempo": 60}).curvature == 2


def test_places_lead_back_to_the_file(tmp_path):
    path = tmp_path / "plan.yaml"
    path.write_text(
        "score: a.xml\ntempo: 63\nphrases:\n  - {bars: 1-8, inside: [1-4, 5]}\nvoices: {bass: -3 dB}\norder: [1-8]\n"
    )
    made = read_plan(path)
    (phrase,) = made.phrases

    def at(place) -> tuple[int, int]:
        return place.line, place.column

    assert at(made.tempo[0].place("tempo")) == (2, 8)
    assert at(phrase.place()) == (4, 5)
    assert at(phrase.place("bars")) == (4, 12)
    assert [at(inner.place("bars")) for inner in phrase.inside] == [(4, 26), (4, 31)]
    assert at(made.voices["bass"].place("level")) == (5, 16)
    assert at(made.place("order")) == (6, 8)
    assert Phrase.model_validate({"bars": 1}).place("bars") is None


def test_a_phrase_may_be_its_bars_alone():
    plan = Plan.model_validate({"score": "x", "phrases": ["1-4", {"bars": "5-8"}, 9]})
    assert [str(phrase.bars) for phrase in plan.phrases] == ["1-4", "5-8", "9"]


def test_a_plan_may_be_made_of_entries_made_in_python():
    plan = Plan(score="x", tempo=[TempoMark(tempo=63)], phrases=[Phrase(bars="3-10")])
    assert (plan.tempo[0].tempo, str(plan.phrases[0].bars)) == (63, "3-10")
