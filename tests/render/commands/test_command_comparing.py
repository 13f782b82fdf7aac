"""The command `compare` as users run it: what it prints, its JSON, its exit status."""

from __future__ import annotations

import json
import os
import re
import subprocess
from pathlib import Path

import doubling
import pytest
from house import COMMAND, PLANS, ROOT
from support import musicxml

PLAN = """\
title: {title}
score: piece.musicxml
tempo: {tempo}
phrases:
  - {{bars: 1-8, name: all of it, inside: [1-4, 5-8]}}
"""
ONE = PLAN.format(title="One", tempo=60) + "slowing:\n  - {rallentando: 8:1 - 8:4, to: 80%}\n"
OTHER = PLAN.format(title="Other", tempo=80) + "holds:\n  - {fermata: 4:4, length: 200%}\n"


@pytest.fixture
def compare(tmp_path):
    """Run the command on plans in a folder of its own, over a piece of eight bars."""
    (tmp_path / "piece.musicxml").write_text(musicxml(8), encoding="utf-8")

    def call(one: str, other: str, *options: str):
        for name, text in (("one", one), ("other", other)):
            (tmp_path / f"{name}.yaml").write_text(text, encoding="utf-8")
        return run("one.yaml", "other.yaml", *options, folder=tmp_path)

    call.folder = tmp_path
    return call


def run(*words: object, folder: Path):
    return doubling.run("compare", *words, folder=folder, COLUMNS="80", NO_COLOR=None)


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
    done = run(*plans, folder=tmp_path)
    said = " ".join(done.stderr.split())
    assert done.returncode == 2 and "plans of different music" in said and done.stdout == ""
    done = run(*plans, "--json", folder=tmp_path)
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
    environment = os.environ | {"PYTHONPATH": str(ROOT), "COLUMNS": "80", "TERM": "xterm-256color"}
    environment.pop("NO_COLOR", None)
    process = subprocess.Popen([*COMMAND, "compare", *plans], cwd=tmp_path, env=environment, stdout=theirs)
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


THIRD = PLAN.format(title="Third", tempo=60) + "slowing:\n  - {rallentando: 8:1 - 8:4, to: 70%}\n"


def squeezed(text: str) -> list[str]:
    return [" ".join(line.split()) for line in text.splitlines()]


def of_plans(compare, *texts: str):
    """A call of the command on so many plans: one.yaml, two.yaml, ..."""
    folder = Path(compare.folder)
    names = [f"{name}.yaml" for name in ("one", "two", "three", "four")[: len(texts)]]
    for name, text in zip(names, texts, strict=True):
        (folder / name).write_text(text, encoding="utf-8")
    return lambda *options: run(*names, *options, folder=folder)


def test_of_three_readings_those_that_are_alike_share_a_line(compare):
    done = of_plans(compare, ONE, OTHER, THIRD)()
    assert done.returncode == 0 and done.stderr == ""
    assert max(len(line.rstrip()) for line in done.stdout.splitlines()) <= 80
    said = squeezed(done.stdout)
    for line in (
        "C Third three.yaml",
        "phrase length than A slowest beat tempo level",
        "1-4 A, C 16.0 s steady 100% 60 -12",
        "B 12.8 s -3.2 4:4 50%* 80 -12",
    ):
        assert line in said, done.stdout
    for lines in (
        ["tempo A, C 60", "B 80"],
        ["rallentando 8:1 - 8:4 1 A to 80%", "B -", "C to 70%"],
        ["fermata 4:4 1 A, C -", "B length 200%"],
    ):
        first = said.index(lines[0])
        assert said[first : first + len(lines)] == lines


def test_the_json_of_four_readings(compare):
    done = of_plans(compare, ONE, OTHER, THIRD, ONE)("--json")
    data = json.loads(done.stdout)
    assert done.returncode == 0 and not data["same"] and not data["sound_alike"]
    assert [reading["name"] for reading in data["readings"]] == ["A", "B", "C", "D"]
    first = data["spans"][1]
    assert first["longer"] == {"B": -3.25, "C": 0.0, "D": 0.0} and first["difference"] is None
    assert first["A"] == first["C"] == first["D"] != first["B"]
    slowing = next(each for each in data["differences"] if each["section"] == "slowing")
    assert [slowing[letter] for letter in "ABCD"] == ["to 80%", None, "to 70%", "to 80%"]
    assert slowing["in"] == ["A", "C", "D"] and slowing["played"] == ["A", "B", "C", "D"]


def test_orders_of_three_readings(compare):
    done = of_plans(compare, ONE, OTHER + "order: [1-4, 1-8]\n", THIRD + "order: [1-4, 1-8]\n")()
    assert done.returncode == 0
    before, _, after = done.stdout.partition("What follows compares what all play.")
    assert "only B and C play bars 1-4 (pass 2)" in before and "1-8" in after


def test_more_readings_than_there_are_letters(compare, tmp_path):
    (tmp_path / "one.yaml").write_text(ONE, encoding="utf-8")
    done = run(*["one.yaml"] * 27, folder=tmp_path)
    assert done.returncode == 2 and "27 readings are too many" in done.stderr
    done = run(*["one.yaml"] * 26, "--json", folder=tmp_path)
    assert json.loads(done.stdout)["readings"][25]["name"] == "Z"


# -- companions


def test_companions_stand_beside_the_first_plan(compare):
    done = of_plans(compare, ONE, OTHER)("--with", "plain", "--with", "misplaced", "--with", "plain")
    said = squeezed(done.stdout)
    assert done.returncode == 0
    for line in (
        "C One, in strict time made from A",
        "D One, misplaced made from A",
        "the same slowdowns, in the middle of their phrases (1 moved)",
        "rallentando 6:1 - 6:4 1 A, B, C -",
        "D to 80%, then a tempo",
    ):
        assert line in said, done.stdout


def test_one_plan_and_a_companion_are_a_comparison(compare):
    done = of_plans(compare, ONE)("--with", "exaggerated", "--json")
    data = json.loads(done.stdout)
    one, two = data["readings"]
    assert (one["companion"], one["told"], one["cautions"]) == (None, None, 0)
    assert (two["companion"], two["told"]) == ("exaggerated", "all shaping of time and level doubled")
    assert (two["title"], two["plan"]) == ("One, exaggerated", "one.yaml")
    assert data["spans"][2]["B"]["slowest"]["pace"] < data["spans"][2]["A"]["slowest"]["pace"]
    assert data["differences"] == [] and not data["sound_alike"]


def test_a_plan_without_slowdowns_has_nothing_to_misplace(compare):
    call = of_plans(compare, PLAN.format(title="Plain", tempo=60))
    done = call("--with", "misplaced")
    assert done.returncode == 2 and "nothing to misplace" in done.stderr and done.stdout == ""
    (remark,) = json.loads(call("--with", "misplaced", "--json").stdout)["remarks"]
    assert remark["code"] == "nothing-to-misplace"


def test_an_unknown_companion_is_refused(compare):
    done = of_plans(compare, ONE)("--with", "plane")
    assert done.returncode == 2 and "misplaced" in done.stderr and "Traceback" not in done.stderr


# -- cautions and pages


MIDDLE = PLAN.format(title="Middle", tempo=60) + "slowing:\n  - {rallentando: 5:1 - 6:1, to: 70%, then: a tempo}\n"
ACCEPTED = "accept:\n  - {code: slowing-mid-phrase, at: 6:1, because: it is one}\n"


def test_a_caution_of_a_plan_counts_and_one_of_a_companion_does_not(compare):
    done = of_plans(compare, ONE, MIDDLE)()
    assert done.returncode == 1 and "B has 1 caution: lentando check two.yaml" in done.stdout
    done = of_plans(compare, ONE, MIDDLE)("--json")
    assert done.returncode == 1
    assert [reading["cautions"] for reading in json.loads(done.stdout)["readings"]] == [0, 1]
    assert of_plans(compare, ONE, MIDDLE + ACCEPTED)().returncode == 0
    assert of_plans(compare, ONE)("--with", "misplaced").returncode == 0


def test_a_page_is_written_instead_of_printing(compare, tmp_path):
    done = of_plans(compare, ONE, MIDDLE)("-o", "page.html", "--with", "misplaced")
    said = squeezed(done.stderr)
    assert done.returncode == 1 and done.stdout == ""  # the plan has a caution
    size = (tmp_path / "page.html").stat().st_size / 1e6
    # 32.4 s and more of music, and a little more until the last note has died away
    assert any(re.fullmatch(rf"page\.html 3 readings, 0:3[2-5](, 0:3[2-5])*, {size:.1f} MB", line) for line in said)
    assert "Open it with a double click, in any browser and without a network." in said
    assert "B has 1 caution: lentando check two.yaml" in said
    page = (tmp_path / "page.html").read_text(encoding="utf-8")
    assert page.lower().startswith("<!doctype html>") and "Middle" in page
    assert "One, misplaced" in page and "A misplaced" not in page


def test_a_page_of_one_plan_alone(compare, tmp_path):
    done = of_plans(compare, ONE)("-o", "page.htm")
    assert done.returncode == 0 and "page.htm 1 reading, 0:3" in " ".join(done.stderr.split())
    assert (tmp_path / "page.htm").exists()


def test_plans_of_one_name_are_told_apart_by_their_letters(compare, tmp_path):
    (tmp_path / "one.yaml").write_text(ONE, encoding="utf-8")
    done = run("one.yaml", "one.yaml", "-o", "page.html", folder=tmp_path)
    page = (tmp_path / "page.html").read_text(encoding="utf-8")
    assert done.returncode == 0 and "One (A)" in page and "One (B)" in page


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["-o", "page.pdf"], "must end in .html"),
        (["-o", "page.html", "--json"], "choose one of --json and -o"),
        (["--soundfont", "bank.sf2"], "add -o page.html"),
        (["-o", "page.html", "--soundfont", "bank.sf2"], "bank.sf2 does not exist"),
        (["-o", "page.html", "--with", "plain", "--with", "misplaced", "--with", "exaggerated"], "5 readings"),
    ],
)
def test_a_page_that_cannot_be(compare, tmp_path, options, words):
    done = of_plans(compare, ONE, OTHER)(*options)
    assert done.returncode == 2 and words in " ".join(done.stderr.split()) and done.stdout == ""
    assert "Traceback" not in done.stderr and not list(tmp_path.glob("page*"))


def test_a_page_never_takes_the_place_of_what_it_is_made_from(compare, tmp_path):
    call = of_plans(compare, ONE, OTHER)
    (tmp_path / "page.html").symlink_to("one.yaml")
    done = call("-o", "page.html")
    assert done.returncode == 2 and "what the music is read from" in " ".join(done.stderr.split())
    assert (tmp_path / "one.yaml").read_text(encoding="utf-8") == ONE


def test_two_plans_are_needed(compare, tmp_path):
    compare(ONE, OTHER)
    done = run("one.yaml", folder=tmp_path)
    said = " ".join(done.stderr.split())
    assert done.returncode == 2 and done.stdout == ""
    for words in ("nothing to be compared with", "second plan B", "--with plain", "compare one.yaml -o one.html"):
        assert words in said
    done = run("one.yaml", "--json", folder=tmp_path)
    assert done.returncode == 2 and json.loads(done.stdout)["remarks"][0]["code"] == "one-reading"
    assert run(folder=tmp_path).returncode == 2
