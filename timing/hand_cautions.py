"""What asks much of a guitarist's hands: slides of the left one, moves of the right one between plucking points."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from timing.dynamics import at_second_time
from timing.open_strings import plucked_at
from timing.performance import PLUCKED, TONES
from timing.plan_sound import Glissando
from timing.playable import FRETS
from timing.position import parse_range
from timing.reading import Reading
from timing.remarks import Remark
from timing.rules import CAUTION, first_few, keys_of, part_of, place_of, remark_at, rule, said, spot_of, written
from timing.where import Fault, Run

# -- slides. On frets alone: a bowed or sung portamento is smooth, so there are no frets to be heard in it, and its
#    sound does not die away while it moves.

LATE = 0.5  # a slide moves in this last part of its note at most (common practice)
QUICK = 0.4  # seconds in which it is over at most (common practice)
USUAL_SWELL = 3.0  # dB, for a suggestion: the house's own value, as for an accent


@rule("slide-from-open", "An open string has no finger on it that could slide, so the slide begins with a jump.")
def slide_from_open(reading: Reading) -> Iterator[Remark]:
    notes, slides = _slides(reading)
    opened = slides[notes["fret"][slides["note"]] == 0]
    yield from _on_open(reading, opened, "slide-from-open", "begins on an open string", "no finger is there to slide")


@rule("slide-to-open", "A slide into an open string never arrives: the finger has to leave, and the string jumps.")
def slide_to_open(reading: Reading) -> Iterator[Remark]:
    notes, slides = _slides(reading)
    opened = slides[(notes["fret"][slides["goal"]] == 0) & (notes["fret"][slides["note"]] > 0)]
    yield from _on_open(reading, opened, "slide-to-open", "ends on an open string", "no finger can arrive there")


def _on_open(reading: Reading, slides: np.ndarray, code: str, what: str, because: str) -> Iterator[Remark]:
    """A caution for each of these slides, with strings on which both of its ends are stopped."""
    notes = reading.performance.notes

    def tell(row: int) -> Remark:
        slide = slides[np.argmax(slides["note"] == row)]
        strings, fix = _on_one_string(reading, slide)
        message = (
            f"the slide from {said(spot_of(notes[row]))} {what}, which is unusual: {because}; {_can_take(strings)} "
            "both notes stopped"
        )
        return _slide_remark(code, message, slide, reading, fix)

    yield from first_few(slides["note"], notes, tell)


@rule("slide-two-strings", "A finger slides along one string; from one string to another the slide is broken off.")
def slide_two_strings(reading: Reading) -> Iterator[Remark]:
    notes, slides = _slides(reading)
    note, goal = notes[slides["note"]], notes[slides["goal"]]
    parted = slides[(note["fret"] > 0) & (note["string"] != goal["string"])]

    def tell(row: int) -> Remark:
        slide = parted[np.argmax(parted["note"] == row)]
        here, there = notes[row], notes[slide["goal"]]
        strings, fix = _on_one_string(reading, slide)
        other = f"string {there['string']}" if there["string"] else "no string"
        message = (
            f"the slide from {said(spot_of(here))} to {said(spot_of(there))} goes from string {here['string']} to "
            f"{other}, which is unusual: a finger slides along one; {_can_take(strings)} both notes"
        )
        return _slide_remark("slide-two-strings", message, slide, reading, fix)

    yield from first_few(parted["note"], notes, tell)


@rule("slide-long", "A slide that takes its time lets every fret be heard, so it sounds like a scale.")
def slide_long(reading: Reading) -> Iterator[Remark]:
    notes, slides = _slides(reading)
    length, whole = slides["arrive"] - slides["leave"], slides["arrive"] - notes["onset"][slides["note"]]
    most = np.minimum(LATE, QUICK / np.maximum(whole, 1e-9))
    between = np.abs(np.diff(notes["pitch"][np.stack([slides["note"], slides["goal"]])].astype(int), axis=0)[0]) > 1
    long = between & (length > most * whole + 1e-6)  # a slide of one fret has none in between to be heard

    def tell(row: int) -> Remark:
        n = int(np.argmax(slides["note"] == row))
        alike = (slides["entry"] == slides["entry"][n]) & long  # what is written goes for all of them
        percent = max(int(100 * most[alike].min() + 1e-6), 1)
        message = (
            f"the slide from {said(spot_of(notes[row]))} moves for {length[n]:.2f} s, {length[n] / whole[n]:.0%} of "
            f"its note, which is unusual: over half of the note or {QUICK:g} s every fret is heard"
        )
        return _slide_remark("slide-long", message, slides[n], reading, {"glide": f"{percent}%"})

    yield from first_few(slides["note"][long], notes, tell)


@rule("slide-no-swell", "A string dies away while the finger moves, so without a swell the goal seems to be let fall.")
def slide_no_swell(reading: Reading) -> Iterator[Remark]:
    notes, slides = _slides(reading)

    def tell(row: int) -> Remark:
        slide = slides[np.argmax(slides["note"] == row)]
        message = f"the slide from {said(spot_of(notes[row]))} does not swell into its goal, which is unusual"
        return _slide_remark("slide-no-swell", message, slide, reading, {"swell": f"{USUAL_SWELL:g} dB"})

    yield from first_few(slides["note"][slides["swell"] <= 0], notes, tell)


def _slides(reading: Reading) -> tuple[np.ndarray, np.ndarray]:
    """The notes (PLAYED) and the slides (GLIDE) that begin on a string."""
    notes, slides = reading.performance.notes, reading.performance.glides
    return notes, slides[notes["string"][slides["note"]] > 0]


def _slide_remark(code: str, message: str, slide: np.void, reading: Reading, fix: str | dict[str, str]) -> Remark:
    """A caution at a slide; `fix` is what to do, or what to change in its entry."""
    entry = _entry_of(slide, reading)
    spot = spot_of(reading.performance.notes[slide["note"]])
    suggestion = _reshaped(entry, fix) if isinstance(fix, dict) else fix
    return remark_at(CAUTION, code, message, spot, entry.place(), suggestion)


def _entry_of(slide: np.void, reading: Reading) -> Glissando:
    """The entry of the plan that shapes a slide."""
    return reading.plan.glissandi[slide["entry"]]


def _reshaped(entry: Glissando, changes: dict[str, str]) -> str:
    """The entry as the plan would write it, with other settings."""
    source = entry._source if isinstance(entry._source, dict) else {}
    return written({key: value for key, value in source.items() if key != "why"} | changes)


def _on_one_string(reading: Reading, slide: np.void) -> tuple[list[int], str]:
    """The strings that can take both ends of a slide stopped, lowest frets first, and what to write in the plan."""
    rows = [int(slide["note"]), int(slide["goal"])]
    notes, tuning = reading.performance.notes[rows], reading.performance.tunings
    opened = tuning[notes["part"][0]]
    frets = notes["pitch"].astype(np.int64)[:, None] - opened
    highest = FRETS - reading.capos[notes["part"][0]]
    able = np.flatnonzero((opened > 0) & np.all((frets >= 1) & (frets <= highest), axis=0))
    able = able[np.argsort(frets.max(axis=0)[able], kind="stable")] + 1
    strings = able.tolist()
    if not strings:
        return [], "leave the slide out"
    entries = ", ".join(written(keys_of(row, reading) | {"string": strings[0]}) for row in rows)
    return strings, f"strings: [{entries}]"


def _can_take(strings: list[int]) -> str:
    """The beginning of a sentence: string 2 can take, strings 2 or 3 can take."""
    if not strings:
        return "no string can take"
    *others, last = map(str, strings)
    return f"strings {', '.join(others)} or {last} can take" if others else f"string {last} can take"


# -- the plucking hand

MOVE_TIME = 0.150  # seconds that the hand takes to another plucking point (common practice)
SAME_PLACE = 1.0  # cm: less is no move of the hand, but of a finger tip (common practice)
FARTHEST = 4.0  # quarters by which a change of tone is moved at most, for a suggestion (the house's own value)
TOGETHER = 0.060  # seconds between plucks of one stroke: chords broken a little, a melody that leads (common practice)


@dataclass(frozen=True)
class _Strokes:
    """What the right hand plucks in one part, stroke by stroke; each array has one value a stroke."""

    rows: np.ndarray  # (plucks,) the plucked notes, in order
    heads: np.ndarray  # where each stroke begins in `rows`
    begin: np.ndarray  # seconds of its first and last pluck
    end: np.ndarray
    near: np.ndarray  # cm from the bridge: its least and greatest plucking point
    far: np.ndarray


@rule("tone-too-quick", "A hand that has no time to move plucks late or in the wrong place, and the line limps.")
def tone_too_quick(reading: Reading) -> Iterator[Remark]:
    notes = reading.performance.notes
    for strokes in _all_strokes(reading):
        one = strokes.far - strokes.near < SAME_PLACE
        moved = (np.abs(np.diff(strokes.near)) >= SAME_PLACE) & one[1:] & one[:-1]
        time = strokes.begin[1:] - strokes.end[:-1]
        quick = np.flatnonzero(moved & (time < MOVE_TIME - 1e-6))
        by_row = dict(zip(strokes.rows[strokes.heads[quick + 1]].tolist(), quick.tolist(), strict=True))

        def tell(row: int, strokes=strokes, quick=quick, by_row=by_row, time=time) -> Remark:
            stroke = by_row[row]
            before = strokes.rows[strokes.heads[stroke]]
            message = (
                f"the tone changes from {_tone(notes[before])} to {_tone(notes[row])} at {said(spot_of(notes[row]))}, "
                f"{1000 * time[stroke]:.0f} ms after the last note, which is unusual: a hand takes about "
                f"{1000 * MOVE_TIME:.0f} ms to move"
            )
            fix = _in_time(reading, strokes, quick, stroke, time)
            return remark_at(CAUTION, "tone-too-quick", message, spot_of(notes[row]), None, fix)

        yield from first_few(by_row, notes, tell)


@rule("tone-two-places", "One hand plucks in one place: two tones at once sound like two players.")
def tone_two_places(reading: Reading) -> Iterator[Remark]:
    notes = reading.performance.notes
    for strokes in _all_strokes(reading):
        torn = np.flatnonzero(strokes.far - strokes.near >= SAME_PLACE)
        ends = np.append(strokes.heads[1:], len(strokes.rows))
        by_row = {int(strokes.rows[strokes.heads[n]]): strokes.rows[strokes.heads[n] : ends[n]] for n in torn.tolist()}

        def tell(row: int, by_row=by_row) -> Remark:
            here = notes[by_row[row]]
            tones = list(dict.fromkeys(_tone(note) for note in here))
            top = _tone(here[np.argmax(here["pitch"])])
            begin = reading.where.beat(float(here["score_onset"].min()))
            message = (
                f"the notes at {said(begin)} are plucked together as {' and as '.join(tones)}, which is unusual: one "
                "hand is in one place"
            )
            places = dict.fromkeys(place_of(note, reading) for note in here)
            only = part_of(here[0], reading)
            fix = ", ".join(written({"at": place, "tone": top} | only) for place in places)
            return remark_at(CAUTION, "tone-two-places", message, spot_of(notes[row]), None, f"tone: [{fix}]")

        yield from first_few(by_row, notes, tell)


def _all_strokes(reading: Reading) -> Iterator[_Strokes]:
    """The strokes of each part that is plucked on strings. Plucks of one place in the score, as in a rolled chord, are
    one stroke, and so are those that follow each other at once."""
    notes = reading.performance.notes
    for part in np.flatnonzero(reading.performance.tunings.any(axis=1)):
        rows = np.flatnonzero((notes["part"] == part) & (notes["attack"] == PLUCKED))
        if not len(rows):
            continue
        mine = notes[rows]
        apart = (np.diff(mine["onset"]) >= TOGETHER) & (np.abs(np.diff(mine["score_onset"])) > 1e-6)
        heads = np.flatnonzero(np.append(True, apart))
        ends = np.append(heads[1:], len(rows)) - 1
        cm = plucked_at(mine)
        near, far = np.minimum.reduceat(cm, heads), np.maximum.reduceat(cm, heads)
        yield _Strokes(rows, heads, mine["onset"][heads], mine["onset"][ends], near, far)


def _tone(note: np.void) -> str:
    """The tone of a note as a plan writes it."""
    return f"{note['pluck']:g} cm" if np.isfinite(note["pluck"]) else TONES[note["tone"]]


def _in_time(reading: Reading, strokes: _Strokes, quick: np.ndarray, stroke: int, time: np.ndarray) -> str | None:
    """A tone entry that moves the change after a stroke, one of the `quick` ones, to the nearest that leaves time:
    later, where the old tone goes on until then, or earlier, where the new one begins before."""
    notes = reading.performance.notes
    heads = strokes.rows[strokes.heads]
    at = notes["score_onset"][heads]
    able = np.append(-1, np.flatnonzero(time >= MOVE_TIME))  # a tone may begin with the piece
    beside = int(np.searchsorted(able, stroke))
    moves = [(int(able[beside - 1]) + 1, stroke + 1, stroke + 1)]
    moves += [(stroke + 1, int(able[beside]) + 1, stroke)] if beside < len(able) else []
    for first, over, tone in sorted(moves, key=lambda move: move[1] - move[0]):
        note = notes[heads[tone]]
        changed = at[quick + 1] - at[stroke + 1]  # quarters from this change to the others
        bars = _range_of(reading, float(at[first]), float(at[over]), changed)
        if bars is not None and at[over] - at[first] <= FARTHEST:
            return f"tone: [{written(bars | {'tone': _tone(note)} | part_of(note, reading))}]"
    return None


def _range_of(reading: Reading, start: float, end: float, changed: np.ndarray) -> dict[str, object] | None:
    """The range from one quarter to another as an entry for a tone writes it, on every pass if the tone changes as far
    away (`changed`, in quarters) on each of them. None where no single range can say it, or a tone of the second time
    goes over it."""
    where = reading.where
    pass_ = int(where.bars["pass"][where.ordinal(start)])
    text = where.range_text(start, end)
    for passes, more in ((None, {}), (pass_, {"pass": pass_})):
        try:
            runs = where.runs(parse_range(text), passes)
        except (Fault, ValueError):
            return None
        away = np.array([run.start - start for run in runs])
        whole = all(abs(run.length - (end - start)) < 1e-3 for run in runs)
        alike = np.all(np.abs(away[:, None] - changed).min(axis=1) < 1e-3)
        if whole and alike and np.any(np.abs(away) < 1e-3) and not _told_again(runs, reading):
            return {"bars": text} | more
    return None


def _told_again(runs: list[Run], reading: Reading) -> bool:
    """Whether a tone of the second time holds in one of these runs, whatever another entry says."""
    toned = [at_second_time(entry) for entry in reading.plan.second_time if entry.tone is not None]
    held = [run for entry in toned for run in reading.where.runs(entry.bars, entry.passes)]
    return any(one.start < run.end - 1e-6 and one.end > run.start + 1e-6 for one in held for run in runs)
