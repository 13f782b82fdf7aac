"""The nylon string as a sum of damped modes: where they lie, how long they ring, how a pluck wakes them.

Sources: J. Woodhouse, "Plucked guitar transients: comparison of measurements and synthesis", Acta Acustica united with
Acustica 90, 2004, for the six strings (mass and stiffness from memory, they give the pitches of the usual tuning within
0.5 %; losses as in table I, p. 947, corrected, as others quote it) and for the law of damping (equation 8);
H. Fletcher, "Normal vibration frequencies of a stiff piano string", JASA 36, 1964, for the stretched partials;
N. Fletcher and T. Rossing, The Physics of Musical Instruments, chapters 2 and 9, for the pluck.

Arrays over notes and modes have the shape (notes, MODES), mode 1 first.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from soundfonts.body import admittance

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

SCALE = 0.65  # m from nut to bridge saddle
HIGHEST = 9_500.0  # Hz; a mode above it is left out
MODES = 128

_FLOOR = 0.05  # of a mode that is plucked at its node: a finger is no point, and a perfect gap sounds hollow


class Material(NamedTuple):
    """What a string is made of: kg/m, N m², and the losses by friction, by air (1/s) and by bending."""

    mass: float
    stiffness: float
    friction: float
    air: float
    bending: float


MATERIALS = (
    Material(0.38e-3, 130e-6, 40e-5, 1.5, 2.4e-2),
    Material(0.52e-3, 160e-6, 40e-5, 1.2, 2.0e-2),
    Material(0.90e-3, 310e-6, 14e-5, 1.7, 2.0e-2),
    Material(1.95e-3, 51e-6, 5e-5, 1.2, 2.0e-2),
    Material(3.61e-3, 40e-6, 7e-5, 0.9, 2.5e-2),
    Material(6.24e-3, 57e-6, 2e-5, 1.2, 2.0e-2),
)


class Pluck(NamedTuple):
    """Where and with what the string is plucked.

    `point` in metres from the bridge, `share` the largest part of the sounding string that the hand goes up to, `width`
    of finger tip or nail in metres, `colour` the brightness it is voiced to, against naturale.
    """

    point: float
    share: float
    width: float
    colour: float

    def place(self, frets: ArrayLike) -> np.ndarray:
        """The plucking point as a part of the sounding string: high on the neck the hand goes nearer to the bridge."""
        return np.minimum(self.point / sounding_length(frets), self.share)


class Motion(NamedTuple):
    """The modes of notes in one plane: `frequency` in Hz and `decay` in 1/s, shape (notes, MODES)."""

    frequency: np.ndarray
    decay: np.ndarray


def hertz(pitch: ArrayLike) -> np.ndarray:
    """Equal temperament at A4 = 440 Hz (ISO 16), for a MIDI pitch."""
    return 440.0 * 2.0 ** ((np.asarray(pitch, float) - 69.0) / 12.0)


def sounding_length(frets: ArrayLike) -> np.ndarray:
    """Metres from the bridge to the fret."""
    return SCALE * 2.0 ** (-np.asarray(frets, float) / 12.0)


def motion(material: Material, open_pitch: float, frets: np.ndarray, coupling: float = 1.0) -> Motion:
    """The modes of a string stopped at `frets`; `coupling` is how much of the bridge's motion this plane meets.

    f_n = n f_1 sqrt((1 + B n²) / (1 + B)) with B = π² EI / (T L²), so that the first mode has the note's pitch.
    The loss factor is η = [T (η_F + η_A / ω) + EI η_B k²] / [T + EI k²] with k = n π / L, the decay ω η / 2, plus what
    goes into the body, 2 f_1 Z Re Y, and what the stopping finger takes.
    """
    frets = np.asarray(frets, float)[:, None]
    length, pitch = sounding_length(frets), hertz(open_pitch + frets)
    tension = material.mass * (2 * SCALE * hertz(open_pitch)) ** 2
    mode = np.arange(1, MODES + 1)
    stretch = np.pi**2 * material.stiffness / (tension * length**2)
    frequency = mode * pitch * np.sqrt((1 + stretch * mode**2) / (1 + stretch))
    omega = 2 * np.pi * frequency
    bending = material.stiffness * (mode * np.pi / length) ** 2
    along = tension * (material.friction + material.air / omega)
    loss = (along + bending * material.bending) / (tension + bending)
    impedance = np.sqrt(tension * material.mass)
    bridge = 2 * pitch * impedance * admittance(frequency) * coupling
    finger = np.where(frets > 0, 0.2 + 0.45e-3 * frequency, 0.0)
    return Motion(frequency, omega * loss / 2 + bridge + finger)


def plucked(pluck: Pluck, frets: np.ndarray) -> np.ndarray:
    """The force on the bridge by each mode: sin(n π β) / n for a pluck at the part β of the string.

    The modes with a node there, the multiples of 1 / β, are missing but for a floor. The width of the finger tip takes
    from the high ones.
    """
    mode = np.arange(1, MODES + 1)
    comb = np.sin(mode * np.pi * pluck.place(frets)[:, None])
    comb = np.copysign(np.hypot(comb, _FLOOR), comb)
    return comb / mode * np.sinc(mode * pluck.width / (2 * sounding_length(frets)[:, None]))
