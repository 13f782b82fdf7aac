"""Phrase ends as people annotated them, beside the scores: a folder with `mozart/NAME.krn` and `mozart/NAME.csv`, and
the same for `mazurkas`.

The annotations are those of the Digital and Cognitive Musicology Lab (J. Hentschel, M. Neuwirth and M. Rohrmeier, "The
Annotated Mozart Sonatas", TISMIR 4, 2021, and their annotations of Chopin's mazurkas), carried over to the scores of
C. S. Sapp in kern. A row is a phrase end: the bar and the beat of its last harmony (`bar`, `beat`) and those where the
next phrase begins (`next_bar`, `next_beat`, empty after the last one); both are the same where the end is elided.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np

from timing.reader import read_score
from timing.score import Score
from timing.where.beats import felt_beat

CORPORA = ("mozart", "mazurkas")


@dataclass(frozen=True)
class Annotated:
    """A score and the phrase ends that people hear in it, in quarters along the bars as written, endings and all."""

    corpus: str
    work: str  # the sonata, or the opus: scores of one work are left out together
    name: str
    score: Score
    ends: np.ndarray  # (n, 2) the moment of the last harmony, and that at which the next phrase begins

    @cached_property
    def bar_starts(self) -> np.ndarray:
        return np.append(0.0, np.cumsum(self.score.bars["length"]))

    @cached_property
    def beat(self) -> float:
        """Quarters of a felt beat, of the metre that most bars have."""
        return float(np.median(felt_beat(self.score.bars)))

    def at(self, place: tuple[int, float]) -> float:
        """The quarter of a place given as bar row and quarters after its bar line."""
        return float(self.bar_starts[place[0]] + place[1])

    def is_end(self, moments: np.ndarray) -> np.ndarray:
        """(n,) whether each moment is within a felt beat of an end: of the time from its harmony to the next phrase."""
        return (self._away(moments) <= self.beat + 1e-6).any(axis=1)

    def hits(self, moments: np.ndarray) -> int:
        """How many ends have one of these moments for their own."""
        near, used, count = self._away(np.sort(moments)) <= self.beat + 1e-6, set(), 0
        for end in range(len(self.ends)):
            mine = [moment for moment in np.flatnonzero(near[:, end]).tolist() if moment not in used]
            used.update(mine[:1])
            count += bool(mine)
        return count

    def agreement(self, moments: np.ndarray) -> tuple[float, float, float]:
        """Precision, recall and F1 of these moments as ends, the last one among them."""
        hits = self.hits(moments)
        return hits / len(moments), hits / len(self.ends), 2 * hits / (len(moments) + len(self.ends))

    def _away(self, moments: np.ndarray) -> np.ndarray:
        """(n, ends) quarters from each moment to each end."""
        begin, over = self.ends.T
        return np.maximum(np.maximum(begin - moments[:, None], moments[:, None] - over), 0.0)


def annotated(folder: Path) -> list[Annotated]:
    """All scores of a folder with their phrase ends."""
    paths = [(corpus, path) for corpus in CORPORA for path in sorted((folder / corpus).glob("*.krn"))]
    return [_read(corpus, path) for corpus, path in paths]


def _read(corpus: str, path: Path) -> Annotated:
    score = read_score(path)
    starts = np.append(0.0, np.cumsum(score.bars["length"]))
    rows = {score.bar_name(row): row for row in reversed(range(len(score.bars)))}

    def quarter(bar: str, beat: str) -> float:
        if not bar:
            return float(starts[-1])
        row = score.bars[rows[bar]]
        return float(starts[rows[bar]] - row["shift"] + (float(beat) - 1) * 4 / row["unit"])

    with path.with_suffix(".csv").open(encoding="utf-8") as file:
        rows_of_file = list(csv.DictReader(file))
    ends = [(quarter(row["bar"], row["beat"]), quarter(row["next_bar"], row["next_beat"])) for row in rows_of_file]
    return Annotated(corpus, path.stem.split("-")[0] or path.stem, path.stem, score, np.array(ends))
