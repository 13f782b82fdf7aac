"""The time map against scipy.integrate.quad, to a nanosecond.

The pace is written here a second time, from the formulas alone: steps and glides of tempo, parabolas in log pace
(N. Todd 1985, 1992) that leave the length of their phrase unchanged, slowdowns v(x) = [1 + (w^q - 1) x]^(1/q)
(A. Friberg and J. Sundberg, JASA 105, 1999), fermatas and accents that make their beat longer, all multiplied. Silences
add seconds.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from support import reading

BARS = 12  # in 4/4, so 48 quarters


def glide(first: float, last: float, q: float, x: float) -> float:
    """From first (x = 0) to last (x = 1), even in the q-th power."""
    if not 0 < x < 1:
        return first if x <= 0 else last
    return (first**q + (last**q - first**q) * x) ** (1 / q)


@dataclass
class Model:
    """Three stretches of four bars. In each: a tempo, at once or by degrees in its first bar; a slowdown in its second
    and third; a return at once, by degrees in its fourth bar, or none."""

    tempi: list[tuple[str, float, float]]
    slowings: list[tuple[str, float, float, str]]
    arches: list[tuple[int, float, float]]  # bars of the phrase, height, peak: all phrases of so many bars
    holds: dict[int, float]  # quarter: how much longer it is
    silences: list[tuple[int, float]]
    steep: tuple[float, ...] = ()  # quarters near which quad is helped with shorter and shorter stretches
    normal: list[tuple[float, float, Callable]] = field(default_factory=list)

    def basic(self, s: float) -> float:
        tempo = 60.0
        for k, (kind, value, q) in enumerate(self.tempi):
            x = (s - 16 * k) / 4
            if kind == "none" or x < 0:
                continue
            tempo = value if kind == "step" else glide(tempo, value, q, x)
        return tempo

    def slowing(self, s: float) -> float:
        """The slowdowns' factor; the ends of the arches are taken back, so that the pace ends at what is written."""
        now = 1.0
        for k, ((kind, to, q, then), (tempo, _, _)) in enumerate(zip(self.slowings, self.tempi, strict=True)):
            x = s - 16 * k
            if x < 0:
                break
            if tempo == "step":
                now = 1.0
            elif tempo == "gradual":
                now = glide(now, 1.0, 3, x / 4)
            if kind == "none" or x < 4:
                continue
            goal = to / math.exp(self.arched(16 * k + 12 - 1e-12))
            now = goal if kind == "ritenuto" or x >= 12 else glide(now, goal, q, (x - 4) / 8)
            if x >= 12 and (then == "a tempo" or (then == "by degrees" and k == 2)):
                now = 1.0
            elif x >= 12 and then == "by degrees":
                now = glide(now, 1.0, 3, (x - 12) / 4)
        return now

    def arched(self, s: float) -> float:
        return sum(shape(s) for start, end, shape in self.normal if start <= s < end)

    def settle_arches(self) -> None:
        """From the inside out, each arch shifted so that its phrase lasts as long as without it."""
        for bars, height, peak in sorted(self.arches):
            for start in range(0, 4 * BARS, 4 * bars):
                end = start + 4 * bars
                top = start + peak * (end - start)

                def shape(s: float, start=start, end=end, top=top, height=height) -> float:
                    x = (s - top) / (top - start) if s < top else (s - top) / (end - top)
                    return math.log(1 + height) * (1 - x * x)

                def without(s: float) -> float:
                    return 60 / self.basic(s) / math.exp(self.arched(s))

                knots = self.knots(start, end)
                before = integral(without, knots)
                after = integral(lambda s, shape=shape, without=without: without(s) / math.exp(shape(s)), knots)
                shift = math.log(after / before)
                self.normal.append((start, end, lambda s, shape=shape, shift=shift: shape(s) + shift))

    def knots(self, start: float, end: float) -> list[float]:
        peaks = [b + peak * 4 * bars for bars, _, peak in self.arches for b in range(0, 4 * BARS, 4 * bars)]
        edges = [*range(0, 4 * BARS, 4), *self.holds, *(quarter + 1 for quarter in self.holds)]
        edges += [at + side * 4.0**-k for at in self.steep for side in (-1, 1) for k in range(1, 20)]
        return sorted({start, end, *(k for k in [*edges, *peaks] if start < k < end)})

    def seconds(self) -> tuple[np.ndarray, np.ndarray]:
        """Quarters (every bar line and more), and the seconds at each."""

        def slowness(s: float) -> float:
            hold = self.holds.get(math.floor(s), 1.0)
            return 60 / (self.basic(s) * math.exp(self.arched(s)) * self.slowing(s)) * hold

        quarters = sorted({*self.knots(0, 4 * BARS), *(at for at, _ in self.silences)})
        waits = [sum(seconds for at, seconds in self.silences if at == s) for s in quarters[1:]]
        lasting = [integral(slowness, [a, b]) for a, b in pairwise(quarters)]
        # in the last beat before a silence the clock has begun to wait
        sure = [k for k, s in enumerate(quarters) if not any(0 < at - s < 1 for at, _ in self.silences)]
        return np.array(quarters)[sure], np.append(0, np.cumsum(np.array(lasting) + waits))[sure]

    def plan(self) -> dict:
        made = {"tempo": [{"tempo": 60}], "slowing": [], "holds": []}
        for k, (kind, value, q) in enumerate(self.tempi):
            bar = 4 * k + 1
            if kind == "step":
                made["tempo"].append({"at": bar, "tempo": repr(value)})
            if kind == "gradual":
                made["tempo"].append({"over": f"{bar}:1 - {bar}:4", "tempo": repr(value), "curvature": q})
        for k, (kind, to, q, then) in enumerate(self.slowings):
            if kind != "none":
                entry = {kind: f"{4 * k + 2}-{4 * k + 3}", "to": f"{100 * to!r}%", "curvature": q}
                by = {"a tempo": "a tempo", "by degrees": f"a tempo by {4 * k + 5}" if k < 2 else "a tempo"}
                made["slowing"].append(entry | ({"then": by[then]} if then in by else {}))
        made["phrases"] = phrases(sorted(self.arches, reverse=True), 1, BARS)
        for quarter, length in self.holds.items():
            kind = "fermata" if quarter % 2 else "agogic"
            made["holds"].append({kind: f"{quarter // 4 + 1}:{quarter % 4 + 1}", "length": f"{100 * length!r}%"})
        for number, (at, seconds) in enumerate(self.silences):
            kind = "breath" if number % 2 else "caesura"
            made["holds"].append({kind: f"after {(at - 1) // 4 + 1}:{(at - 1) % 4 + 1}", "seconds": seconds})
        return made


def phrases(arches: list[tuple[int, float, float]], first: int, last: int) -> list[dict]:
    if not arches:
        return []
    bars, height, peak = arches[0]
    return [
        {
            "bars": f"{bar}-{bar + bars - 1}",
            "arch": {"pace": f"{100 * height!r}%", "pace peak": f"{100 * peak!r}%"},
            "inside": phrases(arches[1:], bar, bar + bars - 1),
        }
        for bar in range(first, last + 1, bars)
    ]


def integral(slowness: Callable[[float], float], knots: list[float]) -> float:
    return math.fsum(quad(slowness, a, b, epsabs=1e-12, epsrel=1e-12, limit=200)[0] for a, b in pairwise(knots))


def rounded(low: float, high: float, digits: int = 3):
    return st.floats(low, high).map(lambda value: round(value, digits))


curvatures = st.sampled_from([1.0, 1.5, 2.0, 3.0, 6.0])
models = st.builds(
    Model,
    tempi=st.lists(
        st.tuples(st.sampled_from(["none", "step", "gradual"]), rounded(30, 200), curvatures), min_size=3, max_size=3
    ),
    slowings=st.lists(
        st.tuples(
            st.sampled_from(["none", "rallentando", "ritenuto", "allargando"]),
            rounded(0.2, 0.99),
            curvatures,
            st.sampled_from(["a tempo", "by degrees", "stays"]),
        ),
        min_size=3,
        max_size=3,
    ),
    arches=st.lists(
        st.tuples(st.sampled_from([2, 4, 12]), rounded(0.01, 0.5), rounded(0.05, 0.95)),
        max_size=3,
        unique_by=lambda a: a[0],
    ),
    holds=st.dictionaries(st.integers(0, 47), rounded(0.5, 4), max_size=3),
    silences=st.lists(st.tuples(st.integers(1, 48), rounded(0.05, 2)), max_size=3, unique_by=lambda s: s[0]),
)


@given(models)
def test_every_moment_comes_when_the_integral_of_the_pace_says(model):
    model.settle_arches()
    time = reading(model.plan(), bars=BARS).performance.time
    quarters, seconds = model.seconds()
    assert time.seconds(quarters) == pytest.approx(seconds, abs=1e-9, rel=0)


@given(models, st.lists(st.floats(0, 48), min_size=1, max_size=20))
def test_the_clock_runs_on_and_is_read_backwards(model, quarters):
    time = reading(model.plan(), bars=BARS).performance.time
    quarters = np.unique(np.array(quarters))
    seconds = time.seconds(quarters)
    apart = np.diff(quarters) > 1e-9
    assert np.all(np.diff(seconds)[apart] > 0)
    assert np.all(np.diff(seconds) >= 0)
    assert time.quarters(seconds) == pytest.approx(quarters, abs=1e-9)


@pytest.mark.parametrize("to", [0.1, 0.2, 0.9])
@pytest.mark.parametrize("q", [1.0, 2.0, 3.0, 10.0])
def test_the_deepest_slowdowns_a_plan_can_ask_for(to, q):
    model = Model(
        [("none", 60, 1), ("gradual", 300, 10.0), ("gradual", 20, 10.0)],
        [("rallentando", to, q, "a tempo")] * 3,
        [(2, 0.5, 0.05), (4, 0.5, 0.95), (12, 0.5, 0.5)],
        {},
        [],
        steep=(12, 16, 28, 32, 36, 44),
    )
    model.settle_arches()
    time = reading(model.plan(), bars=BARS).performance.time
    quarters, seconds = model.seconds()
    assert time.seconds(quarters) == pytest.approx(seconds, abs=1e-9, rel=0)


def test_a_breath_waits_in_the_time_just_before_it_and_nowhere_else():
    time = reading({"holds": [{"breath": "after 2:2", "seconds": 0.4}]}, bars=4).performance.time
    assert time.seconds(np.array([5.0, 5.5, 6.0, 7.0])) == pytest.approx([5.0, 5.5, 6.4, 7.4], abs=1e-9)
