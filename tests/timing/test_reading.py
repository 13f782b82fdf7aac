"""Score and plan brought together: what is played, in which order, with which tone."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support import midi, reading, score

from timing.performance import TONES
from timing.plan import Plan
from timing.reader import read_score
from timing.reading import perform
from timing.remarks import CannotDo


def test_a_silent_plan_is_strict_time_at_an_even_level_with_plain_lengths():
    made = reading({}, bars=4, voices={1: "c4:1 d4:0.5 e4:0.5 f4:2 g4:4 a4:4 b4:4"}).performance
    assert made.notes["onset"] == pytest.approx(made.notes["score_onset"], rel=1e-14)
    assert made.notes["end"] == pytest.approx(made.notes["score_onset"] + made.notes["score_length"], rel=1e-14)
    assert set(made.notes["level"]) == {-12}
    assert {TONES[tone] for tone in made.notes["tone"]} == {"naturale"} and np.all(np.isnan(made.notes["pluck"]))
    assert len(made.curves) == len(made.glides) == len(made.phrases) == 0


def test_notes_know_where_they_stand():
    made = reading({"order": ["1-2", "2"]}, bars=2, pickup=1.0).performance.notes
    assert made["bar"].tolist() == [1, 1, 1, 1, 2, 2, 2, 2, 2, 2, 2, 2]
    pickup = reading({}, bars=2, pickup=1.0).performance.notes
    assert pickup["bar"][:3].tolist() == [0, 1, 1]
    assert pickup["beat"][:3].tolist() == [4, 1, 2]
    assert made["pass"].tolist() == [1] * 8 + [2] * 4
    assert made["ordinal"].tolist() == [0] * 4 + [1] * 4 + [2] * 4


def test_beats_are_counted_in_the_lower_figure():
    notes = reading({}, bars=1, metre=(6, 8), voices={1: "c4:1.5 d4:0.5 e4:1"}).performance.notes
    assert notes["beat"].tolist() == [1, 4, 5]


@given(st.lists(st.tuples(st.integers(1, 6), st.integers(0, 3)), min_size=1, max_size=6))
def test_every_note_of_every_performed_bar_is_played_once(stretches):
    order = [(first, min(first + more, 6)) for first, more in stretches]
    written = ["c4:1 d4:1 e4:2", "f4:4", "g4:0.5 a4:3.5", "b4:1 c5:3", "d5:2 e5:2", "f5:4"]
    made = reading({"order": [f"{a}-{b}" for a, b in order]}, bars=6, voices={1: " ".join(written)})
    expected = [word.split(":")[0] for a, b in order for bar in range(a, b + 1) for word in written[bar - 1].split()]
    notes = made.performance.notes
    assert notes["pitch"].tolist() == [midi(name) for name in expected]
    bars = sum(b - a + 1 for a, b in order)
    assert made.performance.quarters == made.performance.time.length == 4 * bars


def test_a_tie_is_cut_where_the_order_leaves_the_page():
    """A note of six quarters from the beginning of bar 1: the first time bar 1 follows, the second time bar 2."""
    notes = reading({"order": ["1", "1-2"]}, bars=2, voices={1: "c4:6 d4:2"}).performance.notes
    found = [(int(n["pitch"]), n["score_onset"], n["score_length"]) for n in notes]
    assert found == [(60, 0, 4), (60, 4, 6), (62, 10, 2)]


def test_a_tie_goes_on_over_a_skipped_ending():
    endings = [
        {"kind": "ending", "bar": 1, "end_bar": 1, "text": "1"},
        {"kind": "ending", "bar": 2, "end_bar": 2, "text": "2"},
        {"kind": "repeat end", "bar": 1, "offset": 4.0},
    ]
    made = score(3, voices={1: "r:3 c4:3 d4:2 e4:4"}, marks=endings)
    notes = perform(made, reading({}).plan).performance.notes
    assert notes["score_length"][notes["pitch"] == 60].tolist() == [3, 3]


def test_irregular_bars():
    made = score(3)
    made.bars["length"][1] = 2.5  # a bar that is cut short
    made.notes["length"][:] = 1
    made.notes["offset"][made.notes["bar"] == 1] = [0, 1, 2, 2.25]
    found = perform(made, reading({"slowing": [{"ritenuto": "2", "to": "50%", "then": "a tempo"}]}).plan).performance
    assert found.bars["start"].tolist() == [0, 4, 6.5]
    assert found.time.seconds(np.array([4, 6.5, 10.5])) == pytest.approx([4, 9, 13])


TWICE = {"order": ["1-4", "1-4"]}


def tones(plan: dict, *quarters: float, **options) -> list[str]:
    notes = reading(plan, bars=4, **options).performance.notes
    found = {n["score_onset"]: TONES[n["tone"]] if np.isnan(n["pluck"]) else float(n["pluck"]) for n in notes}
    return [found[quarter] for quarter in quarters]


def test_tones_go_back_by_themselves():
    plan = {"tone": [{"bars": "2-3", "tone": "ponticello"}, {"bars": "3:2", "tone": "5 cm"}]}
    assert tones(plan, 3, 4, 8, 9, 10, 12) == [
        "naturale",
        "sul ponticello",
        "sul ponticello",
        5,
        "sul ponticello",
        "naturale",
    ]


def test_the_second_time_another_tone():
    plan = TWICE | {"tone": [{"bars": "1-2", "tone": "dark"}], "second time": [{"bars": "1-4", "tone": "sul tasto"}]}
    assert tones(plan, 0, 8, 16, 24) == ["dark", "naturale", "sul tasto", "sul tasto"]


def test_a_tone_for_one_voice():
    plan = {"tone": [{"bars": "1", "tone": "dark", "for": "voice 2"}]}
    notes = reading(plan, bars=1, voices={1: "c5:4", 2: "c3:4"}).performance.notes
    assert {int(n["voice"]): TONES[n["tone"]] for n in notes} == {1: "naturale", 2: "dark"}


def test_a_lane_for_every_voice():
    made = reading({"instrument": "violin"}, bars=1, voices={1: "c5:4", 3: "c4:4"}).performance
    assert made.lanes["program"].tolist() == [40, 40]
    assert made.lanes["name"].tolist() == ["Piano, voice 1", "Piano, voice 3"]
    assert made.lanes["voice"][made.notes["lane"]].tolist() == made.notes["voice"].tolist()


def test_notes_are_sorted_as_they_begin():
    plan = {"voices": {"melody": {"lead": "50 ms"}}}
    notes = reading(plan, bars=1, voices={1: "r:1 c5:1 d5:2", 2: "c3:1 d3:1 e3:2"}).performance.notes
    assert np.all(np.diff(notes["onset"]) >= 0)
    assert notes["pitch"].tolist() == [midi(name) for name in ("c3", "c5", "d3", "d5", "e3")]


def test_all_faults_at_once():
    plan = {
        "slowing": [{"rallentando": "40"}, {"rallentando": "2:9"}],
        "phrases": [{"bars": "5-3"}],
        "voices": {"celo": "-3 dB"},
        "glissandi": [{"from": "1:1.5", "to": "2:1"}],
        "accents": [{"at": "1:1", "for": "voice 7"}],
    }
    with pytest.raises(CannotDo) as refusal:
        reading(plan, bars=4)
    assert len(refusal.value.remarks) == 6


def test_bars_without_notes_take_their_time():
    made = reading({"order": ["2"]}, bars=2, voices={1: "c4:4"})
    assert (len(made.performance.notes), made.performance.time.length) == (0, 4.0)


@pytest.mark.parametrize(
    ("order", "returned"),
    [
        (["1-4", "1-4", "5-8", "1-4"], [0, 0, 0, 1]),  # a repeat, and a return from further on
        (["1-4", "5-8", "1-4"], [0, 0, 1]),
        (["1-8", "1-4"], [0, 0]),  # the same passage again
        (["1-2", "3-6", "3-5", "7-8", "3-5"], [0, 0, 0, 0, 1]),
    ],
)
def test_the_da_capo_of_an_order_of_ones_own(order, returned):
    bars = reading({"order": order}, bars=8).performance.bars
    expected = [
        bool(flag)
        for part, flag in zip(order, returned, strict=True)
        for _ in range(int(part.split("-")[1]) - int(part.split("-")[0]) + 1)
    ]
    assert bars["returned"].tolist() == expected


def test_a_note_tied_into_both_endings_is_struck_once_each_time(tmp_path):
    """|: c4 over four beats, tied into [1. one beat :|] and into [2. two beats ]: five beats, then six."""
    def note(length, *ties):
        tied = "".join(f'<tie type="{tie}"/>' for tie in ties)
        pitch = "<pitch><step>C</step><octave>4</octave></pitch>"
        return f"<note>{pitch}<duration>{length}</duration>{tied}<voice>1</voice></note>"

    def rest(length):
        return f"<note><rest/><duration>{length}</duration><voice>1</voice></note>"

    def ending(number, kind, repeat=""):
        side = "left" if kind == "start" else "right"
        return f'<barline location="{side}"><ending number="{number}" type="{kind}"/>{repeat}</barline>'

    back = '<repeat direction="backward"/>'
    bars = [
        "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>"
        '<barline location="left"><repeat direction="forward"/></barline>' + note(4, "start"),
        ending(1, "start") + note(1, "stop") + rest(3) + ending(1, "stop", back),
        ending(2, "start") + note(2, "stop") + rest(2) + ending(2, "stop"),
    ]
    body = "".join(f'<measure number="{n}">{bar}</measure>' for n, bar in enumerate(bars, 1))
    file = tmp_path / "tied.musicxml"
    file.write_text(
        '<?xml version="1.0"?><score-partwise version="4.0"><part-list><score-part id="P1"><part-name>P</part-name>'
        f'</score-part></part-list><part id="P1">{body}</part></score-partwise>'
    )
    made = perform(read_score(file, cache=False), Plan.model_validate({"score": str(file), "tempo": 60}))
    notes = made.performance.notes
    assert made.order == "1-2, 1, 3"
    assert list(zip(notes["onset"].tolist(), notes["end"].tolist(), strict=True)) == [(0, 5), (8, 14)]


def test_a_tone_at_one_place_and_by_voice():
    made = score(2, voices={1: "c5:1 d5:1 e5:2 c5:4", 2: "c3:4 c3:4"}, program=24)
    plan = {"tone": [{"at": "1:2", "tone": "sul tasto"}, {"bars": "1:3 - 2:4", "tone": "4.5 cm", "for": "melody"}]}
    notes = reading(plan, made).performance.notes
    tones = [TONES[tone] for tone in notes["tone"][notes["voice"] == 1]]
    assert tones == ["naturale", "sul tasto", "naturale", "naturale"]
    assert np.isnan(notes["pluck"][:2]).all()
    assert notes["pluck"][(notes["voice"] == 1) & (notes["score_onset"] >= 2)].tolist() == [4.5, 4.5]
    assert np.isnan(notes["pluck"][notes["voice"] == 2]).all()


def test_a_distance_from_the_bridge_needs_a_guitar():
    plan = {"tone": [{"bars": "1", "tone": "5 cm"}]}
    for program, codes in ((24, []), (40, ["no-strings"])):
        made = reading(plan, score(2, voices={1: "c5:4 c5:4"}, program=program))
        assert [remark.code for remark in made.remarks] == codes


def test_each_guitar_has_its_own_tuning_and_capo():
    made = score(1, voices={1: "c4:4", 2: "d3:4"}, program=24, parts=("Guitar 1", "Guitar 2"))
    made.notes["part"] = made.notes["voice"] - 1
    plan = {"tuning": {"Guitar 2": "dropped D"}, "capo": {"guitar 1": 2}}
    performance = reading(plan, made).performance
    assert performance.tunings[:, 5].tolist() == [42, 38]
    assert dict(zip(performance.notes["part"].tolist(), performance.notes["pitch"].tolist(), strict=True)) == {
        0: midi("c4") + 2,
        1: midi("d3"),
    }
    with pytest.raises(CannotDo, match="no part 'Guitar 3': did you mean 'Guitar"):
        reading({"capo": {"Guitar 3": 2}}, made)
    with pytest.raises(ValueError, match=r"Guitar 1: '3\.5' is not a whole number"):
        reading({"capo": {"Guitar 1": "3.5"}}, made)


def test_a_capo_sounds_higher():
    plain, capo = (
        reading(plan, score(1, voices={1: "c4:4"}, program=24)).performance.notes for plan in ({}, {"capo": 3})
    )
    assert (capo["pitch"] - plain["pitch"]).tolist() == [3]
    assert capo["fret"].tolist() == plain["fret"].tolist()
