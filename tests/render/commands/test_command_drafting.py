"""The command `draft` as users run it: files, exit status, what it says."""

from __future__ import annotations

import shutil
from functools import partial

import doubling
import pytest
from house import PLANS


@pytest.fixture
def lentando(tmp_path):
    """Run the command in a folder that holds a guitar piece."""
    shutil.copy(PLANS / "low-water.musicxml", tmp_path / "piece.musicxml")

    return partial(doubling.run, folder=tmp_path, COLUMNS="200")


def test_a_draft_stands_beside_its_score_and_can_be_checked_compared_and_heard(lentando, tmp_path):
    done = lentando("draft", "piece.musicxml")
    assert (done.returncode, done.stderr) == (0, "")
    assert "piece.yaml  " in done.stdout and "lentando render piece.yaml" in done.stdout
    assert "score: piece.musicxml" in (tmp_path / "piece.yaml").read_text(encoding="utf-8")
    checked = lentando("check", "piece.yaml")
    assert checked.returncode == 0, checked.stdout
    assert "caution" not in checked.stdout
    assert lentando("compare", "piece.yaml", "--with", "misplaced").returncode == 0
    assert lentando("render", "piece.yaml", "--amount", "50%", "-o", "half.mid").returncode == 0
    assert (tmp_path / "half.mid").stat().st_size > 1000


def test_what_is_there_stays_unless_it_is_forced(lentando, tmp_path):
    plan = tmp_path / "mine.yaml"
    plan.write_text("my own work\n", encoding="utf-8")
    done = lentando("draft", "piece.musicxml", "-o", "mine.yaml")
    assert done.returncode == 2
    assert "mine.yaml is there already: name another file with -o, or write over it with --force" in done.stderr
    assert plan.read_text(encoding="utf-8") == "my own work\n"
    assert lentando("draft", "piece.musicxml", "-o", "mine.yaml", "--force").returncode == 0
    assert "phrases:" in plan.read_text(encoding="utf-8")


def test_phrases_alone(lentando, tmp_path):
    assert lentando("draft", "piece.musicxml", "--phrases-only").returncode == 0
    keys = [line for line in (tmp_path / "piece.yaml").read_text(encoding="utf-8").splitlines() if line[:1].isalpha()]
    assert [key.partition(":")[0] for key in keys] == ["title", "score", "phrases"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["nothing.musicxml"], "nothing.musicxml does not exist"),
        (["plan.yaml"], "plan.yaml is not a score that can be read"),
        (["piece.musicxml", "-o", "plan.txt"], "the name of a plan ends in .yaml or .yml"),
        (["piece.musicxml", "-o", "nowhere/plan.yaml"], "there is no folder nowhere"),
    ],
)
def test_what_cannot_be_is_refused_in_words_and_leaves_nothing(lentando, tmp_path, words, said):
    (tmp_path / "plan.yaml").write_text("score: piece.musicxml\n", encoding="utf-8")
    before = sorted(path.name for path in tmp_path.iterdir())
    done = lentando("draft", *words)
    assert done.returncode == 2
    assert said in done.stderr
    assert "Traceback" not in done.stderr
    assert sorted(path.name for path in tmp_path.iterdir()) == before
