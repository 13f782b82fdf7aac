"""The marks of scores in music21's corpus, taken straight from the files, against what is played.

The places of dynamics, hairpins, words, fermatas and accents are found here by a walk of our own through the elements
(MusicXML 4.0): `duration`, `backup` and `forward` move the cursor. What the marks should come to is what a player reads
from the page: a dynamic holds for its part until the next one, or until a hairpin.
"""

from __future__ import annotations

import re
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from corpora import corpus, played, xml_tree

from timing.marks.uses import Fate
from timing.plan import Plan
from timing.plan.words import LEVELS
from timing.reader import read_score
from timing.reading import perform

DYNAMIC_SCORES = [  # (score, how many dynamics hold for some notes before the next mark, at least)
    ("haydn/opus74no1/movement2.mxl", 80),  # string quartets
    ("haydn/opus74no1/movement1.mxl", 60),
    ("mozart/k458/movement1.mxl", 150),
    ("beethoven/opus59no2/movement2.mxl", 80),
    ("mozart/k155/movement1.mxl", 50),
]
CHORALES = ["bach/bwv328.mxl", "bach/bwv371.mxl", "bach/bwv437.mxl", "bach/bwv383.mxl"]


def walk(path: Path):
    """(part, bar counted from 0, quarters after its bar line, element) of every note and direction."""
    for number, part in enumerate(xml_tree(path).findall("part")):
        divisions = Fraction(1)
        for bar, measure in enumerate(part.findall("measure")):
            cursor = start = Fraction(0)
            for element in measure:
                if (said := element.find("divisions")) is not None:
                    divisions = Fraction(said.text)
                length = Fraction(element.findtext("duration") or 0) / divisions
                if element.tag == "note":
                    chord = element.find("chord") is not None
                    start = start if chord else cursor
                    yield number, bar, start, element
                    cursor += 0 if chord else length
                elif element.tag == "direction":
                    shift = Fraction(element.findtext("offset") or 0) / divisions
                    yield number, bar, cursor + shift, element
                elif element.tag in ("backup", "forward"):
                    cursor += length if element.tag == "forward" else -length


def dynamics(path: Path):
    """For each part (bar, quarters, text) of dynamics and of all else that changes the level, in order."""
    found: dict[int, list] = {}
    for part, bar, at, element in walk(path):
        if element.tag != "direction":
            continue
        for sign in element.iterfind("direction-type/dynamics/*"):
            found.setdefault(part, []).append((bar, at, sign.tag))
        found.setdefault(part, []).extend((bar, at, "hairpin") for _ in element.iterfind("direction-type/wedge"))
        for words in element.iterfind("direction-type/words"):
            if re.search(r"cresc|dim|decr|dol|calando|morendo|smorz|mancando|perden|pp|ff|mf|mp|sf", words.text or ""):
                found.setdefault(part, []).append((bar, at, "words"))
    return {part: sorted(marks, key=lambda mark: mark[:2]) for part, marks in found.items()}


@pytest.mark.parametrize(("name", "least"), DYNAMIC_SCORES)
def test_a_dynamic_holds_until_the_next_mark(name, least):
    made = played(name)
    notes = made.performance.notes
    row = made.performance.bars["row"][notes["ordinal"]]
    offset = notes["score_onset"] - made.performance.bars["start"][notes["ordinal"]]
    signs = made.score.notes["signs"][notes["id"]] & 24  # accents
    held = 0
    for part, marks in dynamics(corpus(name)).items():
        for (bar, at, text), following in zip(marks, [*marks[1:], (10**6, 0, "")], strict=True):
            if text not in LEVELS or following[:2] == (bar, at):
                continue
            after = (row > bar) | ((row == bar) & (offset >= float(at) - 1e-6))
            before = (row < following[0]) | ((row == following[0]) & (offset < float(following[1]) - 1e-6))
            mine = (notes["part"] == part) & after & before & (signs == 0) & (notes["pass"] == 1)
            assert set(np.unique(notes["level"][mine])) <= {LEVELS[text]}, (part, bar, text)
            held += bool(mine.any())
    assert held >= least


@pytest.mark.parametrize("name", [name for name, _ in DYNAMIC_SCORES])
def test_every_dynamic_and_hairpin_is_used(name):
    made = played(name)
    counted = [mark for marks in dynamics(corpus(name)).values() for mark in marks]
    uses = [use for use in made.marks if use.section in ("dynamics", "accents") and use.count == 1]
    printed = {text for _, _, text in counted} - {"hairpin", "words", "other-dynamics"}
    for text in printed:
        assert sum(use.text == text for use in uses) == len({m for m in _by_part(corpus(name)) if m[3] == text}), text
    assert {use.fate for use in uses} == {Fate.USED}


def _by_part(path: Path) -> set:
    return {(part, bar, at, text) for part, marks in dynamics(path).items() for bar, at, text in marks}


@pytest.mark.parametrize("name", CHORALES)
def test_every_bar_of_a_chorale_with_a_fermata_waits(name):
    fermatas = {
        bar for _, bar, _, e in walk(corpus(name)) if e.tag == "note" and e.find("notations/fermata") is not None
    }
    made = perform(read_score(corpus(name)), Plan.model_validate({"score": name, "tempo": 60}))
    bars, time = made.performance.bars, made.performance.time
    ends = bars["start"] + bars["length"]
    waits = time.seconds(ends) - time.seconds(bars["start"]) > bars["length"] + 1e-6  # a quarter is a second
    assert set(bars["row"][waits].tolist()) == fermatas and len(fermatas) > 5
    assert {use.fate for use in made.marks if use.section == "holds"} == {Fate.USED}


def test_the_ritardandi_of_a_quartet_begin_where_they_are_printed():
    name = "schumann_robert/opus41no1/movement1.mxl"
    words = {
        (bar, element.findtext("direction-type/words").strip())
        for part, bar, _, element in walk(corpus(name))
        if element.tag == "direction" and re.match(r"rit|string", element.findtext("direction-type/words") or "")
    }
    made = played(name)
    begun = {int(made.performance.bars["row"][slow.run.first]) for slow in made.pace.slowings}
    assert begun == {bar for bar, _ in words} and len(begun) == 4
    assert {s.entry.kind for s in made.pace.slowings} == {"ritardando", "stringendo"}


def test_every_accented_note_stands_out():
    name = "weber/concertino_clarinet.mxl"
    accented = [
        (part, bar, float(at))
        for part, bar, at, e in walk(corpus(name))
        if e.tag == "note" and e.find("notations/articulations/accent") is not None
    ]
    plan = Plan.model_validate({"score": name, "marks": {"ignore": "dynamics"}})
    made = perform(read_score(corpus(name)), plan)
    notes, bars = made.performance.notes, made.performance.bars
    row, offset = bars["row"][notes["ordinal"]], notes["score_onset"] - bars["start"][notes["ordinal"]]
    for part, bar, at in accented:
        here = (notes["part"] == part) & (row == bar) & (np.abs(offset - at) < 1e-6)
        assert -9 in notes["level"][here]
    assert len(accented) > 60
    assert np.count_nonzero(notes["level"] == -9) >= len(set(accented))
