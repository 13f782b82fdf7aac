"""What the warning of a slowdown in the middle of a phrase blames and what it finds, beside the rule before it.

    python tests/bench/warning.py EVENTS.csv [--phrases FOLDER] [--scores FILE...]

EVENTS.csv has slowings of pianists, a row each, with what the score has there: `performer` (`mean` for the mean of
four or more), `pace1`, `pace2`, `pace3` and `found_over` (the pace over the last one, two, three beats, and which of
them are a slowing), `beats_to_end` (felt beats from the slowest point to the nearest phrase end, negative before it),
`share` (of its phrase that is over), `phrase_bars`, `deeper_than_end` (log pace against the slowest of the phrase's own
end), `attack_ratio_bar`, `end_prob_max`, and flags for what is printed. What the rule would tell of a slowing by a
master is a false alarm.

--phrases: a folder with scores (kern) and beside each a CSV of its phrase ends as people marked them (`next_quarter`:
where the next phrase begins, in quarters along the page). A slowing that is moved into the middle half of a phrase
should be told: `own`, where the end of that phrase no longer slows; `any`, where it slows to 80 % or below as the
pianists' ends do.

--scores: scores to draft plans for; of the slowdowns in the companion *misplaced* of these plans, and of the demo's,
how many are moved, and how many told.
"""

from __future__ import annotations

import argparse
import csv
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from timing.cautions import check  # noqa: E402
from timing.cautions.endings import Endings, Facts, like_an_ending  # noqa: E402
from timing.companions import companion  # noqa: E402
from timing.drafting import draft  # noqa: E402
from timing.loading import load  # noqa: E402
from timing.plan import Plan  # noqa: E402
from timing.plan.kinds import Act  # noqa: E402
from timing.reader import read_score  # noqa: E402
from timing.reading import Reading, perform  # noqa: E402
from timing.remarks import CannotDo, Severity  # noqa: E402
from timing.score import Score  # noqa: E402
from timing.where.naming import range_at  # noqa: E402

DEPTHS = ((0.0, 0.7), (0.7, 0.8), (0.0, 0.8), (0.8, 0.9))
PLACED = ("slowing-mid-phrase", "slowing-over-end")
SMALL_END = 0.5  # probability that the finder gives an end inside a phrase that people marked


@dataclass(frozen=True)
class Slow:
    """A slowing of a master, or of the mean of four or more."""

    shared: bool
    facts: Facts
    late: float  # as the rule before had it: how much of the phrase is over, at most its last four bars
    small_end: bool  # at an end inside its phrase


def slowings(path: Path) -> list[Slow]:
    with path.open(encoding="utf-8") as file:
        return [_slow(row) for row in csv.DictReader(file)]


def _slow(row: dict[str, str]) -> Slow:
    pace = min(float(row[f"pace{beats}"]) for beats in row["found_over"])
    away, bars, over = abs(float(row["beats_to_end"])), float(row["phrase_bars"]), float(row["share"])
    printed = ("fermata_or_breath", "slowing_word", "tempo_mark", "double_bar_or_repeat")
    asked = any(row[flag] == "1" for flag in printed)
    ratio = float(row["attack_ratio_bar"] or "inf")
    facts = Facts(pace, away, pace * np.exp(float(row["deeper_than_end"])), (1.0, ratio), asked)
    late = 1 - (1 - over) * (bars / 4 if bars > 6.25 else 1)
    return Slow(row["performer"] == "mean", facts, late, away > 2 and float(row["end_prob_max"]) >= SMALL_END)


# -- the rules


def before(slow: Slow) -> bool:
    """The rule before: slowest in the first half of its phrase, a beat or more from its ends, to 90 % or below."""
    return slow.late < 0.5 - 1e-9 and slow.facts.away > 1 and slow.facts.to <= 0.9


def now(slow: Slow) -> bool:
    return like_an_ending(slow.facts) is not None


def inner_end(slow: Slow) -> bool:
    """`inner-end-slower`: slower than the larger end."""
    return slow.small_end and slow.facts.to <= slow.facts.own_end - 0.05


def print_alarms(all_slow: list[Slow]) -> None:
    print("\n| masters slow to | shared by four or more | before | now | single | before | now |")
    print("|---|---|---|---|---|---|---|")
    for low, high in DEPTHS:
        cells = []
        for shared in (True, False):
            here = [slow for slow in all_slow if slow.shared == shared and low < slow.facts.to <= high]
            cells += [str(len(here)), _rate(here, before), _rate(here, now)]
        print(f"| {low:.0%} to {high:.0%} | {' | '.join(cells)} |")


def print_others(all_slow: list[Slow]) -> None:
    print("\n| of those to 90 % | shared | single |\n|---|---|---|")
    deep = [[slow for slow in all_slow if slow.shared == shared and slow.facts.to <= 0.9] for shared in (True, False)]
    small = [[slow for slow in each if slow.small_end] for each in deep]
    rows: dict[str, tuple[list[list[Slow]], Callable[[Slow], bool]]] = {
        "`inner-end-slower`, of those at smaller ends": (small, inner_end),
        "... where the larger end does not slow": (small, lambda slow: inner_end(slow) and slow.facts.own_end > 0.95),
        "excused by the own end alone": (deep, lambda slow: not now(slow) and now(_changed(slow, own_end=1.0))),
        "excused by the movement alone": (deep, lambda slow: not now(slow) and now(_changed(slow, attacks=(1, 1)))),
        "excused by what is printed alone": (deep, lambda slow: not now(slow) and now(_changed(slow, asked=False))),
    }
    for name, (groups, rule) in rows.items():
        print(f"| {name} | {' | '.join(f'{_rate(each, rule)} of {len(each)}' for each in groups)} |")


def _changed(slow: Slow, **facts) -> Slow:
    return Slow(slow.shared, Facts(**vars(slow.facts) | facts), slow.late, slow.small_end)


def _rate(slows: list[Slow], rule: Callable[[Slow], bool]) -> str:
    return f"{np.mean([rule(slow) for slow in slows]):.3f}" if slows else "-"


# -- what is found


def marked(folder: Path) -> Iterator[Reading]:
    """The readings of scores with the phrases that people marked."""
    for path in sorted(folder.rglob("*.krn")):
        beside = path.with_suffix(".csv")
        if not beside.exists():
            continue
        with beside.open(encoding="utf-8") as file:
            begins = [float(row["next_quarter"]) for row in csv.DictReader(file) if row["next_quarter"]]
        score = read_score(path)
        yield perform(score, _plan_of(score, begins))


def _plan_of(score: Score, begins: list[float]) -> Plan:
    """The plan of these phrases, played as the page has them."""
    lines = np.append(0.0, np.cumsum(score.bars["length"]))
    edges = np.unique([0.0, *begins, lines[-1]])

    def place(at: float, over: bool) -> tuple[int, float]:
        row = int(np.searchsorted(lines, at + 1e-6, side="right")) - 1
        row = row - 1 if row == len(score.bars) or (over and at - lines[row] < 1e-6) else row
        return row, float(at - lines[row])

    phrases = [str(range_at(score, place(a, False), place(b, True))) for a, b in pairwise(edges)]
    order = f"{score.bar_name(0)} - {score.bar_name(len(score.bars) - 1)}"
    return Plan.model_validate({"score": score.path.name, "order": [order], "phrases": phrases})


def print_catches(folder: Path, all_slow: list[Slow]) -> None:
    single = [slow for slow in all_slow if not slow.shared and slow.facts.to <= 0.8]
    paces = np.array([slow.facts.to for slow in single])
    ends = np.array([slow.facts.to for slow in single if slow.facts.away <= 1])
    answered = np.mean(paces[:, None] * 1.05 > ends)  # the end slows as much
    print("\n| moved into the middle half | places | before, own | now, own | now, any |\n|---|---|---|---|---|")
    for part in sorted(each for each in folder.iterdir() if each.is_dir()) or [folder]:
        found: Counter = Counter()
        for reading in marked(part):
            found += _catches(reading)
        if found["places"]:
            old, new = found["before"] / found["places"], found["now"] / found["places"]
            print(f"| {part.name} | {found['places']} | {old:.3f} | {new:.3f} | {new * (1 - answered):.3f} |")


def _catches(reading: Reading) -> Counter:
    endings, found = Endings(reading), Counter()
    for phrase in reading.phrases:
        length = phrase.end - phrase.start
        for at in _middle(phrase.start + length / 4, phrase.end - length / 4, reading):
            facts = endings.facts(at, 0.75, None, at - reading.where.felt_beat(at))
            late = 1 - (phrase.end - at) / (length * 4 / phrase.bars if phrase.bars > 6.25 else length)
            found["places"] += 1
            found["now"] += like_an_ending(facts) is not None
            found["before"] += late < 0.5 - 1e-9
    return found


def _middle(start: float, end: float, reading: Reading) -> Iterator[float]:
    """The felt beats between two quarters."""
    bar = reading.where.bars[reading.where.ordinal(start)]
    beat = reading.where.felt_beat(start + 1e-3)
    first = bar["start"] - bar["shift"] + np.ceil((start - bar["start"] + bar["shift"]) / beat - 1e-6) * beat
    yield from np.arange(first, end + 1e-6, beat).tolist()


# -- the companions


def print_companions(scores: list[Path]) -> None:
    print("\n| misplaced | slowdowns | moved | told | of them cautions |\n|---|---|---|---|---|")
    with tempfile.TemporaryDirectory() as folder:
        plans = sorted((ROOT / "plans").glob("*.yaml"))
        for path in scores:
            plan = Path(folder) / f"{path.stem}.yaml"
            plan.write_text(draft(read_score(path), plan).text, encoding="utf-8")
            plans.append(plan)
        total = np.sum([_misplaced(plan) for plan in plans], axis=0)
    print(f"| all | {' | '.join(map(str, total))} |")


def _misplaced(path: Path) -> tuple[int, int, int, int]:
    reading = load(path)
    slows = [slow for slow in reading.plan.slowing if slow.act is Act.SLOWS]
    try:
        beside = companion("misplaced", reading).reading
    except CannotDo:
        return len(slows), 0, 0, 0
    pairs = zip(reading.plan.slowing, beside.plan.slowing, strict=True)
    moved = sum(str(old.where) != str(new.where) for old, new in pairs)
    told = [remark for remark in check(beside) if remark.code in PLACED]
    grave = sum(remark.severity is Severity.CAUTION for remark in told)
    print(f"| {path.stem} | {len(slows)} | {moved} | {len(told)} | {grave} |")
    return len(slows), moved, len(told), grave


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("events", type=Path)
    parser.add_argument("--phrases", type=Path)
    parser.add_argument("--scores", type=Path, nargs="*")
    given = parser.parse_args()
    for path in (given.events, given.phrases, *(given.scores or [])):
        if path is not None and not path.exists():
            parser.error(f"{path} is not there: nothing can be measured without it")
    found = slowings(given.events)
    print_alarms(found)
    print_others(found)
    if given.phrases:
        print_catches(given.phrases, found)
    if given.scores is not None:
        print_companions(given.scores)


if __name__ == "__main__":
    main()
