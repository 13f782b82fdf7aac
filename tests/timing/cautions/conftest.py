"""What tests of mending share."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from support import musicxml

from timing.cautions import check, fixing
from timing.remarks import Remark


@pytest.fixture
def folder(tmp_path) -> Path:
    (tmp_path / "piece.musicxml").write_text(musicxml(8))
    return tmp_path


@pytest.fixture
def offer(monkeypatch):
    """Let remarks of one code offer what a function of the reading says, and no others anything."""

    def offer(code: str, edits):
        def told(reading, sound=None) -> list[Remark]:
            return [replace(r, fix=tuple(edits(reading)) if r.code == code else ()) for r in check(reading, sound)]

        monkeypatch.setattr(fixing, "check", told)

    return offer
