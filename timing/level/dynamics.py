"""Level in dB: dynamics, hairpins, arches, voices, accents and what a repeat changes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from timing import timemap
from timing.columns import NEAR, ROUNDING, spread
from timing.notes.lines import Lines
from timing.notes.playing import Played
from timing.plan import Plan
from timing.plan.kinds import Act
from timing.plan.sound import Dynamic
from timing.plan.words import LEVELS
from timing.remarks import Remark
from timing.time.pace import Pace
from timing.time.phrases import add_level_arches, arch_knots
from timing.tracks import Event, follow, sample, table
from timing.where import Where, left_out
from timing.where.hearings import Hearings

UNMARKED = LEVELS["mf"]  # the level where the plan names none


@dataclass(frozen=True)
class Level:
    """The level of every note, in two parts: what moves along the piece and may move while a note sounds, and what
    belongs to the note alone."""

    tracks: list[np.ndarray]  # moving level in dB, a track (see `tracks.table`) for every set of voices with its own
    track: np.ndarray  # (notes,) which track a note follows
    arches: np.ndarray  # PIECE table whose a0, a1, a2 are the arches in dB
    louder: np.ndarray  # a track: the allargandos' dB
    own: np.ndarray  # (notes,) dB
    remarks: tuple[Remark, ...]

    def ordered(self, rows: np.ndarray) -> Level:
        """The same with these rows of the notes, in their order."""
        return replace(self, track=self.track[rows], own=self.own[rows])

    @property
    def corners(self) -> np.ndarray:
        """(n,) the quarters at which the moving part may step or turn, sorted."""
        return np.unique(np.concatenate([self.arches["start"], self.louder[:, 0], *(t[:, 0] for t in self.tracks)]))

    def moving(self, notes: np.ndarray, quarters: np.ndarray) -> np.ndarray:
        """(n,) dB of the moving part at `quarters`, for these rows of notes."""
        level = sample(self.louder, quarters) + self._arched(quarters)
        for number, track in enumerate(self.tracks):
            mine = self.track[notes] == number
            level[mine] += sample(track, quarters[mine])
        return level

    def _arched(self, quarters: np.ndarray) -> np.ndarray:
        begun = np.searchsorted(self.arches["start"], quarters + ROUNDING, side="right") - 1
        row = np.clip(begun, 0, len(self.arches) - 1)
        pieces = self.arches[row]
        u = np.clip((quarters - pieces["start"]) / (pieces["end"] - pieces["start"]), 0, 1)
        return pieces["a0"] + (pieces["a1"] + pieces["a2"] * u) * u


def build_level(
    plan: Plan, played: Played, pace: Pace, where: Where, amount: float = 1.0, accented: np.ndarray | None = None
) -> Level:
    """The level of the performed notes. `amount` scales all that differs from the level of the unmarked score;
    `accented` (n,) is by how many dB the signs on the notes let them stand out, where no accent of the plan does."""
    hearings, lines = Hearings(where), played.lines
    onsets = np.ascontiguousarray(played.table["score_onset"])
    tracks, follows = _tracks(plan, lines, hearings)
    arches = timemap.split(timemap.strict(where.length, 1.0), arch_knots(pace.phrases))
    add_level_arches(arches, pace.phrases, amount)
    own = np.zeros(len(onsets))
    for name, voice in plan.voices.items():
        own[lines.select(name, plan.key_place("voices", name), hearings)] += voice.level
    own += _accents(plan, onsets, np.zeros(len(onsets)) if accented is None else accented, lines, hearings)
    for second in plan.second_time:
        change = (second.louder or 0) - (second.softer or 0)
        for run in hearings.runs_of(second.at_its_pass(), "bars"):
            part = slice(*np.searchsorted(onsets, (run.start - ROUNDING, run.end - ROUNDING)))
            own[part] += change
            if second.dynamics is not None:
                begin = np.array([sample(track, np.array([run.start]))[0] for track in tracks])
                own[part] += LEVELS[second.dynamics] - begin[follows[part]]
    tracks = [_scaled(track, amount, UNMARKED) for track in tracks]
    louder = _scaled(table(pace.louder), amount, 0.0)
    return Level(tracks, follows, arches, louder, own * amount, tuple(hearings.remarks))


def _accents(plan: Plan, onsets: np.ndarray, signs: np.ndarray, lines: Lines, hearings: Hearings) -> np.ndarray:
    """(n,) dB of the accents: what the plan says of a note goes over the sign that stands on it."""
    planned, told = np.zeros(len(onsets)), np.zeros(len(onsets), bool)
    for accent in plan.accents:
        chosen = lines.select(accent.for_, accent.place("for"), hearings)
        rows = begun_at(onsets, hearings.moments_of(accent, "at"))
        rows = rows[chosen[rows]]
        planned[rows] += accent.by
        told[rows] = True
    return np.where(told, planned, signs)


def begun_at(onsets: np.ndarray, moments: np.ndarray) -> np.ndarray:
    """The rows of the notes that begin at one of these moments; both are in quarters and sorted."""
    first, last = np.searchsorted(onsets, moments - NEAR), np.searchsorted(onsets, moments + NEAR)
    moment, place = spread(last - first)
    return first[moment] + place


def _scaled(track: np.ndarray, amount: float, middle: float) -> np.ndarray:
    """A track whose values lie `amount` times as far from the middle."""
    return np.column_stack([track[:, :2], middle + amount * (track[:, 2:] - middle)])


def _tracks(plan: Plan, lines: Lines, hearings: Hearings) -> tuple[list[np.ndarray], np.ndarray]:
    """The dynamics of all, and of every set of voices that entries name with `for`, those of all included; and which
    of these tracks each note follows. At one moment what is said of some voices goes over what is said of all."""
    entries = sorted(plan.dynamics, key=lambda entry: entry.for_ is not None)
    events = [(entry.for_, _events(entry, hearings)) for entry in entries]
    follows = np.zeros(lines.count, np.int64)
    sets: list[frozenset[str | None]] = [frozenset([None])]
    for entry in {entry.for_: entry for entry in entries if entry.for_ is not None}.values():
        chosen = lines.select(entry.for_, entry.place("for"), hearings)
        for number in np.unique(follows[chosen]).tolist():
            follows[chosen & (follows == number)] = len(sets)
            sets.append(sets[number] | {entry.for_})
    used, follows = np.unique(follows, return_inverse=True)
    tracks = []
    for number in used:
        mine = [event for name, made in events if name in sets[number] for event in made]
        tracks.append(table(follow(mine, UNMARKED, hearings.where.length, hearings.where.returns)))
    return tracks, follows


def _events(entry: Dynamic, hearings: Hearings) -> list[Event]:
    if entry.act is Act.STANDS:
        changes = [Event(0.0, 0.0, _mark(entry.mark))] if entry.mark is not None else []
        if shift := (entry.louder or 0.0) - (entry.softer or 0.0):  # from whatever level there is
            changes.append(Event(0.0, 0.0, _by(shift), rank=1, if_still=True))
        moments = hearings.moments_of(entry, "at").tolist()
        return [replace(change, start=moment, end=moment) for moment in moments for change in changes]
    runs = [run for run in hearings.runs_of(entry, entry.kind) if run.complete]
    if entry.to_mark is not None:
        return [Event(run.start, run.end, _mark(entry.to_mark), rank=2) for run in runs]
    change = (entry.does.usual if entry.by is None else entry.by) * (1 if entry.act is Act.SWELLS else -1)
    # where a repeat begins in the middle of a hairpin, what is left of it is heard
    shares = [1 - behind for behind in left_out(runs)]
    return [Event(run.start, run.end, _by(change * share), rank=2) for run, share in zip(runs, shares, strict=True)]


def _mark(mark: str) -> Callable[[float], float]:
    return lambda _: LEVELS[mark]


def _by(change: float) -> Callable[[float], float]:
    return lambda level: level + change
