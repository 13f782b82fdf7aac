"""What could stand at a place: only what makes sense there, and all of it without a fault."""

from __future__ import annotations

from random import Random

import pytest
from gestures import Sitting, spot
from house import DEMOS, PLANS
from hypothesis import given
from hypothesis import strategies as st
from laws import FEW

from timing.cautions import check
from timing.changing import changed
from timing.changing.asked import TakeOffer, read_spot
from timing.changing.offers import offers
from timing.changing.spots import PageSpot
from timing.plan.older import alike, applied
from timing.plan.planfile import read_plan
from timing.reading import perform

PLAYED = {file.name: Sitting(file) for file in DEMOS}


@pytest.fixture(scope="module")
def guitar():
    return PLAYED["low-water-flowing.yaml"]


@pytest.fixture(scope="module")
def piano():
    return PLAYED["umbrella-stand-dancing.yaml"]


def offered(plan, row, offset, pass_=None, until=None):
    last = None if until is None else PageSpot(*until)
    return {each.id: each for each in offers(plan.reading, PageSpot(row, offset, pass_), last)}


def taken(plan, id_, row, offset, pass_=None, until=None):
    """The plan's text with an offer taken."""
    last = None if until is None else PageSpot(*until)
    return changed(plan.reading, [], plan.text, TakeOffer(id_, PageSpot(row, offset, pass_), last))


@FEW
@given(st.sampled_from(sorted(PLAYED)), st.integers(0, 10**9))
def test_every_offer_can_be_read_and_performed_and_is_what_it_says(name, seed):
    plan, rng = PLAYED[name], Random(seed)
    at, until = read_spot(spot(rng, plan.reading)), read_spot(spot(rng, plan.reading))
    until = until if rng.random() < 0.3 else None
    found = offers(plan.reading, at, until)
    assert len({each.id for each in found}) == len(found)
    some = rng.choice(found)
    text = changed(plan.reading, [], plan.text, TakeOffer(some.id, at, until))
    after = perform(plan.reading.source, read_plan(plan.path, text))
    check(after)
    assert alike(after.plan.source, applied(plan.reading.plan.source, some.edits))
    assert some.words and some.group and (some.entry or some.id.startswith("remove"))
    assert some.as_json().keys() == {"id", "words", "entry", "section", "group"}


def test_a_guitar_is_offered_strings_and_tones_and_slides(guitar):
    found = offered(guitar, 5, 1.5)
    assert {"tone sul tasto", "tone sul ponticello", "slide", "string 3", "string 4"} <= found.keys()
    assert found["slide"].entry == "glissandi: [{from: 5:3, to: 5:4, swell: 3 dB}]"
    assert found["string 3"].words == "on string 3 (fret 7)"
    assert "tone naturale" not in found, "it is that already"
    tasto = offered(guitar, 17, 0.0)
    assert "tone naturale" in tasto and "tone sul tasto" not in tasto


def test_a_piano_is_offered_none_of_that(piano):
    groups = {each.group for row in range(16) for each in offered(piano, row, 0.0).values()}
    assert not groups & {"tone", "strings"} and {"time", "level", "phrases", "out"} <= groups


def test_a_slide_needs_another_pitch_that_leads_to_it(guitar):
    assert "slide" not in offered(guitar, 0, 0.0), "nothing comes before"
    assert "slide" not in offered(guitar, 24, 0.0), "one stands there already"


def test_only_bars_that_are_heard_twice_can_be_softer_the_second_time(guitar, piano):
    assert all("second time" not in offered(piano, row, 0.0) for row in (0, 7, 20, 25))  # said already, or once
    assert offered(piano, 8, 0.0)["second time"].entry == "second time: [{bars: 9-16, softer: 3 dB}]"
    assert "second time" not in offered(guitar, 12, 0.0)


def test_a_rallentando_goes_into_the_place_and_back(guitar):
    assert "rallentando" not in offered(guitar, 19, 0.0), "a phrase begins there"
    within = offered(guitar, 19, 1.0)["rallentando"]
    assert within.entry == "slowing: [{rallentando: 19:1 - 19:3, to: 77%, then: a tempo}]"
    assert offered(guitar, 20, 1.5)["rallentando"].entry.startswith("slowing: [{rallentando: 19:5 - 20:4")
    assert "rallentando" not in offered(guitar, 33, 2.5), "one ends there"
    over = offered(guitar, 20, 0.0, until=(21, 3.0))
    assert over["rallentando"].words == "rallentando over this stretch"
    assert "{rallentando: 20-21," in over["rallentando"].entry


def test_a_tempo_is_offered_where_the_pace_is_held(tmp_path):
    text = f"score: {PLANS / 'umbrella-stand.musicxml'}\ntempo: 120\nslowing: [{{rallentando: 3-4, to: 80%}}]\n"
    path = tmp_path / "plan.yaml"
    path.write_text(text)
    plan = Sitting(path)
    assert "a tempo" in offered(plan, 4, 0.0) and "a tempo" not in offered(plan, 1, 0.0)
    assert "a tempo" not in offered(plan, 3, 0.0), "it is still slowing"
    assert "a tempo: 5" in taken(plan, "a tempo", 4, 0.0)


def test_a_pass_that_is_meant_stands_in_the_entry(guitar):
    assert offered(guitar, 5, 0.0, 2)["breath"].entry == "holds: [{breath: after 5:1, seconds: 0.2, pass: 2}]"
    assert "pass" not in offered(guitar, 20, 0.0, 1)["breath"].entry, "it is heard once"


def test_a_dynamic_mark_takes_the_place_of_the_one_that_stands(guitar):
    assert "mark mf" not in offered(guitar, 11, 0.0)
    text = taken(guitar, "mark ff", 11, 0.0)
    assert text == guitar.text.replace("{at: 11, mark: mf,", "{at: 11, mark: ff,")


def test_what_stands_can_be_taken_out(guitar):
    found = offered(guitar, 27, 1.0)
    words = [each.words for each in found.values() if each.group == "out"]
    assert "take out: fermata 27:1 - 27:3, length 130%" in words
    assert any(each.startswith("take out: breath after 27:3") for each in words)
    (id_,) = [id_ for id_, each in found.items() if each.words.startswith("take out: breath")]
    (gone,) = [line for line in guitar.text.splitlines(keepends=True) if "breath: after 27:3" in line]
    assert taken(guitar, id_, 27, 1.0) == guitar.text.replace(gone, "")


def test_the_melody_leads_once(guitar, tmp_path):
    assert "lead" not in offered(guitar, 3, 0.0)
    path = tmp_path / "plan.yaml"
    path.write_text(f"score: {PLANS / 'low-water.musicxml'}\ntempo: 60\nvoices: {{melody: 1 dB}}  # on top\n")
    plan = Sitting(path)
    assert taken(plan, "lead", 3, 0.0) == plan.text.replace("1 dB}", "{level: 1 dB, lead: 20 ms}}")
