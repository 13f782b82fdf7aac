"""Which numbers of a module could be others, and no test would notice?

    python tests/bench/moved_numbers.py timing/marks/time.py tests/timing/marks [--sample 20]

Every number that the module gives a name is made half as large again and a third smaller, one at a time, in a copy of
the house; where the tests still pass, it is printed. What goes on inside functions is a matter for mutmut, which leaves
these numbers alone. Takes as long as the tests, twice for each number; a sample bounds it.
"""

from __future__ import annotations

import argparse
import ast
import os
import random
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

ROOT = Path(__file__).parents[2]
LEFT_BEHIND = shutil.ignore_patterns(".*", "__pycache__")
LONGEST = 900  # seconds that the tests may take


@dataclass(frozen=True)
class Moved:
    """A number of the source, where it stands, and another in its place."""

    name: str
    line: int  # counted from 1
    first: int  # bytes of its line, from and to
    last: int
    was: float
    now: float

    def put_into(self, source: str) -> str:
        lines = source.encode().splitlines(keepends=True)
        line = lines[self.line - 1]
        lines[self.line - 1] = line[: self.first] + repr(self.now).encode() + line[self.last :]
        return b"".join(lines).decode()


def numbers(source: str) -> Iterator[Moved]:
    """All numbers that have names in a module, moved up and down."""
    for statement in ast.parse(source).body:
        if not isinstance(statement, ast.Assign | ast.AnnAssign) or statement.value is None:
            continue
        targets = statement.targets if isinstance(statement, ast.Assign) else [statement.target]
        name = ast.unparse(targets[0])
        for node in ast.walk(statement.value):
            value = node.value if isinstance(node, ast.Constant) else None
            if isinstance(value, int | float) and not isinstance(value, bool):
                for now in moved(value):
                    yield Moved(name, node.lineno, node.col_offset, node.end_col_offset, value, now)


def moved(value: float) -> tuple[float, ...]:
    """Half as much again and a third less; of whole numbers by one at least."""
    if isinstance(value, float):
        return (1.5 * value, value / 1.5) if value else (0.5, -0.5)
    return value + max(1, round(value / 2)), value - max(1, round(value / 3))


def passed(home: Path, tests: list[str]) -> bool:
    """Whether the tests pass in a copy of the house."""
    command = [sys.executable, "-m", "pytest", "-x", "-q", "--tb=no", "-p", "no:cacheprovider", *tests]
    around = os.environ | {"PYTHONPATH": str(home), "PYTHONDONTWRITEBYTECODE": "1"}
    try:
        return subprocess.run(command, cwd=home, env=around, capture_output=True, timeout=LONGEST).returncode == 0
    except subprocess.TimeoutExpired:
        return False


def unnoticed(home: Path, module: str, tests: list[str], number: Moved) -> bool:
    """Whether they pass with this number, too."""
    file = home / module
    source = file.read_text(encoding="utf-8")
    file.write_text(number.put_into(source), encoding="utf-8")
    try:
        return passed(home, tests)
    finally:
        file.write_text(source, encoding="utf-8")


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("module", help="the module, from the root of the house")
    options.add_argument("tests", nargs="+", help="the tests that should notice")
    options.add_argument("--sample", type=int, help="so many of its numbers, chosen by chance")
    asked = options.parse_args()
    found = list(numbers((ROOT / asked.module).read_text(encoding="utf-8")))
    if asked.sample is not None and asked.sample < len(found):
        found = random.sample(found, asked.sample)
    with TemporaryDirectory() as place:
        home = Path(shutil.copytree(ROOT, Path(place, "house"), ignore=LEFT_BEHIND))
        if not passed(home, asked.tests):
            sys.exit("the tests fail with the numbers as they are")
        left = [number for number in found if unnoticed(home, asked.module, asked.tests, number)]
    for number in left:
        print(f"{asked.module}:{number.line}: {number.name}: {number.was!r} could be {number.now!r}")
    print(f"{len(found) - len(left)} of {len(found)} were noticed")


if __name__ == "__main__":
    main()
