"""The README keeps its word: its commands, its plans, its Python."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import doubling
import pytest
from house import DEMOS, PLANS, ROOT

from timing import check, load

README = (ROOT / "README.md").read_text(encoding="utf-8")


def blocks(language):
    return re.findall(rf"```{language}\n(.*?)```", README, re.DOTALL)


@pytest.fixture
def home(tmp_path, monkeypatch):
    """A folder with the demo beside it, as in a fresh checkout."""
    shutil.copytree(PLANS, tmp_path / "plans")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_the_plans_of_the_readme_are_read_without_a_remark(home):
    first, second = blocks("yaml")
    (home / "first-try.yaml").write_text(first)
    (home / "second.yaml").write_text(second)
    for name in ("first-try.yaml", "second.yaml"):
        assert check(load(name)) == []
    one, two = load("first-try.yaml"), load("second.yaml")
    assert len(two.pace.slowings) == len(one.pace.slowings)
    assert two.performance.time.length > one.performance.time.length


# What each example in Python leaves behind, in the order of the README, and what has to be true of it.
EXAMPLES = {
    "load": lambda left: left["reading"].order.startswith("0-2, 3-10") and len(left["reading"].performance.notes) > 300,
    "check": lambda left: left["remark"].code == "slowing-mid-phrase",
    "fix": lambda left: left["mended"].fixed and not left["mended"].remarks and "6:1 - 6:5" in left["mended"].text,
    "compare": lambda left: left["comparison"].measures.shape == (len(left["comparison"].spans), 3),
    "draft": lambda left: "phrases:" in left["drafted"].text and not Path("plans/two-stoves.yaml").exists(),
    "fit": lambda left: left["fitted"].entries and left["text"] != left["plan"].read_text(encoding="utf-8"),
    "sheet": lambda left: left["pdf"].startswith(b"%PDF-") and all(page.startswith("<svg ") for page in left["pages"]),
    "page": lambda left: left["html"].startswith("<!DOCTYPE html>") and len(left["facts"].seconds) == 2,
    "midi": lambda left: left["midi"].startswith(b"MThd"),
    "sound": lambda left: left["sound"].samples.shape[0] > 15 * 44_100 and left["sound"].samples.shape[1] == 2,
    "alike": lambda left: left["alike"] == left["other"].lowered == 0 and left["flac"].startswith(b"fLaC"),
}


@pytest.mark.parametrize("number", range(len(EXAMPLES)), ids=list(EXAMPLES))
def test_the_python_of_the_readme_runs_and_writes_nothing(home, number):
    code, left = blocks("python")[number], {}
    before = sorted(home.rglob("*"))
    exec(compile(code, "README.md", "exec"), left)
    assert list(EXAMPLES.values())[number](left)
    assert sorted(home.rglob("*")) == before


def test_there_is_an_example_for_each_of_them():
    assert len(blocks("python")) == len(EXAMPLES)


def test_the_check_shown_in_the_readme_is_what_check_says(home):
    (shown,) = blocks("text")
    plan = "plans/low-water-misplaced.yaml"
    said = doubling.run("check", plan, folder=home).stdout
    for line in " ".join(shown.split(f"$ lentando check {plan}")[1].split()).split("..."):
        assert line.strip() in " ".join(said.split())


def test_the_readme_has_two_commands_for_a_fresh_machine():
    commands = re.findall(r"^    (python3 -m venv .*)$", README, re.MULTILINE)
    assert len(commands) == 2
    demo, tests = commands
    assert (ROOT / demo.split()[-1]).is_file()
    assert "pytest" in tests


@pytest.mark.parametrize("plan", DEMOS, ids=lambda path: path.stem)
def test_the_demo_plans_earn_what_they_should(plan):
    cautions = [remark.code for remark in check(load(plan)) if remark.severity != "advice"]
    assert cautions == (["slowing-mid-phrase"] if "misplaced" in plan.name else [])
