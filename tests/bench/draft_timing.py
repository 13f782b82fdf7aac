"""How near drafted timing comes to that of people: python tests/bench/draft_timing.py FOLDER [--try]

FOLDER holds a folder a piece, each with `score.mxl` and `beats.csv` (columns `quarter`, `length`, `mean_z`: where a
beat begins along the performed order, quarters to the next one, how long players made it as a mean of z-scores of log
durations), and `summary.csv` (columns `piece`, `composer`, `ceiling`: the correlation of one player with the others).

Every piece is drafted and performed, and the log of the seconds a quarter that each beat lasts is held against the
players' (Pearson's r). Beside it stand simpler readings of the same scores: their printed marks alone, and those with a
rallentando that reaches its pace at the last onset. A piece may take LIMIT seconds.

With --try the two numbers that matter most, how much longer still beats are and how far the last slowdown goes, are
chosen anew for each composer by the pieces of the others, every composer counting alike; printed is how the drafts do
with what was chosen without them.
"""

from __future__ import annotations

import argparse
import csv
import itertools
import signal
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from timing.drafting import draft  # noqa: E402
from timing.drafting.shape import STILL  # noqa: E402
from timing.drafting.slowing import FINAL, LATE  # noqa: E402
from timing.loading import load  # noqa: E402
from timing.plan import Plan  # noqa: E402
from timing.plan.planfile import read_plan  # noqa: E402
from timing.reader import read_score  # noqa: E402
from timing.reading import Reading, perform  # noqa: E402
from timing.score import Score  # noqa: E402
from timing.where.naming import position_at  # noqa: E402

LIMIT = 60  # seconds a piece
LAST_BEATS, LAST_PACE = 4, "50%"  # of the rallentando that stands beside the printed marks


@dataclass(frozen=True)
class Piece:
    """A score and how long players made its beats, as far as that is known."""

    name: str
    composer: str
    ceiling: float
    score: Score
    start: np.ndarray  # (n,) quarters along the performed order
    length: np.ndarray  # (n,) quarters
    longer: np.ndarray  # (n,) mean of the players' z-scores of log durations


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--try", dest="left_out", action="store_true", help="choose the numbers without each composer")
    given = parser.parse_args()
    folder = given.folder
    if not (folder / "summary.csv").is_file():
        sys.exit(f"{folder} has no summary.csv: name the folder of pieces with the lengths of their beats")
    signal.signal(signal.SIGALRM, _too_long)
    if given.left_out:
        leave_out(folder)
        return
    found: list[tuple[Piece, list[float]]] = []
    print(f"| piece | {' | '.join(WAYS)} | one player |\n|---|{'---|' * (len(WAYS) + 1)}")
    for piece in pieces_of(folder):
        values = [agreement(piece, way) for way in WAYS.values()]
        found.append((piece, values))
        print(_row(piece.name, [*values, piece.ceiling]), flush=True)
    _summary(found)


def _summary(found: list[tuple[Piece, list[float]]]) -> None:
    table = np.array([[*values, piece.ceiling] for piece, values in found])
    composers = np.array([piece.composer for piece, _ in found])
    print(f"\n| mean over pieces | {' | '.join(WAYS)} | one player |\n|---|{'---|' * (len(WAYS) + 1)}")
    for composer in dict.fromkeys(composers):
        here = composers == composer
        print(_row(f"{composer} ({here.sum()})", table[here].mean(axis=0)))
    print(_row(f"all ({len(table)})", table.mean(axis=0)))
    drafted, simple = table[:, 0], table[:, list(WAYS).index(SIMPLE)]
    print(f"\nbelow '{SIMPLE}': {(drafted < simple).sum()} of {len(table)} pieces")


def pieces_of(folder: Path) -> Iterator[Piece]:
    """The pieces of a folder, one read after the other."""
    for row in csv.DictReader((folder / "summary.csv").open(encoding="utf-8")):
        place = folder / row["piece"]
        beats = list(csv.DictReader((place / "beats.csv").open(encoding="utf-8")))
        known = [(float(b["quarter"]), float(b["length"]), float(b["mean_z"])) for b in beats if b["mean_z"]]
        columns = np.array(known).T
        yield Piece(row["piece"], row["composer"], float(row["ceiling"]), read_score(place / "score.mxl"), *columns)


def agreement(piece: Piece, way: Callable[[Score], Reading]) -> float:
    """The correlation of a reading with the players; nan where it takes too long, 0 where no beat differs."""
    signal.alarm(LIMIT)
    try:
        lengths = beat_lengths(way(piece.score), piece)
    except TimeoutError:
        return np.nan
    finally:
        signal.alarm(0)
    return correlation(lengths, piece.longer)


def beat_lengths(reading: Reading, piece: Piece) -> np.ndarray:
    """(n,) log of the seconds a quarter."""
    clock = reading.performance.time
    return np.log((clock.seconds(piece.start + piece.length) - clock.seconds(piece.start)) / piece.length)


def correlation(one: np.ndarray, other: np.ndarray) -> float:
    return float(np.corrcoef(one, other)[0, 1]) if np.ptp(one) > 1e-9 else 0.0


# -- ways to play


def drafted(score: Score) -> Reading:
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "draft.yaml"
        return load(file, text=draft(score, file).text)


def printed(score: Score) -> Reading:
    return perform(score, Plan(score=str(score.path)))


def with_last_rallentando(score: Score) -> Reading:
    """The printed marks, and a rallentando over the last beats that ends as the last notes begin."""
    reading = printed(score)
    last = float(reading.performance.notes["score_onset"].max())
    bars = reading.performance.bars
    places = []
    for quarters in (max(last - LAST_BEATS * reading.where.felt_beat(last), 0.0), last):
        bar = bars[reading.where.ordinal(quarters)]
        places.append(position_at(score, int(bar["row"]), quarters - float(bar["start"])))
    start, end = places
    instant = str(end) if "." in str(end) or "+" in str(end) else f"{end}.0"
    entry = {"rallentando": f"{start} - {instant}", "to": LAST_PACE, "pass": "last"}
    return perform(score, Plan.model_validate({"score": str(score.path), "slowing": [entry]}))


# -- with a composer left out

STILL_BEATS, LAST_PACES = (0.03, 0.04, 0.05, 0.06, 0.08), (0.4, 0.5)


def leave_out(folder: Path) -> None:
    """Print how drafts do with numbers that were chosen by the other composers' pieces."""
    choices = list(itertools.product(STILL_BEATS, LAST_PACES))
    rows, composers, simple = [], [], []
    for piece in pieces_of(folder):
        with tempfile.TemporaryDirectory() as name:
            file = Path(name) / "draft.yaml"
            plan = read_plan(file, draft(piece.score, file).text)
        rows.append([agreement(piece, lambda score, c=c: perform(score, _changed(plan, *c))) for c in choices])  # noqa: B023
        composers.append(piece.composer)
        simple.append(agreement(piece, with_last_rallentando))
    table, composers = np.array(rows), np.array(composers)
    found = np.zeros(len(table))
    print("| left out | still beats | last pace | r |\n|---|---|---|---|")
    for composer in dict.fromkeys(composers):
        here = composers == composer
        others = [table[composers == other].mean(axis=0) for other in dict.fromkeys(composers[~here])]
        best = int(np.argmax(np.mean(others, axis=0)))
        found[here] = table[here, best]
        still, last = choices[best]
        print(f"| {composer} ({here.sum()}) | {still:.0%} | {last:.0%} | {found[here].mean():.3f} |")
    print(f"| all ({len(table)}) | | | {found.mean():.3f} |")
    print(f"\nbelow '{SIMPLE}': {(found < np.array(simple)).sum()} of {len(table)} pieces")


def _changed(plan: Plan, still: float, last: float) -> Plan:
    """A drafted plan with other numbers; where equal voices keep time their still beats change in proportion."""
    usual = float(STILL.rstrip("%")) / 100
    rubato = [
        entry.model_copy(update={"still_beats": entry.still_beats * still / usual}) if entry.still_beats else entry
        for entry in plan.rubato
    ]
    slowing = [
        entry.model_copy(update={"to": last}) if entry.curvature == LATE and entry.to == FINAL else entry
        for entry in plan.slowing
    ]
    return plan.model_copy(update={"rubato": tuple(rubato), "slowing": tuple(slowing)})


SIMPLE = "marks, last rallentando"
WAYS = {"drafted": drafted, "printed marks": printed, SIMPLE: with_last_rallentando}


def _too_long(*_) -> None:
    raise TimeoutError


def _row(name: str, values) -> str:
    return f"| {name} | {' | '.join(f'{value:.3f}' for value in values)} |"


if __name__ == "__main__":
    main()
