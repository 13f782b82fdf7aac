"""One plan as it is rehearsed: read, performed and sounded again and again, with what stays between two changes kept."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from render.rehearse.clock import Clock
from render.sound.joining import Joining
from timing.loading import score_file
from timing.plan.planfile import read_plan
from timing.reader import read_score
from timing.reading import Reading, perform
from timing.remarks import CannotDo
from timing.score import Score


@dataclass(frozen=True)
class Heard:
    """A state of a plan, performed and ready to sound."""

    number: int
    reading: Reading
    clock: Clock
    joining: Joining

    @property
    def files(self) -> tuple[Path, ...]:
        return self.reading.files


class Performing:
    """Performs the states of one plan; its score is kept until it is told that the file has changed."""

    def __init__(self, path: Path):
        self.path = path
        self._scores: dict[Path, Score] = {}

    def perform(self, number: int, text: str) -> Heard:
        """CannotDo lists every fault; then nothing has changed."""
        plan = read_plan(self.path, text)
        file = score_file(plan)
        score = self._scores.get(file) or read_score(file)
        reading = perform(score, plan)
        if not len(reading.performance.notes):
            message = "there is nothing to play, for the bars of this order hold no notes"
            raise CannotDo.because("no-notes", message, self.path)
        self._scores = {file: score}
        performance = reading.performance
        return Heard(number, reading, Clock.of(performance, reading.where.score), Joining(performance))

    def forget(self, files: Iterable[Path]) -> None:
        """Read these scores anew when they are needed next."""
        for file in files:
            self._scores.pop(file, None)
