"""The nail on the string: a short burst of noise with which every plucked note begins.

A string that is let go begins from rest, and its body takes some milliseconds to answer; what is heard at once is the
nail or the finger tip as it slips off. High partials above 5 kHz are heard at the attack alone (E. Jansson,
"Fundamentals of guitar tone", JASA 71 S1, 1982). Band, time and level are fitted to the sampled nylon guitar of the
standard bank: its energy above 5 kHz in the first 30 ms.
"""

from __future__ import annotations

import numpy as np

SECONDS = 0.1  # from the onset: the energy of the note that a burst's is measured against

_BAND = 3_500.0, 10_000.0  # Hz
_FADING = 0.003  # seconds to 1 / e
_LENGTH = 1_024  # samples; after them it is 67 dB down
_LEVEL = (40, 52, 64), (-49.0, -41.0, -37.0)  # MIDI pitches, dB: the lower, the less of a note is noise


def burst(rate: int, pitch: float, colour: float, seed: tuple[int, ...]) -> np.ndarray:
    """The noise of one pluck, from its first sample; its energy is a part of that of the note in SECONDS.

    A pluck of a brighter `colour` (1 is naturale) is noisier in the same measure. The same `seed` gives the same noise.
    """
    white = np.fft.rfft(np.random.default_rng(seed).standard_normal(_LENGTH))
    frequency = np.fft.rfftfreq(_LENGTH, 1 / rate)
    white[(frequency < _BAND[0]) | (frequency > _BAND[1])] = 0
    noise = np.fft.irfft(white, _LENGTH) * np.exp(-np.arange(_LENGTH) / (_FADING * rate))
    level = np.interp(pitch, *_LEVEL) + 20 * np.log10(colour)
    return noise * 10 ** (level / 20) / np.sqrt(np.square(noise).sum())
