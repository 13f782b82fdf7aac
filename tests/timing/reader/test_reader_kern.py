"""Kern: staves that split and are joined again, repeat signs, and lists of sections.

What should come out is counted from the text, or worked out by hand; spine paths after the reference of the Humdrum
Toolkit."""

from __future__ import annotations

import re
from collections import Counter
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from laws import FEW

from timing.order import unfold
from timing.reader import read_score
from timing.reader.kern import _LIST, prepare
from timing.remarks import CannotDo
from timing.score import Score


def read(folder: Path, *lines: str) -> Score:
    path = folder / "score.krn"
    path.write_text("\n".join(lines).replace(" ", "\t") + "\n", encoding="utf-8")
    return read_score(path, cache=False)


def order(score: Score) -> str:
    """The bars as they are played, counted from 1 in the order of the text."""
    return " ".join(str(row + 1) for row in unfold(score)[0]["row"])


def places(score: Score) -> list[tuple[int, float, float, int]]:
    """Bar row, offset, length and pitch of every note."""
    return sorted(score.notes[["bar", "offset", "length", "pitch"]].tolist())


def test_of_several_pieces_in_a_file_the_first_is_read(tmp_path):
    first, second = (["**kern", "*M4/4", "=1", f"1{pitch}", "==", "*-"] for pitch in "cg")
    score = read(tmp_path, *first, "!!!OTL:second", *second)
    assert places(score) == [(0, 0.0, 4.0, 60)]
    assert [(r.code, r.message) for r in score.remarks] == [
        ("collection", "the file holds 2 pieces; the first is read")
    ]
    assert score.title != "second"


# -- splits and joins

AFTER = ["=2 =2", "2.C 2.c", "=3 =3", "2.D 2.d", "== ==", "*- *-"]
THIRDS = [(0, 0.0, 2.0, 52), (0, 0.0, 3.0, 76), (0, 1.0, 1.0, 55), (0, 1.0, 1.0, 59), (0, 2.0, 1.0, 57),
          (1, 0.0, 3.0, 48), (1, 0.0, 3.0, 60), (2, 0.0, 3.0, 50), (2, 0.0, 3.0, 62)]  # fmt: skip
LAYERS = ["4r 4r 2E 2.ee", "4G 4B . .", "4r 4r 4A ."]


@pytest.mark.parametrize("second", ["*^ * *", "* *^ *"])
@pytest.mark.parametrize("joins", [["*v *v *v *"], ["*v *v * *", "*v *v *"], ["* *v *v *", "*v *v *"]])
def test_a_staff_that_splits_twice_and_is_joined(tmp_path, second, joins):
    """However it is split and joined, no note is lost, and the bars after it stand where they belong."""
    score = read(tmp_path, "**kern **kern", "*M3/4 *M3/4", "=1 =1", "*^ *", second, *LAYERS, *joins, *AFTER)
    assert places(score) == THIRDS
    assert score.bars["length"].tolist() == [3.0, 3.0, 3.0]


def test_voices_of_a_staff_that_splits_twice_are_kept_apart(tmp_path):
    score = read(tmp_path, "**kern **kern", "*M3/4 *M3/4", "=1 =1", "*^ *", "* *^ *", *LAYERS, "*v *v *v *", *AFTER)
    inner = {score.notes["pitch"][row]: score.notes["voice"][row] for row in range(5)}
    assert len({inner[55], inner[59], inner[52]}) == 3
    assert inner[57] == inner[52]


def test_two_staves_joined_on_one_line(tmp_path):
    score = read(tmp_path, "**kern **kern", "*M3/4 *M3/4", "=1 =1", "*^ *^", "2.E 2.G 2.e 2.g", "*v *v *v *v", *AFTER)
    assert [row[3] for row in places(score)] == [52, 55, 64, 67, 48, 60, 50, 62]
    assert score.bars["length"].tolist() == [3.0, 3.0, 3.0]


def test_what_is_joined_in_halves_of_one_split_stays_as_it_is():
    text = "**kern\t**dynam\n*^\t*\n4c\t4e\tp\n*v\t*v\t*\n*-\t*-\n"
    assert prepare(text) == text


def test_a_join_of_three_in_steps_of_two():
    text = "**kern\t**kern\n*^\t*\n*\t*^\t*\n4c\t4e\t4g\t4a\n*v\t*v\t*v\t*\n*-\t*-\n"
    steps = "**kern\t**kern\n*^\t*\n*\t*^\t*\n4c\t4e\t4g\t4a\n*\t*v\t*v\t*\n*v\t*v\t*\n*-\t*-\n"
    assert prepare(text) == steps


@pytest.mark.parametrize("line", ["*v", "*v *v *v", "*^ *^", "*x *", "*v *", "* *v", "*- *v", "*+ *", "*x *x"])
def test_spine_paths_without_a_sense_never_break_the_rewriting(line):
    fields = line.replace(" ", "\t")
    text = prepare(f"**kern\t**kern\n{fields}\n4c\t4d\n*-\t*-\n")
    assert "4c\t4d" in text


def ended(times: int) -> list[str]:
    """A staff that is split so often, and each time one half ends."""
    return ["**kern", "*M4/4", "=1", *["*^", "* *-"] * times, "1c", "=", "*-"]


def test_a_staff_may_be_split_within_what_is_split(tmp_path):
    assert places(read(tmp_path, *ended(8))) == [(0, 0.0, 4.0, 60)]


def test_splits_without_end_are_refused(tmp_path):
    with pytest.raises(CannotDo, match="splits a staff more than 64 times without joining it, at line 132"):
        read(tmp_path, *ended(20_000))


def test_the_list_of_sections_stands_on_one_line():
    assert _LIST.search("**kern\n*>[A,B\n*>C]\n") is None
    assert _LIST.search("**kern\n*>[\n*>[A,B]\n")[1] == "A,B"


@st.composite
def splitting(draw) -> tuple[list[str], Counter]:
    """Two staves in 4/4 that split and join at any beat, and what sounds: bar, offset, pitch."""
    staves = [1, 1]
    lines, sounding = ["**kern **kern", "*M4/4 *M4/4"], Counter()
    names = "CDEFGABcdefgab"
    for bar in range(draw(st.integers(1, 3))):
        lines.append(" ".join([f"={bar + 1}"] * sum(staves)))
        for beat in range(4):
            for staff in (0, 1):
                before = [n for n in range(sum(staves)) if (n >= staves[0]) == bool(staff)]
                what = draw(st.sampled_from(["stay", "stay", "split", "join"]))
                if what == "split" and staves[staff] < 4:
                    at = draw(st.sampled_from(before))
                    lines.append(" ".join("*^" if n == at else "*" for n in range(sum(staves))))
                    staves[staff] += 1
                elif what == "join" and staves[staff] > 1:
                    count = draw(st.integers(2, staves[staff]))
                    first = draw(st.sampled_from(before[: staves[staff] - count + 1]))
                    lines.append(" ".join("*v" if first <= n < first + count else "*" for n in range(sum(staves))))
                    staves[staff] -= count - 1
            pitches = draw(st.lists(st.sampled_from(names), min_size=sum(staves), max_size=sum(staves)))
            lines.append(" ".join(f"4{name}" for name in pitches))
            steps = dict(zip("CDEFGABcdefgab", [48, 50, 52, 53, 55, 57, 59, 60, 62, 64, 65, 67, 69, 71], strict=True))
            sounding.update((bar, float(beat), steps[name]) for name in pitches)
    return [*lines, " ".join(["*-"] * sum(staves))], sounding


@given(splitting())
def test_every_note_stands_where_the_text_has_it(tmp_path_factory, made):
    lines, sounding = made
    score = read(tmp_path_factory.mktemp("kern"), *lines)
    assert Counter(score.notes[["bar", "offset", "pitch"]].tolist()) == sounding
    joined = prepare("\n".join(lines).replace(" ", "\t"))
    assert not re.search(r"\*v\t\*v\t\*v", joined)
    assert prepare(joined) == joined


# -- repeat signs and sections

FOUR = ["4c", "4d", "4e", "4f"]


def bars(signs: str) -> list[str]:
    """Bars of four quarters between bar lines; the words between them are the text's own lines."""
    lines = ["**kern", "*M4/4"]
    for word in signs.split():
        lines += FOUR if word == "bar" else [word]
    return [*lines, "*-"]


SIGNS = [
    ("=1 bar =2 bar =:|! bar =4 bar ==", "1 2 1 2 3 4"),  # a closing sign alone opens nothing
    ("=1 bar =2:|! bar =3 bar ==", "1 1 2 3"),
    ("=1 bar =2!|: bar =3:|! bar ==", "1 2 2 3"),
    ("=1 bar =:|!|: bar =3 bar ==:|!", "1 1 2 3 2 3"),
    ("=1 bar =2:|!: bar ==:|!", "1 1 2 2"),
    ("=1!|: bar =:|! bar ==", "1 1 2"),
    ("=1 bar =2 bar =3:|| bar =4||: bar ==:||", "1 2 1 2 3 4 4"),
]


@pytest.mark.parametrize(("signs", "played"), SIGNS)
def test_repeat_signs(tmp_path, signs, played):
    assert order(read(tmp_path, *bars(signs))) == played


@pytest.mark.parametrize("sign", ["==:|!", "=:|!", "=4:|!", "==:||"])
def test_no_bar_comes_after_the_last_repeat_sign(tmp_path, sign):
    assert len(read(tmp_path, *bars(f"=1 bar =2 bar =3 bar {sign}")).bars) == 3


def test_a_repeat_sign_where_the_staff_is_split(tmp_path):
    """The sign of the bar line stands in both halves of the staff, and is one."""
    lines = ["**kern", "*M4/4", "=1", "*^", "1c 1e", "=2:|! =2:|!", "1d 1f", "*v *v", "=3", "1c", "==", "*-"]
    score = read(tmp_path, *lines)
    assert order(score) == "1 1 2 3"
    assert len(score.marks_of("double bar", "repeat start")) == 0


def test_double_bars(tmp_path):
    score = read(tmp_path, *bars("=1 bar =2|| bar =3 bar =4 bar =="))
    assert score.marks_of("double bar")["bar"].tolist() == [0]  # the one at the end closes nothing but the piece


SECTIONS = [
    # without signs the list alone tells what is repeated
    ("*>[A,B,B,B] *>norep[A,B] *>A =1 bar =2 bar *>B =3 bar =4 bar ==", "1 2 3 4 3 4 3 4"),
    ("*>[A,A,B] *>A =1 bar =:|! *>B bar ==", "1 1 2"),
    # endings are known by the list alone
    ("*>[A,A1,A,A2,B] *>A =1 bar =2 bar *>A1 =3 bar =4:|! *>A2 bar =5 *>B bar ==", "1 2 3 1 2 4 5"),
    ("*>[A,A1,A,A2,A,A3] *>A =1 bar *>A1 =2 bar =:|! *>A2 bar =:|! *>A3 bar ==", "1 2 1 3 1 4"),
    ("*>[A,A,B,B1,B,B2] *>A =1 bar =:|!|: *>B bar *>B1 =3 bar =:|! *>B2 bar ==", "1 1 2 3 2 4"),
    # the minuet after its trio, without repeats
    ("*>[A,A,B,B,C,C,A,B] *>A =1 bar =:|!|: *>B bar =:|!|: *>C bar ==:|!", "1 1 2 2 3 3 1 2"),
    ("*>[A,B,C,B] *>A =1 bar *>B =2 bar *>C =3 bar ==", "1 2 3 2"),
    # lists that no signs say, and lists without their sections: the repeat signs are read
    ("*>[B,A] *>A =1 bar =:|! *>B bar ==", "1 1 2"),
    ("*>[A,B] *>A =1 bar =:|! bar ==", "1 1 2"),
    ("*>[A] *>A =1 bar =:|! *>B bar ==", "1 1 2"),
    ("*>[A,A,B,B,A,A] *>A =1 bar =:|!|: *>B bar ==:|!", "1 1 2 2"),
    ("=1 bar =:|! *>A bar ==", "1 1 2"),
]


@pytest.mark.parametrize(("signs", "played"), SECTIONS)
def test_sections_in_the_order_of_their_list(tmp_path, signs, played):
    assert order(read(tmp_path, *bars(signs))) == played


def test_a_section_that_begins_within_a_bar_is_left_to_the_signs(tmp_path):
    lines = ["*>[A,B,B]", "*>A", "=1", *FOUR[:2], "*>B", *FOUR[2:], "=2:|!", *FOUR, "==", "*-"]
    assert order(read(tmp_path, "**kern", "*M4/4", *lines)) == "1 1 2"


def test_endings_of_the_list_are_on_the_passes_they_are_for(tmp_path):
    score = read(tmp_path, *bars("*>[A,A1,A,A2] *>A =1 bar *>A1 =2 bar =:|! *>A2 bar =="))
    played, remarks = unfold(score)
    assert played[["row", "pass"]].tolist() == [(0, 1), (1, 1), (0, 2), (2, 2)]
    assert not remarks


@given(st.lists(st.sampled_from(["once", "twice", "thrice", "endings"]), min_size=1, max_size=5))
@FEW
def test_the_bars_come_as_the_list_says(tmp_path_factory, kinds):
    lines, listed, firsts, bar = [], [], {}, 0
    for letter, kind in zip("ABCDE", kinds, strict=False):
        names = [letter, f"{letter}1", f"{letter}2"] if kind == "endings" else [letter]
        for name in names:
            bar += 1
            firsts[name] = bar
            lines += [f"*>{name}", f"={bar}", "bar"]
        times = {"once": 1, "twice": 2, "thrice": 3}
        listed += [letter] * times[kind] if kind in times else [letter, names[1], letter, names[2]]
    score = read(tmp_path_factory.mktemp("kern"), *bars(f"*>[{','.join(listed)}] {' '.join(lines)} =="))
    assert unfold(score)[0]["number"].tolist() == [firsts[name] for name in listed]
