"""Readings side by side: figures worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest
from support import reading, score

from timing.comparing import compare
from timing.remarks import CannotDo

PHRASED = {"phrases": [{"bars": "1-8", "inside": ["1-4", "5-8"]}]}


def two(one: dict, other: dict, made=None, others=None, **options):
    """The comparison of two plans over one score made by hand, or over two."""
    made = made or score(**options)
    return compare([reading(PHRASED | one, made), reading(PHRASED | other, others or made)])


def measured(comparison, bars: str, column: str, pass_: int = 1) -> list:
    """A column of the measures of a span, for each reading."""
    (row,) = (
        k for k, span in enumerate(comparison.spans) if (span.bars or span.kind, span.pass_ or 1) == (bars, pass_)
    )
    return comparison.measures[row][column].tolist()


def said(comparison) -> list[tuple]:
    return [(each.section, each.kind, each.bars, each.passes, *each.words) for each in comparison.differences]


# -- time


def test_lengths_are_those_of_the_tempo():
    made = two({}, {"tempo": 80})
    assert measured(made, "1-4", "seconds") == pytest.approx([16, 12], abs=1e-9)
    assert measured(made, "1-8", "seconds") == pytest.approx([32, 24], abs=1e-9)
    assert measured(made, "all", "seconds") == pytest.approx([32, 24], abs=1e-9)
    assert measured(made, "1-4", "low_bpm") == measured(made, "1-4", "high_bpm") == pytest.approx([60, 80])
    assert measured(made, "1-4", "slowest") == pytest.approx([1, 1])
    assert [(span.bars, span.depth, span.of) for span in made.spans[:3]] == [
        ("1-8", 0, (True, True)), ("1-4", 1, (True, True)), ("5-8", 1, (True, True)),
    ]  # fmt: skip


def test_the_slowest_beat_is_the_mean_pace_of_the_last_one_in_a_rallentando():
    # constant braking force: v = sqrt(1 - (1 - w²) x); the last of four beats takes the integral of 4 dx / v from 3/4
    # to 1, the whole 4 · q/(q-1) (1-w) / (1-w²) s (A. Friberg and J. Sundberg, JASA 105, 1999)
    made = two({}, {"slowing": [{"rallentando": "4:1 - 4:4", "to": "50%", "curvature": 2, "then": "a tempo"}]})
    last = 8 / 0.75 * (np.sqrt(1 - 0.75 * 0.75) - 0.5)
    assert measured(made, "1-4", "seconds") == pytest.approx([16, 12 + 4 * 2 * 0.5 / 0.75], abs=1e-9)
    assert measured(made, "1-4", "slowest") == pytest.approx([1, 1 / last], abs=1e-9)
    assert measured(made, "1-4", "slowest_bpm") == pytest.approx([60, 60 / last], abs=1e-9)
    assert measured(made, "1-4", "low_bpm") == pytest.approx([60, 60 / last], abs=1e-9)
    assert [measured(made, "1-4", name)[1] for name in ("bar", "beat", "pass", "held")] == ["4", 4, 1, False]
    assert measured(made, "5-8", "slowest") == pytest.approx([1, 1])
    assert said(made) == [("slowing", "rallentando", "4:1 - 4:4", (1,), None, "to 50%, then a tempo, curvature 2")]


@pytest.mark.parametrize(
    ("hold", "pace"),
    [
        ({"fermata": "2:3", "length": "200%"}, 1 / 2),
        ({"breath": "after 2:3", "seconds": 0.5}, 1 / 1.5),
        ({"agogic": "2:3", "length": "125%"}, 1 / 1.25),
    ],
    ids=lambda value: next(iter(value)) if isinstance(value, dict) else "",
)
def test_a_hold_is_heard_in_the_slowest_beat_and_left_out_of_the_tempo(hold, pace):
    made = two({}, {"holds": [hold]})
    assert measured(made, "1-4", "slowest") == pytest.approx([1, pace], abs=1e-9)
    assert [measured(made, "1-4", name)[1] for name in ("bar", "beat")] == ["2", 3]
    assert measured(made, "1-4", "held") == [False, True]
    for name in ("low_bpm", "high_bpm"):
        assert measured(made, "1-4", name) == pytest.approx([60, 60], abs=1e-9)
    assert measured(made, "1-4", "seconds") == pytest.approx([16, 15 + 1 / pace], abs=1e-9)


def test_pace_is_against_the_basic_tempo_at_hand():
    made = two({}, {"tempo": [60, {"at": 5, "tempo": 30}]})
    assert measured(made, "5-8", "slowest") == pytest.approx([1, 1])
    assert measured(made, "all", "slowest_bpm") == pytest.approx([60, 60])  # no beat is held back: the first one counts
    assert measured(made, "all", "low_bpm") == pytest.approx([60, 30])


def test_beats_are_felt_in_compound_metre_and_whole_after_a_pickup():
    made = score(bars=2, metre=(6, 8), pickup=0.5, voices={1: " ".join(["c4:0.5"] * 13)})
    slow = {"holds": [{"agogic": "1:2", "length": "200%"}], "phrases": ["0-2"]}
    compared = compare([reading({"phrases": ["0-2"]}, made), reading(slow, made)])
    # the second eighth is as long as two: a dotted quarter of 1.5 s lasts 2 s
    assert compared.measures[0]["slowest"].tolist() == pytest.approx([1, 0.75])
    assert compared.measures[0][["bar", "beat"]].tolist()[1] == ("1", 1)
    late = {"holds": [{"agogic": "0:6", "length": "200%"}], "phrases": ["0-2"]}
    compared = compare([reading({"phrases": ["0-2"]}, made), reading(late, made)])
    assert compared.measures[0]["slowest"].tolist() == pytest.approx([1, 0.5])
    assert compared.measures[0][["bar", "beat"]].tolist()[1] == ("0", 6)


def test_a_phrase_that_begins_within_a_beat_has_only_its_own_part_of_it():
    phrases = {"phrases": ["1:1 - 2:2.5", "2:2.5 - 4"]}
    made = compare([reading(phrases), reading(phrases | {"tempo": [60, {"at": "2:2.5", "tempo": 120}]})])
    assert made.measures["seconds"][:2] == pytest.approx(np.array([[5.5, 5.5], [10.5, 5.25]]))
    assert made.measures["high_bpm"][:2] == pytest.approx(np.array([[60, 60], [60, 120]]))
    assert made.measures["low_bpm"][:2] == pytest.approx(np.array([[60, 60], [60, 120]]))


# -- level and tone


def test_the_level_is_the_melody_s_from_softest_to_loudest():
    voices = {1: " ".join(["c5:1"] * 32), 2: " ".join(["c3:4"] * 8)}
    louder = {"dynamics": [{"at": 1, "mark": "p"}, {"at": 5, "mark": "f"}], "voices": {"bass": "-9 dB"}}
    louder |= {"accents": [{"at": "6:2", "by": "2 dB"}]}
    made = two({}, louder, voices=voices)
    assert [measured(made, "1-4", name) for name in ("softest", "loudest")] == [[-12, -20], [-12, -20]]
    assert [measured(made, "1-8", name)[1] for name in ("softest", "loudest")] == [-20, -6]
    assert [measured(made, "5-8", name)[1] for name in ("softest", "loudest")] == [-8, -6]


def test_a_note_that_grows_while_it_sounds_is_as_loud_as_it_becomes():
    made = two({}, {"dynamics": [{"at": 1, "mark": "p"}, {"crescendo": "1-4", "to mark": "f"}]},
               voices={1: "c5:16 c5:16"}, program=40)  # fmt: skip
    assert measured(made, "1-4", "softest") == pytest.approx([-12, -20], abs=1e-6)
    assert measured(made, "1-4", "loudest") == pytest.approx([-12, -8], abs=1e-6)


def test_where_the_melody_is_silent_all_voices_count():
    made = two({}, {"voices": {"melody": {"level": "3 dB", "is": "voice 1"}, "bass": "-5 dB"}},
               voices={1: " ".join(["c5:1"] * 16), 2: " ".join(["c3:1"] * 32)})  # fmt: skip
    assert measured(made, "1-4", "loudest") == [-12, -9] and measured(made, "5-8", "loudest") == [-12, -17]


def test_tones_are_shares_of_what_sounds():
    made = two({}, {"tone": [{"bars": "1-2", "tone": "sul tasto"}, {"bars": 3, "tone": "5 cm"}]}, program=24)
    shares = [dict(zip(made.tones, each, strict=True)) for each in made.shares[1].tolist()]
    assert [span.bars for span in made.spans][1] == "1-4"
    notes = made.readings[1].performance.notes
    seconds = notes["end"] - notes["onset"]
    expected = [seconds[(notes["bar"] >= low) & (notes["bar"] <= high)].sum() for low, high in ((1, 2), (3, 3), (4, 4))]
    assert shares[0] == {"naturale": pytest.approx(1), "sul tasto": 0, "5 cm": 0}
    assert [shares[1][tone] for tone in ("sul tasto", "5 cm", "naturale")] == pytest.approx(
        np.array(expected) / sum(expected)
    )


# -- what only one does


def test_only_one_both_but_otherwise_and_both_alike():
    ralls = {"slowing": [{"rallentando": "4:1 - 4:4", "to": "80%"}, {"ritenuto": "8:1 - 8:4", "to": "70%"}]}
    other = {"slowing": [{"ritardando": "4:1 - 4:4", "to": "66%"}, {"ritenuto": 8, "to": "70%"}]}
    other |= {"holds": [{"breath": "after 4", "seconds": 0.2}]}
    assert said(two(ralls, other)) == [
        ("slowing", "rallentando", "4:1 - 4:4", (1,), "to 80%", "to 66%"),  # a ritardando is the same thing
        ("holds", "breath", "after 4", (1,), None, "seconds 0.2"),
    ]


def test_an_entry_on_another_range_is_paired_by_its_end_or_beginning():
    one = {"slowing": [{"rallentando": "4:1 - 4:4", "to": "80%"}], "dynamics": [{"crescendo": "1-2", "by": "2 dB"}]}
    other = {"slowing": [{"rallentando": "3:3 - 4:4", "to": "80%"}], "dynamics": [{"crescendo": "1-3", "by": "2 dB"}]}
    assert said(two(one, other)) == [
        ("slowing", "rallentando", "4:1 - 4:4", (1,), "4:1 - 4:4", "3:3 - 4:4"),
        ("dynamics", "crescendo", "1-2", (1,), "1-2", "1-3"),
    ]


REPEATED = [{"kind": "repeat start", "bar": 0}, {"kind": "repeat end", "bar": 3, "offset": 4.0}]


def test_an_entry_for_all_passes_is_one_for_each_of_them():
    one = {"slowing": [{"rallentando": "4:1 - 4:4", "to": "80%", "then": "a tempo"}]}
    each = {"slowing": [{"rallentando": "4:1 - 4:4", "to": "80%", "then": "a tempo", "pass": k} for k in (1, 2)]}
    assert two(one, each, marks=REPEATED).same
    each["slowing"][1]["to"] = "70%"
    assert said(two(one, each, marks=REPEATED)) == [("slowing", "rallentando", "4:1 - 4:4", (2,), "to 80%", "to 70%")]
    del each["slowing"][0]
    assert said(two(one, each, marks=REPEATED)) == [
        ("slowing", "rallentando", "4:1 - 4:4", (1,), "to 80%, then a tempo", None),
        ("slowing", "rallentando", "4:1 - 4:4", (2,), "to 80%", "to 70%"),
    ]


def test_every_section_and_setting_is_compared():
    other = {
        "voices": {"melody": {"lead": "20 ms"}},
        "articulation": {"staccato": "40%"},
        "phrases": [{"bars": "1-8", "arch": {"level": "3 dB"}, "inside": ["1-4", "5-8"]}],
        "accents": [{"at": "2:1", "for": "melody"}],
        "tone": [{"bars": 3, "tone": "dark"}],
        "second time": [{"bars": "1-4", "softer": "3 dB"}],
        "glissandi": [{"from": "2:4", "to": "3:1", "swell": "2 dB"}],
    }
    assert said(two({"tempo": 60}, {"tempo": 66} | other, marks=REPEATED, voices={1: "c4:1 d4:1 " * 16})) == [
        ("voices", "melody lead", None, (), None, "20 ms"),
        ("articulation", "staccato", None, (), None, "40%"),
        ("tempo", None, None, (), "60", "66"),
        ("phrases", "arch", "1-8", (1, 2), None, "level 3 dB"),
        ("accents", None, "2:1", (1, 2), None, "as usual"),
        ("tone", None, "3", (1, 2), None, "dark"),
        ("second time", None, "1-4", (2,), None, "softer 3 dB"),
        ("glissandi", None, "2:4", (1, 2), None, "to 3:1, swell 2 dB"),
    ]


def test_what_is_meant_for_other_voices_is_another_thing():
    one, other = ({"dynamics": [{"at": 3, "mark": "f", "for": voice}]} for voice in ("melody", "bass"))
    made = two(one, other)
    assert [(each.voice, each.words) for each in made.differences] == [("melody", ("f", None)), ("bass", (None, "f"))]


def test_reasons_and_names_make_no_difference():
    one = {"title": "One", "slowing": [{"rallentando": 8, "to": "80%", "why": "it ends"}]}
    other = {"title": "Other", "slowing": [{"rallentando": "8:1 - 8:4", "to": "80 %"}]}
    assert two(one, other).same


def test_plans_that_only_put_it_otherwise_sound_alike():
    made = two({}, {"holds": [{"agogic": "3:1", "length": "100%"}]})
    assert made.alike and not made.same


# -- orders and editions


def test_what_only_one_plays_is_told_and_left_out_of_the_phrase():
    made = two({"order": ["1-8"]}, {"order": ["1-6", "1-8"], "tempo": 120})
    assert [(a.what, a.of, a.bars, a.pass_) for a in made.orders] == [("played", (False, True), "1-6", 2)]
    assert measured(made, "5-8", "seconds", 1) == pytest.approx([16, 8])
    assert measured(made, "shared", "seconds") == pytest.approx([32, 16])
    assert measured(made, "all", "seconds") == pytest.approx([32, 28])
    assert measured(made, "1-8", "seconds", 2) == pytest.approx([8, 4])  # of the second time only 7-8 is new


def test_another_order_of_the_same_bars_is_told():
    made = two({}, {"order": ["5-8", "1-4"], "tempo": 120})
    assert [(a.what, a.of) for a in made.orders] == [("order", (True, True))]
    assert measured(made, "1-4", "seconds") == pytest.approx([16, 8])
    assert measured(made, "all", "seconds") == pytest.approx([32, 16])
    assert [span.kind for span in made.spans] == ["phrase"] * 3 + ["all"]


def test_a_bar_less_in_the_other_edition():
    short = score(bars=7)
    made = two({}, {"phrases": [{"bars": "1-7", "inside": ["1-4", "5-7"]}]}, others=short)
    assert [(a.what, a.of, a.bars) for a in made.scores] == [("bars", (True, False), "8")] and not made.orders
    assert measured(made, "5-7", "seconds") == pytest.approx([12, 12])
    assert measured(made, "shared", "seconds") == pytest.approx([28, 28])
    assert measured(made, "all", "seconds") == pytest.approx([32, 28])
    assert not made.alike


def test_other_notes_and_other_lengths_in_the_other_edition():
    other = score(voices={1: " ".join(["c4:1"] * 8 + ["d4:1"] + ["c4:1"] * 23)})
    made = two({}, {}, others=other)
    assert [(a.what, a.of, a.bars) for a in made.scores] == [("notes", (True, True), "3")]
    other = score()
    other.bars["length"][4] = 3
    other.notes["bar"][19], other.notes["offset"][19] = 5, 0.0
    made = two({"phrases": []}, {"phrases": []}, others=other)
    assert [(a.what, a.bars) for a in made.scores] == [("length", "5"), ("notes", "6")]
    assert measured(made, "shared", "seconds") == pytest.approx([28, 28])


def test_another_key_is_another_edition_and_another_piece_is_refused():
    made = two({}, {}, others=score(voices={1: " ".join(["d4:1"] * 32)}))
    assert [(a.what, a.bars) for a in made.scores] == [("notes", "1-8")]
    with pytest.raises(CannotDo, match="different music"):
        two({}, {}, others=score(voices={1: " ".join(["d4:1.5 d4:0.5 d4:2"] * 8)}))
    with pytest.raises(CannotDo, match="no bar of the same number is as long"):
        two({}, {"phrases": []}, others=score(metre=(3, 4)))
    with pytest.raises(CannotDo, match="no bar is played by all"):
        two({"order": ["1-4"]}, {"order": ["5-8"]})


def test_cut_time_and_common_time_are_the_same_bars():
    alla_breve = score(metre=(2, 2))
    made = two({}, {"holds": [{"fermata": "2:2", "length": "200%"}]}, others=alla_breve)
    assert made.scores == [] and measured(made, "1-4", "slowest")[1] < 1


# -- spans


def test_phrases_of_either_plan_are_listed_where_they_begin():
    made = two({}, {"phrases": ["1-6", "7-8"]})
    assert [(span.bars, span.of) for span in made.spans[:-1]] == [
        ("1-8", (True, False)), ("1-6", (False, True)), ("1-4", (True, False)), ("5-8", (True, False)),
        ("7-8", (False, True)),
    ]  # fmt: skip
    assert measured(made, "7-8", "seconds") == pytest.approx([8, 8])


def test_without_phrases_sections_are_compared():
    marks = [*REPEATED, {"kind": "double bar", "bar": 5, "offset": 4.0}]
    made = compare([reading({"tempo": tempo}, score(marks=marks)) for tempo in (60, 120)])
    assert [(span.kind, span.bars, span.pass_) for span in made.spans] == [
        ("section", "1-4", 1), ("section", "1-6", 2), ("section", "7-8", 1), ("all", "", None),
    ]  # fmt: skip
    assert made.measures["seconds"].tolist() == pytest.approx(np.array([[16, 8], [24, 12], [8, 4], [48, 24]]))


def test_three_readings_stand_side_by_side():
    made = compare([reading(PHRASED | {"tempo": tempo}) for tempo in (60, 80, 120)])
    assert measured(made, "1-4", "seconds") == pytest.approx([16, 12, 8])
    assert said(made) == [("tempo", None, None, (), "60", "80", "120")]


def test_a_score_of_rests_has_lengths_but_no_levels():
    made = compare([reading({"tempo": tempo}, score(voices={1: "r:32"})) for tempo in (60, 120)])
    assert made.measures["seconds"].tolist() == [[32, 16], [32, 16]]
    assert np.isnan(made.measures["loudest"]).all() and made.tones == ()
