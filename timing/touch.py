"""How written signs shape the onset and the length of notes: articulation, small notes, rolled chords, leading voices.

Everything is worked out on whole columns. Amounts come from the plan's `articulation:` and `voices:`; what they leave
out follows common practice (see `timing.plan.Articulation`).
"""

from __future__ import annotations

import numpy as np

from timing.plan import Articulation
from timing.score import Sign
from timing.timemap import TimeMap

_SHORTEST = 0.005  # seconds; no note is shorter


def onsets_and_ends(
    notes: np.ndarray, played: np.ndarray, touch: Articulation, time: TimeMap, lead: np.ndarray, breaths: list[tuple[float, float]]
) -> tuple[np.ndarray, np.ndarray]:
    """(n,) seconds at which each note begins and is let go.

    `notes` are the score's rows (NOTE) of the performed notes `played` (PLAYED), which are sorted by score onset;
    `lead` is how many seconds each note comes early; `breaths` are (quarters, seconds of silence before).
    """
    onset = time.seconds(played["score_onset"])
    written_end = time.seconds(played["score_onset"] + played["score_length"])
    groups = _groups(played)
    onset = _small_notes(notes, played, touch, time, onset, groups)
    end = _ends(notes, touch, onset, written_end)
    onset = onset + _rolls(notes, played, touch, onset, written_end)
    # a voice that leads moves as a whole; nothing comes before the beginning
    shift = np.minimum(lead, onset)
    onset, end = onset - shift, end - shift
    for at, seconds in breaths:
        before = np.abs(played["score_onset"] + played["score_length"] - at) < 1e-6
        gap = float(time.seconds(at)) - seconds
        end[before] = np.minimum(end[before], np.maximum(gap, onset[before] + _SHORTEST))
    return onset, np.maximum(end, onset + _SHORTEST)


def until_struck_again(played: np.ndarray) -> np.ndarray:
    """(n,) ends of the notes, none beyond the next onset of the same pitch in the same lane."""
    order = np.lexsort((played["onset"], played["pitch"], played["lane"]))
    ranked = played[order]
    again = np.full(len(played), np.inf)
    same = (ranked["lane"][1:] == ranked["lane"][:-1]) & (ranked["pitch"][1:] == ranked["pitch"][:-1])
    later = same & (ranked["onset"][1:] > ranked["onset"][:-1] + 1e-9)
    again[:-1][later] = ranked["onset"][1:][later]
    ends = np.empty(len(played))
    ends[order] = np.minimum(ranked["end"], again)
    return ends


def _ends(notes: np.ndarray, touch: Articulation, onset: np.ndarray, written_end: np.ndarray) -> np.ndarray:
    """Seconds at which each note is let go, by its signs; the later entries of the table win."""
    signs = notes["signs"]

    def has(sign: Sign) -> np.ndarray:
        return (signs & sign) != 0

    slurred = has(Sign.SLURRED)
    share = np.select(
        [
            has(Sign.STACCATISSIMO),
            has(Sign.STACCATO) & (has(Sign.TENUTO) | slurred | has(Sign.SLUR_END)),  # portato
            has(Sign.STACCATO),
            has(Sign.TENUTO),
            slurred,
            has(Sign.SLUR_END),
        ],
        [touch.staccatissimo, touch.portato, touch.staccato, touch.tenuto, 1.0, touch.slur_end],
        touch.plain,
    )
    overlap = np.where(slurred & ~has(Sign.STACCATO) & ~has(Sign.STACCATISSIMO), touch.slur_overlap, 0.0)
    return onset + (written_end - onset) * share + overlap


def _groups(played: np.ndarray) -> np.ndarray:
    """(n,) a number for each moment in each voice: main note, its chord and its small notes share it."""
    keys = np.stack([played["ordinal"], played["part"], played["staff"], played["voice"]], axis=1).astype(np.int64)
    moment = np.round(played["score_onset"] * 1e6).astype(np.int64)
    return np.unique(np.column_stack([keys, moment]), axis=0, return_inverse=True)[1].ravel()


def _small_notes(
    notes: np.ndarray, played: np.ndarray, touch: Articulation, time: TimeMap, onset: np.ndarray, groups: np.ndarray
) -> np.ndarray:
    """Onsets with grace notes in their place; a long appoggiatura delays its main note.

    A slashed grace note, or several, come just before the beat; one without a stroke is on the beat and takes its share
    of the main note (C. P. E. Bach 1753 and later tutors, from memory). At the very beginning, where there is no time
    before, all of them are on the beat. Small notes that end a note come before its end.
    """
    grace = notes["grace"] > 0
    if not grace.any():
        return onset
    onset = onset.copy()
    count = np.zeros(groups.max() + 1, np.int64)
    np.maximum.at(count, groups[grace], notes["grace"][grace])
    main_length = np.full(len(count), np.inf)
    main = ~grace & (played["score_length"] > 0)
    np.minimum.at(main_length, groups[main], played["score_length"][main])
    room = _room_before(played, onset, groups)
    step = np.minimum(touch.grace, room / 2 / np.maximum(count, 1))  # seconds a small note, per group

    before = grace & (notes["slashed"] | notes["after"] | (count[groups] > 1) | np.isinf(main_length[groups]))
    opening = before & (onset <= 1e-9)
    onset[before & ~opening] -= (step[groups] * notes["grace"])[before & ~opening]
    onset[opening] += ((count[groups] - notes["grace"]) * touch.grace)[opening]
    delayed = np.isin(groups, groups[opening]) & main
    onset[delayed] += (count[groups] * touch.grace)[delayed]

    leaning = np.isin(groups, groups[grace & ~before]) & main
    taken = played["score_length"] * np.where(_dotted(played["score_length"]), 2 * touch.appoggiatura / 1.5, touch.appoggiatura)
    onset[leaning] = time.seconds((played["score_onset"] + np.minimum(taken, 0.9 * played["score_length"]))[leaning])
    return onset


def _dotted(lengths: np.ndarray) -> np.ndarray:
    """Which lengths are those of a dotted note, 3·2^n quarters: there the appoggiatura takes two parts of three."""
    return np.abs(np.mod(np.log2(np.maximum(lengths, 1e-9) / 3) + 0.5, 1) - 0.5) < 1e-6


def _room_before(played: np.ndarray, onset: np.ndarray, groups: np.ndarray) -> np.ndarray:
    """(groups,) seconds between the onset of each group and the one before it in the same voice."""
    first = np.full(groups.max() + 1, np.inf)
    np.minimum.at(first, groups, onset)
    voice = np.zeros(len(first), np.int64)
    voice[groups] = (played["part"].astype(np.int64) * 100 + played["staff"]) * 1000 + played["voice"]
    order = np.lexsort((first, voice))
    room = np.full(len(first), np.inf)
    same = voice[order][1:] == voice[order][:-1]
    room[order[1:]] = np.where(same, np.diff(first[order]), np.inf)
    return np.minimum(room, np.maximum(first, 0))


def _rolls(notes: np.ndarray, played: np.ndarray, touch: Articulation, onset: np.ndarray, written_end: np.ndarray) -> np.ndarray:
    """(n,) seconds by which the notes of rolled chords are moved: from the bottom up, or down, one after another."""
    rolled = np.flatnonzero((notes["roll"] != 0) & (notes["grace"] == 0))
    moved = np.zeros(len(notes))
    if not len(rolled):
        return moved
    rows = played[rolled]
    direction = notes["roll"][rolled].astype(np.int64)
    moment = np.round(rows["score_onset"] * 1e6).astype(np.int64)
    order = np.lexsort((direction * rows["pitch"], rows["part"], moment, rows["ordinal"]))
    key = np.stack([rows["ordinal"], moment, rows["part"]])[:, order]
    new = np.append(True, np.any(np.diff(key, axis=1) != 0, axis=0))
    chord = np.cumsum(new) - 1
    size = np.bincount(chord)
    place = np.arange(len(order)) - np.flatnonzero(new)[chord]
    shortest = np.full(len(size), np.inf)
    np.minimum.at(shortest, chord, (written_end - onset)[rolled[order]])
    step = np.minimum(touch.roll, shortest / 2 / np.maximum(size - 1, 1))[chord]
    late = place - (size[chord] - 1 if touch.roll_ends else 0)
    moved[rolled[order]] = np.maximum(late * step, -onset[rolled[order]])
    return moved
