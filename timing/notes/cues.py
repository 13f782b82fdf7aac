"""Which notes in cue size are heard: those that belong to their voice, unless the plan says otherwise."""

from __future__ import annotations

import numpy as np

from timing.remarks import Place, Remark, Severity
from timing.score import Score, Sign

_SILENT = {None: Sign.SILENT_CUE, "play": Sign(0), "silent": Sign.CUE | Sign.SILENT_CUE}


def with_cues(score: Score, cues: str | None) -> tuple[Score, tuple[Remark, ...]]:
    """The score with the notes that are heard, `cues` being what the plan says of those in cue size: play, silent, or
    nothing; and how many there are of each sort, where it says nothing."""
    signs = score.notes["signs"]
    silent = signs & _SILENT[cues] != 0
    remarks: tuple[Remark, ...] = ()
    if cues is None and (signs & (Sign.CUE | Sign.SILENT_CUE)).any():
        remarks = (_counted(score, int(np.count_nonzero(signs & Sign.CUE)), int(np.count_nonzero(silent))),)
    return (score.without(silent) if silent.any() else score), remarks


def _counted(score: Score, played: int, silent: int) -> Remark:
    said, other = [], []
    if played:
        notes = "notes in cue size are played as part of their voices"
        said.append(f"{played} {notes}" if played > 1 else "1 note in cue size is played as part of its voice")
        other.append("silent")
    if silent:
        cues = "cues of what other parts play are" if silent > 1 else "cue of what another part plays is"
        said.append(f"{silent} {cues} silent")
        other.append("play")
    first = score.notes[np.argmax(score.notes["signs"] & (Sign.CUE | Sign.SILENT_CUE) != 0)]
    bar, beat = score.bar_name(int(first["bar"])), float(score.beat(first["bar"], first["offset"]))
    suggestion = " or ".join(f"marks: {{cues: {word}}}" for word in other)
    return Remark(Severity.ADVICE, "cues", "; ".join(said), Place(score.path), bar, beat, suggestion=suggestion)
