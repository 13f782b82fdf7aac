"""Comparisons of the demo against the MIDI files that are written of its readings, and plain loops over their notes."""

from __future__ import annotations

import numpy as np
import pretty_midi
import pytest
from house import PLANS

from render import write_midi
from timing import load
from timing.comparing import compare

PAIRS = [("low-water-flowing", "low-water-inward"), ("low-water-flowing", "low-water-misplaced")]
TICK = 1e-3  # seconds within which a moment in a MIDI file lies where it was planned


@pytest.fixture(scope="module", params=PAIRS, ids="-".join)
def compared(request):
    return compare([load(PLANS / f"{name}.yaml") for name in request.param])


@pytest.fixture(scope="module")
def files(compared, tmp_path_factory):
    """The readings as MIDI files, read by pretty_midi."""
    folder = tmp_path_factory.mktemp("midi")
    made = []
    for number, reading in enumerate(compared.readings):
        write_midi(reading.performance, folder / f"{number}.mid")
        made.append(pretty_midi.PrettyMIDI(str(folder / f"{number}.mid")))
    return made


def quarters_of(reading, span) -> tuple[float, float]:
    """Where a phrase is heard: from the demo's own phrases, by their bars and pass."""
    where = reading.where
    for run in reading.phrases:
        text = where.range_text(run.start, run.end)
        first, last = text.split(" - ")
        bars = reading.performance.bars[run.run.first : run.run.last + 1]
        whole = f"{first.split(':')[0]}-{last.split(':')[0]}"
        most = max(set(bars["pass"].tolist()), key=bars["pass"].tolist().count)
        if span.bars in (text, whole) and most == span.pass_:
            return run.start, run.end
    raise AssertionError(f"no phrase {span.bars}")


def seconds(midi, quarters: float) -> float:
    return float(midi.tick_to_time(round(quarters * midi.resolution)))


def test_lengths_are_those_of_the_midi_files(compared, files):
    phrases = [row for row, span in enumerate(compared.spans) if span.kind == "phrase"]
    assert len(phrases) >= 18
    for number, (reading, midi) in enumerate(zip(compared.readings, files, strict=True)):
        for row in phrases:
            start, end = quarters_of(reading, compared.spans[row])
            lasts = seconds(midi, end) - seconds(midi, start)
            assert compared.measures["seconds"][row, number] == pytest.approx(lasts, abs=TICK)
        whole = seconds(midi, reading.where.length) - seconds(midi, 0)
        assert compared.measures["seconds"][-1, number] == pytest.approx(whole, abs=TICK)


def test_the_slowest_beat_is_the_longest_of_the_midi_file(compared, files):
    """All of this piece is felt in dotted quarters; so the slowest beat of the whole is where the file has the longest
    time between two of them, in tempo the same everywhere."""
    for number, (reading, midi) in enumerate(zip(compared.readings, files, strict=True)):
        best, at = 0.0, None
        for bar in reading.performance.bars:
            for beat in (0.0, 1.5):
                start = bar["start"] + beat
                if bar["length"] == 3.0:
                    lasts = seconds(midi, start + 1.5) - seconds(midi, start)
                    if lasts > best + 1e-6:
                        best, at = lasts, (str(bar["number"]), 1 + 2 * beat)
        made = compared.measures[-1, number]
        assert (made["bar"], made["beat"]) == at
        assert made["slowest_bpm"] == pytest.approx(1.5 * 60 / best, rel=1e-3)
        tempo = reading.plan.tempo[0].tempo
        assert made["slowest"] == pytest.approx(1.5 * 60 / tempo / best, rel=1e-3)


def test_levels_and_tones_are_those_of_the_notes_one_by_one(compared):
    for number, reading in enumerate(compared.readings):
        performance = reading.performance
        swells: dict[int, list[float]] = {}
        for point in performance.curves:
            swells.setdefault(int(point["note"]), []).append(float(point["level"]))
        for row, span in enumerate(compared.spans):
            start, end = quarters_of(reading, span) if span.kind == "phrase" else (0.0, reading.where.length)
            levels, sounding = [], {}
            for k, note in enumerate(performance.notes):
                if not start - 1e-6 <= note["score_onset"] < end - 1e-6:
                    continue
                tone = ("naturale", "sul tasto", "sul ponticello")[note["tone"]]
                tone = tone if np.isnan(note["pluck"]) else f"{note['pluck']:g} cm"  # as a dolce has it
                sounding[tone] = sounding.get(tone, 0.0) + note["end"] - note["onset"]
                if note["role"] == 0:
                    levels += [note["level"] + swell for swell in (0.0, *swells.get(k, ()))]
            made = compared.measures[row, number]
            assert (made["softest"], made["loudest"]) == pytest.approx((min(levels), max(levels)), abs=1e-9)
            shares = dict(zip(compared.tones, compared.shares[row, number].tolist(), strict=True))
            whole = sum(sounding.values())
            assert {tone: share for tone, share in shares.items() if share} == pytest.approx(
                {tone: part / whole for tone, part in sounding.items()}
            )
