"""Ornaments as they are played: one performed note becomes several, in score time, so that slowdowns stretch them.

How many notes there are is found from the metre and the tempo at hand: a trill goes in the quickest 2, 3, 4, 6, 8, 12,
... notes to a beat that are no more than `trill speed` a second (pianists reach some 13: G. P. Moore, Music Perception
9, 1992, from memory). All figures begin on the beat and end on their main note.

- Trill: from the main note (since J. N. Hummel 1828, from memory) or from above (C. P. E. Bach 1753, from memory),
  in equal notes. What is left over goes to the last note, or to the first where small notes end the trill; these are
  then as quick as the trill itself.
- Mordent: main note, neighbour, main note, up to half as quick again as a trill. From above, the inverted one has four.
- Turn: four equal notes; on a longer one the last is held. A delayed one comes in the second half, at the end of its
  note; on a dotted note it comes before the last third, which is the main note again (C. P. E. Bach, from memory).
- Tremolo: as many strokes as are written, halved while no hand can play them. Between two notes they take turns, and
  the pair lasts as long as both.

Where there is no time for all of its notes, an ornament has two: the neighbour and the note. Where even these would be
shorter than 40 ms the note is played plain.
"""

from __future__ import annotations

import numpy as np

from timing.columns import NEAR, ROUNDING, spread
from timing.notes.touch import dotted, leaning, voice_moments
from timing.performance import HARMONIC, MOST_PLAYED, ORDINARY, PLUCKED, SLURRED
from timing.plan.sound import Articulation
from timing.remarks import CannotDo
from timing.score import Ornament, Sign
from timing.timemap import TimeMap

_SHORTEST = 0.04  # seconds, of a note within an ornament (the house's own value)
_QUICK = 1.5  # a mordent, or a tremolo at most, against a trill (the house's own value)

# What the notes of a figure are: 1 the upper neighbour, -1 the lower one, 0 the main note. The rows are those of
# Ornament (a trill alternates instead), and some more.
_DELAYED = Ornament.DELAYED_TURN - Ornament.TURN
_FROM_ABOVE, _TWO_ABOVE, _TWO_BELOW = 8, 9, 10
_PATTERNS = np.array(
    [
        (0, 0, 0, 0, 0),  # a tremolo
        (0, 0, 0, 0, 0),  # TRILL
        (0, -1, 0, 0, 0),  # MORDENT
        (0, 1, 0, 0, 0),  # INVERTED_MORDENT
        (1, 0, -1, 0, 0),  # TURN
        (-1, 0, 1, 0, 0),  # INVERTED_TURN
        (0, 1, 0, -1, 0),  # DELAYED_TURN
        (0, -1, 0, 1, 0),  # DELAYED_INVERTED_TURN
        (1, 0, 1, 0, 0),  # an inverted mordent from above
        (1, 0, 0, 0, 0),  # what is left of an ornament where there is no time
        (-1, 0, 0, 0, 0),
    ]
)

# How one ornament is played. The note is divided into `slots`; the notes begin at 0, then at 1 + rest, 2 + rest, ...,
# each ends where the next begins, and the last one where the small notes begin that end a trill. In a tremolo of two
# notes each has every other slot.
_FIGURE = np.dtype(
    [
        ("pattern", np.int64),  # row of _PATTERNS; TRILL alternates
        ("count", np.int64),  # notes; 1 where the note is played plain
        ("slots", np.float64),
        ("rest", np.float64),  # slots by which the first note is longer
        ("ending", np.int64),  # small notes that end a trill, a slot each; or the other note's last stroke
        ("every", np.int64),  # slots from one note to the next
        ("late", np.int64),  # slots before the first one
    ]
)
_ONSET_SIGNS = int(Sign.ACCENT | Sign.STRONG_ACCENT | Sign.LEFT_HAND | Sign.TIED_IN)
_END_SIGNS = int(Sign.STACCATO | Sign.STACCATISSIMO | Sign.TENUTO | Sign.SLURRED | Sign.SLUR_END | Sign.LET_RING)


def realise(
    played: np.ndarray, notes: np.ndarray, touch: Articulation, time: TimeMap, bars: np.ndarray, fretted: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """`played` (PLAYED, sorted by score onset) with every ornament in its notes, and their NOTE rows.

    `notes` are the score's rows of `played`, `bars` (PASSAGE) the performed bars, `fretted` (parts,) which parts have
    strings: there the notes of a figure after its first are slurred. The notes of an ornament share its `id`; `step`
    counts them. Raises CannotDo for more notes than memory can hold.
    """
    marked = ((notes["ornament"] != Ornament.NONE) | (notes["tremolo"] > 0)) & (notes["grace"] == 0)
    marked &= played["score_length"] > 0
    if not marked.any():
        return played, notes
    played, notes, rows = played.copy(), notes.copy(), np.flatnonzero(marked)
    _wait_for_appoggiaturas(played, notes, marked, touch, bars)
    ending, owner = _endings(played, notes, rows)
    start, length = played["score_onset"][rows], played["score_length"][rows]
    turn = np.where(notes["ornament"][rows] == Ornament.NONE, notes["turn"][rows], 0)
    start, length = start - np.where(turn == 2, length, 0.0), np.where(turn > 0, 2 * length, length)
    seconds = time.seconds(start + length) - time.seconds(start)
    beats = length * bars["unit"][played["ordinal"][rows]] / 4
    figures = _find_figures(notes[rows], turn, length, seconds, beats, ending, touch)
    paired = (turn > 0) & (figures["count"] > 1)
    played["score_onset"][rows[paired]], played["score_length"][rows[paired]] = start[paired], length[paired]
    if len(played) + figures["count"].sum() > MOST_PLAYED:
        message = f"with those of the ornaments there are more than {MOST_PLAYED:,} notes, the most that are played"
        raise CannotDo.because("too-much", message)
    _end_trills(played, notes, rows, figures, owner, fretted, bars)
    played, notes = _written_out(played, notes, rows, figures, fretted, bars)
    order = np.argsort(played["score_onset"], kind="stable")
    return played[order], notes[order]


def whole_notes(played: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(m,) the first and last rows of each note as it is written, in the order of their beginnings, and (n,) which of
    them each row belongs to. `played` (PLAYED) is sorted by score onset."""
    order = np.argsort(played["id"], kind="stable")
    begins = played["step"][order] == 0
    first, number = np.unique(order[begins], return_inverse=True)
    owner = np.empty(len(played), np.int64)
    owner[order] = number[np.cumsum(begins) - 1]
    last = np.empty(len(first), np.int64)
    last[owner] = np.arange(len(played))  # of several the latest stays
    return first, last, owner


def as_written(played: np.ndarray, first: np.ndarray, last: np.ndarray) -> np.ndarray:
    """PLAYED rows of the notes as they are written (see `whole_notes`): each from the beginning of its ornament until
    its end, at the pitch of the main note."""
    whole = played[first]
    whole["pitch"], whole["end"] = played["pitch"][last], played["end"][last]
    whole["score_length"] = played["score_onset"][last] + played["score_length"][last] - whole["score_onset"]
    return whole


def share_strings(
    played: np.ndarray, whole: np.ndarray, owner: np.ndarray, signs: np.ndarray, tunings: np.ndarray
) -> None:
    """Write string, fret, technique and attack into `played`, from `whole` (see `as_written`): the notes of an ornament
    lie on the string of their main note. What would lie under the open string is plucked on the next lower one."""
    main = whole[owner]
    away = played["pitch"].astype(np.int64) - main["pitch"]
    played["string"], played["fret"] = main["string"], np.where(main["string"] > 0, main["fret"] + away, -1)
    played["technique"] = np.where((away != 0) & (main["technique"] == HARMONIC), ORDINARY, main["technique"])
    slurred = np.where(signs & Sign.LEFT_HAND != 0, SLURRED, PLUCKED)
    played["attack"] = np.where(played["step"] == 0, main["attack"], slurred)
    under = np.flatnonzero((played["string"] > 0) & (played["fret"] < 0))
    if not len(under):
        return
    string, strings = played["string"][under].astype(np.int64), tunings.shape[1]
    opened = np.where(string < strings, tunings[played["part"][under], np.minimum(string, strings - 1)], 0)
    reached = (opened > 0) & (played["pitch"][under] >= opened)
    played["string"][under] = np.where(reached, string + 1, 0)
    played["fret"][under] = np.where(reached, played["pitch"][under] - opened, -1)
    order = np.lexsort((played["step"], owner))
    moved = (np.diff(played["string"][order]) != 0) & (np.diff(owner[order]) == 0)
    played["attack"][order[1:][moved]] = PLUCKED


# -- how each is played


class _Figures:
    """The figures of the ornamented notes: whatever is tried first and has time is played."""

    def __init__(self, seconds: np.ndarray):
        self._seconds = seconds
        self.table = np.zeros(len(seconds), _FIGURE)
        self.table["count"] = self.table["slots"] = 1

    def attempt(
        self,
        chosen: np.ndarray,
        pattern: int,
        count: np.ndarray | int,
        slots: np.ndarray | int = 0,
        rest: np.ndarray | int = 0,
        ending: np.ndarray | int = 0,
    ) -> None:
        """Let the chosen ones that have no figure yet have this one, in as many slots or as few as its notes need; each
        value holds for all or is one a note."""
        slots = np.maximum(slots, count + rest + ending)
        able = chosen & (self.table["count"] == 1) & (self._seconds >= slots * _SHORTEST)
        for column, values in (("count", count), ("slots", slots), ("rest", rest), ("ending", ending)):
            self.table[column][able] = np.broadcast_to(values, len(able))[able]
        self.table["pattern"][able] = pattern


def _find_figures(
    notes: np.ndarray,
    pair: np.ndarray,
    length: np.ndarray,
    seconds: np.ndarray,
    beats: np.ndarray,
    ending: np.ndarray,
    touch: Articulation,
) -> np.ndarray:
    """_FIGURE of each ornamented note, by how long it is in quarters, seconds and beats (of a `pair`, 1 and 2 in a
    tremolo, both are); `ending` is how many small notes end it."""
    figures = _Figures(seconds)
    code, above = notes["ornament"], touch.trill == "from above"
    even, quick = (_slots(seconds, beats, speed) for speed in (touch.trill_speed, _QUICK * touch.trill_speed))
    trill, pitched = code == Ornament.TRILL, notes["upper"] > 0
    least = np.where(pitched, 2 if above else 3, 2)
    for small in (ending, np.zeros_like(ending)):  # without its ending where there is no time for that
        slots = np.maximum(even - small, least)
        over = (slots - least) % 2 * pitched
        figures.attempt(trill, Ornament.TRILL, slots - over, slots + small, over * (small > 0), small)
    figures.attempt((code == Ornament.INVERTED_MORDENT) & above, _FROM_ABOVE, 4, quick)
    for mordent in (Ornament.MORDENT, Ornament.INVERTED_MORDENT):
        figures.attempt(code == mordent, mordent, 3, quick)
    for turn in (Ornament.TURN, Ornament.INVERTED_TURN):
        delayed = code == turn + _DELAYED
        thirds, halves = np.maximum(even, 9), np.maximum(even, 8)
        figures.attempt(delayed & dotted(length), turn + _DELAYED, 5, thirds, thirds * 2 / 3 - 4)
        figures.attempt(delayed, turn + _DELAYED, 5, halves, halves - 5)
        figures.attempt(delayed, turn + _DELAYED, 5)
        figures.attempt((code == turn) | delayed, turn, 4, even)
    below = np.isin(code, (Ornament.MORDENT, Ornament.INVERTED_TURN, Ornament.DELAYED_INVERTED_TURN))
    figures.attempt(below, _TWO_BELOW, 2)
    figures.attempt(~below & (code != Ornament.NONE), _TWO_ABOVE, 2)
    strokes = _strokes(length, seconds, notes["tremolo"], _QUICK * touch.trill_speed)
    figures.attempt((code == Ornament.NONE) & (pair == 0), Ornament.NONE, strokes)
    halves = strokes // 2
    figures.attempt(pair > 0, Ornament.NONE, halves, 2 * halves, ending=pair == 1)
    figures.table["every"], figures.table["late"] = np.where(pair > 0, 2, 1), pair == 2
    return figures.table


def _slots(seconds: np.ndarray, beats: np.ndarray, speed: float) -> np.ndarray:
    """Into how many each note is divided: the most that 1, 2, 3, 4, 6, 8, 12, ... to a beat make at no more than
    `speed` a second."""
    power, share = _floor_of_two(speed * seconds / beats)
    to_a_beat = power * np.where(share >= 1.5 - NEAR, 1.5, 1.0)
    return np.floor(to_a_beat * beats + NEAR).astype(np.int64)


def _strokes(length: np.ndarray, seconds: np.ndarray, tremolo: np.ndarray, speed: float) -> np.ndarray:
    """How many strokes each tremolo has: as written, or half, a quarter, ... of them, no more than `speed` a second."""
    written = length / np.where(tremolo > 0, tremolo, np.inf)
    power, share = _floor_of_two(np.maximum(written, 1) / (speed * seconds))
    halved = np.maximum(np.where(share > 1 + NEAR, 2 * power, power), 1)
    return np.maximum(np.rint(written / halved), 1).astype(np.int64)


def _floor_of_two(values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The greatest power of two that is no greater, up to rounding, and what it has to be multiplied with, 1 to 2."""
    power = np.exp2(np.floor(np.log2(np.maximum(values, 1e-12)) + NEAR))
    return power, values / power


# -- what else gives way


def _wait_for_appoggiaturas(
    played: np.ndarray, notes: np.ndarray, marked: np.ndarray, touch: Articulation, bars: np.ndarray
) -> None:
    """Let ornaments, and the chords they stand in, begin when the appoggiatura before them is over."""
    leans, waits = leaning(notes, played, touch)
    if not leans.any():
        return
    moments = voice_moments(played, played["score_onset"])
    here = np.isin(moments, moments[marked & (waits > 0)])
    main = here & (notes["grace"] == 0) & (played["score_length"] > 0)
    small = here & leans
    played["score_onset"][main] += waits[main]
    played["score_length"][main] -= waits[main]
    played["score_length"][small] = waits[small]
    notes["grace"][small] = 0
    _place(played, np.flatnonzero(main), bars)


def _endings(played: np.ndarray, notes: np.ndarray, rows: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """How many small notes end each of the ornaments `rows`, and (n,) the ornament that a small note ends, or -1.

    A trill is ended by the small notes after it, or, as many files have it, by two without a stroke before the next
    note.
    """
    small, after = notes["grace"] > 0, notes["after"]
    ending, owner = np.zeros(len(rows), np.int64), np.full(len(played), -1)
    trills = np.flatnonzero(notes["ornament"][rows] == Ornament.TRILL)
    if not small.any() or not len(trills):
        return ending, owner
    moments, group = np.unique(voice_moments(played, played["score_onset"]), return_inverse=True)
    places, before, stroke = (np.zeros(len(moments), np.int64) for _ in range(3))
    np.maximum.at(places, group[small & after], notes["grace"][small & after])
    np.maximum.at(before, group[small & ~after], notes["grace"][small & ~after])
    stroke[group[small & ~after & notes["slashed"]]] = 1
    two = (places == 0) & (before == 2) & (stroke == 0)
    places[two] = 2
    finish = voice_moments(played, played["score_onset"] + played["score_length"])[rows[trills]]
    at = np.minimum(np.searchsorted(moments, finish), len(moments) - 1)
    ending[trills] = np.where(moments[at] == finish, places[at], 0)
    trill_at = np.full(len(moments), -1)
    trill_at[at[ending[trills] > 0]] = trills[ending[trills] > 0]
    member = small & (after | two[group])
    owner[member] = trill_at[group[member]]
    return ending, owner


def _end_trills(
    played: np.ndarray,
    notes: np.ndarray,
    rows: np.ndarray,
    figures: np.ndarray,
    owner: np.ndarray,
    fretted: np.ndarray,
    bars: np.ndarray,
) -> None:
    """Give the small notes that end trills the slots left for them."""
    small = np.flatnonzero(owner >= 0)
    small = small[figures["ending"][owner[small]] > 0]
    trill, slots = rows[owner[small]], figures["slots"][owner[small]]
    place, length = notes["grace"][small], played["score_length"][trill]
    played["score_onset"][small] = played["score_onset"][trill] + length * ((slots - place) / slots)
    played["score_length"][small] = length / slots
    notes["grace"][small], notes["after"][small] = 0, False
    notes["signs"][small] |= np.where(fretted[played["part"][small]], int(Sign.LEFT_HAND), 0).astype(np.uint32)
    _place(played, small, bars)


# -- writing it out


def _written_out(
    played: np.ndarray, notes: np.ndarray, rows: np.ndarray, figures: np.ndarray, fretted: np.ndarray, bars: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """The rows of all notes, those of an ornament one after another."""
    counts, number = np.ones(len(played), np.int64), np.full(len(played), -1)
    counts[rows], number[rows] = figures["count"], np.arange(len(rows))
    source, step = spread(counts)
    mine = np.flatnonzero(counts[source] > 1)
    made, written = played[source], notes[source]
    figure, step = figures[number[source[mine]]], step[mine]
    last = step == figure["count"] - 1
    slot = figure["every"] * step + figure["late"]
    begin = (slot + figure["rest"] * (step > 0)) / figure["slots"]
    end = np.where(last, figure["slots"] - figure["ending"], slot + 1 + figure["rest"]) / figure["slots"]
    onset, length = made["score_onset"][mine], made["score_length"][mine]
    made["step"][mine] = step
    made["score_onset"][mine] = onset + length * begin
    made["score_length"][mine] = onset + length * end - made["score_onset"][mine]
    _place(made, mine[(step > 0) | (figure["late"] > 0)], bars)
    pattern = figure["pattern"]
    to = np.where(pattern == Ornament.TRILL, (figure["count"] - 1 - step) % 2, _PATTERNS[pattern, np.minimum(step, 4)])
    away = np.where(to > 0, written["upper"][mine], np.where(to < 0, -written["lower"][mine], 0))
    made["pitch"][mine] = np.clip(made["pitch"][mine] + away, 0, 127)
    tremolo = pattern == Ornament.NONE
    slurred = fretted[made["part"][mine]] & ~tremolo
    written["signs"][mine] = _signs(written["signs"][mine].astype(np.int64), step == 0, last, tremolo, slurred)
    written["roll"][mine] *= step == 0
    return made, written


def _signs(
    signs: np.ndarray, first: np.ndarray, last: np.ndarray, tremolo: np.ndarray, slurred: np.ndarray
) -> np.ndarray:
    """The signs of the notes of figures: accents at their beginning, what shapes the end at their end; between the
    notes all is legato, but for the strokes of a tremolo, which are played as the note is written."""
    signs = np.where(first, signs, signs & ~_ONSET_SIGNS)
    legato, struck = signs & ~_END_SIGNS | Sign.SLURRED, signs & ~int(Sign.SLUR_END | Sign.LET_RING)
    signs = np.where(last, signs, np.where(tremolo, struck, legato))
    return np.where(slurred & ~first, signs | Sign.LEFT_HAND, signs)


def _place(played: np.ndarray, rows: np.ndarray, bars: np.ndarray) -> None:
    """Write bar, beat and pass of these rows by their score onset."""
    onset = played["score_onset"][rows]
    ordinal = np.searchsorted(bars["start"], onset + ROUNDING, side="right") - 1
    bar = bars[ordinal]
    played["ordinal"][rows], played["bar"][rows], played["pass"][rows] = ordinal, bar["number"], bar["pass"]
    played["beat"][rows] = 1 + (onset - bar["start"] + bar["shift"]) * bar["unit"] / 4
