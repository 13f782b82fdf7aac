"""The left hand: on which strings the notes of one part are easiest to play.

A dynamic programme over the moments at which notes begin (the approach of S. Sayegh, Computer Music Journal 13(3),
1989). A state is a string for every note that begins or still sounds, and a position of the hand; what a state costs by
itself and what it costs to come from one state to the next is in `timing.strings.weights`. Both depend on little (the
pitches, what is asked of them, which notes go on), so they are worked out once for each combination that the music has:
a repeat or a figure that comes back costs next to nothing. All is judged in written time, so that rubato does not
change the fingering.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np

from timing.strings import weights
from timing.strings.playable import COMFORTABLE, POSSIBLE, WAY, reach

_NEVER = 1e6

_POSITIONS = 16
_STATES, _RELEASED, _ASSIGNMENTS = 80, 12, 400  # kept at most: states of a moment, of these with nothing held; drafts

_HELD, _NEIGHBOUR, _SAME, _LIGADO = 0, 1, 2, 3

# How a sound comes into a moment: it begins, or it goes on and loses one to three thirds if it is cut here.
_BEGINS, _WRITTEN, _BELL, _RINGS = 0, 1, 4, 5


@dataclass(frozen=True)
class Sounds:
    """What one part plays, one row a sound (what is doubled is one), sorted by moment and pitch."""

    moment: np.ndarray  # numbered from 0
    kind: np.ndarray  # row in the list of ways
    start: np.ndarray  # quarters
    end: np.ndarray  # quarters until which it must sound
    rings: np.ndarray  # quarters until which it had better ring; never before its end
    voice: np.ndarray
    pitch: np.ndarray
    across: np.ndarray  # campanella
    comes_from: dict[int, int]  # the sound that must lie on the same string
    slurred: np.ndarray  # on the string of the note before it in its voice
    ligado: np.ndarray  # better on the string of the note before it in its voice


@dataclass(frozen=True)
class Shape:
    """The states of one moment."""

    strings: np.ndarray  # (states, sounds) 0: given up
    frets: np.ndarray  # (states, sounds)
    position: np.ndarray  # (states,)
    cost: np.ndarray  # (states,)


class Hand:
    """Chooses strings for the sounds of one part. `ways` holds a WAY table for each kind of sound."""

    def __init__(self, ways: list[np.ndarray], across: np.ndarray, strings: int):
        self._ways, self._across, self._strings = ways, across, strings
        thirds = np.arange(1, 4) / 3
        self._cuts = np.concatenate([[0.0], weights.CUT * thirds, [weights.BELL_CUT], weights.RING * thirds])
        self._shape = lru_cache(4096)(self._find_shape)
        self._passing = lru_cache(2048)(self._find_passing)

    def play(self, sounds: Sounds, seconds: float) -> tuple[np.ndarray, np.ndarray, float]:
        """(n,) string and fret of each sound, 0 and -1 where it could have none; and what this costs, which no other
        choice does better. `seconds` is the length of a quarter in the middle tempo."""
        strings, frets = np.zeros(len(sounds.kind), np.int64), np.full(len(sounds.kind), -1)
        steps = self._steps(sounds, seconds)
        if not steps:
            return strings, frets, 0.0
        best, back = self._shape(steps[0][1]).cost, []
        for before, step in pairwise(steps):
            passing = self._passing(before[1], *step[1:])
            total = passing + best
            came = total.argmin(axis=1)
            back.append(came)
            best = total[np.arange(len(came)), came] + self._shape(step[1]).cost
        state = int(best.argmin())
        for number in range(len(steps) - 1, -1, -1):
            members, key = steps[number][:2]
            shape = self._shape(key)
            begun = [place for place, (_, held) in enumerate(key) if not held]
            rows = [members[place] for place in begun]
            strings[rows], frets[rows] = shape.strings[state, begun], shape.frets[state, begun]
            state = int(back[number - 1][state]) if number else state
        return strings, frets, float(best.min())

    def _steps(self, sounds: Sounds, seconds: float) -> list[tuple]:
        """For each moment: its sounds, held ones first; their kinds; what they have to do with those of the moment
        before; the haste."""
        kind, pitch, voice, start = (getattr(sounds, name).tolist() for name in ("kind", "pitch", "voice", "start"))
        end, rings, across = sounds.end.tolist(), sounds.rings.tolist(), sounds.across.tolist()
        same = np.where(sounds.slurred, _SAME, np.where(sounds.ligado, _LIGADO, _NEIGHBOUR)).tolist()
        bounds = np.flatnonzero(np.diff(sounds.moment, prepend=-1, append=-1)).tolist()
        waits = np.diff(sounds.start[bounds[:-1]], prepend=0) * seconds
        haste = np.searchsorted(weights.HASTES, waits, side="right").tolist()
        made: list[tuple] = []
        members: list[int] = []
        for number, (first, last) in enumerate(pairwise(bounds)):
            now = start[first]
            begun = self._outermost(first, last)
            struck = {pitch[s] for s in begun}
            held = [s for s in members if rings[s] > now + 1e-6 and pitch[s] not in struck]
            most = max(self._strings + 2 - len(begun), 1)  # of more, hardly one could sound on
            if len(held) > most:  # what is written stays rather than what only rings
                held = sorted(held, key=lambda s: end[s] > now + 1e-6)[-most:]
            places = {s: place for place, s in enumerate(members)}
            pairs = [(places[s], place, _HELD) for place, s in enumerate(held)]
            key = [(kind[s], _lost(start[s], end[s], rings[s], now, across[s])) for s in held]
            for place, s in enumerate(begun, len(held)):
                key.append((kind[s], _BEGINS))
                source = sounds.comes_from.get(s)
                if source in places:
                    pairs.append((places[source], place, _SAME))
                    continue
                line = [m for m in members if voice[m] == voice[s]]
                if line and (same[s] == _SAME or haste[number] < len(weights.HASTES)):  # a long rest parts them
                    near = min(line, key=lambda m: (-start[m], abs(pitch[m] - pitch[s])))
                    pairs.append((places[near], place, same[s]))
            members = [*held, *begun]
            made.append((members, tuple(key), tuple(pairs), haste[number]))
        return made

    def _outermost(self, first: int, last: int) -> list[int]:
        """The sounds of a moment; of a cluster its lowest and highest, twice as many as there are strings."""
        if last - first <= 2 * self._strings:
            return list(range(first, last))
        return [*range(first, first + self._strings), *range(last - self._strings, last)]

    def _find_shape(self, key: tuple[tuple[int, int], ...]) -> Shape:
        """The states of sounds given as (kind, how much is lost if it is cut; 0: it begins)."""
        picked = self._assignments(key, giving_up=False)
        if not len(picked[0]):
            picked = self._assignments(key, giving_up=True)
        ways, cost, low, high = picked
        strings, frets = ways["string"], ways["fret"]
        # each with every position from which the hand can take it; with open strings alone it may be anywhere
        free = high == 0
        lowest = np.where(free, 1, np.minimum(np.maximum(high - 3, 1), low))
        count = np.where(free, _POSITIONS, low - lowest + 1)
        row = np.repeat(np.arange(len(cost)), count)
        position = np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count) + lowest[row]
        begun = np.array([held == 0 for _, held in key])
        anchor = ways["anchor"][row] * begun
        away = np.where(anchor > 0, np.abs(anchor - position[:, None]), 0).sum(axis=1)
        bells = all(self._across[kind] for kind, held in key if not held)  # these are at home in high positions
        height = 0.0 if bells else weights.HEIGHT
        if ways["finger"].any():
            cost = cost + weights.ASTRAY * _tangled(ways["finger"], frets)
        cost = (cost + _grip(strings, frets, low) + weights.SPREAD * np.where(free, 0, high - low))[row]
        cost = cost + height * (position - 1) + weights.ANCHOR * away
        if not bells:
            opened = ((frets == 0) & begun).sum(axis=1) * ~free
            cost = cost + weights.FAR_OPEN * opened[row] * np.maximum(position - weights.NEAR, 0)
            chord = strings[:, begun]  # which is sorted by pitch
            crossed = (chord[:, 1:] > chord[:, :-1]) & (chord[:, :-1] > 0)
            cost = cost + weights.CROSSED * crossed.sum(axis=1)[row]
        lost = self._cuts[[held for _, held in key]]
        rank = cost + ((strings[row] == 0) * lost).sum(axis=1)
        order = np.argsort(rank, kind="stable")
        released = order[np.all((strings[row[order]] == 0) | begun, axis=1)]
        kept = np.union1d(order[:_STATES], released[:_RELEASED])
        return Shape(strings[row[kept]], frets[row[kept]], position[kept], cost[kept])

    def _assignments(self, key: tuple, giving_up: bool) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """WAY (assignments, sounds) with no string twice; what each costs; its lowest and highest stopped fret."""
        nowhere = np.zeros(1, WAY)
        nowhere["fret"] = -1
        options: list[np.ndarray] = []
        chosen, taken, cost = np.zeros((1, 0), np.int64), np.zeros(1, np.int64), np.zeros(1)
        low, high = np.full(1, 99), np.zeros(1, np.int64)
        begun = [place for place, (_, held) in enumerate(key) if not held]
        for place, (kind, held) in enumerate(key):
            ways = self._ways[kind]
            if held or giving_up:
                ways = np.concatenate([ways, nowhere])
            options.append(ways)
            a, b = (side.ravel() for side in np.indices((len(taken), len(ways))))
            string, fret = ways["string"][b], ways["fret"][b]
            bit = np.where(string > 0, 1 << string, 0)
            free = (taken[a] & bit) == 0
            a, b, bit, fret = a[free], b[free], bit[free], fret[free]
            price = np.zeros(len(ways))
            if not held:
                outer = place in (begun[0], begun[-1])  # the highest and the lowest note are missed the most
                price = np.where(ways["string"] == 0, weights.GIVEN_UP * (1.2 if outer else 1), ways["price"])
                thick = np.maximum(ways["string"] - weights.BRIGHT_STRINGS, 0)
                price += weights.DULL * thick * np.maximum(ways["fret"] - weights.BRIGHT_FRETS, 0)
                price -= np.where(ways["fret"] == 0, weights.BELL if self._across[kind] else weights.OPEN, 0)
            cost, taken = cost[a] + price[b], taken[a] | bit
            low, high = np.minimum(low[a], np.where(fret > 0, fret, 99)), np.maximum(high[a], fret)
            chosen = np.column_stack([chosen[a], b])
            if len(cost) > _ASSIGNMENTS:
                best = np.argsort(cost + _stretch(low, high), kind="stable")[:_ASSIGNMENTS]
                chosen, cost, taken, low, high = chosen[best], cost[best], taken[best], low[best], high[best]
        ways = np.zeros(chosen.shape, WAY)
        for place, option in enumerate(options):
            ways[:, place] = option[chosen[:, place]]
        return ways, cost + _stretch(low, high), low, high

    def _find_passing(self, before: tuple, after: tuple, pairs: tuple, haste: int) -> np.ndarray:
        """(states after, states before) what it costs to come from each to each."""
        here, there = self._shape(before), self._shape(after)
        moved = np.abs(there.position[:, None] - here.position)
        eased = np.where(np.any(here.frets > 0, axis=1), 1.0, weights.EASED) * weights.HASTE_COSTS[haste]
        cost = np.where(moved > 0, (weights.SHIFT + weights.SHIFT_FRET * moved) * eased, 0.0)
        for first, second, how in pairs:
            old, new = here.strings[:, first], there.strings[:, second][:, None]
            if how == _HELD:
                cost += (new != old) * np.where(new == 0, self._cuts[after[second][1]], _NEVER)
            elif how in (_SAME, _LIGADO):
                cost += (new != old) * (weights.TORN if how == _SAME else weights.LIGADO)
            else:
                stopped = (here.frets[:, first] > 0) & (there.frets[:, second][:, None] > 0)
                cost += np.where(stopped, weights.LINE * np.maximum(np.abs(new - old) - 1, 0), 0.0)
        return cost.astype(np.float32)


def _lost(start: float, end: float, rings: float, now: float, across: bool) -> int:
    """How much of a note is lost if it is cut now: of what is written; after that, of what had better ring."""
    written = end > now + 1e-6
    if written and across:
        return _BELL
    kind, until = (_WRITTEN, end) if written else (_RINGS, rings)
    return kind + min(int(3 * (until - now) / max(until - start, 1e-9)), 2)


def _stretch(low: np.ndarray, high: np.ndarray) -> np.ndarray:
    far = np.where(high > 0, reach(np.minimum(low, high), high), 0.0)
    stretched = np.clip(far - COMFORTABLE, 0, POSSIBLE - COMFORTABLE)
    return weights.STRETCH * stretched + weights.TOO_WIDE * (far > POSSIBLE)


def _grip(strings: np.ndarray, frets: np.ndarray, low: np.ndarray) -> np.ndarray:
    """What it costs to have a finger for each note: beyond four the first finger lies across the lowest fret, and no
    string under it can sound open."""
    stopped = (frets > 0).sum(axis=1)
    lowest = frets == low[:, None]
    across = np.where(lowest, strings, 0).max(axis=1, initial=0)
    blocked = np.any((frets == 0) & (strings < across[:, None]), axis=1)
    fingers = stopped - lowest.sum(axis=1) + 1
    return np.where(stopped > 4, weights.BARRE + weights.FIFTH_FINGER * ((fingers > 4) | blocked), 0.0)


def _tangled(fingers: np.ndarray, frets: np.ndarray) -> np.ndarray:
    """(n,) pairs of the fingers asked for that no hand has: one at two frets, or a higher one at a lower fret."""
    finger, fret = (np.sign(side[:, :, None] - side[:, None, :]) for side in (fingers, frets))
    placed = fingers > 0
    both = np.triu(placed[:, :, None] & placed[:, None, :], 1)
    return (both & ((finger == 0) & (fret != 0) | (finger * fret < 0))).sum(axis=(1, 2))
