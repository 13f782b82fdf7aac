"""Drafts of scores written for a test, as a musician meets them: drafted, read back, checked."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from written import FOUR_FOUR, bar, musicxml, note

from timing.cautions import check
from timing.drafting import draft
from timing.drafting.printed import SECTIONS
from timing.loading import load
from timing.plan import Plan
from timing.reader import read_score
from timing.reading import Reading, perform
from timing.remarks import Remark
from timing.score import Score

BACK = '<barline location="right"><repeat direction="backward"/></barline>'
FORTH = '<barline location="left"><repeat direction="forward"/></barline>'
TUNE = ("C4", "E4", "G4", "D5")


def words(text: str) -> str:
    return f"<direction><direction-type><words>{text}</words></direction-type></direction>"


def quarters(count: int = 4, last: str = "") -> str:
    """So many quarters of a tune, the last one with a sign."""
    return "".join(note(pitch, 1, last if k == count - 1 else "") for k, pitch in enumerate(TUNE[:count]))


def piece(*bars: str | tuple) -> str:
    """Bars in 4/4: their content, or (content, number, further attributes of the element)."""
    made = []
    for place, each in enumerate(bars):
        content, number, more = each if isinstance(each, tuple) else (each, place + 1, "")
        made.append(bar(content, number, "" if place else FOUR_FOUR, more))
    return musicxml(made)


WHOLE = quarters()


@dataclass(frozen=True)
class Drafted:
    """A draft and what becomes of it."""

    score: Score
    text: str
    reading: Reading  # of the plan as it stands in its file
    remarks: list[Remark]  # that `check` has to say of it

    @property
    def printed(self) -> list[str]:
        """The entries that write out the score's own marks."""
        lines = [line.rpartition("#")[0].strip("- ") for line in self.text.splitlines() if line.endswith("# printed")]
        return [line for line in lines if line.startswith("{")]


def drafted(folder: Path, score: str | bytes, name: str = "score.musicxml") -> Drafted:
    """Write a score, draft a plan for it, and check that. CannotDo if either is refused."""
    file, plan = folder / name, folder / "plan.yaml"
    file.write_bytes(score.encode() if isinstance(score, str) else score)
    read = read_score(file, cache=False)
    made = draft(read, plan)
    plan.write_text(made.text, encoding="utf-8")
    reading = load(plan)
    return Drafted(read, made.text, reading, check(reading))


def printed_alone(score: Score, text: str, folder: Path) -> tuple[Reading, Reading, list[str]]:
    """The reading of a draft's `printed` entries over the score without its marks, that of the score alone, and the
    sections which the draft has whole: what works against the melody is left to the score."""
    own = perform(score, Plan(score=str(score.path)))
    kept = {name: [] for name in SECTIONS}
    section = ""
    for line in text.splitlines():
        if line and not line[0].isspace() and line.endswith(":"):
            section = line[:-1]
        if section in SECTIONS and line.rstrip().endswith("# printed"):
            kept[section].append(line)
    whole = [name for name in SECTIONS if len(kept[name]) == sum(entry.printed for entry in getattr(own.plan, name))]
    ignored = ", ".join(name for name in whole if name != "accents")  # signs on notes stay in the score
    lines = [f"score: {score.path}", f"marks: {{ignore: [{ignored}]}}"]
    lines += [line for name in whole if kept[name] for line in (f"{name}:", *kept[name])]
    file = folder / "printed.yaml"
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return load(file), own, whole
