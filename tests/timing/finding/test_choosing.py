"""The choice of phrase ends by the whole texture: its sums and its choice against trying every way, and what must not
change it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support import score
from textures import two_voices

from timing.finding import choosing, weights
from timing.finding.boundaries import best_ends, end_probabilities, phrase_scores
from timing.finding.leading import leading_voice
from timing.finding.phrases import find_phrases, is_accompanied
from timing.finding.signs import read_signs
from timing.finding.texture import Texture


def choice(made) -> tuple[choosing.PossibleEnds, choosing.Chosen, dict]:
    line = leading_voice(made)
    signs = read_signs(made, line)
    scores = phrase_scores(line.melody, signs.told, signs.walls)
    ends, sure = best_ends(scores), end_probabilities(scores)
    texture = Texture(made, line)
    at = choosing.places(made, line, ends, sure)
    found = choosing.facts(made, line, signs, texture, at, sure)
    return at, choosing.choose(made, line, signs, texture, ends, sure), found


def some_places(over: list[float]) -> choosing.PossibleEnds:
    moments, count = np.array(over), len(over)
    bars = np.append(0.0, moments / 4)
    return choosing.PossibleEnds(
        np.arange(count), moments - 1, moments, bars, np.zeros(count, int), np.full(count, 4.0), np.ones(count)
    )


@given(two_voices())
def test_the_facts_are_those_that_have_weights(made):
    at, _, found = choice(made)
    assert list(found) == list(weights.CHOICE)
    assert all(len(values) == len(at.notes) and np.isfinite(values).all() for values in found.values())
    assert len(weights.LENGTHS) == len(weights.LENGTH_EDGES) + 1


@given(st.lists(st.tuples(st.floats(0.25, 3.0), st.floats(0.0, 1.0)), min_size=1, max_size=8))
def test_every_likely_end_that_is_the_likeliest_within_a_beat_is_chosen(drawn):
    over, chance = np.cumsum([step for step, _ in drawn]), np.array([chance for _, chance in drawn])
    at = some_places(over.tolist())
    near = choosing.calibrated(choosing.about(at, chance))
    found = choosing.chosen(at, chance, near, np.zeros((0, 2), int), chance)
    assert found[-1]
    for place in range(len(over) - 1):
        around = np.abs(over - over[place]) <= 1 + 1e-6
        best = chance[place] == chance[around].max() and not (chance[around] == chance[place]).sum() > 1
        if best:
            assert found[place] == (near[place] >= choosing.WORTH)
        elif chance[place] < chance[around].max():
            assert not found[place]


@given(st.floats(0, 1), st.floats(0, 1))
def test_what_the_model_is_surer_of_stays_surer(one, other):
    low, high = choosing.calibrated(np.array(sorted([one, other])))
    assert 0 < low <= high < 1


def test_within_a_wall_a_phrase_ends_however_unlikely_it_is():
    at, none = some_places([4.0, 8.0, 12.0, 16.0]), np.array([0.1, 0.02, 0.05, 1.0])
    found = choosing.chosen(at, none, none, np.array([[1, 2]]), none)
    assert found.tolist() == [False, False, True, True]


def test_what_is_said_of_an_end_holds_for_a_beat_around_it():
    found = choosing.about(some_places([4.0, 4.5, 8.0, 9.0, 16.0]), np.array([0.3, 0.2, 0.4, 0.1, 1.0]))
    np.testing.assert_allclose(found, [0.5, 0.5, 0.5, 0.5, 1.0])


@given(two_voices())
def test_probabilities_are_probabilities_and_the_last_end_is_certain(made):
    at, made_of, _ = choice(made)
    assert ((made_of.sure >= 0) & (made_of.sure <= 1)).all()
    assert made_of.phrases[-1] and made_of.sure[-1] == 1.0
    assert not (made_of.ideas & made_of.phrases).any()
    assert set(np.flatnonzero(made_of.phrases | made_of.ideas)) <= set(at.notes.tolist())


@given(two_voices(), st.integers(-11, 11), st.sampled_from(["Flute", "Basso", "x"]))
def test_neither_the_key_nor_the_name_of_a_part_matters(made, by, name):
    other = replace(made, notes=made.notes.copy(), parts=made.parts.copy())
    other.notes["pitch"] += by
    other.parts["name"] = other.parts["instrument"] = name
    assert find_phrases(other) == find_phrases(made)


@given(two_voices(), st.sampled_from([0.5, 2.0]))
def test_other_note_values_with_their_metre_are_the_same_music(made, times):
    tables = {key: getattr(made, key).copy() for key in ("notes", "bars", "marks")}
    tables["notes"]["offset"] *= times
    tables["notes"]["length"] *= times
    tables["bars"]["length"] *= times
    tables["bars"]["unit"] = (tables["bars"]["unit"] / times).astype(int)
    mine, theirs = find_phrases(made), find_phrases(replace(made, **tables))
    assert [(p.start[0], p.end[0], p.bars) for p in theirs] == [(p.start[0], p.end[0], p.bars) for p in mine]
    assert [p.sure for p in theirs] == pytest.approx([p.sure for p in mine])


def test_twice_the_music_is_twice_the_table():
    def size(times: int) -> int:
        bars = 8 * times
        made = score(bars, voices={1: "g4:1 a4:1 b4:1 c5:1 d5:3 b4:1 " * (bars // 2), 2: "g3+d4:2 g3+b3:2 " * bars})
        return choosing.length_classes(choice(made)[0]).size

    assert size(16) <= 2.1 * size(8)


@given(two_voices())
def test_a_melody_alone_is_decided_by_itself(made):
    alone = replace(made, notes=made.notes[made.notes["voice"] == 1])
    if len(alone.notes) < 2:
        return
    assert not is_accompanied(alone)
    signs = read_signs(alone, leading_voice(alone))
    ends = best_ends(phrase_scores(leading_voice(alone).melody, signs.told, signs.walls))
    assert len(leaves(find_phrases(alone))) in (ends.sum(), ends.sum() + 1)  # one more before the melody begins


def test_notes_of_next_to_no_length_are_no_trouble():
    made = score(8, voices={1: MELODY, 2: PEDAL * 8})
    made.notes["length"][::5] = 1e-8
    assert find_phrases(made)


@pytest.mark.parametrize("length", [0.0, 1e-9])
def test_neither_are_bars_without_length(length):
    made = score(8, voices={1: MELODY, 2: PEDAL * 8})
    made = replace(made, notes=made.notes[made.notes["bar"] != 4], bars=made.bars.copy())
    made.bars["length"][4] = length
    assert find_phrases(made)[-1].end == (7, 4.0)


# -- heard in music


FORE = "e5:1 d5:1 c5:1 d5:1 e5:2 g5:2 f5:1 e5:1 d5:1 e5:1 d5:4"
AFTER = "e5:1 d5:1 c5:1 d5:1 e5:2 g5:2 f5:1 e5:1 d5:1 b4:1 c5:4"
MELODY = f"{FORE} {AFTER}"
PEDAL = "c3:1 e4+g4:1 e4+g4:1 e4+g4:1 "


def sure_of_bar(made, bar: int) -> float:
    """How sure it is that a phrase ends where a bar is over."""
    _, found, _ = choice(made)
    line = leading_voice(made)
    over = np.append(line.quarter[1:], line.bar_quarter[-1])
    near = np.abs(over - line.bar_quarter[bar]) < 1e-6
    return float(found.sure[near].max(initial=0.0))


def test_a_half_close_makes_the_end_of_a_fore_phrase_surer():
    home = PEDAL * 2 + "f2+a3+c4:2 g2+b3+d4:2 c3+e4+g4:4"
    opened = score(8, voices={1: MELODY, 2: f"{PEDAL * 3}g2:1 b3+g4:1 b3+g4:1 b3+g4:1 {home}"})
    still = score(8, voices={1: MELODY, 2: f"{PEDAL * 4}{home}"})
    assert sure_of_bar(opened, 4) > sure_of_bar(still, 4)


def test_a_new_dynamic_makes_an_end_surer():
    voices = {1: MELODY, 2: PEDAL * 8}
    marked = score(8, voices=voices, marks=[{"kind": "dynamic", "bar": 4, "text": "p"}])
    assert sure_of_bar(marked, 4) > sure_of_bar(score(8, voices=voices), 4)


def test_an_accompaniment_that_stops_and_begins_anew_makes_an_end_surer():
    going_on = score(8, voices={1: MELODY, 2: PEDAL * 8})
    anew = score(8, voices={1: MELODY, 2: PEDAL * 4 + "c3+g3:2 e4+c4:2 " * 4})
    assert sure_of_bar(anew, 4) > sure_of_bar(going_on, 4)


def leaves(phrases) -> list:
    return [leaf for phrase in phrases for leaf in (leaves(phrase.inside) or [phrase])]


HOME = PEDAL * 2 + "f2+a3+c4:2 g2+b3+d4:2 c3+e4+g4:4 "
OPEN = PEDAL * 3 + "g2:1 b3+g4:1 b3+g4:1 b3+g4:1 "


def test_sections_hold_phrases_and_phrases_their_ideas():
    other = "g5:2 f5:2 e5:2 d5:2 c5:1 d5:1 e5:1 f5:1 e5:4 d5:2 e5:2 f5:2 d5:2 b4:1 c5:1 d5:1 b4:1 c5:4"
    repeat = {"kind": "repeat end", "bar": 7, "offset": 4.0, "value": 2}
    made = score(16, voices={1: f"{MELODY} {other}", 2: OPEN + HOME * 3}, marks=[repeat])
    first, second = find_phrases(made)
    assert (first.section, first.end, second.end) == (True, (7, 4.0), (15, 4.0))
    assert all(not inner.section and inner.bars <= 8 for inner in (*first.inside, *second.inside))
    assert (3, 4.0) in {leaf.end for leaf in leaves([first])}
    assert first.sure > max(leaf.sure for leaf in leaves([first])[:-1])


@pytest.mark.parametrize("seed", range(3))
def test_no_part_is_longer_than_anyone_hears_as_a_whole(seed):
    rng = np.random.default_rng(seed)
    upper = " ".join(f"{name}:1" for name in rng.choice(["c5", "d5", "e5", "g5", "a5", "b4"], 96 * 4))
    lower = " ".join(f"{name}:1" for name in rng.choice(["c3", "e3", "g3", "f3", "b2"], 96 * 4))
    lengths = [leaf.bars for leaf in leaves(find_phrases(score(96, voices={1: upper, 2: lower})))]
    assert sum(lengths) == pytest.approx(96) and max(lengths) <= 16
