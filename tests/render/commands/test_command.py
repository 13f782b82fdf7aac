"""The command as users run it: a separate process, real files, the exit status and what is said."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import time
from pathlib import Path

import doubling
import mido
import numpy as np
import pytest
import soundfile
from house import COMMAND, ROOT
from support import musicxml


@pytest.fixture
def run(tmp_path):
    """Run the command in a folder of its own; `write` first puts files there."""

    def call(*words, **files):
        for name, text in files.items():
            (tmp_path / name.replace("__", ".")).write_text(text, encoding="utf-8")
        return doubling.run(*words, folder=tmp_path)

    return call


PLAN = """\
title: A test
score: piece.musicxml
tempo: 60
phrases:
  - {bars: 1-8, inside: [1-4, 5-8]}
"""
GOOD = PLAN + "slowing:\n  - {rallentando: 8:1 - 8:4, to: 60%}\n"
BAD = PLAN + "slowing:\n  - {rallentando: 6:1 - 6:2, to: 60%, then: a tempo, why: a test}\n"


def files_of(plan):
    return {"piece__musicxml": musicxml(8), "plan__yaml": plan}


def test_render_leaves_a_midi_and_a_wav_file_beside_the_plan(run, tmp_path):
    done = run("render", "plan.yaml", **files_of(GOOD))
    assert done.returncode == 0, done.stderr
    onsets = [
        message.time
        for message in mido.MidiFile(tmp_path / "plan.mid")
        if message.type == "note_on" and message.velocity
    ]
    assert len(onsets) == 32
    sound, rate = soundfile.read(tmp_path / "plan.wav")
    assert sound.shape[1] == 2 and rate == 44100
    # 28 beats of a second, then four that slow to 60 % by the cubic law: times q/(q-1) (1-w^2)/(1-w^3)
    assert len(sound) / rate > 28 + 4 * 1.5 * (1 - 0.6**2) / (1 - 0.6**3)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["piece.musicxml", "plan.mid", "plan.wav", "plan.yaml"]


def test_render_is_the_same_twice(run, tmp_path):
    run("render", "plan.yaml", "-o", "one.mid", "-o", "one.wav", **files_of(GOOD))
    run("render", "plan.yaml", "-o", "two.mid", "-o", "two.wav")
    for kind in ("mid", "wav"):
        assert (tmp_path / f"one.{kind}").read_bytes() == (tmp_path / f"two.{kind}").read_bytes()


@pytest.mark.parametrize("kind", ["wav", "flac", "ogg", "mp3"])
def test_sound_is_written_by_suffix(run, tmp_path, kind):
    assert run("render", "plan.yaml", "-o", f"take.{kind}", **files_of(GOOD)).returncode == 0
    sound, _ = soundfile.read(tmp_path / f"take.{kind}")
    assert np.abs(sound).max() > 0.01


def test_several_plans_go_to_several_files_or_to_a_folder(run, tmp_path):
    (tmp_path / "out").mkdir()
    done = run("render", "plan.yaml", "bad.yaml", "-o", "out", bad__yaml=BAD, **files_of(GOOD))
    assert done.returncode == 1  # the bad one earns a caution
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == ["bad.mid", "bad.wav", "plan.mid", "plan.wav"]
    assert run("render", "plan.yaml", "bad.yaml", "-o", "a.mid", "-o", "b.mid").returncode == 1
    assert (tmp_path / "a.mid").exists() and (tmp_path / "b.mid").exists()
    assert run("render", "plan.yaml", "bad.yaml", "-o", "c.mid").returncode == 2
    assert not (tmp_path / "c.mid").exists()


def test_no_take_is_written_over_another(run, tmp_path):
    for folder in ("a", "b", "out"):
        (tmp_path / folder).mkdir()
    for folder in ("a", "b"):
        (tmp_path / folder / "plan.yaml").write_text(GOOD.replace("piece.", "../piece."))
    done = run("render", "a/plan.yaml", "b/plan.yaml", "-o", "out", piece__musicxml=musicxml(8))
    assert done.returncode == 2 and "written twice" in done.stderr and not os.listdir(tmp_path / "out")


def test_check_warns_of_a_slowdown_in_the_middle_of_a_phrase(run):
    done = run("check", "plan.yaml", **files_of(BAD))
    assert done.returncode == 1
    for words in ("order    1-8", "caution", "slowing-mid-phrase", "6:1 - 6:2", "phrase 5-8", "plan.yaml:7:"):
        assert words in done.stdout, done.stdout
    lines = done.stdout.splitlines()
    row = next(i for i, line in enumerate(lines) if line.startswith("     7 | "))
    assert lines[row + 1].index("^") == lines[row].index("6:1")


def test_check_of_a_good_plan_is_silent_and_zero(run):
    done = run("check", "plan.yaml", **files_of(GOOD))
    assert (done.returncode, "caution" in done.stdout) == (0, False)


def test_check_json_has_the_promised_keys(run):
    done = run("check", "plan.yaml", "--json", **files_of(BAD))
    (remark,) = (r for r in json.loads(done.stdout) if r["code"] == "slowing-mid-phrase")
    assert set(remark) == {
        "severity", "code", "message", "line", "column", "bar", "beat", "pass", "suggestion", "accepted", "bar_name",
        "passes",
    }  # fmt: skip
    assert (remark["severity"], remark["line"], remark["bar"], remark["beat"], remark["pass"]) == (
        "caution",
        7,
        6,
        2,
        1,
    )
    assert done.returncode == 1


ACCEPTED = BAD + "accept:\n  - {code: slowing-mid-phrase, at: 6:2, because: the shift is meant to be heard}\n"


def test_what_the_plan_accepts_is_listed_apart_and_does_not_count(run):
    done = run("check", "plan.yaml", **files_of(ACCEPTED))
    assert done.returncode == 0 and "caution" not in done.stdout.replace("cautions", "")
    assert "accepted  plan.yaml:7:" in done.stdout and "accepted: the shift is meant to be heard" in done.stdout
    remarks = json.loads(run("check", "plan.yaml", "--json").stdout)
    assert [r["accepted"] for r in remarks if r["code"] == "slowing-mid-phrase"] == ["the shift is meant to be heard"]


def test_what_is_accepted_elsewhere_still_counts(run):
    done = run("check", "plan.yaml", **files_of(ACCEPTED.replace("at: 6:2", "at: 6:1")))
    assert done.returncode == 1
    for words in ("[slowing-mid-phrase]", "[acceptance-unmatched]", "instead: at: 6:2"):
        assert words in done.stdout, done.stdout


def test_render_does_not_warn_of_what_is_accepted(run):
    done = run("render", "plan.yaml", "-o", "take.mid", **files_of(ACCEPTED))
    assert done.returncode == 0 and "slowing-mid-phrase" not in done.stderr and "1 accepted" in done.stderr


def test_the_suggestion_mends_the_plan(run):
    first = json.loads(run("check", "plan.yaml", "--json", **files_of(BAD)).stdout)
    suggestion = next(r["suggestion"] for r in first if r["code"] == "slowing-mid-phrase")
    mended = PLAN + f"slowing:\n  - {suggestion}\n"
    done = run("check", "mended.yaml", "--json", mended__yaml=mended)
    assert done.returncode == 0 and "slowing-mid-phrase" not in done.stdout


def test_json_answers_even_where_nothing_can_be_done(run):
    done = run(
        "check",
        "plan.yaml",
        "--json",
        piece__musicxml=musicxml(8),
        plan__yaml="score: piece.musicxml\ntempo: 0\nslowng: []\n",
    )
    remarks = json.loads(done.stdout)
    assert done.returncode == 2
    assert [(r["severity"], r["line"]) for r in remarks] == [("error", 2), ("error", 3)]
    assert remarks[1]["suggestion"] == "slowing"


def test_timeline_json_is_what_it_promises(run):
    done = run("timeline", "plan.yaml", "--json", **files_of(GOOD))
    data = json.loads(done.stdout)
    assert data["order"] == ["1-8"]
    assert len(data["notes"]) == 32 and len(data["grid"]) == 32
    note = data["notes"][1]
    assert set(note) == {
        "bar", "beat", "pass", "part", "staff", "voice", "role", "midi", "onset", "duration", "score_onset",
        "score_duration", "level", "velocity", "tone", "string", "fret", "technique", "attack", "sliding", "bar_name",
    }  # fmt: skip
    assert (note["bar"], note["beat"], note["pass"], note["onset"], note["duration"]) == (1, 2, 1, 1.0, 1.0)
    assert [beat["second"] for beat in data["grid"][:28]] == pytest.approx(range(28), abs=1e-9)
    assert data["grid"][-1]["bpm"] < 60
    assert set(data["grid"][0]) == {"bar", "beat", "pass", "score", "second", "bpm", "bar_name"}


def test_timeline_json_answers_where_nothing_can_be_done(run):
    done = run("timeline", "plan.yaml", "--json", plan__yaml="score: nothing.musicxml\n")
    (remark,) = json.loads(done.stdout)["remarks"]
    assert (done.returncode, remark["severity"], remark["code"]) == (2, "error", "no-score")


def test_timeline_csv_has_a_row_for_each_note(run):
    lines = run("timeline", "plan.yaml", "--csv", **files_of(GOOD)).stdout.splitlines()
    assert len(lines) == 33 and lines[0].startswith("bar,beat,pass,part,staff,voice,role,midi,onset,duration")


def test_schema_is_json(run):
    assert json.loads(run("schema").stdout)["title"] == "A plan of expressive timing"


def test_help_and_version(run):
    assert "PLAN" in run("render", "--help").stdout
    assert run("--version").stdout.startswith("lentando ")
    assert run("conduct", "plan.yaml").returncode == 2


# -- what cannot be done


@pytest.mark.parametrize(
    ("plan", "words"),
    [
        ("score: nothing.musicxml", ["no score nothing.musicxml", "plan.yaml:1:8"]),
        ("score: peice.musicxml", ["did you mean piece.musicxml"]),
        ("title: no score", ["does not name its score"]),
        ("score: .", ["folder"]),
        ("score: plan.yaml", ["plan.yaml"]),
        (GOOD + "tone:\n  - {bars: 40, tone: sul tasto}", ["bar 40: the score ends at bar 8"]),
        (GOOD + "tone:\n  - {bars: 3:5, tone: sul tasto}", ["bar 3 has 4 beats"]),
        (GOOD + "tone:\n  - {bars: 5-3, tone: sul tasto}", ["ends before it begins"]),
        (PLAN + "slowing:\n  - {rallentando: 8, to: 0%}", ["0%", "plan.yaml:7:"]),
        (PLAN + "slowing:\n  - {rallentando: 8, to: 300%}", ["300%", "rallentando slows"]),
        (PLAN + "slowing:\n  - {rallentando: 8, to: .nan}", ["nan"]),
        ("score: piece.musicxml\ntempo: 1000000000", ["out of range"]),
        ("score: piece.musicxml\nscore: piece.musicxml", ["twice", "line 1"]),
        ("score: &a piece.musicxml\ntitle: *a", ["aliases"]),
        ("%YAML 1.1\n---\nscore: piece.musicxml", ["YAML 1.2"]),
        ("score: piece.musicxml\nphrases:\n\t- {bars: 1}", ["tab"]),
        ("score: piece.musicxml\ninstrument: banjolele", ["banjo"]),
        ("score: piece.musicxml\nvoices: {melodie: 1 dB}", ["did you mean 'melody'"]),
    ],
)
def test_a_users_mistake_ends_in_words_and_status_two(run, tmp_path, plan, words):
    done = run("render", "plan.yaml", **files_of(plan + "\n"))
    assert done.returncode == 2, done.stdout + done.stderr
    said = " ".join(done.stderr.split())
    for word in words:
        assert word in said
    assert "Traceback" not in said
    assert not list(tmp_path.glob("*.mid")) + list(tmp_path.glob("*.wav"))


def test_all_faults_are_told_at_once(run):
    done = run(
        "check",
        "plan.yaml",
        **files_of(GOOD + "tone:\n  - {bars: 40, tone: sul tasto}\n  - {bars: 3:9, tone: sul tasto}\n"),
    )
    assert done.returncode == 2
    assert "bar 40" in done.stderr and "bar 3 has 4 beats" in done.stderr


def test_overlapping_phrases_are_a_caution(run):
    done = run("check", "plan.yaml", **files_of("score: piece.musicxml\nphrases: [{bars: 1-5}, {bars: 4-8}]\n"))
    assert done.returncode == 1 and "phrases-overlap" in done.stdout


def test_a_large_file_is_refused_at_once(run, tmp_path):
    (tmp_path / "large.yaml").write_bytes(b"score: x\n" + b"# waste\n" * 6_500_000)
    done = run("check", "large.yaml")
    assert done.returncode == 2 and "too large for a plan (52" in " ".join(done.stderr.split())


def test_the_score_is_never_written_over(run, tmp_path):
    from support import midi_bytes

    (tmp_path / "plan.mid").write_bytes(before := midi_bytes())
    done = run("render", "plan.yaml", plan__yaml="score: plan.mid\n")
    assert done.returncode == 2 and "name another file" in done.stderr
    assert (tmp_path / "plan.mid").read_bytes() == before and not (tmp_path / "plan.wav").exists()


def test_an_unknown_suffix_and_a_missing_folder(run, tmp_path):
    assert "must end in one of" in run("render", "plan.yaml", "-o", "take.aiff", **files_of(GOOD)).stderr
    done = run("render", "plan.yaml", "-o", "nowhere/take.wav")
    assert done.returncode == 2 and "nowhere" in done.stderr and "Traceback" not in done.stderr


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
def test_a_full_disk_is_said(run, tmp_path):
    done = run("timeline", "plan.yaml", "--json", **files_of(GOOD))
    assert done.returncode == 0
    with open("/dev/full", "w") as full:
        full_run = subprocess.run(
            [*COMMAND, "timeline", "plan.yaml", "--json"],
            cwd=tmp_path,
            env=os.environ | {"PYTHONPATH": str(ROOT), "COLUMNS": "100"},
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
        )
    assert full_run.returncode == 2 and "Traceback" not in full_run.stderr and "space" in full_run.stderr.lower()


def test_a_wrong_bank_is_told_before_anything_is_written(run, tmp_path):
    done = run("render", "plan.yaml", "--soundfont", "none.sf2", **files_of(GOOD))
    assert done.returncode == 2 and "none.sf2" in done.stderr
    assert sorted(os.listdir(tmp_path)) == ["piece.musicxml", "plan.yaml"]


def test_a_score_of_rests_has_an_order_but_nothing_to_play(run, tmp_path):
    rest = "<note><rest/><duration>4</duration><voice>1</voice></note>"
    back = '<barline><repeat direction="backward"/></barline>'
    bars = re.sub(r"<note>.*?</note>" * 4, rest, musicxml(2, after={2: back}))
    done = run("check", "plan.yaml", piece__musicxml=bars, plan__yaml="score: piece.musicxml\n")
    assert done.returncode == 1 and "order    1-2, 1-2" in done.stdout and "score-silent" in done.stdout
    done = run("render", "plan.yaml")
    assert done.returncode == 2 and "nothing to play" in done.stderr and not (tmp_path / "plan.mid").exists()


@pytest.mark.parametrize(("signal_", "status"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
def test_interrupting_a_render_leaves_nothing_behind(run, tmp_path, signal_, status):
    long = "score: piece.musicxml\ntempo: 30\norder: [" + ", ".join(["1-8"] * 150) + "]\n"
    run("check", "plan.yaml", **files_of(long))
    process = subprocess.Popen(
        [*COMMAND, "render", "plan.yaml", "-o", "take.wav"],
        cwd=tmp_path,
        env=os.environ | {"PYTHONPATH": str(ROOT), "COLUMNS": "100"},
        stderr=subprocess.PIPE,
        text=True,
    )
    for _ in range(600):
        time.sleep(0.05)
        if set(os.listdir(tmp_path)) - {"piece.musicxml", "plan.yaml"}:
            break  # it has begun to write
    process.send_signal(signal_)
    _, said = process.communicate(timeout=60)
    assert process.returncode == status, said
    assert "Traceback" not in said
    assert sorted(os.listdir(tmp_path)) == ["piece.musicxml", "plan.yaml"]
