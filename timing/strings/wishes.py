"""What score and plan ask of the notes on strings: where they lie, how they are sounded, until when they ring."""

from __future__ import annotations

from collections.abc import Callable
from difflib import get_close_matches

import numpy as np

from timing.columns import NEAR
from timing.notes.lines import voice_numbers
from timing.performance import HARMONIC, PIZZICATO, SLURRED
from timing.plan import Plan
from timing.plan.strings import StringChoice
from timing.remarks import Severity
from timing.score import Sign
from timing.strings.playable import WISH, frets_on
from timing.where.hearings import Hearings

# Seconds for which what is let ring goes on after the passage is over, and any note at most (the house's own values).
RINGS_ON, LONGEST = 3.0, 10.0


class Wishes:
    """What score and plan ask of every note: `table` (WISH); `source`, the row in `sources` of the entry that asks (-1:
    the score); `latest`, the second until which it may ring."""

    def __init__(
        self, played: np.ndarray, notes: np.ndarray, tunings: np.ndarray, frets: np.ndarray, hearings: Hearings
    ):
        self._played, self._hearings, self._tunings, self._frets = played, hearings, tunings, frets
        self._fretted = np.any(tunings, axis=1)[played["part"]]
        self.table = np.zeros(len(played), WISH)
        for column in ("string", "fret", "finger"):
            self.table[column] = notes[column]
        self._onset = np.ascontiguousarray(played["score_onset"])
        self.sources: list[StringChoice] = []
        self.source = np.full(len(played), -1)
        self.latest = np.where(notes["signs"] & Sign.LET_RING != 0, played["end"] + RINGS_ON, -np.inf)
        self._voices = voice_numbers(played)[1]
        self._idle: list[StringChoice] = []

    def take(self, entry: StringChoice, chosen: np.ndarray) -> None:
        """Add what an entry asks of the notes among `chosen`."""
        self.sources.append(entry)
        stretches = _stretches(entry, self._onset, self._played, self._hearings)
        if not chosen.any():
            return  # which has been told
        for rows in stretches:
            mine = rows[chosen[rows]]
            if entry.at is not None and not len(mine):
                message = f"no note begins at {entry.at}"
                self._hearings.remark(Severity.ERROR, "plan-position", message, entry.place("at"))
                return
            self._sounded(entry, mine)
            strung = mine[self._fretted[mine]]
            if len(strung):
                self._placed(entry, strung)
            elif len(mine) and (_chooses(entry) or entry.campanella):
                self._idle.append(entry)

    def tell(self) -> None:
        """Remark on entries that choose strings where there are none."""
        if idle := list(dict.fromkeys(map(id, self._idle))):
            entries = "1 entry chooses" if len(idle) == 1 else f"{len(idle)} entries choose"
            message = f"{entries} strings for notes that are not played on a guitar, and so nothing"
            self._hearings.remark(Severity.CAUTION, "no-strings", message, self._idle[0].place())

    def _sounded(self, entry: StringChoice, rows: np.ndarray) -> None:
        played = self._played
        for wanted, technique in ((entry.harmonic, HARMONIC), (entry.pizzicato, PIZZICATO)):
            if wanted:
                played["technique"][rows] = technique
        if entry.ligado:
            onset = played["score_onset"][rows]
            first = np.full(int(self._voices.max(initial=0)) + 1, np.inf)
            np.minimum.at(first, self._voices[rows], onset)
            follows = onset > first[self._voices[rows]] + NEAR  # the first note of a passage is plucked
            played["attack"][rows if entry.at is not None else rows[follows]] = SLURRED
        if entry.let_ring or entry.campanella:
            ends = played["end"][rows]
            over = ends if entry.at is not None else ends.max(initial=0)
            self.latest[rows] = np.minimum(over + RINGS_ON, ends + LONGEST)

    def _placed(self, entry: StringChoice, rows: np.ndarray) -> None:
        if entry.campanella:
            self.table["across"][rows] = True
        single = rows if entry.at is None else self._meant(entry, rows)
        if _chooses(entry):
            self.source[single] = len(self.sources) - 1
            self.table["finger"][single] = -1
            self.table["string"][single] = entry.string or 0
            self.table["fret"][single] = -1 if entry.fret is None else entry.fret
            self.table["position"][single] = entry.position or 0

    def _meant(self, entry: StringChoice, rows: np.ndarray) -> np.ndarray:
        """Of the notes that begin at one place the one that an entry for a single string or fret means: the highest
        that can lie there. A position is for all of them."""
        if entry.string is None and entry.fret is None:
            return rows
        made = []
        for ordinal in np.unique(self._played["ordinal"][rows]):
            here = rows[self._played["ordinal"][rows] == ordinal]
            here = here[np.argsort(-self._played["pitch"][here], kind="stable")]
            fitting = [row for row in here if self._fits(entry, row)]
            best = self._played["pitch"][(fitting or list(here))[0]]
            made += [row for row in here if self._played["pitch"][row] == best]
        return np.array(made)

    def _fits(self, entry: StringChoice, row: int) -> bool:
        note = self._played[row]
        harmonic = bool(note["technique"] == HARMONIC)
        part = int(note["part"])
        found = frets_on(int(note["pitch"]), self._tunings[part], int(self._frets[part]), harmonic)
        return any(
            (entry.string is None or string == entry.string) and (entry.fret is None or fret == entry.fret)
            for string, fret in found.items()
        )


def _chooses(entry: StringChoice) -> bool:
    """Whether an entry says where its notes lie."""
    return entry.string is not None or entry.fret is not None or entry.position is not None


def _stretches(entry: StringChoice, onset: np.ndarray, played: np.ndarray, hearings: Hearings) -> list[np.ndarray]:
    """For each hearing of an entry the rows of `played` that begin in it; `onset` is their score onset."""
    if entry.at is None:
        spans = [(run.start, run.end) for run in hearings.runs_of(entry, "bars")]
        return [np.arange(*np.searchsorted(onset, (start - NEAR, end - NEAR))) for start, end in spans]
    made = []
    for moment in hearings.moments_of(entry, "at"):
        rows = np.arange(*np.searchsorted(onset, (moment - NEAR, moment + NEAR)))
        full = rows[played["score_length"][rows] > 0]
        made.append(full if len(full) else rows)
    return made


def in_force(
    plan: Plan, played: np.ndarray, chosen: Callable[[StringChoice], np.ndarray], hearings: Hearings
) -> list[StringChoice]:
    """The entries that hold, in the order in which they go over one another."""
    names = list(dict.fromkeys(entry.name for entry in plan.strings if entry.name))
    if plan.fingering is not None and plan.fingering not in names:
        near = get_close_matches(plan.fingering, names, 1)
        known = f"there are {', '.join(names)}" if names else "none has a name"
        known = f"did you mean {near[0]!r}?" if near else known
        message = f"no entry of `strings` is called {plan.fingering!r}: {known}"
        more = {"suggestion": f"fingering: {near[0]}"} if near else {}
        place = plan.place("fingering") if plan.says("fingering") else None  # else the command asks for it
        hearings.remark(Severity.ERROR, "plan-fingering", message, place, **more)
    owner, onset = np.full(len(played), -1), np.ascontiguousarray(played["score_onset"])
    kept = []
    for entry in plan.strings:
        if entry.name:  # its faults are told whether it holds or not
            mine, number = chosen(entry), names.index(entry.name)
            rows = np.concatenate([np.zeros(0, np.int64), *_stretches(entry, onset, played, hearings)])
            rows = rows[mine[rows]]
            taken = np.any((owner[rows] >= 0) & (owner[rows] != number))
            if entry.name != plan.fingering and (taken or plan.fingering is not None):
                continue
            owner[rows] = number
        kept.append(entry)
    return sorted(kept, key=lambda entry: (entry.at is not None, entry.passes is not None))
