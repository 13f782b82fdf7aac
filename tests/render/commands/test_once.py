"""What takes time is done once for each reading, however many look at it: counted through the commands themselves."""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path

import pytest
from house import PLANS
from typer.testing import CliRunner

import render.page
from render.commands import check as checking
from render.commands import comparisons, sheets, takes
from render.commands import draw as drawing
from render.commands.app import app
from timing.cautions import check
from timing.comparing.alignment import align
from timing.reading import perform

FIRST, SECOND = PLANS / "low-water-flowing.yaml", PLANS / "low-water-inward.yaml"
COMMANDS = (comparisons, drawing, checking, sheets, takes, render.page)  # they are loaded, with all that they call
HOUSE = ("timing", "render")


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
def test_a_page_of_two_plans_and_two_companions(counted, tmp_path, others):
    beside = [word for kind in others for word in ("--with", kind)]
    run("compare", FIRST, SECOND, *beside, "-o", tmp_path / "page.html")
    assert counted == {"perform": 4, "check": 4, "align": 1}
    assert (tmp_path / "page.html").stat().st_size > 1_000_000


def test_a_page_of_one_plan(counted, tmp_path):
    run("compare", FIRST, "-o", tmp_path / "page.html")
    assert counted == {"perform": 1, "check": 1, "align": 1}


@pytest.mark.parametrize("form", [(), ("--json",)])
def test_in_the_terminal_companions_are_not_checked(counted, form):
    run("compare", FIRST, SECOND, "--with", "plain", "--with", "misplaced", *form)
    assert counted == {"perform": 4, "check": 2, "align": 1}


@pytest.mark.parametrize(
    ("words", "file"), [(("check",), None), (("draw",), "sheet.svg"), (("render",), "take.mid")], ids=str
)
def test_the_other_commands(counted, tmp_path, words, file):
    run(*words, FIRST, *(("-o", tmp_path / file) if file else ()))
    assert counted == {"perform": 1, "check": 1}
