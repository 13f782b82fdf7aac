"""Broken chords are fingered so that they ring, slurs so that the left hand can play them (common practice)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from laws import MANY
from strung import places

from timing.score import Sign
from timing.strings import weights
from timing.strings.hands import Hand, PartSounds
from timing.strings.playable import WISH, ways
from timing.strings.ringing import ligados, rings_until

BROKEN = "b3:.25 d4:.25 g#4:.25 d4:.25 b3:.25 d4:.25"  # over E: the dominant of A minor


def test_an_open_string_gives_way_to_what_rings():
    """B3 on the open second string would be cut by D4 after a semiquaver; stopped on the third it rings with both."""
    assert places({1: f"r:.5 {BROKEN}", 2: "e2:2"}, bars=1)[1:4] == ["3/4", "2/3", "1/4"]


def test_a_chord_of_one_position_is_broken_in_that_position():
    """E4 on the open first string would be cut by A4."""
    broken = "r:.5 c4:.25 e4:.25 a4:.25 e4:.25 c4:.25 e4:.25"
    assert places({1: broken, 2: "a2:2"}, bars=1) == ["5/0", "3/5", "2/5", "1/5", "2/5", "3/5", "2/5"]


def test_where_no_bass_holds_the_harmony_open_strings_are_taken():
    assert places(BROKEN, bars=1)[0] == "2/0"
    assert places({1: f"r:.5 {BROKEN}", 2: "e2:.5 r:1.5"}, bars=1)[1] == "2/0"


def test_staccato_does_not_ring():
    staccato = BROKEN.replace(".25", ".25.")
    assert places({1: f"r:.5 {staccato}", 2: "e2:2"}, bars=1)[1:3] == ["2/0", "2/3"]


def test_a_melody_over_a_bass_does_not_ring():
    """Each of its notes has been heard for a second before the next one comes."""
    assert places({1: "r:1 e4:1 g4:1 e4:1", 2: "c3:4"}, bars=1) == ["5/3", "1/0", "1/3", "1/0"]


def test_what_goes_on_by_step_does_not_ring():
    """A scale over a held bass: E4 may cut D4."""
    assert places({1: "r:.5 d4:.25 e4:.25 f4:.25 g4:.25 f4:.25 e4:.25", 2: "g2:2"}, bars=1)[1:3] == ["2/3", "1/0"]


def test_the_harmony_goes_to_different_strings():
    """Whatever its order: while the bass is held, neighbours that leap lie on strings of their own."""
    for order in ("c4 e4 a4", "a4 e4 c4", "e4 c4 a4", "a4 c4 e4"):
        line = " ".join(f"{name}:.25" for name in (order + " " + order).split())
        strings = [place.split("/")[0] for place in places({1: f"r:.5 {line}", 2: "a2:2"}, bars=1)][1:]
        assert sorted(set(strings[:3])) == ["1", "2", "3"]


def test_the_hand_moves_while_an_open_string_sounds():
    """First fret, open string, ninth fret costs less than open string, first fret, ninth fret: the shift is the same,
    from first position to sixth, but it is made while the open string sounds."""
    during, after = cost_on_one_string(1, 0, 9), cost_on_one_string(0, 1, 9)
    assert after - during == pytest.approx((1 - weights.EASED) * (weights.SHIFT + 5 * weights.SHIFT_FRET), abs=1e-4)


def cost_on_one_string(*frets: int) -> float:
    """What it costs to play these frets of the first string one after another, half a second each."""
    hand, sounds = without_choice(*((1, fret) for fret in frets))
    return hand.play(sounds, 0.5)[2]


def without_choice(*forced: tuple[int, int]) -> tuple[Hand, PartSounds]:
    """Notes a quarter apart that leave the hand no choice: each has one string and fret."""
    asks, count = np.array((0, -1, 0, -1, False, False, 0), WISH), len(forced)
    moments, start, flat = np.arange(count), np.arange(count, dtype=float), np.zeros(count, bool)
    pitch = np.array([(64, 59, 55, 50, 45, 40)[string - 1] + fret for string, fret in forced])
    sounds = PartSounds(moments, moments, start, start, start, np.zeros(count), pitch, flat, {}, flat, flat)
    return Hand([ways({string: fret}, asks) for string, fret in forced], flat, 6), sounds


def first_rings(sounds: PartSounds, until: float) -> PartSounds:
    return replace(sounds, rings=np.append(until, sounds.start[1:]))


@pytest.mark.parametrize(("until", "lost"), [(1.2, 1 / 3), (2.0, 2 / 3), (4.0, 1.0), (9.0, 1.0)])
def test_what_a_cut_note_loses_is_lost_once(until, lost):
    """The first note is cut by the second, however many come while it had better ring."""
    for count in (2, 3, 6):
        hand, sounds = without_choice(*((1, fret) for fret in (3, 0, 1, 5, 4, 2)[:count]))
        costs = [hand.play(each, 0.5)[2] for each in (sounds, first_rings(sounds, until))]
        assert costs[1] - costs[0] == pytest.approx(lost * weights.RING, abs=1e-4)


def test_a_note_that_has_no_string_loses_nothing_more():
    """Of two notes on one string the hand gives up one; the other rings on while another string is played."""
    hand, sounds = without_choice((1, 3), (1, 5), (2, 0), (3, 0))
    moment = np.array([0, 0, 1, 2])
    chord = replace(sounds, moment=moment, start=moment.astype(float), rings=np.array([0.0, 0, 1, 2]))
    rings = replace(chord, rings=np.array([9.0, 9, 1, 2]))
    assert hand.play(rings, 0.5)[2] - hand.play(chord, 0.5)[2] == pytest.approx(0, abs=1e-4)


def test_how_long_a_note_still_rings_makes_no_new_states():
    """States are worked out for what begins and what goes on: music whose figures do not come back has few of them."""
    hand, sounds = without_choice((1, 3), (2, 1), (1, 0), (1, 1))
    found = []
    for until in (3.1, 4.0, 5.0, 9.0):
        hand.play(first_rings(sounds, until), 0.5)
        found.append(hand._shape.cache_info().misses)
    assert found == found[:1] * 4


def test_a_short_slur_stays_on_one_string():
    line = "d4:.5{0} e4:.5{1} c#4:.5{0} d4:.5{1} f#4:.5{0} g4:.5{1} d4:1"
    assert places(line.format("(", ")"), bars=1)[1] == "2/5"
    assert places(line.format("", ""), bars=1)[1] == "1/0"


def test_a_phrase_under_a_slur_is_no_ligado():
    line = "d4:.5{0} e4:.5{0} c#4:.5{0} d4:.5{0} f#4:.5{0} g4:.5{0} d4:1{1}"
    assert places(line.format("(", ")"), bars=1) == places(line.format("", ""), bars=1)


def test_a_held_bass_is_not_forgotten_among_much_that_rings():
    """C3 is held under eight notes in a second, which all ring, and B2: one hand must reach both."""
    line = "e3:.25 a3:.25 c4:.25 e4:.25 g4:.25 b4:.25 d5:.25 f5:.25 b2:.25"
    frets = [int(place.split("/")[1]) for place in places({1: f"r:.25 {line}", 2: "c3:4"}, bars=1, tempo=240)]
    assert abs(frets[0] - frets[-1]) <= 4


# -- until when a note had better ring


def ringing(*notes: tuple[float, float, int], longest: float = 9.0) -> list[float]:
    start, end, pitch = (np.array(column) for column in zip(*notes, strict=True))
    moment = np.unique(start, return_inverse=True)[1]
    return rings_until(moment, start, end, pitch, longest).tolist()


def test_until_the_longest_note_ends():
    assert ringing((0, 2, 40), (0.5, 1, 59), (1, 1.5, 64)) == [2, 2, 2]


def test_until_a_step_away_another_begins():
    assert ringing((0, 4, 40), (1, 1.5, 60), (2, 2.5, 64), (3, 3.5, 62)) == [4, 3, 3, 4]


def test_not_for_ever():
    assert ringing((0, 8, 40), (1, 1.5, 60), longest=2) == [8, 3]


def test_not_after_a_staccato():
    assert ringing((0, 8, 40), (1, 0, 60)) == [8, 0]


sounds = st.lists(
    st.tuples(st.integers(0, 12), st.sampled_from([0, 1, 2, 5]), st.integers(40, 52)),
    min_size=1,
    max_size=14,
    unique_by=lambda sound: (sound[0], sound[2]),
)


@MANY
@given(sounds, st.sampled_from([0.5, 2.0, 50.0]))
def test_against_the_rule_word_by_word(made, longest):
    rows = [(float(at), float(at + length) if length else 0.0, pitch) for at, length, pitch in sorted(made)]
    for (at, end, pitch), rings in zip(rows, ringing(*rows, longest=longest), strict=True):
        if end == 0:
            assert rings == 0
            continue
        harmony = max(until for begun, until, _ in rows if begun <= at)
        steps = [begun for begun, _, other in rows if begun > at and abs(other - pitch) in (1, 2)]
        assert rings == max(end, min([harmony, at + longest, *steps]))


# -- what is played ligado


def slurred(*notes: tuple[int, int, int, str]) -> list[bool]:
    """Of (moment, voice, pitch, signs) which sounds are ligado: ( begins or goes on, ) ends a slur."""
    moment, voice, pitch, marks = (np.array(column) for column in zip(*notes, strict=True))
    signs = [(Sign.SLURRED if "(" in mark else 0) | (Sign.SLUR_END if ")" in mark else 0) for mark in marks]
    return ligados(moment, voice, np.array(signs, np.uint32), pitch).tolist()


def test_two_notes_and_three():
    assert slurred((0, 1, 60, "("), (1, 1, 62, ")")) == [False, True]
    assert slurred((0, 1, 60, "("), (1, 1, 62, "("), (2, 1, 60, ")")) == [False, True, True]
    assert slurred((0, 1, 60, "("), (1, 1, 62, "("), (2, 1, 64, "("), (3, 1, 62, ")")) == [False] * 4


def test_one_slur_after_another():
    assert slurred((0, 1, 60, "("), (1, 1, 62, ")("), (2, 1, 60, "("), (3, 1, 62, ")")) == [False, True, True, True]


@pytest.mark.parametrize("other", [(1, 2, 62, ")"), (1, 1, 60, ")"), (1, 1, 72, ")")])
def test_not_from_another_voice_nor_to_the_same_pitch_nor_too_far(other):
    assert slurred((0, 1, 60, "("), other) == [False, False]
