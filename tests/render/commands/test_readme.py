"""The README keeps its word: its commands, its plans, its Python."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys

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


def test_the_python_of_the_readme_runs(home):
    (code,) = blocks("python")
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    subprocess.run([sys.executable, "-c", code], check=True, env=environment, cwd=home, timeout=120)
    assert (home / "take.mid").stat().st_size > 1000 and (home / "take.wav").stat().st_size > 1_000_000


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
