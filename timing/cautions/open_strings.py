"""How strings themselves sound: open ones that stand out of their line, and tunings whose sound nobody knows."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from timing.cautions.rules import ADVICE, CAUTION, Sound, first_few, keys_of, place_of, remark_at, rule, spot_of
from timing.columns import NEAR
from timing.instruments.programs import program_of
from timing.instruments.tuning import FRETS, pitch_name
from timing.performance import HARMONIC, PIZZICATO, POINTS, ROLES, SLURRED, TONES
from timing.plan.edits import added
from timing.reading import Reading
from timing.remarks import CannotDo, Edit, Remark, Severity

STANDS_OUT = 3.0  # dB: the house's accent, enough to be heard
NOTICED = 2.5  # dB: more than any open string of the guitar has by nature (up to 2.0 on the modelled one)
NEIGHBOURS = 2.0  # seconds within which the notes before and after sound like the same line (the house's own value)
_SOUNDS_AS = {PIZZICATO: 3, HARMONIC: 4}  # codes of a Sound, by technique


@rule(
    "open-string-out",
    "A single open string rings out of a line of stopped ones like an accent that nobody meant.",
    example="""\
score: low-water.musicxml
accents: [{at: 4:4, by: 4 dB, for: melody}]
strings: [{at: 4:1, string: 2}, {at: 4:4, string: 1}, {at: 4:6, string: 1}]
""",
    threshold=f"an open string between stopped notes of its line, at most {NEIGHBOURS:g} s away, is {STANDS_OUT:g} dB "
    f"louder than they are (advice: {NOTICED:g} dB), brightness counted as level: twice as bright as 6 dB",
    source="our own value, as for an accent; no open string of the modelled guitar comes to more than 2.0 dB by nature",
    mends="stops the note on the next string that is free, if there is one",
    listens=True,
)
def open_string_out(reading: Reading, sound: Sound | None) -> Iterator[Remark]:
    notes = reading.performance.notes
    found, before, after = _alone_in_their_lines(reading)
    louder, brighter = _heard(reading, found, before, after, sound)
    # The upper partials of a plucked string fall by about 6 dB an octave (N. Fletcher and T. Rossing, The Physics of
    # Musical Instruments, from memory): a sound whose partials reach r times as high is as loud up there as one
    # 20 log r dB louder.
    out = louder + 20 * np.log10(np.maximum(brighter, 1))
    place = {int(row): n for n, row in enumerate(found)}

    def tell(row: int, severity: Severity = CAUTION) -> Remark:
        n, note = place[row], notes[row]
        what = [f"{louder[n]:.1f} dB louder than the stopped notes beside it"] if louder[n] >= 0.05 else []
        what += [f"{brighter[n]:.2f} times as bright as it would be stopped"] if brighter[n] >= 1.005 else []
        message = (
            f"the open string {note['string']} at {place_of(note, reading)} stands out of the {ROLES[note['role']]}: "
            f"it is {' and '.join(what)}; {out[n]:.1f} dB softer, at {note['level'] - out[n]:.1f} dB, it would hide "
            "there"
        )
        return remark_at(severity, "open-string-out", message, spot_of(note, reading), None, fix=_stopped(reading, row))

    yield from first_few(found[out >= STANDS_OUT], reading, tell)
    noticed = found[(out >= NOTICED) & (out < STANDS_OUT)] if sound is not None else found[:0]
    yield from first_few(noticed, reading, lambda row: tell(row, ADVICE))


def _alone_in_their_lines(reading: Reading) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Rows of open strings that follow and precede stopped notes of their line, and the rows of these. Of a chord the
    outer note is in the line: the highest, in the bass the lowest."""
    notes = reading.performance.notes
    lines = notes[["part", "staff", "voice", "role"]]
    outer = np.where(notes["role"] == ROLES.index("bass"), -1, 1) * notes["pitch"].astype(np.int64)
    key = np.unique(lines, return_inverse=True)[1].ravel()
    order = np.lexsort((outer, notes["onset"], np.round(notes["score_onset"], 6), key))
    same = (np.diff(key[order]) == 0) & (np.diff(notes["score_onset"][order]) < NEAR)
    order = order[np.append(~same, True)[: len(order)]]  # the outer note of each chord
    line, onset = key[order], notes["onset"][order]
    beside = (np.diff(line) == 0) & (np.diff(onset) <= NEIGHBOURS)
    touched = notes["technique"][order] == HARMONIC
    stopped = (notes["fret"][order] > 0) & ~touched
    middle = np.flatnonzero((notes["fret"][order] == 0) & ~touched)
    middle = middle[(middle > 0) & (middle < len(order) - 1)]
    middle = middle[beside[middle - 1] & beside[middle] & stopped[middle - 1] & stopped[middle + 1]]
    middle = middle[np.argsort(onset[middle], kind="stable")]
    return order[middle], order[middle - 1], order[middle + 1]


def _heard(
    reading: Reading, found: np.ndarray, before: np.ndarray, after: np.ndarray, sound: Sound | None
) -> tuple[np.ndarray, np.ndarray]:
    """(n,) dB by which open strings are louder than the louder one of their neighbours, and how many times as bright
    they are as the same pitch would be, stopped, in the brighter tone of the two.

    Not against the neighbours' own brightness, since a higher note is brighter on any string. Without a `sound` the
    planned levels are all, and the brightness is 1.
    """
    notes = reading.performance.notes
    beside = np.stack([before, after])
    level, others = notes["level"][found], notes["level"][beside]
    brightness = np.ones(len(found))
    if sound is None:
        return level - others.max(axis=0, initial=-np.inf), brightness
    for part in np.unique(notes["part"][found]):
        mine = np.flatnonzero(notes["part"][found] == part)
        tuning = reading.performance.tunings[part]
        string, code = notes["string"][found[mine]].astype(np.int64), codes(notes[found[mine]])
        pitch, opened = notes["pitch"][found[mine]].astype(np.int64), tuning.astype(np.int64)
        lower = np.where((string < len(opened)) & (opened[np.minimum(string, len(opened) - 1)] > 0), string + 1, string)
        fret = np.maximum(pitch - opened[lower - 1], 1)  # the lowest string has only its own first fret to compare
        near = notes[beside[:, mine]]
        stops = near["pitch"].astype(np.int64) - opened[near["string"].astype(np.int64) - 1]
        try:
            own = _measured(sound.brightness, string, code, tuning, np.zeros_like(string))
            as_stopped = [_measured(sound.brightness, lower, codes(n), tuning, fret) for n in near]
            level[mine] += _measured(sound.loudness, string, code, tuning, np.zeros_like(string))
            others[:, mine] += _measured(sound.loudness, near["string"], codes(near), tuning, stops)
        except CannotDo:  # a tuning that the sound does not know: the levels are what is known
            continue
        brightness[mine] = own / np.max(as_stopped, axis=0)
    return level - others.max(axis=0, initial=-np.inf), brightness


def _measured(
    measure: Callable[[int, int, tuple[int, ...], np.ndarray], np.ndarray],
    string: np.ndarray,
    code: np.ndarray,
    tuning: np.ndarray,
    fret: np.ndarray,
) -> np.ndarray:
    """What a Sound says of notes, in arrays of any one shape: it is asked once for each string and tone."""
    kinds = np.stack([string, code], axis=-1).astype(np.int64).reshape(-1, 2)
    asked, kind = np.unique(kinds, axis=0, return_inverse=True)
    kind, frets, made = kind.ravel(), np.asarray(fret).ravel(), np.empty(kinds.shape[0])
    open_pitches = tuple(int(pitch) for pitch in tuning if pitch > 0)
    for number, (one, tone) in enumerate(asked.tolist()):
        mine = kind == number
        needed, back = np.unique(frets[mine], return_inverse=True)
        made[mine] = np.asarray(measure(one, tone, open_pitches, needed))[back.ravel()]
    return made.reshape(np.shape(fret))


def plucked_at(notes: np.ndarray) -> np.ndarray:
    """(n,) cm from the bridge."""
    return np.where(np.isfinite(notes["pluck"]), notes["pluck"], np.array(list(POINTS.values()))[notes["tone"]])


def codes(notes: np.ndarray) -> np.ndarray:
    """(n,) tones of a Sound: by technique, then by how the note is sounded, then the nearest plucking point."""
    named = np.array([POINTS[tone] for tone in TONES[:3]])
    code = np.abs(plucked_at(notes)[..., None] - named).argmin(axis=-1)
    code = np.where(notes["attack"] == SLURRED, 5, code)
    for technique, number in _SOUNDS_AS.items():
        code = np.where(notes["technique"] == technique, number, code)
    return code


def _stopped(reading: Reading, row: int) -> tuple[Edit, ...]:
    """The strings entry that stops the note on a lower string which is free when it begins."""
    notes, note = reading.performance.notes, reading.performance.notes[row]
    sounding = (notes["onset"] <= note["onset"] + NEAR) & (notes["end"] > note["onset"] + 1e-3)
    taken = set(notes["string"][sounding & (notes["part"] == note["part"])].tolist())
    for string, opened in enumerate(reading.performance.tunings[note["part"]].tolist(), 1):
        if opened > 0 and string not in taken and 1 <= note["pitch"] - opened <= FRETS - reading.capos[note["part"]]:
            return (added("strings", keys_of(row, reading) | {"string": string}),)
    return ()


@rule(
    "tuning-unknown",
    "Where the sound of the strings is not known, all strings and plucking points of the guitar sound alike.",
    example="""\
score: low-water.musicxml
tuning: [E4, B3, G3, D3, A2, E2, B1, F#1]
""",
    threshold="the classical guitar has more strings than seven, or one that is tuned below A0 or above E6",
    source="our own value: what the modelled guitar has strings for",
    listens=True,
)
def tuning_unknown(reading: Reading, sound: Sound | None) -> Iterator[Remark]:
    if sound is None:
        return
    lanes, tunings = reading.performance.lanes, reading.performance.tunings
    classical = np.unique(lanes["part"][lanes["program"] == program_of("classical guitar")])
    for part in classical[np.any(tunings[classical], axis=1)]:
        pitches = tuple(int(pitch) for pitch in tunings[part] if pitch > 0)
        try:
            sound.loudness(1, 0, pitches, np.zeros(1, int))
        except CannotDo:
            message = (
                f"how strings sound that are tuned to {' '.join(map(pitch_name, pitches))} is not known: a guitar "
                "without strings of its own is heard"
            )
            yield Remark(ADVICE, "tuning-unknown", message, reading.plan.place("tuning"))
