"""What always holds: scales, free places, words in their room, bars in their systems."""

from __future__ import annotations

import numpy as np
import pytest
from drawings import parsed
from hypothesis import given
from hypothesis import strategies as st
from support import score

from render.drawing.bare import bare
from render.drawing.lettering import markup, shortened, width, wrapped
from render.drawing.lines import level_y, pace_y
from render.drawing.skyline import Skyline
from render.drawing.style import PAPER, page_style, sheet_style
from render.telling.words import plain
from timing.order.splitting import split_bars
from timing.plan.words import LEVELS

NUMBERS = st.floats(0, 400, allow_nan=False)


@given(st.lists(st.floats(0.01, 20), min_size=2, max_size=20))
def test_a_slower_pace_never_lies_higher(paces):
    paces = np.sort(paces)
    assert np.all(np.diff(pace_y(paces)) <= 1e-9)


def test_the_basic_tempo_is_the_line_and_slowing_has_more_room():
    assert pace_y(np.ones(1))[0] == pytest.approx(0)
    shares = np.linspace(0.4, 0.9, 20)
    assert np.all(pace_y(shares) > -pace_y(1 / shares))


def test_louder_is_wider_and_a_mark_is_always_seen():
    heights = level_y(np.array(sorted(LEVELS.values())))
    assert np.all(np.diff(heights) > 0.3) and heights[0] > 0
    assert np.array_equal(level_y(np.array([-300.0])), level_y(np.array([-40.0])))


@given(
    st.booleans(),
    st.lists(st.tuples(NUMBERS, st.floats(0, 150), st.floats(1, 30)), min_size=1, max_size=30),
)
def test_no_two_placed_things_overlap(upwards, wanted):
    skyline, placed = Skyline(400, upwards), []
    for left, long, high in wanted:
        y = skyline.place(left, left + long, high)
        low, top = (y - high, y) if upwards else (y, y + high)
        assert (top <= 0) if upwards else (low >= 0)
        right = min(left + long, 400)
        for a, b, c, d in placed:
            assert min(right, b) - max(left, a) <= 0 or min(top, d) - max(low, c) <= 1e-9
        placed.append((left, right, low, top))


@given(st.text(max_size=200))
def test_any_text_is_markup_that_says_it(words):
    root = parsed(f"<text>{markup(plain(words))}</text>")
    assert "".join(root.itertext()) == plain(words)


@pytest.mark.parametrize("words", ["a\x00b", "a\x1bb", "a\ud800b", "a\u202eb", "a\ufffeb", "a\x85b", "a\n\tb"])
def test_what_cannot_or_must_not_be_printed_is_a_space(words):
    assert plain(words) == "a b"


@given(st.text(max_size=300), st.floats(20, 400), st.sampled_from(["regular", "italic", "semibold"]))
def test_lines_have_room_for_their_words(words, room, face):
    lines = wrapped(words, room, 10, face)
    assert len(lines) <= 6
    assert all(width(line, 10, face) <= room for line in lines)
    if len(lines) < 6:
        assert "".join(lines).replace(" ", "") == plain(words).replace(" ", "")


@given(st.text(max_size=100), st.floats(15, 300))
def test_what_is_shortened_begins_as_it_did_and_has_room(words, room):
    short = shortened(words, room, 10)
    assert width(short, 10) <= max(room, width("…", 10))
    assert words.startswith(short.rstrip("…").rstrip()) or short == words


@given(bars=st.integers(1, 60), room=st.floats(60, 2000), metre=st.sampled_from([(4, 4), (6, 8), (1, 16), (97, 4)]))
def test_bare_bars_stand_each_once_side_by_side(bars, room, metre):
    engraving = bare(score(bars, metre, voices={1: "r:4"}), room)
    assert np.concatenate([system.bars["bar"] for system in engraving.systems]).tolist() == list(range(bars))
    for system in engraving.systems:
        boxes = system.bars
        assert np.all(boxes["right"] - boxes["left"] > 0)
        assert np.allclose(boxes["left"][1:], boxes["right"][:-1])
        assert boxes["left"][0] >= 0 and boxes["right"][-1] <= room + 1e-6
    assert not engraving.engraved


@given(bars=st.integers(1, 12), parts=st.lists(st.floats(0, 1), min_size=2, max_size=20))
def test_later_lies_further_right_in_a_system(bars, parts):
    engraving = bare(score(bars), 400)
    quarters = np.sort(np.array(parts) * bars * 4)
    row = np.minimum(quarters // 4, bars - 1).astype(int)
    system, x = engraving.place(row, quarters - 4 * row)
    assert np.all(system >= 0)
    assert np.all((np.diff(x) >= -1e-6) | (np.diff(system) > 0))


def test_a_pickup_and_split_bars_have_room():
    engraving = bare(score(3, pickup=0.5), 300)
    system, x = engraving.place([0, 1], [0.0, 0.0])
    assert system[0] == system[1] == 0 and x[1] > x[0] + 20


def luminance(colour: str) -> float:
    """WCAG 2.2, relative luminance."""
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("name", [name for name in PAPER if name != "paper"])
def test_every_colour_is_read_on_white_paper(name):
    """WCAG 2.2, 1.4.3: 4.5 to 1."""
    assert (1.05) / (luminance(PAPER[name]) + 0.05) >= 4.5


def test_a_page_has_variables_where_a_sheet_has_colours():
    assert "#" not in page_style() and "var(--reading-d)" in page_style()
    assert "var(" not in sheet_style() and PAPER["reading-d"] in sheet_style()


def test_a_split_bar_without_notes_has_one_number_and_no_line_in_it():
    split = split_bars(score(4), [(1, 2.0)])
    drawn = "".join(system.svg for system in bare(split, 2000).systems)
    whole = "".join(system.svg for system in bare(score(4), 2000).systems)
    for sign in ('class="number"', 'class="barline"'):
        assert drawn.count(sign) == whole.count(sign)
