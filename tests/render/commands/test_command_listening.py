"""Listening to one line, to another fingering, and to the banks: the command as users run it."""

from __future__ import annotations

import base64
from io import BytesIO
from pathlib import Path

import doubling
import mido
import pytest
import soundfile
from house import PLANS
from support import musicxml

from soundfonts.banks import standard_bank
from soundfonts.guitar import guitar_bank

DEMO = PLANS / "low-water-flowing.yaml"
PLAN = "score: piece.musicxml\ntempo: 60\ninstrument: classical guitar\n"
TWO_WAYS = PLAN + (
    "strings:\n  - {bars: 1-8, name: open, position: 1}\n  - {bars: 1-8, name: high, string: 5}\n"
)


@pytest.fixture
def run(tmp_path):
    """Run the command in a folder of its own with a score of quarters on c4, and a plan."""

    def call(*words, plan: str = PLAN, **environment):
        (tmp_path / "piece.musicxml").write_text(musicxml(8), encoding="utf-8")
        (tmp_path / "plan.yaml").write_text(plan, encoding="utf-8")
        return doubling.run(*words, folder=tmp_path, **{"COLUMNS": "120"} | environment)

    return call


def strokes(path: Path) -> list[int]:
    return sorted(m.note for m in mido.MidiFile(path) if m.type == "note_on" and m.velocity)


def test_one_line_alone_and_all_but_one(run, tmp_path):
    for name, words in {"all": [], "melody": ["--only", "melody"], "rest": ["--without", "melody"]}.items():
        done = run("render", DEMO, "-o", f"{name}.mid", *words)
        assert done.returncode == 0, done.stderr
    together = strokes(tmp_path / "melody.mid") + strokes(tmp_path / "rest.mid")
    assert sorted(together) == strokes(tmp_path / "all.mid")
    done = run("render", DEMO, "-o", "two.mid", "--only", "melody", "--only", "bass")
    assert done.returncode == 0
    assert len(strokes(tmp_path / "melody.mid")) < len(strokes(tmp_path / "two.mid")) < len(together)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--only", "melodie"], "did you mean 'melody'"),
        (["--without", "part 1"], "nothing is left"),
        (["--fingering", "low"], "low"),
        (["--bars", "7-9"], "bar 9: the score ends at bar 8"),
        (["--bars", "4-2"], "did you mean 2-4"),
        (["--bars", "2-3", "--pass", "2"], "not heard in one go on pass 2, but on pass 1"),
        (["--pass", "2"], "of which bars"),
        (["--bars", "2", "--pass", "second"], "write 2"),
        (["--loop", "0"], "--loop"),
        (["--loop", "100000"], "at most 225 are played"),
    ],
)
def test_what_is_not_there_is_said_and_nothing_written(run, tmp_path, words, said):
    done = run("render", "plan.yaml", "-o", "a.mid", *words, plan=TWO_WAYS)
    assert done.returncode == 2 and said in done.stderr and "Traceback" not in done.stderr
    assert not (tmp_path / "a.mid").exists()


def test_all_ways_of_listening_go_together(run, tmp_path):
    """Two rounds of two bars of the melody, half as fast, with clicks and a count-in: one bar and four, at 30."""
    words = ["--bars", "2-3", "--pass", "1", "--loop", "2", "--click", "--count-in"]
    words += ["--only", "melody", "--pace", "50%", "--amount", "0%"]
    done = run("render", "plan.yaml", "-o", "a.mid", "-o", "a.wav", *words)
    assert done.returncode == 0, done.stderr
    assert len(strokes(tmp_path / "a.mid")) == 20 + 16
    assert {track.name for track in mido.MidiFile(tmp_path / "a.mid").tracks} > {"click"}
    assert 40 < soundfile.info(tmp_path / "a.wav").duration < 42
    assert "0:40, 36 notes" in done.stderr


def test_another_way_to_play_is_heard(run, tmp_path):
    for name in ("open", "high"):
        assert run("render", "plan.yaml", "-o", f"{name}.mid", "--fingering", name, plan=TWO_WAYS).returncode == 0
    assert run("render", "plan.yaml", "-o", "first.mid", plan=TWO_WAYS).returncode == 0
    tracks = {name: {t.name for t in mido.MidiFile(tmp_path / f"{name}.mid").tracks} for name in ("open", "high")}
    assert "Piano, string 2" in tracks["open"] and "Piano, string 5" in tracks["high"]
    assert (tmp_path / "first.mid").read_bytes() == (tmp_path / "open.mid").read_bytes()


def test_sounds_says_where_the_banks_are_and_which_tones_they_have(run):
    done = run("sounds")
    assert done.returncode == 0, done.stderr
    assert str(guitar_bank()) in done.stdout and str(standard_bank()) in done.stdout
    for word in ("naturale", "sul tasto", "sul ponticello", "pizzicato", "harmonics", "ligado", "dark", "bright"):
        assert word in done.stdout


def test_a_cache_that_cannot_be_written_does_not_keep_the_guitar_from_sounding(run, tmp_path):
    (tmp_path / "file").write_text("not a folder")
    done = run("render", "plan.yaml", "-o", "a.wav", LENTANDO_CACHE=str(tmp_path / "file" / "cache"))
    assert done.returncode == 0, done.stderr
    assert abs(soundfile.read(tmp_path / "a.wav")[0]).max() > 0.001


def test_a_pitch_off_the_instrument_is_a_caution_and_sounds(run, tmp_path):
    score = musicxml(8).replace("<octave>4</octave>", "<octave>1</octave>", 1)
    call = run("render", "plan.yaml", "-o", "a.mid")
    assert call.returncode == 0
    (tmp_path / "low.musicxml").write_text(score, encoding="utf-8")
    done = run("render", "plan.yaml", "-o", "a.mid", plan=PLAN.replace("piece", "low"))
    assert done.returncode == 1 and "off-the-instrument" in done.stderr
    assert strokes(tmp_path / "a.mid")[0] == 24


LOUD = "X:1\nM:4/4\nL:1/1\nK:C\n[C,E,G,CEGceg]|[D,F,A,DFAdfa]|[C,E,G,CEGceg]|[D,F,A,DFAdfa]|]\n"


def test_what_would_clip_is_lowered_with_what_is_rendered_beside_it_and_that_is_said(run, tmp_path):
    (tmp_path / "loud.abc").write_text(LOUD, encoding="utf-8")
    for name, mark in (("loud", "fff"), ("soft", "pp")):
        plan = f"score: loud.abc\ntempo: 120\ninstrument: church organ\ndynamics: [{{at: 1, mark: {mark}}}]\n"
        (tmp_path / f"{name}.yaml").write_text(plan, encoding="utf-8")

    def peak(name: str) -> float:
        return float(abs(soundfile.read(tmp_path / name)[0]).max())

    done = run("render", "soft.yaml", "-o", "alone.wav")
    assert done.returncode == 0 and "lowered" not in done.stderr, done.stderr
    done = run("render", "soft.yaml", "loud.yaml", "-o", "soft.wav", "-o", "loud.flac")
    assert done.returncode == 0 and "dBTP" in done.stderr, done.stderr
    (said,) = [line for line in done.stderr.splitlines() if line.startswith("lowered by ")]
    assert said.endswith(" dB so that nothing clips; both alike")
    lowered = float(said.split()[2])
    assert lowered > 0 and peak("alone.wav") / peak("soft.wav") == pytest.approx(10 ** (lowered / 20), rel=1e-3)
    assert 0.8 < peak("loud.flac") <= 10 ** (-1 / 20)
    done = run("compare", "soft.yaml", "loud.yaml", "-o", "page.html")
    (said,) = [line for line in done.stderr.splitlines() if line.startswith("lowered by ")]
    html = (tmp_path / "page.html").read_text("utf-8")
    assert said.endswith("both alike") and f"The sound is {said}." in html
    coded = [base64.b64decode(part.split('"')[0]) for part in html.split("data:audio/mpeg;base64,")[1:3]]
    peaks = [float(abs(soundfile.read(BytesIO(mp3))[0]).max()) for mp3 in coded]
    assert 0.7 < peaks[1] < 1 and peaks[1] / peaks[0] == pytest.approx(peak("loud.flac") / peak("soft.wav"), rel=0.15)
