"""The page of a sitting: its regions, which scripts fill."""

from __future__ import annotations

from render.page.markup import Markup, element, inside, void

_REGIONS = ("told", "transport", "states", "music", "form", "remarks", "taps", "text")


def document(title: str, nonce: str) -> str:
    """The page as HTML. `nonce` is what the page's policy lets styles have that the editor makes."""
    head = inside(
        void("meta", charset="utf-8"),
        void("meta", name="viewport", content="width=device-width, initial-scale=1"),
        void("meta", name="color-scheme", content="light dark"),
        void("meta", name="nonce", content=nonce),
        element("title", title),
        void("link", rel="icon", href="data:,"),
        element("script", type="module", src="files/start.js"),
    )
    regions = inside(*(element("section", id=name) for name in _REGIONS))
    body = inside(element("h1", title), element("main", regions))
    return Markup(f"<!DOCTYPE html>\n{element('html', element('head', head), element('body', body), lang='en')}\n")
