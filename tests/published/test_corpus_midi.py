"""Scores of music21's corpus as MIDI: as many notes as an independent count of those that are performed.

A note of MusicXML is a <note> with a pitch that is neither a cue nor the stop of a tie; a note of kern is a subtoken
with a pitch that is neither "_" nor "]" (MusicXML 4.0; Humdrum User Guide). They are counted bar by bar in the file's
own text. Which bars are performed was worked out by hand from the repeat signs on the page; the mazurka's order is the
one that its file states.
"""

from __future__ import annotations

import re
from collections import Counter
from pathlib import Path

import pytest
from corpora import corpus, xml_tree

from render.midi.file import to_midi
from timing.plan import Plan
from timing.reader import read_score
from timing.reading import perform

ALL = None

# bars as they stand in the file, counted from 0, both ends included
PERFORMED = {
    "bach/bwv66.6.mxl": ALL,  # chorales
    "bach/bwv7.7.mxl": ALL,
    "haydn/opus1no1/movement1.mxl": ["0-24", "0-24", "25-63", "25-63", "64-65"],  # string quartets
    "mozart/k156/movement1.mxl": ["0-70", "0-70", "71-179", "71-179"],
    "schumann_robert/opus48no2.mxl": ALL,  # a song with piano
    "joplin/maple_leaf_rag.mxl": [
        "0-16", "1-15", "17-33", "18-32", "34-66", "51-65", "67-83", "68-82", "84-84",
    ],  # a rag: A A B B A C C D D, each strain with two endings
    "verdi/laDonnaEMobile.mxl": ["0-34", "0-34"],  # piano
    "schoenberg/opus19/movement2.mxl": ALL,
    "beach/prayer_of_a_tired_child.musicxml": ALL,  # voices and piano
    "corelli/opus3no1/1grave.xml": ALL,  # a trio sonata
    "monteverdi/madrigal.3.1.mxl": ALL,
}  # fmt: skip


def struck(note) -> bool:
    kept = note.find("pitch") is not None and note.find("cue") is None
    return kept and all(tie.get("type") != "stop" for tie in note.findall("tie"))


def count_xml(path: Path, performed: list[str] | None) -> int:
    """Notes of the performed bars of all parts."""
    parts = [part.findall("measure") for part in xml_tree(path).findall("part")]
    bars = [sum(struck(note) for part in parts for note in part[bar].iter("note")) for bar in range(len(parts[0]))]
    ranges = [map(int, text.split("-")) for text in performed or [f"0-{len(bars) - 1}"]]
    return sum(sum(bars[first : last + 1]) for first, last in ranges)


def count_kern(path: Path) -> int:
    """Notes of the sections in the order of the file's own expansion list (`*>[I,A,A,B,B,C]`), or once through."""
    sections, here, order, spines = Counter(), "", [""], []
    for line in path.read_text(encoding="utf-8", errors="replace").splitlines():
        tokens = line.split("\t")
        if line.startswith("**"):
            spines = tokens
        elif line.startswith("*>["):
            order = tokens[0][3:-1].split(",")
        elif line.startswith("*>"):
            here = here if "[" in line else tokens[0][2:]
        elif line.startswith("*"):
            before = ["", *tokens]  # *^ splits a spine into two, neighbouring *v join
            ways = [2 if t == "*^" else t != "*v" or b != "*v" for b, t in zip(before, tokens, strict=False)]
            spines = [kind for kind, way in zip(spines, ways, strict=True) for _ in range(way)]
        elif line and line[0] not in "!=":
            kern = [token for kind, token in zip(spines, tokens, strict=True) if kind == "**kern"]
            notes = [sub for sub in " ".join(kern).split() if re.search("[a-gA-G]", sub)]
            sections[here] += sum(not re.search("[]_r]", sub) for sub in notes)
    return sum(sections[name] for name in order)


def note_ons(path: Path) -> int:
    plan = Plan.model_validate({"score": path.name, "marks": {"ignore": ["ornaments"]}})
    made = perform(read_score(path), plan).performance
    return sum(m.type == "note_on" and m.velocity > 0 for track in to_midi(made).tracks for m in track)


@pytest.mark.parametrize("name", PERFORMED)
def test_every_performed_note_of_a_musicxml_score_is_struck(name):
    assert note_ons(corpus(name)) == count_xml(corpus(name), PERFORMED[name])


@pytest.mark.parametrize("name", ["chopin/mazurka06-2.krn", "palestrina/Agnus_08.krn"])
def test_every_performed_note_of_a_kern_score_is_struck(name):
    assert note_ons(corpus(name)) == count_kern(corpus(name))
