"""Readings side by side, in the terminal and as JSON."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import zip_longest
from operator import eq
from typing import Any

import numpy as np
from rich.console import Console
from rich.table import Table
from rich.text import Text

from render.telling import titles
from render.telling.comparison_words import (
    LETTERS,
    NOTHING,
    ORDINARY,
    UNPLAYED,
    all_of,
    between,
    equal,
    length,
    letters_of,
    level,
    music_of,
    name_of,
    notes_of,
    sentence,
    signed,
    slowest,
    tones_of,
)
from render.telling.sides import Side, cautions_in_words
from timing.comparing import Comparison
from timing.comparing.alignment import Apart
from timing.comparing.differences import Difference
from timing.comparing.spans import ALL, SECTION, SHARED, Span

# -- JSON


def comparison_values(comparison: Comparison, sides: Sequence[Side]) -> dict[str, Any]:
    """A comparison as plain values. Readings are called A, B, C; seconds, quarters a minute, dB below velocity 127 and
    shares from 0 to 1. The `difference` of two readings is the second one's seconds less the first's; `longer` says the
    same of each but the first, however many there are."""
    return {
        "readings": [
            {
                "name": letter, "title": reading.performance.title, "plan": str(side.plan),
                "score": str(reading.score.path), "order": reading.order.split(", "),
                "seconds": float(reading.performance.time.length), "cautions": side.cautions,
                "companion": side.kind, "told": side.told,
            }
            for letter, reading, side in zip(LETTERS, comparison.readings, sides, strict=False)
        ],
        "same": comparison.same,
        "sound_alike": comparison.alike,
        "scores": [_apart_values(apart) for apart in comparison.scores],
        "orders": [_apart_values(apart) for apart in comparison.orders],
        "spans": [_span_values(comparison, row) for row in range(len(comparison.spans))],
        "differences": [_difference_values(difference) for difference in comparison.differences],
    }  # fmt: skip


def _apart_values(apart: Apart) -> dict[str, Any]:
    return {"what": apart.what, "bars": apart.bars or None, "pass": apart.pass_, "readings": letters_of(apart.of)}


def _span_values(comparison: Comparison, row: int) -> dict[str, Any]:
    span, made = comparison.spans[row], comparison.measures[row]
    values: dict[str, Any] = {
        "kind": span.kind, "bars": span.bars or None, "pass": span.pass_, "name": span.name or None,
        "depth": span.depth, "in": letters_of(span.of), "partly": span.partly,
    }  # fmt: skip
    for number, letter in enumerate(LETTERS[: len(made)]):
        values[letter] = _measure_values(comparison, row, number)
    both = np.all(made["seconds"] > 0)
    values["difference"] = _tidy(made["seconds"][1] - made["seconds"][0]) if both and len(made) == 2 else None
    values["longer"] = {
        letter: _tidy(one - made["seconds"][0]) if one > 0 < made["seconds"][0] else None
        for letter, one in zip(LETTERS[1:], made["seconds"][1:], strict=False)
    }
    return values


def _measure_values(comparison: Comparison, row: int, number: int) -> dict[str, Any] | None:
    made = comparison.measures[row, number]
    if made["seconds"] == 0:
        return None
    shares = zip(comparison.tones, comparison.shares[row, number].tolist(), strict=True)
    return {
        "seconds": _tidy(made["seconds"]),
        "slowest": {
            "bar": str(made["bar"]), "beat": float(made["beat"]), "pass": int(made["pass"]),
            "pace": _tidy(made["slowest"]), "bpm": _tidy(made["slowest_bpm"]), "held": bool(made["held"]),
        },
        "tempo": {"low": _tidy(made["low_bpm"]), "high": _tidy(made["high_bpm"])},
        "level": None if np.isnan(made["loudest"])
        else {"softest": _tidy(made["softest"]), "loudest": _tidy(made["loudest"])},
        "tones": {tone: _tidy(share) for tone, share in shares if share > 0},
    }  # fmt: skip


def _difference_values(difference: Difference) -> dict[str, Any]:
    return {
        "section": difference.section, "kind": difference.kind, "for": difference.voice, "bars": difference.bars,
        "passes": list(difference.passes), "in": letters_of([words is not None for words in difference.words]),
        "played": letters_of(difference.plays),
        **dict(zip(LETTERS, difference.words, strict=False)),
    }  # fmt: skip


def _tidy(value: float) -> float:
    return round(float(value), 9)


# -- the terminal


def show_comparison(console: Console, comparison: Comparison, sides: Sequence[Side]) -> None:
    """Print a comparison: whom it compares, where scores and orders differ, every phrase, and what only some do; last,
    which plans have cautions."""
    _show_names(console, comparison, sides)
    if comparison.same:
        console.print(Text("The readings are the same: they sound alike, and their plans say the same."))
    else:
        _show_what_differs(console, comparison)
    if cautions := cautions_in_words(sides):
        console.print()
    for line in cautions:
        console.print(Text(line, "bold yellow"))


def _show_what_differs(console: Console, comparison: Comparison) -> None:
    _show_apart(console, comparison)
    console.print(_spans(comparison))
    _show_notes(console, comparison)
    if (tones := _tones(comparison)).row_count:
        console.print(tones)
        console.print()
    found = [difference for difference in comparison.differences if all(difference.plays)]  # the order told of the rest
    if found:
        console.print(_differences(found))
    if comparison.alike:
        console.print(Text("\nAnd yet they sound alike." if found else "They sound alike."))


def _show_names(console: Console, comparison: Comparison, sides: Sequence[Side]) -> None:
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    for letter, reading, side in zip(LETTERS, comparison.readings, sides, strict=False):
        title = Text(titles.apart(reading.performance.title), "bold")
        if side.told is not None:
            title.append(f"\n{side.told}", "not bold dim")
        table.add_row(Text(letter, "bold"), title, Text("made from A" if side.kind else side.plan.name, "dim"))
    console.print(table)
    orders = list(dict.fromkeys(reading.order for reading in comparison.readings))
    if len(orders) == 1:
        console.print(Text(f"order  {orders[0]}"))
    console.print()


def _show_apart(console: Console, comparison: Comparison) -> None:
    """Say first where the scores or the orders of the bars differ."""
    if not (comparison.scores or comparison.orders):
        return
    if comparison.scores:
        console.print(Text("The scores differ.", "bold"))
        for letter, reading in zip(LETTERS, comparison.readings, strict=False):
            bars = reading.score.bars
            names = [reading.score.bar_name(row) for row in (0, len(bars) - 1)]
            console.print(Text(f"  {letter}  {reading.score.path.name}: {len(bars)} bars, {'-'.join(names)}"))
    if comparison.orders:
        console.print(Text("The order of the bars differs.", "bold"))
        for letter, reading in zip(LETTERS, comparison.readings, strict=False):
            console.print(Text(f"  {letter}  {reading.order}"))
    for apart in [*comparison.scores, *comparison.orders]:
        console.print(Text(f"  {sentence(apart, len(comparison.readings))}"))
    console.print(Text(f"What follows compares what {all_of(len(comparison.readings))} play."))
    console.print()


def _table(*headings: str, right: Sequence[str] = ()) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    for heading in headings:
        table.add_column(heading, justify="right" if heading in right else "left")
    return table


def _spans(comparison: Comparison) -> Table:
    """A line for each reading of each span; readings that are measured alike share one."""
    count = len(comparison.readings)
    since = "B - A" if count == 2 else "than A"  # how much longer or shorter
    headings = ["phrase", "", "length", since, "slowest beat", "tempo", "level"]
    if all(span.kind in (SECTION, SHARED, ALL) for span in comparison.spans):
        headings[0] = ""
    table = _table(*headings, right=("length", since, "slowest beat", "tempo", "level"))
    table.columns[0].ratio, table.columns[0].overflow = 1, "fold"
    for column in table.columns[1:]:
        column.no_wrap = True
    for row, span in enumerate(comparison.spans):
        made = comparison.measures[row]
        labels = _labels(comparison, span, made["seconds"] > 0)
        groups = _alike([made[[k]] for k in range(count)], lambda one, two: equal(np.concatenate([one, two])))
        if len(groups) == 1:  # nothing to compare: one line is enough
            labels = [_label(span)]
        lines = [[Text(_who(group, count), "dim"), *_cells(made, group[0], span)] for group in groups]
        for label, line in zip_longest(labels, lines):
            table.add_row(label or "", *(line or []))
    return table


def _alike(values: Sequence[Any], same: Callable[[Any, Any], bool] = eq) -> list[list[int]]:
    """The readings in groups of those that are alike, in order; `values` has one for each."""
    groups: list[list[int]] = []
    for number, value in enumerate(values):
        mine = next((group for group in groups if same(values[group[0]], value)), None)
        if mine is None:
            groups.append([number])
        else:
            mine.append(number)
    return groups


def _who(group: Sequence[int], count: int) -> str:
    """The letters of some of so many readings: A, C; all of them by one word."""
    return all_of(count) if len(group) == count else ", ".join(LETTERS[number] for number in group)


def _cells(made: np.ndarray, number: int, span: Span) -> list:
    """What one of the readings (those measures of a span are `made`) makes of a span, column by column."""
    one, first = made[number], made[0]
    if not one["seconds"]:
        return [NOTHING, "", Text(UNPLAYED, "dim")]
    since = signed(one["seconds"] - first["seconds"]) if number and first["seconds"] else ""
    tempo = between(one["low_bpm"], one["high_bpm"], "-")
    return [length(one["seconds"]), since, slowest(one, span), tempo, level(one)]


def _label(span: Span) -> Text:
    """What a span is called, on one line."""
    again = f", pass {span.pass_}" if (span.pass_ or 1) > 1 else ""
    weight = "bold" if span.kind == ALL else ""
    return Text.assemble("  " * span.depth, (name_of(span), weight), (again, "dim"))


def _labels(comparison: Comparison, span: Span, played: Sequence[bool]) -> list[Text]:
    """What a span is called, on two lines: its name, then which music it is."""
    if span.kind in (ALL, SHARED):
        return [_label(span)]
    indent = "  " * span.depth
    return [Text(indent + name_of(span)), Text(indent + music_of(comparison, span, played), "dim")]


def _show_notes(console: Console, comparison: Comparison) -> None:
    for note in notes_of(comparison):
        console.print(Text(note, "dim"))
    console.print()


def _columns(count: int) -> list[str]:
    """The headings under which so many readings are told of: a column for each of two; of more, those that are alike
    share a line, so that it stays wide enough to be read."""
    return list(LETTERS[:2]) if count == 2 else ["", ""]


def _lines(words: Sequence[Text | str]) -> list[list[Text | str]]:
    """What is told of each reading, under the headings of `_columns`."""
    if len(words) == 2:
        return [list(words)]
    groups = _alike(words)
    return [[Text(_who(group, len(words)), "dim"), words[group[0]]] for group in groups]


def _tones(comparison: Comparison) -> Table:
    """The spans in which the tones differ, and the whole, unless that has only the ordinary one."""
    table = _table("tone", *_columns(len(comparison.readings)))
    for row, span in enumerate(comparison.spans):
        words = tones_of(comparison, row)
        heard = {*words} - {UNPLAYED, ""}
        if span.kind != SHARED and (len(heard) > 1 or (span.kind == ALL and heard - {ORDINARY})):
            for label, line in zip_longest([_label(span)], _lines(words)):
                table.add_row(label or "", *line)
    return table


def _differences(found: Sequence[Difference]) -> Table:
    table = _table("what differs", "bars", "pass", *_columns(len(found[0].words)))
    section = None
    for difference in found:
        voice = f"for {difference.voice}" if difference.voice else ""
        what: str | Text = f"  {' '.join(filter(None, [difference.kind, voice]))}".rstrip()
        if difference.section != section:
            section = difference.section
            if what or difference.bars:
                table.add_row(Text(section, "bold"))
            else:
                what = Text(section, "bold")  # one setting for all of the piece
        cells = [Text(words) if words else Text(NOTHING, "dim") for words in difference.words]
        place = [what, difference.bars or "", ", ".join(map(str, difference.passes))]
        for before, line in zip_longest([place], _lines(cells)):
            table.add_row(*(before or [""] * 3), *line)
    return table
