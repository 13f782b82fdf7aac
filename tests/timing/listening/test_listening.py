"""One line alone, or all but one."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support import midi, reading, score

from timing.listening import heard
from timing.listening.excerpt import some_of
from timing.performance import PLUCKED
from timing.remarks import CannotDo

DUET = {1: "c5:2 e5:2 g5:4", 2: "c3:4 g3:4"}
COLUMNS = ["id", "onset", "end", "level", "pitch", "lane", "string", "attack"]


def duet(**plan):
    return reading(plan, score(2, voices=DUET, program=40))


def test_nothing_asked_is_everything():
    made = duet()
    assert heard(made) is made.performance


def test_one_voice_alone_and_all_without_it():
    made = duet()
    assert heard(made, only=["melody"]).notes["pitch"].tolist() == [midi("c5"), midi("e5"), midi("g5")]
    assert heard(made, without=["melody"]).notes["pitch"].tolist() == [midi("c3"), midi("g3")]
    assert heard(made, only=["melody", "bass"]).notes["pitch"].size == 5
    assert heard(made, only=["voice 1, voice 2"], without=["bass"]).notes["pitch"].size == 3


@given(st.sets(st.sampled_from(["melody", "bass"]), min_size=1, max_size=1))
def test_what_is_left_sounds_as_it_did(voice):
    made = duet(glissandi=[{"from": "1:1", "to": "1:3", "swell": "3 dB", "for": "melody"}], voices={"bass": "-4 dB"})
    whole, part, rest = made.performance.notes, heard(made, only=list(voice)), heard(made, without=list(voice))
    together = np.concatenate([part.notes, rest.notes])
    assert sorted(together[COLUMNS].tolist()) == sorted(whole[COLUMNS].tolist())


def test_curves_bends_and_slides_follow_their_notes():
    made = duet(glissandi=[{"from": "1:1", "to": "1:3", "swell": "3 dB", "for": "melody"}])
    melody, bass = heard(made, only=["melody"]), heard(made, only=["bass"])
    assert melody.notes["pitch"][melody.glides["note"]].tolist() == [midi("c5")]
    assert melody.notes["pitch"][melody.glides["goal"]].tolist() == [midi("e5")]
    assert set(melody.notes["pitch"][melody.bends["note"]].tolist()) == {midi("c5")}
    assert set(melody.notes["pitch"][melody.curves["note"]].tolist()) == {midi("c5")}
    assert not len(bass.glides) and not len(bass.bends) and not len(bass.curves)
    assert made.performance.notes["pitch"][made.performance.bends["note"]].tolist() == [midi("c5")] * len(melody.bends)


def test_a_goal_whose_slide_is_left_out_is_plucked():
    performance = duet(glissandi=[{"from": "1:1", "to": "1:3", "arrive": "slurred", "for": "melody"}]).performance
    sliding = int(performance.glides["note"][0])
    left = some_of(performance, np.arange(len(performance.notes)) != sliding)
    assert set(left.notes["attack"].tolist()) == {PLUCKED}
    assert not len(left.glides) and not len(left.bends)


def test_a_name_the_score_does_not_have():
    with pytest.raises(CannotDo, match="did you mean 'melody'"):
        heard(duet(), only=["melodie"])


def test_nothing_left():
    with pytest.raises(CannotDo, match="nothing is left"):
        heard(duet(), without=["melody, bass"])


def test_a_role_that_is_not_there():
    with pytest.raises(CannotDo, match="no inner voices"):
        heard(duet(), only=["inner"])


def test_a_sound_is_cut_where_a_note_that_it_carries_is_left_out():
    entries = [{"from": a, "to": b, "arrive": "slurred", "swell": "1 dB"} for a, b in (("1:1", "1:3"), ("1:3", "2:1"))]
    performance = reading({"glissandi": entries}, score(2, voices={1: "c5:2 e5:2 g5:4"}, program=40)).performance
    left = some_of(performance, performance.notes["pitch"] != midi("e5"))
    assert left.notes["attack"].tolist() == [PLUCKED, PLUCKED]
    assert not len(left.glides)
    assert left.bends["second"].max() <= 2 and left.bends["semitones"].max() == pytest.approx(4)
    assert left.curves["second"].max() <= 2
