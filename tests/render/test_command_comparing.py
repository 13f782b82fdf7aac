"""The command `compare` as users run it: what it prints, its JSON, its exit status."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from support import musicxml

COMMAND = [sys.executable, "-c", "from render.command import main; main()", "compare"]
ROOT = Path(__file__).parents[2]
PLANS = ROOT / "plans"

PLAN = """\
title: {title}
score: piece.musicxml
tempo: {tempo}
phrases:
  - {{bars: 1-8, name: all of it, inside: [1-4, 5-8]}}
"""
ONE = PLAN.format(title="One", tempo=60) + "slowing:\n  - {rallentando: 8:1 - 8:4, to: 80%}\n"
OTHER = PLAN.format(title="Other", tempo=80) + "holds:\n  - {fermata: 4:4, length: 200%}\n"


@pytest.fixture(scope="module")
def cache(tmp_path_factory):
    return tmp_path_factory.mktemp("cache")


@pytest.fixture
def compare(tmp_path, cache):
    """Run the command on plans in a folder of its own, over a piece of eight bars."""
    more = {"LENTANDO_CACHE": str(cache), "COLUMNS": "80", "PYTHONPATH": str(ROOT)}
    environment = {key: value for key, value in os.environ.items() if key != "NO_COLOR"} | more
    (tmp_path / "piece.musicxml").write_text(musicxml(8), encoding="utf-8")

    def call(one: str, other: str, *options: str):
        for name, text in (("one", one), ("other", other)):
            (tmp_path / f"{name}.yaml").write_text(text, encoding="utf-8")
        return run([*COMMAND, "one.yaml", "other.yaml", *options], tmp_path, environment)

    call.environment = environment
    return call


def run(command, folder, environment):
    return subprocess.run(command, cwd=folder, env=environment, capture_output=True, text=True, timeout=120)


def test_it_prints_every_phrase_and_what_only_one_does(compare):
    done = compare(ONE, OTHER)
    assert done.returncode == 0 and done.stderr == ""
    assert "\x1b" not in done.stdout  # no colours in a pipe
    assert max(len(line.rstrip()) for line in done.stdout.splitlines()) <= 80
    said = [" ".join(line.split()) for line in done.stdout.splitlines()]
    # four beats at 60 and one of two seconds in the fifth bar of 80: 16 s against 12 + 0.75; 5-8 slows at its end
    for line in (
        "A One one.yaml",
        "B Other other.yaml",
        "order 1-8",
        "1-4 A 16.0 s steady 100% 60 -12",
        "B 12.8 s -3.2 4:4 50%* 80 -12",
        "tempo 60 80",
        "rallentando 8:1 - 8:4 1 to 80% -",
        "fermata 4:4 1 - length 200%",
    ):
        assert line in said, done.stdout


def test_the_json_has_every_value(compare):
    done = compare(ONE, OTHER, "--json")
    data = json.loads(done.stdout)
    assert done.returncode == 0
    assert list(data) == ["readings", "same", "sound_alike", "scores", "orders", "spans", "differences"]
    assert [reading["name"] for reading in data["readings"]] == ["A", "B"]
    assert data["readings"][1] == {
        "name": "B", "title": "Other", "plan": "other.yaml", "score": "piece.musicxml", "order": ["1-8"],
        "seconds": 24.75, "cautions": 0, "companion": None, "told": None,
    }  # fmt: skip
    whole, first, second, everything = data["spans"]
    assert (whole["name"], whole["bars"], first["bars"], second["bars"]) == ("all of it", "1-8", "1-4", "5-8")
    assert everything["kind"] == "all" and everything["bars"] is None
    assert first == {
        "kind": "phrase", "bars": "1-4", "pass": 1, "name": None, "depth": 1, "in": ["A", "B"], "partly": False,
        "A": {
            "seconds": 16.0,
            "slowest": {"bar": "1", "beat": 1.0, "pass": 1, "pace": 1.0, "bpm": 60.0, "held": False},
            "tempo": {"low": 60.0, "high": 60.0}, "level": {"softest": -12.0, "loudest": -12.0},
            "tones": {"naturale": 1.0},
        },
        "B": {
            "seconds": 12.75,
            "slowest": {"bar": "4", "beat": 4.0, "pass": 1, "pace": 0.5, "bpm": 40.0, "held": True},
            "tempo": {"low": 80.0, "high": 80.0}, "level": {"softest": -12.0, "loudest": -12.0},
            "tones": {"naturale": 1.0},
        },
        "difference": -3.25, "longer": {"B": -3.25},
    }  # fmt: skip
    assert data["differences"] == [
        {"section": "tempo", "kind": None, "for": None, "bars": None, "passes": [], "in": ["A", "B"],
         "played": ["A", "B"], "A": "60", "B": "80"},
        {"section": "slowing", "kind": "rallentando", "for": None, "bars": "8:1 - 8:4", "passes": [1], "in": ["A"],
         "played": ["A", "B"], "A": "to 80%", "B": None},
        {"section": "holds", "kind": "fermata", "for": None, "bars": "4:4", "passes": [1], "in": ["B"],
         "played": ["A", "B"], "A": None, "B": "length 200%"},
    ]  # fmt: skip


def test_the_same_reading_twice(compare):
    done = compare(ONE, ONE)
    assert done.returncode == 0 and "The readings are the same" in done.stdout and "slowest" not in done.stdout
    assert json.loads(compare(ONE, ONE, "--json").stdout)["same"] is True


def test_based_on_the_other(compare):
    done = compare(ONE, "based on: one.yaml\nslowing:\n  - {rallentando: 8:1 - 8:4, to: 66%}\n")
    said = [" ".join(line.split()) for line in done.stdout.splitlines()]
    assert "rallentando 8:1 - 8:4 1 to 80% to 66%" in said and not [line for line in said if line.startswith("tempo 6")]


def test_another_order_is_said_first(compare):
    done = compare(ONE, OTHER + "order: [1-4, 1-8]\n")
    assert done.returncode == 0
    before, _, after = done.stdout.partition("What follows compares what both play.")
    assert "The order of the bars differs." in before and "only B plays bars 1-4 (pass 2)" in before
    assert "not played" in after and "what is shared" in after
    assert "only B plays" not in after


def test_another_edition_is_said_first(compare, tmp_path):
    (tmp_path / "short.musicxml").write_text(musicxml(7), encoding="utf-8")
    other = "score: short.musicxml\ntempo: 60\nphrases: [{bars: 1-7}]\n"
    done = compare(ONE, other)
    assert done.returncode == 0
    before, _, after = done.stdout.partition("What follows compares what both play.")
    for words in ("The scores differ.", "piece.musicxml: 8 bars", "short.musicxml: 7 bars", "score of A has bar 8"):
        assert words in before
    assert "1-4" in after


def test_different_music_cannot_be_compared(compare, tmp_path):
    plans = [PLANS / "low-water-flowing.yaml", PLANS / "umbrella-stand-dancing.yaml"]
    done = run([*COMMAND, *map(str, plans)], tmp_path, compare.environment)
    said = " ".join(done.stderr.split())
    assert done.returncode == 2 and "plans of different music" in said and done.stdout == ""
    done = run([*COMMAND, *map(str, plans), "--json"], tmp_path, compare.environment)
    (remark,) = json.loads(done.stdout)["remarks"]
    assert (done.returncode, remark["code"], remark["severity"]) == (2, "different-music", "error")


def test_all_faults_of_both_plans_are_told(compare):
    done = compare(ONE + "tone:\n  - {bars: 40, tone: dark}\n", "score: piece.musicxml\nslowng: []\n")
    said = " ".join(done.stderr.split())
    assert done.returncode == 2 and "Traceback" not in said and done.stdout == ""
    assert "bar 40" in said and "did you mean 'slowing'" in said
    done = compare(ONE + "tempi: 3\n", "score: nothing.musicxml\n", "--json")
    assert done.returncode == 2
    assert [remark["code"] for remark in json.loads(done.stdout)["remarks"]] == ["plan-word", "no-score"]


def test_a_fault_that_both_share_is_told_once(compare, tmp_path):
    one = ONE + "tempi: 3\n"
    done = compare(one, "based on: one.yaml\n", "--json")
    assert done.returncode == 2 and len(json.loads(done.stdout)["remarks"]) == 1


def test_in_a_terminal_it_keeps_to_its_width(compare, tmp_path):
    plans = [str(PLANS / f"low-water-{name}.yaml") for name in ("flowing", "inward")]
    ours, theirs = pytest.importorskip("pty").openpty()
    environment = compare.environment | {"COLUMNS": "80", "TERM": "xterm-256color"}
    process = subprocess.Popen([*COMMAND, *plans], cwd=tmp_path, env=environment, stdout=theirs)
    os.close(theirs)
    shown = b""
    try:
        while block := os.read(ours, 65536):
            shown += block
    except OSError:
        pass  # the other end is closed
    assert process.wait(60) == 0
    assert b"\x1b[" in shown
    lines = re.sub(r"\x1b\[[0-9;]*m", "", shown.decode()).splitlines()
    assert len(lines) > 80 and max(map(len, lines)) <= 80


def test_two_plans_are_needed(compare, tmp_path):
    compare(ONE, OTHER)
    done = run([*COMMAND, "one.yaml"], tmp_path, compare.environment)
    said = " ".join(done.stderr.split())
    assert done.returncode == 2 and done.stdout == ""
    for words in ("nothing to be compared with", "second plan B", "--with plain", "compare one.yaml -o one.html"):
        assert words in said
    done = run([*COMMAND, "one.yaml", "--json"], tmp_path, compare.environment)
    assert done.returncode == 2 and json.loads(done.stdout)["remarks"][0]["code"] == "one-reading"
    assert run(COMMAND, tmp_path, compare.environment).returncode == 2
