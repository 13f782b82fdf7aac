"""What holds of every slide, whatever leads, rolls or repeats around it, down to the MIDI file."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from support import midi, reading, score

from render.midi.file import to_midi
from timing.performance import CARRIED

PITCHES = ["e4", "g4", "b4", "c5", "e5", "a4"]


@st.composite
def pieces(draw):
    """Two bars in two voices with chords, rolls and small notes, and slides between neighbouring places."""
    words, place = [], 0.0
    places, tops = [], []
    while place < 7.9:
        length = draw(st.sampled_from([0.25, 0.5, 1.0, 2.0]))
        length = min(length, 8 - place)
        first, second = draw(st.lists(st.sampled_from(PITCHES), min_size=2, max_size=2, unique=True))
        if draw(st.booleans()) and draw(st.booleans()):
            words.append(f"{second}:0.25g")
        both = draw(st.booleans())
        chord = f"{first}+{second}" if both else first
        tops.append(max(map(midi, (first, second))) if both else midi(first))
        words.append(f"{chord}:{length}{draw(st.sampled_from(['', '~', '.', '(']))}")
        places.append(f"{int(place // 4) + 1}:{place % 4 + 1:g}")
        place += length
    entries = []
    for (here, low), (there, high) in pairwise(zip(places, tops, strict=True)):
        if low != high and draw(st.booleans()):  # the highest notes slide
            entry = {"from": here, "to": there, "for": "voice 1", "swell": f"{draw(st.sampled_from([0, 3, 15]))} dB"}
            entry["arrive"] = draw(st.sampled_from(["plucked", "slurred"]))
            entries.append(entry | {"glide": draw(st.sampled_from(["5%", "40%", "100%"]))})
    program = draw(st.sampled_from([24, 40, 0]))
    made = score(2, voices={1: " ".join(words), 2: "a2:4 e2:4"}, program=program)
    lead = draw(st.sampled_from(["0 ms", "30 ms", "150 ms"]))
    tempo = draw(st.sampled_from([40, 120, 240]))
    plan = {"tempo": tempo, "glissandi": entries, "voices": {"voice 1": {"level": "0 dB", "lead": lead}}}
    plan["order"] = draw(st.sampled_from(["1-2", "1-2, 1-2"]))
    return plan, made


@given(pieces())
def test_slides_lie_within_their_notes_and_everything_is_let_go(piece):
    performance = reading(*piece).performance
    notes, glides, bends, curves = performance.notes, performance.glides, performance.bends, performance.curves
    onset = notes["onset"]
    assert np.all(onset[glides["note"]] <= glides["leave"] + 1e-9)
    assert np.all(glides["leave"] < glides["arrive"])
    assert np.array_equal(glides["arrive"], onset[glides["goal"]])
    for table, column in ((notes, "level"), (bends, "semitones"), (curves, "level")):
        assert np.isfinite(table[column]).all()
    carried = notes["attack"] == CARRIED
    assert set(np.flatnonzero(carried)) == set(glides["goal"][glides["attack"] == CARRIED])
    assert not carried[bends["note"]].any()  # what bends was struck
    for row in np.flatnonzero(carried):
        before = np.flatnonzero((notes["lane"] == notes["lane"][row]) & (onset < onset[row]))
        assert len(before) and performance.lanes["sliding"][notes["lane"][row]]

    file = to_midi(performance)
    struck = 0
    for track in file.tracks:
        sounding = set()
        for message in track:
            if message.type == "note_on":
                struck += 1
                sounding.add(message.note)
            elif message.type == "note_off":
                sounding.discard(message.note)
        assert not sounding
    assert struck == len(notes) - carried.sum()
    turning = [any(message.type == "pitchwheel" for message in track) for track in file.tracks[1:]]
    assert not np.any(np.array(turning) & ~performance.lanes["sliding"])
