"""Scores of the corpus that music21 carries, and their elements as the files have them."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from xml.etree.ElementTree import ElementTree, parse
from zipfile import ZipFile

from timing.plan import Plan
from timing.reader import read_score
from timing.reading import Reading, perform


def corpus(name: str) -> Path:
    import music21

    return Path(music21.__file__).parent / "corpus" / name


@cache
def played(name: str) -> Reading:
    """The reading of a plan that says nothing."""
    return perform(read_score(corpus(name)), Plan.model_validate({"score": name}))


@cache
def xml_tree(path: Path) -> ElementTree:
    """The score of a file of MusicXML, packed or not."""
    if path.suffix != ".mxl":
        return parse(path)
    with ZipFile(path) as archive:
        inside = [name for name in archive.namelist() if name.endswith("xml") and not name.startswith("META-INF")]
        return parse(archive.open(inside[0]))
