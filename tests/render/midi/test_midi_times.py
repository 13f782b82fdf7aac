"""When things sound in our MIDI files, as other programs read them: mido and pretty_midi are the readers."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from midi_files import NEAR, absolute, ons, read_by_mido, read_by_pretty_midi, seconds_at, sounding
from performances import performance, performances, time_maps
from support import reading

from render.midi.clock import one_each, resolution_for
from render.midi.file import to_midi
from timing.remarks import CannotDo
from timing.timemap import TimeMap, strict


@given(performances())
def test_every_onset_is_where_the_plan_has_it(made):
    file = to_midi(made)
    planned = sounding(made)
    assert np.abs(read_by_mido(file)[:, :2] - planned).max() < NEAR
    read = read_by_pretty_midi(file)
    onsets = np.array(sorted((n.pitch, n.start) for instrument in read.instruments for n in instrument.notes))
    assert np.abs(onsets - planned).max() < NEAR


@given(performances())
def test_what_is_not_displaced_lies_on_the_tick_of_its_place_in_the_score(made):
    file = to_midi(made)
    planned = np.abs(made.notes["onset"] - made.time.seconds(made.notes["score_onset"])) < 1e-9
    expected = {(round(note["score_onset"] * file.ticks_per_beat), int(note["pitch"])) for note in made.notes[planned]}
    assert expected <= set(ons(file))


@given(time_maps())
def test_ends_are_where_the_plan_has_them(time):
    made = performance([{"score_onset": n / 2, "score_length": 0.5, "pitch": 40 + n} for n in range(32)], time=time)
    assert np.abs(read_by_mido(to_midi(made))[:, 2] - np.sort(made.notes["end"])).max() < NEAR


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
def test_plans_arrive_as_they_were_made(made):
    file = to_midi(made)
    read = read_by_mido(file)
    assert len(read) == len(made.notes)
    assert np.abs(read[:, :2] - sounding(made)).max() < NEAR
    lines = np.rint(made.bars["start"] * file.ticks_per_beat)
    assert np.abs(seconds_at(file, lines) - made.time.seconds(made.bars["start"])).max() < NEAR


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


def test_a_tempo_too_slow_for_the_format_is_refused_by_bar():
    pieces = np.concatenate([strict(4.0, 60.0), strict(4.0, 3.0), strict(4.0, 60.0)])
    pieces["start"], pieces["end"] = [0, 4, 8], [4, 8, 12]
    made = performance([{"score_onset": n} for n in range(12)], time=TimeMap(pieces))
    with pytest.raises(CannotDo, match="bar 2 is slower than a MIDI file can say") as refusal:
        to_midi(made)
    assert refusal.value.remarks[0].bar == 2


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
