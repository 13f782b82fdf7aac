"""Scores that are read from files of a few lines."""

from __future__ import annotations

import pytest
from written import FOUR_FOUR, bar, musicxml

from timing.reader import read_score
from timing.score import Score


@pytest.fixture
def read(tmp_path):
    def read(content: str | bytes, name: str = "a.musicxml") -> Score:
        path = tmp_path / name
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        return read_score(path, cache=False)

    return read


@pytest.fixture
def one(read):
    """A score of one bar of 4/4."""
    return lambda content, attributes="": read(musicxml([bar(content, 1, FOUR_FOUR + attributes)]))
