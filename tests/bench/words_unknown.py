"""The words over scores that are not understood, as a table by count: python tests/bench/words_unknown.py FILE...

Each argument is a score or a folder of them; `--corpus` adds the corpus inside music21. What a file needs more than
`--seconds` for is passed over, and so is what cannot be read; both are counted. `--fates` lists all words and what
became of them, not only those that are not understood.
"""

from __future__ import annotations

import argparse
import signal
import sys
from collections import Counter
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[2])]

KINDS = {".musicxml", ".xml", ".mxl", ".krn", ".abc", ".mei", ".mid", ".midi"}


class TooLongError(Exception):
    """A file takes longer than it may."""


def scores(places: list[Path]) -> list[Path]:
    """The scores at these places, folders searched through."""
    found: dict[Path, None] = {}
    for place in places:
        inside = [place] if place.is_file() else sorted(place.rglob("*"))
        found |= dict.fromkeys(path for path in inside if path.suffix.lower() in KINDS)
    return list(found)


def corpus() -> Path:
    import music21

    return Path(music21.__file__).parent / "corpus"


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("places", nargs="*", type=Path)
    asked.add_argument("--corpus", action="store_true")
    asked.add_argument("--seconds", type=int, default=20)
    asked.add_argument("--fates", action="store_true")
    wanted = asked.parse_args()
    from timing.marks.uses import Fate
    from timing.plan import Plan
    from timing.reader import read_score
    from timing.reading import perform
    from timing.remarks import CannotDo

    places = [*wanted.places, *([corpus()] if wanted.corpus else [])]
    for missing in (place for place in places if not place.exists()):
        sys.exit(f"{missing} is not there")
    counts: Counter = Counter()
    files: dict[tuple, set[Path]] = {}
    left: Counter = Counter()
    signal.signal(signal.SIGALRM, _ring)
    found = scores(places)
    for path in found:
        signal.alarm(wanted.seconds)
        try:
            uses = perform(read_score(path), Plan.model_validate({"score": path.name})).marks
        except CannotDo:
            left["cannot be read"] += 1
            continue
        except TooLongError:
            left[f"take more than {wanted.seconds} seconds"] += 1
            continue
        finally:
            signal.alarm(0)
        for use in uses:
            if wanted.fates or use.fate == Fate.NOT_UNDERSTOOD:
                key = (use.text, str(use.fate), use.section, use.why)
                counts[key] += use.count
                files.setdefault(key, set()).add(path)
    for key, count in counts.most_common():
        text, fate, section, why = key
        more = f"   {fate} {section} {why}".rstrip() if wanted.fates else ""
        print(f"{count:5} in {len(files[key]):3}   {text}{more}")
    passed = "".join(f", {count} {what}" for what, count in left.items())
    print(f"{sum(counts.values())} marks, {len(counts)} different; {len(found)} files{passed}")


def _ring(*_) -> None:
    raise TooLongError


if __name__ == "__main__":
    main()
