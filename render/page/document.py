"""The page put together: one file that asks for nothing else."""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Sequence
from importlib.resources import files
from typing import Any

from render.drawing.drawn import Drawn
from render.drawing.style import page_style
from render.page.fonts import font_faces
from render.page.markup import Markup, element, inside, void
from render.page.music import Music, music_section
from render.page.recording import Recording
from render.page.sections import apart_section, comments_section, differences_section, letter_of, measures_section
from render.telling.comparison_words import length
from render.telling.titles import own_title
from render.telling.words import lowering_in_words, plain
from timing.comparing import Comparison
from timing.plan import ROOMS

SCRIPTS = ("numbers", "ranges", "places", "sound", "sheets", "repeats", "player", "blind", "controls", "start")
_COUNTED = {1: "A reading", 2: "Two readings", 3: "Three readings", 4: "Four readings"}
_ROOMS = {"dry": "none, dry", "small": "small", "hall": "hall"}
_GAIN = "All readings play at one gain: what is softer was meant softer."
_SOFTLY = "Begin with the volume low, above all in headphones."


def document(
    title: str, names: Sequence[str], recordings: Sequence[Recording], music: Sequence[Music], drawn: Sequence[Drawn],
    comparison: Comparison, labels: Sequence[str], values: dict[str, Any], room: str,
) -> str:  # fmt: skip
    """The whole page as HTML; it opens in this `room`, unless another one has been chosen before."""
    several = len(names) > 1
    parts = [
        _header(title, names, recordings, drawn),
        element("section", *_listening(names, recordings, several, room), class_="listening",
                aria_labelledby="listening"),
        _section("music", "The music", _legend(several), music_section(music, drawn)),
    ]  # fmt: skip
    apart = apart_section(comparison)
    if apart:
        parts.append(_section("apart", "Not the same music everywhere", apart))
    parts.append(_section("phrases", "Phrase by phrase", measures_section(comparison, names, labels), tells=True))
    if several:
        said = differences_section(comparison, names)
        parts.append(_section("plans", "What the plans say differently", said, tells=True))
    if comments := comments_section(drawn, names, music):
        parts.append(_section("notes", "Notes and cautions", comments, tells=True))
    body = inside(element("main", *parts), _player(names, several))
    return _whole(title, body, values)


def _section(name: str, heading: str, *inner: Markup | None, tells: bool = False) -> Markup:
    """A section with its heading; what `tells` which reading is which is hidden while one listens blind."""
    return element("section", element("h2", heading, id=name), *inner, class_=f"part-{name}{' tells' * tells}",
                   aria_labelledby=name)  # fmt: skip


def _whole(title: str, body: Markup, values: dict[str, Any]) -> str:
    style = font_faces(body) + page_style() + _file("page.css")
    script = '"use strict";\n(() => {\n' + "\n".join(_file(f"{name}.js") for name in SCRIPTS) + "})();\n"
    data = json.dumps(values, ensure_ascii=True, allow_nan=False, separators=(",", ":")).replace("<", "\\u003c")
    policy = (
        f"default-src 'none'; script-src '{_hash(script)}'; style-src '{_hash(style)}'; img-src data:; "
        "media-src data: blob:; font-src data:; connect-src 'none'; base-uri 'none'; form-action 'none'"
    )
    head = inside(
        void("meta", charset="utf-8"),
        void("meta", http_equiv="Content-Security-Policy", content=policy),
        void("meta", name="viewport", content="width=device-width, initial-scale=1"),
        void("meta", name="color-scheme", content="light dark"),
        element("title", title),
        void("link", rel="icon", href="data:,"),
        element("style", Markup(style)),
    )
    scripts = inside(
        element("script", Markup(data), type="application/json", id="values"), element("script", Markup(script))
    )
    return f"<!DOCTYPE html>\n{element('html', element('head', head), element('body', body, scripts), lang='en')}\n"


def _file(name: str) -> str:
    return files(__package__).joinpath("files", name).read_text(encoding="utf-8")


def _hash(text: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


# -- the parts


def _header(title: str, names: Sequence[str], recordings: Sequence[Recording], drawn: Sequence[Drawn]) -> Markup:
    several = len(names) > 1
    listed = []
    for number, (name, recording, each) in enumerate(zip(names, recordings, drawn, strict=True)):
        own = own_title(plain(each.title), title)
        more = inside(", ", element("i", own)) if own not in ("", name) else None
        letter = inside(letter_of(number), " ") if several else None
        listed.append(element("li", letter, element("span", name, class_="who"), more, ", ", length(recording.seconds)))
    counted = element("p", _COUNTED[len(names)], class_="counted")
    return element("header", element("h1", title), counted, element("ul", *listed, class_="readings tells"))


def _legend(several: bool) -> Markup:
    which = ", a letter and a colour for each reading" if several else ""
    return element(
        "p", f"Over the staff the pace: the thin line is the basic tempo, under it the music gives way{which}. "
        "Under the staff the level: the wider, the louder. A curve that is dashed is a later pass. ",
        element("span", "Touch a bar to go there; touch it again for its next pass.", class_="script"), class_="small",
    )  # fmt: skip


def _listening(names: Sequence[str], recordings: Sequence[Recording], several: bool, room: str) -> list[Markup]:
    sounds = [
        element("figure", element("figcaption", *([letter_of(number), " "] if several else []), name),
                element("audio", controls=True, preload="metadata", src=_data(recording), aria_label=name))
        for number, (name, recording) in enumerate(zip(names, recordings, strict=True))
    ]  # fmt: skip
    lowered = recordings[0].lowered
    less = [f"The sound is {lowering_in_words(lowered, len(recordings))}."] if lowered else []
    said = " ".join([*[_GAIN] * several, *less, _SOFTLY])
    made = [element("h2", "Listening", id="listening"), element("p", said, class_="small")]
    return [*made, element("div", *sounds, class_="sounds"), _ways(several, room)]


def _data(recording: Recording) -> str:
    return "data:audio/mpeg;base64," + base64.b64encode(recording.mp3).decode("ascii")


def _ways(several: bool, room: str) -> Markup:
    """What the script adds: rooms, listening blind, and the keys."""
    keys = [("Space", "play or pause"), ("← →", "a bar back or on"), ("Home", "to the beginning")]
    letters = [("A to D", "another reading")] * several + [("R", "repeat the phrase that is heard")]
    shown = [inside(element("dt", key), element("dd", what)) for key, what in (*keys, *letters)]
    switch = element("label", void("input", type="checkbox", id="letters", checked=True), " single letters are keys",
                     class_="check")  # fmt: skip
    help_ = element("details", element("summary", "Keys"), element("dl", *shown), switch, class_="keys")
    choices = [element("option", _ROOMS.get(name, name), value=name, selected=name == room) for name in ROOMS]
    rooms = element("label", "Room ", element("select", *choices, id="room"), class_="check")
    blind = element("button", "Listen blind", type="button", id="blind") if several else None
    game = element("div", id="game", class_="game", hidden=True) if several else None
    return element("div", rooms, blind, game, help_, class_="ways script")


def _player(names: Sequence[str], several: bool) -> Markup:
    """The bar at the foot of the page, which the script shows."""
    choices = [
        element("label", void("input", type="radio", name="reading", value=number, checked=number == 0),
                element("span", letter_of(number), element("span", f" {name}", class_="name"), class_="choice"))
        for number, name in enumerate(names)
    ]  # fmt: skip
    play = element("button", element("span", "", class_="sign", aria_hidden="true"),
                   element("span", "Play", class_="unseen"), type="button", id="play")  # fmt: skip
    legend = element("legend", "Which reading plays", class_="unseen")
    which = element("fieldset", legend, *choices, class_="which", hidden=not several)
    place = element("p", id="place", class_="place")
    slider = void("input", type="range", id="bar", min=0, max=0, value=0, step=1, aria_label="Bar")
    choice = element("select", id="repeat", aria_label="Repeat")
    repeat = element("label", element("span", "Repeat", class_="what"), choice, class_="repeat")
    time = element("select", id="time", aria_label="Pass", hidden=True)
    ends = element("span", _end("from", "from bar"), _end("until", "to bar"), time, class_="ends", id="ends",
                   hidden=True)  # fmt: skip
    turns = element("label", void("input", type="checkbox", id="turns"), " by turns", class_="check turns", hidden=True)
    again = element("div", repeat, turns if several else None, ends, class_="again")
    notice = element("p", id="notice", class_="notice", aria_hidden="true", hidden=True)
    said = element("p", id="said", class_="unseen", role="status")
    return element("section", notice, play, which, element("div", place, slider, class_="where"), again, said,
                   class_="player", aria_label="Player")  # fmt: skip


def _end(name: str, label: str) -> Markup:
    return element("label", f"{label} ", void("input", type="text", id=name, size=4, autocomplete="off"))
