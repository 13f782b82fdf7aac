"""Level in dB: dynamics, hairpins, arches, voices, accents and what a repeat changes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from timing import timemap
from timing.lines import Lines
from timing.phrases import PhraseRun, add_level_arches, arch_knots
from timing.plan import Dynamic, Plan
from timing.tracks import Event, Segment, follow, sample
from timing.where import Where
from timing.words import DYNAMICS

UNMARKED = DYNAMICS["mf"]  # the level where the plan names none
HAIRPIN = 4.0  # dB of a hairpin without a number: one dynamic mark


@dataclass(frozen=True)
class Level:
    """The level of every note, in two parts: what moves along the piece and may move while a note sounds, and what
    belongs to the note alone."""

    tracks: list[list[Segment]]  # moving level in dB, a track for every set of voices that has dynamics of its own
    track: np.ndarray  # (notes,) which track a note follows
    arches: np.ndarray  # PIECE table whose a0, a1, a2 are the arches in dB
    louder: list[Segment]  # the allargandos' dB
    own: np.ndarray  # (notes,) dB

    def moving(self, notes: np.ndarray, quarters: np.ndarray) -> np.ndarray:
        """(n,) dB of the moving part at `quarters`, for these rows of notes."""
        level = sample(self.louder, quarters) + self._arched(quarters)
        for number, track in enumerate(self.tracks):
            mine = self.track[notes] == number
            level[mine] += sample(track, quarters[mine])
        return level

    def _arched(self, quarters: np.ndarray) -> np.ndarray:
        row = np.clip(np.searchsorted(self.arches["start"], quarters + 1e-9, side="right") - 1, 0, len(self.arches) - 1)
        pieces = self.arches[row]
        u = np.clip((quarters - pieces["start"]) / (pieces["end"] - pieces["start"]), 0, 1)
        return pieces["a0"] + (pieces["a1"] + pieces["a2"] * u) * u


def build_level(
    plan: Plan, onsets: np.ndarray, lines: Lines, phrases: list[PhraseRun], louder: list[Segment], where: Where
) -> Level:
    """The level of the performed notes, whose score onsets are `onsets` (sorted, in quarters)."""
    tracks, follows = _tracks(plan, lines, where)
    arches = timemap.split(timemap.strict(where.length, 1.0), arch_knots(phrases))
    add_level_arches(arches, phrases)
    own = np.zeros(len(onsets))
    for name, voice in plan.voices.items():
        own[lines.select(name, voice.place(), where)] += voice.level
    for accent in plan.accents:
        chosen = lines.select(accent.for_, accent.place("for"), where)
        for at in where.moments_of(accent, "at"):
            own[(np.abs(onsets - at) < 1e-6) & chosen] += accent.by
    for second in plan.second_time:
        change = (second.louder or 0) - (second.softer or 0)
        for run in where.runs_of(at_second_time(second), "bars"):
            part = slice(*np.searchsorted(onsets, (run.start - 1e-9, run.end - 1e-9)))
            own[part] += change
            if second.dynamics is not None:
                begin = np.array([sample(track, np.array([run.start]))[0] for track in tracks])
                own[part] += DYNAMICS[second.dynamics] - begin[follows[part]]
    return Level(tracks, follows, arches, louder, own)


def at_second_time(entry):
    """What differs the second time differs on pass 2, unless the entry names another."""
    return entry if entry.passes else entry.model_copy(update={"passes": 2})


def _tracks(plan: Plan, lines: Lines, where: Where) -> tuple[list[list[Segment]], np.ndarray]:
    """The dynamics of all, and of every set of voices that an entry names with `for`, those of all included."""
    follows = np.zeros(lines.count, np.int64)
    names = [None, *dict.fromkeys(d.for_ for d in plan.dynamics if d.for_)]
    tracks = []
    for number, name in enumerate(names):
        entries = [d for d in plan.dynamics if d.for_ in (None, name)]
        events = [event for d in entries for event in _events(d, where)]
        tracks.append(follow(events, UNMARKED, where.length, where.returns))
        if name:
            place = next(d.place("for") for d in entries if d.for_ == name)
            follows[lines.select(name, place, where)] = number
    return tracks, follows


def _events(entry: Dynamic, where: Where) -> list[Event]:
    if entry.kind == "at":
        return [Event(float(s), float(s), lambda _: DYNAMICS[entry.mark]) for s in where.moments_of(entry, "at")]
    change = (HAIRPIN if entry.by is None else entry.by) * (1 if entry.kind == "crescendo" else -1)
    if entry.to_mark is not None:
        goal = lambda _: DYNAMICS[entry.to_mark]  # noqa: E731
    else:
        goal = lambda level: level + change  # noqa: E731
    runs = where.runs_of(entry, entry.kind, arriving=True)
    return [Event(run.start, run.end, goal, rank=1) for run in runs if run.complete]
