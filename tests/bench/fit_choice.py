"""Fit the weights by which ends of phrases are chosen from those of the melody, and print them as they stand in the
code: python tests/bench/fit_choice.py FOLDER

FOLDER holds phrase ends that people annotated (`tests/people.py` says how). The likelihood of their phrases, less a
little for large weights, is made as great as it can be by L-BFGS (scipy). All scores are laid end to end and go through
the sums that find phrases.

--try prints, instead, how near such weights come to people on scores that they were not fitted on: a fifth of the
sonatas and opera left out in turn, and fitted on Mozart and tried on mazurkas, and the other way round.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from people import CORPORA, Annotated, annotated  # noqa: E402

from timing.finding import choosing, weights  # noqa: E402
from timing.finding.boundaries import (  # noqa: E402
    best_ends,
    cutting_sums,
    end_probabilities,
    over_a_wall,
    phrase_scores,
)
from timing.finding.leading import leading_voice  # noqa: E402
from timing.finding.signs import read_signs  # noqa: E402
from timing.finding.texture import Texture  # noqa: E402

PENALTY = 2.0  # of the square of a weight
OF_LENGTHS, OF_STEPS = 0.1, 1.0  # the same of the weight of a length, and of the step from one length to the next
STEPS = 100
PARTS = 5
EXACT = 0.25  # felt beats from the beginning of the next phrase


@dataclass(frozen=True)
class Case:
    """A score as the fit sees it."""

    source: Annotated
    at: choosing.PossibleEnds
    found: dict[str, np.ndarray]
    classes: np.ndarray
    walls: np.ndarray
    over: np.ndarray  # (m,) where the places lie along all bars as written
    window: np.ndarray  # (m,) the number of the end by people that each place may be; -1 for none

    def table(self) -> tuple[np.ndarray, np.ndarray]:
        """(m, names) the facts and (m, MOST) the classes of lengths; what passes over a wall is of none, unless people
        have passed over it."""
        heard = [wall for wall in self.walls if (self.window[wall[0] : wall[1] + 1] >= 0).any()]
        classes = self.classes.copy()
        classes[over_a_wall(classes.shape, np.array(heard, np.int64).reshape(-1, 2))] = -1
        made = np.column_stack([self.found[name] for name in self.found]).astype(float)
        made[-1] = 0.0
        return made, classes


def read_case(source: Annotated) -> Case:
    score = source.score
    line = leading_voice(score)
    signs = read_signs(score, line)
    scores = phrase_scores(line.melody, signs.told, signs.walls)
    ends, sure = best_ends(scores), end_probabilities(scores)
    at = choosing.places(score, line, ends, sure)
    found = choosing.facts(score, line, signs, Texture(score, line), at, sure)
    over = source.bar_starts[at.row] + at.over - line.bar_quarter[at.row]
    over[-1] = source.bar_starts[-1]
    walls = choosing.walls_among(at, signs.walls)
    return Case(source, at, found, choosing.length_classes(at), walls, over, _windows(source, over))


def _windows(source: Annotated, over: np.ndarray) -> np.ndarray:
    """(m,) which of the ends by people each place may be: that where the next phrase begins, or, where no place is
    there, all within a felt beat of the end."""
    begin, end = source.ends.T
    away = np.maximum(np.maximum(begin - over[:, None], over[:, None] - end), 0.0)
    nearest = (away + 1e-3 * np.abs(over[:, None] - end)).argmin(axis=1)
    near = away[np.arange(len(over)), nearest] <= source.beat + 1e-6
    exact = near & (np.abs(over - end[nearest]) <= EXACT * source.beat)
    near &= exact | ~np.isin(nearest, nearest[exact])
    window = np.where(near & (nearest < len(begin) - 1), nearest, -1)
    window[-1] = len(begin) - 1  # the last phrase ends with the melody
    return np.where(window < 0, -1, np.searchsorted(np.unique(window[window >= 0]), window))


class Table:
    """All scores laid end to end; the weights as one row: of the ends, of the lengths."""

    def __init__(self, cases: Sequence[Case]):
        self.names = list(cases[0].found)
        tables = [case.table() for case in cases]
        kept = [n for n, case in enumerate(cases) if _can_be(tables[n][1], case.window)]
        self.left_out = [case.source.name for n, case in enumerate(cases) if n not in kept]
        self.facts = np.vstack([tables[n][0] for n in kept])
        self.classes = np.vstack([tables[n][1] for n in kept])
        self.right = np.vstack([_right(tables[n][1], cases[n].window) for n in kept])
        self.begin = np.maximum(np.arange(1, len(self.classes) + 1)[:, None] - np.arange(choosing.MOST, 0, -1), 0)

    def loss(self, row: np.ndarray) -> tuple[float, np.ndarray]:
        """The negative log likelihood with its penalty, and its gradient."""
        by_end, by_length = np.split(row, [len(self.names)])
        scores = (self.facts @ by_end)[:, None] + np.append(by_length, -np.inf)[self.classes]
        share, total = self._shares(scores)
        right, among = self._shares(np.where(self.right, scores, -np.inf))
        surplus = share - right
        slope = np.append(
            surplus.sum(axis=1) @ self.facts,
            np.bincount(self.classes.ravel() + 1, surplus.ravel(), len(by_length) + 1)[1:],
        )
        steps = np.diff(by_length)
        penalty = PENALTY * by_end @ by_end + OF_LENGTHS * by_length @ by_length + OF_STEPS * steps @ steps
        of_steps = np.append(0.0, steps) - np.append(steps, 0.0)
        slope += 2 * np.append(PENALTY * by_end, OF_LENGTHS * by_length + OF_STEPS * of_steps)
        return total - among + float(penalty), slope

    def _shares(self, scores: np.ndarray) -> tuple[np.ndarray, float]:
        """(m, MOST) how probable each phrase is, over all cuttings, and the log of their sum."""
        before, after = cutting_sums(scores)
        with np.errstate(invalid="ignore"):
            share = np.exp(before[self.begin] + scores + after[1:, None] - before[-1])
        return np.where(np.isfinite(scores), share, 0.0), float(before[-1])


def _right(classes: np.ndarray, window: np.ndarray) -> np.ndarray:
    """(m, MOST) which phrases lead from one end that people have to the next one."""
    first = np.arange(1, len(window) + 1)[:, None] - np.arange(choosing.MOST, 0, -1)
    numbers = np.append(-1, window)
    numbers[1:][window < 0] = -9
    return (classes >= 0) & (window[:, None] >= 0) & (numbers[np.maximum(first, 0)] == window[:, None] - 1)


def _can_be(classes: np.ndarray, window: np.ndarray) -> bool:
    """Whether the phrases that people have are among those that can be chosen."""
    reached = np.append(True, np.zeros(len(window), bool))
    for place, begins in enumerate(_right(classes, window)):
        first = place + 1 - np.arange(choosing.MOST, 0, -1)
        reached[place + 1] = reached[first[begins]].any()
    return bool(reached[-1])


def fit(cases: Sequence[Case]) -> tuple[dict[str, float], np.ndarray]:
    """The weights of the ends and of the lengths."""
    from scipy.optimize import minimize

    table = Table(cases)
    if table.left_out:
        print(f"# left out, since a phrase is too long: {', '.join(table.left_out)}", file=sys.stderr)
    start = np.zeros(len(table.names) + len(weights.LENGTH_EDGES) + 1)
    found = minimize(table.loss, start, jac=True, method="L-BFGS-B", options={"maxiter": STEPS})
    by_end, by_length = np.split(found.x, [len(table.names)])
    return dict(zip(table.names, by_end, strict=True)), by_length


def print_table(found: tuple[dict[str, float], np.ndarray]) -> None:
    by_end, by_length = found
    print("CHOICE = {", *(f'    "{name}": {weight:.2f},' for name, weight in by_end.items()), "}", sep="\n")
    print(f"LENGTHS = ({', '.join(f'{weight:.2f}' for weight in by_length)})")


# -- tried on what they were not fitted on


def answers(case: Case, by_end: dict[str, float], by_length: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The moments at which phrases end, and how sure each of them is."""
    ends, sure = choosing.decided(case.at, case.found, case.walls, by_end, by_length)
    return case.over[ends], sure[ends]


def try_out(cases: Sequence[Case]) -> None:
    works = sorted({case.source.work for case in cases})
    parts = [set(works[part::PARTS]) for part in range(PARTS)]
    left_out = [_tried(cases, lambda case, part=part: case.source.work in part) for part in parts]
    print("| fitted on | tried on | scores | precision | recall | F1 | said - true |\n|---|---|---|---|---|---|---|")
    tried = [found for part in left_out for found in part]
    for corpus in CORPORA:
        _print("the other works", corpus, [found for found in tried if found[0].source.corpus == corpus])
    _print("the other works", "both", tried)
    for corpus in CORPORA:
        other = CORPORA[1 - CORPORA.index(corpus)]
        _print(other, corpus, _tried(cases, lambda case, corpus=corpus: case.source.corpus == corpus))
    print_calibration(tried)


def _tried(cases: Sequence[Case], left_out) -> list[tuple[Case, np.ndarray, np.ndarray]]:
    found = fit([case for case in cases if not left_out(case)])
    return [(case, *answers(case, *found)) for case in cases if left_out(case)]


def _print(fitted_on: str, tried_on: str, tried: list) -> None:
    precision, recall, f1 = np.mean([case.source.agreement(over) for case, over, _ in tried], axis=0)
    off = calibration_error(*_said_and_true(tried))
    print(f"| {fitted_on} | {tried_on} | {len(tried)} | {precision:.3f} | {recall:.3f} | {f1:.3f} | {off:.3f} |")


def _said_and_true(tried: list) -> tuple[np.ndarray, np.ndarray]:
    """(n,) how sure all ends are but the last ones, and whether people have them."""
    said = np.concatenate([sure[:-1] for _, _, sure in tried])
    return said, np.concatenate([case.source.is_end(over[:-1]) for case, over, _ in tried])


def calibration_error(said: np.ndarray, true: np.ndarray) -> float:
    """How far what is said is from what is true, in tenths of what is said, weighed by how many ends are in each."""
    tenth = np.minimum((said * 10).astype(int), 9)
    count = np.bincount(tenth, minlength=10)
    off = np.abs(np.bincount(tenth, said, 10) - np.bincount(tenth, true, 10))
    return float(off.sum() / count.sum())


def print_calibration(tried: list) -> None:
    said, true = _said_and_true(tried)
    tenth = np.minimum((said * 10).astype(int), 9)
    print("\n| said | ends | true |\n|---|---|---|")
    for here in np.unique(tenth):
        print(f"| {said[tenth == here].mean():.2f} | {(tenth == here).sum()} | {true[tenth == here].mean():.2f} |")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("folder", type=Path, help="scores in kern with their phrase ends")
    parser.add_argument("--try", dest="tried", action="store_true", help="on what the weights were not fitted on")
    options = parser.parse_args()
    cases = [read_case(source) for source in annotated(options.folder)]
    if not cases:
        sys.exit(f"no scores with phrase ends in {options.folder}: see tests/people.py")
    if options.tried:
        try_out(cases)
    else:
        print(f"# {len(cases)} scores, {sum(len(case.source.ends) for case in cases)} ends")
        print_table(fit(cases))


if __name__ == "__main__":
    main()
