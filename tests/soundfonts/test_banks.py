"""Which files pass for a bank. The standard bank is taken apart here to make damaged ones."""

from __future__ import annotations

import hashlib
import struct
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st
from laws import FEW

from soundfonts.banks import checked_bank, fingerprint, standard_bank
from timing.remarks import CannotDo


@pytest.fixture(scope="module")
def content() -> bytes:
    return standard_bank().read_bytes()


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("banks")


def refusal(folder, content: bytes) -> str:
    path = folder / "made.sf2"
    path.write_bytes(content)
    with pytest.raises(CannotDo) as refused:
        checked_bank(path)
    assert "made.sf2" in str(refused.value)
    return str(refused.value)


def test_the_standard_bank_is_whole_and_is_found_without_importing_its_package():
    assert checked_bank(standard_bank()) == standard_bank()
    assert standard_bank().name == "TimGM6mb.sf2"


def test_a_fingerprint_is_the_files_sha_256(content):
    assert fingerprint(standard_bank()) == hashlib.sha256(content).hexdigest()


@given(share=st.floats(0, 1, exclude_max=True))
@FEW
def test_no_part_of_a_bank_is_a_bank(folder, content, share):
    refusal(folder, content[: int(share * len(content))])


def test_a_bank_cut_short_says_how_much_is_missing(folder, content):
    assert f"should have {len(content):,} bytes and has 1,000,000" in refusal(folder, content[:1_000_000])


@pytest.mark.parametrize(
    "other",
    [b"", b"RIFF", b"MThd\0\0\0\6" + bytes(100), b"RIFF\x24\0\0\0WAVEfmt " + bytes(100), bytes(1000), b"\xff" * 1000],
    ids=["empty", "four bytes", "MIDI", "WAV", "zeros", "ones"],
)
def test_other_files_are_not_banks(folder, other):
    assert "is not a SoundFont" in refusal(folder, other)


@pytest.mark.parametrize("name", [b"INFO", b"sdta", b"pdta"])
def test_a_bank_without_one_of_its_lists_is_damaged(folder, content, name):
    assert f"its part {name.decode()} is missing" in refusal(folder, content.replace(name, b"junk", 1))


def test_a_list_longer_than_the_file_is_damage(folder, content):
    at = content.index(b"pdta") - 4
    assert "damaged" in refusal(folder, content[:at] + struct.pack("<I", 2**32 - 1) + content[at + 4 :])


@pytest.mark.parametrize("begin", [b"", b"LIST\x04\0\0\0INFO"], ids=["empty chunks", "one list"])
def test_a_gigabyte_of_nothing_is_refused_without_walking_through_it(tmp_path, monkeypatch, begin):
    path, size = tmp_path / "made.sf2", 2**30
    with path.open("wb") as file:
        file.write(b"RIFF" + struct.pack("<I", size - 8) + b"sfbk" + begin)
        file.truncate(size)  # sparse: it takes no room
    looks = []
    monkeypatch.setattr("struct.unpack", lambda *words, unpack=struct.unpack: looks.append(1) or unpack(*words))
    with pytest.raises(CannotDo, match="damaged SoundFont"):
        checked_bank(path)
    assert len(looks) < 1000


def test_bytes_after_the_bank_do_no_harm(folder, content):
    path = folder / "longer.sf2"
    path.write_bytes(content + b"trailing")
    assert checked_bank(path) == path


def test_a_folder_and_a_missing_file_are_told_apart(tmp_path):
    with pytest.raises(CannotDo, match="is a folder"):
        checked_bank(tmp_path)
    with pytest.raises(CannotDo, match="does not exist"):
        checked_bank(tmp_path / "none.sf2")


def test_a_missing_standard_bank_names_the_remedy(monkeypatch):
    monkeypatch.setitem(sys.modules, "pretty_midi", None)
    with pytest.raises(CannotDo, match=r"TimGM6mb\.sf2 is missing") as refused:
        standard_bank()
    assert "pip install" in refused.value.remarks[0].suggestion


def test_a_gigabyte_of_sound_is_looked_at_without_being_read(tmp_path, monkeypatch):
    path, sound = tmp_path / "large.sf2", 2**30
    info, tables = b"LIST\x04\0\0\0INFO", b"LIST\x04\0\0\0pdta"
    with path.open("wb") as file:
        file.write(b"RIFF" + struct.pack("<I", 4 + 12 + 12 + sound + 12) + b"sfbk" + info)
        file.write(b"LIST" + struct.pack("<I", sound + 4) + b"sdta")
        file.seek(sound, 1)  # sparse: it takes no room
        file.write(tables)
    looks = []
    monkeypatch.setattr("struct.unpack", lambda *words, unpack=struct.unpack: looks.append(1) or unpack(*words))
    assert checked_bank(path) == path
    assert len(looks) < 10
