"""Fit the weights by which phrases are found, and print them as they stand in the code:
python tests/bench/fit_phrases.py

The songs are those of the Essen collection (inside music21) that are neither L. Erk's, on which the weights are tried
by `phrase_scores.py`, nor near those, nor Chinese, whose phrases are made otherwise. The likelihood of their phrases,
less a little for large weights, is made as great as it can be by L-BFGS (scipy). All songs are laid end to end, with a
wall between them, and go through the sums that find phrases.
"""

from __future__ import annotations

import sys
from collections import Counter, defaultdict
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from essen import Song, erk_songs, other_songs  # noqa: E402

from timing.finding import weights  # noqa: E402
from timing.finding.boundaries import LONGEST, cutting_sums, features, length_classes  # noqa: E402

PENALTY = 0.5  # of the square of a weight
STEPS = 300
FIGURE = 6  # intervals of a figure by which songs are told apart
SHARED = 0.4  # of a song's figures in one of Erk's: it is near that one


def main() -> None:
    songs = training_songs()
    print(f"# {len(songs)} songs")
    print_table(fit(songs))


def training_songs() -> list[Song]:
    """Songs that are not near any of Erk's and have no phrase longer than LONGEST."""
    owners = defaultdict(set)
    for number, song in enumerate(erk_songs()):
        for figure in _figures(song):
            owners[figure].add(number)

    def near(song: Song) -> bool:
        figures = _figures(song)
        shared = Counter(number for figure in figures for number in owners.get(figure, ()))
        return bool(shared) and max(shared.values()) > SHARED * len(figures)

    return [song for song in other_songs() if _longest(song) <= LONGEST and not near(song)]


def _figures(song: Song) -> set[tuple]:
    steps = song.melody.intervals.tolist()
    return {tuple(steps[k : k + FIGURE]) for k in range(max(1, len(steps) - FIGURE + 1))}


def _longest(song: Song) -> int:
    return int(np.diff(np.flatnonzero(song.ends), prepend=-1).max())


class Table:
    """All songs laid end to end; the weights as one row: of the ends, of the notes, of the bars by density."""

    def __init__(self, songs: list[Song]):
        self.names = list(features(songs[0].melody))
        self.signs = np.vstack([_signs(song) for song in songs])
        found = [length_classes(song.melody, LONGEST) for song in songs]
        self.by_notes = found[0][0]
        width = len(weights.BARS[0])
        self.none = width * len(weights.BARS)  # the class of a phrase that does not exist
        columns = [np.where(column < 0, self.none, column + row * width) for _, column, row in found]
        self.by_bars = np.vstack(columns).astype(np.int8)
        ends = np.concatenate([song.ends for song in songs])
        last = np.flatnonzero(ends)
        notes = np.diff(last, prepend=-1)
        self.written = np.zeros(self.by_bars.shape, np.float32)  # 1 for the phrases that are written
        self.written[last, LONGEST - notes] = 1.0
        self.splits = np.cumsum([len(self.names), len(weights.NOTES)])

    def loss(self, row: np.ndarray) -> tuple[float, np.ndarray]:
        """The negative log likelihood with its penalty, and its gradient."""
        by_end, by_notes, by_bars = np.split(row, self.splits)
        scores = (self.signs @ by_end)[:, None] + by_notes[self.by_notes] + np.append(by_bars, -np.inf)[self.by_bars]
        before, after = cutting_sums(scores)
        count = len(scores)
        begin = np.maximum(np.arange(1, count + 1)[:, None] - np.arange(LONGEST, 0, -1), 0)
        with np.errstate(invalid="ignore"):
            share = np.exp(before[begin] + scores + after[1:, None] - before[-1])
        share[self.by_bars == self.none] = 0.0
        scores[self.by_bars == self.none] = 0.0
        surplus = share - self.written
        slope = np.concatenate(
            [
                surplus.sum(axis=1) @ self.signs,
                np.bincount(self.by_notes, surplus.sum(axis=0), len(by_notes)),
                np.bincount(self.by_bars.ravel(), surplus.ravel(), self.none + 1)[:-1],
            ]
        )
        loss = before[-1] - float((self.written * scores).sum())
        return loss + PENALTY * float(row @ row), slope + 2 * PENALTY * row


def _signs(song: Song) -> np.ndarray:
    """(n, names) the features; after the last note, where a phrase ends anyway, none."""
    made = np.column_stack(list(features(song.melody).values())).astype(float)
    made[-1] = 0.0
    return made


def fit(songs: list[Song]) -> tuple[dict[str, float], np.ndarray, np.ndarray]:
    """The weights of the ends, of the notes and of the bars by density."""
    from scipy.optimize import minimize

    table = Table(songs)
    start = np.zeros(len(table.names) + len(weights.NOTES) + np.size(weights.BARS))
    found = minimize(table.loss, start, jac=True, method="L-BFGS-B", options={"maxiter": STEPS})
    by_end, by_notes, by_bars = np.split(found.x, table.splits)
    return dict(zip(table.names, by_end, strict=True)), by_notes, by_bars.reshape(len(weights.BARS), -1)


def print_table(found: tuple[dict[str, float], np.ndarray, np.ndarray]) -> None:
    by_end, by_notes, by_bars = found
    print("BOUNDARY = {", *(f'    "{name}": {weight:.2f},' for name, weight in by_end.items()), "}", sep="\n")
    print(f"NOTES = ({', '.join(f'{weight:.2f}' for weight in by_notes)})")
    print("BARS = (", *(f"    ({', '.join(f'{weight:.2f}' for weight in row)})," for row in by_bars), ")", sep="\n")


if __name__ == "__main__":
    main()
