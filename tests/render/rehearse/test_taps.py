"""Taps as a page sends them: the beats to be tapped, what a tapping comes to, and what is taken of it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from support import reading, score

from render.rehearse import taps
from timing.plan.planfile import read_plan
from timing.reading import perform
from timing.remarks import CannotDo

PLAYED = {
    "tempo": 72,
    "phrases": ["1-4", "5-8"],
    "slowing": [
        {"rallentando": "7:1 - 8:4", "to": "65%"},
        {"rallentando": "3:1 - 4:4", "to": "80%", "then": "a tempo"},
    ],
    "holds": [{"breath": "after 4:4", "seconds": 0.6}],
}
BARE = """\
# at the quay
score: quay.musicxml
tempo: 60   # to be found
phrases: [1-4, 5-8]
slowing:
  - {ritenuto: 2:3 - 2:4, to: 70%, then: a tempo}   # an older idea
"""


@pytest.fixture(scope="module")
def bare(tmp_path_factory):
    """The plan in its file, and its reading."""
    file = tmp_path_factory.mktemp("quay") / "quay.yaml"
    file.write_text(BARE, encoding="utf-8")
    (file.parent / "quay.musicxml").write_text("", encoding="utf-8")
    return file, perform(score(), read_plan(file))


def tapping(noise: float = 0.010, seed: int = 5) -> list[float]:
    """Taps on all beats of the reading as it is to be played, and on the end, as somebody taps who scatters so far."""
    played = reading(PLAYED)
    quarters = np.arange(33.0)
    seconds = played.performance.time.seconds(quarters)
    return (seconds + np.random.default_rng(seed).normal(0, noise, len(seconds)) + 3.0).tolist()


def asked(what: str = "fit", **more) -> dict:
    return {"do": "taps", "what": what, "number": 4, "unit": "beat", "since": 0.0, "until": None, "ended": True, **more}


@pytest.fixture(scope="module")
def fitted(bare):
    return taps.answer(bare[1], asked(seconds=tapping(), noise=0.01))


# -- the beats


def test_the_beats_to_be_tapped_are_told_as_places(bare):
    told = taps.answer(bare[1], asked("beats", since=8.0))
    assert told["what"] == "beats" and told["number"] == 4
    assert [(beat["bar"], beat["beat"]) for beat in told["beats"][:5]] == [
        ("3", 1.0), ("3", 2.0), ("3", 3.0), ("3", 4.0), ("4", 1.0)]  # fmt: skip
    assert len(told["beats"]) == 24
    assert (told["clicks"], told["apart"]) == (4, 1.0)


def test_half_bars_are_counted_in_by_their_own_clicks(bare):
    told = taps.answer(bare[1], asked("beats", unit="half bar"))
    assert (len(told["beats"]), told["clicks"], told["apart"]) == (16, 4, 2.0)


def test_from_the_last_bar_there_is_too_little_to_tap(bare):
    with pytest.raises(CannotDo, match="too little to tap"):
        taps.answer(bare[1], asked("beats", since=29.0))


# -- what taps come to


def test_taps_of_a_reading_come_to_its_entries(fitted):
    words = [entry["words"] for entry in fitted["entries"]]
    assert words[0] == f"tempo {fitted['tempo']:g}" and abs(fitted["tempo"] - 72) <= 2
    (last, *_) = [entry for entry in fitted["entries"] if entry["section"] == "slowing" and entry["end"]["bar"] == "8"]
    assert last["words"].startswith("rallentando") and last["sure"] > 0.9
    goes_to = int(last["words"].split(" to ")[1].split("%")[0])
    assert abs(goes_to - 65) <= 8
    held = [entry for entry in fitted["entries"] if entry["section"] == "holds"]
    assert [entry["start"]["bar"] for entry in held] == ["4"]
    assert fitted["explained"] > 0.9


def test_each_entry_says_how_much_it_explains_and_how_sure_it_is(fitted):
    for entry in fitted["entries"]:
        assert 0 <= entry["explains"] <= 1 and 0 <= entry["sure"] <= 1
        assert entry["start"]["quarter"] <= entry["end"]["quarter"]


def test_the_taps_are_points_of_pace_around_the_fitted_tempo(fitted):
    points = fitted["points"]
    assert len(points) == 32
    steady = [point["pace"] for point in points if point["bar"] in ("1", "2", "5", "6")]
    assert np.mean(steady) == pytest.approx(1.0, abs=0.03)
    assert points[-1]["pace"] < 0.8
    assert (points[0]["row"], points[0]["offset"], points[0]["pass"]) == (0, 0.5, 1)


def test_taps_that_stop_early_end_on_their_last_beat(bare):
    told = taps.answer(bare[1], asked(seconds=tapping()[:16], noise=0.01, until=16.0, ended=False))
    assert len(told["points"]) == 15 and told["points"][-1]["bar"] == "4"
    assert not [entry for entry in told["entries"] if entry["end"]["row"] > 3]


def test_a_long_beat_is_asked_about_and_the_answer_counts(bare):
    seconds = tapping()
    (question,) = taps.answer(bare[1], asked(seconds=[*seconds[:10], *seconds[11:]], noise=0.01))["questions"][:1]
    assert question["tap"] == 9 and question["beats"] == [1, 2]
    answered = asked(seconds=[*seconds[:10], *seconds[11:]], noise=0.01, answers=[[9, 2]])
    told = taps.answer(bare[1], answered)
    assert 9 not in [each["tap"] for each in told["questions"]]
    assert len(told["points"]) == 31  # of two beats one point
    assert len([point for point in told["points"] if point["bar"] == "3"]) == 3


def test_what_the_plan_says_of_the_same_bars_is_told(fitted):
    assert [each["name"] for each in fitted["standing"]] == [
        "tempo 60", "ritenuto 2:3 - 2:4, to 70%, then a tempo"]  # fmt: skip


# -- what is taken


def test_what_is_taken_stands_in_the_text_and_the_rest_stays(bare, fitted):
    file, made = bare
    names = [entry["name"] for entry in fitted["entries"]]
    leave = [each["name"] for each in fitted["standing"]]
    text = taps.changed(made, BARE, file, asked("take", seconds=tapping(), noise=0.01, take=names, leave=leave))
    assert text.startswith("# at the quay\nscore: quay.musicxml\n") and "# to be found" in text
    assert "ritenuto: 2:3" not in text
    plan = read_plan(file, text)
    assert {kind.kind for kind in plan.slowing} == {"rallentando"}
    assert len(plan.holds) == 1 and plan.tempo[0].tempo == fitted["tempo"]
    # and what is heard then is what was tapped
    again = perform(score(), plan).performance.time.seconds(np.arange(33.0))
    tapped = np.array(tapping(0.0)) - 3.0
    assert np.abs(np.diff(again) - np.diff(tapped)).max() < 0.12


def test_one_entry_alone_can_be_taken(bare, fitted):
    file, made = bare
    name = next(entry["name"] for entry in fitted["entries"] if entry["section"] == "holds")
    text = taps.changed(made, BARE, file, asked("take", seconds=tapping(), noise=0.01, take=[name]))
    assert "".join(line for line in text.splitlines(True) if line in BARE.splitlines(True)) == BARE
    assert len(read_plan(file, text).holds) == 1


def test_entries_that_the_taps_do_not_come_to_are_refused(bare):
    file, made = bare
    with pytest.raises(CannotDo, match="come to other entries"):
        taps.changed(made, BARE, file, asked("take", seconds=tapping(), noise=0.01, take=["rallentando 1-2, to 10%"]))


# -- whatever a page may send


@pytest.mark.parametrize(
    "message",
    [
        {"what": "dance"}, {"what": "fit", "seconds": "now"}, {"what": "fit", "seconds": [1, 2, None]},
        {"what": "fit", "seconds": [0.0] * 6000}, {"what": "fit", "seconds": [float("nan")] * 9},
        {"what": "fit", "since": -1.0}, {"what": "fit", "unit": "quaver"}, {"what": "fit", "latency": 9.0},
        {"what": "fit", "answers": [[1]]}, {"what": "fit", "answers": {"1": 2}}, {"what": "fit", "path": "/etc"},
        {"what": "take", "take": ["x" * 1000]}, {"what": "fit", "noise": 0.0}, {},
    ],
)  # fmt: skip
def test_what_is_no_message_about_taps_is_refused(bare, message):
    with pytest.raises(CannotDo, match="not as the page sends them"):
        taps.answer(bare[1], {"do": "taps", **message})


@pytest.mark.parametrize(
    ("message", "words"),
    [
        ({"seconds": [1.0, 2.0]}, "taps"),
        ({"seconds": [5.0, 4.0, 3.0, 2.0, 1.0]}, "before"),
        ({"seconds": [0.0] * 40}, "apart"),
        ({"seconds": [float(k) for k in range(9)], "since": 30.0}, "too few"),
        ({"seconds": [1e5 * k for k in range(10)]}, "a tempo can be"),
    ],
)
def test_taps_of_which_nothing_can_be_made_are_refused_in_words(bare, message, words):
    with pytest.raises(CannotDo, match=words):
        taps.answer(bare[1], asked(**message))


@given(
    st.lists(st.floats(0.05, 4.0), min_size=0, max_size=40),
    st.sampled_from(["beat", "half bar", "bar", "half beat"]),
    st.floats(0, 40),
    st.one_of(st.none(), st.floats(0, 40)),
    st.lists(st.tuples(st.integers(0, 40), st.integers(0, 20)).map(list), max_size=3),
)
@example([1.0] * 5, "beat", 0.0, None, [[0, 4]])
def test_any_taps_are_answered_or_refused(gaps, unit, since, until, answers):
    made = reading({"tempo": 60})
    message = asked(seconds=np.cumsum(gaps).tolist(), unit=unit, since=since, until=until, answers=answers)
    try:
        told = taps.answer(made, message)
    except CannotDo as refusal:
        assert str(refusal)
        return
    assert told["entries"][0]["section"] == "tempo"
    assert all(point["pace"] > 0 for point in told["points"])


@pytest.mark.parametrize(
    ("section", "entry", "words"),
    [
        ("tempo", {"tempo": 63}, "tempo 63"),
        ("tempo", {"at": "9", "tempo": "dotted quarter = 54", "pass": 2}, "tempo dotted quarter = 54 from 9, pass 2"),
        ("tempo", {"over": "9-10", "tempo": 70}, "tempo 70 over 9-10"),
        ("phrases", {"bars": "1-8", "arch": {"pace": "6%", "pace peak": "50%"}},
         "arch over 1-8, 6% faster at its height, highest after 50%"),
        ("phrases", {"bars": "1-8", "arch": {"pace": "6%"}}, "arch over 1-8, 6% faster at its height"),
        ("slowing", {"rallentando": "7-8", "to": "80%", "then": "a tempo", "why": "x"},
         "rallentando 7-8, to 80%, then a tempo"),
        ("holds", {"breath": "after 8", "seconds": 0.2, "pass": "last"}, "breath after 8, seconds 0.2, the last time"),
    ],
)  # fmt: skip
def test_entries_are_told_as_one_reads_them(section, entry, words):
    assert taps.in_words(section, entry) == words
