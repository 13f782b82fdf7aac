"""One plan as it is rehearsed: read, performed and made ready to sound again and again, with what stays kept."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from render.rehearse.clock import TakeClock
from render.sound.joining import Joining
from timing.loading import score_file
from timing.plan.planfile import read_plan
from timing.reader import read_score
from timing.reading import Reading, perform
from timing.remarks import CannotDo
from timing.score import Score

_KEPT = 6  # texts whose performances are kept: what is taken back is there at once


@dataclass(frozen=True)
class PerformedState:
    """A state of a plan, performed and ready to sound."""

    number: int
    reading: Reading
    clock: TakeClock
    joining: Joining

    @property
    def files(self) -> tuple[Path, ...]:
        return self.reading.files


class Performing:
    """Performs the states of one plan. The score and the latest performances are kept until it is told to read anew."""

    def __init__(self, path: Path):
        self.path = path
        self._scores: dict[Path, Score] = {}
        self._kept: dict[str, PerformedState] = {}

    def perform(self, number: int, text: str) -> PerformedState:
        """CannotDo lists every fault; then nothing has changed."""
        heard = self._kept.pop(text, None)
        heard = self._perform(number, text) if heard is None else replace(heard, number=number)
        self._kept[text] = heard  # the latest is the last
        while len(self._kept) > _KEPT:
            del self._kept[next(iter(self._kept))]
        return heard

    def _perform(self, number: int, text: str) -> PerformedState:
        plan = read_plan(self.path, text)
        file = score_file(plan)
        score = self._scores.get(file) or read_score(file)
        reading = perform(score, plan)
        if not len(reading.performance.notes):
            message = "there is nothing to play, for the bars of this order hold no notes"
            raise CannotDo.because("no-notes", message, self.path)
        self._scores = {file: score}
        performance = reading.performance
        return PerformedState(number, reading, TakeClock.of(performance, reading.where.score), Joining(performance))

    def read_anew(self) -> None:
        """Read the score, and the plans that this one is based on, when they are needed next."""
        self._scores, self._kept = {}, {}
