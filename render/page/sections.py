"""What the page says in words: who is compared, phrase by phrase, what the plans say, notes and cautions."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from render.drawing.drawn import Drawn
from render.drawing.labels import Comment
from render.page.markup import Markup, element, inside
from render.page.music import Music
from render.telling.comparison_words import (
    LETTERS,
    NOTHING,
    UNPLAYED,
    all_of,
    between,
    equal,
    length,
    level,
    name_of,
    notes_of,
    sentence,
    signed,
    slowest,
    tones_of,
)
from render.telling.comparison_words import music_of as bars_of
from render.telling.words import plain
from timing.comparing import Comparison
from timing.comparing.spans import ALL, PHRASE, SECTION, Span


def letter_of(number: int) -> Markup:
    """The letter of a reading in its colour."""
    return element("b", LETTERS[number], class_=f"letter {LETTERS[number].lower()}")


# -- phrase by phrase


def span_labels(comparison: Comparison) -> list[str]:
    """What each span is called where it stands by itself."""
    made = []
    for span, measures in zip(comparison.spans, comparison.measures, strict=True):
        more = bars_of(comparison, span, measures["seconds"] > 0)
        made.append(plain(name_of(span)) + (f" ({more})" if more else ""))
    return made


def measures_section(comparison: Comparison, names: Sequence[str], labels: Sequence[str]) -> Markup:
    """A table of what each reading makes of each phrase."""
    headings = ["reading", "length", "slowest beat", "tempo", "level", "tone"]
    head = element("thead", element("tr", *[element("th", text, scope="col") for text in headings]))
    groups = [_group(comparison, row, names, label) for row, label in enumerate(labels)]
    notes = element("p", ". ".join(note[0].upper() + note[1:] for note in notes_of(comparison)) + ".", class_="small")
    return inside(_table("Phrase by phrase", head, *groups), notes)


def _table(caption: str, *parts: Markup) -> Markup:
    """A table that can be moved sideways where it has no room."""
    table = element("table", element("caption", caption, class_="unseen"), *parts)
    return element("div", table, class_="table", tabindex=0, role="region", aria_label=caption)


def _group(comparison: Comparison, row: int, names: Sequence[str], label: str) -> Markup:
    span, made = comparison.spans[row], comparison.measures[row]
    tones, several = tones_of(comparison, row), len(made) > 1
    if several and equal(made) and len(set(tones)) == 1:
        lines = [_line(element("th", all_of(len(made)), scope="row"), made[0], "", span, tones[0])]
    else:
        lines = [
            _line(_named(number, names, several), one, _since(made, number), span, tones[number])
            for number, one in enumerate(made)
        ]
    button = None
    if span.kind in (PHRASE, SECTION):
        word = "by turns" if several else "repeat"
        button = element("button", word, element("span", f": {label}", class_="unseen"), type="button",
                         class_="hear script", data_span=row)  # fmt: skip
    heading = element("th", element("span", label, class_="span"), button, colspan=6, scope="rowgroup")
    depth = "whole" if span.kind == ALL else f"depth{min(span.depth, 3)}"
    return element("tbody", element("tr", heading, class_="name"), *lines, class_=depth)


def _named(number: int, names: Sequence[str], several: bool) -> Markup:
    letter = letter_of(number) if several else None
    name = element("span", f" {names[number]}" if several else names[number], class_="full")
    return element("th", letter, name, scope="row")


def _since(made: np.ndarray, number: int) -> str:
    known = made["seconds"] > 0
    return signed(made["seconds"][number] - made["seconds"][0]) if number and known[0] and known[number] else ""


def _line(name: Markup, one: np.void, since: str, span: Span, tones: str) -> Markup:
    if not one["seconds"]:
        return element("tr", name, element("td", UNPLAYED, colspan=5))
    longer = element("span", f" {since.replace('-', '−')}", class_="since") if since else None
    cells = [
        element("td", length(one["seconds"]), longer),
        element("td", slowest(one, span)),
        element("td", between(one["low_bpm"], one["high_bpm"], "–")),
        element("td", level(one).replace("-", "−") if level(one) != NOTHING else NOTHING),
        element("td", tones or NOTHING, class_="words"),
    ]
    return element("tr", name, *cells)


# -- what the plans say


def apart_section(comparison: Comparison) -> Markup | None:
    """Where scores and orders differ, in sentences."""
    count = len(comparison.readings)
    found = [sentence(apart, count) for apart in (*comparison.scores, *comparison.orders)]
    if not found:
        return None
    said = [element("li", text[0].upper() + text[1:] + ".") for text in found]
    return inside(element("ul", *said), element("p", f"The figures compare what {all_of(count)} play."))


def differences_section(comparison: Comparison, names: Sequence[str]) -> Markup:
    """A table of what the plans say differently."""
    found = [difference for difference in comparison.differences if all(difference.plays)]
    if not found:
        return element("p", "Nothing." if not comparison.alike else "Nothing: the readings sound alike.")
    columns = [element("th", "what", scope="col"), element("th", "bars", scope="col"),
               element("th", "pass", scope="col")]  # fmt: skip
    columns += [
        element("th", letter_of(number), f" {name}", scope="col")
        for number, name in enumerate(names)
    ]
    lines = []
    for each in found:
        kind = " ".join(filter(None, [each.kind or each.section, f"for {each.voice}" if each.voice else ""]))
        what = kind if each.kind is None or each.kind == each.section else f"{each.section}: {kind}"
        cells = [element("td", plain(words) if words else NOTHING, class_="words") for words in each.words]
        passes = ", ".join(map(str, each.passes))
        lines.append(element("tr", element("th", plain(what), scope="row"), element("td", each.bars or ""),
                             element("td", passes), *cells))  # fmt: skip
    return _table("What the plans say differently", element("thead", element("tr", *columns)), element("tbody", *lines))


# -- notes and cautions


def comments_section(drawn: Sequence[Drawn], names: Sequence[str], music: Sequence[Music]) -> Markup | None:
    """The notes of the plans and the cautions, each with a link to its bar."""
    made = []
    for number, each in enumerate(drawn):
        if not each.comments:
            continue
        place = next(place for place, one in enumerate(music) if number in one.readings)
        letter = LETTERS[number].lower()
        items = [_comment(comment, letter, music[place], len(drawn) > 1) for comment in each.comments]
        if len(drawn) > 1:
            made.append(element("h3", letter_of(number), f" {names[number]}"))
        made.append(element("ul", *items, class_="comments"))
    return inside(*made) if made else None


def _comment(comment: Comment, letter: str, music: Music, several: bool) -> Markup:
    row = comment.start[0]
    bar = f"bar {music.score.bar_name(row)}"
    links = [
        element("a", bar, class_=f"{paper.name} to-bar", href=f"#{paper.prefix}b{row}", data_bar=row,
                data_reading=letter)
        for paper in music.papers
    ]  # fmt: skip
    number = element("span", f"{letter.upper() * several}{comment.number}", class_="number")
    kind = element("strong", "Caution: ") if comment.caution else None
    kinds = "caution" if comment.caution else "why"
    return element("li", number, *links, " ", kind, plain(comment.text), id=f"said-{letter}{comment.number}",
                   class_=kinds, tabindex=-1)  # fmt: skip
