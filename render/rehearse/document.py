"""The page of a sitting: its regions, empty until the first message comes, its style and its letters."""

from __future__ import annotations

import json
from importlib.resources import files

from render.drawing.fonts import FACES, MUSIC, WORDS, music_font, words_file
from render.drawing.style import page_style
from render.page.markup import Markup, element, inside, void
from render.sound.rooms import room_values
from render.sound.stems import RATE

_STYLES = {"regular": ("normal", 400), "italic": ("italic", 400), "semibold": ("normal", 600)}
_HOW = "Touch a bar, and choose what happens there; or draw with the hand: brackets, slowdowns, the band of the level."
_HANDS = (
    ("a bracket’s end", "drawn to another note: the phrase changes"),
    ("the bottom of a slowdown", "up or down: how far it slows; sideways: where it ends"),
    ("the band under the staff", "drawn along and up: a crescendo; down: a diminuendo"),
    ("several bars", "drawn over: what can stand in all of them"),
    ("a pair of spectacles", "what there is to say of this place"),
)
_KEYS = (
    ("Tab", "from entry to entry"),
    ("← →", "an entry, or its end, a beat earlier or later; with Shift a bar"),
    ("↑ ↓", "a percent more or less; with Shift five"),
    ("← → on bars", "from bar to bar; with Shift a stretch of them"),
    ("Enter", "what a bar offers; an entry chosen, and once more its form"),
    ("Delete", "take an entry out"),
    ("Escape", "take back what is being drawn; let go"),
    ("Alt", "held while drawing: free of the beats"),
    ("Ctrl Z", "undo; with Shift, do it again"),
)


_JUMPS = (("remarks", "Remarks"), ("states", "States"), ("taps", "Tap it"), ("text", "Text"))


def document(title: str, nonce: str) -> str:
    """The page as HTML. `title` is what the window is called before the first message; the `nonce` is that of the
    policy, for the styles of the editor."""
    head = inside(
        void("meta", charset="utf-8"),
        void("meta", name="viewport", content="width=device-width, initial-scale=1"),
        void("meta", name="color-scheme", content="light dark"),
        void("meta", name="nonce", content=nonce),
        element("title", title),
        void("link", rel="icon", href="data:,"),
        void("link", rel="stylesheet", href="files/rehearse.css"),
        element("script", type="module", src="files/start.js"),
    )
    body = inside(
        element("a", "To play and pause", href="#transport", class_="skip"),
        _header(title),
        element("nav", *(element("a", words, href=f"#{name}") for name, words in _JUMPS), class_="jumps",
                aria_label="Beside the music"),
        element("main", _score(), _desk()),
        element("footer", id="transport", aria_label="Playing", tabindex=-1),
        element("p", id="told", role="status", aria_live="polite"),
    )
    return f"<!DOCTYPE html>\n{element('html', element('head', head), element('body', body), lang='en')}\n"


def _header(title: str) -> Markup:
    return element("header", element("h1", title, id="piece"), element("p", id="reading", class_="subtitle"))


def _score() -> Markup:
    lists = [
        element("dl", *(inside(element("dt", what), element("dd", does)) for what, does in pairs))
        for pairs in (_HANDS, _KEYS)
    ]
    help_ = element("details", element("summary", "By hand, and by keyboard"), *lists, class_="ways")
    return element(
        "section", element("p", _HOW, class_="small how"), help_, element("div", id="music"),
        class_="score-part", aria_label="The music",
    )  # fmt: skip


def _desk() -> Markup:
    """What lies beside the music."""
    return element(
        "div",
        element("section", id="form", aria_labelledby="form-heading", hidden=True),
        element("section", id="remarks", aria_label="Remarks"),
        element("section", id="states", aria_label="Undo, and earlier states"),
        _part("taps", "Tap it"),
        _part("text", "The plan’s text"),
        id="desk",
    )  # fmt: skip


def _part(name: str, heading: str) -> Markup:
    """A part that is unfolded when it is wanted."""
    summary = element("summary", element("h2", heading))
    return element("details", summary, element("div", id=name), class_=f"part {name}-part")


def stylesheet() -> str:
    """The style of the page: its letters, its drawings, and its own."""
    folder = files(__package__).joinpath("files")
    own = "".join(folder.joinpath(f"{name}.css").read_text(encoding="utf-8") for name in ("rehearse", "tapping"))
    return "".join(_face(face) for face in FACES) + _MUSIC_FACE + page_style() + own


def _face(face: str) -> str:
    style, weight = _STYLES[face]
    return (
        f'@font-face{{font-family:"{WORDS}";font-style:{style};font-weight:{weight};'
        f'src:url(serif-{face}.ttf) format("truetype")}}'
    )


_MUSIC_FACE = f'@font-face{{font-family:"{MUSIC}";src:url(music.woff2) format("woff2")}}'


def made_files() -> dict[str, tuple[bytes, str]]:
    """The files of the page that are made: its style, its rooms, and its fonts, whole since any letter may come.
    Content and kind of each, by its name."""
    made = {f"serif-{face}.ttf": (words_file(face).read_bytes(), "font/ttf") for face in FACES}
    made["music.woff2"] = music_font(), "font/woff2"
    made["rooms.json"] = json.dumps(room_values(RATE)).encode(), "application/json"
    return made | {"rehearse.css": (stylesheet().encode(), "text/css")}
