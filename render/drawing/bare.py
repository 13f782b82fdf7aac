"""Bars without their notes: systems of bar lines, numbers and beats, over which a reading is drawn where the score is
not engraved."""

from __future__ import annotations

from xml.sax.saxutils import escape

import numpy as np

from render.drawing.engraving import BOX, HEADMARK, MOMENT, SPACE, Engraving, System
from timing.columns import NEAR, ROUNDING
from timing.score import Score
from timing.where.beats import beats_of, felt_beat

_QUARTER = 3.5 * SPACE  # as wide as a quarter wants to be
_LEAST, _MOST = 7 * SPACE, 40 * SPACE  # a bar, however short or long
_INDENT = 6 * SPACE  # where the first bar begins, as if a clef stood before it; at most a quarter of the width
_STRETCH = 1.5  # how far the last system is spread at most
_BEFORE, _AFTER = 1.25 * SPACE, 0.75 * SPACE  # from the bar line to the first beat, from the end of the last beat to it
_TOP, _BOTTOM = 1.5 * SPACE, 4 * SPACE  # of the bar lines; the numbers stand above
_MOST_TICKS = 48  # in one bar


def bare(score: Score, width: float) -> Engraving:
    """The bars of a score in systems of this width, in which time runs evenly within each bar."""
    lengths = score.bars["length"].astype(np.float64)
    wanted = np.clip(lengths * _QUARTER, _LEAST, _MOST)
    lines = _lines(wanted, width - _indent(width))
    systems = [_system(score, slice(*line), wanted, width, last=line[1] == len(lengths)) for line in lines]
    return Engraving(tuple(systems), "", lengths, engraved=False)


def _indent(width: float) -> float:
    return min(_INDENT, width / 4)


def _lines(wanted: np.ndarray, width: float) -> list[tuple[int, int]]:
    """(first, end) of the bars of each system: as many as have room, at least one."""
    ends = np.cumsum(wanted)
    made, first = [], 0
    while first < len(wanted):
        before = ends[first] - wanted[first]
        end = max(int(np.searchsorted(ends, before + width + NEAR, side="right")), first + 1)
        made.append((first, end))
        first = end
    return made


def _system(score: Score, rows: slice, wanted: np.ndarray, width: float, last: bool) -> System:
    mine = wanted[rows]
    indent = _indent(width)
    scale = (width - indent) / mine.sum()
    edges = indent + np.append(0, np.cumsum(mine * (min(scale, _STRETCH) if last else scale)))
    boxes = np.zeros(len(mine), BOX)
    boxes["bar"], boxes["left"], boxes["right"] = np.arange(rows.start, rows.stop), edges[:-1], edges[1:]
    moments = _beats(score, boxes)
    ends = f'<path class="barline" d="M{edges[0]:.1f} {_TOP:g}V{_BOTTOM:g}"/>'
    ends += f'<path class="axis" d="M{edges[0]:.1f} {(_TOP + _BOTTOM) / 2:g}H{edges[-1]:.1f}"/>'
    svg = ends + "".join(_bar(score, box, moments) for box in boxes)
    return System(svg, width, 0.0, _BOTTOM + 2, _TOP, _BOTTOM, boxes, moments, np.zeros(0, HEADMARK))


def _beats(score: Score, boxes: np.ndarray) -> np.ndarray:
    """MOMENT table of the beats of these bars, or of wider ones where there would be too many."""
    bars = score.bars[boxes["bar"]]
    length, beat = bars["length"].astype(np.float64), 4 / bars["unit"]
    wider = np.maximum(felt_beat(bars), length / _MOST_TICKS)
    beats = beats_of(bars, np.where(length / beat > _MOST_TICKS, wider, beat))
    row, room = beats["row"], boxes["right"] - boxes["left"] - _BEFORE - _AFTER
    made = np.zeros(len(beats), MOMENT)
    made["bar"], made["offset"] = boxes["bar"][row], beats["start"]
    made["x"] = boxes["left"][row] + _BEFORE + beats["start"] / np.maximum(length, ROUNDING)[row] * room[row]
    return made


def _bar(score: Score, box: np.void, moments: np.ndarray) -> str:
    row, right = int(box["bar"]), float(box["right"])
    beats = moments["x"][slice(*np.searchsorted(moments["bar"], (row, row + 1)))]
    middle = (_TOP + _BOTTOM) / 2
    ticks = "".join(f"M{x:.1f} {middle - 3:g}v6" for x in beats)
    continued = score.bars["continued"][row : row + 2]
    number = f'<text class="number" x="{box["left"] + 2:.1f}" y="{_TOP - 3:g}">{escape(score.bar_name(row))}</text>'
    line = f'<path class="barline" d="M{right:.1f} {_TOP:g}V{_BOTTOM:g}"/>'
    return (
        f'<g id="b{row}">{"" if continued[0] else number}'
        f'<path class="tick" d="{ticks}"/>{"" if continued[1:].any() else line}</g>'
    )
