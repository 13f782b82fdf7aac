"""The entries of a plan as a page lists them: in words, where they lie, as a form."""

from __future__ import annotations

import json

import pytest
from gestures import Sitting, sitting
from house import DEMOS, PLANS

from timing.changing.entries import entries
from timing.changing.spots import PageSpot

TOP = f"score: {PLANS / 'umbrella-stand.musicxml'}\ntempo: 120\n"


def fields(entry):
    return {field.key: field for field in entry.fields}


@pytest.fixture(scope="module")
def plan():
    return Sitting(PLANS / "low-water-flowing.yaml")


@pytest.mark.parametrize("demo", DEMOS, ids=lambda demo: demo.stem)
def test_every_entry_of_the_plan_is_listed_where_it_stands(demo):
    plan = Sitting(demo)
    lines = plan.text.splitlines()
    listed = entries(plan.reading)
    own = [each for each in listed if each.file is None]
    assert own and len({(each.section, each.line, each.column, each.file) for each in listed}) == len(listed)
    for each in own:
        begins = lines[each.line - 1][each.column - 1 :]
        assert begins and not begins[0].isspace() and each.line <= each.last <= len(lines)
        assert lines[each.last - 1].strip() and not lines[each.last - 1].lstrip().startswith("#")
        if begins.startswith("{"):
            text = "\n".join([begins, *lines[each.line : each.last]])
            assert text.count("{") <= text.count("}") or each.section == "phrases"
        assert each.words and "\n" not in each.words
    json.dumps([each.as_json() for each in listed])
    if "based on" in plan.text:
        assert {each.file for each in listed} == {None, "low-water-flowing.yaml"}


def test_an_entry_says_in_words_what_it_is(plan):
    words = {each.words for each in entries(plan.reading)}
    assert words >= {
        "rallentando 9:4 - 10:5, to 84%, then a tempo, pass 1", "p at 0", "sul tasto 16:6 - 18",
        "breath after 27:3, seconds 0.25", "diminuendo 24:4 - 27:1, to mark p", "mp at 15:5, for inner",
        "slide from 23:4, to 24:1, glide 30%, swell 4 dB, sung", "tempo dotted quarter = 56", "phrase 16:6 - 18 (echo)",
        "second time 3-9, softer 1 dB, pass 3", "bass: level -4 dB", "strings 0 - 2:5, let ring",
        "accent at 24, by 2 dB, for melody",
    }  # fmt: skip


def test_a_span_is_each_hearing(plan):
    slow = plan.entry("slowing", "rallentando 5:4")
    assert slow.spans == tuple((PageSpot(5, 1.5, p), PageSpot(6, 2.5, p)) for p in (1, 2, 3))
    assert plan.entry("slowing", "rallentando 9:4 - 10").spans == ((PageSpot(9, 1.5, 1), PageSpot(10, 2.5, 1)),)
    (breath,) = plan.entry("holds", "breath after 18").spans
    assert breath == (PageSpot(18, 3.0, 1),) * 2 or breath[0].offset == 3.0
    assert plan.entry("title", "title").spans == ()
    ((start, end),) = plan.entry("glissandi", "slide").spans
    assert (start.place, end.place) == ((23, 1.5), (24, 0.0))


def test_what_can_be_drawn_is_said(plan):
    assert plan.entry("slowing", "rallentando").handles == ("start", "end", "whole", "depth")
    assert plan.entry("holds", "breath").handles == ("whole", "amount")
    assert plan.entry("dynamics", "crescendo").handles == ("start", "end", "whole", "amount")
    assert plan.entry("dynamics", "p at 0").handles == ("whole",)
    assert plan.entry("voices", "bass").handles == ()
    assert plan.entry("phrases", "phrase 28").handles == ("start", "end", "whole")


def test_a_form_has_the_settings_that_the_kind_can_have_with_their_limits_and_help(plan):
    slow = fields(plan.entry("slowing", "rallentando 5:4"))
    assert list(slow) == ["kind", "rallentando", "to", "then", "curvature", "pass", "why"]
    assert slow["kind"].choices == ("rallentando", "ritardando", "ritenuto", "allargando")
    to = slow["to"]
    assert (to.value, to.kind, to.least, to.most, to.usual) == ("88%", "percent", 10, 300, "88%")
    assert to.help == "the pace against the basic tempo as the range ends, arches included"
    assert slow["pass"].choices == ("1", "2", "3", "last", "da capo")
    assert slow["curvature"].usual == "3" and slow["then"].value == "a tempo"
    assert "louder" in fields(plan.entry("slowing", "allargando"))
    phrase = fields(plan.entry("phrases", "phrase 2:6 - 12:5"))
    assert phrase["arch pace"].value == "6%" and phrase["arch pace peak"].usual == "40%"
    assert phrase["arch level"].value == "3 dB" and "inside" not in phrase
    hairpin = fields(plan.entry("dynamics", "crescendo 12:6"))
    assert hairpin["by"].value == "6 dB" and hairpin["to mark"].choices[0] == "ppp" and "mark" not in hairpin
    breath = fields(plan.entry("holds", "breath after 18"))
    assert breath["seconds"].kind == "seconds" and breath["seconds"].usual == "0.2" and "length" not in breath
    assert fields(plan.entry("holds", "fermata 33"))["length"].usual == "150%"
    assert fields(plan.entry("voices", "bass"))["lead"].choices == ("yes", "no")
    assert fields(plan.entry("tone", "sul tasto"))["tone"].open
    assert fields(plan.entry("title", "title"))["title"].kind == "text"


def test_the_usual_depth_is_the_one_that_counts(tmp_path):
    plan = sitting(tmp_path, TOP + "slowing:\n- rallentando: 7:1 - 8:1  # no number\n- {accelerando: 10}\n")
    slow, fast = (fields(each)["to"] for each in entries(plan.reading) if each.section == "slowing")
    assert (slow.value, slow.usual, fast.usual) == (None, "84%", "115%")


def test_an_arch_in_short_is_its_pace(tmp_path):
    plan = sitting(tmp_path, TOP + "phrases: [{bars: 1-8, arch: 6%}, {bars: 9-16, arch: yes}]\n")
    short, usual = (fields(each) for each in entries(plan.reading) if each.section == "phrases")
    assert short["arch pace"].value == "6%" and short["arch level"].value is None
    assert usual["arch pace"].value == "yes" == usual["arch level"].value


def test_marks_of_the_score_are_no_entries_of_the_plan(tmp_path):
    plan = sitting(tmp_path, f"score: {PLANS / 'umbrella-stand.musicxml'}\n")
    assert plan.reading.plan.dynamics and entries(plan.reading) == []
