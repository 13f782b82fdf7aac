"""Reading against counts made straight from the files, without music21, on scores of the corpus that it carries.

A note of MusicXML is a <note> with a pitch that is neither a cue nor the stop of a tie; a note of kern is a subtoken
with a pitch that is neither "_" nor "]" (Humdrum User Guide; MusicXML 4.0). Pitches and lengths are added up likewise.
"""

from __future__ import annotations

import re
from collections import Counter
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from corpora import corpus, xml_tree

from timing.reader import read_score

XML = [
    "bach/bwv66.6.mxl",  # a chorale
    "bach/bwv7.7.mxl",  # a chorale
    "haydn/opus1no1/movement1.mxl",  # string quartets
    "haydn/opus74no1/movement1.mxl",
    "mozart/k155/movement1.mxl",
    "schumann_robert/opus48no2.mxl",  # a song with piano
    "joplin/maple_leaf_rag.mxl",  # a rag
    "verdi/laDonnaEMobile.mxl",  # piano
    "schoenberg/opus19/movement2.mxl",
    "beach/prayer_of_a_tired_child.musicxml",  # voices and piano
    "weber/concertino_clarinet.mxl",  # a transposing instrument and piano
    "corelli/opus3no1/1grave.xml",
    "monteverdi/madrigal.3.1.mxl",
]
KERN = ["chopin/mazurka06-2.krn", "palestrina/Agnus_08.krn", "palestrina/Kyrie_79.krn"]
STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


def count_xml(path: Path) -> tuple[Counter, Fraction]:
    """Sounding pitches of the notes, and the length of all noteheads together, in quarters."""
    pitches, total = Counter(), Fraction(0)
    for part in xml_tree(path).findall("part"):
        divisions, shift = Fraction(1), 0
        for element in part.iterfind("measure/*"):
            if element.tag == "attributes":
                divisions = Fraction(element.findtext("divisions", str(divisions)))
                if (transpose := element.find("transpose")) is not None:
                    shift = int(transpose.findtext("chromatic")) + 12 * int(transpose.findtext("octave-change", "0"))
            if element.tag != "note" or element.find("pitch") is None or element.find("cue") is not None:
                continue
            if element.find("grace") is None:
                total += Fraction(element.findtext("duration")) / divisions
            if "stop" not in [tie.get("type") for tie in element.findall("tie")]:
                step, octave = element.findtext("pitch/step"), int(element.findtext("pitch/octave"))
                alter = round(float(element.findtext("pitch/alter", "0")))
                pitches[STEPS[step] + alter + 12 * (octave + 1) + shift] += 1
    return pitches, total


def count_kern(path: Path) -> tuple[Counter, Fraction]:
    """The same of a kern file: follows the spines through their splits (*^) and joins (*v)."""
    pitches, total = Counter(), Fraction(0)
    spines: list[str] = []
    for line in path.read_text(encoding="utf-8", errors="replace").splitlines():
        tokens = line.split("\t")
        if not line or line.startswith("!"):
            continue
        if line.startswith("**"):
            spines = tokens
        elif line.startswith("*"):
            spines = follow(spines, tokens)
        elif not line.startswith("="):
            for kind, token in zip(spines, tokens, strict=True):
                for sub in token.split() if kind == "**kern" else []:
                    found = re.search(r"([a-gA-G])\1*[#\-n]*", sub)
                    if found is None or "r" in sub:
                        continue
                    total += kern_length(sub) if "q" not in sub.lower() else 0
                    if "_" not in sub and "]" not in sub:
                        pitches[kern_pitch(found[0])] += 1
    return pitches, total


def follow(spines: list[str], tokens: list[str]) -> list[str]:
    after: list[str] = []
    joining = False
    for kind, token in zip(spines, tokens, strict=True):
        if token == "*v":
            if not joining:
                after.append(kind)
            joining = True
            continue
        joining = False
        after += [kind, kind] if token == "*^" else [] if token == "*-" else [kind]
    return after


def kern_pitch(name: str) -> int:
    letters = re.match(r"[a-gA-G]+", name)[0]
    octave = 3 + len(letters) if letters.islower() else 4 - len(letters)
    return STEPS[letters[0].upper()] + 12 * (octave + 1) + name.count("#") - name.count("-")


def kern_length(token: str) -> Fraction:
    recip = int(re.search(r"\d+", token)[0])
    length = Fraction(4, recip) if recip else Fraction(8)
    dots = token.count(".")
    return length * (2 - Fraction(1, 2**dots))


@pytest.mark.parametrize("name", XML + KERN)
def test_notes_pitches_and_lengths_are_those_of_the_file(name):
    pitches, total = (count_kern if name.endswith(".krn") else count_xml)(corpus(name))
    score = read_score(corpus(name))
    assert len(score.notes) == sum(pitches.values())
    assert Counter(score.notes["pitch"].tolist()) == pitches
    assert score.notes["length"].sum() == pytest.approx(float(total), abs=1e-6)


@pytest.mark.parametrize("name", XML + KERN)
def test_the_tables_fit_together(name):
    score = read_score(corpus(name))
    notes, heads, bars = score.notes, score.heads, score.bars
    order = np.lexsort([notes[c] for c in ("pitch", "voice", "staff", "part", "offset", "bar")])
    assert (order == np.arange(len(notes))).all()
    assert (heads["note"][notes["head"]] == np.arange(len(notes))).all()
    assert np.bincount(heads["note"], heads["length"], len(notes)) == pytest.approx(notes["length"])
    assert (notes["offset"] <= bars["length"][notes["bar"]]).all()
    assert len(set(score.parts["name"])) == len(score.parts)
    assert (score.marks["offset"] <= bars["length"][score.marks["bar"]]).all()


def test_the_chorale_has_its_pickup_and_its_fermatas():
    # BWV 66.6: one quarter of pickup in 4/4, and three quarters in the last bar (and a <forward> that fills it up)
    score = read_score(corpus("bach/bwv66.6.mxl"))
    assert score.bars[["number", "length", "shift"]][0].tolist() == (0, 1.0, 3.0)
    assert score.bars[["length", "shift"]][-1].tolist() == (3.0, 0.0)
    root = xml_tree(corpus("bach/bwv66.6.mxl"))
    assert len(score.marks_of("fermata")) == len(list(root.iter("fermata")))


def test_the_rag_has_its_repeats():
    # by the XML: <repeat> and <ending> elements in the first part, endings by their bars
    score = read_score(corpus("joplin/maple_leaf_rag.mxl"))
    (part,) = xml_tree(corpus("joplin/maple_leaf_rag.mxl")).findall("part")
    found = {"forward": [], "backward": []}
    endings = []
    for row, measure in enumerate(part.findall("measure")):
        for repeat in measure.iterfind("barline/repeat"):
            found[repeat.get("direction")].append(row)
        brackets = [e for e in measure.iterfind("barline/ending") if e.get("type") == "start"]
        endings += [(row, ending.get("number")) for ending in brackets]
    assert score.marks_of("repeat start")["bar"].tolist() == found["forward"]
    assert score.marks_of("repeat end")["bar"].tolist() == found["backward"]
    assert score.marks_of("ending")[["bar", "text"]].tolist() == endings


def test_two_spines_of_a_piano_are_one_part():
    score = read_score(corpus("chopin/mazurka06-2.krn"))
    assert len(score.parts) == 1
    assert set(score.notes["staff"]) == {1, 2}
