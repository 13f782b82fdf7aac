"""The rules for level and tone: what cannot sound, what is never taken back, what covers the melody."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from timing.cautions.rules import (
    ADVICE,
    CAUTION,
    COMMON_PRACTICE,
    EVIDENCE,
    Sound,
    first_few,
    place_of,
    remark_at,
    rule,
    said,
    spot_of,
)
from timing.cautions.swells import driven
from timing.columns import NEAR, ROUNDING, WITHIN
from timing.performance import BASS, INNER, MELODY, ROLES
from timing.plan import Plan
from timing.plan.edits import added, replaced
from timing.plan.kinds import DYNAMICS, Act
from timing.plan.sound import Dynamic
from timing.reading import Reading
from timing.remarks import Remark
from timing.time.phrases import PhraseRun
from timing.tracks import sample
from timing.where.beats import beats_of, felt_beat

SOFTEST = 40 * np.log10(1 / 127)  # dB: velocity 1, by the law of SoundFont 2.04 and General MIDI 2
FOUR_BARS = 4.0  # after which a change that stays is one that was left standing
MOST_SWELL = 18.0  # dB by which a sounding note can grow: CC11 has 6 above its rest, and CC7 keeps 12 in hand


@rule(
    "level-out-of-range",
    "What an instrument cannot give is lost, and the difference that was planned with it.",
    example="""\
score: umbrella-stand.musicxml
tempo: 126
dynamics: [{at: 1, mark: fff}]
accents: [{at: 3:1, by: 3 dB}]
""",
    threshold=(
        f"a note louder than velocity 127 or softer than velocity 1 ({SOFTEST:.1f} dB), or one that is to swell by "
        f"more than {MOST_SWELL:g} dB while it sounds (one that slides to more than {MOST_SWELL:g} dB above the "
        "loudest note, with what it loses by itself meanwhile)"
    ),
    source="the level laws of SoundFont 2.04 and General MIDI 2; for swells what MIDI controllers 11 and 7 have above "
    "their rest",
    listens=True,
)
def level_out_of_range(reading: Reading, sound: Sound | None) -> Iterator[Remark]:
    performance, curves = reading.performance, driven(reading, sound)
    notes = performance.notes
    for word, excess in (("louder", notes["level"]), ("softer", SOFTEST - notes["level"])):
        change = f"take the dynamics {{}} {'down' if word == 'louder' else 'up'}"
        yield from _beyond(reading, excess, f"{word} than a note can be", change)
    swells = np.full(len(notes), -np.inf)
    np.maximum.at(swells, curves["note"], curves["level"] - MOST_SWELL)
    alone = performance.lanes["sliding"][notes["lane"]]  # such a note is struck harder and held back before it swells
    what = f"to swell further than the {MOST_SWELL:g} dB that a sounding note can"
    yield from _beyond(reading, np.where(alone, -np.inf, swells), what, "let it swell {} less")
    room = np.maximum(-notes["level"], 0)
    what = f"to swell to more than {MOST_SWELL:g} dB above the loudest note, with what it loses while it slides"
    mend = "let it swell {} less, or slide earlier or more quickly"
    yield from _beyond(reading, np.where(alone, swells - room, -np.inf), what, mend)


def _beyond(reading: Reading, excess: np.ndarray, what: str, suggestion: str) -> Iterator[Remark]:
    """A caution at the worst of the notes that go beyond a limit by `excess` dB."""
    notes = reading.performance.notes
    rows = np.flatnonzero(excess > NEAR)
    if not len(rows):
        return
    note, most = notes[rows[np.argmax(excess[rows])]], f"{excess[rows].max():.1f} dB"
    many = "1 note is" if len(rows) == 1 else f"{len(rows)} notes are"
    spot = spot_of(note, reading)
    message = f"{many} {what}, by up to {most} at {said(spot)}: the limit is what will sound"
    yield remark_at(CAUTION, "level-out-of-range", message, spot, None, suggestion.format(most))


# -- what is never taken back

LEAST_CHANGE = DYNAMICS["crescendo"].usual / 2  # dB: half a dynamic mark


@rule(
    "level-not-restored",
    "A level that was meant for one place and never goes back makes all that follows louder or softer than meant.",
    example="""\
score: umbrella-stand.musicxml
tempo: 126
marks: ignore
phrases: [{bars: 1-8, inside: [1-4, 5-8]}, 9-16]
dynamics:
  - {at: 1, mark: p}
  - {crescendo: 5:1 - 6:3, by: 6 dB}
""",
    threshold=(
        "a hairpin (or a mark for some voices) whose goal lies inside a phrase, more than a beat from the beginning "
        "and end of every phrase; nothing moves that level again, not even a return of the order; "
        f"{FOUR_BARS:g} bars or more follow after the phrase, and the level differs by {LEAST_CHANGE:g} dB or more "
        "from that with which the phrase began"
    ),
    source=f"{COMMON_PRACTICE} that a hairpin belongs to its phrase; the numbers are our own values",
    mends="brings the level back by a hairpin until the phrase ends",
)
def level_not_restored(reading: Reading) -> Iterator[Remark]:
    """Marks for all voices are not told: such a mark is a new level, and holds."""
    where, goals, seen = reading.where, _goals(reading), set()
    for track in reading.level.tracks:
        goal, glides = _last_change(track)
        entry = goals.get((round(goal, 6), glides))
        phrase = _phrase_around(goal, reading) if entry is not None and not entry.printed else None
        if entry is None or phrase is None or id(entry) in seen or _bars_after(phrase.end, reading) < FOUR_BARS:
            continue
        begun, stays = sample(track, np.array([phrase.start, goal]))
        change = float(stays - begun)
        if abs(change) < LEAST_CHANGE - ROUNDING:
            continue
        seen.add(id(entry))
        mark = entry.mark or ("louder" if entry.louder else "softer")
        what = f"the {entry.kind} {entry.where}" if glides else f"the {mark} at {entry.at}"
        side = "above" if change > 0 else "below"
        message = (
            f"after {what} nothing brings the level{f' of {entry.for_}' if entry.for_ else ''} back: to the end of the "
            f"piece it stays {abs(change):.1f} dB {side} that with which the phrase {phrase.phrase.bars} began"
        )
        keys: dict[str, Any] = {"diminuendo" if change > 0 else "crescendo": where.range_text(goal, phrase.end)}
        keys |= {"by": f"{abs(change):.3g} dB"} | ({"for": entry.for_} if entry.for_ else {})
        keys |= {"pass": entry.passes} if entry.passes else {}
        spot, place = where.beat(goal), entry.place(entry.kind)
        yield remark_at(ADVICE, "level-not-restored", message, spot, place, fix=(added("dynamics", keys),))


def _last_change(track: np.ndarray) -> tuple[float, bool]:
    """The quarter at which a track (see `tracks.table`) moves for the last time, and whether it glides there."""
    _, end, first, last = track.T
    stepped = np.append(False, first[1:] != last[:-1])
    changed = np.flatnonzero(stepped | (first != last))
    if not len(changed):
        return 0.0, False
    row = changed[-1]
    glides = bool(first[row] != last[row])
    return float(end[row] if glides else track[row, 0]), glides


def _goals(reading: Reading) -> dict[tuple[float, bool], Dynamic]:
    """By the quarters at which they arrive (and True) the hairpins, and by those at which they stand (and False) the
    marks for some voices. Of several the last."""
    where = reading.where
    made: dict[tuple[float, bool], Dynamic] = {}
    for entry in reading.plan.dynamics:
        if entry.act is not Act.STANDS:
            runs = where.runs(entry.where, entry.passes, entry.arrives)
            made |= {(round(run.end, 6), True): entry for run in runs if run.complete}
        elif entry.for_ is not None:
            made |= {(round(at, 6), False): entry for at in where.moments(entry.where, entry.passes).tolist()}
    return made


def _phrase_around(quarters: float, reading: Reading) -> PhraseRun | None:
    """The innermost phrase that this moment is inside of, if it is more than a beat from where any phrase begins or
    ends."""
    starts, ends, bars = reading.phrase_spans
    beat = reading.where.felt_beat(quarters + 2 * WITHIN) + NEAR
    around = np.flatnonzero((starts < quarters) & (quarters < ends))
    if not len(around) or np.any(np.abs(starts - quarters) <= beat) or np.any(np.abs(ends - quarters) <= beat):
        return None
    return reading.phrases[around[np.argmin(bars[around])]]


def _bars_after(quarters: float, reading: Reading) -> int:
    return int(np.count_nonzero(reading.where.bars["start"] >= quarters - NEAR))


@rule(
    "tone-not-restored",
    "A tone belongs to what is said in it; where it changes back in the middle of a phrase, or not at all, one hears a "
    "slip and not a meaning.",
    example="""\
score: low-water.musicxml
tempo: dotted quarter = 56
phrases: ["12:6 - 16:5", "16:6 - 18", 19-23, 24-27]
tone:
  - {bars: "16:6 - 20:3", tone: sul tasto}
""",
    threshold=(
        "a range of tone goes on over a phrase end by more than a beat and ends more than a beat before the next one; "
        f"or it begins inside a phrase and goes on to the end of the piece, {FOUR_BARS:g} bars or more after that "
        "phrase. (What differs the `second time`, and naturale and plain, are not counted)"
    ),
    source=f"{COMMON_PRACTICE}: one changes the tone with the phrase",
    mends="ends the tone with the phrase",
)
def tone_not_restored(reading: Reading) -> Iterator[Remark]:
    where, ends = reading.where, np.unique(reading.phrase_spans[1])
    for entry in reading.plan.tone:
        if entry.bars is None or entry.tone in ("naturale", "plain") or entry.printed:
            continue
        for run in where.runs(entry.bars, entry.passes):
            over = _outlasted(run.start, run.end, ends, reading) if run.complete else None
            if over is not None:
                spot = where.beat_before(over)
                message = f"the tone of {entry.bars} goes on over the phrase end at {said(spot)} "
                to_the_end = run.end >= where.length - NEAR
                message += "to the end of the piece" if to_the_end else "and changes back in the middle of a phrase"
                bars = where.range_text(run.start, over)
                fix = replaced(entry, {"bars": bars})
                yield remark_at(ADVICE, "tone-not-restored", message, spot, entry.place("bars"), fix=(fix,))
                break


def _outlasted(start: float, end: float, ends: np.ndarray, reading: Reading) -> float | None:
    """The phrase end that a tone between these quarters should have ended at, if there is one."""
    if end >= reading.where.length - NEAR:
        phrase = _phrase_around(start, reading)
        return phrase.end if phrase is not None and _bars_after(phrase.end, reading) >= FOUR_BARS else None
    beat = reading.where.felt_beat(end) + NEAR
    row = int(np.searchsorted(ends, end - beat)) - 1
    if row < 0 or ends[row] <= start + beat or _phrase_around(end, reading) is None:
        return None
    return float(ends[row])


# -- the melody

LOUDER, BEATS = 1.0, 4  # dB; beats, one after another
UNDER = 3.0  # dB by which a suggestion puts the other voice under the melody


@rule(
    "inner-over-melody",
    "A listener follows the loudest line; where an inner voice or the bass is louder for long, the melody is lost.",
    example="""\
score: umbrella-stand.musicxml
tempo: 126
voices: {melody: -6 dB, bass: 0 dB}
""",
    threshold=(
        f"in {BEATS} beats one after another, or more, the loudest note of the inner voices (or of the bass) is "
        f"{LOUDER:g} dB or more above the note of the melody that sounds with it; beats in which only one of them "
        "sounds are passed over. (Only where the plan itself says how loud something is: what is printed is not judged)"
    ),
    source=(
        f"{EVIDENCE}: the melody is the louder one, by 12 to 18 velocity units; 1 dB is about the least difference of "
        "level that is heard (from memory)"
    ),
)
def inner_over_melody(reading: Reading) -> Iterator[Remark]:
    if not _says_levels(reading.plan):
        return
    notes, bars = reading.performance.notes, reading.where.bars
    excess, beat = _over_melody(notes), _beat_numbers(notes, bars)
    for role in (INNER, BASS):
        mine = np.flatnonzero((notes["role"] == role) & np.isfinite(excess))
        if not len(mine):
            continue
        most = np.full(beat[mine].max() + 1, -np.inf)
        np.maximum.at(most, beat[mine], excess[mine])
        heard = np.flatnonzero(np.isfinite(most))
        loud = np.concatenate([[False], most[heard] >= LOUDER - ROUNDING, [False]])
        begins, over = np.flatnonzero(~loud[:-1] & loud[1:]), np.flatnonzero(loud[:-1] & ~loud[1:])
        long = over - begins >= BEATS
        first_of_beat = mine[np.sort(np.unique(beat[mine], return_index=True)[1])]
        rows = {int(first_of_beat[a]): (int(first_of_beat[b - 1]), float(most[heard[a:b]].max()))
                for a, b in zip(begins[long], over[long], strict=True)}  # fmt: skip

        def tell(row: int, rows: dict[int, tuple[int, float]] = rows) -> Remark:
            return _covered(row, *rows[row], reading)

        yield from first_few(rows, reading, tell)


def _says_levels(plan: Plan) -> bool:
    """Whether the plan itself has a word on how loud something is."""
    levels = any(voice.level for voice in plan.voices.values())
    differs = any(entry.softer or entry.louder or entry.dynamics for entry in plan.second_time)
    return levels or differs or not all(entry.printed for entry in (*plan.dynamics, *plan.accents))


def _over_melody(notes: np.ndarray) -> np.ndarray:
    """(n,) dB by which each note is louder than the melody's note that sounds as it begins; nan where none does."""
    melody = np.flatnonzero((notes["role"] == MELODY) & (notes["score_length"] > 0))
    melody = melody[np.lexsort((notes["level"][melody], notes["score_onset"][melody]))]
    if not len(melody):
        return np.full(len(notes), np.nan)
    row = np.searchsorted(notes["score_onset"][melody], notes["score_onset"] + NEAR) - 1
    with_it = notes[melody[np.maximum(row, 0)]]
    sounds = (row >= 0) & (with_it["score_onset"] + with_it["score_length"] > notes["score_onset"] + NEAR)
    return np.where(sounds & (notes["score_length"] > 0), notes["level"] - with_it["level"], np.nan)


def _beat_numbers(notes: np.ndarray, bars: np.ndarray) -> np.ndarray:
    """(n,) beats, as they are felt, counted along the performed order."""
    beats = beats_of(bars, felt_beat(bars))
    return np.searchsorted(bars["start"][beats["row"]] + beats["start"], notes["score_onset"] + NEAR, side="right") - 1


def _covered(row: int, last: int, excess: float, reading: Reading) -> Remark:
    notes = reading.performance.notes
    role = ROLES[notes["role"][row]]
    name = "the bass" if role == "bass" else "an inner voice"
    spot = spot_of(notes[row], reading)
    message = (
        f"{name} is louder than the melody from {said(spot)} to {place_of(notes[last], reading)}, by up to "
        f"{excess:.1f} dB: unusual, for one follows the loudest line"
    )
    now = next((voice.level for key, voice in reading.plan.voices.items() if key.strip().lower() == role), 0.0)
    suggestion = f"voices: {{{role}: {now - excess - UNDER:.1f} dB}}"
    return remark_at(CAUTION, "inner-over-melody", message, spot, None, suggestion)
