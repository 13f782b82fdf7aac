"""Open strings that stand out of their line, by level alone and by a sound of known numbers."""

from __future__ import annotations

from functools import partial
from types import SimpleNamespace

import judged
import numpy as np
import pytest
from judged import mended
from support import reading, score

from soundfonts import guitar as modelled
from timing.reading import Reading
from timing.remarks import CannotDo, Remark, Severity

guitar = partial(judged.guitar, bars=1)
LINE = "d4:1 e4:1 f4:1 d4:1"  # e4 is the first string


def sounding(louder: float = 0.0, brighter: float = 1.0) -> SimpleNamespace:
    """A sound whose open strings are so many dB louder and so many times as bright as what is stopped. Its brightness
    follows the pitch, and sul ponticello is twice as bright."""

    def brightness(string, tone, tuning, frets):
        frets = np.asarray(frets)
        pitch = tuning[string - 1] + frets
        return 500 * 2 ** (pitch / 24) * np.where(frets == 0, brighter, 1.0) * (2.0 if tone == 2 else 1.0)

    def loudness(string, tone, tuning, frets):
        return np.where(np.asarray(frets) == 0, louder, 0.0) - 6.0 * (tone == 3)

    return SimpleNamespace(brightness=brightness, loudness=loudness)


def told(made: Reading, sound=None) -> list[Remark]:
    return judged.told("open-string-out", made, sound)


def accent(by: float, at: str = "1:2") -> dict:
    return {"accents": [{"at": at, "by": f"{by} dB"}], "strings": [{"at": at, "string": 1}]}


@pytest.mark.parametrize(("by", "remarks"), [(3.0, 1), (2.9, 0)])
def test_without_a_sound_the_level_is_what_is_known(by, remarks):
    made, plan = guitar(LINE), accent(by)
    found = told(reading(plan, made))
    assert len(found) == remarks
    for remark in found:
        assert (remark.severity, remark.bar, remark.beat, remark.pass_) == (Severity.CAUTION, 1, 2, 1)
        assert "open string 1 at 1:2 stands out of the melody" in remark.message and "3.0 dB louder" in remark.message
        own = reading(plan, made).performance.notes["level"][1]
        assert f"3.0 dB softer, at {own - 3:.1f} dB, it would hide there" in remark.message
        assert remark.suggestion == "strings: [{at: 1:2, string: 2}]"
        assert told(reading(mended(plan, remark), made)) == []


@pytest.mark.parametrize(
    ("louder", "brighter", "severity"),
    [
        (3.01, 1.0, "caution"),
        (2.99, 1.0, "advice"),
        (2.51, 1.0, "advice"),
        (2.49, 1.0, None),
        (0.0, 1.42, "caution"),  # 20 log 1.42 = 3.05
        (0.0, 1.41, "advice"),
        (0.0, 1.33, None),  # 2.48
        (1.5, 1.2, "caution"),  # 1.5 + 1.58
        (-2.0, 1.42, None),
        (3.01, 0.5, "caution"),  # dull, but loud
    ],
)
def test_level_and_brightness_add_up(louder, brighter, severity):
    made, plan = guitar(LINE), accent(0)
    found = told(reading(plan, made), sounding(louder, brighter))
    assert [str(remark.severity) for remark in found] == ([severity] if severity else [])
    for remark in found:
        assert told(reading(mended(plan, remark), made), sounding(louder, brighter)) == []


def test_what_is_told_is_what_is_heard():
    (remark,) = told(reading(accent(1), guitar(LINE)), sounding(1.0, 1.2))
    assert "2.0 dB louder than the stopped notes beside it and 1.20 times as bright as it would be" in remark.message
    assert "3.6 dB softer" in remark.message  # 2 + 20 log 1.2


def test_a_higher_note_is_not_called_bright_for_its_pitch():
    made = guitar("g3:1 b3:1 a3:1 g3:1")  # b3 is two and more steps above what is beside it
    plan = {"strings": [{"bars": "1", "string": 4}, {"at": "1:2", "string": 2}]}
    notes = reading(plan, made).performance.notes
    assert notes["fret"].tolist() == [5, 0, 7, 5]
    assert told(reading(plan, made), sounding(0, 1.1)) == []
    assert len(told(reading(plan, made), sounding(0, 1.4))) == 1


def test_a_brighter_tone_on_the_open_string_alone():
    plan = accent(0) | {"tone": [{"at": "1:2", "tone": "sul ponticello"}]}
    (remark,) = told(reading(plan, guitar(LINE)), sounding())
    assert remark.severity is Severity.CAUTION and "2.00 times as bright" in remark.message
    everywhere = accent(0) | {"tone": [{"bars": "1", "tone": "sul ponticello"}]}
    assert told(reading(everywhere, guitar(LINE)), sounding()) == []


def test_a_muted_neighbour_sounds_as_soft_as_it_is():
    plan = accent(0)
    plan["strings"] += [{"at": at, "pizzicato": True} for at in ("1:1", "1:3")]
    (remark,) = told(reading(plan, guitar(LINE)), sounding())
    assert "6.0 dB louder" in remark.message


@pytest.mark.parametrize(
    "line",
    [
        "d4:1 e4:1 b3:1 d4:1",  # the next one is open too
        "e4:1 d4:1 f4:1 d4:1",  # nothing before it
        "d4:1 f4:1 d4:1 e4:1",  # nothing after it
        "d4:1 f4:1 d4:1 f4:1",
    ],
)
def test_only_between_stopped_notes(line):
    plan = {"strings": [{"at": f"1:{n}", "fret": 0} for n, word in enumerate(line.split(), 1) if word[0] in "eb"]}
    assert told(reading(plan, guitar(line)), sounding(5.0, 2.0)) == []


def test_a_line_that_pauses_is_forgotten():
    near, far = "d4:1 e4:2 f4:1", "d4:1 e4:2.25 f4:1"  # seconds, at 60
    assert len(told(reading(accent(0), guitar(near)), sounding(5.0))) == 1
    assert told(reading(accent(0), guitar(far, bars=2)), sounding(5.0)) == []


def test_each_line_is_judged_by_itself():
    both = guitar({1: "a4:1 g4:1 f4:1 a4:1", 2: "c3:1 d3:1 f3:1 c3:1"})  # d3 is the fourth string
    plan = {"strings": [{"at": "1:2", "for": "voice 2", "string": 4}]}
    (remark,) = told(reading(plan, both), sounding(4.0))
    assert "open string 4 at 1:2 stands out of the bass" in remark.message
    assert remark.suggestion == "strings: [{at: 1:2, for: voice 2, string: 5}]"
    assert told(reading(mended(plan, remark), both), sounding(4.0)) == []


def test_an_accompaniment_of_open_strings_is_its_own_line():
    both = guitar({1: "a4:1 g4:1 f4:1 a4:1", 2: "d3:1 a2:1 d3:1 a2:1"})
    plan = {"strings": [{"bars": "1", "for": "voice 2", "position": 1}]}
    assert told(reading(plan, both), sounding(9.0)) == []


def test_the_lowest_open_string_has_no_other_place():
    made = guitar("f2:1 e2:1 g2:1 f2:1")
    (remark,) = told(reading({}, made), sounding(4.0))
    assert remark.suggestion is None and "4.0 dB softer" in remark.message


def test_a_string_that_is_taken_is_not_suggested():
    both = guitar({1: "d4:1 e4:1 f4:1 d4:1", 2: "c4:4"})
    plan = accent(0) | {"strings": [{"at": "1:2", "string": 1}, {"at": "1:1", "for": "voice 2", "string": 2}]}
    made = reading(plan, both)
    (remark,) = [remark for remark in told(made, sounding(4.0)) if "melody" in remark.message]
    assert "string: 3" in remark.suggestion


def test_what_is_the_same_each_pass_is_told_once():
    plan = accent(4) | {"order": ["1", "1"]}
    (remark,) = told(reading(plan, guitar(LINE)))
    assert remark.pass_ == 1
    later = plan | {"accents": [{"at": "1:2", "by": "4 dB", "pass": 2}]}
    (remark,) = told(reading(later, guitar(LINE)))
    assert remark.pass_ == 2


def test_of_many_the_first_few_are_told():
    made = guitar(" ".join([LINE] * 6), bars=6)
    plan = {"strings": [{"at": f"{bar}:2", "string": 1} for bar in range(1, 7)]}
    found = told(reading(plan, made), sounding(4.0))
    assert [remark.bar for remark in found] == [1, 2, 3, 4]
    assert found[3].message == "and 3 more places like these (open-string-out)"


def test_a_tuning_that_the_sound_does_not_know_leaves_the_levels():
    def unknown(*_):
        raise CannotDo.because("tuning", "no such strings")

    deaf = SimpleNamespace(brightness=unknown, loudness=unknown)
    (remark,) = told(reading(accent(3), guitar(LINE)), deaf)
    assert "3.0 dB louder" in remark.message and "bright" not in remark.message


def test_a_piano_has_no_strings_to_hear():
    assert told(reading({"accents": [{"at": "1:2", "by": "9 dB"}]}, score(1, voices={1: LINE})), sounding(9, 9)) == []


def test_each_open_string_is_heard_against_its_own_neighbours():
    """Beside e4 the notes are muted, 6 dB softer; beside the b3 that follows they are not."""
    made = guitar("d4:1 e4:1 f4:1 g4:1 a3:1 b3:1 d4:1 c4:1", bars=2)
    plan = {"strings": [{"at": "1:2", "string": 1}, {"at": "2:2", "string": 2}, {"at": "2:1", "string": 3}]}
    plan["strings"] += [{"at": at, "pizzicato": True} for at in ("1:1", "1:3")]
    (remark,) = told(reading(plan, made), sounding())
    assert (remark.bar, remark.beat) == (1, 2) and "6.0 dB louder" in remark.message


def test_the_tone_of_each_note_is_its_own():
    """Both open strings are plucked sul ponticello; only beside the first of them nothing else is."""
    made = guitar("d4:1 e4:1 f4:1 g4:1 d4:1 e4:1 f4:1 g4:1", bars=2)
    plan = {"strings": [{"at": "1:2", "string": 1}, {"at": "2:2", "string": 1}]}
    plan["tone"] = [{"at": "1:2", "tone": "sul ponticello"}, {"bars": "2", "tone": "sul ponticello"}]
    (remark,) = told(reading(plan, made), sounding())
    assert (remark.bar, remark.beat) == (1, 2) and "2.00 times as bright" in remark.message


def test_an_open_string_that_the_left_hand_sounds_is_as_soft_as_that_is():
    """Pulled off it is 6 dB softer than plucked: it does not stand out of what is beside it."""

    def loudness(string, tone, tuning, frets):
        return np.where(np.asarray(frets) == 0, 4.0, 0.0) - 6.0 * (tone == 5)

    sound = SimpleNamespace(brightness=lambda string, tone, tuning, frets: np.ones(len(frets)), loudness=loudness)
    made, strings = guitar("g4:1 e4:1 f4:1 d4:1"), [{"at": "1:1", "string": 1}, {"at": "1:2", "string": 1}]
    (remark,) = told(reading({"strings": strings}, made), sound)
    assert "4.0 dB louder" in remark.message
    strings[1] = strings[1] | {"ligado": True}
    assert told(reading({"strings": strings}, made), sound) == []


def test_a_sound_is_asked_of_the_strings_that_there_are():
    asked = set()

    def loudness(string, tone, tuning, frets):
        asked.add(tuning)
        return np.zeros(len(frets))

    sound = SimpleNamespace(brightness=lambda string, tone, tuning, frets: np.ones(len(frets)), loudness=loudness)
    told(reading(accent(0), guitar(LINE)), sound)
    assert asked == {(64, 59, 55, 50, 45, 40)}


# -- where the note is stopped instead


def stopped_on(made, plan: dict) -> str | None:
    (remark,) = told(reading(plan, made), sounding(4.0))
    return remark.suggestion


def test_the_fifth_string_is_stopped_on_the_sixth():
    assert stopped_on(guitar("b2:1 a2:1 b2:1 c3:1"), {}) == "strings: [{at: 1:2, string: 6}]"


@pytest.mark.parametrize("length", [0.5, 1, 3])
def test_a_string_that_is_struck_with_the_note_is_taken(length):
    both = guitar({1: "d4:1 e4:1 f4:1 d4:1", 2: f"r:1 c4:{length} r:{3 - length}"})
    strings = [{"at": "1:2", "for": "voice 1", "string": 1}, {"at": "1:2", "for": "voice 2", "string": 2}]
    assert stopped_on(both, {"strings": strings}) == "strings: [{at: 1:2, string: 3}]"


def test_the_next_string_may_be_tuned_a_semitone_lower():
    plan = accent(0) | {"tuning": "E4 D#4 G3 D3 A2 E2"}
    assert stopped_on(guitar(LINE), plan) == "strings: [{at: 1:2, string: 2}]"


@pytest.mark.parametrize(
    ("low", "capo", "suggested"),
    [
        ("A2", 0, "strings: [{at: 1:2, string: 2}]"),  # 19 frets, the last one
        ("G#2", 0, None),
        ("A2", 1, None),  # the capo takes one of them
    ],
)
def test_no_string_has_more_than_nineteen_frets(low, capo, suggested):
    plan = {"tuning": f"E4 {low}", "capo": capo, "strings": [{"bars": "1", "string": 1}]}
    assert stopped_on(guitar("f4:1 e4:1 f4:1 f4:1"), plan) == suggested


# -- tunings

EIGHT = "E4 B3 G3 D3 A2 E2 B1 F#1"


def knows_seven(string, tone, tuning, frets):
    """Sounds of seven strings at most."""
    if len(tuning) > 7:
        raise CannotDo.because("tuning", "no such strings")
    return np.ones(len(frets))


@pytest.mark.parametrize(("tuning", "told_of"), [(EIGHT, 1), (EIGHT.rsplit(" ", 1)[0], 0), ("dropped D", 0)])
def test_a_tuning_whose_sound_is_not_known(tuning, told_of):
    sound = SimpleNamespace(brightness=knows_seven, loudness=knows_seven)
    for known in (sound, modelled):
        remarks = judged.told("tuning-unknown", reading({"tuning": tuning}, guitar(LINE)), known)
        assert [remark.severity for remark in remarks] == [Severity.ADVICE] * told_of
        assert all(f"tuned to {EIGHT} is not known" in remark.message for remark in remarks)


def test_a_capo_counts_to_the_tuning():
    for capo, told_of in ((0, 0), (1, 1)):
        plan = {"tuning": "E6 B3 G3 D3 A2 E2", "capo": capo}
        assert len(judged.told("tuning-unknown", reading(plan, guitar(LINE)), modelled)) == told_of


def test_only_the_classical_guitar_has_strings_of_its_own():
    for program in (25, 27):  # steel strings, electric
        made = score(1, voices={1: LINE}, program=program)
        assert judged.told("tuning-unknown", reading({"tuning": EIGHT}, made), modelled) == []
    assert judged.told("tuning-unknown", reading({"tuning": EIGHT}, guitar(LINE))) == []  # nobody listens
