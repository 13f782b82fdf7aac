"""How well phrases are found in L. Erk's 1,781 folk songs, beside simpler ways, and in piano music:
python tests/bench/phrase_scores.py [FOLDER]

For every song precision, recall and F1 of the notes that end a phrase, the last note left out; then the mean over the
songs. Our weights were fitted without these songs (`fit_phrases.py`). The second table says how often an end of a given
probability is written, the third how the same weights do where songs are made otherwise.

FOLDER holds piano music with phrase ends that people annotated (`tests/people.py` says how). The phrases that a draft
names are held against them: precision, recall and F1 of their ends, the mean over the scores. An end counts if it is
within a felt beat of one of theirs. The weights were fitted on these scores; `fit_choice.py FOLDER --try` prints how
near they come to people where they were not.
"""

from __future__ import annotations

import itertools
import sys
import time
from collections.abc import Sequence
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from boundary_methods import every_note, every_two_bars, local_boundaries, rests_only, scores  # noqa: E402
from essen import Song, erk_songs, folder, read_songs  # noqa: E402
from people import CORPORA, Annotated, annotated  # noqa: E402

from timing.drafting.shape import kept  # noqa: E402
from timing.finding.boundaries import best_ends, end_probabilities, phrase_scores  # noqa: E402
from timing.finding.leading import leading_voice  # noqa: E402
from timing.finding.phrases import FoundPhrase, find_phrases  # noqa: E402
from timing.finding.signs import read_signs  # noqa: E402

METHODS = {
    "an end after every note": every_note,
    "rests only (GPR 2a)": rests_only,
    "LBDM (E. Cambouropoulos 2001), threshold .5": local_boundaries,
    "every two bars from the first upbeat": every_two_bars,
    "this model": lambda melody: best_ends(phrase_scores(melody)),
}


def main() -> None:
    songs = erk_songs()
    print(f"{len(songs)} songs\n")
    print("| method | precision | recall | F1 | songs wholly right | ms a song |")
    print("|---|---|---|---|---|---|")
    for name, method in METHODS.items():
        begun = time.perf_counter()
        found = [method(song.melody) for song in songs]
        took = (time.perf_counter() - begun) * 1000 / len(songs)
        precision, recall, f1 = np.mean([scores(f, s.ends) for f, s in zip(found, songs, strict=True)], axis=0)
        right = np.mean([np.array_equal(f[:-1], s.ends[:-1]) for f, s in zip(found, songs, strict=True)])
        print(f"| {name} | {precision:.3f} | {recall:.3f} | {f1:.3f} | {100 * right:.0f} % | {took:.2f} |")
    print_calibration(songs)
    print_elsewhere()
    if len(sys.argv) > 1:
        print_people(Path(sys.argv[1]))


def print_calibration(songs: list[Song]) -> None:
    sure = np.concatenate([end_probabilities(phrase_scores(song.melody))[:-1] for song in songs])
    written = np.concatenate([song.ends[:-1] for song in songs])
    print("\n| probability | notes | written there |\n|---|---|---|")
    edges = [0.0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 1.0]
    for low, high in itertools.pairwise(edges):
        here = (sure >= low) & (sure < high + (high == 1.0))
        print(f"| {low:.2f}-{high:.2f} | {here.sum()} | {written[here].mean():.3f} |")


def print_elsewhere() -> None:
    print("\n| collection | songs | F1 |\n|---|---|---|")
    for title, names in (("China", ("han1", "han2")), ("Ireland", ("irl",))):
        songs = [song for name in names for song in read_songs(folder() / f"{name}.abc")]
        f1 = np.mean([scores(best_ends(phrase_scores(song.melody)), song.ends)[2] for song in songs])
        print(f"| {title} | {len(songs)} | {f1:.3f} |")


def print_people(place: Path) -> None:
    sources = annotated(place)
    if not sources:
        sys.exit(f"no scores with phrase ends in {place}: see tests/people.py")
    print("\n| phrases | of | scores | precision | recall | F1 |\n|---|---|---|---|---|---|")
    for name, way in WAYS.items():
        for corpus in CORPORA:
            rows = [source.agreement(way(source)) for source in sources if source.corpus == corpus]
            precision, recall, f1 = np.mean(rows, axis=0)
            print(f"| {name} | {corpus} | {len(rows)} | {precision:.3f} | {recall:.3f} | {f1:.3f} |")


def _four_bars(source: Annotated) -> np.ndarray:
    """The downbeats of every fourth bar, and the end."""
    bars = source.score.bars
    first = int(bars["shift"][0] > 0)  # a pickup bar belongs to the next one
    return np.unique(np.append(source.bar_starts[first::4][1:], source.bar_starts[-1]))


def _of_the_melody(source: Annotated) -> np.ndarray:
    """The ends of the melody's own model."""
    line = leading_voice(source.score)
    signs = read_signs(source.score, line)
    last = np.flatnonzero(best_ends(phrase_scores(line.melody, signs.told, signs.walls)))[:-1]
    notes = source.score.notes[line.rows[last + 1]]
    return np.append(source.bar_starts[notes["bar"]] + notes["offset"], source.bar_starts[-1])


def _drafted(source: Annotated) -> np.ndarray:
    """The ends of all phrases that a draft names, of whatever level."""

    def ends(phrases: Sequence[FoundPhrase]) -> set[float]:
        return {source.at(phrase.end) for phrase in phrases}.union(*(ends(phrase.inside) for phrase in phrases))

    return np.array(sorted(ends(kept(find_phrases(source.score)))))


WAYS = {"every four bars": _four_bars, "of the melody alone": _of_the_melody, "as drafted": _drafted}


if __name__ == "__main__":
    main()
