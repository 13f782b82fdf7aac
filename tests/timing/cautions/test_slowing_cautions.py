"""The rules for slowdowns: a case that earns each, one that just misses it, and what its fix makes of the plan."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from judged import entries_of, in_file, mended, told
from slowed import EIGHT, FOUR, NESTED, PLACE, TWOS, found
from support import reading

from timing.cautions import check
from timing.remarks import Severity

# -- the slowdown in the middle of a phrase


def test_passes():
    """Bars 1-4 are one phrase the first time and the first half of a longer one the second time."""
    plan = {
        "order": ["1-6", "1-6"],
        "phrases": [{"bars": "1-4", "pass": 1}, {"bars": "1-6", "pass": 2}],
        "slowing": [{"rallentando": "3:1 - 4:1", "to": "70%", "then": "a tempo"}],
    }
    (remark,) = found("slowing-mid-phrase", plan, bars=8)
    assert (remark.bar, remark.beat, remark.pass_, remark.severity) == (4, 1, 2, Severity.CAUTION)
    first = plan | {"slowing": [plan["slowing"][0] | {"pass": 1}]}
    assert found("slowing-mid-phrase", first, bars=8) == []


def test_one_entry_is_told_once_though_it_is_heard_twice():
    plan = FOUR | {"order": ["1-8", "1-8"], "slowing": [{"rallentando": "1:1 - 2:1", "to": "70%", "then": "a tempo"}]}
    (remark,) = found("slowing-mid-phrase", plan, bars=8)
    assert remark.pass_ == 1


def test_the_gravest_hearing_of_an_entry_is_told():
    tempi = [{"tempo": 60}, {"at": 1, "tempo": 80, "pass": 2}, {"over": "5:1 - 6:2", "tempo": 50}]
    plan = FOUR | {"order": ["1-8", "1-8"], "tempo": tempi}
    (remark,) = found("slowing-mid-phrase", plan, bars=8)
    assert (remark.severity, remark.pass_) == (Severity.CAUTION, 2)  # 50 of 60 were advice
    tempi[1] |= {"pass": 1}
    tempi.insert(2, {"at": 1, "tempo": 60, "pass": 2})
    (remark,) = found("slowing-mid-phrase", plan, bars=8)
    assert (remark.severity, remark.pass_) == (Severity.CAUTION, 1)


def test_an_end_that_slows_already_is_not_offered():
    middle = {"rallentando": "5:1 - 6:2", "to": "70%", "then": "a tempo"}
    ends = [{"rallentando": f"{bar}:1 - {bar}:4", "to": "90%", "then": "a tempo"} for bar in (4, 8)]
    (remark,) = found("slowing-mid-phrase", in_file(FOUR | {"slowing": [middle, ends[0]]}), bars=8)
    assert "the nearest phrase end that does not slow yet is at 8:4" in remark.message
    assert entries_of(remark) == [middle | {"rallentando": "7:3 - 8:4"}]
    (remark,) = found("slowing-mid-phrase", in_file(FOUR | {"slowing": [middle, *ends]}), bars=8)
    assert remark.message.endswith("; every phrase end where it could stand slows already") and not remark.fix


def test_what_the_musician_reads():
    slow = {"rallentando": "5:1 - 6:2", "to": "70%", "then": "a tempo", "why": "a sigh"}
    (remark,) = found("slowing-mid-phrase", in_file(NESTED | {"slowing": [slow]}), bars=8)
    assert remark.message == (
        "the rallentando 5:1 - 6:2 is slowest at 6:2, 38% of the way through the phrase 5-8, whose own end does not "
        "slow: it may be heard as an ending; the nearest phrase end is at 4:4"
    )
    assert remark.suggestion == "{rallentando: 3:3 - 4:4, to: 70%, then: a tempo, why: a sigh}"
    assert (remark.bar, remark.beat, remark.pass_) == (6, 2, 1)


def test_a_long_phrase_may_have_a_smaller_one_inside_it():
    plan = EIGHT | {"slowing": [{"rallentando": "3:3 - 4:4", "to": "70%", "then": "a tempo"}]}
    (remark,) = found("slowing-mid-phrase", plan, bars=8)
    assert "(if a smaller phrase ends at 4:4, say so with 'inside')" in remark.message


@pytest.mark.parametrize(("bars", "long"), [("1-6", False), ("1-7", True)])
def test_a_phrase_of_more_than_six_bars_is_long(bars, long):
    slow = {"rallentando": "3:1 - 3:4", "to": "70%", "then": "a tempo"}
    (remark,) = found("slowing-mid-phrase", {"phrases": [{"bars": bars}], "slowing": [slow]}, bars=8)
    assert ("say so with 'inside'" in remark.message) is long


def test_a_slowdown_that_a_later_one_cuts_is_judged_where_it_is_cut():
    slowing = [
        {"rallentando": "1:1 - 4:4", "to": "60%", "then": "a tempo"},
        {"rallentando": "2:1 - 4:4", "to": "70%", "then": "a tempo"},
    ]
    (remark,) = found("slowing-mid-phrase", FOUR | {"slowing": slowing}, bars=8)
    assert (remark.bar, remark.beat) == (1, 4)


def test_a_slowdown_stays_on_its_side_of_a_repeat():
    slow = {"rallentando": "1:1 - 1:4", "to": "70%", "then": "a tempo", "pass": 2}
    plan = in_file(FOUR | {"order": ["1-8", "1-8"], "slowing": [slow]})
    (remark,) = found("slowing-mid-phrase", plan, bars=8)
    assert entries_of(remark) == [slow | {"rallentando": "4:1 - 4:4"}]  # bar 8 was just heard, on pass 1
    assert "the nearest phrase end is at 4:4" in remark.message
    assert found("slowing-mid-phrase", mended(plan, remark), bars=8) == []


def test_the_moved_slowdown_does_not_start_before_the_music_it_stands_in():
    """At the end of bar 2 the order has just come back to bar 1: there is no room for three bars of slowing."""
    plan = {
        "order": ["5-8", "1-8"],
        "phrases": [{"bars": "5-8"}, {"bars": "1:1 - 2:4"}],
        "slowing": [{"rallentando": "1:1 - 3:4", "to": "70%"}],
    }
    reading_ = reading(plan, bars=8)
    assert [r.code for r in check(reading_) if r.severity is Severity.ERROR] == []


positions = st.tuples(st.integers(1, 12), st.integers(1, 4)).map(lambda at: 4 * at[0] + at[1])


@given(
    st.sampled_from(
        [
            ["1-4", "5-8", "9-12"],
            [{"bars": "1-8", "inside": ["1-4", "5-8"]}, "9-12"],
            [{"bars": "1-12", "inside": ["1-3", "4-8", "9-12"]}],
            ["1-12"],
            ["1:3 - 5:2", "5:3 - 8:2", "8:3 - 12:4"],
            [{"bars": "1-4", "inside": ["1-2", "3-4"]}, {"bars": "5-12", "inside": ["5-6", "7-12"]}],
        ]
    ),
    positions,
    st.integers(1, 12),
    st.sampled_from(["rallentando", "ritenuto", "allargando"]),
    st.sampled_from([{}, {"to": "60%"}, {"to": "95%", "pass": 1}, {"curvature": 2, "then": "a tempo by 12:4"}]),
    st.sampled_from([None, ["1-12"], ["1-8", "1-12"], ["1-12", "5-8"]]),
)
def test_the_suggestion_reads_back_and_mends_the_plan(phrases, end, beats, kind, more, order):
    start = max(end - beats, 5)
    where = f"{(start - 1) // 4}:{(start - 1) % 4 + 1} - {(end - 1) // 4}:{(end - 1) % 4 + 1}"
    if end >= 51:  # too late to be back by 12:4
        more = {key: value for key, value in more.items() if key != "then"}
    plan = {
        "phrases": [p if isinstance(p, dict) else {"bars": p} for p in phrases],
        "slowing": [{kind: where} | more],
    }
    if order:
        plan["order"] = order
    plan = in_file(plan)
    for remark in check(reading(plan, bars=12)):
        if remark.code in PLACE:
            again = check(reading(mended(plan, remark), bars=12))
            assert not [r for r in again if r.code in (*PLACE, "never-heard") or r.severity == "error"]


def offered(slow: dict, **more) -> list:
    """What is offered for one slowdown in the middle of a phrase."""
    plan = in_file(FOUR | {"slowing": [{"to": "70%"} | slow]} | more)
    (remark,) = found("slowing-mid-phrase", plan, bars=8)
    return entries_of(remark)


def test_of_two_ends_as_near_the_later_one_is_offered():
    """Two bars from 6:4 to either end."""
    assert offered({"rallentando": "6:1 - 6:4", "then": "a tempo"}) == [
        {"rallentando": "8:1 - 8:4", "to": "70%", "then": "a tempo"}
    ]


def test_the_end_at_which_the_order_goes_back_is_near():
    """A beat and a bar from 7:3 on pass 1 lies the end of bar 8, where the repeat begins; bar 4 lies farther away."""
    slow = {"rallentando": "6:4 - 7:2", "then": "a tempo", "pass": 1}
    assert offered(slow, order=["1-8", "1-8"]) == [slow | {"rallentando": "8:2 - 8:4", "to": "70%"}]


def test_a_slowdown_that_stays_slow_does_so_where_it_is_moved():
    assert offered({"rallentando": "5:1 - 6:2"}) == [{"rallentando": "3:3 - 4:4", "to": "70%"}]


def test_a_slowdown_is_not_moved_to_an_end_that_one_pass_does_not_hear():
    """The first time bar 4 ends a phrase, the second time bar 6 does: what slows on both goes to bar 6."""
    plan = in_file(
        {
            "order": ["1-6", "1-6"],
            "phrases": [{"bars": "1-4", "pass": 1}, {"bars": "1-6", "pass": 2}],
            "slowing": [{"rallentando": "2:1 - 2:2", "to": "70%", "then": "a tempo"}],
        }
    )
    (remark,) = found("slowing-mid-phrase", plan, bars=6)
    assert entries_of(remark) == [{"rallentando": "6:3 - 6:4", "to": "70%", "then": "a tempo"}]
    assert found("slowing-mid-phrase", mended(plan, remark), bars=6) == []


def test_of_one_pass_only_the_ends_of_that_pass_count():
    """Bar 4 ends a phrase the first time alone, and the slowdown is of the first time alone."""
    slow = {"rallentando": "2:1 - 2:2", "to": "70%", "then": "a tempo", "pass": 1}
    phrases = [{"bars": "1-4", "pass": 1}, {"bars": "1-6", "pass": 2}]
    plan = in_file({"order": ["1-6", "1-6"], "phrases": phrases, "slowing": [slow]})
    (remark,) = found("slowing-mid-phrase", plan, bars=6)
    assert entries_of(remark) == [slow | {"rallentando": "4:3 - 4:4"}]


def test_an_end_that_is_heard_once_is_none_of_the_second_time():
    """The second time the order goes on after bar 4, which slows already, to bar 8, which has no second time."""
    slow = {"rallentando": "2:1 - 2:2", "to": "70%", "then": "a tempo", "pass": 2}
    end = {"rallentando": "4:1 - 4:4", "to": "90%", "then": "a tempo"}
    plan = in_file(FOUR | {"order": ["1-4", "1-8"], "slowing": [slow, end]})
    (remark,) = found("slowing-mid-phrase", plan, bars=8)
    assert remark.fix == () and remark.message.endswith("every phrase end where it could stand slows already")


@pytest.mark.parametrize("where", ["5:1 - 6:4", "3:1 - 4:2"])
def test_an_end_between_other_changes_of_pace_is_free(where):
    """One begins when the moved slowdown is over; the other one is over when it begins."""
    slow, other = {"rallentando": "2:1 - 2:2", "then": "a tempo"}, {"accelerando": where, "then": "a tempo"}
    plan = in_file(FOUR | {"slowing": [slow | {"to": "70%"}, other]})
    (remark,) = found("slowing-mid-phrase", plan, bars=8)
    assert entries_of(remark) == [slow | {"rallentando": "4:3 - 4:4", "to": "70%"}]


@pytest.mark.parametrize(("to", "words"), [("95%", "slows to 95% only"), ("96%", "does not slow")])
def test_it_is_said_how_much_the_own_end_of_the_phrase_slows(to, words):
    slowing = [{"rallentando": "5:1 - 6:2", "to": "70%", "then": "a tempo"}, {"rallentando": "8:1 - 8:4", "to": to}]
    (remark,) = found("slowing-mid-phrase", FOUR | {"slowing": slowing}, bars=8)
    assert f"through the phrase 5-8, whose own end {words}: it may be heard" in remark.message


# -- a slower tempo that is reached by degrees


def slower(over: str, tempo: object = 40, *later: dict) -> dict:
    return FOUR | {"tempo": [{"tempo": 60}, {"over": over, "tempo": tempo}, *later]}


@pytest.mark.parametrize(
    ("over", "tempo", "expected"),
    [
        ("2:1 - 2:3", 40, ["caution"]),
        ("3:1 - 4:4", 40, []),
        ("2:1 - 2:3", "80%", ["caution"]),
        ("2:1 - 2:3", "90%", ["advice"]),
        ("2:1 - 2:3", "91%", []),
        ("2:1 - 2:3", 80, []),  # faster
        ("2:1 - 2:3", 60, []),  # as fast
    ],
)
def test_a_gradual_tempo_that_falls_is_judged_as_a_slowdown(over, tempo, expected):
    assert [str(r.severity) for r in found("slowing-mid-phrase", slower(over, tempo))] == expected


def test_a_gradual_tempo_is_moved_with_the_return_that_follows_it():
    plan = in_file(slower("5:1 - 6:2", 40, {"at": "6:3", "tempo": "tempo primo"}))
    (remark,) = found("slowing-mid-phrase", plan)
    assert "the slower tempo over 5:1 - 6:2 is slowest at 6:2" in remark.message
    assert entries_of(remark) == [{"over": "3:3 - 4:4", "tempo": 40}, {"at": "5:1", "tempo": "tempo primo"}]
    made = reading(mended(plan, remark))
    assert told("slowing-mid-phrase", made) == []
    assert made.performance.time.tempo([0.0, 16.0, 20.0]).tolist() == pytest.approx([60, 60, 60])
    assert float(made.performance.time.tempo(16.0, before=True)) == pytest.approx(40)


def test_a_slower_tempo_that_stays_is_moved_alone():
    plan = in_file(slower("5:1 - 6:2", 40, {"at": "8", "tempo": 60}))
    (remark,) = found("slowing-mid-phrase", plan)
    assert entries_of(remark) == [{"over": "3:3 - 4:4", "tempo": 40}]
    assert found("slowing-mid-phrase", mended(plan, remark)) == []


def test_only_the_tempo_that_follows_within_a_beat_is_moved_along():
    plan = in_file(slower("5:1 - 6:2", 40, {"at": "6:4", "tempo": 60}))  # a beat after it is slowest
    (remark,) = found("slowing-mid-phrase", plan)
    assert entries_of(remark) == [{"over": "3:3 - 4:4", "tempo": 40}, {"at": "5:1", "tempo": 60}]
    plan = in_file(slower("5:1 - 6:2", 40, {"at": "6:3", "tempo": 50}, {"at": "6:4", "tempo": 60}))
    (remark,) = found("slowing-mid-phrase", plan)
    assert entries_of(remark) == [{"over": "3:3 - 4:4", "tempo": 40}, {"at": "5:1", "tempo": 50}]


def test_after_the_last_bar_no_tempo_comes_back():
    plan = in_file(slower("7:1 - 7:2", 40, {"at": "7:3", "tempo": 60}))
    (remark,) = found("slowing-mid-phrase", plan, bars=8)
    assert entries_of(remark) == [{"over": "8:3 - 8:4", "tempo": 40}]


# -- over the end of a phrase


def codes(plan: dict, where: str, **options) -> list[str]:
    made = reading(plan | {"slowing": [{"rallentando": where, "to": "70%", "then": "a tempo"}]}, **options)
    return [remark.code for remark in check(made) if remark.code in PLACE]


@pytest.mark.parametrize(
    ("plan", "where", "expected"),
    [
        (FOUR, "3:1 - 5:2", []),  # two beats after the end
        (FOUR, "3:1 - 5:3", ["slowing-over-end"]),
        (FOUR, "4:4 - 5:3", ["slowing-over-end"]),
        (FOUR, "5:1 - 5:3", ["slowing-mid-phrase"]),  # begins with the phrase
        (FOUR, "3:1 - 8:4", []),  # a long one, to the end of the next phrase
        (FOUR, "3:1 - 7:4", ["slowing-over-end"]),
        (FOUR, "3:1 - 8:1", []),
        (NESTED, "3:1 - 5:3", ["slowing-over-end"]),
        (EIGHT, "3:1 - 5:3", ["slowing-mid-phrase"]),  # no phrase ends there
        (TWOS, "2:3 - 3:3", ["slowing-over-end"]),
        ({"phrases": [{"bars": "1-4"}]}, "3:1 - 5:3", []),  # no phrase has begun
    ],
)
def test_a_slowdown_that_runs_over_an_end_is_told_once(plan, where, expected):
    assert codes(plan, where) == expected


@pytest.mark.parametrize(
    ("where", "instead"),
    [
        ("3:1 - 5:3", "3:1 - 4:4"),  # its beginning stays
        ("4:2 - 5:3", "4:2 - 4:4"),
        ("4:4 - 5:3", "4:1 - 4:4"),  # less than half of it would be left: it is moved
        ("4:3 - 5:3", "3:4 - 4:4"),  # two beats of five
    ],
)
def test_what_runs_over_an_end_is_to_end_there(where, instead):
    plan = in_file(FOUR | {"slowing": [{"rallentando": where, "to": "70%", "then": "a tempo"}]})
    (remark,) = found("slowing-over-end", plan)
    assert remark.severity is Severity.CAUTION
    assert "runs over the phrase end at 4:4 and is slowest only at 5:3" in remark.message
    assert entries_of(remark) == [{"rallentando": instead, "to": "70%", "then": "a tempo"}]
    assert [r.code for r in check(reading(mended(plan, remark))) if r.code in PLACE] == []


def test_it_is_to_end_where_it_has_run_over_though_the_next_end_is_nearer():
    """From 7:1 it is seven beats to the end of bar 8, and nine back to that of bar 4."""
    plan = in_file(FOUR | {"slowing": [{"rallentando": "1:1 - 7:1", "to": "70%", "then": "a tempo"}]})
    (remark,) = found("slowing-over-end", plan)
    assert entries_of(remark) == [{"rallentando": "1:1 - 4:4", "to": "70%", "then": "a tempo"}]
