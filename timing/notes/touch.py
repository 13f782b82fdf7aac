"""How written signs shape the onset and the length of notes: articulation, small notes, rolled chords, leading voices.

Everything is worked out on whole columns. Amounts come from the plan's `articulation:` and `voices:`; what they leave
out follows common practice (see `timing.plan.Articulation`).
"""

from __future__ import annotations

import numpy as np

from timing.columns import NEAR, ROUNDING
from timing.notes.displacement import Displacement
from timing.notes.lines import voice_numbers
from timing.plan.sound import Articulation
from timing.score import Sign
from timing.timemap import TimeMap

QUICK = 2  # in the column `roll`: a chord struck by the nails, as a rasgueado
_SHORTEST = 0.005  # seconds; no note is shorter


def onsets_and_ends(
    notes: np.ndarray,
    played: np.ndarray,
    touch: Articulation,
    time: TimeMap,
    lead: np.ndarray,
    breaths: list[tuple[float, float, bool]],
    displaced: Displacement,
) -> tuple[np.ndarray, np.ndarray]:
    """(n,) seconds at which each note begins and is let go.

    `notes` are the score's rows (NOTE) of the performed notes `played` (PLAYED), which are sorted by score onset;
    `lead` is how many seconds each note comes early; `breaths` are (quarters, seconds of silence before,
    whether the clock waits for it); `displaced` is where the notes are against the clock.
    """
    finish = played["score_onset"] + played["score_length"]
    onset, written_end, latest = _small_notes(notes, played, touch, time, finish)
    by_finish = np.argsort(finish, kind="stable")
    gaps = [slice(*np.searchsorted(finish, (at - NEAR, at + NEAR), sorter=by_finish)) for at, _, _ in breaths]
    for gap, (_, seconds, waits) in zip(gaps, breaths, strict=True):
        written_end[by_finish[gap]] -= seconds * waits  # the silence that was added is no part of the note
    end = np.minimum(_ends(notes, touch, onset, written_end), latest)
    onset = onset + _rolls(notes, played, touch, onset, end)
    for gap, (at, seconds, _) in zip(gaps, breaths, strict=True):
        end[by_finish[gap]] = np.minimum(end[by_finish[gap]], float(time.seconds(at)) - seconds)
    # a voice that leaves the others moves as a whole, with its breaths; nothing comes before the beginning
    every = np.arange(len(played))
    onset, end = displaced.at(every, onset), displaced.at(every, end)
    shift = np.minimum(lead, onset)
    onset, end = onset - shift, end - shift
    return onset, np.maximum(end, onset + _SHORTEST)


def until_struck_again(played: np.ndarray) -> np.ndarray:
    """(n,) ends of the notes, none beyond the next onset of the same pitch in the same lane."""
    order = np.lexsort((played["onset"], played["pitch"], played["lane"]))
    lane, pitch, onset = (played[column][order] for column in ("lane", "pitch", "onset"))
    same = (lane[1:] == lane[:-1]) & (pitch[1:] == pitch[:-1])
    later = np.append(True, ~same | (onset[1:] > onset[:-1] + ROUNDING))  # what is doubled is struck once
    strokes = np.flatnonzero(later)
    again = np.append(np.where(same[strokes[1:] - 1], onset[strokes[1:]], np.inf), np.inf)
    ends = np.empty(len(played))
    ends[order] = np.minimum(played["end"][order], again[np.cumsum(later) - 1])
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


def _small_notes(
    notes: np.ndarray, played: np.ndarray, touch: Articulation, time: TimeMap, finish: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(n,) onsets and written ends in seconds with the grace notes in their place, and the latest end that these allow.

    A slashed grace note, or several, come just before the beat and take their time from the note before; one without a
    stroke is on the beat and takes its share of the main note (C. P. E. Bach 1753 and later tutors, from memory). At
    the very beginning, where there is no time before, all of them are on the beat. Small notes that end a note come
    before its end.
    """
    onset, end = time.seconds(played["score_onset"]), time.seconds(finish)
    latest = np.full(len(played), np.inf)
    grace = notes["grace"] > 0
    if not grace.any():
        return onset, end, latest
    keys, group = np.unique(voice_moments(played, played["score_onset"]), return_inverse=True)
    own, main = grace & ~notes["after"], ~grace & (played["score_length"] > 0)
    count = _most(group[own], notes["grace"][own].astype(float), len(keys), 0.0)
    moment = np.zeros(len(keys))
    moment[group] = onset

    # on the beat: the main note gives way
    leans, waits = leaning(notes, played, touch)
    leant = np.isin(np.arange(len(keys)), group[leans])
    late = leant[group] & (main | leans)
    resolved = time.seconds((played["score_onset"] + waits)[late])
    end[leans], onset[late & main] = resolved[leans[late]], resolved[main[late]]

    # before the beat: one after another, those that end a note first
    before = grace & ~leans
    place = notes["grace"] + np.where(notes["after"] & ~leant[group], count[group], 0)
    count = _most(group[before], place[before], len(keys), 0.0)
    opening = moment <= ROUNDING
    shortest = -_most(group[main], (onset - end)[main], len(keys), -np.inf)
    begun = moment + np.where(opening, np.minimum(count * touch.grace, shortest / 2), 0)  # after its own small notes
    np.maximum.at(begun, group[main], onset[main])
    room = np.where(opening, shortest, _room_before(keys, moment, begun))
    step = np.minimum(touch.grace, room / 2 / np.maximum(count, 1))
    arrival = moment + np.where(opening, count * step, 0)
    onset[before] = (arrival[group] - place * step[group])[before]
    end[before] = onset[before] + step[group][before]
    onset = np.where(main & opening[group] & (count[group] > 0), arrival[group], onset)
    given = (count > 0) & ~opening
    ending = voice_moments(played, finish)
    following = np.minimum(np.searchsorted(keys, ending), len(keys) - 1)
    cut = main & (keys[following] == ending) & given[following]
    latest[cut] = (moment - count * step)[following[cut]]
    return onset, end, latest


def leaning(notes: np.ndarray, played: np.ndarray, touch: Articulation) -> tuple[np.ndarray, np.ndarray]:
    """(n,) which small notes are appoggiaturas on the beat, and (n,) how many quarters the notes there wait for one."""
    grace = notes["grace"] > 0
    keys, group = np.unique(voice_moments(played, played["score_onset"]), return_inverse=True)
    own, main = grace & ~notes["after"], ~grace & (played["score_length"] > 0)
    count = _most(group[own], notes["grace"][own].astype(float), len(keys), 0.0)
    length = -_most(group[main], -played["score_length"][main], len(keys), -np.inf)
    leans = own & ~notes["slashed"] & (count[group] == 1) & np.isfinite(length[group])
    leant = np.isin(np.arange(len(keys)), group[leans])
    share = np.where(dotted(length), 2 * touch.appoggiatura / 1.5, touch.appoggiatura)
    return leans, np.where(leant, np.minimum(share, 0.9) * np.where(leant, length, 0), 0)[group]


_MOMENTS = 1 << 44  # more than there are millionths of a quarter in any piece


def voice_moments(played: np.ndarray, quarters: np.ndarray) -> np.ndarray:
    """(n,) one integer for each voice and moment: a main note, its chord and its small notes share it."""
    return voice_numbers(played)[1] * _MOMENTS + np.round(quarters * 1e6).astype(np.int64)


def _most(group: np.ndarray, value: np.ndarray, groups: int, nothing: float) -> np.ndarray:
    """(groups,) the greatest value in each group, `nothing` where there is none."""
    most = np.full(groups, nothing)
    np.maximum.at(most, group, value)
    return most


def _room_before(keys: np.ndarray, moment: np.ndarray, begun: np.ndarray) -> np.ndarray:
    """(groups,) seconds between the beginning of the group before each one in the same voice, or of all, and itself."""
    previous = np.append(0.0, np.where(np.diff(keys // _MOMENTS) == 0, begun[:-1], 0.0))
    return moment - previous


def dotted(lengths: np.ndarray) -> np.ndarray:
    """Which lengths are those of a dotted note, 3·2^n quarters: there the appoggiatura takes two parts of three."""
    return np.abs(np.mod(np.log2(np.clip(lengths, 1e-9, 1e9) / 3) + 0.5, 1) - 0.5) < NEAR


def _rolls(
    notes: np.ndarray, played: np.ndarray, touch: Articulation, onset: np.ndarray, end: np.ndarray
) -> np.ndarray:
    """(n,) seconds by which the notes of rolled chords are moved: from the bottom up, or down, one after another."""
    rolled = np.flatnonzero((notes["roll"] != 0) & (notes["grace"] == 0))
    moved = np.zeros(len(notes))
    if not len(rolled):
        return moved
    rows = played[rolled]
    direction = np.sign(notes["roll"][rolled].astype(np.int64))
    apart = np.where(np.abs(notes["roll"][rolled]) == QUICK, touch.rasgueado, touch.roll)
    moment = np.round(rows["score_onset"] * 1e6).astype(np.int64)
    order = np.lexsort((direction * rows["pitch"], rows["part"], moment))
    key = np.stack([moment, rows["part"]])[:, order]
    new = np.append(True, np.any(np.diff(key, axis=1) != 0, axis=0))
    chord = np.cumsum(new) - 1
    size = np.bincount(chord)
    place = np.arange(len(order)) - np.flatnonzero(new)[chord]
    shortest = np.full(len(size), np.inf)
    np.minimum.at(shortest, chord, (end - onset)[rolled[order]])
    slowest = np.full(len(size), np.inf)
    np.minimum.at(slowest, chord, apart[order])
    step = np.minimum(slowest, shortest / 2 / np.maximum(size - 1, 1))[chord]
    late = place - (size[chord] - 1 if touch.roll_ends else 0)
    moved[rolled[order]] = np.maximum(late * step, -onset[rolled[order]])
    return moved
