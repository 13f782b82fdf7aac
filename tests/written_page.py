"""A page with the plan's text alone: the editor as the browser gets it, and in the place of the server a list of what
it is told. `say` tells the page something, `sent` is what the page has sent."""

from __future__ import annotations

import json
import threading
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

from house import ROOT

FILES = ROOT / "render" / "rehearse" / "files"
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self' 'nonce-tern'; connect-src 'self'; img-src data:; "
    "font-src data: 'self'; worker-src 'self'"
)
PAGE = """<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title>A plan</title>
<meta name="nonce" content="tern"><link rel="icon" href="data:,"><link rel="stylesheet" href="files/page.css"></head>
<body class="alive"><main><h1>A plan</h1><section id="text" aria-label="Text"></section>
<div id="music"></div><p id="told" role="status"></p><button id="after">after</button></main>
<script type="module" src="files/link.js"></script>{scripts}</body></html>"""
LINK = """
const heard = new Map();
globalThis.sent = [];
export const sitting = {};
export const on = (kind, take) => heard.set(kind, [...(heard.get(kind) ?? []), take]);
export const emit = (kind, value) => { for (const take of heard.get(kind) ?? []) take(value); };
export const send = (message) => { globalThis.sent.push(message); };
globalThis.say = (kind, value) => { sitting[kind] = value; emit(kind, value); };
on("select", (value) => globalThis.sent.push({ select: value }));
"""


class _Handler(BaseHTTPRequestHandler):
    scripts: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()

    def do_GET(self):
        name = self.path.rpartition("/")[2]
        if name == "":
            scripts = "".join(f'<script type="module" src="files/{each}"></script>' for each in self.scripts)
            self._give(PAGE.format(scripts=scripts).encode(), "text/html; charset=utf-8")
        elif name == "link.js":
            self._give(LINK.encode(), "text/javascript")
        elif name == "page.css":
            self._give((ROOT / "render/page/files/page.css").read_bytes(), "text/css")
        elif name in self.missing or not (FILES / name).exists():
            self.send_error(404)
        else:
            self._give((FILES / name).read_bytes(), "text/javascript" if name.endswith(".js") else "text/css")

    def _give(self, content: bytes, kind: str) -> None:
        self.send_response(200)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Security-Policy", POLICY)
        self.end_headers()
        self.wfile.write(content)

    def log_message(self, *_):
        pass


@contextmanager
def written_page(browser, *scripts: str, missing: tuple[str, ...] = (), **options):
    """The page with these scripts; what the browser calls a fault fails the test, `missing` files aside."""
    handler = type("Handler", (_Handler,), {"scripts": scripts, "missing": missing})
    server = ThreadingHTTPServer(("127.0.0.1", 0), handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    context = browser.new_context(**{"viewport": {"width": 1000, "height": 800}} | options)
    faults: list[str] = []
    try:
        page = context.new_page()
        page.set_default_timeout(15_000)
        page.on("console", lambda message: faults.append(message.text) if message.type == "error" else None)
        page.on("pageerror", lambda fault: faults.append(str(fault)))
        page.goto(f"http://127.0.0.1:{server.server_port}/")
        yield page
        assert not [fault for fault in faults if not (missing and "404" in fault)]
    finally:
        context.close()
        server.shutdown()
        server.server_close()


def say(page, kind: str, **values) -> None:
    """Let the page hear a message of the server."""
    page.evaluate("([kind, value]) => say(kind, value)", [kind, json.loads(json.dumps(values))])


def sent(page, do: str) -> list[dict]:
    """What the page has sent of a kind."""
    return [message for message in page.evaluate("sent") if message.get("do") == do]


def until(page, holds: str) -> None:
    """Wait until an expression holds in the page, which itself may not make scripts of text."""
    for _ in range(150):
        if page.evaluate(holds):
            return
        page.wait_for_timeout(50)
    raise AssertionError(f"never so: {holds}")


__all__ = ["say", "sent", "until", "written_page"]
