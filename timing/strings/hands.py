"""The left hand: on which strings the notes of one part are easiest to play.

A dynamic programme over the moments at which notes begin (the approach of S. Sayegh, Computer Music Journal 13(3),
1989). A state is a string for every note that begins or still sounds, and a position of the hand; what a state costs by
itself and what it costs to come from one state to the next is in `timing.strings.weights`. Both depend on little (the
pitches, what is asked of them, which notes go on), so they are worked out once for each combination that the music has:
a repeat or a figure that comes back costs next to nothing. How much of a note is lost when it is cut does depend on
where it is cut; so this is paid bit by bit, at each moment at which the note is silent. All is judged in written time,
so that rubato does not change the fingering.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from timing.columns import NEAR, spread
from timing.instruments.tuning import FRETS
from timing.strings import weights
from timing.strings.playable import COMFORTABLE, POSSIBLE, WAY, reach

_NEVER = 1e6

_POSITIONS = 16  # in which open strings alone are played
_HIGHEST = max(_POSITIONS, FRETS) + 1  # above all positions
_OPEN = FRETS + 1  # stands for the lowest stopped fret where none is stopped
_STATES, _RELEASED, _ASSIGNMENTS = 80, 12, 1500  # kept at most: states of a moment, of these with nothing held; drafts
_AT_ONCE = 1 / 6  # the part of a cut note that is lost at one moment, roughly: for choosing the states that are kept

_HELD, _NEIGHBOUR, _SAME, _LIGADO = 0, 1, 2, 3

_BEGINS, _WRITTEN, _RINGS = 0, 1, 2  # how a sound comes into a moment: it begins, is written to go on, or only rings


@dataclass(frozen=True)
class PartSounds:
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


class _Piece:
    """What a hand is to play. Two are one if they are alike to the bit, whatever their tempo, so that a piece of which
    the time alone has changed is not laid on strings anew."""

    def __init__(self, sounds: PartSounds, hastes: tuple[int, ...]):
        self.sounds, self.hastes = sounds, hastes
        columns = (column for column in vars(sounds).values() if isinstance(column, np.ndarray))
        self._alike = (*(column.tobytes() for column in columns), tuple(sounds.comes_from.items()), hastes)

    def __hash__(self) -> int:
        return hash(self._alike)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Piece) and self._alike == other._alike


class Step(NamedTuple):
    """One moment."""

    members: list[int]  # its sounds, held ones first
    key: tuple[tuple[int, int], ...]  # of each its kind and how it comes into the moment
    pairs: tuple[tuple[int, int, int], ...]  # a sound of the moment before, one of this, what they have to do with
    haste: int
    ebb: list[float]  # of each, how much more of it is lost if it is cut here than if it is cut at the next moment


@dataclass(frozen=True)
class Draft:
    """Ways to lay sounds on strings, none of which is taken twice."""

    rows: np.ndarray  # (drafts, sounds) in the hand's table of ways
    taken: np.ndarray  # (drafts,) bits of strings
    cost: np.ndarray  # (drafts,)
    low: np.ndarray  # (drafts,) the lowest stopped fret, _OPEN for none
    high: np.ndarray  # (drafts,) the highest, 0 for none


@dataclass(frozen=True)
class Shape:
    """The states of one moment."""

    strings: np.ndarray  # (states, sounds) 0: given up
    frets: np.ndarray  # (states, sounds)
    position: np.ndarray  # (states,)
    cost: np.ndarray  # (states,)
    silent: np.ndarray  # (states, sounds) 1.0: given up
    stopped: np.ndarray  # (states, sounds) the string where it is stopped, else 0
    leaves: np.ndarray  # (states,) the column of `_shifts` for what comes next


def hand_for(ways: list[np.ndarray], across: np.ndarray, strings: int) -> Hand:
    """The hand for these ways: the one that has met them before, if there is one, since working out its tables takes
    longer than all that it plays from them."""
    return _hand(tuple(table.tobytes() for table in ways), across.tobytes(), strings)


@lru_cache(16)
def _hand(ways: tuple[bytes, ...], across: bytes, strings: int) -> Hand:
    return Hand([np.frombuffer(table, WAY) for table in ways], np.frombuffer(across, bool), strings)


class Hand:
    """Chooses strings for the sounds of one part. `ways` holds a WAY table for each kind of sound."""

    def __init__(self, ways: list[np.ndarray], across: np.ndarray, strings: int):
        self._across, self._strings = across, strings
        nowhere = np.zeros(1, WAY)
        nowhere["fret"] = -1
        self._ways = np.concatenate([table for each in ways for table in (each, nowhere)])
        self._last = np.cumsum([len(each) + 1 for each in ways]) - 1  # the row of each kind's nowhere, after its ways
        self._first = self._last - [len(each) for each in ways]
        self._string, self._fret = (self._ways[name].astype(np.int8) for name in ("string", "fret"))
        self._bit = np.where(self._string > 0, 1 << self._ways["string"], 0)
        self._joins, self._shifts = _joins(int(self._string.max())), _shifts()
        self._stretch = _stretch(*np.indices((_OPEN + 1, FRETS + 1)))
        self._price = _prices(self._ways, np.repeat(across, self._last - self._first + 1))
        self._led = bool(self._ways["anchor"].any())  # by fingers or positions that are asked for
        self._draft = lru_cache(1024)(self._find_draft)
        self._shape = lru_cache(4096)(self._find_shape)
        self._passing = lru_cache(2048)(self._find_passing)
        self._played = lru_cache(2)(self._find_played)

    def play(self, sounds: PartSounds, seconds: float) -> tuple[np.ndarray, np.ndarray, float]:
        """(n,) string and fret of each sound, 0 and -1 where it could have none; and what this costs, which no other
        choice does better. `seconds` is the length of a quarter in the middle tempo."""
        return self._played(_Piece(sounds, tuple(self._hastes(sounds, seconds))))

    def _find_played(self, piece: _Piece) -> tuple[np.ndarray, np.ndarray, float]:
        sounds = piece.sounds
        strings, frets = np.zeros(len(sounds.kind), np.int64), np.full(len(sounds.kind), -1)
        steps = self._steps(sounds, list(piece.hastes))
        if not steps:
            return strings, frets, 0.0
        best, back = self.cost(steps[0]), []
        for before, step in pairwise(steps):
            total = self.passing(before, step) + best
            came = total.argmin(axis=1)
            back.append(came)
            best = total[np.arange(len(came)), came] + self.cost(step)
        state = int(best.argmin())
        for number in range(len(steps) - 1, -1, -1):
            members, key = steps[number][:2]
            shape = self._shape(key)
            begun = [place for place, (_, how) in enumerate(key) if how == _BEGINS]
            rows = [members[place] for place in begun]
            strings[rows], frets[rows] = shape.strings[state, begun], shape.frets[state, begun]
            state = int(back[number - 1][state]) if number else state
        for kept in (strings, frets):
            kept.setflags(write=False)
        return strings, frets, float(best.min())

    def cost(self, step: Step) -> np.ndarray:
        """(states,) what each state of a moment costs by itself."""
        shape = self._shape(step.key)
        return shape.cost + shape.silent @ step.ebb if any(step.ebb) else shape.cost

    def passing(self, before: Step, step: Step) -> np.ndarray:
        """(states, states before) what it costs to come from each to each."""
        return self._passing(before.key, step.key, step.pairs, step.haste)

    @staticmethod
    def _hastes(sounds: PartSounds, seconds: float) -> list[int]:
        """How much haste there is before each moment, as an index into the weights' classes."""
        bounds = np.flatnonzero(np.diff(sounds.moment, prepend=-1))
        waits = np.diff(sounds.start[bounds], prepend=0) * seconds
        return np.searchsorted(weights.HASTES, waits, side="right").tolist()

    def _steps(self, sounds: PartSounds, haste: list[int]) -> list[Step]:
        kind, pitch, voice, start = (getattr(sounds, name).tolist() for name in ("kind", "pitch", "voice", "start"))
        end, rings, across = sounds.end.tolist(), sounds.rings.tolist(), sounds.across.tolist()
        same = np.where(sounds.slurred, _SAME, np.where(sounds.ligado, _LIGADO, _NEIGHBOUR)).tolist()
        bounds = np.flatnonzero(np.diff(sounds.moment, prepend=-1, append=-1)).tolist()
        made: list[Step] = []
        members: list[int] = []
        for number, (first, last) in enumerate(pairwise(bounds)):
            now = start[first]
            begun = self._outermost(first, last)
            struck = {pitch[s] for s in begun}
            held = [s for s in members if rings[s] > now + NEAR and pitch[s] not in struck]
            most = max(self._strings + 2 - len(begun), 1)  # of more, hardly one could sound on
            if len(held) > most:  # what is written stays rather than what only rings
                held = sorted(held, key=lambda s: end[s] > now + NEAR)[-most:]
            places = {s: place for place, s in enumerate(members)}
            pairs = [(places[s], place, _HELD) for place, s in enumerate(held)]
            key = [(kind[s], _WRITTEN if end[s] > now + NEAR else _RINGS) for s in held]
            losses = [_loss(start[s], end[s], rings[s], now, across[s]) for s in held]
            for s, loss in zip(held, losses, strict=True):
                made[-1].ebb[places[s]] -= loss
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
            made.append(Step(members, tuple(key), tuple(pairs), haste[number], [*losses, *[0.0] * len(begun)]))
        return made

    def _outermost(self, first: int, last: int) -> list[int]:
        """The sounds of a moment; of a cluster its lowest and highest, twice as many as there are strings."""
        if last - first <= 2 * self._strings:
            return list(range(first, last))
        return [*range(first, first + self._strings), *range(last - self._strings, last)]

    def _find_shape(self, key: tuple[tuple[int, int], ...]) -> Shape:
        """The states of sounds given as (kind, how they come into the moment)."""
        draft = self._laid(key)
        strings, frets, low, high = self._string[draft.rows], self._fret[draft.rows], draft.low, draft.high
        begun = np.array([how == _BEGINS for _, how in key])
        bells = all(self._across[kind] for kind, how in key if how == _BEGINS)  # these are at home in high positions
        # each with every position from which the hand can take it; with open strings alone it may be anywhere
        free = high == 0
        lowest = np.where(free, 1, np.minimum(np.maximum(high - 3, 1), low))
        count = np.where(free, _POSITIONS, low - lowest + 1)
        row, place = spread(count)
        position = lowest[row] + place
        cost = self._holding(draft, strings, frets, begun, bells)[row]
        if not bells:
            opened = ((frets == 0) & begun).sum(axis=1) * ~free
            cost += weights.HEIGHT * (position - 1)
            cost += weights.FAR_OPEN * opened[row] * np.maximum(position - weights.FAR_FROM, 0)
        if self._led:
            anchor = (self._ways["anchor"][draft.rows] * begun)[row]
            cost += weights.ANCHOR * np.where(anchor > 0, np.abs(anchor - position[:, None]), 0).sum(axis=1)
        silent = (strings == 0).astype(float)
        losses = np.array([0.0, weights.CUT, weights.RING])[[how for _, how in key]]
        order = np.argsort(cost + (_AT_ONCE * (silent @ losses))[row], kind="stable")
        released = np.all((strings == 0) | begun, axis=1)[row[order]]
        kept = np.zeros(len(row), bool)
        kept[order[:_STATES]] = kept[order[released][:_RELEASED]] = True
        row, position, cost = row[kept], position[kept], cost[kept]
        stopped, leaves = np.where(frets > 0, strings, 0)[row], position + _HIGHEST * free[row]
        return Shape(strings[row], frets[row], position, cost, silent[row], stopped, leaves)

    def _holding(
        self, draft: Draft, strings: np.ndarray, frets: np.ndarray, begun: np.ndarray, bells: bool
    ) -> np.ndarray:
        """(drafts,) what they cost wherever the hand is. `begun` says which sounds begin."""
        cost = draft.cost + self._stretch[draft.low, draft.high]
        cost += weights.SPREAD * np.maximum(draft.high - draft.low, 0)
        if len(begun) > 4:
            cost += _grip(strings, frets, draft.low)
        if self._led:
            cost += weights.ASTRAY * _tangled(self._ways["finger"][draft.rows], frets)
        if not bells:
            chord = strings[:, begun]  # which is sorted by pitch
            crossed = (chord[:, 1:] > chord[:, :-1]) & (chord[:, :-1] > 0)
            cost += weights.CROSSED * crossed.sum(axis=1)
        return cost

    def _laid(self, key: tuple[tuple[int, int], ...]) -> Draft:
        """Drafts of the sounds of a moment. What begins is given up only if there is no other way."""
        draft = self._draft(tuple((kind, how, None if how == _BEGINS else 0.0) for kind, how in key))
        if len(draft.cost):
            return draft
        begun = [place for place, (_, how) in enumerate(key) if how == _BEGINS]
        missed = dict.fromkeys(begun, weights.GIVEN_UP)
        missed[begun[0]] = missed[begun[-1]] = 1.2 * weights.GIVEN_UP  # the highest and the lowest the most
        return self._draft(tuple((kind, how, missed.get(place, 0.0)) for place, (kind, how) in enumerate(key)))

    def _find_draft(self, sounds: tuple[tuple[int, int, float | None], ...]) -> Draft:
        """Drafts of sounds given as (kind, how they come into the moment, what it costs to give them up, None if they
        must not be): those of all but the last, and the ways of the last on strings that are free."""
        if not sounds:
            none = np.zeros(1, np.int64)
            return Draft(np.zeros((1, 0), np.int64), none, np.zeros(1), none + _OPEN, none)
        before = self._draft(sounds[:-1])
        kind, how, given_up = sounds[-1]
        first, last = self._first[kind], self._last[kind] + (given_up is not None)
        price = self._price[first:last] if how == _BEGINS else np.zeros(last - first)
        if given_up:
            price = np.append(price[:-1], given_up)
        old, new = np.nonzero((before.taken[:, None] & self._bit[first:last]) == 0)
        row = first + new
        fret = self._fret[row]
        cost = before.cost[old] + price[new]
        low, high = np.minimum(before.low[old], np.where(fret > 0, fret, _OPEN)), np.maximum(before.high[old], fret)
        if len(cost) > _ASSIGNMENTS:
            best = np.argsort(cost + self._stretch[low, high], kind="stable")[:_ASSIGNMENTS]
            old, row, cost, low, high = old[best], row[best], cost[best], low[best], high[best]
        return Draft(np.column_stack([before.rows[old], row]), before.taken[old] | self._bit[row], cost, low, high)

    def _find_passing(self, before: tuple, after: tuple, pairs: tuple, haste: int) -> np.ndarray:
        here, there = self._shape(before), self._shape(after)
        cost = self._shifts[haste][there.position][:, here.leaves]
        for first, second, how in pairs:
            old, new = (side.stopped if how == _NEIGHBOUR else side.strings for side in (here, there))
            cost += self._joins[how][new[:, second]][:, old[:, first]]
        return np.ascontiguousarray(cost)  # which has its columns one after another, and is read by rows


def _prices(ways: np.ndarray, across: np.ndarray) -> np.ndarray:
    """(n,) what each way costs to begin a note with."""
    thick = np.maximum(ways["string"] - weights.BRIGHT_STRINGS, 0)
    dull = weights.DULL * thick * np.maximum(ways["fret"] - weights.BRIGHT_FRETS, 0)
    easy = np.where(ways["fret"] == 0, np.where(across, weights.BELL, weights.OPEN), 0.0)
    return ways["price"] + dull - easy


def _joins(count: int) -> np.ndarray:
    """(4, strings + 1, strings + 1) what it costs that a sound lies on a string and the one before, with which it has
    something to do, on another; string 0 is none."""
    after, before = np.indices((count + 1, count + 1))
    moved, both = after != before, (after > 0) & (before > 0)
    made = np.empty((4, *moved.shape), np.float32)
    made[_HELD] = _NEVER * (moved & (after > 0))
    made[_NEIGHBOUR] = weights.LINE * np.maximum(np.abs(after - before) - 1, 0) * both
    made[_SAME], made[_LIGADO] = weights.TORN * moved, weights.LIGADO * moved
    return made


def _shifts() -> np.ndarray:
    """(hastes, positions, twice the positions) what it costs to come to a position from another: first those where
    something is stopped, then those where nothing but open strings sounds."""
    far = np.abs(np.subtract.outer(np.arange(_HIGHEST), np.arange(_HIGHEST)))
    cost = (weights.SHIFT + weights.SHIFT_FRET * far) * (far > 0)
    return np.multiply.outer(weights.HASTE_COSTS, np.hstack([cost, weights.EASED * cost])).astype(np.float32)


def _loss(start: float, end: float, rings: float, now: float, across: bool) -> float:
    """What it costs to cut a note now: of what is written; after that, of what had better ring."""
    written = end > now + NEAR
    if written and across:
        return weights.BELL_CUT
    most, until = (weights.CUT, end) if written else (weights.RING, rings)
    return most * (min(int(3 * (until - now) / max(until - start, 1e-9)), 2) + 1) / 3


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
