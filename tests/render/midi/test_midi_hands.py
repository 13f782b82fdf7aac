"""Strings, tones and slides in MIDI files, as pretty_midi and mido read them."""

from __future__ import annotations

import io

import numpy as np
import pretty_midi
import pytest
from support import midi, reading, score

from render.midi.file import to_midi
from render.sound.trying import alone_in_bank
from soundfonts.guitar import LIGADO, NATURALE, PIZZICATO, PONTICELLO, TASTO, preset

GUITAR, VIOLIN = 24, 40


def made(plan: dict, voices: dict[int, str], program: int):
    return reading(plan, score(2, voices=voices, program=program)).performance


def messages(performance, kind: str) -> list:
    """(track, message) of one kind, in order."""
    file = to_midi(performance)
    return [(n, message) for n, track in enumerate(file.tracks) for message in track if message.type == kind]


def reread(performance) -> pretty_midi.PrettyMIDI:
    written = io.BytesIO()
    to_midi(performance).save(file=written)
    written.seek(0)
    return pretty_midi.PrettyMIDI(written)


def banks(performance) -> list[int]:
    return [m.value for _, m in messages(performance, "control_change") if m.control == 0]


def test_a_channel_for_each_string_and_a_bank_for_each_tone():
    plan = {"tone": [{"at": "1:2", "tone": "sul tasto"}, {"bars": "1:3 - 1:4", "tone": "sul ponticello"}]}
    performance = made(plan, {1: "f4:1 f4:1 f4:1 f4:1 f4:4"}, GUITAR)
    tones = (NATURALE, TASTO, PONTICELLO, NATURALE)
    assert banks(performance) == [preset(1, tone)[0] for tone in tones]
    two = made({}, {1: "f4:4", 2: "e2:4"}, GUITAR)
    assert {m.channel for _, m in messages(two, "note_on")} == {0, 1}
    assert banks(two) == [preset(1, NATURALE)[0], preset(6, NATURALE)[0]]
    assert {m.program for _, m in messages(two, "program_change")} == {GUITAR}


def test_left_hand_and_palm_have_their_banks():
    plan = {"strings": [{"at": "1:2", "ligado": "yes"}, {"at": "1:3", "pizzicato": "yes"}]}
    performance = made(plan, {1: "f4:1 g4:1 f4:1 r:1"}, GUITAR)
    assert banks(performance) == [preset(1, tone)[0] for tone in (NATURALE, LIGADO, PIZZICATO)]


def test_a_plucking_point_is_the_nearest_tone():
    performance = made({"tone": [{"bars": "1", "tone": "5 cm"}]}, {1: "f4:4 f4:4"}, GUITAR)
    assert banks(performance) == [preset(1, PONTICELLO)[0], preset(1, NATURALE)[0]]


def test_the_bank_stands_before_its_note():
    performance = made({"tone": [{"at": "1:2", "tone": "sul tasto"}]}, {1: "f4:1 f4:3"}, GUITAR)
    track = to_midi(performance).tracks[1]
    kinds = [m.type if m.type != "control_change" else f"control {m.control}" for m in track]
    strokes = [n for n, kind in enumerate(kinds) if kind == "note_on"]
    assert all(kinds[n - 2 : n] == ["control 0", "program_change"] for n in strokes)


def test_other_instruments_get_brightness():
    plan = {"tone": [{"at": "1:2", "tone": "dark"}, {"at": "1:3", "tone": "bright"}]}
    performance = made(plan, {1: "c5:1 c5:1 c5:1 c5:1"}, VIOLIN)
    values = [m.value for _, m in messages(performance, "control_change") if m.control == 74]
    assert values[0] < 64 < values[1] and values[2] == 64
    assert banks(performance) == []


def test_bowed_strings_are_plucked_where_it_says_pizzicato():
    plan = {"strings": [{"bars": "1:2 - 1:3", "pizzicato": "yes"}]}
    performance = made(plan, {1: "c5:1 c5:1 c5:1 c5:1"}, VIOLIN)
    assert [m.program for _, m in messages(performance, "program_change")] == [VIOLIN, 45, VIOLIN]
    assert banks(performance) == [0, 0]


def test_bowed_strings_are_plucked_from_pizz_to_arco():
    marks = [{"kind": "words", "bar": 0, "offset": at, "text": text} for at, text in ((1.0, "pizz."), (3.0, "arco"))]
    played = reading({}, score(2, voices={1: "c5:1 c5:1 c5:1 c5:1"}, program=VIOLIN, marks=marks)).performance
    assert [m.program for _, m in messages(played, "program_change")] == [VIOLIN, 45, VIOLIN]


@pytest.mark.parametrize(("program", "line"), [(GUITAR, "f4:2 a4:2 r:4"), (VIOLIN, "c5:2 g5:2 r:4")])
def test_the_wheel_turns_as_planned(program, line):
    performance = made({"glissandi": [{"from": "1:1", "to": "1:3", "glide": "60%"}]}, {1: line}, program)
    (wide,) = {m.value for _, m in messages(performance, "control_change") if m.control == 6}
    (sliding,) = [i for i in reread(performance).instruments if i.pitch_bends]
    bends = performance.bends
    for bend in sliding.pitch_bends:
        heard = bend.pitch / 8192 * wide
        later = np.interp(bend.time + 1e-4, bends["second"], bends["semitones"])
        earlier = np.interp(bend.time - 1e-4, bends["second"], bends["semitones"])
        assert min(earlier, later) - 0.01 <= heard <= max(earlier, later) + 0.01
    assert sliding.pitch_bends[-1].pitch / 8192 * wide == pytest.approx(bends["semitones"][-1], abs=0.005)


def test_only_the_sliding_channel_bends():
    plan = {"glissandi": [{"from": "1:1", "to": "1:3", "for": "melody"}]}
    performance = made(plan, {1: "c5:2 g5:2 c5:4", 2: "c3:4 g3:4"}, VIOLIN)
    turned = {m.channel for _, m in messages(performance, "pitchwheel")}
    struck = {m.channel: [] for _, m in messages(performance, "note_on")}
    for _, m in messages(performance, "note_on"):
        struck[m.channel].append(m.note)
    (channel,) = turned
    assert struck[channel] == [midi("c5")]


def test_a_carried_goal_is_not_struck_and_sounds_to_its_end():
    plan = {"glissandi": [{"from": "1:1", "to": "1:3", "arrive": "slurred", "swell": "3 dB"}]}
    read = reread(made(plan, {1: "c5:2 g5:2 c5:4"}, VIOLIN))
    notes = sorted((note.start, note.end, note.pitch) for each in read.instruments for note in each.notes)
    assert np.array(notes) == pytest.approx(np.array([(0, 4, midi("c5")), (4, 8, midi("c5"))]), abs=1e-4)


def test_a_large_swell_finds_room():
    plan = {"glissandi": [{"from": "1:1", "to": "1:3", "arrive": "slurred", "swell": "12 dB"}]}
    performance = made(plan, {1: "c5:2 g5:2 r:4"}, VIOLIN)
    assert swelled(performance) == pytest.approx(12 - own_rise(performance), abs=0.3)
    (velocity,) = [m.velocity for _, m in messages(performance, "note_on") if m.velocity]
    assert 40 * np.log10(velocity / 127) == pytest.approx(-12, abs=0.3)  # it begins as loud as planned


def swelled(performance) -> float:
    """By how many dB the controllers of the file raise what slides, from its rest to where it arrives."""
    values = {7: [], 11: []}
    for track, message in messages(performance, "control_change"):
        if track == 1 + int(np.flatnonzero(performance.lanes["sliding"])[0]) and message.control in values:
            values[message.control].append(message.value)
    return float(sum(40 * np.log10(max(each) / each[0]) for each in values.values()))


def own_rise(performance) -> float:
    """By how many dB the sound of the standard bank rises alone, from where its slide leaves to where it arrives."""
    (slide,) = performance.glides
    level = alone_in_bank(performance, None)(int(slide["note"]), np.linspace(slide["leave"], slide["arrive"], 9))
    return float(level[-1] - level[0])
