"""From the notes of the guitar to the file: which samples there are, and which keys play them.

The sound itself is chosen by bank: 8 × tone + string, at program 24, the nylon-string guitar of General MIDI. String 0
is the whole instrument, each key on the string where it lies lowest, so that bank 0 is what any player of SoundFonts
finds first.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import groupby
from typing import BinaryIO, NamedTuple

import numpy as np

from soundfonts import sf2
from soundfonts.nail import burst
from soundfonts.notes import FRETS, HARMONIC, HARMONICS, LIGADO, NATURALE, PIZZICATO, PLUCKS, TONES_IN_BANK, notes
from soundfonts.partials import Partials
from soundfonts.samples import RATE, looped, short
from soundfonts.softer import softer
from soundfonts.strings import Pluck

PROGRAM = 24  # of 0-127
STRINGS = 7  # at most

_SCALE = 2_450.0  # what amplitude 1 is in the file: as loud as 16 bits allow but for a few pizzicati
_RELEASE, _RELEASE_MUTED = 0.3, 0.15  # seconds for 96 dB
# Sounded by the left hand: the naturale's note without the edge of its pluck.
_HAMMERED = {sf2.CUTOFF: sf2.cutoff(3_000.0), sf2.ATTACK: sf2.timecents(0.012)}


def preset(string: int, tone: int) -> tuple[int, int]:
    """(bank, program) of a string (1-7; 0 is the whole instrument) in a tone."""
    return 8 * tone + string, PROGRAM


class _Sampled(NamedTuple):
    """A sample in the file: what it is of, and how a zone plays it."""

    string: int
    semitones: int  # above the open string
    key: int
    sample: int
    decay: float  # 1/s; 0 for a sample that ends by itself
    touch: tuple[sf2.Modulator, ...]  # what a softer pluck changes


def write_guitar(
    file: BinaryIO,
    tuning: tuple[int, ...],
    name: str,
    *,
    pluck: Pluck | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> None:
    """Write the SoundFont of a guitar in `tuning` (MIDI pitch of the open strings, string 1 first).

    With `pluck` only that, in the place of naturale, and alike at every velocity. `progress` is told how many notes are
    done, of how many.
    """
    tones = (NATURALE,) if pluck else tuple(tone for tone in range(len(TONES_IN_BANK)) if tone != LIGADO)
    work = [(tone, string) for tone in tones for string in range(1, len(tuning) + 1)]
    total = sum(len(_semitones(tone)) for tone, _ in work)
    bank = sf2.BankWriter(file, name, "a physical model; see soundfonts/README.md of lentando")
    made: dict[int, list[_Sampled]] = {tone: [] for tone in tones}
    done = 0
    for tone, string in work:
        semitones, pitch = _semitones(tone), tuning[string - 1]
        partials = notes(string, pitch, semitones, tone, pluck)
        touch = [()] * len(semitones) if pluck or tone == PIZZICATO else _touch(partials)
        for at, above in enumerate(semitones):
            noise = burst(RATE, pitch + above, (pluck or PLUCKS[tone]).colour, (tone, string, above))
            sample = (short if tone == PIZZICATO else looped)(partials, at, _SCALE, noise)
            label = f"{TONES_IN_BANK[tone]} {string}/{above}"
            number = bank.add(label, sample.data, sample.loop, pitch + above, RATE)
            made[tone].append(_Sampled(string, above, pitch + above, number, sample.decay, touch[at]))
            done += 1
            if progress:
                progress(done, total)
    if not pluck:
        made[LIGADO] = [note._replace(touch=()) for note in made[NATURALE]]
    instruments: list[sf2.Instrument] = []
    presets: list[sf2.Preset] = []
    for tone, of_tone in made.items():
        for string in range(len(tuning) + 1):
            words = f"{f'string {string}' if string else 'guitar'} {TONES_IN_BANK[tone]}"
            presets.append(sf2.Preset(words, *preset(string, tone), len(instruments)))
            instruments.append(sf2.Instrument(words, _common(tone), _zones(of_tone, string)))
    bank.finish(instruments, presets)


def _touch(partials: Partials) -> list[tuple[sf2.Modulator, ...]]:
    """What velocity does to each note, but for its level."""
    return [
        (
            sf2.Modulator(sf2.SOFTNESS, sf2.CUTOFF, -int(cents)),
            sf2.Modulator(sf2.SOFTNESS_IN_DECIBELS, sf2.ATTENUATION, int(concave)),
            sf2.Modulator(sf2.SOFTNESS, sf2.ATTENUATION, int(linear)),
        )
        for cents, concave, linear in zip(*softer(partials, RATE), strict=True)
    ]


def _semitones(tone: int) -> list[int]:
    return list(HARMONICS) if tone == HARMONIC else list(range(FRETS + 1))


def _common(tone: int) -> dict[int, int]:
    """Generators for all zones of a tone."""
    release = _RELEASE_MUTED if tone == PIZZICATO else _RELEASE
    return (_HAMMERED if tone == LIGADO else {}) | {sf2.RELEASE: sf2.timecents(release)}


def _zones(of_tone: list[_Sampled], string: int) -> list[sf2.Zone]:
    """All 128 keys, each with the note that plays it: on the string, or on whichever string it lies lowest."""
    choice = [note for note in of_tone if string in (0, note.string)]
    chosen = [_nearest(choice, key) for key in range(128)]
    zones = []
    for note, keys in groupby(range(128), key=lambda key: chosen[key]):
        played = list(keys)
        zones.append(sf2.Zone(played[0], played[-1], note.sample, _dying_away(note.decay), note.touch))
    return zones


def _nearest(notes: list[_Sampled], key: int) -> _Sampled:
    return min(notes, key=lambda note: _reach(note, key))


def _reach(note: _Sampled, key: int) -> tuple[int, int]:
    """How ill a note suits a key: how far it must be transposed, how high it lies on its string."""
    return abs(note.key - key), note.semitones


def _dying_away(decay: float) -> dict[int, int]:
    """An envelope of volume falls by 96 dB in its decay time, at an even number of dB a second."""
    if not decay:
        return {sf2.LOOPS: 0}
    return {sf2.DECAY: sf2.timecents(96 / (20 / np.log(10) * decay)), sf2.SUSTAIN: 1000, sf2.LOOPS: 1}
