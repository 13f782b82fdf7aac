"""Our MIDI files as other programs read them: mido and pretty_midi are the readers."""

from __future__ import annotations

import dataclasses
import itertools
import os
import subprocess
import sys
import warnings
from io import BytesIO
from pathlib import Path

import mido
import numpy as np
import pretty_midi
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from performances import performance, performances, time_maps
from support import reading

from render.midi.clock import one_each, resolution_for
from render.midi.file import to_midi, write_midi
from timing.remarks import CannotDo
from timing.timemap import TimeMap, strict

NEAR = 0.25e-3  # seconds
TESTS = Path(__file__).parents[2]
ROOT = TESTS.parent


def read_by_mido(file: mido.MidiFile) -> np.ndarray:
    """(notes, 3) pitch, onset, end in seconds as mido's own player counts them, sorted."""
    now, open_, notes = 0.0, {}, []
    for message in file:
        now += message.time
        if message.type == "note_on":
            open_.setdefault((message.channel, message.note), []).append(now)
        elif message.type == "note_off":
            notes.append((message.note, open_[message.channel, message.note].pop(0), now))
    assert not any(open_.values()), "a note is never let go"
    return np.array(sorted(notes))


def read_by_pretty_midi(file: mido.MidiFile) -> pretty_midi.PrettyMIDI:
    written = BytesIO()
    file.save(file=written)
    written.seek(0)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        return pretty_midi.PrettyMIDI(written)


def sounding(made) -> np.ndarray:
    """(notes, 2) pitch and onset of a performance, sorted."""
    return np.array(sorted(zip(made.notes["pitch"].tolist(), made.notes["onset"].tolist(), strict=True)))


def absolute(track: mido.MidiTrack) -> list[tuple[int, mido.Message]]:
    return list(zip(itertools.accumulate(message.time for message in track), track, strict=True))


def ons(file: mido.MidiFile) -> list[tuple[int, int]]:
    """(tick, pitch) of every note, sorted."""
    return sorted((t, m.note) for track in file.tracks[1:] for t, m in absolute(track) if m.type == "note_on")


@given(performances())
@settings(max_examples=60, deadline=None)
def test_every_onset_is_where_the_plan_has_it(made):
    file = to_midi(made)
    planned = sounding(made)
    assert np.abs(read_by_mido(file)[:, :2] - planned).max() < NEAR
    read = read_by_pretty_midi(file)
    onsets = np.array(sorted((n.pitch, n.start) for instrument in read.instruments for n in instrument.notes))
    assert np.abs(onsets - planned).max() < NEAR


@given(performances())
@settings(max_examples=60, deadline=None)
def test_what_is_not_displaced_lies_on_the_tick_of_its_place_in_the_score(made):
    file = to_midi(made)
    planned = np.abs(made.notes["onset"] - made.time.seconds(made.notes["score_onset"])) < 1e-9
    expected = {(round(note["score_onset"] * file.ticks_per_beat), int(note["pitch"])) for note in made.notes[planned]}
    assert expected <= set(ons(file))


@given(time_maps())
@settings(max_examples=40, deadline=None)
def test_ends_are_where_the_plan_has_them(time):
    made = performance([{"score_onset": n / 2, "score_length": 0.5, "pitch": 40 + n} for n in range(32)], time=time)
    assert np.abs(read_by_mido(to_midi(made))[:, 2] - np.sort(made.notes["end"])).max() < NEAR


@given(performances())
@settings(max_examples=40, deadline=None)
def test_notes_end_before_others_begin_and_none_is_empty(made):
    for track in to_midi(made).tracks[1:]:
        order = {"note_off": 0, "control_change": 1, "note_on": 2}
        events = [(tick, order[m.type]) for tick, m in absolute(track) if m.type in order]
        assert events[2:] == sorted(events[2:])  # the first two set up the channel
        for pitch in range(128):
            own = [(tick, m.type) for tick, m in absolute(track) if not m.is_meta and getattr(m, "note", -1) == pitch]
            assert sum(kind == "note_on" for _, kind in own) == sum(kind == "note_off" for _, kind in own)
            assert not own or own[0][1] == "note_on"


@pytest.mark.parametrize("apart", [0.0003, 0.0011, 0.004])
def test_displaced_notes_keep_their_time_where_ticks_are_coarse(apart):
    quarters = 24_000  # ten hours at this tempo: a tick is longer than 3 ms
    time = TimeMap(strict(quarters, 40.0))
    notes = []
    for start in range(400, quarters, 400):
        onset = float(time.seconds(float(start)))
        notes += [
            {"score_onset": start, "onset": onset + k * apart, "pitch": 60 + k, "end": onset + 1} for k in range(-3, 4)
        ]
    made = performance(notes, time=time)
    file = to_midi(made)
    assert file.ticks_per_beat < 500
    assert np.abs(read_by_mido(file)[:, :2] - sounding(made)).max() < NEAR


def test_real_readings_arrive_as_planned():
    plan = {
        "voices": {"melody": {"level": "0 dB", "lead": "20 ms"}},
        "slowing": [{"rallentando": "3:1 - 4:4", "to": "50%"}],
        "holds": [{"breath": "after 2:4", "seconds": 2.0}, {"fermata": "4:4", "length": "200%"}],
        "phrases": [{"bars": "1-4", "arch": "8%"}],
    }
    voices = {1: "c5:1 d5:1g e5:2 " * 4, 2: "c3+g3+e4:2~ g3:1.5 a3:.5 " * 4}
    made = reading(plan, bars=4, voices=voices).performance
    assert np.abs(read_by_mido(to_midi(made))[:, :2] - sounding(made)).max() < NEAR


@pytest.mark.parametrize("tempo", [60, 120, 97, 53.7])
def test_strict_time_needs_one_tempo_and_rare_corrections(tempo):
    short = to_midi(performance([{"score_onset": n} for n in range(32)], tempo=tempo))
    assert sum(m.type == "set_tempo" for m in short.tracks[0]) == 1
    quarters = int(tempo * 60)
    hour = to_midi(performance([{"score_onset": float(n)} for n in range(0, quarters, 4)], tempo=tempo))
    assert sum(m.type == "set_tempo" for m in hour.tracks[0]) <= 1 + quarters / 40


@pytest.mark.parametrize("quarters", [4, 300, 330, 5_000, 20_000, 40_000, 150_000, 330_000])
def test_ticks_are_as_fine_as_readers_allow(quarters):
    fine = resolution_for(performance([{"score_onset": quarters - 1}]))
    assert 1 <= fine <= 32_767  # the format has 15 bits for it
    assert fine * quarters < 10**7
    assert 2 * fine > 30_720 or 2 * fine * quarters > 0.9e7
    assert fine % 24 == 0


def test_long_pieces_are_taken_by_readers():
    made = performance([{"score_onset": n * 40.0} for n in range(2000)], tempo=200)
    read = read_by_pretty_midi(to_midi(made))
    assert len(read.instruments[0].notes) == 2000


def test_a_tempo_too_slow_for_the_format_is_refused_by_bar():
    pieces = np.concatenate([strict(4.0, 60.0), strict(4.0, 3.0), strict(4.0, 60.0)])
    pieces["start"], pieces["end"] = [0, 4, 8], [4, 8, 12]
    made = performance([{"score_onset": n} for n in range(12)], time=TimeMap(pieces))
    with pytest.raises(CannotDo, match="bar 2 is slower than a MIDI file can say") as refusal:
        to_midi(made)
    assert refusal.value.remarks[0].bar == 2


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


@st.composite
def readings(draw):
    """Real plans over a small score with small notes, rolls, slurs and staccato."""
    plan: dict = {"tempo": draw(st.floats(30, 300))}
    if draw(st.booleans()):
        plan["voices"] = {"melody": {"level": "0 dB", "lead": f"{draw(st.integers(1, 60))} ms"}, "bass": "-3 dB"}
    if draw(st.booleans()):
        plan["phrases"] = [{"bars": "1-4", "inside": ["1-2", "3-4"], "arch": f"{draw(st.integers(1, 20))}%"}]
    slowings = []
    for bar in draw(st.lists(st.integers(1, 6), max_size=2, unique=True)):
        word = draw(st.sampled_from(["rallentando", "ritenuto", "allargando"]))
        slowings.append({word: f"{bar}:2 - {bar}:4", "to": f"{draw(st.integers(30, 95))}%", "then": "a tempo"})
    holds = [{"breath": "after 2:4", "seconds": draw(st.floats(0.05, 1.0))}] if draw(st.booleans()) else []
    holds += [{"fermata": "6:4", "length": f"{draw(st.integers(110, 300))}%"}] if draw(st.booleans()) else []
    dynamics = [{"crescendo": "1:1 - 6:4", "by": f"{draw(st.integers(1, 12))} dB"}]
    passes = {"order": ["1-6", "1-3", "1-6"]} if draw(st.booleans()) else {}
    plan |= {"slowing": slowings, "holds": holds, "dynamics": dynamics, **passes}
    voices = {1: "c5:1.( d5:1g e5:2) f5:1 " * 6, 2: "c3+g3+e4:2~ g3:1.5 a3:.5. " * 6, 3: "r:1 e4:3 " * 6}
    return reading(plan, bars=6, voices=voices, program=draw(st.sampled_from([0, 40, 24]))).performance


@given(readings())
@settings(max_examples=40, deadline=None)
def test_plans_arrive_as_they_were_made(made):
    file = to_midi(made)
    read = read_by_mido(file)
    assert len(read) == len(made.notes)
    assert np.abs(read[:, :2] - sounding(made)).max() < NEAR
    lines = np.rint(made.bars["start"] * file.ticks_per_beat)
    assert np.abs(seconds_at(file, lines) - made.time.seconds(made.bars["start"])).max() < NEAR


def seconds_at(file: mido.MidiFile, ticks: np.ndarray) -> np.ndarray:
    """What the tempo events of a file make of these ticks."""
    marks = [(tick, m.tempo) for tick, m in absolute(file.tracks[0]) if m.type == "set_tempo"]
    starts, tempo = np.array(marks).T
    tick_seconds = tempo * 1e-6 / file.ticks_per_beat
    begun = np.append(0, np.cumsum(np.diff(starts) * tick_seconds[:-1]))
    row = np.searchsorted(starts, ticks, side="right") - 1
    return begun[row] + (ticks - starts[row]) * tick_seconds[row]


def test_an_hour_at_an_awkward_tempo_does_not_drift():
    made = performance([{"score_onset": n, "score_length": 1.0, "pitch": 60 + n % 2} for n in range(3780)], tempo=63)
    file = to_midi(made)
    assert made.time.length == pytest.approx(3600)
    read = read_by_mido(file)
    assert np.abs(np.sort(read[:, 1]) - np.sort(made.notes["onset"])).max() < 0.1e-3
    assert abs(read[:, 2].max() - 3600) < 0.1e-3
    assert sum(m.time for m in file.tracks[0]) < 10**7


@pytest.mark.parametrize("beyond", [0.5, 30.0])
def test_a_last_note_beyond_the_last_bar_line_keeps_its_end_and_the_limit(beyond):
    quarters = 5000
    notes = [{"score_onset": quarters - 1.0, "end": quarters + beyond}, {"score_onset": quarters - 1.02, "pitch": 50}]
    made = performance(notes, tempo=60)
    file = to_midi(made)
    assert abs(read_by_mido(file)[:, 2].max() - (quarters + beyond)) < NEAR
    assert max(sum(m.time for m in track) for track in file.tracks) < 10**7


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
@settings(deadline=None)
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


@given(st.lists(st.lists(st.integers(0, 40), max_size=12), min_size=1, max_size=5))
def test_crowded_moments_find_ticks_of_their_own_between_bar_lines_that_stay(bars):
    """Bars of 40 ticks, with up to 12 moments between their lines that may all ask for the same tick."""
    wanted = [tick for n, inner in enumerate(bars) for tick in (40 * n, *sorted(40 * n + t for t in inner))]
    wanted.append(40 * len(bars))
    fixed = [line for inner in bars for line in (True, *[False] * len(inner))] + [True]
    ticks = one_each(np.array(wanted), np.array(fixed))
    assert (np.diff(ticks) > 0).all()
    assert ticks[fixed].tolist() == [40 * n for n in range(len(bars) + 1)]
    assert np.abs(ticks - wanted).max() <= 12


def test_where_there_is_no_room_bar_lines_stay():
    """A bar of 10^6 quarters at the end: a tick is a ninth of a quarter, and sixty notes ask for nine of them."""
    notes = [{"score_onset": 8.0 + n / 60, "onset": 8.0 + n / 60, "end": 9.5} for n in range(60)]
    bars = [{"length": 4.0}] * 3 + [{"length": 10.0**6}]
    made = performance(notes, bars=bars)
    file = to_midi(made)
    assert file.ticks_per_beat < 24
    ticks, seconds = absolute(file.tracks[0]), made.time.seconds(made.bars["start"])
    assert seconds_at(file, made.bars["start"] * file.ticks_per_beat) == pytest.approx(seconds, abs=NEAR)
    assert [m.type for _, m in absolute(file.tracks[1])].count("note_on") == 60
    assert ticks[-1][0] == round(made.quarters * file.ticks_per_beat) < 10**7


def test_a_performance_without_notes_is_a_file_without_notes():
    file = to_midi(performance([]))
    assert [m.type for m in file.tracks[1] if not m.is_meta] == ["program_change", "control_change", "control_change"]
