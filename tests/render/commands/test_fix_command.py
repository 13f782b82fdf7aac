"""`lentando check --fix` as users run it: what is written, what is said, and what stays as it was."""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import stat
import subprocess
import time
from functools import partial
from pathlib import Path

import doubling
import pytest
from house import COMMAND, PLANS, ROOT
from support import musicxml

GOOD = """\
title: Prélude  # ♩ = 60
score: piece.musicxml
tempo: 60
phrases:
  - {bars: 1-8, inside: [1-4, 5-8]}
"""
STALE = "accept:\n  - {code: slowing-mid-phrase, at: 6:2, because: the shift}\n"


@pytest.fixture
def run(tmp_path):
    """Run `check` on plan.yaml in a folder of its own, beside a score of eight bars."""
    (tmp_path / "piece.musicxml").write_text(musicxml(8))

    def run(*words, plan: str | bytes | None = None):
        if plan is not None:
            (tmp_path / "plan.yaml").write_bytes(plan if isinstance(plan, bytes) else plan.encode())
        return doubling.run("check", "plan.yaml", *words, folder=tmp_path)

    return run


@pytest.fixture
def plan(tmp_path):
    return tmp_path / "plan.yaml"


def test_a_plan_is_mended_and_the_difference_shown(run, plan):
    done = run("--fix", plan=GOOD + STALE)
    assert done.returncode == 0 and plan.read_bytes() == (GOOD + "accept:\n").encode(), done.stderr
    lines = done.stdout.splitlines()
    assert lines[:3] == ["--- plan.yaml", "+++ plan.yaml, mended", "@@ -4,4 +4,3 @@"]  # of 7 lines
    assert [line for line in lines[3:] if line[:1] in ("+", "-")] == [f"-{STALE.splitlines()[1]}"]
    assert "order    1-8" in done.stdout and "caution" not in done.stdout


def test_the_difference_has_the_lines_of_the_file_and_no_more(run, plan):
    text = "score: piece.musicxml\ntempo: 60\nphrases: [1-8]\nslowing: [{rallentando: 4:1 - 4:4, to: 90%}]\n"
    lines = run("--fix-advice", plan=text).stdout.split("\n\n")[0].splitlines()[3:]
    new = [line[1:] for line in lines if line[0] in "+ "]
    assert new and new == plan.read_text(encoding="utf-8").splitlines()[-len(new) :]


ADVISED = "score: piece.musicxml\ntempo: 60\nphrases: [1-8]\nslowing: [{rallentando: 4:1 - 4:4, to: 90%}]\n"


def test_advice_is_mended_where_it_is_asked_for(run, plan):
    done = run("--fix", plan=ADVISED)
    assert plan.read_text() == ADVISED and "nothing is mended" in done.stdout
    assert "--fix-advice mends as the advice says" in done.stdout
    done = run("--fix-code", "no-return")
    assert plan.read_text() == ADVISED.replace("to: 90%", "to: 90%, then: a tempo")
    assert "--fix-advice" in done.stdout  # the slowdown in the middle of the phrase
    done = run("--fix-advice")
    assert "4:1" not in plan.read_text() and "--fix-advice" not in done.stdout


def test_a_code_that_there_is_not_is_refused(run, plan):
    done = run("--fix-code", "no-retrun", plan=ADVISED)
    assert done.returncode == 2 and "did you mean no-return?" in done.stderr and plan.read_text() == ADVISED


def test_mending_twice_is_mending_once(run, plan):
    run("--fix", plan=GOOD + STALE)
    before, time_ = plan.read_bytes(), plan.stat().st_mtime_ns
    done = run("--fix")
    assert done.returncode == 0 and "nothing is mended" in done.stdout
    assert (plan.read_bytes(), plan.stat().st_mtime_ns) == (before, time_)


def test_as_json_it_says_what_is_mended_and_what_is_left(run, plan):
    done = run("--fix", "--json", plan=GOOD + STALE + "tone: [{bars: 1, tone: 5 cm}]\n")
    said = json.loads(done.stdout)
    assert set(said) == {"fixed", "diff", "remarks"}
    assert "acceptance-unmatched" in [remark["code"] for remark in said["fixed"]]
    assert said["diff"].startswith("--- plan.yaml\n+++ plan.yaml, mended\n@@ ")
    assert f"\n-{STALE.splitlines()[1]}\n" in said["diff"]
    assert done.returncode == any(remark["severity"] == "caution" for remark in said["remarks"])
    assert json.loads(run("--fix", "--json").stdout) == {"fixed": [], "diff": "", "remarks": said["remarks"]}


def test_what_is_left_takes_a_musician(run, plan):
    text = GOOD + STALE.replace("mid-phrase", "mid-phase")
    done = run("--fix", plan=text)
    assert done.returncode == 1 and plan.read_text(encoding="utf-8") == text
    assert "nothing is mended" in done.stdout and "did you mean 'slowing-mid-phrase'?" in done.stdout
    assert "What is left takes a musician to decide." in done.stdout


def test_without_fix_nothing_is_written(run, plan):
    done = run(plan=GOOD + STALE)
    assert done.returncode == 1 and plan.read_text() == GOOD + STALE and "leave the entry out" in done.stdout


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ((GOOD + STALE).replace("\n", "\r\n"), (GOOD + "accept:\n").replace("\n", "\r\n")),
        ("\ufeff" + GOOD + STALE, "\ufeff" + GOOD + "accept:\n"),
        (GOOD + STALE.rstrip(), GOOD + "accept:"),
        (STALE + "\n\n" + GOOD + "# the end", "accept:\n\n\n" + GOOD + "# the end"),
    ],
    ids=["CRLF", "byte order mark", "no last line end", "at the beginning"],
)
def test_the_rest_of_the_file_stays_to_the_byte(run, plan, before, after):
    assert run("--fix", plan=before).returncode == 0
    assert plan.read_bytes() == after.encode()


def test_permissions_and_links_are_kept(run, plan, tmp_path):
    real = tmp_path / "sub" / "real.yaml"
    real.parent.mkdir()
    real.write_text(GOOD + STALE, encoding="utf-8")
    real.chmod(0o640)
    plan.symlink_to(real)
    assert run("--fix").returncode == 0
    assert plan.is_symlink() and real.read_bytes() == (GOOD + "accept:\n").encode()
    assert stat.S_IMODE(real.stat().st_mode) == 0o640
    assert sorted(os.listdir(tmp_path)) == ["piece.musicxml", "plan.yaml", "sub"]
    assert os.listdir(real.parent) == ["real.yaml"]


def test_a_plan_that_may_not_be_written_stays(run, plan):
    plan.write_text(GOOD + STALE)
    plan.chmod(0o444)
    done = run("--fix")
    assert done.returncode == 2 and "protected against writing" in done.stderr and "Traceback" not in done.stderr
    assert plan.read_text() == GOOD + STALE
    said = json.loads(run("--fix", "--json").stdout)
    assert [remark["code"] for remark in said["remarks"]] == ["cannot-write"] and said["fixed"] == []
    assert run("--fix", plan=None).returncode == 2


def test_a_plan_that_may_not_be_written_is_no_matter_where_nothing_is_mended(run, plan):
    plan.write_text(GOOD)
    plan.chmod(0o444)
    assert run("--fix").returncode == 0


def test_a_plan_that_cannot_be_read_stays_and_its_faults_are_told(run, plan):
    text = GOOD + "slowng: []\naccents: [{at: 0:0}]\n"
    done = run("--fix", plan=text)
    assert done.returncode == 2 and plan.read_text() == text
    assert "did you mean 'slowing'?" in done.stderr and "beats are counted from 1" in done.stderr
    said = json.loads(run("--fix", "--json").stdout)
    assert [remark["severity"] for remark in said["remarks"]] == ["error", "error"] and said["diff"] == ""


@pytest.mark.parametrize("words", [("--fix",), ("--fix", "--json")])
def test_there_is_no_such_plan(run, plan, words):
    done = run(*words)
    assert done.returncode == 2 and "there is no such file" in " ".join((done.stdout + done.stderr).split())
    assert not plan.exists()


def until_it_heeds(process: subprocess.Popen, asked: signal.Signals) -> None:
    """Wait until a process has a handler of its own for a signal, as Linux tells; elsewhere long enough."""
    told = Path("/proc", str(process.pid), "status")
    if not told.exists():
        return time.sleep(4)
    while not int(re.search(r"SigCgt:\s*(\w+)", told.read_text())[1], 16) >> (asked - 1) & 1:
        time.sleep(0.02)


@pytest.mark.parametrize(("signal_", "status"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
def test_interrupted_it_leaves_the_plan_as_it_was(run, plan, tmp_path, signal_, status):
    long = GOOD + "order: [" + ", ".join(["1-8"] * 300) + "]\n"
    entries = "".join(f"  - {{code: slowing-mid-phrase, at: 6:{n % 4 + 1}, because: shift {n}}}\n" for n in range(300))
    plan.write_text(text := long + "accept:\n" + entries)
    environment = os.environ | {"PYTHONPATH": str(ROOT), "COLUMNS": "100"}
    process = subprocess.Popen(
        [*COMMAND, "check", "--fix", "plan.yaml"], cwd=tmp_path, env=environment, stderr=subprocess.PIPE, text=True
    )
    until_it_heeds(process, signal.SIGTERM)
    time.sleep(0.5)  # it reads, or checks, or tries a change: nothing is written before the last one
    process.send_signal(signal_)
    _, said = process.communicate(timeout=60)
    assert process.returncode == status, said
    assert "Traceback" not in said and plan.read_text() == text
    assert sorted(os.listdir(tmp_path)) == ["piece.musicxml", "plan.yaml"]


# -- the demo


@pytest.fixture
def demo(tmp_path):
    """A copy of the demo's plans, and `check` on one of them."""
    for file in PLANS.iterdir():
        shutil.copy(file, tmp_path)

    return partial(doubling.run, "check", folder=tmp_path)


def test_the_misplaced_slowdown_of_the_demo_is_mended(demo, tmp_path):
    plan, others = tmp_path / "low-water-misplaced.yaml", {p: p.read_bytes() for p in tmp_path.iterdir()}
    before = plan.read_text(encoding="utf-8").splitlines()
    done = demo("--fix", plan.name)
    assert done.returncode == 0, done.stdout
    (gone,) = set(before) - set(after := plan.read_text(encoding="utf-8").splitlines())
    came = after[before.index(gone)]
    assert "rallentando: 7:3 - 8:1" in gone and "to: 66%, then: a tempo, pass: 1" in came
    assert [line for line in after if line in before] == [line for line in before if line != gone]
    assert all(path.read_bytes() == content for path, content in others.items() if path != plan)
    done = demo("--json", plan.name)
    assert done.returncode == 0 and "slowing-mid-phrase" not in done.stdout


@pytest.mark.parametrize("name", ["low-water-flowing", "low-water-inward", "umbrella-stand-dancing"])
def test_the_good_plans_of_the_demo_earn_no_caution_before_or_after(demo, tmp_path, name):
    assert demo("--fix", f"{name}.yaml").returncode == 0
    mended = (tmp_path / f"{name}.yaml").read_bytes()
    assert demo("--fix", f"{name}.yaml").returncode == 0
    assert (tmp_path / f"{name}.yaml").read_bytes() == mended
