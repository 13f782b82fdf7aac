"""What takes time is done once for each reading, however many look at it: counted through the commands themselves."""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path

import pytest
from support import musicxml
from typer.testing import CliRunner

import render.page
from render.commands import check as checking
from render.commands import comparisons, sheets, takes
from render.commands import draw as drawing
from render.commands.app import app
from timing.cautions import check
from timing.comparing.alignment import align
from timing.reading import perform

PLAN = """\
score: piece.musicxml
tempo: 240
phrases: [{bars: 1-8, inside: [1-4, 5-8]}]
slowing: [{rallentando: 7-8, to: %s}]
"""
COMMANDS = (comparisons, drawing, checking, sheets, takes, render.page)  # they are loaded, with all that they call
HOUSE = ("timing", "render")


@pytest.fixture
def plans(tmp_path) -> tuple[Path, Path]:
    """Two readings of a short piece."""
    (tmp_path / "piece.musicxml").write_text(musicxml(8), encoding="utf-8")
    made = tmp_path / "one.yaml", tmp_path / "two.yaml"
    for plan, pace in zip(made, ("60%", "70%"), strict=True):
        plan.write_text(PLAN % pace, encoding="utf-8")
    return made


@pytest.fixture
def counted(monkeypatch) -> Counter[str]:
    """How often the house has performed, checked and aligned, wherever it was asked for."""
    calls: Counter[str] = Counter()
    for function in (perform, check, align):
        _count(function, calls, monkeypatch)
    return calls


def _count(function, calls: Counter[str], monkeypatch) -> None:
    def counting(*args, **more):
        calls[function.__name__] += 1
        return function(*args, **more)

    for name, module in list(sys.modules.items()):
        if name.partition(".")[0] in HOUSE and vars(module).get(function.__name__) is function:
            monkeypatch.setattr(module, function.__name__, counting)


def run(*words: str | Path) -> str:
    done = CliRunner().invoke(app, [*map(str, words)], catch_exceptions=False)
    assert done.exit_code in (0, 1), done.output
    return done.output


@pytest.mark.parametrize("others", [("plain", "misplaced"), ("exaggerated", "misplaced")], ids="-".join)
def test_a_page_of_two_plans_and_two_companions(counted, plans, tmp_path, others):
    beside = [word for kind in others for word in ("--with", kind)]
    run("compare", *plans, *beside, "-o", tmp_path / "page.html")
    assert counted == {"perform": 4, "check": 4, "align": 1}
    assert (tmp_path / "page.html").stat().st_size > 100_000


def test_a_page_of_one_plan(counted, plans, tmp_path):
    run("compare", plans[0], "-o", tmp_path / "page.html")
    assert counted == {"perform": 1, "check": 1, "align": 1}


@pytest.mark.parametrize("form", [(), ("--json",)])
def test_in_the_terminal_companions_are_not_checked(counted, plans, form):
    run("compare", *plans, "--with", "plain", "--with", "misplaced", *form)
    assert counted == {"perform": 4, "check": 2, "align": 1}


@pytest.mark.parametrize(
    ("words", "file"), [(("check",), None), (("draw",), "sheet.svg"), (("render",), "take.mid")], ids=str
)
def test_the_other_commands(counted, plans, tmp_path, words, file):
    run(*words, plans[0], *(("-o", tmp_path / file) if file else ()))
    assert counted == {"perform": 1, "check": 1}
