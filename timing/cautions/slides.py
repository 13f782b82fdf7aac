"""Slides and slurs that the left hand cannot make, or that a listener would not hear as such."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from timing.cautions.rules import (
    CAUTION,
    COMMON_PRACTICE,
    first_few,
    keys_of,
    part_of,
    place_of,
    remark_at,
    rule,
    said,
    spot_of,
)  # fmt: skip
from timing.columns import NEAR
from timing.instruments.tuning import FRETS
from timing.notes.lines import voice_numbers
from timing.performance import SLURRED
from timing.plan.edits import added, replaced
from timing.plan.sound import Glissando
from timing.reading import Reading
from timing.remarks import Edit, Remark
from timing.slides.glides import LATE, QUICK
from timing.strings.playable import POSSIBLE, reach

# -- on frets alone: a bowed or sung portamento is smooth, so there are no frets to be heard in it, and its sound does
#    not die away while it moves.

USUAL_SWELL = 3.0  # dB, for a suggestion: the house's own value, as for an accent
CLOSE = 1e-3  # quarters: what is nearer follows at once
_ONE_STRING = (
    "stops both notes on one string, the one with the lowest frets that can take them beside what is struck with them, "
    "if there is one"
)


@rule(
    "slide-from-open",
    "An open string has no finger on it that could slide, so the slide begins with a jump.",
    example="""\
score: low-water.musicxml
strings: [{at: 19:6, string: 1}]
glissandi: [{from: 19:6, to: 20:1, swell: 3 dB}]
""",
    threshold="the note that the slide begins with is played on an open string",
    source=COMMON_PRACTICE,
    mends=_ONE_STRING,
)
def slide_from_open(reading: Reading) -> Iterator[Remark]:
    notes, slides = _slides(reading)
    opened = slides[notes["fret"][slides["note"]] == 0]
    yield from _on_open(reading, opened, "slide-from-open", "begins on an open string", "no finger is there to slide")


@rule(
    "slide-to-open",
    "A slide into an open string never arrives: the finger has to leave, and the string jumps.",
    example="""\
score: low-water.musicxml
strings: [{at: 3:4, string: 1}, {at: 3:6, string: 1}]
glissandi: [{from: 3:4, to: 3:6, swell: 3 dB}]
""",
    threshold="the goal of the slide is played on an open string, and its beginning is not",
    source=COMMON_PRACTICE,
    mends=_ONE_STRING,
)
def slide_to_open(reading: Reading) -> Iterator[Remark]:
    notes, slides = _slides(reading)
    opened = slides[(notes["fret"][slides["goal"]] == 0) & (notes["fret"][slides["note"]] > 0)]
    yield from _on_open(reading, opened, "slide-to-open", "ends on an open string", "no finger can arrive there")


def _on_open(reading: Reading, slides: np.ndarray, code: str, what: str, because: str) -> Iterator[Remark]:
    """A caution for each of these slides, with strings on which both of its ends are stopped."""
    notes = reading.performance.notes

    def tell(row: int) -> Remark:
        slide = slides[np.argmax(slides["note"] == row)]
        strings, beside, fix = _on_one_string(reading, slide)
        message = (
            f"the slide from {place_of(notes[row], reading)} {what}, which is unusual: {because}; {_can_take(strings)} "
            f"both notes stopped{beside}"
        )
        return _slide_remark(code, message, slide, reading, fix, None if fix else _without(slide, reading))

    yield from first_few(slides["note"], reading, tell)


@rule(
    "slide-two-strings",
    "A finger slides along one string; from one string to another the slide is broken off.",
    example="""\
score: low-water.musicxml
strings: [{at: 23:4, string: 2}, {at: 24:1, string: 1}]
glissandi: [{from: 23:4, to: 24:1, swell: 3 dB}]
""",
    threshold="the two notes of the slide are played on different strings, and the first is not an open one",
    source=COMMON_PRACTICE,
    mends=_ONE_STRING,
)
def slide_two_strings(reading: Reading) -> Iterator[Remark]:
    notes, slides = _slides(reading)
    note, goal = notes[slides["note"]], notes[slides["goal"]]
    parted = slides[(note["fret"] > 0) & (note["string"] != goal["string"])]

    def tell(row: int) -> Remark:
        slide = parted[np.argmax(parted["note"] == row)]
        here, there = notes[row], notes[slide["goal"]]
        strings, beside, fix = _on_one_string(reading, slide)
        other = f"string {there['string']}" if there["string"] else "no string"
        message = (
            f"the slide from {place_of(here, reading)} to {place_of(there, reading)} goes from string {here['string']} "
            f"to {other}, which is unusual: a finger slides along one; {_can_take(strings)} both notes{beside}"
        )
        without = None if fix else _without(slide, reading)
        return _slide_remark("slide-two-strings", message, slide, reading, fix, without)

    yield from first_few(parted["note"], reading, tell)


@rule(
    "slide-long",
    "A slide that takes its time lets every fret be heard, so it sounds like a scale.",
    example="""\
score: low-water.musicxml
glissandi: [{from: 23:4, to: 24:1, glide: 60%, swell: 3 dB}]
""",
    threshold=f"the slide moves for more than {LATE:.0%} of its note or for more than {QUICK:g} s, over at least one "
    "fret that lies in between",
    source=COMMON_PRACTICE,
    mends="makes the glide so short that every slide of its entry is late and quick",
)
def slide_long(reading: Reading) -> Iterator[Remark]:
    notes, slides = _slides(reading)
    length, whole = slides["arrive"] - slides["leave"], slides["arrive"] - notes["onset"][slides["note"]]
    most = np.minimum(LATE, QUICK / np.maximum(whole, 1e-9))
    between = np.abs(np.diff(notes["pitch"][np.stack([slides["note"], slides["goal"]])].astype(int), axis=0)[0]) > 1
    long = between & (length > most * whole + NEAR)  # a slide of one fret has none in between to be heard

    def tell(row: int) -> Remark:
        n = int(np.argmax(slides["note"] == row))
        alike = (slides["entry"] == slides["entry"][n]) & long  # what is written goes for all of them
        percent = max(int(100 * most[alike].min() + NEAR), 1)
        message = (
            f"the slide from {place_of(notes[row], reading)} moves for {length[n]:.2f} s, {length[n] / whole[n]:.0%} "
            f"of its note, which is unusual: over half of the note or {QUICK:g} s every fret is heard"
        )
        fix = _reshaped(slides[n], reading, {"glide": f"{percent}%"})
        return _slide_remark("slide-long", message, slides[n], reading, fix)

    yield from first_few(slides["note"][long], reading, tell)


@rule(
    "slide-no-swell",
    "A string dies away while the finger moves, so without a swell the goal seems to be let fall.",
    example="""\
score: low-water.musicxml
glissandi: [{from: 23:4, to: 24:1, glide: 30%}]
""",
    threshold="a slide on a string swells by 0 dB or less",
    source=COMMON_PRACTICE,
    mends=f"lets the slide swell by {USUAL_SWELL:g} dB",
)
def slide_no_swell(reading: Reading) -> Iterator[Remark]:
    notes, slides = _slides(reading)

    def tell(row: int) -> Remark:
        slide = slides[np.argmax(slides["note"] == row)]
        message = f"the slide from {place_of(notes[row], reading)} does not swell into its goal, which is unusual"
        fix = _reshaped(slide, reading, {"swell": f"{USUAL_SWELL:g} dB"})
        return _slide_remark("slide-no-swell", message, slide, reading, fix)

    yield from first_few(slides["note"][slides["swell"] <= 0], reading, tell)


def _slides(reading: Reading) -> tuple[np.ndarray, np.ndarray]:
    """The notes (PLAYED) and the slides (GLIDE) that begin on a string."""
    notes, slides = reading.performance.notes, reading.performance.glides
    return notes, slides[notes["string"][slides["note"]] > 0]


def _without(slide: np.void, reading: Reading) -> str:
    """What to do about a slide that nothing mends; how a plan says so of one that is printed."""
    if not _entry_of(slide, reading).printed:
        return "leave the slide out"
    at = place_of(reading.performance.notes[slide["note"]], reading)
    return f"leave the slide out: marks: {{ignore: [{{at: {at}, mark: slide}}]}}"


def _slide_remark(
    code: str,
    message: str,
    slide: np.void,
    reading: Reading,
    fix: tuple[Edit, ...] = (),
    suggestion: str | None = None,
) -> Remark:
    """A caution at the beginning of a slide."""
    spot = spot_of(reading.performance.notes[slide["note"]], reading)
    return remark_at(CAUTION, code, message, spot, _entry_of(slide, reading).place(), suggestion, fix)


def _entry_of(slide: np.void, reading: Reading) -> Glissando:
    """The entry of the plan that shapes a slide."""
    return reading.plan.glissandi[slide["entry"]]


def _reshaped(slide: np.void, reading: Reading, changes: dict[str, str]) -> tuple[Edit, ...]:
    """The change that gives the entry of a slide other settings; of a slide line that plays by itself, an entry."""
    entry, note = _entry_of(slide, reading), reading.performance.notes[slide["note"]]
    if not entry.printed:
        return (replaced(entry, changes),)
    keys = {"from": place_of(note, reading), "swell": f"{slide['swell']:g} dB"} | part_of(note, reading)
    return (added("glissandi", keys | changes),)


def _on_one_string(reading: Reading, slide: np.void) -> tuple[list[int], str, tuple[Edit, ...]]:
    """The strings that can take both ends of a slide stopped, with the slides that lead to it and on from it and beside
    what is struck with them, lowest frets first; what hinders if there are none; and what puts all on the first."""
    rows = _chain(reading, slide)
    notes, tuning = reading.performance.notes[rows], reading.performance.tunings
    opened = tuning[notes["part"][0]].astype(np.int64)
    frets = notes["pitch"].astype(np.int64)[:, None] - opened
    highest = FRETS - reading.capos[notes["part"][0]]
    able = np.flatnonzero((opened > 0) & np.all((frets >= 1) & (frets <= highest), axis=0))
    able = able[np.argsort(frets.max(axis=0)[able], kind="stable")]
    beside = [_struck_with(reading, row) for row in rows]
    strings = [
        int(string) + 1
        for string in able
        if all(
            int(string) not in laid and _fits(others, opened, highest, {**laid, int(string): int(fret)})
            for (others, laid), fret in zip(beside, frets[:, string], strict=True)
        )
    ]
    entries = [keys_of(row, reading) | {"string": strings[0]} for row in rows] if strings else []
    hindered = " beside what else they are to be played with" if len(able) and not strings else ""
    return strings, hindered, tuple(added("strings", entry) for entry in entries)


def _chain(reading: Reading, slide: np.void) -> list[int]:
    """The notes of a slide, and of those that lead to it and on from it, in order."""
    slides = reading.performance.glides
    goals = dict(zip(slides["note"].tolist(), slides["goal"].tolist(), strict=True))
    starts = {goal: note for note, goal in goals.items()}
    rows = [int(slide["note"]), int(slide["goal"])]
    while (before := starts.get(rows[0])) is not None and before not in rows:
        rows.insert(0, before)
    while (after := goals.get(rows[-1])) is not None and after not in rows:
        rows.append(after)
    return rows


def _struck_with(reading: Reading, row: int) -> tuple[list[int], dict[int, int]]:
    """What the same hand has to take with a note: the pitches that may lie anywhere, and the fret on each string (from
    0) of those that plan or score have put there."""
    notes, note = reading.performance.notes, reading.performance.notes[row]
    together = (np.abs(notes["score_onset"] - note["score_onset"]) < CLOSE) & (notes["part"] == note["part"])
    together[row] = False
    others = notes[together & (notes["step"] == 0)]
    written = reading.score.notes[others["id"]]
    moment = float(note["score_onset"])
    asked = (e for e in reading.plan.strings if e.at is None or e.string != note["string"])  # else it is for the note
    heard = (reading.where.spans(entry) for entry in asked)
    planned = any(start - CLOSE < moment < end + CLOSE for spans in heard for start, end in spans)
    kept = (written["string"] > 0) | (written["fret"] >= 0) | (written["finger"] >= 0) | planned
    kept &= others["string"] > 0
    laid = zip((others["string"][kept] - 1).tolist(), others["fret"][kept].tolist(), strict=True)
    return sorted(set(others["pitch"][~kept].tolist()), reverse=True), dict(laid)


def _fits(pitches: list[int], opened: np.ndarray, highest: int, laid: dict[int, int]) -> bool:
    """Whether notes can be laid beside those that have their string and fret, within reach of one hand."""
    stopped = [fret for fret in laid.values() if fret]
    if stopped and reach(min(stopped), max(stopped)) > POSSIBLE:
        return False
    if not pitches:
        return True
    free = ((n, pitches[0] - int(low)) for n, low in enumerate(opened) if low > 0 and n not in laid)
    return any(_fits(pitches[1:], opened, highest, {**laid, n: fret}) for n, fret in free if 0 <= fret <= highest)


def _can_take(strings: list[int]) -> str:
    """The beginning of a sentence: string 2 can take, strings 2 or 3 can take."""
    if not strings:
        return "no string can take"
    *others, last = map(str, strings)
    return f"strings {', '.join(others)} or {last} can take" if others else f"string {last} can take"


# -- across silence


@rule(
    "slide-over-rest",
    "A slide sounds until it arrives, so the silence that stands between its notes is not heard.",
    example="""\
score: low-water.musicxml
glissandi: [{from: 23:4, to: 24:1, swell: 3 dB}]
holds: [{breath: after 23, seconds: 0.3}]
""",
    threshold="a rest of any length follows the first note of the slide in its voice, or the plan has a breath or a "
    "caesura between the two notes",
    source=COMMON_PRACTICE,
)
def slide_over_rest(reading: Reading) -> Iterator[Remark]:
    notes, slides = reading.performance.notes, reading.performance.glides
    note, goal = notes[slides["note"]], notes[slides["goal"]]
    over = note["score_onset"] + note["score_length"]
    rest = (note["score_length"] > 0) & (_next_in_voice(notes, slides["note"]) > over + CLOSE)
    rest &= goal["score_onset"] > over + CLOSE
    breaths = np.sort([at for at, _, _ in reading.pace.breaths])
    first, last = (np.searchsorted(breaths, moment + CLOSE) for moment in (note["score_onset"], goal["score_onset"]))
    silent = slides[rest | (last > first)]
    by_note = {int(slide["note"]): n for n, slide in enumerate(slides)}

    def tell(row: int) -> Remark:
        n = by_note[row]
        what = "rest" if rest[n] else "breath"
        spot = reading.where.beat(float(over[n] if rest[n] else breaths[first[n]]))
        message = (
            f"the slide from {place_of(note[n], reading)} goes over the {what} at {said(spot)}, which is unusual: its "
            "note sounds until the slide arrives"
        )
        suggestion = f"leave the slide or the {what} out"
        return _slide_remark("slide-over-rest", message, slides[n], reading, suggestion=suggestion)

    yield from first_few(silent["note"], reading, tell)


def _next_in_voice(notes: np.ndarray, rows: np.ndarray) -> np.ndarray:
    """(rows,) quarters at which the voice of each of these notes goes on; inf where it does not."""
    voice, onset = voice_numbers(notes)[1].astype(np.float64), notes["score_onset"]
    span = onset.max(initial=0.0) + 1  # so that each voice has a stretch of its own on one line
    line = np.sort(np.append(voice * span + onset, np.inf))
    following = line[np.searchsorted(line, voice[rows] * span + onset[rows] + CLOSE)] - voice[rows] * span
    return np.where(following < span, following, np.inf)


@rule(
    "ligado-after-rest",
    "The left hand can only sound a string that still rings; after a silence its note is hardly heard.",
    example="""\
score: low-water.musicxml
strings: [{at: 3:2, for: voice 2, ligado: yes}]
""",
    threshold="a rest of any length, a breath or a caesura lies before a note that is sounded by the left hand, on its "
    "string and in its voice",
    source=COMMON_PRACTICE,
)
def ligado_after_rest(reading: Reading) -> Iterator[Remark]:
    notes = reading.performance.notes
    slurred = (notes["attack"] == SLURRED) & (notes["string"] > 0)
    if not slurred.any():
        return
    rings = np.zeros(len(notes), bool)
    breaths = np.array([at for at, _, _ in reading.pace.breaths])
    breathed = np.isin(np.round(notes["score_onset"], 3), np.round(breaths, 3))
    string = notes["part"].astype(np.int64) * 128 + notes["string"]
    for group in (string, voice_numbers(notes)[1]):
        over = _latest_before(group, notes["onset"], notes["score_onset"] + notes["score_length"])
        let_go = _latest_before(group, notes["onset"], notes["end"])
        rings |= (over >= notes["score_onset"] - CLOSE) & ~breathed | (let_go >= notes["onset"] - CLOSE)

    def tell(row: int) -> Remark:
        message = (
            f"the note at {place_of(notes[row], reading)} is sounded by the left hand after a silence, which is "
            "unusual: nothing rings that it could come from"
        )
        suggestion = "let it be plucked, or let the note before it sound until then"
        return remark_at(CAUTION, "ligado-after-rest", message, spot_of(notes[row], reading), None, suggestion)

    yield from first_few(np.flatnonzero(slurred & ~rings), reading, tell)


def _latest_before(group: np.ndarray, onset: np.ndarray, end: np.ndarray) -> np.ndarray:
    """(n,) the latest `end` among the notes of its group that begin before each note; -inf where none does."""
    order = np.lexsort((onset, group))
    numbers = np.unique(group, return_inverse=True)[1].ravel()[order]
    after = end[order] - end.min() + 1
    span = after.max() + 1  # so that no group reaches into the next one
    latest = np.maximum.accumulate(after + numbers * span) - numbers * span
    fresh = np.append(True, (np.diff(numbers) > 0) | (np.diff(onset[order]) > NEAR))
    heads = np.maximum.accumulate(np.where(fresh, np.arange(len(order)), 0))  # what begins together counts as one
    before = np.where(heads > 0, latest[heads - 1], 0.0)
    same = (heads > 0) & (numbers[heads - 1] == numbers)
    made = np.empty(len(order))
    made[order] = np.where(same, before + end.min() - 1, -np.inf)
    return made
