"""The server of a sitting: one page, its files and its wire, for this machine alone and for whoever has the address."""

from __future__ import annotations

import asyncio
import contextlib
import errno
import os
import secrets
import socket
from collections import deque
from collections.abc import Callable, Iterable
from importlib.resources import files
from importlib.resources.abc import Traversable
from types import FrameType
from typing import TYPE_CHECKING

from render.rehearse.desk import Desk
from render.rehearse.document import document, made_files
from render.rehearse.wire import MOST_BYTES
from timing.remarks import CannotDo

if TYPE_CHECKING:
    from starlette.applications import Starlette
    from starlette.requests import Request
    from starlette.responses import Response
    from starlette.types import ASGIApp, Receive, Scope, Send
    from starlette.websockets import WebSocket

HOST = "127.0.0.1"
MOST_PAGES = 20  # at once
_KINDS = {".js": "text/javascript", ".css": "text/css", ".txt": "text/plain"}
_FORBIDDEN, _MISDIRECTED, _BUSY = 403, 421, 1013
_ALWAYS = {
    "Cache-Control": "no-store",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
}


def open_port(port: int) -> socket.socket:
    """A socket that listens on this machine alone; on any port that is free for 0. CannotDo if that one is taken."""
    opened = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if os.name == "posix":  # elsewhere it would let two programs have one port
            opened.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        opened.bind((HOST, port))
        opened.listen()
    except OSError as fault:
        opened.close()
        if fault.errno == errno.EADDRINUSE:
            message, more = f"port {port} is taken by another program", "name another one, or none"
        elif fault.errno == errno.EACCES:
            message, more = f"port {port} may not be used here", "name one above 1023, or none"
        else:
            message, more = f"port {port} cannot be used: {fault.strerror}", "name another one, or none"
        raise CannotDo.because("port-taken", message, suggestion=more) from None
    return opened


def serve(desk: Desk, opened: socket.socket, begun: Callable[[str], None]) -> None:
    """Serve a sitting until somebody interrupts it. `begun` is told the page's address once it can be asked for."""
    import uvicorn

    token = secrets.token_urlsafe(24)
    port = opened.getsockname()[1]
    address = f"http://{HOST}:{port}/{token}/"

    class Server(uvicorn.Server):
        """Ends at once, whoever is still connected."""

        async def startup(self, sockets: list[socket.socket] | None = None) -> None:
            await super().startup(sockets)
            begun(address)

        def handle_exit(self, sig: int, frame: FrameType | None) -> None:
            desk.close()
            super().handle_exit(sig, frame)
            self.force_exit = True

    config = uvicorn.Config(
        application(desk, token, port), log_config=None, log_level="critical", access_log=False, lifespan="off",
        server_header=False, ws="websockets-sansio", ws_max_size=MOST_BYTES, ws_per_message_deflate=False,
        timeout_graceful_shutdown=1, limit_concurrency=None, h11_max_incomplete_event_size=16_384,
    )  # fmt: skip
    asyncio.run(Server(config).serve([opened]))


def application(desk: Desk, token: str, port: int) -> Starlette:
    """What is served, under /TOKEN/: the page, the files that it needs by their names, and the wire."""
    from starlette.applications import Starlette
    from starlette.middleware import Middleware
    from starlette.responses import HTMLResponse, Response
    from starlette.routing import Route, WebSocketRoute

    table = page_files()

    async def page(_: Request) -> Response:
        nonce = secrets.token_urlsafe(16)
        return HTMLResponse(document(desk.title, nonce), headers={"Content-Security-Policy": policy(port, nonce)})

    async def file(request: Request) -> Response:
        found = table.get(request.path_params["name"])
        if found is None:
            return Response(status_code=404)
        content, kind = found
        return Response(content, media_type=kind)

    async def wire(socket_: WebSocket) -> None:
        await _wire(desk, socket_)

    routes = [Route(f"/{token}/", page), Route(f"/{token}/files/{{name:path}}", file)]
    guard = Middleware(Guard, token=token, port=port)
    return Starlette(routes=[*routes, WebSocketRoute(f"/{token}/wire", wire)], middleware=[guard])


def policy(port: int, nonce: str) -> str:
    """The Content-Security-Policy of the page."""
    return (
        f"default-src 'none'; script-src 'self'; style-src 'self' 'nonce-{nonce}'; "
        f"connect-src 'self' ws://{HOST}:{port}; img-src data:; font-src data: 'self'; worker-src 'self'; "
        "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    )


def page_files() -> dict[str, tuple[bytes, str]]:
    """All files that a page may ask for, by name: content and kind. They are read once, and nothing else is."""
    return dict(_read(files(__package__).joinpath("files"), "")) | made_files()


def _read(folder: Traversable, before: str) -> Iterable[tuple[str, tuple[bytes, str]]]:
    for each in folder.iterdir():
        if each.is_dir():
            yield from _read(each, f"{before}{each.name}/")
        elif kind := _KINDS.get(os.path.splitext(each.name)[1]):
            yield f"{before}{each.name}", (each.read_bytes(), kind)


class Guard:
    """Lets nothing through but what this page itself asks for: by the right name of the machine, with the token, and
    over the wire from no other page."""

    def __init__(self, app: ASGIApp, token: str, port: int):
        self._app, self._token = app, token.encode()
        self._host, self._origin = f"{HOST}:{port}".encode(), f"http://{HOST}:{port}".encode()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        from starlette.responses import Response

        given = [(name, value) for name, value in scope["headers"] if name in (b"host", b"origin")]
        hosts = [value for name, value in given if name == b"host"]
        origins = [value for name, value in given if name == b"origin"]
        token = scope["path"].split("/")[1] if scope["path"].startswith("/") else ""
        status = 200
        if hosts != [self._host]:
            status = _MISDIRECTED
        elif not (secrets.compare_digest(token.encode(errors="replace"), self._token) and self._ours(scope, origins)):
            status = _FORBIDDEN
        if status == 200:
            await self._app(scope, receive, _with_headers(send))
        elif scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 1008})
        else:
            await Response(status_code=status, headers=_ALWAYS)(scope, receive, send)


    def _ours(self, scope: Scope, origins: list[bytes]) -> bool:
        """Whether it comes from this page: of the wire that must be said, else nothing else may be."""
        if scope["type"] == "websocket":
            return origins == [self._origin]
        return all(origin == self._origin for origin in origins)


def _with_headers(send: Send) -> Send:
    async def sent(message: dict) -> None:
        if message["type"] == "http.response.start":
            headers = [(name.lower().encode(), value.encode()) for name, value in _ALWAYS.items()]
            message = {**message, "headers": [*message["headers"], *headers]}
        await send(message)

    return sent  # type: ignore[return-value]  # messages are mappings


# -- the wire


async def _wire(desk: Desk, connection: WebSocket) -> None:
    """One page: what is newest goes out at its pace, and what it wishes comes in."""
    from starlette.websockets import WebSocketDisconnect

    if desk.pages >= MOST_PAGES:
        await connection.close(_BUSY)
        return
    await connection.accept()
    loop, news = asyncio.get_running_loop(), asyncio.Event()
    own: deque[str] = deque(maxlen=100)  # answers for this page alone

    def wake() -> None:
        with contextlib.suppress(RuntimeError):  # the server has ended
            loop.call_soon_threadsafe(news.set)

    def answer(message: str) -> None:
        own.append(message)
        wake()

    async def out() -> None:
        await connection.send_text(desk.hello())
        serial = 0
        while True:
            news.clear()
            while own:
                await connection.send_text(own.popleft())
            if (told := desk.board.after(serial)) is None:
                await news.wait()
                continue
            serial, content = told
            await (connection.send_bytes(content) if isinstance(content, bytes) else connection.send_text(content))

    with desk.page(wake, answer) as page:
        sending = asyncio.create_task(out())
        try:
            while True:
                message = await connection.receive()
                if message["type"] == "websocket.disconnect":
                    break
                desk.take(page, message.get("text"))
        except WebSocketDisconnect:
            pass
        finally:
            sending.cancel()
            with contextlib.suppress(asyncio.CancelledError, Exception):
                await sending
