"""How often strings are chosen as editors mark them, and the weights for it:
python tests/bench/fit_fingering.py FOLDER [fit]

FOLDER holds guitar pieces with their editors' fingering as MusicXML, such as those of the Mutopia Project's open
collection. All string and fret marks are taken out of the notes before strings are chosen. The first table says how
many marked strings are met, with the finger marks taken out as well and with them left in, and how many 0 marks on
notes that have an open string; the second what that asks of the hand: moments at which the stopped notes lie further
apart than is comfortable, the fewest shifts with which they can be taken, notes that get no string.

With `fit`, the weights that `timing.strings.weights` calls FITTED are stepped up and down, one after another, as long
as more marks are met: strings, open strings, and stopped ones where there is an open one. How much of a mark is met is
1 at best, 0 at worst, and 1/2 where the cheapest way that meets it costs as much as the cheapest that does not. Each
composer's marks are then tried with weights that were fitted without him; and since the hand is no part of the fit, the
last table says what the weights fitted to all marks ask of it.
"""

from __future__ import annotations

import re
import sys
from collections import defaultdict
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT)]

from timing import strings  # noqa: E402
from timing.instruments.tuning import FRETS  # noqa: E402
from timing.plan import Plan  # noqa: E402
from timing.reader import read_score  # noqa: E402
from timing.reading import perform  # noqa: E402
from timing.score import Score  # noqa: E402
from timing.strings import weights  # noqa: E402
from timing.strings.hands import Hand, PartSounds  # noqa: E402
from timing.strings.playable import COMFORTABLE, reach  # noqa: E402

TUNING = np.array([64, 59, 55, 50, 45, 40])
GUITAR = Plan.model_validate({"instrument": "classical guitar"})
KINDS = {"string": 3.0, "open": 3.0, "stopped": 1.0}  # what a mark says, and how much the share that is met counts
SOFT = 0.3  # difference of costs at which a mark counts as met by 3/4 (1/4 if it is not)
STEPS = (1.5, 1.25)  # factors by which a weight is changed, the coarse one first
STAY = 0.03  # for the square of each weight's logarithm against where it began
ROUNDS = 3  # through all weights, at most, for each factor


@dataclass(frozen=True)
class Piece:
    name: str
    composer: str
    score: Score
    astray: bool  # most of its 0 marks stand where no string is open: an octave is wrong

    def unmarked(self, fingers: bool) -> Score:
        notes = self.score.notes.copy()
        notes["string"], notes["fret"] = 0, -1
        if not fingers:
            notes["finger"] = -1
        return replace(self.score, notes=notes)

    def marks(self) -> dict[str, np.ndarray]:
        """The rows of notes with a mark of each kind that can be met."""
        notes = self.score.notes
        fret = notes["pitch"] - TUNING[np.maximum(notes["string"] - 1, 0) % len(TUNING)]
        open_pitch = np.isin(notes["pitch"], TUNING) & (not self.astray)
        return {
            "string": np.flatnonzero((notes["string"] > 0) & (fret >= 0) & (fret <= FRETS)),
            "open": np.flatnonzero((notes["finger"] == 0) & open_pitch),
            "stopped": np.flatnonzero((notes["finger"] > 0) & open_pitch),
        }


def main() -> None:
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else None
    paths = sorted(folder.glob("*.musicxml")) if folder else []
    if not paths:
        sys.exit(f"no MusicXML files in {folder}" if folder else "which folder are the guitar pieces in?")
    pieces = [read(path) for path in paths]
    print_marks(pieces)
    print_hands(pieces)
    if sys.argv[2:] == ["fit"]:
        print_fit(pieces)


def read(path: Path) -> Piece:
    score = read_score(path)
    composer = re.search(r'<creator type="composer">([^<(]*)', path.read_text(encoding="utf-8"))
    opened = score.notes["pitch"][score.notes["finger"] == 0]
    astray = bool(len(opened)) and np.isin(opened, TUNING).mean() < 0.5
    return Piece(path.stem, composer[1].split()[-1] if composer else "unknown", score, astray)


# -- how it is


def chosen(piece: Piece, fingers: bool) -> np.ndarray:
    """PLAYED rows as they come, with the strings chosen."""
    return perform(piece.unmarked(fingers), GUITAR).performance.notes


def met(piece: Piece, played: np.ndarray) -> dict[str, tuple[int, int]]:
    """For each kind of mark how many there are, and how many are met the first time they are played."""
    notes, strung = piece.score.notes, np.zeros(len(piece.score.notes), [("string", int), ("fret", int)])
    for name in strung.dtype.names:
        strung[name][played["id"][::-1]] = played[name][::-1]
    rows = piece.marks()
    good = {
        "string": strung["string"] == notes["string"],
        "open": strung["fret"] == 0,
        "stopped": strung["fret"] > 0,
    }
    return {kind: (len(rows[kind]), int(good[kind][rows[kind]].sum())) for kind in KINDS}


def print_marks(pieces: list[Piece]) -> None:
    print("                               strings marked   met  (fingers kept)    0 marked   met  (fingers kept)")
    sums = defaultdict(lambda: np.zeros(6, int))
    for piece in pieces:
        free, led = (met(piece, chosen(piece, fingers)) for fingers in (False, True))
        row = [*free["string"], led["string"][1], *free["open"], led["open"][1]]
        for name in (piece.composer, "all"):
            sums[name] += row
        if row[0] or row[3]:
            print_row(piece.name, row)
    print()
    for name, row in sorted(sums.items(), key=lambda item: item[0] == "all"):
        print_row(name, row)


def print_row(name: str, row) -> None:
    print("{:<30} {:>14} {:>5} {:>15} {:>11} {:>5} {:>15}".format(name, *row))


def print_hands(pieces: list[Piece]) -> None:
    print("\n                          moments   too wide   shifts   notes without a string")
    for label, fingers in (("fingers taken out", False), ("fingers kept", True)):
        total = sum(demands(chosen(piece, fingers)) for piece in pieces)
        print("{:<24} {:>8} {:>10} {:>8} {:>24}".format(label, *total.tolist()))


def demands(played: np.ndarray) -> np.ndarray:
    """How many moments there are, at how many the hand is stretched, how often it must move, notes without a string."""
    low, high = spans(played)
    stopped = high > 0
    wide = stopped & (reach(low, high) > COMFORTABLE)
    moves, least, most = 0, 1, FRETS
    for bottom, top in zip(low[stopped].tolist(), high[stopped].tolist(), strict=True):
        here = (min(max(top - 3, 1), bottom), bottom)  # the positions in which the hand can take them
        least, most = max(least, here[0]), min(most, here[1])
        if least > most:
            moves, (least, most) = moves + 1, here
    return np.array([len(low), wide.sum(), moves, (played["string"] == 0).sum()])


def spans(played: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(moments,) the lowest and highest fret stopped at each, of what begins and of what still sounds; 0 for none."""
    rows = played[(played["string"] > 0)]
    rows = rows[np.argsort(rows["score_onset"], kind="stable")]
    onset = np.round(rows["score_onset"], 6)
    bounds = np.append(np.flatnonzero(np.diff(onset, prepend=-1.0)), len(rows))
    until, fret = np.zeros(len(TUNING) + 1), np.zeros(len(TUNING) + 1, int)
    made = np.zeros((2, len(bounds) - 1), int)
    for number, (first, last) in enumerate(pairwise(bounds)):
        here = rows[first:last]
        fret[until <= onset[first] + 1e-6] = 0
        fret[here["string"]] = here["fret"]
        until[here["string"]] = here["score_onset"] + here["score_length"]
        if (fret > 0).any():
            made[:, number] = fret[fret > 0].min(), fret.max()
    return made[0], made[1]


# -- how it could be


@dataclass(frozen=True)
class Task:
    """A piece as it comes to the hand, and its marks: (sound, kind, string)."""

    composer: str
    hand: tuple
    sounds: PartSounds
    seconds: float
    marks: list[tuple[int, str, int]]


class _Watched(Hand):
    """A hand that remembers what it was asked for."""

    asked: tuple = ()

    def __init__(self, *hand):
        super().__init__(*hand)
        self._hand = hand

    def play(self, sounds: PartSounds, seconds: float):
        _Watched.asked = (self._hand, sounds, seconds)
        return super().play(sounds, seconds)


def tasks(pieces: list[Piece]) -> list[Task]:
    made = []
    strings.Hand = _Watched
    for piece in pieces:
        rows = piece.marks()
        if not any(map(len, rows.values())):
            continue
        played = chosen(piece, fingers=False)
        hand, sounds, seconds = _Watched.asked
        played = played[np.argsort(-played["score_onset"], kind="stable")]  # of several hearings the first stays
        onset = dict(zip(played["id"].tolist(), np.round(played["score_onset"], 6).tolist(), strict=True))
        places = zip(np.round(sounds.start, 6).tolist(), sounds.pitch.tolist(), strict=True)
        sound = {place: number for number, place in enumerate(places)}
        notes, marks = piece.score.notes, {}
        for kind, marked in rows.items():
            for row in marked.tolist():
                number = sound[onset[row], int(notes["pitch"][row])]
                marks[number, kind, int(notes["string"][row]) if kind == "string" else 0] = True
        made.append(Task(piece.composer, hand, sounds, seconds, list(marks)))
    strings.Hand = Hand
    return made


def margins(task: Task) -> np.ndarray:
    """(marks,) what the best way to meet each costs more than the best way not to."""
    hand = Hand(*task.hand)
    steps = hand._steps(task.sounds, task.seconds)
    shapes = [hand._shape(step.key) for step in steps]
    costs = [hand.cost(step) for step in steps]
    passings = [hand.passing(before, step) for before, step in pairwise(steps)]
    come, go = [costs[0]], [np.zeros(len(costs[-1]))]
    for passing, cost in zip(passings, costs[1:], strict=True):
        come.append((passing + come[-1]).min(axis=1) + cost)
    for passing, cost in zip(passings[::-1], costs[:0:-1], strict=True):
        go.append((passing + (go[-1] + cost)[:, None]).min(axis=0))
    made = []
    for sound, kind, string in task.marks:
        moment = int(task.sounds.moment[sound])
        members, key = steps[moment][:2]
        place = next((n for n, m in enumerate(members) if m == sound and not key[n][1]), None)
        if place is None:  # in a cluster
            continue
        shape, total = shapes[moment], come[moment] + go[-1 - moment]
        fret = shape.frets[:, place]
        good = {"string": shape.strings[:, place] == string, "open": fret == 0, "stopped": fret > 0}[kind]
        made.append(min(total[good], default=np.inf) - min(total[~good], default=np.inf) if good.any() else np.inf)
    return np.array(made)


class Trial:
    """What becomes of the marks under some weights, each tried once."""

    def __init__(self, made: list[Task]):
        self._tasks, self._known = made, {}

    def of(self, values: dict[str, float]) -> dict[tuple[str, str], np.ndarray]:
        """By composer and kind: how many marks there are, how many are met, how far they are not."""
        key = tuple(round(value, 6) for value in values.values())
        if key not in self._known:
            for name, value in values.items():
                setattr(weights, name, value)
            sums = defaultdict(lambda: np.zeros(3))
            for task in self._tasks:
                for (_, kind, _), margin in zip(task.marks, margins(task), strict=True):
                    missed = 1 / (1 + np.exp(-np.clip(margin, -9, 9) * np.log(3) / SOFT))
                    sums[task.composer, kind] += (1, margin < 0, missed)
            self._known[key] = dict(sums)
        return self._known[key]

    def loss(self, values: dict[str, float], start: dict[str, float], without: str | None) -> float:
        found = self.of(values)
        total = STAY * sum(np.log(values[name] / start[name]) ** 2 for name in values)
        for kind, share in KINDS.items():
            count, _, missed = sum(row for (who, what), row in found.items() if what == kind and who != without)
            total += share * missed / count
        return total


def fit(trial: Trial, start: dict[str, float], without: str | None = None) -> dict[str, float]:
    """The weights that meet the marks of all composers but one."""
    values, least = dict(start), trial.loss(start, start, without)
    for factor in STEPS:
        for _ in range(ROUNDS):
            before = least
            for name in values:
                for step in (factor, 1 / factor):
                    tried = values | {name: values[name] * step}
                    loss = trial.loss(tried, start, without)
                    if loss < least - 1e-4:
                        values, least = tried, loss
                        break
            if least == before:
                break
    return values


def print_fit(pieces: list[Piece]) -> None:
    trial = Trial(tasks(pieces))
    start = {name: getattr(weights, name) for name in weights.FITTED}
    sums = defaultdict(lambda: np.zeros(3))
    print("\nfitted without              " + "  ".join(f"{name:>7}" for name in start))
    for composer in sorted({who for who, _ in trial.of(start)}):
        values = fit(trial, start, composer)
        print(f"{composer:<28}" + "  ".join(f"{value:7.3f}" for value in values.values()), flush=True)
        for (who, kind), row in trial.of(values).items():
            if who == composer:
                sums[who, kind] += row
                sums["all", kind] += row
    fitted = fit(trial, start)
    print(f"{'none':<28}" + "  ".join(f"{value:7.3f}" for value in fitted.values()))
    print("\nheld out, fingers taken out (what sounds as one note counts once)")
    for (who, kind), (count, good, _) in sorted(sums.items(), key=lambda item: (item[0][0] == "all", item[0])):
        print(f"{who:<12} {kind:<8} {good:4.0f} of {count:4.0f}  {100 * good / count:3.0f} %")
    vars(weights).update(fitted)
    print_hands(pieces)


if __name__ == "__main__":
    main()
