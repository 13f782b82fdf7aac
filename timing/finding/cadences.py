"""Cadences: what bass and chord say of where a phrase ends.

A phrase may end before the next one begins, or with its first beat, where both share a chord (an elided end). So the
chord is read twice: in the beat of the last note, and in the beat in which the next phrase begins. The key of a place
is that whose profile fits best what sounds from six bars before it to two after.
"""

from __future__ import annotations

import numpy as np

from timing.columns import NEAR
from timing.finding.texture import SILENT, Texture

BEFORE, AFTER = 6.0, 2.0  # bars in which the key is looked for
# How well each step fits a key: D. Temperley, The Cognition of Basic Musical Structures (2001), from memory.
MAJOR = (5.0, 2.0, 3.5, 2.0, 4.5, 4.0, 2.0, 4.5, 2.0, 3.5, 1.5, 4.0)
MINOR = (5.0, 2.0, 3.5, 4.5, 2.0, 4.0, 2.0, 4.5, 3.5, 2.0, 1.5, 4.0)
ESSENTIAL = 0.12  # of all that sounds in a beat; what is less is passing

_NOT_IN_A_TRIAD = [1, 2, 5, 6, 8, 9, 10, 11]  # semitones over the bass, which has its third and fifth
_NOT_IN_THE_DOMINANT = [0, 1, 3, 4, 6, 8, 9, 10]  # semitones over the keynote; the seventh may be there


def keynotes(texture: Texture, moment: np.ndarray, bar: np.ndarray) -> np.ndarray:
    """(n,) the keynote around each moment, in semitones over the texture's home note; `bar` is the quarters of a bar
    there."""
    found = texture.lasting(moment - BEFORE * bar, moment + AFTER * bar)
    profiles = np.array([np.roll(profile, step) for profile in (MAJOR, MINOR) for step in range(12)])
    profiles = profiles - profiles.mean(axis=1, keepdims=True)
    profiles /= np.linalg.norm(profiles, axis=1, keepdims=True)
    return (found @ profiles.T).argmax(axis=1) % 12


def cadence_facts(
    texture: Texture, last: np.ndarray, over: np.ndarray, pitches: np.ndarray, bar: np.ndarray, beat: np.ndarray
) -> dict[str, np.ndarray]:
    """(n,) each: what there is of a cadence where a phrase may end. `last` are the quarters at which its last note
    begins, `over` those at which the next phrase does, `pitches` (2, n) of these notes; `bar` and `beat` are quarters
    of a bar and of a felt beat."""
    key = keynotes(texture, over, bar)
    ends = _chords(texture, last, np.minimum(last + beat, over), beat, key)
    begins = _chords(texture, over, over + beat, beat, key)
    tonic = (pitches - texture.home - key) % 12 == 0
    del ends["in unison"]  # says nothing of an end
    return (
        {f"ends {name}": values for name, values in ends.items()}
        | {f"next {name}": values for name, values in begins.items()}
        | {"ends with tonic on top": tonic[0], "next with tonic on top": tonic[1]}
    )


def _chords(
    texture: Texture, begin: np.ndarray, end: np.ndarray, beat: np.ndarray, key: np.ndarray
) -> dict[str, np.ndarray]:
    """(n,) each: what the chord is that sounds between two moments, and how it is reached from the beat before."""
    each = np.arange(len(key))
    bass, before = texture.lowest(begin, end), texture.lowest(begin - beat, begin)
    lasting, earlier = texture.lasting(begin, end), texture.lasting(begin - beat, begin) > NEAR
    heard = lasting > ESSENTIAL * np.maximum(lasting.sum(axis=1, keepdims=True), 1e-9)

    def has(steps: list[int], root: np.ndarray) -> np.ndarray:
        return heard[each[:, None], (np.array(steps) + root[:, None]) % 12].any(axis=1)

    sounds = bass < SILENT
    root = (bass - texture.home) % 12
    triad = sounds & ~has(_NOT_IN_A_TRIAD, root)
    falls_a_fifth = (before < SILENT) & ((before - bass) % 12 == 7)
    leading = earlier[each, (root + 11) % 12]
    on_tonic = triad & (root == key)
    return {
        "on the tonic": on_tonic,
        "on the tonic by its leading note": on_tonic & leading,
        "as dominant to tonic": triad & falls_a_fifth & leading,
        "on the dominant": sounds & ((root - key) % 12 == 7) & ~has(_NOT_IN_THE_DOMINANT, key),
        "in unison": sounds & (heard.sum(axis=1) == 1),
    }
