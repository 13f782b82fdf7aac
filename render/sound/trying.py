"""What a note of a bank does by itself while it slides: it is tried once, alone, bent as in the music, and measured.

Samples swell and waver, and are gone through faster where they are bent upwards. What is taken for a note's own level
over a slide is a parabola through its K-weighted level, so that a vibrato or a beating is left to it.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from render.events.alone import guitar_alone
from render.events.levels import velocity
from render.events.presets import PLAIN, modelled_lanes, presets_of
from render.events.wheel import BY_SOUNDFONT, lane_range, range_controls, wheel_changes
from render.sound.colours import CORNER, GAINS, SLOPE, high_shelf
from render.sound.loudness import k_weighting
from render.sound.sounds import PRESET, Timbres
from render.sound.synth import BLOCK, Synth, open_synth
from soundfonts.banks import checked_bank
from soundfonts.chosen import general_bank
from timing.performance import Performance
from timing.remarks import CannotDo
from timing.slides.made_good import Alone, bends_of, sounds_to_make_good

_RATE = 44_100
_WINDOW = 21  # blocks over which the power is smoothed: 30 ms
_NOTHING = 1e-20  # of power, so that its logarithm is a number


def alone_in(performance: Performance, sounds: Timbres) -> Alone:
    """What the notes of a performance do alone when they are played with these sounds. CannotDo as a synth does."""
    return _alone(performance, sounds.modelled, sounds.fonts, sounds.presets, sounds.colour)


def alone_in_bank(performance: Performance, soundfont: Path | None) -> Alone:
    """The same for who has no sounds at hand: with the user's own bank, or the general one and the modelled guitar
    (which need not be built). Without a synth or the bank that was chosen only the guitar is known, and other notes are
    taken to be even."""
    modelled = modelled_lanes(performance) & (soundfont is None)
    guitar, mine = guitar_alone(performance, modelled), modelled[performance.notes["lane"]]
    struck = [int(slides["note"][0]) for slides in sounds_to_make_good(performance.glides)]
    if mine[struck].all():
        return guitar
    presets = np.zeros(len(performance.notes), PRESET)
    presets["bank"], presets["program"] = presets_of(performance, np.zeros(len(performance.lanes), bool))
    colour = np.full(len(performance.notes), PLAIN)
    try:
        bank = general_bank() if soundfont is None else checked_bank(soundfont)
        return _alone(performance, modelled, (bank,), presets, colour)
    except CannotDo as fault:
        if soundfont is not None or fault.remarks[0].code not in ("no-synth", "no-bank"):
            raise
    return lambda row, seconds: guitar(row, seconds) if mine[row] else np.zeros(len(seconds))


def _alone(
    performance: Performance, modelled: np.ndarray, fonts: tuple[Path, ...], presets: np.ndarray, colour: np.ndarray
) -> Alone:
    guitar, mine = guitar_alone(performance, modelled), modelled[performance.notes["lane"]]
    levels = _tried(performance, mine, fonts, presets, colour)

    def alone(row: int, seconds: np.ndarray) -> np.ndarray:
        if mine[row]:
            return guitar(row, seconds)
        level = levels[row]
        at = (np.arange(len(level)) + 0.5) * BLOCK / _RATE + float(performance.notes["onset"][row])
        inside = (at >= seconds[0]) & (at <= seconds[-1])
        if np.count_nonzero(inside) < 4:
            return np.interp(seconds, at, level)
        middle, half = (seconds[0] + seconds[-1]) / 2, (seconds[-1] - seconds[0]) / 2
        curve = np.polyfit((at[inside] - middle) / half, level[inside], 2)
        return np.polyval(curve, (seconds - middle) / half)

    return alone


def _tried(
    performance: Performance, mine: np.ndarray, fonts: tuple[Path, ...], presets: np.ndarray, colour: np.ndarray
) -> dict[int, np.ndarray]:
    """The level of every sound that swells as it slides, block by block from its onset on, by the row of its note;
    those that are `mine` (n,) left out."""
    sounds = sounds_to_make_good(performance.glides)
    wanted = {int(slides["note"][0]): float(slides["arrive"][-1]) for slides in sounds}
    wanted = {row: end for row, end in wanted.items() if not mine[row]}
    if not wanted:
        return {}
    made: dict[int, np.ndarray] = {}
    known: dict[tuple, np.ndarray] = {}
    notes, bend = performance.notes, bends_of(performance)
    with open_synth(fonts[0], _RATE, 1, *fonts[1:]) as synth:
        for row, end in wanted.items():
            seconds, semitones = bend(row)
            moments = np.rint(seconds * _RATE / BLOCK).astype(np.int64)
            wide = lane_range(performance, int(notes["lane"][row]))
            turns = wheel_changes(moments, semitones, np.zeros(1, np.int64), wide, BY_SOUNDFONT)
            blocks = int(np.ceil((end - float(notes["onset"][row])) * _RATE / BLOCK)) + _WINDOW
            struck = int(notes["pitch"][row]), int(velocity(notes["level"][row]))
            shade = int(colour[row])
            key = presets[row].item(), struck, wide, blocks, shade, *(column.tobytes() for column in turns)
            if key not in known:
                _choose(synth, presets[row], wide)
                known[key] = _level(_sound(synth, *struck, turns, blocks), shade)
            made[row] = known[key]
    return made


def _choose(synth: Synth, preset: np.void, wide: int) -> None:
    synth.program(0, int(preset["program"]), font=int(preset["font"]), bank=int(preset["bank"]))
    for control, value in range_controls(wide):
        synth.control(0, control, value)


def _sound(
    synth: Synth, pitch: int, struck: int, turns: tuple[np.ndarray, np.ndarray], blocks: int
) -> np.ndarray:
    """(frames, 2) of a note that is held, with the wheel turned at the moments, in blocks, of its `turns`."""
    sound = np.zeros((blocks * BLOCK, 2), np.float32)
    synth.bend(0, 0)
    synth.note_on(0, pitch, struck)
    now = 0
    for moment, value in zip(*(column.tolist() for column in turns), strict=True):
        until = min(moment, blocks) * BLOCK
        if until > now:
            synth.read(sound[now:until])
            now = until
        synth.bend(0, value)
    if now < len(sound):
        synth.read(sound[now:])
    synth.control(0, 120, 0)  # all sound off
    synth.read(np.empty((BLOCK, 2), np.float32))
    return sound


def _level(sound: np.ndarray, colour: int) -> np.ndarray:
    """(blocks,) K-weighted level in dB of a sound through the shelf of its colour."""
    size = 1 << (len(sound) + 4096 - 1).bit_length()
    z = np.exp(-2j * np.pi * np.fft.fftfreq(size))
    filters = [*k_weighting(_RATE), high_shelf(_RATE, GAINS[colour], CORNER, SLOPE)]
    response = np.prod([np.polyval(b[::-1], z) / np.polyval(a[::-1], z) for b, a in filters], axis=0)
    weighted = np.fft.ifft(np.fft.fft(sound.astype(np.float64).view(complex)[:, 0], size) * response)[: len(sound)]
    power = np.square(np.abs(weighted)).reshape(-1, BLOCK).mean(axis=1)
    window = np.hanning(_WINDOW + 2)[1:-1]
    smooth = np.convolve(power, window / window.sum(), "same")
    return 10 * np.log10(smooth + _NOTHING)
