"""What a sound loses by itself while it slides, and how that is made good.

A performance says by how much a slide is to be heard to swell. But a string dies away, and a sample swells and fades as
it was recorded: so what is heard as planned takes more, or less. How a sound would go alone is known to who plays it,
and is asked of a function. What it has lost where a slide begins is counted from a moment after it was struck, when the
noise of that is over, or from where the slide before has arrived in it.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from timing.performance import CARRIED, CURVE, Performance

SETTLED = 0.1  # seconds after which a sound that was struck is counted
FAINT = 12.0  # dB it has lost where its slide is hardly heard, and the most that one that is sung has (our own value)
SUNG_FROM = 0.15  # seconds after which a sound that is sung dies away more slowly
STEP = 128 / 44_100  # seconds between two points: so quick that no step of a controller is heard by itself
_FINE = 0.1  # dB between two points of a sound that is sung

# (row of a note that is struck, (n,) seconds) -> (n,) dB that it would have then if nothing but its slides moved it:
# only differences mean anything. The seconds are those of one slide, from leaving to arriving, or one moment.
Alone = Callable[[int, np.ndarray], np.ndarray]


def sounds_that_slide(glides: np.ndarray) -> list[np.ndarray]:
    """The rows of the slides (GLIDE) that each sound makes, in order: a carried goal may slide on."""
    onward = {int(note): row for row, note in enumerate(glides["note"])}
    carries = glides["attack"] == CARRIED
    reached = set(glides["goal"][carries].tolist())
    made = []
    for row in np.flatnonzero([note not in reached for note in glides["note"].tolist()]):
        rows = [int(row)]
        while carries[rows[-1]] and (following := onward.get(int(glides["goal"][rows[-1]]))) is not None:
            rows.append(following)
        made.append(np.array(rows))
    return made


def sounds_to_make_good(glides: np.ndarray) -> list[np.ndarray]:
    """The slides (GLIDE) of each sound of which one swells or is sung. What does neither goes as it goes."""
    sounds = (glides[rows] for rows in sounds_that_slide(glides))
    return [slides for slides in sounds if slides["swell"].any() or slides["sung"].any()]


def made_good(performance: Performance, alone: Alone) -> np.ndarray:
    """CURVE table: that of the performance, and where a sound slides and swells what it loses `alone` given back, for
    as long as the sound lasts. Where a slide is `sung`, the note before it dies away more slowly."""
    curves, sounds = performance.curves, sounds_to_make_good(performance.glides)
    if not sounds:
        return curves
    by_note = np.argsort(curves["note"], kind="stable")
    kept, made = np.ones(len(curves), bool), []
    for slides in sounds:
        struck = int(slides["note"][0])
        second, given = _given_back(slides, struck, float(performance.notes["onset"][struck]), alone)
        mine = by_note[slice(*np.searchsorted(curves["note"], (struck, struck + 1), sorter=by_note))]
        own, kept[mine] = curves[mine], False
        together = np.union1d(own["second"], second)
        table = np.zeros(len(together), CURVE)
        table["lane"], table["note"], table["second"] = performance.notes["lane"][struck], struck, together
        planned = np.interp(together, own["second"], own["level"]) if len(own) else 0.0
        table["level"] = planned + np.interp(together, second, given)
        made.append(table)
    curves = np.concatenate([curves[kept], *made])
    return curves[np.lexsort((curves["second"], curves["note"], curves["lane"]))]


def _given_back(slides: np.ndarray, struck: int, onset: float, alone: Alone) -> tuple[np.ndarray, np.ndarray]:
    """Seconds, and the dB that the sound of these slides (GLIDE, in order) has been given back by then."""
    seconds, given = [np.array([onset])], [np.zeros(1)]
    held_up = np.append(onset + SUNG_FROM, slides["arrive"][:-1])  # from there on, where the sound is sung
    lost = lost_before(slides, struck, onset, alone) if slides["sung"].any() else np.zeros(len(slides))
    for slide, begin, more in zip(slides, held_up.tolist(), (lost - FAINT).tolist(), strict=True):
        leave, arrive = float(slide["leave"]), float(slide["arrive"])
        if slide["sung"] and more > 0 and begin < leave:
            place = np.linspace(0, 1, int(np.ceil(more / _FINE)) + 2)
            seconds.append(begin + place * (leave - begin))
            given.append(given[-1][-1] + place * more)
        if slide["swell"]:
            times = np.append(np.arange(leave, arrive - STEP / 2, STEP), arrive)
            level = alone(struck, times)
            seconds.append(times)
            given.append(given[-1][-1] - (level - level[0]))
    return np.concatenate(seconds), np.concatenate(given)


def lost_before(slides: np.ndarray, struck: int, onset: float, alone: Alone) -> np.ndarray:
    """(n,) dB that the sound of these slides (GLIDE, in order), struck at `onset`, has lost by itself where each
    leaves."""
    spans = zip(counted_from(slides, onset), slides["leave"], strict=True)
    return np.array([-float(np.diff([alone(struck, np.array([at]))[0] for at in span])[0]) for span in spans])


def counted_from(slides: np.ndarray, onset: float) -> np.ndarray:
    """(n,) seconds from which it is counted what a sound has lost before each of its slides (GLIDE, in order)."""
    return np.minimum(np.append(onset + SETTLED, slides["arrive"][:-1]), slides["leave"])


def bends_of(performance: Performance) -> Callable[[int], tuple[np.ndarray, np.ndarray]]:
    """A function from a note that is struck to the (points,) seconds after its onset, and semitones, of its bend."""
    bends, onsets = performance.bends, performance.notes["onset"]
    by_note = np.argsort(bends["note"], kind="stable")
    notes = bends["note"][by_note]

    def bend(row: int) -> tuple[np.ndarray, np.ndarray]:
        mine = bends[by_note[slice(*np.searchsorted(notes, (row, row + 1)))]]
        return mine["second"] - onsets[row], mine["semitones"]

    return bend
