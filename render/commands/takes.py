"""From plans to files: which plan goes into which file, and what is said about each take."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from rich.console import Console
from rich.text import Text

from render.commands.take_names import take_stem
from render.files import refuse_outputs
from render.kinds import MIDI, SOUND, kind_of
from render.sound.audio import Take, render_takes
from render.sound.stems import RATE
from render.sound.synth import BLOCK
from render.telling.report import show_remarks
from render.telling.words import clock, lowering_in_words
from soundfonts import guitar
from soundfonts.banks import checked_bank
from timing.cautions import check
from timing.listening import heard
from timing.loading import load, load_all
from timing.performance import Performance
from timing.plan import DRY
from timing.reading import Reading
from timing.remarks import CannotDo, Remark
from timing.time.scale import AS_PLANNED, Scale

_SOFTLY = "start with the volume low, above all in headphones"
_REST = f"{_SOFTLY}; rest between the rounds, stop if anything hurts, and ask your teacher or a health professional"


@dataclass(frozen=True)
class Wanted:
    """What is to be heard: with which bank, which voices, which of the ways to play that a plan names, how much of the
    shaping at which pace; which bars, on which pass, how often, with which clicks; and in which room, if not in the
    plan's."""

    soundfont: Path | None = None
    only: Sequence[str] = ()
    without: Sequence[str] = ()
    fingering: str | None = None
    scale: Scale = AS_PLANNED
    bars: str | None = None
    passes: int | str | None = None
    loop: int = 1
    click: bool = False
    count_in: bool = False
    room: str | None = None


def render_plans(plans: Sequence[Path], outputs: Sequence[Path], wanted: Wanted, console: Console) -> bool:
    """Render every plan to its files; True if there was a caution.

    All plans are read before anything is written. CannotDo if one of them, or a file, is not possible.
    """
    _refuse_kinds(outputs)
    if wanted.soundfont is not None:
        checked_bank(wanted.soundfont)
    readings = load_all(plans, wanted.fingering, wanted.scale)
    performances = [_performance(reading, plan, wanted) for plan, reading in zip(plans, readings, strict=True)]
    targets = share_out(plans, outputs, wanted)
    banks = [wanted.soundfont] if wanted.soundfont is not None else []
    inputs = [*plans, *(file for reading in readings for file in reading.files), *banks]
    refuse_outputs((file for files in targets for file in files), inputs)
    told = [_remarks(plan, reading, wanted) for plan, reading in zip(plans, readings, strict=True)]
    sounds: list[tuple[Performance, Path]] = []
    for remarks, performance, files in zip(told, performances, targets, strict=True):
        show_remarks(console, [remark for remark in remarks if remark.stands])
        for file in files:
            if kind_of(file) in MIDI:
                _write_midi(performance, file, wanted.soundfont, console)
            else:
                sounds.append((performance, file))
    if sounds:
        _tell_takes(_render_sounds(sounds, wanted.soundfont, console), console)
    for plan, remarks in zip(plans, told, strict=True):
        if others := _others_in_words(remarks):
            console.print(Text(f"{others}: lentando check {plan}", style="dim"))
    return any(remark.stands for remarks in told for remark in remarks)


def play_plan(plan: Path, wanted: Wanted, console: Console) -> None:
    """Play a plan through the sound card. CannotDo if it, or that, is not possible."""
    from render.sound.playing import Playhead, play

    if wanted.soundfont is not None:
        checked_bank(wanted.soundfont)
    reading = load(plan, wanted.fingering, wanted.scale)
    performance = _performance(reading, plan, wanted)
    playhead = Playhead(performance, reading.score, rounds=wanted.loop, counted_in=wanted.count_in)

    def make(file: Path) -> float:
        (take,) = _render_sounds([(performance, file)], wanted.soundfont, console, plan.name)
        _tell_lowering([take], console)
        return take.seconds

    play(make, playhead.at, _REST if wanted.loop > 1 else _SOFTLY, console)


def _performance(reading: Reading, plan: Path, wanted: Wanted) -> Performance:
    """What is to be heard of a reading. CannotDo where there is nothing."""
    if not len(reading.performance.notes):
        message = f"{plan}: there is nothing to play, for the bars of this order hold no notes"
        raise CannotDo.because("no-notes", message, plan)
    ways = {name: getattr(wanted, name) for name in ("bars", "passes", "loop", "click", "count_in")}
    performance = heard(reading, wanted.only, wanted.without, **ways, grid=BLOCK / RATE)
    if wanted.room is None:
        return performance
    return replace(performance, room=None if wanted.room == DRY else wanted.room)


def _others_in_words(remarks: Sequence[Remark]) -> str:
    """How much there is to say besides the cautions that stand."""
    accepted = sum(remark.accepted is not None for remark in remarks)
    advice = sum(not remark.stands for remark in remarks) - accepted
    said = [f"{advice} piece{'s' * (advice > 1)} of advice"] * (advice > 0) + [f"{accepted} accepted"] * (accepted > 0)
    return ", ".join(said)


def share_out(plans: Sequence[Path], outputs: Sequence[Path], wanted: Wanted) -> list[list[Path]]:
    """Which files each plan is rendered to: those asked for, or a .mid and a .wav, beside it or in a folder that is
    asked for."""
    shared = _shared_out(plans, outputs, wanted)
    files = [os.path.realpath(file) for targets in shared for file in targets]
    if len(set(files)) < len(files):
        twice = Path(next(file for file in files if files.count(file) > 1))
        raise CannotDo.because("output-count", f"{twice.name} would be written twice: give each take a name of its own")
    return shared


def _refuse_kinds(outputs: Sequence[Path]) -> None:
    for file in outputs:
        if not os.path.isdir(file) and kind_of(file) not in MIDI + SOUND:
            kinds = ", ".join((MIDI[0], *SOUND))
            raise CannotDo.because("output-kind", f"{file}: the name must end in one of {kinds}", file)


def _shared_out(plans: Sequence[Path], outputs: Sequence[Path], wanted: Wanted) -> list[list[Path]]:
    folder = outputs[0] if len(outputs) == 1 and os.path.isdir(outputs[0]) else None
    if folder is not None or not outputs:
        return [
            [(folder or plan.parent) / f"{take_stem(plan, wanted)}{kind}" for kind in (MIDI[0], SOUND[0])]
            for plan in plans
        ]
    if any(map(os.path.isdir, outputs)):
        raise CannotDo.because("output-count", "give either one folder or files, not both")
    if len(plans) == 1:
        return [list(outputs)]
    if len(plans) != len(outputs):
        message = (
            f"{len(plans)} plans and {len(outputs)} files: give one file for each plan, in the same order, or a folder"
        )
        raise CannotDo.because("output-count", message)
    return [[file] for file in outputs]


def _remarks(plan: Path, reading: Reading, wanted: Wanted) -> list[Remark]:
    """What there is to say about a plan as it is written; of a reading that is drawn larger, also where it goes beyond
    what an instrument can give."""
    found = check(reading, sound=guitar)
    if wanted.scale == AS_PLANNED:
        return found
    beyond = [remark for remark in found if remark.code == "level-out-of-range"]
    return list(dict.fromkeys([*check(load(plan, wanted.fingering), sound=guitar), *beyond]))


def _write_midi(performance: Performance, file: Path, soundfont: Path | None, console: Console) -> None:
    from render.midi.file import write_midi

    write_midi(performance, file, soundfont=soundfont)
    console.print(Text(f"{file}  {clock(performance.time.length)}, {len(performance.notes)} notes"))


def _tell_takes(takes: Sequence[Take], console: Console) -> None:
    for take in takes:
        loudness = "silent" if take.loudness is None else f"{take.loudness:.1f} LUFS"
        console.print(Text(f"{take.path}  {clock(take.seconds)}, {loudness}, peak {take.peak:.1f} dBTP"))
    _tell_lowering(takes, console)


def _tell_lowering(takes: Sequence[Take], console: Console) -> None:
    if takes[0].lowered:
        console.print(Text(lowering_in_words(takes[0].lowered, len(takes)), style="bold"))


def _render_sounds(
    files: Sequence[tuple[Performance, Path]], soundfont: Path | None, console: Console, name: str | None = None
) -> list[Take]:
    """Render to sound files, with a bar that shows how far each is (under another `name`)."""
    from rich.progress import Progress

    with Progress(console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task(name or files[0][1].name, total=None)

        def step(what: str) -> Callable[[float, float], None]:
            return lambda done, total: bar.update(task, description=what, completed=done, total=total)

        building = step("the guitar is built, once")
        return render_takes(
            files, soundfont=soundfont, progress=lambda file: step(name or file.name), building=building
        )
