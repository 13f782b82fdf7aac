"""What a fit makes of players' time: python tests/bench/fit_players.py FOLDER [--noise SECONDS] [--price P...]

FOLDER holds `timing/`, a folder a piece with `score.mxl` and `beats.csv` (columns `quarter`, `length`, `performers`,
`mean_log`: quarters along the performed order, and how much slower players were, a mean of logs), with a `summary.csv`
(columns `piece`, `performer_files`), and `performances/`, single ones as `NAME.csv` (columns `kind`, `bar`, `beat`,
`pass`, `grace`, `onset`) with a `summary.csv` (columns `performance`, `score`, `performer`).

Each performance becomes pairs of beats and seconds and is fitted, with the phrases that are found in its score. Printed
are the number of entries for eight bars; R2 of the log lengths of beats, beside that of the same lengths shuffled; and
r with the mean of the other players of the piece, of the fit and of the playing itself. With several prices each
piece is judged by the price that is best for all others.
"""

from __future__ import annotations

import argparse
import csv
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

import timing.fitting as fitting  # noqa: E402
from timing.plan import Plan  # noqa: E402
from timing.reader import read_score  # noqa: E402
from timing.reading import Reading, perform  # noqa: E402
from timing.remarks import CannotDo  # noqa: E402

SMALL = 3  # notes: at a beat with small notes, the earliest one counts
FEWEST_OTHERS = 2  # players besides this one


@dataclass(frozen=True)
class Played:
    """One performance as pairs, and what the others do: `others` (intervals,) is the mean of their logs, nan where it
    is not known."""

    name: str
    reading: Reading
    quarters: np.ndarray
    seconds: np.ndarray
    others: np.ndarray


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--noise", type=float, default=0.01, help="standard deviation of an onset, in seconds")
    parser.add_argument("--price", type=float, nargs="*", default=[fitting.PRICE])
    given = parser.parse_args()
    for file in (given.folder / "timing" / "summary.csv", given.folder / "performances" / "summary.csv"):
        if not file.is_file():
            sys.exit(f"there is no {file}: name the folder that holds timing/ and performances/")
    pieces = played_in(given.folder)
    tables = []
    for price in given.price:
        fitting.PRICE = price
        print(f"price {price:g}\n| performance | bars | in 8 bars | R2 | shuffled | r fit | r playing | seconds |")
        print("|---|---|---|---|---|---|---|---|")
        tables.append(np.array([_measured(piece, given.noise) for piece in pieces]))
        means = np.nanmean(tables[-1], axis=0)
        print(f"| mean | | {' | '.join(f'{value:.3f}' for value in means)} |\n", flush=True)
    if len(tables) > 1:
        _left_out(given.price, np.array(tables)[:, :, 3])


def _left_out(prices: list[float], agreement: np.ndarray) -> None:
    """Agreement (prices, pieces) of each piece at the price that is best for the others."""
    known = np.flatnonzero(~np.isnan(agreement).any(axis=0))
    best = [int(np.argmax(np.delete(agreement[:, known], k, axis=1).mean(axis=1))) for k in range(len(known))]
    found = agreement[best, known]
    chosen = ", ".join(f"{prices[k]:g}" for k in sorted(set(best)))
    print(f"each piece at the price that is best for the others ({chosen}): r {found.mean():.3f}")


def _measured(piece: Played, noise: float) -> list[float]:
    begun = time.process_time()
    fitted = fitting.fit(piece.reading, piece.quarters, piece.seconds, noise)
    lasted = time.process_time() - begun
    slow = np.log(np.diff(piece.seconds) / np.diff(piece.quarters))
    bars = (piece.quarters[-1] - piece.quarters[0]) / np.median(piece.reading.where.bars["length"])
    entries = 8 * (len(fitted.entries) - 1) / bars
    made = slow - fitted.rest
    known = ~np.isnan(piece.others)
    enough = known.sum() > 8
    of_fit, of_playing = (_r(each[known], piece.others[known]) if enough else np.nan for each in (made, slow))
    values = [entries, 1 - np.var(fitted.rest) / np.var(slow), _shuffled(piece, noise), of_fit, of_playing, lasted]
    print(f"| {piece.name} | {bars:.0f} | {' | '.join(f'{value:.3f}' for value in values)} |", flush=True)
    return values


def _shuffled(piece: Played, noise: float) -> float:
    """R2 of a fit to the same beats, shuffled."""
    lengths = np.diff(piece.seconds) / np.diff(piece.quarters)
    mixed = np.random.default_rng(1).permutation(lengths)
    seconds = np.append(0.0, np.cumsum(mixed * np.diff(piece.quarters)))
    fitted = fitting.fit(piece.reading, piece.quarters, seconds, noise)
    return float(1 - np.var(fitted.rest) / np.var(np.log(mixed)))


def _r(one: np.ndarray, other: np.ndarray) -> float:
    return float(np.corrcoef(one, other)[0, 1]) if np.ptp(one) > 1e-9 else 0.0


def played_in(folder: Path) -> list[Played]:
    """All performances of a folder that can be fitted."""
    players = {row["piece"]: row["performer_files"].split() for row in _rows(folder / "timing" / "summary.csv")}
    made = []
    for row in _rows(folder / "performances" / "summary.csv"):
        score = read_score(folder / "timing" / row["score"] / "score.mxl")
        reading = perform(score, Plan(score=str(score.path)))
        beats = _rows(folder / "timing" / row["score"] / "beats.csv")
        notes = _rows(folder / "performances" / f"{row['performance']}.csv")
        try:
            made.append(_played(row, reading, beats, notes, players.get(row["score"], [])))
        except CannotDo as refusal:
            print(f"{row['performance']}: {refusal}", file=sys.stderr)
    return made


def _played(row: dict, reading: Reading, beats: list[dict], notes: list[dict], players: list[str]) -> Played:
    onsets: dict[tuple, list[tuple[float, bool]]] = {}
    for note in notes:
        if note["kind"] == "match" and note["beat"]:
            place = note["bar"], round(float(note["beat"]), 3), int(note["pass"])
            onsets.setdefault(place, []).append((float(note["onset"]), note["grace"] == "1"))
    quarters, seconds = [], []
    for beat in beats:
        here = onsets.get((beat["bar"], round(float(beat["beat"]), 3), int(beat["pass"])), [])
        plain = [onset for onset, small in here if not small]
        if not plain or (len(here) > len(plain) and len(here) < SMALL):
            continue
        onset = min(onset for onset, _ in here) if len(here) > len(plain) else float(np.median(plain))
        if not seconds or onset > seconds[-1] + 0.03:
            quarters.append(float(beat["quarter"]))
            seconds.append(onset)
    own = np.log(np.diff(seconds) / np.diff(quarters))
    others = _others(row, beats, quarters, own, players)
    return Played(row["performance"], reading, np.array(quarters), np.array(seconds), others)


def _others(row: dict, beats: list[dict], quarters: list[float], own: np.ndarray, players: list[str]) -> np.ndarray:
    """The mean of the others over the intervals that the pairs have: that of all, less this one."""
    at = np.array([float(beat["quarter"]) for beat in beats])
    mean = np.array([float(beat["mean_log"] or "nan") for beat in beats])
    count = np.array([float(beat["performers"] or 0) for beat in beats])
    first, last = np.searchsorted(at, quarters[:-1]), np.searchsorted(at, quarters[1:])
    single = last == first + 1
    made = np.where(single, mean[first], np.nan)
    if row["performer"] in players:
        known = ~np.isnan(made)
        centred = own - own[known].mean()
        players_here = count[first]
        made = np.where(players_here > FEWEST_OTHERS, (players_here * made - centred) / (players_here - 1), np.nan)
    return made


def _rows(file: Path) -> list[dict]:
    with file.open(encoding="utf-8") as text:
        return list(csv.DictReader(text))


if __name__ == "__main__":
    main()
