"""Our MIDI files as other programs read them: mido and pretty_midi are the readers."""

from __future__ import annotations

import dataclasses
import os
import subprocess
import sys
from io import BytesIO

import mido
import numpy as np
import pytest
from house import ROOT, TESTS
from hypothesis import given
from hypothesis import strategies as st
from midi_files import NEAR, absolute, read_by_mido, read_by_pretty_midi
from performances import performance, performances
from support import reading

from render.midi.file import to_midi, write_midi
from timing.remarks import CannotDo


@given(performances())
def test_notes_end_before_others_begin_and_none_is_empty(made):
    for track in to_midi(made).tracks[1:]:
        order = {"note_off": 0, "control_change": 1, "note_on": 2}
        events = [(tick, order[m.type]) for tick, m in absolute(track) if m.type in order]
        assert events[2:] == sorted(events[2:])  # the first two set up the channel
        for pitch in range(128):
            own = [(tick, m.type) for tick, m in absolute(track) if not m.is_meta and getattr(m, "note", -1) == pitch]
            assert sum(kind == "note_on" for _, kind in own) == sum(kind == "note_off" for _, kind in own)
            assert not own or own[0][1] == "note_on"


def test_long_pieces_are_taken_by_readers():
    made = performance([{"score_onset": n * 40.0} for n in range(2000)], tempo=200)
    read = read_by_pretty_midi(to_midi(made))
    assert len(read.instruments[0].notes) == 2000


def test_the_same_performance_gives_the_same_bytes(tmp_path):
    made = performance([{"score_onset": n / 3, "lane": n % 3, "pitch": 50 + n} for n in range(40)], programs=(1, 2, 3))
    write_midi(made, tmp_path / "a.mid")
    write_midi(made, tmp_path / "b.mid")
    assert (tmp_path / "a.mid").read_bytes() == (tmp_path / "b.mid").read_bytes()


def test_track_0_has_tempo_metre_and_phrases_and_a_track_a_lane_has_the_rest():
    made = performance(
        [{"lane": lane, "pitch": 40 + lane} for lane in range(17)],
        programs=range(20, 37),
        phrases=[(0.0, 2.0, 0, 0, "1-4"), (2.0, 4.0, 0, 1, "réponse")],
    )
    file = to_midi(made)
    assert file.type == 1
    assert len(file.tracks) == 18
    kinds = {m.type for m in file.tracks[0]}
    assert kinds == {"track_name", "time_signature", "set_tempo", "marker", "end_of_track"}
    markers = [(tick, m.text) for tick, m in absolute(file.tracks[0]) if m.type == "marker"]
    assert markers == [(0, "1-4"), (2 * file.ticks_per_beat, "réponse")]
    channels = [{m.channel for m in track if not m.is_meta} for track in file.tracks[1:]]
    assert [list(own) for own in channels] == [[c] for c in (*range(9), *range(10, 16), 0, 1)]
    for lane, track in enumerate(file.tracks[1:]):
        assert [m.port for m in track if m.type == "midi_port"] == ([1] if lane >= 15 else [])
        assert not {m.type for m in track} & {"set_tempo", "time_signature", "marker"}
        begin = [(m.type, m.dict()) for m in track if m.type in ("track_name", "program_change", "control_change")]
        assert begin[0][1]["name"] == f"Voice {lane + 1}"
        assert begin[1][1]["program"] == 20 + lane
        assert [(d["control"], d["value"]) for _, d in begin[2:]] == [(7, 100), (11, 90)]


def test_names_survive_in_utf_8(tmp_path):
    made = performance([{}], phrases=[(0.0, 4.0, 0, 0, "Вступление — début")])
    write_midi(made, tmp_path / "a.mid")
    read = mido.MidiFile(tmp_path / "a.mid", charset="utf-8")
    assert [m.text for m in read.tracks[0] if m.type == "marker"] == ["Вступление — début"]


def test_bar_lines_of_the_file_are_those_of_the_music():
    bars = [
        {"number": 0, "length": 1.0, "shift": 3.0},  # a pickup of one beat
        {"number": 1},
        {"number": 2, "length": 2.5},  # the bar before a repeat sign in the middle
        {"number": 3, "length": 1.5},
        {"number": 4, "beats": 6, "unit": 8, "length": 3.0},
        {"number": 5, "beats": 5, "unit": 8, "length": 2.5},
        {"number": 6},
    ]
    made = performance([{"score_onset": 17.0}], bars=bars, tempo=100)
    read = read_by_pretty_midi(to_midi(made))
    assert read.get_downbeats()[: len(bars)] == pytest.approx(made.time.seconds(made.bars["start"]), abs=NEAR)
    signs = [(s.numerator, s.denominator) for s in read.time_signature_changes]
    assert signs == [(1, 4), (4, 4), (5, 8), (3, 8), (6, 8), (5, 8), (4, 4)]


def test_a_metre_that_midi_cannot_say_is_left_out():
    bars = [{"beats": 300, "unit": 4, "length": 4.0}, {"beats": 4, "unit": 3, "length": 5.3}, {}]
    file = to_midi(performance([{}], bars=bars))
    signs = [(m.numerator, m.denominator) for m in file.tracks[0] if m.type == "time_signature"]
    assert (4, 4) in signs
    assert all(0 < n < 256 for n, _ in signs)


def test_a_swell_moves_expression_and_the_next_note_finds_it_at_rest():
    curve = [(0, 0, 0.0, 0.0), (0, 0, 1.0, 3.0), (0, 0, 1.5, 6.0), (0, 0, 1.75, -40.0)]
    notes = [{"score_length": 2.0}, {"score_onset": 2.0, "pitch": 62}]
    file = to_midi(performance(notes, programs=(40, 40), curves=curve))
    moved = [(tick / file.ticks_per_beat, m.value) for tick, m in absolute(file.tracks[1]) if m.is_cc(11)]
    assert moved == [(0, 90), (1.0, 107), (1.5, 127), (1.75, 9), (2.0, 90)]
    assert [m.value for m in file.tracks[2] if m.is_cc(11)] == [90]


def test_a_place_that_does_not_exist_is_refused(tmp_path):
    with pytest.raises(CannotDo, match="there is no folder"):
        write_midi(performance([{}]), tmp_path / "nowhere" / "a.mid")
    assert list(tmp_path.iterdir()) == []


def test_readers_agree_on_tempo_and_metre():
    plan = {"tempo": 72, "slowing": [{"rallentando": "3:1 - 4:3", "to": "60%"}]}
    made = reading(plan, bars=4, metre=(3, 4)).performance
    file = to_midi(made)
    read = read_by_pretty_midi(file)
    times, tempi = read.get_tempo_changes()
    assert tempi[0] == pytest.approx(72, abs=1e-4)
    middle = np.append(times[1:], made.time.length) / 2 + times / 2
    assert tempi == pytest.approx(made.time.tempo(made.time.quarters(middle)), rel=0.03)
    assert [(s.numerator, s.denominator, s.time) for s in read.time_signature_changes] == [(3, 4, 0.0)]


def test_two_notes_on_one_key_end_together_and_before_the_next():
    notes = [
        {"score_length": 3.0}, {"score_length": 1.0},  # a unison in one voice
        {"score_onset": 2.0, "score_length": 1.0},  # the same key again, while the longer one still sounds
        {"score_onset": 2.0, "score_length": 0.5, "pitch": 61},
    ]  # fmt: skip
    read = read_by_mido(to_midi(performance(notes)))
    assert read[:, 1:] == pytest.approx(np.array([[0, 2], [0, 2], [2, 3], [2, 2.5]]), abs=1e-3)
    assert [(n.start, n.end) for n in read_by_pretty_midi(to_midi(performance(notes))).instruments[0].notes[:2]] == [
        (0, pytest.approx(2)),
        (0, pytest.approx(2)),
    ]


def test_levels_out_of_range_sound_at_the_limit():
    file = to_midi(performance([{"level": 30.0}, {"level": -300.0, "pitch": 61}]))
    assert [m.velocity for m in file.tracks[1] if m.type == "note_on"] == [127, 1]


@given(st.text(max_size=40))
def test_any_title_can_be_written(title):
    made = dataclasses.replace(performance([{}], phrases=[(0.0, 4.0, 0, 0, title)]), title=title)
    written = BytesIO()
    to_midi(made).save(file=written)
    written.seek(0)
    read = mido.MidiFile(file=written, charset="utf-8")
    assert read.tracks[0].name == title.encode("utf-8", "replace").decode()


def test_a_title_with_half_a_letter_can_be_written():
    made = dataclasses.replace(performance([{}]), title="caf\udce9")  # from a file's name in another encoding
    written = BytesIO()
    to_midi(made).save(file=written)
    assert b"caf?" in written.getvalue()


def test_another_process_writes_the_same_bytes(tmp_path):
    code = (
        "import sys; from support import reading; from render.midi.file import write_midi;"
        "write_midi(reading({'slowing': [{'rallentando': '7-8', 'to': '50%'}]}).performance, sys.argv[1])"
    )
    for name, seed in (("a.mid", "1"), ("b.mid", "2")):
        environment = {**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": os.pathsep.join([str(ROOT), str(TESTS)])}
        subprocess.run([sys.executable, "-c", code, str(tmp_path / name)], check=True, env=environment)
    assert (tmp_path / "a.mid").read_bytes() == (tmp_path / "b.mid").read_bytes()


def test_more_voices_than_ports_are_refused():
    with pytest.raises(CannotDo, match="4000 voices"):
        to_midi(performance([{}], programs=[0] * 4000))


def test_a_performance_without_notes_is_a_file_without_notes():
    file = to_midi(performance([]))
    assert [m.type for m in file.tracks[1] if not m.is_meta] == ["program_change", "control_change", "control_change"]
