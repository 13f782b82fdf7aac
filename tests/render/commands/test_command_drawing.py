"""The command `draw` as users run it: files, exit status, what it says."""

from __future__ import annotations

from pathlib import Path

import doubling
import pytest
from support import musicxml

GOOD = "score: piece.musicxml\ntempo: 60\nphrases: [{bars: 1-8, inside: [1-4, 5-8]}]\n"
LATE = GOOD + "slowing: [{rallentando: 5:4 - 6:2, to: 60%, then: a tempo}]\n"


@pytest.fixture
def draw(tmp_path):
    """Run the command on a plan in a folder of its own, over a piece of eight bars."""
    (tmp_path / "piece.musicxml").write_text(musicxml(8), encoding="utf-8")

    def call(plan: str, *options: str):
        (tmp_path / "plan.yaml").write_text(plan, encoding="utf-8")
        return doubling.run("draw", "plan.yaml", *options, folder=tmp_path, COLUMNS="80")

    return call


def made(folder: Path) -> set[str]:
    return {file.name for file in folder.iterdir()} - {"piece.musicxml", "plan.yaml"}


def test_without_a_name_it_draws_a_pdf_beside_the_plan(draw, tmp_path):
    done = draw(GOOD)
    assert done.returncode == 0 and done.stderr.strip().endswith("plan.pdf")
    assert made(tmp_path) == {"plan.pdf"} and (tmp_path / "plan.pdf").read_bytes().startswith(b"%PDF-")


@pytest.mark.parametrize("name, begins", [("a.svg", b"<svg"), ("a.PNG", b"\x89PNG"), ("a.pdf", b"%PDF")])
def test_it_draws_what_the_name_ends_in(draw, tmp_path, name, begins):
    assert draw(GOOD, "-o", name, "--paper", "letter", "--curves").returncode == 0
    assert made(tmp_path) == {name} and (tmp_path / name).read_bytes().startswith(begins)


def test_a_caution_is_told_and_drawn(draw, tmp_path):
    done = draw(LATE, "-o", "a.svg")
    assert done.returncode == 1 and "slowing-mid-phrase" in done.stderr
    assert 'class="caution"' in (tmp_path / "a.svg").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "options, said",
    [
        (["-o", "a.txt"], "must end in one of .pdf, .svg, .png"),
        (["-o", "none/a.pdf"], "there is no folder none"),
        (["--paper", "a3"], "a3"),
    ],
)
def test_what_cannot_be_done_is_said_and_leaves_nothing(draw, tmp_path, options, said):
    done = draw(GOOD, *options)
    assert done.returncode == 2 and said in " ".join(done.stderr.split())
    assert "Traceback" not in done.stderr and made(tmp_path) == set()


def test_a_link_to_the_score_is_not_drawn_over(draw, tmp_path):
    (tmp_path / "a.svg").symlink_to(tmp_path / "piece.musicxml")
    before = (tmp_path / "piece.musicxml").read_bytes()
    done = draw(GOOD, "-o", "a.svg")
    assert done.returncode == 2 and "is what the music is read from" in " ".join(done.stderr.split())
    assert (tmp_path / "piece.musicxml").read_bytes() == before


def test_a_fault_of_the_plan_is_told_as_everywhere(draw, tmp_path):
    done = draw(GOOD + "slowing: [{rallentando: 90-91}]\n")
    assert done.returncode == 2 and "the score ends at bar 8" in " ".join(done.stderr.split())
    assert made(tmp_path) == set()
