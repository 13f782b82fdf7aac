"""What takes are called where no file is named."""

from __future__ import annotations

import re
from dataclasses import fields, replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from render.commands.take_names import take_stem
from render.commands.takes import Wanted
from soundfonts.banks import standard_bank
from timing.plan.position import parse_range
from timing.time.scale import Scale

MINE = Path("folder/mine.yaml")
SAFE = re.compile(r"[a-z0-9+._-]+")


def test_the_whole_is_called_as_its_plan():
    assert take_stem(MINE, Wanted()) == "mine"
    assert take_stem(Path("My plan.1.yaml"), Wanted()) == "My plan.1"


@pytest.mark.parametrize(
    ("wanted", "name"),
    [
        (Wanted(bars="26-29", scale=Scale(pace=0.6)), "mine_bars-26-29_pace-60"),
        (Wanted(bars="7:2 - 8:3", passes="last"), "mine_bars-7.2-8.3_pass-last"),
        (Wanted(bars="7:2+1/3 - 8:3.5", passes="da capo"), "mine_bars-7.2+1.3-8.3.5_pass-da-capo"),
        (Wanted(bars="12a", passes=2), "mine_bars-12a_pass-2"),
        (Wanted(only=["Melody", "voice  2"]), "mine_only-melody_only-voice-2"),
        (Wanted(without=["bass"], loop=4, click=True, count_in=True), "mine_without-bass_loop-4_click_count-in"),
        (Wanted(scale=Scale(amount=0.125, pace=1.5)), "mine_pace-150_amount-12.5"),
        (Wanted(fingering="high"), "mine_fingering-high"),
        (Wanted(only=["Flöte"]), "mine_only-flote-84312b8b"),  # as the handbook has it
    ],
)
def test_every_way_of_listening_has_a_name_of_its_own(wanted, name):
    assert take_stem(MINE, wanted) == name


def test_what_means_the_same_is_called_alike():
    for one, other in (
        (Wanted(bars="7:2 - 8:3"), Wanted(bars=" 7:2-8:3")),
        (Wanted(bars="7"), Wanted(bars="7-7")),
        (Wanted(only=["bass", "melody"]), Wanted(only=["Melody", " bass", "melody"])),
    ):
        assert take_stem(MINE, one) == take_stem(MINE, other)


def test_what_letters_do_not_tell_apart_a_digest_does():
    texts = ["Höhe", "Hohe", "hohe", "a_b", "a-b", "a b", "A b", "高", "", "-", "../x", "x" * 300, "x" * 301]
    names = [take_stem(MINE, Wanted(fingering=text)) for text in texts]
    assert len(set(names)) == len(texts) and all(SAFE.fullmatch(name) for name in names)
    assert names[0].startswith("mine_fingering-hohe-")


def test_a_bank_is_known_by_its_content(tmp_path):
    names = []
    for folder, content in (("one", b"x"), ("two", b"x"), ("three", b"y")):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / "Big Bank.sf2").write_bytes(content)
        names.append(take_stem(MINE, Wanted(soundfont=tmp_path / folder / "Big Bank.sf2")))
    assert names[0] == names[1] != names[2]
    assert names[0].startswith("mine_soundfont-big-bank-")


def test_a_long_name_is_cut_and_stays_one_of_its_own():
    plan, voices = Path("ö" * 100 + ".yaml"), [f"voice {number}" for number in range(40)]
    names = [take_stem(plan, Wanted(only=voices, loop=loop)) for loop in (2, 3)]
    assert names[0] != names[1]
    assert all(len(f"{name}.midi".encode()) <= 255 and name.startswith("ö" * 100 + "_only-voice-0") for name in names)


beats = st.one_of(
    st.integers(1, 12).map(str),
    st.tuples(st.integers(1, 12), st.sampled_from(["0", "5", "25", "125"])).map(lambda b: f"{b[0]}.{b[1]}"),
    st.tuples(st.integers(1, 12), st.sampled_from(["1/3", "2/3", "1/7", "1/13"])).map(lambda b: f"{b[0]}+{b[1]}"),
)
positions = st.tuples(st.integers(0, 40), st.sampled_from(["", "a", "B", "e"]), st.none() | beats).map(
    lambda p: f"{p[0]}{p[1]}" + (f":{p[2]}" if p[2] else "")
)
ranges = positions | st.tuples(positions, positions).map(" - ".join)
voices = st.lists(st.sampled_from(["melody", "bass", "inner", "voice 2", "Flauto I", "flauto-i", "click", "a_b"]))
ways = st.builds(
    Wanted,
    soundfont=st.sampled_from([None, standard_bank()]),
    only=voices,
    without=voices,
    fingering=st.sampled_from([None, "high", "click", "high click", "High"]),
    scale=st.builds(Scale, amount=st.sampled_from([1.0, 0.5, 0.125]), pace=st.sampled_from([1.0, 0.6, 2 / 3, 1.1])),
    bars=st.none() | ranges,
    passes=st.sampled_from([None, 1, 2, "last", "da capo"]),
    loop=st.integers(1, 12),
    click=st.booleans(),
    count_in=st.booleans(),
    room=st.sampled_from([None, "dry", "hall"]),
)


def meant(wanted: Wanted) -> Wanted:
    """What is asked for, however it is written."""
    named = {way: tuple(sorted({voice.lower() for voice in getattr(wanted, way)})) for way in ("only", "without")}
    return replace(wanted, bars=None if wanted.bars is None else str(parse_range(wanted.bars)), **named)


@given(ways, ways)
def test_two_takes_are_called_alike_if_and_only_if_they_are_the_same(one, other):
    names = [take_stem(MINE, wanted) for wanted in (one, other)]
    assert (names[0].lower() == names[1].lower()) == (meant(one) == meant(other))
    assert all(SAFE.fullmatch(name) and not name.endswith(".") for name in names)


@given(ways)
def test_no_option_is_left_out(wanted):
    unlike = {
        "soundfont": None if wanted.soundfont else standard_bank(), "only": ["all"], "without": ["all"],
        "fingering": "low", "scale": Scale(0.3, 0.3), "bars": "99", "passes": 7, "loop": 99,
        "click": not wanted.click, "count_in": not wanted.count_in, "room": "small",
    }  # fmt: skip
    assert set(unlike) == {field.name for field in fields(Wanted)}
    others = [replace(wanted, **{option: value}) for option, value in unlike.items()]
    assert len({take_stem(MINE, each) for each in (wanted, *others)}) == len(unlike) + 1
