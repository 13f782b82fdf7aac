"""The notes of the guitar: every string at every fret in every tone, voiced to be even.

The finger's softness takes away what lies high. How soft it is, is found for each note, so that the brightness of
naturale follows one smooth curve over the whole instrument and every tone stands in the same relation to it: what a
player does by ear, whatever the body adds to this note or that. Then each note is given its level.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from soundfonts.measures import centroid_of, loudness_of
from soundfonts.partials import Bridge, Partials
from soundfonts.strings import HIGHEST, MATERIALS, MODES, Motion, Pluck, hertz, motion, plucked

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

NATURALE, TASTO, PONTICELLO, PIZZICATO, HARMONIC, LIGADO = range(6)
TONES_IN_BANK = ("naturale", "sul tasto", "sul ponticello", "pizzicato", "harmonics", "ligado")
PLUCKS = {
    NATURALE: Pluck(0.126, 0.25, 8e-3, 1.0),
    TASTO: Pluck(0.205, 0.43, 16e-3, 0.70),
    PONTICELLO: Pluck(0.045, 0.07, 3e-3, 1.7),
    PIZZICATO: Pluck(0.090, 0.25, 14e-3, 0.55),  # the thumb, with the edge of the palm on the bridge
    HARMONIC: Pluck(0.085, 0.16, 6e-3, 1.1),
}
PLUCKING_POINTS = {tone: 100 * pluck.point for tone, pluck in PLUCKS.items()}  # cm from the bridge
HARMONICS = {12: 2, 19: 3, 24: 4, 28: 5}  # semitones above the open string: parts into which the touch divides it
FRETS = 19

_BRIGHT = 52.8, 0.47  # naturale: centroid in Hz = 52.8 f^0.47,
_STRINGS = (1.0, 0.95, 0.93, 0.97, 1.0, 0.93)  # times this: the third, the thickest of plain nylon, is the dullest
_OPEN_BRIGHTER, _OPEN_LOUDER = 1.08, 0.8  # no finger tip on it; in dB
_MUTED = -9.0  # dB more for pizzicato: so short, it would have to begin too hard for the same loudness
_TILT = -0.04  # dB a semitone above A3: what dies away sooner need not begin as much harder
_SOFTEST, _HARDEST = 150.0, 40_000.0  # Hz
# Fingers and thumb pull in opposite directions, so that the pulses of a chord do not pile up.
_DIRECTION = (1, 1, -1, -1, -1, -1, -1)
_SLACK = 0.1  # how far the bridge gives way along the top, against across it
_PALM = 11.0, 0.02  # 1/s, and 1/s a Hz: what the palm takes away
_TOUCH = 0.3  # 1/s: what the touch that makes a harmonic takes away


def pluck_at(cm: float) -> Pluck:
    """Plucking anywhere: width and colour go from point to point through the three named tones."""
    named = sorted(PLUCKS[tone] for tone in (NATURALE, TASTO, PONTICELLO))
    points = [np.log(pluck.point) for pluck in named]
    place = np.log(cm / 100)
    width, colour = (
        float(np.exp(np.interp(place, points, np.log(values)))) for values in list(zip(*named, strict=True))[2:]
    )
    return Pluck(cm / 100, 0.5, width, colour)


def notes(string: int, open_pitch: float, frets: ArrayLike, tone: int, pluck: Pluck | None = None) -> Partials:
    """The partials of a string (1 is the highest; a seventh is like the sixth) at `frets`, at their levels.

    In the tone HARMONIC `frets` are semitones above the open string, keys of HARMONICS. `pluck` is taken in the place
    of the tone's own.
    """
    frets = np.asarray(frets)
    pluck = pluck or PLUCKS[tone]
    if tone == HARMONIC:
        bridge, force = _harmonics(string, open_pitch, frets, pluck)
    else:
        bridge, force = _stopped(string, open_pitch, frets, tone, pluck)
    pitch = open_pitch + frets
    is_open = (frets == 0) & (tone != HARMONIC)
    bright = _BRIGHT[0] * hertz(pitch) ** _BRIGHT[1] * _STRINGS[min(string, 6) - 1] * pluck.colour
    bright = bright * np.where(is_open, _OPEN_BRIGHTER, 1.0)
    voiced = _voiced(bridge, force, bright)
    level = _TILT * (pitch - 57) + np.where(is_open, _OPEN_LOUDER, 0.0) + (_MUTED if tone == PIZZICATO else 0.0)
    gain = _DIRECTION[string - 1] * 10 ** ((level - loudness_of(voiced)) / 20)
    return voiced._replace(amplitude=voiced.amplitude * gain[:, None])


def _stopped(string: int, open_pitch: float, frets: np.ndarray, tone: int, pluck: Pluck) -> tuple[Bridge, np.ndarray]:
    planes = _planes(string, open_pitch, frets)
    if tone == PIZZICATO:
        planes = [Motion(m.frequency, m.decay + _PALM[0] + _PALM[1] * m.frequency) for m in planes]
    return Bridge(*planes), plucked(pluck, frets)


def _harmonics(string: int, open_pitch: float, above: np.ndarray, pluck: Pluck) -> tuple[Bridge, np.ndarray]:
    """Only the modes with a node under the touching finger sound; all of them moved to the tempered pitch."""
    parts = np.array([HARMONICS[semitones] for semitones in above.tolist()])[:, None]
    frets = np.zeros(len(above))
    planes = _planes(string, open_pitch, frets)
    tempered = hertz(open_pitch + above[:, None]) / np.take_along_axis(planes[0].frequency, parts - 1, 1)
    planes = [Motion(m.frequency * tempered, m.decay + _TOUCH * parts) for m in planes]
    return Bridge(*planes), np.where(np.arange(1, MODES + 1) % parts == 0, plucked(pluck, frets), 0.0)


def _planes(string: int, open_pitch: float, frets: np.ndarray) -> list[Motion]:
    material = MATERIALS[min(string, len(MATERIALS)) - 1]
    return [motion(material, open_pitch, frets, coupling) for coupling in (1.0, _SLACK)]


def _voiced(bridge: Bridge, force: np.ndarray, bright: np.ndarray) -> Partials:
    """Plucked with the softness that gives each note its centroid `bright` (Hz), found by bisection."""

    def at(softness: np.ndarray) -> Partials:
        soft = 1 / (1 + (bridge.frequency / softness[:, None]) ** 2)
        return bridge.sound(np.where(bridge.frequency < HIGHEST, force * soft, 0.0))

    low, high = np.full(len(bright), _SOFTEST), np.full(len(bright), _HARDEST)
    for _ in range(12):
        middle = np.sqrt(low * high)
        darker = centroid_of(at(middle)) < bright
        low, high = np.where(darker, middle, low), np.where(darker, high, middle)
    return at(np.sqrt(low * high))
