"""The score's own tempi, slowdowns and holds."""

from __future__ import annotations

import numpy as np
import pytest
from support import reading, score

from timing.marks.uses import Fate

REPEATED = {"order": ["1-4", "1-4", "5-8"]}


def word(text: str, bar: int, beat: float = 1, **more) -> dict:
    """Words over a bar (as printed) of 4/4."""
    return {"kind": "words", "bar": bar - 1, "offset": beat - 1.0, "end_offset": beat - 1.0, "text": text} | more


def sign(kind: str, bar: int, beat: float = 1, **more) -> dict:
    return word("", bar, beat) | {"kind": kind} | more


def made(*marks: dict, plan: dict | None = None, **options):
    """The reading of a plan without a tempo over eight bars with these marks."""
    return reading({"tempo": ()} | (plan or {}), score(marks=list(marks), **options))


def tempo(played, *quarters: float) -> list[float]:
    return [round(float(played.performance.time.tempo(at)), 6) for at in quarters]


def fates(played) -> list[str]:
    return [use.fate for use in played.marks]


# -- tempo


def test_numbers_and_words():
    played = made(
        sign("tempo", 1, text="Andante", value=80.0), word("Allegro", 3), word("Poco meno mosso", 5), word("Tempo I", 7)
    )
    assert tempo(played, 0, 8, 16, 24) == [80, 132, pytest.approx(132 * 0.92), 80]
    assert fates(played) == [Fate.USED] * 4
    assert [use.text for use in played.marks] == ["Andante", "Allegro", "Poco meno mosso", "Tempo I"]


@pytest.mark.parametrize(
    ("metre", "beat"),
    [((4, 4), 1), ((2, 2), 2), ((6, 8), 1), ((9, 8), 1), ((12, 16), 0.5), ((3, 8), 0.75), ((4, 8), 0.75), ((6, 4), 1)],
)
def test_what_a_tempo_word_counts(metre, beat):
    assert tempo(made(word("Andante", 1), metre=metre), 0) == [76 * beat]


def test_without_a_number_anywhere_it_is_120():
    assert tempo(made(word("espressivo", 1)), 0) == [120]


def test_the_opening_tempo_counts_for_the_pickup():
    played = made(sign("tempo", 2, text="Lento"), pickup=1.0)
    assert tempo(played, 0, 1) == [52, 52]


@pytest.mark.parametrize("plan", [{"tempo": 60}, {"tempo": [{"at": 5, "tempo": 60}]}])
def test_a_tempo_of_the_plan_takes_the_place_of_all_of_them(plan):
    played = made(word("Allegro", 1), sign("tempo", 3, value=90.0), word("più mosso", 6), word("rit.", 7), plan=plan)
    assert fates(played) == [Fate.OVERRIDDEN] * 3 + [Fate.USED]
    assert played.marks[0].by == played.plan.tempo[0]
    assert tempo(played, 16, 24) == [60, 60] and tempo(played, 31.999)[0] < 31


def test_one_change_printed_in_two_parts_is_one():
    played = made(
        sign("tempo", 1, value=100.0), word("più lento", 3, 2.5), word("più lento", 3, 3, part=1), parts=("A", "B")
    )
    assert tempo(played, 8, 12) == [100, 85] and fates(played) == [Fate.USED] * 3
    assert tempo(made(sign("tempo", 1, value=100.0), word("più lento", 3), word("più lento", 4)), 12) == [72.25]


def test_the_same_beat_in_another_note_value():
    ours = score(marks=[sign("tempo", 1, value=60.0), word("L'istesso tempo", 3)], bars=4)
    ours.bars["beats"][2:], ours.bars["unit"][2:], ours.bars["length"][2:] = 6, 8, 3
    ours.notes["offset"][ours.notes["bar"] >= 2] *= 0.5
    assert tempo(reading({"tempo": ()}, ours), 4, 8) == [60, 90]


def test_tempo_primo_after_an_introduction_is_the_main_tempo():
    """Four bars of Grave, twelve of Allegro, two of meno mosso: at Tempo I players go on with the Allegro."""
    signs = [sign("tempo", 1, text="Grave", value=40.0), sign("tempo", 5, text="Allegro", value=132.0)]
    played = made(*signs, word("meno mosso", 17), word("Tempo I", 19), bars=24)
    assert [mark.tempo for mark in played.plan.tempo][-1] == pytest.approx(132)
    assert tempo(played, 72)[0] == pytest.approx(132)


def test_tempo_primo_after_a_middle_section_is_the_first_tempo():
    signs = [sign("tempo", 1, text="Andante", value=76.0), sign("tempo", 9, text="Allegro", value=132.0)]
    assert tempo(made(*signs, word("Tempo I", 21), bars=28), 80) == [76]  # straight from the other
    passing = made(*signs, word("meno mosso", 17), word("Tempo I", 19), bars=28)
    assert tempo(passing, 72) == [76]  # the Allegro was no longer than the Andante


def test_changes_of_a_tempo_that_is_not_said_leave_tempo_primo_as_it_is():
    played = made(word("doppio movimento", 1), word("più mosso", 3), word("Tempo I", 6), bars=8)
    assert [mark.tempo for mark in played.plan.tempo] == ["200%", "118%", "tempo primo"]


def hidden(bar: int, value: float, beat: float = 1, text: str = "") -> dict:
    """A tempo that the file has for programs, and does not print."""
    return sign("tempo", bar, beat, value=value, text=text, hidden=True)


def told(played) -> list[tuple[str, str]]:
    return [(use.text, str(use.fate)) for use in played.marks]


def test_a_hidden_tempo_is_the_number_of_the_word_that_it_stands_under():
    played = made(hidden(1, 48, text="Largo"), hidden(3, 240, text="Allegro"), hidden(5, 200, text="meno mosso"))
    assert tempo(played, 0, 8, 16) == [48, 240, 200]
    assert told(played) == [("Largo", "used"), ("Allegro", "used"), ("meno mosso", "used")]


def test_a_hidden_tempo_gives_way_to_what_is_printed():
    for printed in (sign("tempo", 1, value=100.0), word("Allegro", 1), word("(♩ = 100)", 1)):
        played = made(printed, hidden(3, 60))
        assert len(set(tempo(played, 0, 8, 31))) == 1 and fates(played) == [Fate.USED, Fate.WITHOUT_EFFECT]
        assert "not printed" in played.marks[1].why
    played = made(hidden(1, 60), word("(♩ = 100)", 1))
    assert tempo(played, 0, 31) == [100, 100] and sorted(fates(played)) == [Fate.USED, Fate.WITHOUT_EFFECT]
    played = made(sign("tempo", 1, value=100.0), hidden(4, 70, text="a tempo"), hidden(6, 80, text="Tempo I"))
    assert tempo(played, 0, 12, 20) == [100, 100, 100]


def test_a_slowing_that_is_written_out_for_programs_is_not_played_twice():
    steps = [hidden(3, 100 - 8 * beat, beat) for beat in (2, 3, 4)]
    written = [sign("tempo", 1, value=100.0), word("rit.", 3), word("a tempo", 4)]
    bare, full = made(*written), made(*written, *steps, hidden(4, 100))
    assert np.array_equal(bare.performance.notes["onset"], full.performance.notes["onset"])


def test_hidden_tempi_of_a_score_that_prints_none_act_where_they_open_it_or_last():
    played = made(hidden(1, 96), hidden(3, 90, 2), hidden(3, 80, 3), hidden(4, 60), hidden(8, 40))
    assert tempo(played, 0, 9, 10, 12, 31) == [96, 96, 96, 60, 60]
    assert told(played)[0] == ("tempo 96, not printed", "used") and told(played)[3][1] == "used"
    assert tempo(made(hidden(3, 90)), 0, 8) == [120, 90] and tempo(made(hidden(6, 90)), 20) == [120]


def test_a_program_s_own_slowing_is_no_new_tempo():
    played = made(sign("tempo", 1, value=100.0), sign("tempo", 3, text="rit.", value=70.0), word("a tempo", 4))
    assert tempo(played, 0, 8, 12) == [100, 100, 100]
    assert tempo(played, 11.9999)[0] == pytest.approx(50, abs=0.2)


# -- slowing


@pytest.mark.parametrize(
    ("more", "end"),
    [
        ([word("a tempo", 4)], 12),
        ([word("Più mosso", 4, 3)], 14),
        ([sign("double bar", 3, 5)], 12),
        ([sign("repeat start", 4)], 12),
        ([sign("fermata", 4, 2)], 14),  # until it is over
        ([sign("double bar", 5, 5)], 20),  # within four bars
        ([word("a tempo", 10)], 36),  # within eight
        ([word("Presto", 10)], 36),
    ],
)
def test_where_a_slowdown_without_dashes_ends(more, end):
    played = made(word("rit.", 2), *more, bars=16)
    (slow,) = played.pace.slowings
    assert (slow.run.start, slow.run.end, slow.to, slow.back) == (4, end, 0.5, end)


@pytest.mark.parametrize(
    "more",
    [
        [],
        [sign("double bar", 6, 5)],
        [sign("fermata", 6)],
        [word("a tempo", 10, 2)],
        [word("rit.", 6)],
    ],
)
@pytest.mark.parametrize(
    ("text", "to"), [("rit.", 0.65), ("poco rit.", 0.65), ("molto rit.", 0.5), ("riten.", 0.85), ("allarg.", 0.75)]
)
def test_a_slowdown_that_nothing_answers_is_short_and_less_deep(text, to, more):
    slow = made(word(text, 2), *more, bars=16).pace.slowings[0]
    assert (slow.run.start, slow.run.end, slow.to, slow.back) == (4, 12, to, 12)  # two bars


@pytest.mark.parametrize(
    ("text", "to"), [("accel.", 1.15), ("poco a poco più mosso", 1.18), ("nach und nach langsamer", 0.85)]
)
def test_a_new_tempo_that_is_reached_by_and_by_stays(text, to):
    played = made(word("Andante", 1), word(text, 2), bars=16)
    (slow,) = played.pace.slowings
    assert (slow.run.end, slow.to, slow.back) == (20, to, None)  # four bars
    assert tempo(played, 4, 63) == [76, pytest.approx(76 * to)]
    assert "no-return" not in [remark.code for remark in played.remarks]


def test_a_slowdown_towards_the_end_of_the_piece_goes_on_to_it():
    (slow,) = made(word("rit.", 3)).pace.slowings
    assert (slow.run.end, slow.to, slow.back) == (32, 0.5, None)


def test_a_slowdown_with_dashes_ends_with_them():
    played = made(word("rall.", 2, end_bar=4, end_offset=1.0), word("a tempo", 4))
    (slow,) = played.pace.slowings
    assert (slow.entry.kind, slow.run.start, slow.run.end) == ("rallentando", 4, 17)


def test_a_slowdown_ends_with_the_phrase():
    phrases = {"phrases": [{"bars": "1-8", "inside": ["1 - 3:2", "3:3 - 8"]}]}
    (slow,) = made(word("rit.", 2, 3), plan=phrases).pace.slowings
    assert (slow.run.start, slow.run.end) == (6, 10)


def test_a_slowdown_at_the_end_of_the_piece_stays():
    (slow,) = made(word("molto rit.", 8)).pace.slowings
    assert (slow.run.end, slow.to, slow.back) == (32, 0.4, None)


def test_what_goes_on_is_not_begun_again():
    marks = [word("rit.", 2), word("rit.", 2, part=0, staff=2), word("rall.", 3), word("molto rit.", 3, 3)]
    played = made(*marks, word("a tempo", 7))
    assert [(s.run.start, s.run.end, s.to, s.back) for s in played.pace.slowings] == [
        (4, 10, 0.5, None),
        (10, 24, 0.4, 24),
    ]
    assert fates(played) == [Fate.USED, Fate.USED, Fate.WITHOUT_EFFECT, Fate.USED, Fate.USED]
    assert played.marks[2].why == "the rit. at 2:1 is still going on"
    assert not [remark for remark in played.remarks if remark.code == "slowings-overlap"]


def test_hurrying_takes_over_from_slowing():
    slow, hurry = made(word("rit.", 2), word("accel.", 3), word("a tempo", 4)).pace.slowings
    assert (slow.run.end, slow.back, hurry.entry.kind, hurry.run.end, hurry.to) == (8, None, "accelerando", 12, 1.15)


def test_an_a_tempo_brings_the_plan_s_slowdown_back():
    played = made(word("a tempo", 4), plan={"tempo": 60, "slowing": [{"rallentando": "2", "to": "80%"}]})
    assert tempo(played, 8, 12) == [pytest.approx(48), 60]
    assert "no-return" not in [remark.code for remark in played.remarks]


def test_the_plan_s_slowdown_goes_over_the_score_s():
    plan = {"slowing": [{"rallentando": "3:3 - 4:4", "to": "80%", "then": "a tempo"}]}
    played = made(word("rit.", 3), word("a tempo", 5), plan=plan)
    (slow,) = played.pace.slowings
    assert slow.entry is played.plan.slowing[-1]
    assert fates(played) == [Fate.OVERRIDDEN, Fate.USED] and played.marks[0].by is slow.entry


def test_a_slowdown_is_overridden_on_one_pass_only():
    plan = REPEATED | {"slowing": [{"rallentando": "4", "to": "80%", "then": "a tempo", "pass": 1}]}
    played = made(word("rit.", 4), sign("double bar", 4, 5), plan=plan)
    assert [(slow.run.start, slow.to) for slow in played.pace.slowings] == [(12, 0.8), (28, 0.5)]
    assert (played.marks[0].fate, played.marks[0].passes) == (Fate.USED, (1,))


def test_only_the_hearing_that_reaches_the_end_slows():
    played = made(word("rit.", 4, end_bar=4, end_offset=4.0), plan={"order": ["1-4", "1-8"]})
    assert [(slow.run.start, slow.run.end) for slow in played.pace.slowings] == [(28, 36)]


# -- holds


def seconds(played, first: float, last: float) -> float:
    start, end = played.performance.time.seconds([first, last])
    return round(float(end - start), 6)


def test_a_fermata_holds_the_note():
    marks = [sign("tempo", 1, value=60.0), sign("fermata", 3), sign("fermata", 3, staff=2)]
    played = made(*marks, voices={1: "c4:4 c4:4 c4:2 c4:2 c4:16"})
    assert seconds(played, 8, 10) == 3 and seconds(played, 10, 12) == 2
    assert len([hold for hold in played.plan.holds if hold.kind == "fermata"]) == 1 and fates(played) == [Fate.USED] * 3


def test_of_voices_that_arrive_one_after_another_the_last_is_held():
    marks = [sign("tempo", 1, value=60.0), sign("fermata", 3), sign("fermata", 3, 2)]
    played = made(*marks, voices={1: "c4:8 c4:4 c4:4", 2: "r:9 c3:1 c3:2"})
    assert [seconds(played, at, at + 1) for at in (8, 9, 10)] == [1, 1.5, 1]
    assert not [remark for remark in played.remarks if remark.code == "holds-overlap"]


def test_breaths_and_caesuras():
    marks = [sign("tempo", 1, value=60.0), sign("breath", 2, 5), sign("caesura", 3, 2.5), sign("breath", 8, 5)]
    played = made(*marks, voices={1: "c4:8 c4:1.5 c4:2.5 c4:20"})
    assert seconds(played, 0, 8) == pytest.approx(8.2) and seconds(played, 8, 12) == pytest.approx(4.5)
    assert [(round(at, 3), wait) for at, wait, _ in played.pace.breaths] == [(8, 0.2), (9.5, 0.5)]
    assert fates(played) == [Fate.USED, Fate.USED, Fate.USED, Fate.WITHOUT_EFFECT]


def test_the_clock_does_not_wait_for_a_breath_that_others_do_not_take():
    ours = score(2, marks=[sign("tempo", 1, value=60.0), sign("breath", 1, 5)], parts=("Flute", "Piano"))
    played = reading({"tempo": ()}, ours)
    assert seconds(played, 0, 8) == 8 and played.pace.breaths == [(4, 0.2, False)]


def test_a_fermata_over_a_bar_line_is_a_silence():
    played = made(sign("tempo", 1, value=60.0), sign("fermata", 2, 5, note=-1))
    assert seconds(played, 0, 8) == pytest.approx(8.5)


@pytest.mark.parametrize(
    ("hold", "fate"),
    [
        ({"fermata": "3:1", "length": "200%"}, Fate.OVERRIDDEN),
        ({"fermata": "3", "length": "120%"}, Fate.OVERRIDDEN),
        ({"agogic": "3:1"}, Fate.OVERRIDDEN),
        ({"fermata": "3:2", "length": "200%"}, Fate.USED),
        ({"fermata": "3:1", "length": "200%", "pass": 2}, Fate.USED),
        ({"breath": "after 2"}, Fate.USED),
    ],
)
def test_a_hold_gives_way_in_the_same_place(hold, fate):
    played = made(sign("fermata", 3), plan={"holds": [hold]} | REPEATED)
    assert fates(played) == [fate]
    held = [
        run
        for entry in played.plan.holds
        if entry.kind == "fermata"
        for run in played.where.runs(entry.fermata, entry.passes)
    ]
    assert len({run.start for run in held}) == len(held)


def test_a_breath_gives_way_to_a_silence_of_the_plan():
    played = made(sign("breath", 2, 5), plan={"holds": [{"caesura": "after 2:4"}]})
    assert fates(played) == [Fate.OVERRIDDEN] and [wait for _, wait, _ in played.pace.breaths] == [0.5]
