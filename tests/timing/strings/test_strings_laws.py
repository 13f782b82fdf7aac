"""What holds of strings and frets whatever the music."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from scipy.sparse import csr_array
from scipy.sparse.csgraph import maximum_bipartite_matching
from support import reading, score

from timing.instruments.tuning import FRETS
from timing.performance import HARMONIC
from timing.strings.hands import Hand, PartSounds
from timing.strings.playable import WISH, frets_on, ways

_NAMES = [f"{step}{octave}" for octave in range(2, 6) for step in ("c", "d", "e", "f#", "g", "a", "b_")][1:]
_LENGTHS = (0.25, 0.5, 1, 1.5, 2, 3)
STANDARD = np.array([64, 59, 55, 50, 45, 40])

chords = st.lists(st.sampled_from(_NAMES), min_size=1, max_size=4, unique=True)
lines = st.lists(st.tuples(chords, st.sampled_from(_LENGTHS)), min_size=1, max_size=12)
pieces = st.lists(lines, min_size=1, max_size=3)
wishes = st.sampled_from(
    [{}, {"string": 2}, {"string": 4}, {"position": 5}, {"campanella": "yes"}, {"let ring": "yes"}, {"harmonic": "yes"}]
)


def performed(piece, bars=12, **plan):
    words = [" ".join(f"{'+'.join(chord)}:{length}" for chord, length in line) for line in piece]
    return reading(plan, score(bars=bars, voices=dict(enumerate(words, 1)), program=24))


def on_strings(notes: np.ndarray) -> np.ndarray:
    """The notes that have a string, each sound once, by string and onset."""
    strung = notes[notes["string"] > 0]
    strung = strung[np.lexsort((-strung["end"], strung["onset"], strung["string"]))]
    fresh = (np.diff(strung["onset"], prepend=-1) != 0) | (np.diff(strung["string"], prepend=0) != 0)
    return strung[fresh]


@given(pieces, wishes, st.sampled_from([0, 0, 2, 7]))
def test_strings_and_frets_give_the_pitch_and_none_sounds_twice_at_once(piece, wish, capo):
    made = performed(piece, capo=capo, strings=[{"bars": 1, **wish}] if wish else [])
    notes = made.performance.notes
    strung = notes[(notes["string"] > 0) & (notes["technique"] != HARMONIC)]
    assert np.array_equal(STANDARD[strung["string"] - 1] + strung["fret"] + capo, strung["pitch"])
    assert np.all((strung["fret"] >= 0) & (strung["fret"] <= FRETS - capo))
    assert np.all(notes["fret"][notes["string"] == 0] == -1)
    rows = on_strings(notes)
    same = np.diff(rows["string"]) == 0
    assert np.all(rows["end"][:-1][same] <= rows["onset"][1:][same])
    assert np.all(rows["end"] > rows["onset"])


@given(pieces)
def test_what_begins_together_lies_on_different_strings(piece):
    notes = performed(piece).performance.notes
    sounds = np.unique(notes[notes["string"] > 0][["score_onset", "pitch", "string"]])
    assert len(np.unique(sounds[["score_onset", "string"]])) == len(sounds)


@given(lines, st.integers(1, 6))
def test_a_string_that_is_named_is_taken_where_it_can_be(line, string):
    """A melody: nothing else could stand in the way."""
    melody = [([chord[0]], length) for chord, length in line]
    notes = performed([melody], strings=[{"bars": "1-10", "string": string}]).performance.notes
    reached = (notes["pitch"] >= STANDARD[string - 1]) & (notes["pitch"] <= STANDARD[string - 1] + FRETS)
    assert np.all(notes["string"][reached] == string)


@settings(suppress_health_check=[*HealthCheck])  # many a piece has more than a hand can do
@given(pieces, st.integers(1, 5))
def test_a_capo_leaves_the_hand_where_it_is(piece, capo):
    """Where all can be played: of what a hand must give up, fewer frets leave another choice."""
    playable = [[([pitch for pitch in chord if pitch != "d2"] or ["g3"], length) for chord, length in line]
                for line in piece]  # fmt: skip
    made = performed(playable)
    plain = made.performance.notes
    assume(plain["fret"].max() + capo <= FRETS and plain["string"].all())
    assume(all(remark.code != "unplayable-chord" for remark in made.remarks))
    raised = performed(playable, capo=capo).performance.notes
    order = [np.lexsort((notes["id"], notes["score_onset"])) for notes in (plain, raised)]
    for column in ("string", "fret"):
        assert np.array_equal(plain[column][order[0]], raised[column][order[1]])


@given(pieces)
def test_a_repeat_is_fingered_alike(piece):
    """The same bars twice over, with rests between them: twice the same strings."""
    notes = performed(piece, order=["1-12", "1-12"]).performance.notes
    times = [notes[notes["pass"] == number] for number in (1, 2)]
    first, second = (part[np.lexsort((part["id"], part["score_onset"]))] for part in times)
    assert first[["id", "string", "fret"]].tolist() == second[["id", "string", "fret"]].tolist()


@given(st.lists(st.integers(40, 83), min_size=1, max_size=9, unique=True))
def test_a_chord_loses_no_more_notes_than_it_must(pitches):
    """As many as the largest matching of notes and strings leaves over (found by scipy: Hopcroft and Karp 1973)."""
    made = score(bars=1, voices={1: "+".join(["c4"] * len(pitches)) + ":4"}, program=24)
    made.notes["pitch"] = sorted(pitches)
    on_string = [[0 <= pitch - opened <= FRETS for opened in STANDARD] for pitch in sorted(pitches)]
    matched = maximum_bipartite_matching(csr_array(np.array(on_string, np.int8)), perm_type="column")
    assert (reading({}, made).performance.notes["string"] > 0).sum() == (matched >= 0).sum()


@given(st.lists(st.integers(40, 83), min_size=1, max_size=6), st.data())
def test_no_way_costs_less(pitches, data):
    """A melody's fingering is as cheap as any other: each choice of strings is priced by leaving the hand no other."""
    asks = np.array((0, -1, 0, -1, False, False, 0), WISH)
    tables = [ways(frets_on(pitch, STANDARD, FRETS), asks) for pitch in pitches]
    count = len(pitches)
    moments, start = np.arange(count), np.arange(count, dtype=float)
    flat, voice = np.zeros(count, bool), np.zeros(count, np.int64)
    sounds = PartSounds(moments, moments, start, start, start, voice, np.array(pitches), flat, {}, flat, flat)
    string, _, cost = Hand(tables, flat, 6).play(sounds, 1.0)
    mine = [table[table["string"] == chosen] for table, chosen in zip(tables, string, strict=True)]
    other = [table[[data.draw(st.integers(0, len(table) - 1))]] for table in tables]
    assert Hand(mine, flat, 6).play(sounds, 1.0)[2] == pytest.approx(cost, abs=1e-4)
    assert Hand(other, flat, 6).play(sounds, 1.0)[2] >= cost - 1e-4


def test_a_dense_chord_lets_go_what_is_held_rather_than_stretch_too_far():
    """Four notes that a hand reaches only from the tenth fret on, while two others are held lower."""
    piece = [[(["f#3", "a3"], 1)], [(["e2"], 0.25), (["d3", "g5", "e4", "f#4"], 0.25), (["g3"], 0.25)]]
    assert "unplayable-chord" not in [remark.code for remark in performed(piece).remarks]
