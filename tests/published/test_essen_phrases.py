"""Phrases found in folk songs against those that the collectors wrote: songs of L. Erk in the Essen collection, on
which no weight was fitted. All of them are in `tests/bench/phrase_scores.py`; here every sixth is tried."""

from __future__ import annotations

import itertools
import re

import numpy as np
import pytest
from boundary_methods import every_note, every_two_bars, local_boundaries, rests_only, scores
from essen import erk_songs, folder, read_songs

from timing.finding.boundaries import best_ends, end_probabilities, phrase_scores
from timing.finding.leading import leading_voice
from timing.reader import read_score


@pytest.fixture(scope="module")
def songs():
    return erk_songs()[::6]


def mean_f1(songs, method) -> float:
    return float(np.mean([scores(method(song.melody), song.ends)[2] for song in songs]))


def test_all_songs_of_erk_with_a_metre_are_read():
    assert len(erk_songs()) == 1781  # counted by their headers: X: less those with M:none


def test_most_ends_are_found(songs):
    assert mean_f1(songs, lambda melody: best_ends(phrase_scores(melody))) >= 0.86


@pytest.mark.parametrize("simple", [every_note, rests_only, local_boundaries, every_two_bars], ids=lambda m: m.__name__)
def test_simple_ways_find_fewer(songs, simple):
    ours = mean_f1(songs, lambda melody: best_ends(phrase_scores(melody)))
    assert ours > mean_f1(songs, simple) + 0.05


def test_an_end_is_written_about_as_often_as_its_probability_says(songs):
    sure = np.concatenate([end_probabilities(phrase_scores(song.melody))[:-1] for song in songs])
    written = np.concatenate([song.ends[:-1] for song in songs])
    for low, high in ((0.0, 0.1), (0.1, 0.4), (0.4, 0.7), (0.7, 0.9), (0.9, 1.0)):
        here = (sure >= low) & (sure <= high)
        assert low - 0.1 < written[here].mean() < high + 0.1


def tunes_without_accidentals(count: int) -> list[str]:
    """music21 does not carry an accidental through its bar, as the standard of ABC has it (version 2.1, 4.2)."""
    tunes = (folder() / "erk10.abc").read_text("latin-1").split("\n\n")
    plain = (tune.strip() for tune in tunes if tune.strip() and not re.search(r"[\^_=]", tune))
    return list(itertools.islice(plain, count))


@pytest.mark.parametrize("tune", tunes_without_accidentals(5), ids=range(5))
def test_a_song_is_the_same_melody_when_it_is_read_as_a_score(tune, tmp_path):
    path = tmp_path / "song.abc"
    path.write_text(tune + "\n", "latin-1")
    expected = read_songs(path)[0].melody
    found = leading_voice(read_score(path, cache=False)).melody
    for column in ("onset", "length", "place", "pitch"):
        np.testing.assert_allclose(getattr(found, column), getattr(expected, column), atol=1e-9)
