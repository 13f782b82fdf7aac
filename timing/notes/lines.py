"""Which notes are melody, bass and inner voices, and how a plan names voices.

Roles are found from the texture: at each moment the highest sounding note of a line that is mostly on top is melody,
the lowest of a line that is mostly at the bottom is bass, and the rest is inner. A held note goes on sounding, so that
an arpeggio under it stays inner.
"""

from __future__ import annotations

import re
from copy import copy
from difflib import get_close_matches
from functools import lru_cache

import numpy as np

from timing.columns import NEAR
from timing.performance import BASS, INNER, MELODY, ROLES
from timing.plan.sound import Voice
from timing.remarks import Place, Severity
from timing.score import Score
from timing.where.hearings import Hearings

_NUMBERED = re.compile(r"(voice|staff|part)\s+(\d{1,4})", re.ASCII)


class Lines:
    """The voices of the performed notes: `role` per note, and selection by what a plan calls them."""

    def __init__(self, score: Score, ids: np.ndarray, voices: dict[str, Voice], hearings: Hearings):
        self.score, self._ids, self._roles = score, ids, find_roles(score)
        self._chosen = lru_cache(64)(self._choose)  # the same few names come again and again
        self._performed = lru_cache(64)(lambda name: self._chosen(name)[self._ids])
        found = self._roles.copy()
        told = {name.strip().lower(): voice for name, voice in voices.items() if voice.is_}
        for role, code in (("melody", MELODY), ("bass", BASS), ("inner", INNER)):
            if (voice := told.pop(role, None)) is not None:
                named = self.of_score(str(voice.is_), voice.place("is"), hearings)
                found[(found == code) & ~named] = INNER
                found[named] = code
        for name, voice in told.items():
            message = f"`is` says where a role lies, and {name!r} is no role: there are {', '.join(ROLES)}"
            hearings.remark(Severity.ERROR, "plan-voice", message, voice.place("is"))
        self._roles = found
        self._chosen.cache_clear()
        self._performed.cache_clear()

    def among(self, ids: np.ndarray) -> Lines:
        """The same voices among other performed notes, whose rows in the score are `ids`."""
        made = copy(self)
        made._ids = ids
        made._performed = lru_cache(64)(lambda name: made._chosen(name)[ids])
        return made

    @property
    def count(self) -> int:
        return len(self._ids)

    @property
    def role(self) -> np.ndarray:
        """(n,) index into ROLES."""
        return self._roles[self._ids]

    def select(self, name: str | None, place: Place | None, hearings: Hearings) -> np.ndarray:
        """(n,) which performed notes a name means: a role, `voice 2`, `staff 1`, `part 1`, a part's name, or several
        of these with commas (of one kind: each of them; of different kinds: what they have in common). None means all;
        an unknown name means none, with a remark."""
        if name is None:
            return np.ones(self.count, bool)
        self.of_score(name, place, hearings)  # which tells of names that mean nothing
        return self._performed(name)

    def of_score(self, name: str, place: Place | None, hearings: Hearings) -> np.ndarray:
        """(notes,) as `select`, for the notes of the score."""
        chosen = self._chosen(name)
        if not chosen.any() and name.strip().lower() in ROLES:
            role = name.strip().lower()
            voice = "inner voices" if role == "inner" else role
            message = f"this score has no {voice} that could be told from the rest: the entry does nothing"
            hearings.remark(Severity.ADVICE, "role-not-found", message, place)
        elif not chosen.any():
            notes = self.score.notes
            known = [*ROLES, *map(str, self.score.parts["name"]), *(f"voice {v}" for v in np.unique(notes["voice"]))]
            near = get_close_matches(name, known, 1)
            meant = f"did you mean {near[0]!r}?" if near else f"there are {', '.join(known[:12])}"
            hearings.remark(Severity.ERROR, "plan-voice", f"no notes are called {name!r} in this score: {meant}", place)
        return chosen

    def _choose(self, name: str) -> np.ndarray:
        """(notes,) which notes of the score a name means: `melody, bass` are both, `violin, voice 2` is one voice of
        that part."""
        notes, parts = self.score.notes, self.score.parts
        kinds: dict[str, np.ndarray] = {}
        names = np.char.lower(parts["name"])
        whole = name.strip().lower()
        for word in [whole] if whole in names else whole.split(","):
            word = " ".join(word.split())
            numbered = _NUMBERED.fullmatch(word)
            if word in ROLES:
                kind, mine = "role", self._roles == ROLES.index(word)
            elif numbered:
                kind, number = numbered[1], int(numbered[2])
                mine = notes[kind] == number - (kind == "part")
            else:
                kind, mine = "part", np.isin(notes["part"], np.flatnonzero(names == word))
            kinds[kind] = kinds.get(kind, np.zeros(len(notes), bool)) | mine
        return np.logical_and.reduce(list(kinds.values()))


def find_roles(score: Score) -> np.ndarray:
    """(notes,) MELODY, INNER or BASS for every note of the score, from the texture alone."""
    notes = score.notes
    starts = np.append(0.0, np.cumsum(score.bars["length"]))[notes["bar"]]
    onset = np.round(starts + notes["offset"], 6)
    pitched = ~score.parts["percussion"][notes["part"]]
    real = (notes["length"] > 0) & pitched
    roles = np.full(len(notes), INNER, np.int8)
    if not real.any():
        return roles
    voices = voice_numbers(notes)[1]
    slots = np.unique(onset[real])
    first = np.searchsorted(slots, onset)
    last = np.maximum(np.searchsorted(slots, onset + notes["length"] - NEAR), first + 1)
    pitch = notes["pitch"].astype(np.int32)

    def highest(chosen: np.ndarray, sign: int) -> np.ndarray:
        return sign * covering_max(first[chosen], last[chosen], sign * pitch[chosen], len(slots))

    top = real & (pitch == highest(real, 1)[np.minimum(first, len(slots) - 1)])
    low = real & (pitch == highest(real, -1)[np.minimum(first, len(slots) - 1)])
    on_top, at_bottom = (_share(voices, first, rows, real) for rows in (top, low))
    upper, lower = _mostly(on_top, at_bottom)[voices], _mostly(at_bottom, on_top)[voices]

    slot = np.minimum(first, len(slots) - 1)
    melody = _led(highest(real & upper, 1), pitch, slot, upper, top & ~lower)
    bass = _led(highest(real & lower, -1), pitch, slot, lower, low & ~top)
    roles[real & bass] = BASS
    roles[real & melody] = MELODY
    graces = pitched & ~real
    roles[graces] = np.where(upper[graces], MELODY, np.where(lower[graces], BASS, INNER))
    return roles


def voice_numbers(notes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """A row of each voice (part, staff and voice, in this order), and (n,) the number of each note's voice."""
    key = (notes["part"].astype(np.int64) << 32) + (notes["staff"].astype(np.int64) << 16) + notes["voice"]
    return np.unique(key, return_index=True, return_inverse=True)[1:]


_SILENT = np.iinfo(np.int32).min + 1


def _led(
    best: np.ndarray, pitch: np.ndarray, slot: np.ndarray, leading: np.ndarray, otherwise: np.ndarray
) -> np.ndarray:
    """The notes of leading lines that are the outermost of these; where no leading line sounds, `otherwise`."""
    silent = np.abs(best[slot]) >= -_SILENT
    return np.where(silent, otherwise, leading & (pitch == best[slot]))


def _share(voices: np.ndarray, slot: np.ndarray, outermost: np.ndarray, real: np.ndarray) -> np.ndarray:
    """(lines,) at which share of the moments at which it begins a note a line is outermost."""
    lines, slots = int(voices.max()) + 1, int(slot.max()) + 1
    begun = voices.astype(np.int64) * slots + slot
    moments, hits = (np.bincount(np.unique(begun[rows]) // slots, minlength=lines) for rows in (real, outermost))
    return hits / np.maximum(moments, 1)


def _mostly(here: np.ndarray, there: np.ndarray) -> np.ndarray:
    """(lines,) whether a line is `here` half of the time or more and no less than `there`, or, where no line is, more
    often than the others."""
    often = here >= min(0.5, here.max())
    mainly = often & (here >= there)
    return mainly if mainly.any() else often


def covering_max(first: np.ndarray, last: np.ndarray, value: np.ndarray, size: int) -> np.ndarray:
    """(size,) at each slot the greatest value of the stretches [first, last) that cover it.

    Each stretch is the union of two stretches whose length is a power of two (a sparse table, backwards), so the cost
    is size·log(size) however long the stretches are.
    """
    power = np.frexp((last - first).astype(np.float64))[1] - 1
    table = np.full((int(power.max(initial=0)) + 1, size), _SILENT, np.int32)
    np.maximum.at(table, (power, first), value)
    np.maximum.at(table, (power, last - (1 << power)), value)
    for k in range(len(table) - 1, 0, -1):
        half = 1 << (k - 1)
        np.maximum(table[k - 1], table[k], out=table[k - 1])
        np.maximum(table[k - 1, half:], table[k, :-half], out=table[k - 1, half:])
    return table[0]
