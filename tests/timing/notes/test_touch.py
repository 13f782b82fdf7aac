"""How signs shape onsets and lengths, at 60 quarters a minute; names of notes as in support.score."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support import midi, reading, score

from timing.reading import perform


def played(voices: dict[int, str] | str, articulation: dict | None = None, bars: int = 1, /, **plan) -> list[tuple]:
    """(pitch, onset, end) of every note, in seconds, in the order of the performance."""
    voices = {1: voices} if isinstance(voices, str) else voices
    made = reading(plan | {"articulation": articulation or {}}, bars=bars, voices=voices)
    return [(int(n["pitch"]), round(float(n["onset"]), 6), round(float(n["end"]), 6)) for n in made.performance.notes]


def notes(*rows: tuple) -> list[tuple]:
    return [(midi(name), onset, end) for name, onset, end in rows]


# -- lengths


@pytest.mark.parametrize(
    ("signs", "end"),
    [
        ("", 1),
        (".", 0.5),
        ("-", 1),
        (".-", 0.75),  # portato
        (".(", 0.75),  # portato too: dots under a slur
        (".)", 0.75),
        ("(", 1.02),  # reaches into the next note
        (")", 0.9),
        ("(-", 1.02),
    ],
)
def test_signs(signs, end):
    assert played(f"c4:1{signs} d4:3")[0] == (60, 0, end)


def test_what_the_plan_says_of_signs():
    own = {
        "staccato": "30%",
        "portato": "60%",
        "plain": "80%",
        "slur overlap": "0 ms",
        "slur end": "70%",
        "tenuto": "95%",
    }
    assert [end for _, _, end in played("c4:1. d4:1.- e4:1 f4:1-", own)] == [0.3, 1.6, 2.8, 3.95]
    assert [end for _, _, end in played("c4:1( d4:1) e4:2", own)] == [1, 1.7, 3.6]


def test_lengths_follow_the_pace():
    """A staccato note lasts half of what the slowed note would."""
    slow = {"slowing": [{"ritenuto": "1", "to": "50%"}]}
    assert played("c4:1. d4:3", **slow)[0] == (60, 0, 1)


def test_the_same_pitch_struck_again_ends_the_note():
    held = score(1, voices={1: "c4:1( c4:1( d4:2"})
    held.notes["length"][0] = 3  # as a pedal would hold it
    ends = perform(held, reading({}).plan).performance.notes["end"]
    assert ends.round(6).tolist() == [1, 2.02, 4]


def test_a_doubled_note_ends_as_one_when_it_is_struck_again():
    doubled = score(1, voices={1: "c4+c4:1 c4:3"})
    doubled.notes["length"][:2] = 2
    ends = perform(doubled, reading({}).plan).performance.notes["end"]
    assert ends == pytest.approx([1, 1, 4])


def test_another_voice_may_hold_the_same_pitch():
    assert played({1: "c4:4", 2: "r:2 c4:2"}) == notes(("c4", 0, 4), ("c4", 2, 4))


# -- grace notes


def test_a_slashed_grace_note_comes_before_the_beat_and_takes_its_time_from_the_note_before():
    assert played("c4:2 d4:1g e4:2") == notes(("c4", 0, 1.93), ("d4", 1.93, 2), ("e4", 2, 4))
    assert played("c4:2 d4:1g e4:2", {"grace": "100 ms"})[1] == (62, 1.9, 2)


def test_several_grace_notes_come_one_after_another():
    expected = notes(("c4", 0, 1.86), ("d4", 1.86, 1.93), ("e4", 1.93, 2), ("f4", 2, 4))
    assert played("c4:2 d4:1g e4:1g f4:2") == expected
    assert played("c4:2 d4:1G e4:1G f4:2") == expected  # even without a stroke


def test_grace_notes_never_take_more_than_half_of_the_note_before():
    assert played("c4:0.1 d4:1g e4:3.9", {"grace": "500 ms"})[:2] == notes(("c4", 0, 0.05), ("d4", 0.05, 0.1))


def test_grace_notes_leave_time_for_a_note_that_began_late():
    """After its appoggiatura, or after its own small notes at the very beginning."""
    late = played("c4:1 d4:1G e4:0.2 f4:1g g4:2.8", {"grace": "500 ms"})
    assert late[2:4] == notes(("e4", 1.1, 1.15), ("f4", 1.15, 1.2))
    opening = played("d4:1g c4:0.2 e4:1g f4:3.8", {"grace": "500 ms"})
    assert opening[:3] == notes(("d4", 0, 0.1), ("c4", 0.1, 0.15), ("e4", 0.15, 0.2))


def test_other_voices_do_not_wait_for_a_grace_note():
    both = played({1: "c5:2 d5:1g e5:2", 2: "c4:2 d4:2"})
    assert set(both) >= set(notes(("c4", 0, 2), ("d4", 2, 4)))


def test_an_appoggiatura_is_on_the_beat_and_takes_half():
    assert played("c4:1 d4:1G e4:2 f4:1") == notes(("c4", 0, 1), ("d4", 1, 2), ("e4", 2, 3), ("f4", 3, 4))


def test_an_appoggiatura_takes_two_thirds_of_a_dotted_note():
    assert played("c4:1 d4:1G e4:3") == notes(("c4", 0, 1), ("d4", 1, 3), ("e4", 3, 4))
    assert played("c4:1 d4:1G e4:3", {"appoggiatura": "25%"})[1] == (62, 1, 2)


def test_a_chord_waits_together_for_its_appoggiatura():
    assert played("d4:1G c4+e4:2 r:2") == notes(("d4", 0, 1), ("c4", 1, 2), ("e4", 1, 2))


def test_at_the_very_beginning_grace_notes_are_on_the_beat():
    assert played("d4:1g e4:1g f4:4") == notes(("d4", 0, 0.07), ("e4", 0.07, 0.14), ("f4", 0.14, 4))
    assert played("d4:1g e4:1g f4:0.1 g4:3.9", {"grace": "500 ms"})[:3] == notes(
        ("d4", 0, 0.025), ("e4", 0.025, 0.05), ("f4", 0.05, 0.1)
    )


def test_small_notes_that_end_a_note_come_before_its_end_and_before_those_of_the_next():
    made = score(1, voices={1: "c4:2 d4:1g e4:1g f4:2"})
    made.notes["after"][made.notes["pitch"] == midi("d4")] = True
    made.notes["grace"][made.notes["pitch"] == midi("d4")] = 1
    table = perform(made, reading({}).plan).performance.notes
    assert table["pitch"].tolist() == [midi(name) for name in ("c4", "d4", "e4", "f4")]
    assert table["onset"] == pytest.approx([0, 1.86, 1.93, 2])


def test_small_notes_at_the_end_of_a_bar_belong_before_the_next():
    made = score(2, voices={1: "c4:4 d4:1g f4:4"})
    grace = made.notes["grace"] > 0
    made.notes["after"][grace], made.notes["bar"][grace], made.notes["offset"][grace] = True, 0, 4.0
    made.notes.sort(order=["bar", "offset"])
    table = perform(made, reading({}).plan).performance.notes
    assert table["onset"] == pytest.approx([0, 3.93, 4])
    assert table["end"] == pytest.approx([3.93, 4, 8])


# -- rolled chords


def test_a_roll_begins_on_the_beat_and_goes_up():
    assert played("c4+e4+g4:2~ r:2") == notes(("c4", 0, 2), ("e4", 0.035, 2), ("g4", 0.07, 2))


def test_a_roll_may_end_on_the_beat():
    own = {"roll": "50 ms", "roll ends on the beat": "yes"}
    assert played("r:2 c4+e4+g4:2~", own) == notes(("c4", 1.9, 4), ("e4", 1.95, 4), ("g4", 2, 4))
    assert [onset for _, onset, _ in played("c4+e4+g4:4~", own)] == [0, 0, 0]  # there is no time before the beginning


def test_a_roll_down():
    made = score(1, voices={1: "c4+e4+g4:4~"})
    made.notes["roll"] = -1
    table = perform(made, reading({}).plan).performance.notes
    assert dict(zip(table["pitch"].tolist(), table["onset"].round(6).tolist(), strict=True)) == {
        67: 0,
        64: 0.035,
        60: 0.07,
    }


def test_a_roll_goes_through_the_voices_of_a_part():
    assert [p[:2] for p in played({1: "e5:4~", 2: "c5:4~", 3: "c3:4~"})] == [(48, 0), (72, 0.035), (76, 0.07)]


def test_short_chords_are_rolled_faster():
    """The roll takes no more than half of the shortest note."""
    assert [onset for _, onset, _ in played("c4+e4+g4:0.1~ r:3.9")] == [0, 0.025, 0.05]


# -- voices that lead


def test_a_leading_voice_comes_early_as_a_whole():
    two = {1: "c5:1 d5:3", 2: "c3:1 d3:3"}
    lead = {"voices": {"melody": {"lead": "30 ms"}}}
    assert played(two, **lead) == notes(("c5", 0, 1), ("c3", 0, 1), ("d5", 0.97, 3.97), ("d3", 1, 4))


def test_nothing_comes_before_the_beginning():
    lead = {"voices": {"melody": {"lead": "200 ms"}}}
    assert played("c4:0.1 d4:3.9", **lead)[0][1] == 0
    assert all(onset >= 0 for _, onset, _ in played("d4:1g c4:0.1 e4:1g d4:3.9", **lead))


# -- laws

SIGNS = st.sampled_from(["", ".", "-", ".-", "(", ")", "~", "g", "G"])
WORDS = st.tuples(
    st.sampled_from(["c4", "d4", "c4+e4+g4", "c4+c4"]), st.sampled_from([0.01, 0.25, 1 / 3, 1, 1.5]), SIGNS
)


@given(
    st.lists(WORDS, min_size=1, max_size=12),
    st.lists(WORDS, max_size=12),
    st.fixed_dictionaries(
        {"grace": st.sampled_from(["0 ms", "70 ms", "500 ms"]), "roll": st.sampled_from(["0 ms", "500 ms"])}
    ),
    st.booleans(),
)
def test_every_note_sounds_after_the_beginning_and_for_a_moment(upper, lower, articulation, lead):
    def voice(words: list[tuple]) -> str:
        small = [
            f"{name.split('+')[0] if sign in ('g', 'G') else name}:{length!r}{sign}" for name, length, sign in words
        ]
        return " ".join([*small, "b4:1"])

    plan = {"articulation": articulation} | ({"voices": {"melody": {"lead": "200 ms"}}} if lead else {})
    made = score(8, voices={1: voice(upper), 2: voice(lower)})
    table = reading(plan, made).performance.notes
    assert len(table) == len(made.notes)
    assert np.all(table["onset"] >= 0) and np.all(np.diff(table["onset"]) >= 0)
    shortest = np.full(len(table), 0.005)
    for number, note in enumerate(table):
        same = table[(table["voice"] == note["voice"]) & (table["pitch"] == note["pitch"])]
        again = same["onset"][same["onset"] > note["onset"] + 1e-9].min(initial=np.inf)
        assert note["end"] <= again  # it does not sound into its next stroke
        shortest[number] = min(shortest[number], again - note["onset"])
    assert np.all(table["end"] - table["onset"] >= shortest - 1e-9)


def test_a_breath_is_no_part_of_the_note_before_it():
    """A staccato quarter at 60 sounds half a second, however long the silence after it."""
    for seconds in (0.2, 0.5, 2):
        plan = {"holds": [{"caesura": "after 1:2", "seconds": seconds}]}
        notes = reading(plan, bars=1, voices={1: "c4:1 d4:1. e4:2"}).performance.notes
        assert (notes["end"] - notes["onset"])[1] == pytest.approx(0.5)
        assert notes["onset"][2] == pytest.approx(2 + seconds)


def test_a_rolled_staccato_chord_lets_every_note_sound():
    """At 120 a staccatissimo-short chord: the roll takes at most half of what sounds."""
    plan = {"tempo": 120, "articulation": {"roll": "60 ms", "staccato": "25%"}}
    notes = reading(plan, bars=1, voices={1: "c4+e4+g4+c5:1~."}).performance.notes
    assert np.all(notes["end"] - notes["onset"] >= 0.125 / 2 - 1e-9)
