"""Slides and moves of the plucking hand: a case that earns each rule, one that just misses it, and what mends it."""

from __future__ import annotations

import io

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ruamel.yaml import YAML
from support import reading, score

from timing.cautions import check
from timing.hand_cautions import MOVE_TIME, TOGETHER
from timing.reading import Reading
from timing.remarks import Remark, Severity


def guitar(voices: dict[int, str] | str, bars: int = 2, **options):
    return score(bars, voices={1: voices} if isinstance(voices, str) else voices, program=24, **options)


def told(code: str, made: Reading) -> list[Remark]:
    return [remark for remark in check(made) if remark.code == code]


def yaml(text: str):
    return YAML(typ="safe").load(io.StringIO(text))


def mended(plan: dict, remark: Remark) -> dict:
    """The plan with what a remark suggests: a new entry of a section, or its slide as it is written now."""
    fix = yaml(remark.suggestion)
    if "from" in fix:
        return plan | {"glissandi": [fix]}
    ((section, entries),) = fix.items()
    return plan | {section: [*plan.get(section, ()), *entries]}


# -- slides

SLIDE = {"from": "1:3", "to": "2:1", "glide": "20%", "swell": "3 dB"}


def sliding(**changes) -> dict:
    return {"glissandi": [SLIDE | changes]}


def test_a_plain_slide_earns_nothing():
    made = reading(sliding(), guitar("c4:2 a4:2 c5:4"))
    assert len(made.performance.glides) == 1 and made.performance.notes["fret"].min() > 0
    assert [remark.code for remark in check(made)] == []


def test_a_slide_from_an_open_string():
    made, plan = guitar("c4:2 e4:2 g4:4"), sliding() | {"strings": [{"at": "1:3", "string": 1}]}
    (remark,) = told("slide-from-open", reading(plan, made))
    assert (remark.severity, remark.bar, remark.beat, remark.pass_) == (Severity.CAUTION, 1, 3, 1)
    assert "strings 2, 3 or 4 can take both notes stopped" in remark.message
    assert remark.suggestion == "strings: [{at: 1:3, string: 2}, {at: 2:1, string: 2}]"
    again = reading(mended(plan, remark), made)
    assert told("slide-from-open", again) == [] and told("slide-two-strings", again) == []
    assert told("slide-from-open", reading(plan, guitar("c4:2 f4:2 g4:4"))) == []  # fret 1


def test_a_slide_from_the_lowest_open_string_is_better_left_out():
    (remark,) = told("slide-from-open", reading(sliding(), guitar("c4:2 e2:2 g2:4")))
    assert "no string can take both notes stopped" in remark.message
    assert remark.suggestion == "leave the slide out"


def test_a_slide_from_a_low_voice_is_put_on_a_string_by_its_voice():
    made = guitar({1: "c5:2 c5:2 d5:4", 2: "c4:2 g3:2 a3:4"})
    plan = sliding(**{"for": "voice 2"}) | {"strings": [{"at": "1:3", "for": "voice 2", "string": 3}]}
    (remark,) = told("slide-from-open", reading(plan, made))
    assert yaml(remark.suggestion)["strings"][0] == {"at": "1:3", "for": "voice 2", "string": 4}
    assert told("slide-from-open", reading(mended(plan, remark), made)) == []


def test_a_slide_between_two_strings():
    made = guitar("c4:2 c4:2 e4:4")
    plan = sliding() | {"strings": [{"at": "1:3", "string": 3}, {"at": "2:1", "string": 2}]}
    (remark,) = told("slide-two-strings", reading(plan, made))
    assert "from string 3 to string 2" in remark.message and remark.severity is Severity.CAUTION
    assert told("slide-two-strings", reading(mended(plan, remark), made)) == []
    same = sliding() | {"strings": [{"at": "1:3", "string": 3}, {"at": "2:1", "string": 3}]}
    assert told("slide-two-strings", reading(same, made)) == []


def test_a_slide_that_no_string_can_take():
    (remark,) = told("slide-two-strings", reading(sliding(), guitar("c4:2 f2:2 c5:4")))
    assert "no string can take both notes" in remark.message and remark.suggestion == "leave the slide out"


@pytest.mark.parametrize(
    ("tempo", "glide", "suggested"),
    [
        (240, "50%", None),  # half of a note of half a second
        (240, "51%", "50%"),
        (60, "20%", None),  # 0.4 s of two
        (60, "21%", "20%"),
        (50, "20%", "16%"),  # 0.48 s of 2.4: 16.7 %
        (60, "100%", "20%"),
    ],
)
def test_a_slide_in_which_every_fret_is_heard(tempo, glide, suggested):
    made, plan = guitar("c4:2 a4:2 c5:4"), sliding(glide=glide) | {"tempo": tempo}
    remarks = told("slide-long", reading(plan, made))
    assert [yaml(remark.suggestion)["glide"] for remark in remarks] == ([suggested] if suggested else [])
    for remark in remarks:
        assert (remark.severity, remark.bar, remark.beat) == (Severity.CAUTION, 1, 3)
        assert told("slide-long", reading(mended(plan, remark), made)) == []


def test_a_slide_into_an_open_string():
    made = guitar("c4:2 g4:2 e4:4")
    open_, stopped = ({"strings": [{"at": "1:3", "string": 1 + n}, {"at": "2:1", "string": 1 + n}]} for n in (0, 1))
    (remark,) = told("slide-to-open", reading(sliding() | open_, made))
    assert "string: 2" in remark.suggestion
    assert told("slide-to-open", reading(sliding() | stopped, made)) == []


def test_a_slide_of_one_fret_has_none_in_between():
    for line, codes in (("c4:2 a4:2 a#4:4", []), ("c4:2 a4:2 b4:4", ["slide-long"])):
        made = reading(sliding(glide="60%"), guitar(line))
        assert [remark.code for remark in told("slide-long", made)] == codes


def test_the_suggested_glide_fits_the_slowest_time_through():
    plan = sliding(glide="30%") | {"order": ["1-2", "1-2"], "tempo": [{"tempo": 60}, {"over": "2", "tempo": 40}]}
    made = guitar("c4:2 a4:2 c5:4")
    remarks = told("slide-long", reading(plan, made))
    assert len(remarks) == 1  # the same place, whichever the pass
    assert told("slide-long", reading(mended(plan, remarks[0]), made)) == []


def test_a_slide_without_a_swell():
    made = guitar("c4:2 a4:2 c5:4")
    for plan in (sliding(swell="0 dB"), {"glissandi": [{"from": "1:3", "to": "2:1", "glide": "20%"}]}):
        (remark,) = told("slide-no-swell", reading(plan, made))
        assert remark.severity is Severity.CAUTION and yaml(remark.suggestion)["swell"] == "3 dB"
        assert told("slide-no-swell", reading(mended(plan, remark), made)) == []
    assert told("slide-no-swell", reading(sliding(swell="0.1 dB"), made)) == []


def test_a_violin_may_slide_slowly_and_evenly():
    made = score(2, voices={1: "c4:2 a4:2 c5:4"}, program=40)
    codes = {remark.code for remark in check(reading(sliding(glide="100%", swell="0 dB"), made))}
    assert not {code for code in codes if code.startswith("slide-")}


def test_a_slide_is_judged_each_pass_and_by_the_entry_that_shapes_it():
    made = guitar("c4:2 a4:2 c5:4")
    again = {"order": ["1-2", "1-2"], "glissandi": [SLIDE | {"pass": 1}, SLIDE | {"pass": 2, "swell": "0 dB"}]}
    (remark,) = told("slide-no-swell", reading(again, made))
    assert remark.pass_ == 2 and yaml(remark.suggestion)["pass"] == 2
    again["glissandi"][1] = yaml(remark.suggestion)
    assert told("slide-no-swell", reading(again, made)) == []


def test_of_many_slides_the_first_few_are_told():
    made = guitar("c4:2 a4:2 " * 8, bars=8)
    plan = {"glissandi": [{"from": f"{bar}:1", "to": f"{bar}:3", "glide": "20%"} for bar in range(1, 9)]}
    remarks = told("slide-no-swell", reading(plan, made))
    assert [remark.bar for remark in remarks] == [1, 2, 3, 4]
    assert remarks[3].message == "and 5 more places like these (slide-no-swell)" and remarks[3].suggestion is None


# -- the plucking hand


def toned(*entries: tuple, **more) -> dict:
    return {"tone": [{"bars": bars, "tone": tone} for bars, tone in entries]} | more


SIXTEENTHS = guitar("c4:0.25 d4:0.25 f4:0.25 a4:0.25 " * 8)
EIGHTHS = guitar("c4:0.5 d4:0.5 f4:0.5 a4:0.5 " * 4)


@pytest.mark.parametrize(
    ("made", "tempo", "told_of"),
    [
        (SIXTEENTHS, 99, []),  # 152 ms
        (SIXTEENTHS, 101, [(2, 1)]),  # 149 ms
        (EIGHTHS, 199, []),
        (EIGHTHS, 201, [(2, 1)]),
    ],
)
def test_the_hand_needs_its_time(made, tempo, told_of):
    remarks = told("tone-too-quick", reading(toned(("2", "sul ponticello"), tempo=tempo), made))
    assert [(remark.bar, remark.beat) for remark in remarks] == told_of
    for remark in remarks:
        assert remark.severity is Severity.CAUTION
        assert "from naturale to sul ponticello at 2:1" in remark.message


def test_the_way_back_needs_time_too():
    plan = toned(("1:1 - 1:4", "sul tasto"), tempo=120)
    (remark,) = told("tone-too-quick", reading(plan, SIXTEENTHS))
    assert (remark.bar, remark.beat) == (2, 1) and "from sul tasto to naturale" in remark.message


@pytest.mark.parametrize(
    ("one", "other", "quick"), [("8 cm", "9.1 cm", 1), ("8 cm", "8.9 cm", 0), ("12 cm", "naturale", 0)]
)
def test_less_than_a_centimetre_is_no_move(one, other, quick):
    plan = toned(("1", one), ("2", other), tempo=120)
    assert len(told("tone-too-quick", reading(plan, SIXTEENTHS))) == quick


@pytest.mark.parametrize(
    ("first", "tempo", "bars"),
    [
        ("c4:0.25 " * 12 + "c4:0.5 c4:0.25 c4:0.25", 120, "1:4.5 - 1:4"),  # it begins after the longer note
        ("c4:0.25 " * 16, 120, None),  # later, in bar 2
    ],
)
def test_the_change_is_moved_to_where_there_is_time(first, tempo, bars):
    made = guitar(first + " c4:0.25 c4:0.25 c4:0.5 c4:1 c4:2")
    plan = toned(("2", "sul ponticello"), tempo=tempo)
    (remark,) = told("tone-too-quick", reading(plan, made))
    (entry,) = yaml(remark.suggestion)["tone"]
    assert entry["tone"] == ("sul ponticello" if bars else "naturale")
    assert entry["bars"] == (bars or "2:1 - 2:1")
    again = reading(mended(plan, remark), made)
    assert told("tone-too-quick", again) == []
    assert set(again.performance.notes["tone"].tolist()) == {0, 2}


def test_a_change_that_would_move_far_away_is_left_to_the_player():
    made = guitar("c4:0.25 " * 64, bars=4)
    (remark,) = told("tone-too-quick", reading(toned(("3-4", "sul tasto"), tempo=120), made))
    assert remark.suggestion is None  # the piece begins eight quarters before


def test_on_all_passes_alike_the_suggestion_is_for_all():
    made = guitar("c4:1 c4:1 c4:1 " + "c4:0.25 " * 8 + "c4:1 c4:1 c4:1")
    plan = toned(("2", "sul tasto"), order=["1-2", "1-2"], tempo=120)
    (remark,) = told("tone-too-quick", reading(plan, made))
    assert yaml(remark.suggestion)["tone"] == [{"bars": "1:4 - 1:4", "tone": "sul tasto"}]
    assert told("tone-too-quick", reading(mended(plan, remark), made)) == []


def test_in_a_duo_each_part_has_a_hand_of_its_own():
    made = score(2, voices={1: "c5:2 c5:1.875 e5:0.125 c5:4", 2: "c4:4 c4:4"}, parts=("One", "Two"), program=24)
    made.notes["part"] = made.notes["voice"] - 1
    plan = {"tone": [{"bars": "2", "tone": "sul tasto"}], "tempo": 60}
    (remark,) = told("tone-too-quick", reading(plan, made))
    assert yaml(remark.suggestion)["tone"][0]["for"] == "part 1"
    again = reading(mended(plan, remark), made)
    assert told("tone-too-quick", again) == []
    second = again.performance.notes[again.performance.notes["part"] == 1]
    assert second["tone"].tolist() == [0, 1]


def test_the_left_hand_moves_nothing():
    ligado = {"strings": [{"bars": "2:1 - 2:2", "ligado": True}]}
    plan = toned(("2:1.25 - 2:2", "sul ponticello"), tempo=120) | ligado
    assert told("tone-too-quick", reading(plan, SIXTEENTHS)) == []


def test_a_colour_needs_no_hand_on_other_instruments():
    made = score(2, voices={1: "c4:0.25 d4:0.25 f4:0.25 a4:0.25 " * 8}, program=40)
    assert told("tone-too-quick", reading(toned(("2", "bright"), tempo=200), made)) == []


def test_what_both_voices_pluck_counts():
    made = guitar({1: "c5:4 c5:4", 2: "c3:3.875 d3:0.125 c3:4"})
    (remark,) = told("tone-too-quick", reading(toned(("2", "sul tasto")), made))
    assert "125 ms after the last note" in remark.message
    alone = guitar({1: "c5:4 c5:4", 2: "c3:3.75 d3:0.25 c3:4"})
    assert told("tone-too-quick", reading(toned(("2", "sul tasto")), alone)) == []


def test_a_change_on_one_pass_is_told_for_that_pass():
    plan = {"order": ["1-2", "1-2"], "tempo": 120, "tone": [{"bars": "2:1", "tone": "sul tasto", "pass": 2}]}
    remarks = told("tone-too-quick", reading(plan, SIXTEENTHS))
    assert [(remark.bar, remark.beat, remark.pass_) for remark in remarks] == [(2, 1, 2), (2, 2, 2)]


def test_a_tone_of_the_second_time_is_moved_only_where_it_can_be():
    made = guitar("c4:1 c4:1 c4:1 " + "c4:0.25 " * 4 + "c4:0.25 " * 4 + "c4:1 c4:1 c4:1")
    plan = {"order": ["1-2", "1-2"], "tempo": 120, "second time": [{"bars": "2", "tone": "sul tasto"}]}
    (remark,) = told("tone-too-quick", reading(plan, made))
    assert remark.pass_ == 2 and yaml(remark.suggestion)["tone"][0]["bars"] == "1:4 - 1:4"
    assert told("tone-too-quick", reading(mended(plan, remark), made)) == []


def test_two_tones_at_once_are_two_hands():
    made = guitar({1: "c5:2 c5:2", 2: "c3:2 c3:2"}, bars=1)
    plan = {"tone": [{"bars": "1:3", "tone": "sul tasto", "for": "voice 1"}]}
    (remark,) = told("tone-two-places", reading(plan, made))
    assert (remark.severity, remark.bar, remark.beat) == (Severity.CAUTION, 1, 3)
    assert "as naturale and as sul tasto" in remark.message or "as sul tasto and as naturale" in remark.message
    assert yaml(remark.suggestion) == {"tone": [{"at": "1:3", "tone": "sul tasto"}]}
    assert told("tone-two-places", reading(mended(plan, remark), made)) == []
    assert told("tone-too-quick", reading(plan, made)) == []
    apart = guitar({1: "c5:2 c5:2", 2: "c3:1 c3:3"}, bars=1)
    assert told("tone-two-places", reading(plan, apart)) == []


def test_a_rolled_chord_and_a_leading_melody_are_one_stroke():
    rolled = guitar("c3+g3+e4+c5:2~ " * 4)
    wide = {"articulation": {"roll": "200 ms"}, "tempo": 60}
    assert told("tone-too-quick", reading(toned(("2", "sul tasto")) | wide, rolled)) == []
    lead = {"voices": {"voice 1": {"lead": "50 ms"}}}
    both = guitar({1: "c5:1 " * 8, 2: "c3:1 " * 8})
    assert told("tone-too-quick", reading(toned(("2", "sul tasto")) | lead, both)) == []
    torn = {"tone": [{"bars": "2:1", "tone": "sul tasto", "for": "voice 1"}]}
    assert len(told("tone-two-places", reading(torn | lead, both))) == 1


def test_what_is_rolled_to_the_end_leaves_no_time():
    rolled = guitar("c3+g3+e4+c5:0.5~ c5:0.5 c5:1 c5:2 " * 2)
    wide = {"articulation": {"roll": "80 ms"}, "tempo": 60}  # plucked for 240 ms of the 500
    plan = toned(("1:1.5 - 2:4", "sul tasto")) | wide
    assert told("tone-too-quick", reading(plan, rolled)) == []
    (remark,) = told("tone-too-quick", reading(plan | {"tempo": 110}, rolled))
    assert "136 ms after the last note" in remark.message  # rolled for half of the eighth, 273 ms


@settings(max_examples=60, deadline=None)
@given(
    lengths=st.lists(st.sampled_from([0.25, 0.5, 1.0]), min_size=4, max_size=20),
    start=st.integers(1, 12),
    tone=st.sampled_from(["sul tasto", "sul ponticello", "6 cm"]),
    tempo=st.integers(80, 140),
)
def test_every_suggestion_for_a_tone_gives_the_hand_its_time(lengths, start, tone, tempo):
    made = guitar(" ".join(f"c4:{length}" for length in lengths), bars=int(np.ceil(sum(lengths) / 4)))
    at = 0.25 * (start % int(4 * sum(lengths)))
    bar, beat = int(at // 4) + 1, 1 + at % 4
    plan = {"tempo": tempo, "tone": [{"bars": f"{bar}:{beat:g} - {len(made.bars)}:4", "tone": tone}]}
    for _ in range(3):
        remarks = told("tone-too-quick", reading(plan, made))
        if not remarks or remarks[0].suggestion is None:
            break
        (first, *_), before = remarks, len(remarks)
        plan = mended(plan, first)
        after = told("tone-too-quick", reading(plan, made))
        assert len(after) < before
        assert (first.bar, first.beat) not in [(remark.bar, remark.beat) for remark in after]


def test_the_times_are_in_their_order():
    assert 0 < TOGETHER < MOVE_TIME
