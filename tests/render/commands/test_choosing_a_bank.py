"""A bank that is chosen once plays from then on, until the choice is taken back or the bank is gone."""

from __future__ import annotations

import shutil

import doubling
import pytest
import soundfile

from soundfonts.banks import standard_bank
from soundfonts.chosen import choose_bank, chosen_bank, general_bank
from soundfonts.guitar import guitar_bank
from timing.remarks import CannotDo


@pytest.fixture(autouse=True)
def settings(tmp_path, monkeypatch):
    folder = tmp_path / "settings"
    monkeypatch.setenv("LENTANDO_SETTINGS", str(folder))
    return folder


@pytest.fixture
def run(tmp_path, settings):
    return lambda *words: doubling.run(*words, folder=tmp_path, LENTANDO_SETTINGS=str(settings))


@pytest.fixture
def bank(tmp_path):
    return shutil.copy(standard_bank(), tmp_path / "söme bank.sf2")


def test_what_is_chosen_is_in_the_take_and_in_the_list(run, bank, tmp_path):
    (tmp_path / "tune.abc").write_text("X:1\nT:Slow Air\nM:4/4\nL:1/4\nK:C\nCEGc|\n", encoding="utf-8")
    (tmp_path / "tune.yaml").write_text("score: tune.abc\ninstrument: piano\n", encoding="utf-8")
    before = run("render", tmp_path / "tune.yaml", "-o", tmp_path / "before.wav")
    chosen = run("sounds", "--use", bank)
    assert chosen.returncode == 0 and "plays all but the classical guitar" in chosen.stdout
    assert "no sound of its own" not in chosen.stdout, "a whole General MIDI bank lacks nothing"
    after = run("render", tmp_path / "tune.yaml", "-o", tmp_path / "after.wav")
    assert (before.returncode, after.returncode) == (0, 0)
    comments = [soundfile.SoundFile(tmp_path / f"{name}.wav").comment for name in ("before", "after")]
    assert "söme bank.sf2" in comments[1] and "söme bank.sf2" not in comments[0]
    assert "as you have chosen" in run("sounds").stdout
    assert run("sounds", "--standard").returncode == 0
    assert general_bank() == standard_bank() and chosen_bank() is None


def test_what_a_bank_lacks_is_told(run):
    said = run("sounds", "--use", guitar_bank()).stdout
    assert "no sound of its own for 127 of the 128 programs" in said


def test_what_is_no_bank_is_refused_and_changes_nothing(run, bank, tmp_path):
    choose_bank(bank)
    (tmp_path / "no.sf2").write_bytes(b"RIFF but no more")
    refused = run("sounds", "--use", tmp_path / "no.sf2")
    assert refused.returncode == 2 and "is not a SoundFont" in refused.stderr
    assert general_bank() == bank.resolve()


def test_a_bank_that_is_gone_is_told_with_the_way_back(bank):
    choose_bank(bank)
    bank.unlink()
    with pytest.raises(CannotDo) as refusal:
        general_bank()
    (remark,) = refusal.value.remarks
    assert "does not exist" in remark.message and "sounds --use" in remark.message
    assert remark.suggestion == "lentando sounds --standard"


def test_both_at_once_are_refused(run, bank):
    assert run("sounds", "--use", bank, "--standard").returncode == 2
    assert chosen_bank() is None


def test_settings_that_cannot_be_written_are_told(run, bank, settings):
    settings.write_text("a file where the folder should be", encoding="utf-8")
    refused = run("sounds", "--use", bank)
    assert refused.returncode == 2 and "the choice cannot be kept" in refused.stderr
