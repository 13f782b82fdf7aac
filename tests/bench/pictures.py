"""The pictures in soundfonts/README.md, drawn from what FluidSynth plays: python tests/bench/pictures.py

Needs matplotlib (pip install "lentando[pictures]").
"""

from __future__ import annotations

import sys
import tempfile
from itertools import pairwise
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

import matplotlib as mpl  # noqa: E402
import matplotlib.pyplot as plt  # noqa: E402
import numpy as np  # noqa: E402
import soundfile  # noqa: E402
from guitars import BANDS, RATE, Player, bank, decay, decibels, player  # noqa: E402
from support import reading, score  # noqa: E402
from tracks_heard import cents, k_levels, planned, seconds_of  # noqa: E402

from render.sound.audio import render_audio  # noqa: E402
from soundfonts.banks import standard_bank  # noqa: E402
from soundfonts.guitar import NATURALE, PLUCKING_POINTS, PONTICELLO, STANDARD_TUNING, TASTO, preset  # noqa: E402
from soundfonts.notes import PLUCKS  # noqa: E402

PAPER, INK, FAINT = "#faf7f1", "#3a3733", "#d9d3c7"
COLOURS = {TASTO: "#8a5a2b", NATURALE: "#2f6f73", PONTICELLO: "#b0413e"}
NAMES = {TASTO: "sul tasto", NATURALE: "naturale", PONTICELLO: "sul ponticello"}


def main() -> None:
    mpl.rcParams.update(
        {
            "svg.hashsalt": "lentando", "svg.fonttype": "path", "font.family": "DejaVu Sans", "font.size": 10,
            "text.color": INK, "axes.labelcolor": INK, "axes.edgecolor": FAINT, "xtick.color": INK, "ytick.color": INK,
            "figure.facecolor": PAPER, "axes.facecolor": PAPER, "savefig.facecolor": PAPER, "axes.grid": True,
            "grid.color": FAINT, "grid.linewidth": 0.6, "axes.axisbelow": True,
            "axes.spines.top": False, "axes.spines.right": False,
        }
    )  # fmt: skip
    for draw, name in ((spectra, "spectra"), (decays, "decay"), (slides, "slides"), (dying, "dying")):
        draw().savefig(ROOT / "soundfonts" / f"{name}.svg", metadata={"Date": None})


def spectra(string: int = 5, fret: int = 0) -> plt.Figure:
    """One note at the three plucking points, with the partials that the plucking point takes away."""
    key = STANDARD_TUNING[string - 1] + fret
    first = 440 * 2 ** ((key - 69) / 12)
    figure, rows = plt.subplots(3, 1, figsize=(8.4, 6.6), sharex=True, sharey=True, layout="constrained")
    for row, tone in zip(rows, (TASTO, NATURALE, PONTICELLO), strict=True):
        player().choose(*preset(string, tone))
        sound = player().note(key, seconds=0.6)[round(0.02 * RATE) :][: RATE // 2]
        frequency = np.arange(0, 3_001, 2.0)  # the lines of the transform
        level = decibels(np.fft.rfft(sound * np.hanning(len(sound))))[: len(frequency)]
        row.fill_between(frequency, level - level.max(), -80, color=COLOURS[tone], lw=0, alpha=0.85)
        spacing = first / PLUCKS[tone].place(np.array([fret]))[0]
        for dip in np.arange(spacing, 3_000, spacing):
            row.annotate("", (dip, -22), (dip, -4), arrowprops={"arrowstyle": "-|>", "color": INK, "lw": 1})
        row.set(xlim=(0, 3_000), ylim=(-70, 4))
        row.set_title(f"{NAMES[tone]}, {PLUCKING_POINTS[tone]:.1f} cm from the bridge", loc="left", fontsize=10.5)
    rows[1].set_ylabel("level, dB below the strongest partial")
    rows[-1].set_xlabel("frequency, Hz  (arrows: multiples of the first partial divided by the plucking point)")
    return figure


def decays() -> plt.Figure:
    """Seconds for 60 dB in octave bands, for the open strings, beside the sampled guitar of the standard bank."""
    figure, axis = plt.subplots(figsize=(8.4, 4.4), layout="constrained")
    ours, sampled = Player(bank()), Player(standard_bank())
    shades = plt.get_cmap("copper")(np.linspace(0.15, 0.85, 6))
    yardstick = []
    for string, shade in zip(range(6, 0, -1), shades, strict=True):
        key = STANDARD_TUNING[string - 1]
        first = 440 * 2 ** ((key - 69) / 12)
        ours.choose(*preset(string, NATURALE))
        sampled.choose(0, 24)
        bands = [band for band in BANDS if band * 2**0.5 > first]
        note = ours.note(key, seconds=1.6)
        seconds = [decay(note, band) for band in bands]
        axis.plot(bands, seconds, "o-", color=shade, lw=1.8, ms=5, label=f"string {string}")
        yardstick.append((first, decay(sampled.note(key, seconds=1.6), bands[0])))
    axis.plot(*zip(*yardstick, strict=True), "D", color=INK, mfc="none", ms=6, label="sampled guitar, fundamental")
    axis.set_xscale("log")
    axis.set_xticks(BANDS, [f"{band:,}" for band in BANDS])
    axis.minorticks_off()
    axis.set(ylim=(0, 14), xlabel="octave band, Hz", ylabel="seconds for 60 dB")
    axis.legend(frameon=False, ncols=2)
    return figure


MOMENTS = (0.05, 0.2, 1.0, 3.0)  # seconds after the pluck


def dying() -> plt.Figure:
    """An open and a stopped string at four moments, beside the sampled guitar of the standard bank."""
    figure, rows = plt.subplots(2, 4, figsize=(8.4, 4.8), sharex=True, sharey=True, layout="constrained")
    ours, sampled = Player(bank()), Player(standard_bank())
    sampled.choose(0, 24)
    for row, (string, fret, name) in zip(rows, ((5, 0, "string 5, open"), (2, 5, "string 2, fret 5")), strict=True):
        key = STANDARD_TUNING[string - 1] + fret
        ours.choose(*preset(string, NATURALE))
        drawn = [_spectra_at(guitar.note(key, 100, seconds=3.2), key) for guitar in (ours, sampled)]
        for axis, moment, mine, theirs in zip(row, MOMENTS, *drawn, strict=True):
            axis.fill_between(_LINES, mine, -100, color=COLOURS[NATURALE], lw=0, alpha=0.85)
            axis.plot(_LINES, theirs, color=COLOURS[PONTICELLO], lw=0.9, solid_joinstyle="round")
            axis.set(xscale="log", xlim=(70, 10_000), ylim=(-95, 5), yticks=range(-80, 1, 20))
            axis.set_xticks([100, 1_000, 10_000], ["100", "1k", "10k"])
            axis.minorticks_off()
            axis.set_title(f"{moment:g} s", loc="right", fontsize=9.5)
        row[0].set_title(name, loc="left", fontsize=10.5)
    figure.supylabel("level, dB below the strongest at 0.05 s", fontsize=10)
    figure.supxlabel("frequency, Hz  (filled: this guitar; line: the sampled one)", fontsize=10)
    return figure


_LINES = np.geomspace(70, 10_000, 260)


def _spectra_at(sound: np.ndarray, key: int) -> list[np.ndarray]:
    """The level in dB at _LINES around each of MOMENTS, over ten periods or 80 ms: the strongest near each."""
    length = max(round(10 * RATE / (440 * 2 ** ((key - 69) / 12))), round(0.08 * RATE))
    rows = []
    for moment in MOMENTS:
        start = max(0, round(moment * RATE) - length // 2)
        size = np.abs(np.fft.rfft(sound[start : start + length] * np.hanning(length), 2**16))
        edge = np.searchsorted(np.fft.rfftfreq(2**16, 1 / RATE), np.append(_LINES, 10_200))
        rows.append(decibels([size[low : max(high, low + 1)].max() for low, high in pairwise(edge)]))
    return [row - rows[0].max() for row in rows]


def slides() -> plt.Figure:
    """A slide over frets and one without: what was planned, and what is measured in the sound."""
    figure, rows = plt.subplots(
        2, 2, figsize=(8.4, 5.2), sharex=True, sharey="row", height_ratios=(3, 2), layout="constrained"
    )
    for column, (program, name) in enumerate(((24, "guitar, over frets"), (74, "recorder, smoothly"))):
        made = score(2, voices={1: "a4:2 c#5:2 r:4"}, program=program)
        entry = {"from": "1:1", "to": "1:3", "glide": "40%", "swell": "6 dB", "arrive": "slurred"}
        performance = reading({"glissandi": [entry]}, made).performance
        (slide,) = performance.glides
        sound = heard_as(performance)
        second = seconds_of(400)
        shown = (second > 0.9) & (second < 2.4)
        inside = (second >= slide["leave"]) & (second <= slide["arrive"])
        pitch = planned(performance, second), cents(sound[:, 0], 360, 660)[:400] / 100, shown
        level = k_levels(sound)[220::441][:400]
        swell = np.interp(second, slide[["leave", "arrive"]].tolist(), (0, slide["swell"]))
        heard = level - np.mean((level - swell)[inside])
        for row, (plan, measured, where) in zip(rows[:, column], (pitch, (swell, heard, inside)), strict=True):
            row.plot(second[where], plan[where], color=COLOURS[PONTICELLO], lw=5, alpha=0.35, label="planned")
            row.plot(second[shown], measured[shown], ".", color=INK, ms=3, label="measured")
        rows[0, column].set_title(name, loc="left", fontsize=10.5)
        rows[1, column].set_xlabel("seconds")
    rows[0, 0].set(ylabel="semitones above A4", yticks=range(5))
    rows[1, 0].set(ylabel="level, dB", yticks=range(-3, 9, 3))
    rows[0, 0].legend(frameon=False, loc="upper left")
    return figure


def heard_as(performance) -> np.ndarray:
    """(frames, 2) samples of what is rendered."""
    with tempfile.TemporaryDirectory() as folder:
        render_audio(performance, Path(folder) / "slide.wav")
        return soundfile.read(Path(folder) / "slide.wav")[0]


if __name__ == "__main__":
    main()
