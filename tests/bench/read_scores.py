"""How real scores come out: python tests/bench/read_scores.py FILE_OR_FOLDER... [--corpus] [--drafts] [--all]

Every score that it is pointed at (with --corpus those of the corpus inside music21 too) is read anew, put in order and
performed. A score beside which lies a MIDI file of the same name is compared with it, note by note in score time, as
programs write it: recall and precision of onsets with their pitches, and where the two first part. With --drafts a plan
is drafted and read back, as the command does it. Printed are the scores with something to tell (with --all every one),
and then what the remarks come to, and how long reading takes.

A file may take LIMIT seconds; what falls is a fault of ours, and so is a draft that cannot be read back.
"""

from __future__ import annotations

import argparse
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from multiprocessing import Pool
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from timing.drafting import draft  # noqa: E402
from timing.loading import load  # noqa: E402
from timing.plan import Plan  # noqa: E402
from timing.reader import read_score  # noqa: E402
from timing.reading import Reading, perform  # noqa: E402
from timing.remarks import CannotDo  # noqa: E402

SCORES = (".musicxml", ".xml", ".mxl", ".krn", ".mei", ".abc")
MIDI = (".mid", ".midi")
LIMIT = 120  # seconds a file
NEAR = 1 / 8  # quarters between onsets that are one
PARTED = 8  # notes in a row that the other does not have: there the orders part


@dataclass
class Found:
    """What became of one score."""

    path: Path
    notes: int = 0
    bars: int = 0
    performed: int = 0
    seconds: float = 0.0
    refused: str = ""
    fell: str = ""
    draft: str = ""
    midi: str = ""
    remarks: Counter = field(default_factory=Counter)

    @property
    def tells(self) -> bool:
        return bool(self.refused or self.fell or self.midi or self.draft not in ("", "ok"))


def main() -> None:
    asked = _arguments()
    paths = list(scores_of(asked.paths))
    if asked.corpus:
        import music21

        paths += scores_of([Path(music21.__file__).parent / "corpus"])
    if not paths:
        sys.exit("no scores there: name files or folders of scores, or say --corpus")
    found = []
    print("| score | notes | bars | played | s | what became of it |\n|---|---|---|---|---|---|")
    with Pool(2, maxtasksperchild=20) as pool:
        for one in pool.imap_unordered(_Reader(asked.drafts), paths):
            found.append(one)
            if asked.all or one.tells:
                print(_row(one), flush=True)
    _summary(found)
    sys.exit(any(one.fell or one.draft not in ("", "ok") for one in found))


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("paths", nargs="*", type=Path)
    parser.add_argument("--corpus", action="store_true", help="the scores inside music21 too")
    parser.add_argument("--drafts", action="store_true", help="draft a plan for each, and read it back")
    parser.add_argument("--all", action="store_true", help="print every score")
    return parser.parse_args()


def scores_of(paths: Iterable[Path]) -> Iterable[Path]:
    """The scores that these files and folders hold, in order."""
    for path in paths:
        if path.is_dir():
            yield from sorted(file for file in path.rglob("*") if file.suffix.lower() in SCORES)
        elif path.exists():
            yield path
        else:
            print(f"{path} is not there", file=sys.stderr)


@dataclass
class _Reader:
    drafts: bool

    def __call__(self, path: Path) -> Found:
        found = Found(path)
        signal.signal(signal.SIGALRM, _too_long)
        signal.alarm(LIMIT)
        try:
            self._read(path, found)
        except CannotDo as refusal:
            found.refused = refusal.remarks[0].message
        except Exception:
            found.fell = " ".join(traceback.format_exc().strip().splitlines()[-3:])
        finally:
            signal.alarm(0)
        return found

    def _read(self, path: Path, found: Found) -> None:
        begun = time.perf_counter()
        score = read_score(path, cache=False)
        found.seconds = time.perf_counter() - begun
        found.notes, found.bars = len(score.notes), len(score.bars)
        reading = perform(score, Plan(score=str(path)))
        found.performed = len(reading.performance.bars)
        found.remarks.update(remark.code for remark in reading.remarks)
        beside = [path.with_suffix(suffix) for suffix in MIDI if path.with_suffix(suffix).exists()]
        if beside:
            found.midi = against_midi(reading, beside[0])
        if self.drafts:
            found.draft = _drafted(score)


def _too_long(*_) -> None:
    raise TimeoutError(f"more than {LIMIT} s")


def _drafted(score) -> str:
    with tempfile.TemporaryDirectory() as folder:
        plan = Path(folder) / "draft.yaml"
        try:
            plan.write_text(draft(score, plan).text, encoding="utf-8")
            load(plan)
        except CannotDo as refusal:
            return refusal.remarks[0].message
    return "ok"


# -- against a MIDI file in score time


def against_midi(reading: Reading, path: Path) -> str:
    """How the notes of a reading in score time agree with a MIDI file: what differs, or that nothing does."""
    played = reading.performance.notes
    played = played[played["step"] == 0] if "step" in played.dtype.names else played
    ours = np.column_stack([played["score_onset"], played["pitch"]])
    theirs = midi_notes(path)
    ours, theirs = (rows[np.lexsort((rows[:, 1], rows[:, 0]))] for rows in (ours, theirs))
    recall, missing = _found_in(theirs, ours)
    precision, extra = _found_in(ours, theirs)
    parts = [row for row in (_first_run(theirs, missing), _first_run(ours, extra)) if row is not None]
    where = f", the orders part at quarter {min(parts):g}" if parts else ""
    return f"MIDI: recall {recall:.3f}, precision {precision:.3f}{where}"


def midi_notes(path: Path) -> np.ndarray:
    """(n, 2) onset in quarters and pitch of every note of a MIDI file."""
    import mido

    file, rows = mido.MidiFile(path), []
    for track in file.tracks:
        ticks = 0
        for message in track:
            ticks += message.time
            if message.type == "note_on" and message.velocity and message.channel != 9:
                rows.append((ticks / file.ticks_per_beat, message.note))
    return np.array(rows, float).reshape(-1, 2)


def _found_in(notes: np.ndarray, others: np.ndarray) -> tuple[float, np.ndarray]:
    """The share of the notes that have one of their pitch and onset among the others, and (n,) which have none."""
    missing = np.ones(len(notes), bool)
    for pitch in np.unique(notes[:, 1]):
        mine, there = np.flatnonzero(notes[:, 1] == pitch), np.sort(others[others[:, 1] == pitch, 0])
        padded = np.concatenate([[-np.inf], there, [np.inf]])
        place = np.searchsorted(padded, notes[mine, 0])
        distance = np.minimum(notes[mine, 0] - padded[place - 1], padded[place] - notes[mine, 0])
        missing[mine] = distance > NEAR
    return float(1 - missing.mean()) if len(notes) else 1.0, missing


def _first_run(notes: np.ndarray, missing: np.ndarray) -> float | None:
    """Where for the first time PARTED notes in a row are missing."""
    runs = np.convolve(missing, np.ones(PARTED), "valid") if len(missing) >= PARTED else np.zeros(0)
    return float(notes[np.argmax(runs == PARTED), 0]) if (runs == PARTED).any() else None


# -- what is printed


def _row(one: Found) -> str:
    said = [one.fell and f"FELL: {one.fell}", one.refused and f"refused: {one.refused}", one.midi]
    said += [f"draft: {one.draft}" if one.draft not in ("", "ok") else ""]
    told = "; ".join(part for part in said if part) or ", ".join(f"{code} {n}" for code, n in one.remarks.items())
    name = "/".join(one.path.parts[-2:])
    return f"| {name} | {one.notes} | {one.bars} | {one.performed} | {one.seconds:.1f} | {told} |"


def _summary(found: list[Found]) -> None:
    read = [one for one in found if one.notes]
    drafted = Counter(one.draft == "ok" for one in found if one.draft)
    fell, refused = sum(bool(one.fell) for one in found), sum(bool(one.refused) for one in found)
    print(f"\n{len(found)} scores: {len(read)} read, {refused} refused, {fell} fell", end="")
    print(f"; {drafted[True]} drafts read back, {drafted[False]} refused themselves" if drafted else "")
    if read:
        pace = np.array([one.seconds / one.notes for one in read]) * 1000
        print(f"reading: {np.median(pace):.2f} s a thousand notes (median), {pace.max():.1f} (slowest), ", end="")
        print(f"{max(one.seconds for one in read):.1f} s the slowest file")
    codes = Counter(code for one in read for code in one.remarks)
    print("\n| remark | scores |\n|---|---|")
    for code, count in codes.most_common():
        print(f"| {code} | {count} |")


if __name__ == "__main__":
    main()
