"""The finding of phrase ends against trying every cutting, and what must not change it."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from laws import FEW

from timing.finding import weights
from timing.finding.boundaries import best_ends, end_probabilities, features, phrase_scores
from timing.finding.melody import Melody


def melody(steps, pitches, place=0.0) -> Melody:
    """Notes laid end to end, their lengths in bars."""
    onset = np.append(0.0, np.cumsum(steps[:-1]))
    return Melody(onset, np.array(steps, float), (place + onset) % 1.0, np.array(pitches))


def cuttings(count: int):
    """Every way to cut so many notes into phrases, as the notes that end one."""
    for inner in itertools.product((False, True), repeat=count - 1):
        yield np.array([*inner, True])


def score_of(scores: np.ndarray, ends: np.ndarray) -> float:
    last = np.flatnonzero(ends)
    notes = np.diff(last, prepend=-1)
    too_long = notes > scores.shape[1]
    return -np.inf if too_long.any() else float(scores[last, scores.shape[1] - notes].sum())


@st.composite
def tables(draw) -> np.ndarray:
    """Scores of all phrases of up to ten notes, some of which cannot be."""
    count, longest = draw(st.integers(1, 10)), draw(st.integers(1, 6))
    rng = np.random.default_rng(draw(st.integers(0, 2**32)))
    scores = rng.normal(0, 4, (count, longest))
    scores[rng.random((count, longest)) < 0.2] = -np.inf
    scores[:, -1] = rng.normal(0, 4, count)  # one note alone always can, so that there is a cutting
    scores[np.arange(count)[:, None] + 1 < np.arange(longest, 0, -1)] = -np.inf  # longer than what has been
    return scores


@given(tables())
def test_the_cutting_is_the_best_of_all(scores):
    assert score_of(scores, best_ends(scores)) == pytest.approx(
        max(score_of(scores, ends) for ends in cuttings(len(scores)))
    )


@given(tables())
def test_a_note_ends_a_phrase_as_probably_as_all_cuttings_say(scores):
    every = list(cuttings(len(scores)))
    shares = np.exp([score_of(scores, ends) for ends in every])
    expected = shares @ np.array(every, float) / shares.sum()
    np.testing.assert_allclose(end_probabilities(scores), expected, atol=1e-9)


@st.composite
def melodies(draw, least: int = 2) -> Melody:
    steps = draw(st.lists(st.sampled_from([1 / 8, 1 / 6, 1 / 4, 3 / 8, 1 / 2, 1.0]), min_size=least, max_size=40))
    size = len(steps)
    pitches = draw(st.lists(st.integers(50, 80), min_size=size, max_size=size))
    return melody(steps, pitches, draw(st.sampled_from([0.0, 0.75, 0.5])))


@given(melodies(), st.integers(-24, 24))
def test_a_transposed_melody_has_the_same_phrases(made, by):
    moved = Melody(made.onset, made.length, made.place, made.pitch + by)
    np.testing.assert_array_equal(phrase_scores(moved), phrase_scores(made))


@given(melodies())
def test_the_features_are_those_that_have_weights(made):
    found = features(made)
    assert list(found) == list(weights.BOUNDARY)
    assert {len(values) for values in found.values()} == {len(made)}


@given(melodies(least=6), st.data())
def test_a_phrase_ends_within_every_wall(made, data):
    first = data.draw(st.integers(0, len(made) - 2))
    last = data.draw(st.integers(first, len(made) - 2))
    scores = phrase_scores(made, walls=np.array([[first, last]]))
    assert best_ends(scores)[first : last + 1].any()
    # all cuttings end one there; so the probabilities come to one or more
    assert end_probabilities(scores)[first : last + 1].sum() > 1 - 1e-9


@given(melodies(), st.floats(0.5, 8), st.data())
def test_what_is_told_of_an_end_makes_it_more_probable(made, weight, data):
    note = data.draw(st.integers(0, len(made) - 2))
    told = np.zeros(len(made))
    plain = end_probabilities(phrase_scores(made))
    told[note] = weight
    before, after = plain[note], end_probabilities(phrase_scores(made, told))[note]
    assert after / (1 - after) * (1 - before) / before == pytest.approx(np.exp(weight), rel=1e-3)


@FEW
@given(st.integers(0, 2**32))
def test_a_long_melody_stays_within_floats(seed):
    rng = np.random.default_rng(seed)
    made = melody(rng.choice([1 / 8, 1 / 4, 1 / 2], 5000), rng.integers(55, 75, 5000))
    told = rng.choice([0.0, -30.0, 30.0], 5000)
    scores = phrase_scores(made, told)
    ends, sure = best_ends(scores), end_probabilities(scores)
    assert np.isfinite(sure).all() and ends[told == 30].all()
    assert sure[told == 30][:-1] == pytest.approx(1.0, abs=1e-2)


@pytest.mark.parametrize("pitch", [60, 0])
def test_two_notes_are_one_phrase(pitch):
    scores = phrase_scores(melody([0.5, 0.5], [pitch, pitch]))
    assert best_ends(scores).tolist() == [False, True]
    assert end_probabilities(scores)[1] == 1.0
