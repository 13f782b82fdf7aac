"""What readings are called: brackets stay balanced, names stay different, and none is a letter beside a letter."""

from __future__ import annotations

import re
from itertools import combinations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from render.telling.comparison_words import LETTERS
from render.telling.titles import names_beside, own_title
from render.telling.words import plain
from timing.companions import KINDS

BRACKETS = {")": "(", "]": "[", "}": "{"}
PIECE = "Low Water, Two Lamps"

ENDINGS = ["", *(f", {kind.title}" for kind in KINDS.values())]
words = st.text(st.sampled_from("AbZé1 .,;:-–()[]’\u200b\xa0\u0301"), max_size=8) | st.text(max_size=5)
titles = st.one_of(
    words,
    st.builds("{}{}".format, st.just(PIECE), words),
    st.builds("{} ({}){}".format, st.just(PIECE), words, st.sampled_from(ENDINGS)),
)  # fmt: skip


def balanced(text: str) -> bool:
    text = re.sub(r"[^()\[\]{}]", "", text)
    while (less := re.sub(r"\(\)|\[\]|\{\}", "", text)) != text:
        text = less
    return not text


def seen(name: str) -> str:
    return " ".join("".join(letter for letter in name if letter.isprintable() or letter.isspace()).split())


def called(*of: str, piece: str = PIECE) -> list[str]:
    return names_beside([(title, piece, "plan") for title in of], LETTERS)


@pytest.mark.parametrize(("title", "own"), [
    (f"{PIECE} (flowing)", "flowing"),
    (f"{PIECE} (flowing), in strict time", "flowing, in strict time"),
    (f"{PIECE} [second (and last) try], exaggerated", "second (and last) try, exaggerated"),
    (f"{PIECE} (slow) and (soft)", "(slow) and (soft)"),
    (f"{PIECE}: flowing (like a brook)", "flowing (like a brook)"),
    (f"{PIECE}, misplaced", "misplaced"),
    (f"{PIECE} – poco rit.", "poco rit."),
    (f"{PIECE} (", ""),
    (f"{PIECE} (A)", "“A”"),
    (f"{PIECE} (A), misplaced", "“A”, misplaced"),
    (f"{PIECE} (A walk), misplaced", "A walk, misplaced"),
    (f"{PIECE} Lighted", "Lighted"),
    (f"{PIECE}lighters", f"{PIECE}lighters"),
    (f"{PIECE}’ light", f"{PIECE}’ light"),
    (PIECE, ""),
    ("Another (flowing), misplaced", "Another (flowing), misplaced"),
])  # fmt: skip
def test_what_a_title_says_beside_its_piece(title, own):
    assert own_title(title, PIECE) == own


@pytest.mark.parametrize(("title", "piece"), [
    ("Étude 12", "Étude 1"), ("Étude 1.5", "Étude 1"), ("Lamps", "Lamp"), ("Lamp-light", "Lamp"),
    ("Tide (low) water", "Tide (low"), ("Tide (low water)", "Tide (low"),
])  # fmt: skip
def test_titles_that_only_share_a_beginning_with_the_piece_are_said_whole(title, piece):
    assert own_title(title, piece) == title


def test_a_companion_is_called_by_what_it_is_made_from():
    flowing = f"{PIECE} (flowing)"
    names = called(flowing, f"{flowing}, in strict time", f"{flowing}, misplaced")
    assert names == ["flowing", "flowing, in strict time", "flowing, misplaced"]
    assert called(PIECE, f"{PIECE}, misplaced") == [PIECE, "misplaced"]


def test_titles_of_one_letter_stand_in_quotation_marks():
    assert called("A", "B", "A, misplaced") == ["“A”", "“B”", "“A”, misplaced"]
    assert called("A walk", "A-flat", "B.C.") == ["A walk", "A-flat", "B.C."]


def test_readings_that_would_be_called_alike_get_their_letters():
    assert called("Slow", f"{PIECE} (Slow)", "Slow (A)") == ["Slow (A) (A)", "Slow (B)", "Slow (A) (C)"]
    assert called("\u200b", "") == ["plan (A)", "plan (B)"]


@given(titles, st.sampled_from([PIECE, "Low", "", "A", "Low Water, Two Lamps ("]) | words)
@example("Low Water (Two Lamps)", "Low Water (Two")
@example(")(", "")
def test_balanced_brackets_stay_balanced(title, piece):
    assert balanced(own_title(title, piece)) or not balanced(title)


@given(st.lists(st.tuples(titles, st.sampled_from([PIECE, ""]) | words, words), min_size=1, max_size=4))
@example([("x", "", ""), ("x (A)", "", ""), ("x", "", "")])
@example([("a", "", ""), ("a\u200b", "", ""), ("a\xa0", "", "")])
def test_names_stay_different_and_none_is_a_letter_beside_a_letter(of):
    names = names_beside(of, LETTERS)
    assert len(names) == len(of)
    for one, other in combinations(names, 2):
        assert seen(one) != seen(other)
    for name in names:
        assert seen(name) and plain(name) == name
        letter, *rest = re.sub(r"[\W_]+", " ", name).split() or [""]
        assert len(letter) != 1 or rest or name[:1] == "“" or not name[:1].isalnum()
        assert not re.match(r"[A-Z](\s*[,;:()\[\]]|\s*$)", name)


@given(titles, st.sampled_from(sorted(KINDS)))
def test_a_companion_and_its_plan_are_never_called_alike(title, kind):
    one, other = called(title, f"{title or PIECE}, {KINDS[kind].title}")
    assert (one != other and balanced(other)) or not balanced(title)
