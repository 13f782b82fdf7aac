"""The handbook of the plan language: every example in it works, and every key of the language is in it."""

from __future__ import annotations

import re
import shutil

import jsonschema
import pytest
from house import PLANS
from ruamel.yaml import YAML

from render.telling.explain import BEGIN
from soundfonts import guitar
from timing.cautions import check
from timing.loading import load
from timing.plan import Plan
from timing.plan.entry import Words
from timing.plan.planfile import read_plan
from timing.plan.schema import plan_schema
from timing.plan.sound import Articulation, Glissando
from timing.plan.time import Arch
from timing.plan.words import LEVELS

HANDBOOK = (PLANS / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```yaml\n(.*?)^```", HANDBOOK, re.MULTILINE | re.DOTALL)
# What teaches the language; the pages of the codes show it too, but are no place to learn it from.
LANGUAGE = re.findall(r"^```yaml\n(.*?)^```", HANDBOOK.partition(BEGIN)[0], re.MULTILINE | re.DOTALL)
WHOLE = next(block for block in reversed(LANGUAGE) if "score:" in block)


def groups(model: type[Words] = Words) -> list[type[Words]]:
    return [each for sub in model.__subclasses__() for each in (sub, *groups(sub))]


@pytest.fixture
def read(tmp_path):
    def read(block: str) -> Plan:
        (tmp_path / "quiet.yaml").write_text(WHOLE, encoding="utf-8")
        plan = tmp_path / "plan.yaml"
        plan.write_text(with_score(block), encoding="utf-8")
        return read_plan(plan)

    return read


def with_score(block: str) -> str:
    return block if re.search("^(score|based on):", block, re.MULTILINE) else f"score: umbrella-stand.musicxml\n{block}"


@pytest.mark.parametrize("block", BLOCKS)
def test_every_example_can_be_read(block, read):
    assert read(block).score


# What a piece of a plan may earn, since it is no whole one; the handbook says so.
OF_A_PIECE = ("second-time-same", "no-phrases")
TEMPI = {"low-water": "dotted quarter = 54"}


@pytest.mark.parametrize("block", LANGUAGE)
def test_every_example_works_on_a_score_that_is_there(block, tmp_path):
    for score in PLANS.glob("*.musicxml"):
        shutil.copy(score, tmp_path)
    (tmp_path / "quiet.yaml").write_text(WHOLE, encoding="utf-8")
    text = with_score(block)
    if not re.search("^(tempo|based on):", block, re.MULTILINE):
        text += f"tempo: {next((tempo for name, tempo in TEMPI.items() if name in text), 126)}\n"
    plan = tmp_path / "plan.yaml"
    plan.write_text(text, encoding="utf-8")
    told = [remark.code for remark in check(load(plan), guitar) if remark.accepted is None]
    assert [code for code in told if code not in OF_A_PIECE] == []
    if block == WHOLE:
        assert told == []


def test_what_a_piece_of_a_plan_may_earn_is_said():
    assert all(f"(`{code}`)" in HANDBOOK for code in OF_A_PIECE)


def test_every_link_leads_somewhere():
    headings = [re.sub("[^a-z0-9 -]", "", line.lower()).replace(" ", "-") for line in
                re.findall("^#+ (.*)$", HANDBOOK, re.MULTILINE)]  # fmt: skip
    links = re.findall(r"\]\(#([^)]+)\)", HANDBOOK)
    assert len(links) > 20 and [link for link in links if link not in headings] == []


def test_every_section_is_in_the_table_of_contents():
    contents = HANDBOOK.partition("## What is where")[2].partition("## Places")[0]
    sections = re.findall("^##+ (.*)$", HANDBOOK.partition("## What is where")[2].partition(BEGIN)[0], re.MULTILINE)
    assert [section for section in sections if f"[{section}]" not in contents] == []


@pytest.mark.parametrize("block", BLOCKS)
def test_every_example_fits_the_schema(block):
    jsonschema.Draft7Validator(plan_schema()).validate(YAML(typ="safe", pure=True).load(with_score(block)))


@pytest.mark.parametrize("model", groups(), ids=lambda model: model.__name__)
def test_every_key_is_shown_in_an_example(model):
    examples = "\n".join(LANGUAGE)
    assert [key for key in model.known() if not re.search(rf"(^|[{{ ,]){key}:", examples, re.MULTILINE)] == []


def test_the_second_reading_is_what_the_handbook_says(read):
    plan = read(next(block for block in BLOCKS if "based on:" in block))
    assert [(entry.kind, entry.to, entry.passes) for entry in plan.slowing] == [
        ("rallentando", 0.9, 1),
        ("allargando", 0.6, "last"),
    ]
    assert [hold.kind for hold in plan.holds] == ["fermata", "breath", "caesura"]
    assert plan.second_time == ()
    assert plan.title == "Waltz for an Umbrella Stand, a brisk reading"


def test_the_values_said_to_count_if_nothing_is_written_do(read):
    shown = next(block for block in BLOCKS if block.startswith("articulation:"))
    assert read(shown).articulation.model_dump() == Articulation().model_dump()
    assert (Arch().pace_peak, Arch().level_peak) == (0.40, 0.55)
    assert Glissando.model_validate({"from": "1:1", "to": "2:1"}).glide == 0.30


def test_the_table_of_dynamics_is_the_one_that_is_played():
    marks, _, levels = re.search(r"^\| ppp .*\n.*\n.*", HANDBOOK, re.MULTILINE)[0].splitlines()
    cells = [[cell.strip() for cell in row.strip("|").split("|")] for row in (marks, levels)]
    assert {mark: float(level.removesuffix(" dB")) for mark, level in zip(*cells, strict=True)} == LEVELS
