"""The JSON Schema says what the reader says, as far as a schema can."""

from __future__ import annotations

import json

import jsonschema
import pytest
from house import DEMOS
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError
from ruamel.yaml import YAML

from timing.plan import Plan
from timing.plan.help import HELP
from timing.plan.schema import plan_schema

SCHEMA = plan_schema()


def fits(plan: dict) -> bool:
    return jsonschema.Draft7Validator(SCHEMA).is_valid({"score": "piece.musicxml"} | plan)


def test_it_is_draft_seven():
    jsonschema.Draft7Validator.check_schema(SCHEMA)
    assert SCHEMA["$schema"] == "http://json-schema.org/draft-07/schema#"
    assert json.loads(json.dumps(SCHEMA)) == SCHEMA
    assert "$defs" not in json.dumps(SCHEMA)


def models() -> dict[str, dict]:
    return {"Plan": SCHEMA, **SCHEMA["definitions"]}


def test_every_setting_says_in_a_sentence_of_its_own_what_it_does():
    """Not only how its value is written: settings of one kind of entry say different things."""
    for name, model in models().items():
        said = {key: value.get("description", "") for key, value in model["properties"].items()}
        assert all(len(words) > 10 for words in said.values()), (name, said)
        assert len(set(said.values())) == len(said), name


def test_help_is_for_settings_that_there_are():
    for name, settings in HELP.items():
        assert settings.keys() <= models()[name]["properties"].keys()
        assert all(words == words.strip().rstrip(".") and "\n" not in words for words in settings.values())


def test_of_a_range_it_is_said_that_both_ends_count():
    told = SCHEMA["definitions"]["Slowing"]["properties"]["rallentando"]["description"]
    assert told == "slower little by little (both ends counted in)"


@pytest.mark.parametrize("path", DEMOS, ids=lambda path: path.name)
def test_every_plan_here_fits(path):
    jsonschema.Draft7Validator(SCHEMA).validate(YAML(typ="safe", pure=True).load(path))


def test_a_plan_names_its_score_or_another_plan():
    validator = jsonschema.Draft7Validator(SCHEMA)
    assert validator.is_valid({"score": "a.xml"})
    assert validator.is_valid({"based on": "a.yaml"})
    assert not validator.is_valid({"title": "x"})


@pytest.mark.parametrize(
    "plan",
    [
        {"tempo": 63},
        {"tempo": "dotted quarter = 54"},
        {"tempo": [63, {"at": 9, "tempo": "90%"}, {"over": "15-16", "tempo": "tempo primo"}]},
        {"voices": {"melody": "0 dB", "bass": {"level": "-3 dB", "lead": True}}},
        {"phrases": [{"bars": "1-8", "inside": ["1-4", 5, {"bars": 6}], "arch": "6%"}]},
        {"phrases": [{"bars": "1-8", "arch": True}, {"bars": 9, "arch": "yes"}, {"bars": 10, "arch": {"pace": True}}]},
        {"instrument": {"Violin": "violin"}},
        {"order": "1-8, 1-8"},
        {"order": ["1-8", 9]},
        {"without": "slowing", "based on": "a.yaml"},
        {"slowing": None, "voices": None, "articulation": None},
    ],
)
def test_short_forms_fit(plan):
    assert fits(plan)


@pytest.mark.parametrize(
    "plan",
    [
        {"titel": "x"},
        {"title": None},
        {"tempo": "fast"},
        {"tempo": [{"at": 3}]},
        {"voices": {"melody": "loud"}},
        {"voices": {"melody": 3}},
        {"phrases": {"bars": "1-8"}},
        {"phrases": [{"bars": "1-8", "inside": ["x"]}]},
        {"phrases": [{"bars": "1-8", "arch": "4 dB"}]},
        {"slowing": [{"rallentando": "7-8", "to": 80}]},
        {"slowing": [{"rallentando": "7-8", "to": "80"}]},
        {"slowing": [{"rallentando": "7 to 8"}]},
        {"slowing": [{"rallentando": "7-8", "ritenuto": "8"}]},
        {"slowing": [{"to": "80%"}]},
        {"slowing": [{"rallentando": "7-8", "then": "at tempo"}]},
        {"slowing": [{"rallentando": "7-8", "pass": "second"}]},
        {"holds": [{"breath": "after 16:3", "seconds": "0.2 s"}]},
        {"rubato": [{"bars": "5-8"}]},
        {"rubato": [{"bars": "5-8", "hurry": 8}]},
        {"rubato": [{"bars": "5-8", "long short": "swing"}]},
        {"rubato": [{"bars": "5-8", "late": "40 ms", "early": "40 ms", "for": "melody"}]},
        {"dynamics": [{"at": 9, "mark": "mff"}]},
        {"tone": [{"tone": "dark"}]},
        {"strings": [{"string": 3}]},
        {"strings": [{"at": "3:1", "string": 0}]},
        {"order": ["first"]},
    ],
)
def test_common_mistakes_do_not_fit(plan):
    assert not fits(plan)


PLACE, RANGE = ("7:2", 7, "7:2.5", "7:2+1/3", "12a"), ("7:2 - 8:3", "7-8", 7, "7:2")
CHANGE, YES = ("4 dB", "0.5dB"), (True, False, "yes", "no")
SAMPLES = {
    **dict.fromkeys(("at", "from"), PLACE),
    **dict.fromkeys(
        ("bars", "over", "rallentando", "allargando", "accelerando", "a tempo", "crescendo", "fermata", "agogic"), RANGE
    ),
    **dict.fromkeys(("breath", "caesura"), ("after 16:3", "16:3", 16)),
    **dict.fromkeys(("swell", "softer", "louder"), CHANGE),
    **dict.fromkeys(("late", "early"), ("40 ms", "0 MS")),
    **dict.fromkeys(("hurry", "linger"), ("8%", "0 %")),
    "keeps": ["bar line", "end"],
    "meets": ["16:1", 16, ["15:1", 16]],
    "long short": [1.6, 2, True, "no"],
    "delay": PLACE,
    "by": [*CHANGE, "40 ms"],
    **dict.fromkeys(("omit", "in time", "roll ends on the beat"), YES),
    **dict.fromkeys(("mark", "to mark"), ("ppp", "mf", "fff")),
    **dict.fromkeys(("pace peak", "level peak", "glide", "staccato"), ("40%", "33.3 %")),
    **dict.fromkeys(("why", "for", "is", "name", "title"), ("words", 7)),
    "to": ["80%", "120%", "11:1"],
    "then": ["a tempo", "a tempo by 9:3"],
    "pass": [1, 2, 99, "last", "da capo"],
    "curvature": [1, 2.5, 10],
    "length": ["150%"],
    "seconds": [0.2, 1],
    "tone": ["sul tasto", "ponticello", "5 cm"],
    "arrive": ["plucked", "slurred"],
    "dynamics": ["p"],
    "tempo": [63, "dotted quarter = 54", "90%", "tempo primo"],
    "arch": [True, "6%", "no", {"pace": "6%", "level": True}],
    "inside": [["1-4", 5], [{"bars": "1-4"}]],
}
KEYS = {
    "tempo": ["at", "over", "tempo", "curvature", "pass", "why"],
    "phrases": ["bars", "name", "inside", "arch", "pass", "why"],
    "slowing": [
        "rallentando",
        "allargando",
        "accelerando",
        "a tempo",
        "to",
        "then",
        "louder",
        "curvature",
        "pass",
        "omit",
    ],
    "rubato": ["bars", "hurry", "linger", "keeps", "late", "early", "for", "meets", "long short", "pass"],
    "holds": ["fermata", "breath", "caesura", "agogic", "delay", "length", "seconds", "in time", "by", "for", "why"],
    "dynamics": ["at", "crescendo", "mark", "by", "to mark", "for", "pass"],
    "accents": ["at", "by", "for", "pass"],
    "tone": ["bars", "tone", "for"],
    "second time": ["bars", "softer", "louder", "dynamics", "tone", "pass"],
    "glissandi": ["from", "to", "glide", "swell", "arrive", "for"],
}


def entries(keys: list[str]) -> st.SearchStrategy[dict]:
    return st.fixed_dictionaries({}, optional={key: st.sampled_from(SAMPLES[key]) for key in keys})


@given(
    st.sampled_from(sorted(KEYS)).flatmap(lambda section: entries(KEYS[section]).map(lambda entry: {section: [entry]}))
)
def test_whatever_can_be_read_fits(plan):
    try:
        Plan.model_validate({"score": "piece.musicxml"} | plan)
    except ValidationError:
        return
    jsonschema.Draft7Validator(SCHEMA).validate({"score": "piece.musicxml"} | plan)
