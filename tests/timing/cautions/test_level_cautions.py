"""The rules for level and tone: a case that earns each, one that just misses it, and what its fix makes of the plan."""

from __future__ import annotations

import numpy as np
import pytest
from judged import entries_of, in_file, mended, told
from support import reading, score

from timing.remarks import Remark, Severity

FOUR = {"phrases": [{"bars": "1-4"}, {"bars": "5-8"}, {"bars": "9-12"}]}


def found(code: str, plan: dict, **options) -> list[Remark]:
    return told(code, reading(plan, **options))


# -- out of range


def test_levels_that_no_note_can_have():
    loud = {"dynamics": [{"at": "1", "mark": "fff"}], "accents": [{"at": "3:2", "by": "2 dB"}]}
    (remark,) = found("level-out-of-range", loud)
    assert (remark.bar, remark.beat, remark.severity) == (3, 2, Severity.CAUTION)
    assert remark.message == "1 note is louder than a note can be, by up to 2.0 dB at 3:2: the limit is what will sound"
    assert remark.suggestion == "take the dynamics 2.0 dB down"
    assert found("level-out-of-range", loud | {"accents": []}) == []  # fff is the loudest
    soft = {"dynamics": [{"at": "1", "mark": "ppp"}], "voices": {"melody": "-57 dB"}}
    assert "softer than a note can be, by up to 0.8 dB" in found("level-out-of-range", soft)[0].message
    assert found("level-out-of-range", soft | {"voices": {"melody": "-56 dB"}}) == []


def test_a_held_note_that_swells_too_far():
    held = {"voices": {1: "c4:16"}, "program": 40, "bars": 4}
    hairpin = {"dynamics": [{"at": "1", "mark": "p"}, {"crescendo": "1:1 - 4:4", "by": "20 dB"}]}
    (remark,) = found("level-out-of-range", hairpin, **held)
    assert "to swell further than the 18 dB that a sounding note can" in remark.message
    assert found("level-out-of-range", {"dynamics": [{"crescendo": "1:1 - 4:4", "by": "18 dB"}]}, **held) == []
    assert found("level-out-of-range", hairpin, **held | {"program": 0}) == []  # on a piano it does not swell at all


@pytest.mark.parametrize(("mark", "swell", "beyond"), [("p", 30, None), ("fff", 18, None), ("fff", 19, "1.0 dB")])
def test_a_sliding_note_has_room_to_swell_below_the_loudest(mark, swell, beyond):
    plan = {
        "dynamics": [{"at": "1", "mark": mark}],
        "glissandi": [{"from": "1:1", "to": "2:1", "swell": f"{swell} dB"}],
    }
    remarks = found("level-out-of-range", plan, voices={1: "c4:4 g4:4"}, program=40, bars=2)
    assert len(remarks) == (beyond is not None)
    for remark in remarks:
        assert "to swell to more than 18 dB above the loudest note, with what it loses" in remark.message
        assert f"by up to {beyond} at 1:1" in remark.message
        assert remark.suggestion == f"let it swell {beyond} less, or slide earlier or more quickly"


# -- a level that is never taken back


def dynamics(*entries: dict, **more) -> dict:
    return FOUR | {"dynamics": [{"at": 1, "mark": "p"}, *entries]} | more


def swell(where: str = "1:1 - 3:1", **how) -> dict:
    return {"crescendo": where} | how


@pytest.mark.parametrize(
    ("plan", "expected"),
    [
        (dynamics(swell()), 1),
        (dynamics(swell(by="2 dB")), 1),
        (dynamics(swell(by="1.9 dB")), 0),
        (dynamics({"diminuendo": "1:1 - 3:1"}), 1),
        (dynamics(swell(**{"to mark": "f"})), 1),
        (dynamics(swell("1:1 - 4:4")), 0),  # with the phrase
        (dynamics(swell("1:1 - 4:3.0")), 1),  # two beats before its end
        (dynamics(swell("1:1 - 5:1")), 0),  # into the next one
        (dynamics(swell("1:1 - 5:2")), 0),  # a beat into it
        (dynamics(swell("5:1 - 7:1")), 1),  # four bars follow
        (dynamics(swell("9:1 - 11:1")), 0),  # none does
        (dynamics(swell(), {"diminuendo": "3:1 - 4:4"}), 0),
        (dynamics(swell(), {"diminuendo": "3:1 - 4:1", "by": "3 dB"}), 0),  # as good as back
        (dynamics(swell(), {"diminuendo": "3:1 - 4:1", "by": "2 dB"}), 1),
        (dynamics(swell(), {"at": "9", "mark": "p"}), 0),
        (dynamics(swell(), {"at": "9", "mark": "p", "for": "melody"}), 0),
        (dynamics({"at": "3", "mark": "f"}), 0),  # a new level for all
        (dynamics({"at": "3", "mark": "f", "for": "melody"}), 1),
        (dynamics({"at": "5", "mark": "f", "for": "melody"}), 0),  # with a phrase
        (dynamics({"at": "3", "mark": "f", "for": "melody"}, {"at": "5", "mark": "p"}), 0),
        (dynamics(swell(), phrases=[]), 0),
        (dynamics({"at": 1, "mark": "mf", "for": "melody"}, swell()), 1),  # of all voices, whatever each began with
        (dynamics(swell("1:1 - 3:1", **{"pass": 1}), order=["1-12", "1-12"]), 0),  # the order takes it back
        (dynamics(swell("1:1 - 3:1"), order=["1-12", "1-12"]), 1),
    ],
)
def test_a_level_that_is_never_taken_back(plan, expected):
    remarks = found("level-not-restored", plan, bars=12)
    assert [remark.severity for remark in remarks] == [Severity.ADVICE] * expected


@pytest.mark.parametrize(
    ("plan", "entry"),
    [
        (dynamics(swell(by="5 dB")), {"diminuendo": "3:1 - 4:4", "by": "5 dB"}),
        (dynamics({"diminuendo": "1:1 - 3:1"}), {"crescendo": "3:1 - 4:4", "by": "4 dB"}),
        (
            dynamics({"at": "3", "mark": "f", "for": "melody"}),
            {"diminuendo": "3:1 - 4:4", "by": "12 dB", "for": "melody"},
        ),
        (
            dynamics(swell("1:1 - 3:1", **{"pass": 2}), order=["1-12", "1-12"]),
            {"diminuendo": "3:1 - 4:4", "by": "4 dB", "pass": 2},
        ),
    ],
)
def test_the_level_goes_back_until_the_phrase_ends(plan, entry):
    plan = in_file(plan)
    (remark,) = found("level-not-restored", plan, bars=12)
    assert entries_of(remark) == [entry]
    made = reading(mended(plan, remark), bars=12)
    assert told("level-not-restored", made) == []
    notes = made.performance.notes
    assert np.ptp(notes["level"][notes["bar"] > 4]) == pytest.approx(0)


@pytest.mark.parametrize(
    ("phrases", "where", "expected"),
    [
        (["3-6"], "1:1 - 3:2", 0),  # a beat into the first phrase, before which there is none
        (["3-6"], "1:1 - 3:3", 1),
        (["1-4"], "1:1 - 4:4", 0),  # a beat before the end of the only phrase
        (["1-4"], "1:1 - 4:3", 1),
    ],
)
def test_a_beat_from_either_edge_of_a_phrase_is_at_it(phrases, where, expected):
    plan = dynamics(swell(where, by="20 dB"), phrases=[{"bars": bars} for bars in phrases])
    assert len(found("level-not-restored", plan, bars=12)) == expected


@pytest.mark.parametrize(("bars", "expected"), [("1:1 - 3:3", 0), ("1:1 - 3:4", 1)])
def test_at_a_change_of_metre_the_beat_is_that_of_the_new_one(bars, expected):
    """From bar 3 on in 6/8, a dotted quarter to a beat, and in 4/4 again at last. The hairpin ends on the bar line."""
    whole, short = "c4:1 " * 4, "c4:1.5 c4:1.5 r:1 "  # of which a bar of 6/8 has no more than the notes
    made = score(12, voices={1: whole * 2 + short * 9 + whole})
    made.bars["beats"][2:11], made.bars["unit"][2:11], made.bars["length"][2:11] = 6, 8, 3.0
    plan = dynamics({"crescendo": "1:1 - 2:5.0"}, phrases=[{"bars": bars}])
    assert len(found("level-not-restored", plan, made=made)) == expected


def test_what_the_score_prints_is_not_to_be_taken_back():
    marks = [{"kind": "dynamic", "text": "p"}, {"kind": "hairpin", "end_bar": 2, "value": 1.0}]
    made = reading(FOUR, score(12, marks=marks))
    assert [entry.kind for entry in made.plan.dynamics if entry.printed][-1] == "crescendo"
    assert told("level-not-restored", made) == []


def test_the_level_is_back_when_the_smaller_phrase_ends():
    plan = in_file(dynamics(swell(), phrases=[{"bars": "1-8", "inside": ["1-4", "5-8"]}]))
    (remark,) = found("level-not-restored", plan, bars=12)
    assert entries_of(remark) == [{"diminuendo": "3:1 - 4:4", "by": "4 dB"}]


# -- a tone that is never taken back


def tone(bars: str, tone: str = "dark", **more) -> dict:
    return FOUR | {"tone": [{"bars": bars, "tone": tone}]} | more


@pytest.mark.parametrize(
    ("plan", "expected"),
    [
        (tone("1-4"), 0),
        (tone("3:1 - 5:1"), 0),  # a beat over the end
        (tone("3:1 - 5:2"), 1),
        (tone("3:1 - 8:4"), 0),  # to the end of the next phrase
        (tone("3:1 - 8:3"), 0),
        (tone("3:1 - 8:2"), 1),
        (tone("2:1 - 3:4"), 0),  # it passes no end
        (tone("4:4 - 5:2"), 0),  # a colour around the end, which begins a beat before it
        (tone("1-12"), 0),  # the whole piece
        (tone("5-12"), 0),  # from a phrase on
        (tone("6-12"), 1),  # four bars after the phrase in which it begins
        (tone("10-12"), 0),
        (tone("6-12", "plain"), 0),
        (tone("3:1 - 5:2", phrases=[]), 0),
        (FOUR | {"order": ["1-8", "1-8"], "second time": [{"bars": "3-6", "tone": "dark"}]}, 0),
    ],
)
def test_a_tone_that_outlasts_its_phrase(plan, expected):
    remarks = found("tone-not-restored", plan, bars=12)
    assert [remark.severity for remark in remarks] == [Severity.ADVICE] * expected


@pytest.mark.parametrize(
    ("bars", "over", "instead"),
    [
        ("3:1 - 6:2", "4:4 and changes back in the middle of a phrase", "3:1 - 4:4"),
        ("6-12", "8:4 to the end of the piece", "6:1 - 8:4"),
    ],
)
def test_the_tone_ends_with_the_phrase(bars, over, instead):
    plan = in_file(tone(bars))
    (remark,) = found("tone-not-restored", plan, bars=12)
    assert remark.message == f"the tone of {bars} goes on over the phrase end at {over}"
    assert entries_of(remark) == [{"bars": instead, "tone": "dark"}]
    assert found("tone-not-restored", mended(plan, remark), bars=12) == []


# -- over the melody

QUARTERS = {1: "c5:1 " * 16, 2: "e4:1 " * 16, 3: "c3:1 " * 16}


def louder(decibels: str, beats: int = 4, who: str = "inner", **more) -> dict:
    return {"accents": [{"at": f"{2 + n // 4}:{n % 4 + 1}", "by": decibels, "for": who} for n in range(beats)]} | more


@pytest.mark.parametrize(
    ("plan", "expected"),
    [
        ({}, 0),
        (louder("1 dB"), 1),
        (louder("0.9 dB"), 0),
        (louder("1 dB", who="bass"), 1),
        (louder("1 dB", who="melody"), 0),
        (louder("6 dB", beats=3), 0),
        (louder("6 dB", beats=8), 1),
        ({"voices": {"melody": "-3 dB"}}, 2),
        ({"voices": {"melody": "-3 dB", "inner": "-3 dB", "bass": "-9 dB"}}, 0),
    ],
)
def test_a_voice_that_covers_the_melody(plan, expected):
    remarks = found("inner-over-melody", in_file(plan), voices=QUARTERS, bars=4)
    assert [remark.severity for remark in remarks] == [Severity.CAUTION] * expected


@pytest.mark.parametrize(
    ("melody", "inner", "expected"),
    [
        ("c5:16", "e4:1 " * 16, 1),  # a held note of the melody sounds with all of them
        ("c5:1 " * 16, "r:4 e4:1 r:1 e4:1 r:1 e4:1 r:1 e4:1 r:5", 1),  # rests are passed over
        ("c5:1 " * 16, "r:4 e4:1 r:1 e4:1 r:1 e4:1 r:7", 0),
        ("c5:3 r:1 " * 4, "r:3 e4:1 " * 4, 0),  # where the melody rests
    ],
)
def test_only_what_sounds_with_the_melody_is_compared(melody, inner, expected):
    plan = {"voices": {"inner": {"level": "6 dB", "is": "voice 2"}, "melody": {"is": "voice 1"}}}
    voices = {1: melody, 2: inner, 3: "c3:1 " * 16}
    assert len(found("inner-over-melody", plan, voices=voices, bars=4)) == expected


def test_beats_are_counted_as_they_are_felt():
    """In 6/8 three quavers are one beat: eight beats in four bars, of which one voice is louder in four."""
    voices = {1: "c5:0.5 " * 24, 2: "e4:0.5 " * 24, 3: "c3:0.5 " * 24}
    accents = [{"at": f"{bar}:{beat}", "by": "3 dB", "for": "inner"} for bar in (1, 2) for beat in (1, 4)]
    options = {"voices": voices, "bars": 4, "metre": (6, 8)}
    assert len(found("inner-over-melody", in_file({"accents": accents}), **options)) == 1
    assert found("inner-over-melody", in_file({"accents": accents[:3]}), **options) == []


@pytest.mark.parametrize(
    ("plan", "expected"),
    [
        ({}, 0),
        ({"slowing": [{"rallentando": "4", "to": "80%"}]}, 0),
        ({"voices": {"melody": {"lead": "10 ms"}}}, 0),
        ({"voices": {"bass": "-1 dB"}}, 1),
        ({"dynamics": [{"at": "4:4", "mark": "mf", "for": "melody"}]}, 1),
        ({"accents": [{"at": "4:4"}]}, 1),
        ({"second time": [{"bars": "1-4", "softer": "2 dB"}]}, 1),
        ({"second time": [{"bars": "1-4", "louder": "2 dB"}]}, 1),
        ({"second time": [{"bars": "1-4", "tone": "dark"}]}, 0),
    ],
)
def test_printed_dynamics_are_not_judged(plan, expected):
    """A second staff that is printed louder; and what the plan has said of levels besides."""
    made = score(4, voices=QUARTERS, marks=[{"kind": "dynamic", "bar": 0, "staff": 2, "text": "ff"}])
    made.notes["staff"] = np.where(made.notes["voice"] == 2, 2, 1)
    assert len(found("inner-over-melody", in_file(plan | {"order": ["1-4", "1-4"]}), made=made)) == expected


def test_what_the_musician_reads_of_a_covered_melody():
    plan = {"voices": {"inner": "2 dB"}}
    (remark,) = found("inner-over-melody", plan, voices=QUARTERS, bars=4)
    assert remark.message.startswith("an inner voice is louder than the melody from 1:1 to 4:4, by up to 2.0 dB")
    assert (remark.suggestion, remark.fix) == ("voices: {inner: -3.0 dB}", ())
    assert found("inner-over-melody", {"voices": {"inner": "-3.0 dB"}}, voices=QUARTERS, bars=4) == []


@pytest.mark.parametrize(
    ("who", "name", "level"), [("inner", "an inner voice", "-5.0 dB"), ("bass", "the bass", "-5.0 dB")]
)
def test_a_voice_that_the_plan_has_no_level_for_comes_under_the_melody(who, name, level):
    """2 dB above it by accents alone: 2 and 3 dB lower it lies 3 dB under it."""
    plan = in_file(louder("2 dB", who=who))
    (remark,) = found("inner-over-melody", plan, voices=QUARTERS, bars=4)
    assert remark.message.startswith(f"{name} is louder than the melody from 2:1 to 2:4, by up to 2.0 dB")
    assert remark.suggestion == f"voices: {{{who}: {level}}}"
    assert found("inner-over-melody", plan | {"voices": {who: level}}, voices=QUARTERS, bars=4) == []


def test_where_there_is_no_melody_nothing_covers_it():
    plan = {"voices": {"inner": {"level": "6 dB", "is": "voice 1"}, "melody": {"is": "voice 3"}}}
    voices = {1: "e4:1 " * 16, 3: "c5:1 " * 16}
    assert len(found("inner-over-melody", plan, voices=voices, bars=4)) == 1
    drone = {"voices": {"bass": {"level": "6 dB", "is": "voice 1"}}}
    made = reading(drone, voices={1: "c3:1 " * 16}, bars=4)
    assert told("inner-over-melody", made) == []


@pytest.mark.parametrize(
    ("melody", "inner"),
    [
        ("c5:1 " * 16, "d4:1g e4:1 " * 16),  # of the inner voice nothing but its small notes is louder
        ("d5:1g c5:1 " * 16, "e4:1 " * 16),
    ],
)
def test_small_notes_cover_nothing_and_are_not_covered(melody, inner):
    made = reading({"voices": {"inner": "0.5 dB"}}, voices={1: melody, 2: inner, 3: "c3:1 " * 16}, bars=4)
    notes = made.performance.notes
    notes["level"][(notes["score_length"] == 0) & (notes["voice"] == 2)] += 6
    notes["level"][(notes["score_length"] == 0) & (notes["voice"] == 1)] -= 6
    assert told("inner-over-melody", made) == []


def test_a_loud_small_note_of_the_melody_does_not_hide_that_its_note_is_covered():
    voices = {1: "d5:1g c5:1 " * 16, 2: "e4:1 " * 16, 3: "c3:1 " * 16}
    made = reading({"voices": {"inner": "2 dB"}}, voices=voices, bars=4)
    notes = made.performance.notes
    notes["level"][notes["score_length"] == 0] += 6
    (remark,) = told("inner-over-melody", made)
    assert "from 1:1 to 4:4, by up to 2.0 dB" in remark.message
