"""Strings and frets: where each note of a guitar lies, how the hands sound it, and until when it rings.

What the score says of strings, frets and fingers holds; what the plan's `strings:` says goes over it, and of two
entries the one for a note over the one for a passage, the one for a pass over the one for all, then the later one. What
nobody says, `timing.strings.hands` chooses. Of entries with a `name` those hold that the plan's `fingering` names;
without it, where several ways to play the same notes are named, the first one in the plan.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from timing.instruments.programs import named_program
from timing.instruments.tuning import FRETS, GUITARS, Tuned
from timing.notes.lanes import build_lanes
from timing.notes.lines import voice_numbers
from timing.notes.ornaments import as_written, share_strings, whole_notes
from timing.notes.playing import Played
from timing.notes.touch import until_struck_again
from timing.notes.written import Written
from timing.performance import HARMONIC, ORDINARY, PIZZICATO, PLUCKED, SLURRED
from timing.plan import Plan
from timing.plan.strings import StringChoice
from timing.score import Score, Sign
from timing.strings.hands import PartSounds, hand_for
from timing.strings.playable import WISH, frets_on, ways
from timing.strings.remarks import Teller
from timing.strings.ringing import RINGS, ligados, rings_until
from timing.strings.wishes import Wishes, in_force
from timing.where import Where
from timing.where.hearings import Hearings

_PIANOS = range(8)

@dataclass(frozen=True)
class Ringing:
    """Which notes ring on: (n,) seconds until which each may sound, -inf where it ends as it is written."""

    latest: np.ndarray

    def until_string_needed(self, played: np.ndarray) -> np.ndarray:
        """(n,) seconds at which the notes end: none goes on once its string is needed, and those that are let ring go
        on until then. Notes without a string keep their ends."""
        order = np.lexsort((played["onset"], played["string"], played["part"]))
        string, onset = played[["part", "string"]][order], played["onset"][order]
        same = string[1:] == string[:-1]
        later = np.append(True, ~same | (onset[1:] > onset[:-1]))  # what is doubled is plucked once
        plucks = np.flatnonzero(later)
        again = np.append(np.where(same[plucks[1:] - 1], onset[plucks[1:]], np.inf), np.inf)
        needed = np.empty(len(played))
        needed[order] = again[np.cumsum(later) - 1]
        ends = np.minimum(np.maximum(played["end"], self.latest), needed)
        return np.where(played["string"] > 0, ends, played["end"])


def on_strings(
    plan: Plan, written: Written, notes: Played, tied: list[tuple[int, int]], where: Where
) -> tuple[Played, np.ndarray]:
    """The notes with their strings, frets and lanes, each until its string is needed or its key is struck again; and
    the LANE table. `tied` are pairs of rows that should lie on one string (slides)."""
    hearings, played = Hearings(where), notes.table.copy()
    ringing = _choose_strings(played, notes, written.tuned, plan, tied, hearings)
    lanes = build_lanes(played, where.score, written.programs, written.tuned.tunings)
    played["end"] = until_struck_again(played)
    played["end"] = ringing.until_string_needed(played)
    return notes.with_table(played, hearings), lanes


def _choose_strings(
    played: np.ndarray,
    of: Played,
    tuned: Tuned,
    plan: Plan,
    tied: list[tuple[int, int]],
    hearings: Hearings,
) -> Ringing:
    """Write string, fret, technique and attack into `played` (PLAYED, sorted by score onset), a copy of the notes `of`.
    Notes of parts without strings get string 0 and fret -1, and so do notes that can have none."""
    notes, lines = of.rows, of.lines
    first, last, owner = whole_notes(played)
    whole, written = as_written(played, first, last), notes[first]
    signs = written["signs"] = written["signs"] | notes["signs"][last] & ~np.uint32(Sign.LEFT_HAND)
    whole["technique"] = np.select(
        [signs & Sign.HARMONIC != 0, signs & Sign.PIZZICATO != 0], [HARMONIC, PIZZICATO], ORDINARY
    )
    whole["attack"] = np.where(signs & Sign.LEFT_HAND != 0, SLURRED, PLUCKED)
    whole["string"], whole["fret"] = 0, -1
    tunings, frets = tuned.tunings, FRETS - tuned.capos.astype(np.int64)

    def chosen(entry: StringChoice) -> np.ndarray:
        return lines.select(entry.for_, entry.place("for"), hearings)[first]

    written["finger"] = _left_hand(written, hearings.where.score)
    wishes = Wishes(whole, written, tunings, frets, hearings)
    np.maximum.at(wishes.table["room"], owner, whole["pitch"][owner] - played["pitch"])
    for entry in in_force(plan, whole, chosen, hearings):
        wishes.take(entry, chosen(entry))
    wishes.tell()
    teller = Teller(whole, tunings, hearings)
    tied = [(int(owner[note]), int(owner[goal])) for note, goal in tied]
    for part in np.flatnonzero(tunings.any(axis=1)):
        rows = np.flatnonzero(whole["part"] == part)
        if len(rows):
            _play_part(whole, written, rows, tunings[part], int(frets[part]), wishes, tied, teller)
    teller.tell()
    share_strings(played, whole, owner, notes["signs"], tunings)
    latest = np.full(len(played), -np.inf)
    latest[last] = wishes.latest
    return Ringing(latest)


def _left_hand(notes: np.ndarray, score: Score) -> np.ndarray:
    """(n,) the fingers (0 to 4) that a guitarist's left hand is asked for, -1 elsewhere.

    On a guitar one can play what is written for another instrument, whose fingering then means nothing: that of a part
    that the score gives to another, or that has a fifth finger. A part that is called a piano but has a finger 0 or a
    tuning of strings is a guitar's whose instrument nobody has named.
    """
    parts = score.parts
    named = [named_program(f"{part['instrument']} {part['name']}") for part in parts]
    said = np.where(parts["program"] >= 0, parts["program"], named)
    has = {finger: np.isin(np.arange(len(parts)), notes["part"][notes["finger"] == finger]) for finger in (0, 5)}
    guitar = (said < 0) | np.isin(said, GUITARS) | np.isin(said, _PIANOS) & (has[0] | parts["tuning"].any(axis=1))
    return np.where((guitar & ~has[5])[notes["part"]], notes["finger"], -1)


# -- playing it


def _play_part(
    played: np.ndarray,
    notes: np.ndarray,
    rows: np.ndarray,
    tuning: np.ndarray,
    frets: int,
    wishes: Wishes,
    tied: list[tuple[int, int]] | tuple,
    teller: Teller,
) -> None:
    wish = wishes.table[rows]
    wish["harmonic"] = played["technique"][rows] == HARMONIC
    asked = np.column_stack([played["pitch"][rows], *(wish[name] for name in WISH.names or ()), wishes.source[rows]])
    kinds, kind = np.unique(asked, axis=0, return_inverse=True)
    kind = kind.ravel()
    by_kind = np.split(np.argsort(kind, kind="stable"), np.cumsum(np.bincount(kind))[:-1]) if len(kinds) else []
    tables = []
    for (pitch, *values, source), members in zip(kinds.tolist(), by_kind, strict=True):
        entry = wishes.sources[source] if source >= 0 else None
        asks = np.array([tuple(values)], WISH)[0]
        found = _granted(pitch, asks, tuning, frets, entry, rows[members], teller, played)
        tables.append(ways(found, asks))
    possible = np.array([len(table) for table in tables])[kind] > 0
    able = np.flatnonzero(possible)
    if not len(able):
        return
    span = float(played["score_onset"][rows[-1]] - played["score_onset"][rows[0]])
    seconds = float(played["onset"][rows[-1]] - played["onset"][rows[0]]) / span if span > 0 else 1.0
    sounds, number = _sounds(played, notes, rows[able], kind[able], wish[able], tied, seconds)
    across = np.array([bool(values[6]) for values in kinds.tolist()])
    string, fret, _ = hand_for(tables, across, int((tuning > 0).sum())).play(sounds, seconds)
    played["string"][rows[able]], played["fret"][rows[able]] = string[number], fret[number]
    teller.hard_chords(rows[able], sounds, number, tables, int((tuning > 0).sum()))


def _granted(
    pitch: int,
    wish: np.ndarray,
    tuning: np.ndarray,
    frets: int,
    entry: StringChoice | None,
    rows: np.ndarray,
    teller: Teller,
    played: np.ndarray,
) -> dict[int, int]:
    """The strings and frets for a pitch that a wish leaves; what cannot be granted is told and left out."""
    ordinary = frets_on(pitch, tuning, frets)
    found = frets_on(pitch, tuning, frets, harmonic=True) if wish["harmonic"] else ordinary
    if wish["harmonic"] and not found:
        teller.no_harmonic(pitch, rows)
        played["technique"][rows], wish["harmonic"] = ORDINARY, False
        found = ordinary
    if not found:
        teller.off_the_instrument(pitch, rows)
        return {}
    string, fret = int(wish["string"]), int(wish["fret"])
    if string:
        if string not in found:
            teller.cannot_reach(pitch, string, found, entry, rows)
            return found
        kept = {string: found[string]}
        if fret >= 0 and found[string] != fret:
            teller.other_fret(pitch, string, fret, found, entry, rows)
        return kept
    if fret >= 0:
        kept = {s: f for s, f in found.items() if f == fret}
        if not kept:
            teller.other_fret(pitch, 0, fret, found, entry, rows)
        return kept or found
    return {s: f for s, f in found.items() if f >= wish["room"]} or found


def _sounds(
    played: np.ndarray,
    notes: np.ndarray,
    rows: np.ndarray,
    kind: np.ndarray,
    wish: np.ndarray,
    tied: list[tuple[int, int]] | tuple,
    seconds: float,
) -> tuple[PartSounds, np.ndarray]:
    """The sounds of one part, and (n,) the number of the sound that each row is: notes of one pitch that begin together
    are one sound, unless they are asked to lie on different strings. `seconds` is the length of a quarter.

    Small notes come before the notes at whose place they stand, first those that end the note before.
    """
    source, mine = notes[rows], played[rows]
    start = np.round(mine["score_onset"], 6)
    stage = np.where(source["grace"] == 0, 2, np.where(source["after"], 0, 1))
    places = np.column_stack([start, stage, -source["grace"].astype(np.int64)])
    moment = np.unique(places, axis=0, return_inverse=True)[1].ravel()
    asked = [-wish[name] for name in ("finger", "fret", "position", "string")]  # what one notehead says is for both
    order = np.lexsort((*asked, mine["pitch"], moment))
    together = np.column_stack([moment, mine["pitch"]])[order]
    fresh = np.append(True, np.any(np.diff(together, axis=0) != 0, axis=1))
    string = wish["string"][order]
    fresh[1:] |= (string[1:] != string[:-1]) & (string[1:] > 0)
    number = np.empty(len(rows), np.int64)
    number[order] = np.cumsum(fresh) - 1
    first = order[fresh]
    end = np.zeros(len(first))
    short = source["signs"] & (Sign.STACCATO | Sign.STACCATISSIMO) != 0
    np.maximum.at(end, number, np.where(short, 0, mine["score_onset"] + mine["score_length"]))
    voice = voice_numbers(mine)[1][first]
    comes_from = _tied_sounds(rows, number, tied, start[first], end)
    across = wish["across"][first].astype(bool)
    end = np.where(across, np.maximum(end, _next_across(voice, moment[first], start[first], across)), end)
    slurred = (mine["attack"] == SLURRED)[first]
    pitch, begun = mine["pitch"][first], moment[first]
    rings = rings_until(begun, start[first], end, pitch, RINGS / max(seconds, 1e-6))
    ligado = ligados(begun, voice, source["signs"][first], pitch)
    times = (begun, kind[first], start[first], end, rings)
    return PartSounds(*times, voice, pitch, across, comes_from, slurred, ligado), number


def _tied_sounds(
    rows: np.ndarray, number: np.ndarray, tied: list[tuple[int, int]] | tuple, start: np.ndarray, end: np.ndarray
) -> dict[int, int]:
    """For the goals of slides the sound that each comes from, which must sound until then."""
    made = {}
    if len(tied):
        place = {int(row): int(sound) for row, sound in zip(rows, number, strict=True)}
        for note, goal in tied:
            if note in place and goal in place and start[place[goal]] >= start[place[note]]:
                made[place[goal]] = place[note]
                end[place[note]] = max(end[place[note]], start[place[goal]])
    return made


def _next_across(voice: np.ndarray, moment: np.ndarray, start: np.ndarray, across: np.ndarray) -> np.ndarray:
    """(n,) quarters just after the next note of the same campanella has begun; 0 where none follows."""
    order = np.lexsort((moment, voice))
    ends = np.zeros(len(order))
    first = np.append(True, (np.diff(voice[order]) != 0) | (np.diff(moment[order]) != 0))
    chord = np.cumsum(first) - 1
    heads = order[first]
    follows = np.append((voice[heads][1:] == voice[heads][:-1]) & across[heads][1:], False)
    upcoming = np.append(start[heads][1:], 0.0) + 1e-3
    ends[order] = np.where(follows, upcoming, 0.0)[chord]
    return ends
