"""The server of a sitting: who is let in, what is served, and that no message can harm it."""

from __future__ import annotations

import http.client
import json
import socket

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sittings import Wire, rehearsed, written
from websockets.exceptions import ConnectionClosed, InvalidStatus
from websockets.sync.client import connect

from render.rehearse.server import open_port, page_files
from render.rehearse.wire import MOST_BYTES, Hear, TextWish, understood
from timing.remarks import CannotDo


@pytest.fixture(scope="module")
def sitting(tmp_path_factory):
    with rehearsed(written(tmp_path_factory.mktemp("server"))) as process:
        yield process


def asked(sitting, path: str, method: str = "GET", **headers: str) -> http.client.HTTPResponse:
    connection = http.client.HTTPConnection("127.0.0.1", sitting.port, timeout=30)
    connection.request(method, path, headers={key.replace("_", "-"): value for key, value in headers.items()})
    response = connection.getresponse()
    response.body = response.read()
    return response


def test_the_page_and_its_files_are_there_for_whoever_has_the_address(sitting):
    page = asked(sitting, f"/{sitting.token}/")
    assert page.status == 200 and b"Tern Ledge" in page.body
    names = page_files()
    assert {"start.js", "link.js", "sounding.js", "worklet.js", "transport.js"} <= names.keys()
    for name, (content, kind) in names.items():
        file = asked(sitting, f"/{sitting.token}/files/{name}")
        assert file.status == 200 and file.body == content and file.getheader("content-type").startswith(kind)
        assert file.getheader("cache-control") == "no-store" and file.getheader("x-content-type-options") == "nosniff"


def test_the_policy_lets_nothing_from_elsewhere_in(sitting):
    policies = [asked(sitting, f"/{sitting.token}/").getheader("content-security-policy") for _ in range(2)]
    rules = dict(part.strip().split(" ", 1) for part in policies[0].split(";"))
    assert rules["default-src"] == "'none'" and rules["script-src"] == "'self'" and rules["frame-ancestors"] == "'none'"
    assert rules["connect-src"] == f"'self' ws://127.0.0.1:{sitting.port}"
    assert "unsafe" not in policies[0] and policies[0] != policies[1]  # each page has a nonce of its own


@pytest.mark.parametrize("path", ["/", "/x/", "/{short}/", "/{token}x/", "//{token}/", "/x/files/start.js", "/x/wire"])
def test_without_the_token_nothing_is_served(sitting, path):
    path = path.format(token=sitting.token, short=sitting.token[:-1])
    answer = asked(sitting, path)
    assert answer.status == 403 and answer.body == b""


@pytest.mark.parametrize("name", ["../server.py", "%2e%2e/server.py", "..%2fserver.py", "/etc/passwd", "", "nothing.js",
                                  "start.js/", "start.js%00", "__init__.py", "....//server.py"])  # fmt: skip
def test_no_path_is_ever_taken_from_a_browser(sitting, name):
    assert asked(sitting, f"/{sitting.token}/files/{name}").status == 404


@pytest.mark.parametrize("host", ["localhost", "evil.example", "127.0.0.1", "127.0.0.1:1", "127.0.0.1.evil.example"])
def test_another_name_for_this_machine_is_refused(sitting, host):
    assert asked(sitting, f"/{sitting.token}/", Host=host).status == 421


def test_another_page_is_refused(sitting):
    assert asked(sitting, f"/{sitting.token}/", Origin="http://evil.example").status == 403
    assert asked(sitting, f"/{sitting.token}/", Origin=f"http://127.0.0.1:{sitting.port}").status == 200


def test_there_is_nothing_to_be_written_to(sitting):
    for method in ("POST", "PUT", "DELETE", "OPTIONS"):
        assert asked(sitting, f"/{sitting.token}/", method).status == 405


@pytest.mark.parametrize(
    ("token", "origin", "host"),
    [
        ("{token}", None, None), ("{token}", "http://evil.example", None), ("{token}", "null", None),
        ("{token}", "http://127.0.0.1", None), ("{token}", "https://127.0.0.1:{port}", None), ("x", "{own}", None),
        ("{token}", "{own}", "evil.example"),
    ],
)  # fmt: skip
def test_the_wire_is_for_this_page_alone(sitting, token, origin, host):
    words = {"token": sitting.token, "port": sitting.port, "own": f"http://127.0.0.1:{sitting.port}"}
    headers = {"Host": host} if host else {}
    with pytest.raises((InvalidStatus, ConnectionClosed)) as refused, connect(
        f"ws://127.0.0.1:{sitting.port}/{token.format(**words)}/wire", origin=origin and origin.format(**words),
        additional_headers=headers, proxy=None,
    ) as wire:  # fmt: skip
        wire.recv(timeout=10)
    if isinstance(refused.value, InvalidStatus):
        assert refused.value.response.status_code in (403, 421, 400)


def test_two_pages_are_told_the_same_and_one_that_comes_later_too(sitting):
    with Wire(sitting) as one, Wire(sitting) as two:
        first = [page.until("whole", number=0) for page in (one, two)]
        assert first[0] == first[1]
        one.say(do="text", text=(changed := one_text(one) + "# once more\n"), number=one_number(one))
        saved = [page.until("saved", text=changed) for page in (one, two)]
        assert saved[0] == saved[1]
        for page in (one, two):
            page.until("whole", number=saved[0]["number"])
        with Wire(sitting) as late:
            assert late.next()["is"] == "hello"
            assert late.until("saved")["number"] == saved[0]["number"]
            late.until("whole", number=saved[0]["number"])


def one_text(page: Wire) -> str:
    return next(each["text"] for each in reversed(page.told) if each["is"] == "saved")


def one_number(page: Wire) -> int:
    return next(each["number"] for each in reversed(page.told) if each["is"] == "saved")


HOSTILE = [
    "", "no json", "null", "[]", "1", '"hear"', "{}", '{"do": "hear"}', '{"do": "nothing"}', '{"do": 1}',
    '{"do": "hear", "reading": 0, "number": 0, "second": NaN, "playing": true}',
    '{"do": "hear", "reading": 0, "number": 0, "second": 1e999, "playing": true}',
    '{"do": "hear", "reading": 0, "number": 0, "second": -1, "playing": true}',
    '{"do": "hear", "reading": 7, "number": 0, "second": 1, "playing": true}',
    '{"do": "hear", "reading": 0, "number": -1, "second": 1, "playing": true}',
    '{"do": "hear", "reading": 0, "number": 99999999999999999999, "second": 1, "playing": true}',
    '{"do": "hear", "reading": true, "number": 0, "second": 1, "playing": 1}',
    '{"do": "hear", "reading": 0, "number": 0, "second": 1, "playing": true, "more": 1}',
    '{"do": "text", "text": 5}', '{"do": "text", "text": "x", "number": "0"}', '{"do": "text"}',
    '{"do": "back", "to": 1e300}', '{"do": "back", "to": 77777}', '{"do": "settle", "keep": "both"}',
    '{"do": "settle", "keep": "ours"}', '{"do": "undo", "undo": true}', '{"do": "paper", "paper": "../../etc"}',
    '{"do": "change", "number": 0, "change": []}', '{"do": "change", "number": 0, "change": {}}',
    '{"do": "change", "number": 9999, "change": {"what": "remove"}}',
    '{"do": "change", "number": 0, "change": {"what": "settings", "section": "slowing", "line": -4, "keys": []}}',
    '{"do": "change", "number": 0, "change": {"what": "depth", "section": "x", "line": 1e99, "column": 1, "to": {}}}',
    '{"do": "change", "number": 0, "change": {"what": "mend", "index": 100000}}',
    '{"do": "offers", "asked": 1, "at": {"row": 100000, "offset": 1, "pass": null}, "until": null}',
    '{"do": "offers", "asked": 1, "at": {"row": 0, "offset": -1, "pass": null}}',
    '{"do": "taps"}', '{"do": "taps", "what": "fit", "seconds": ["x"]}', "\x00", "\ufeff{}", "😀",
    '{"do":' * 5_000, "[" * 100_000, '{"do": "text", "text": "\\ud800", "number": 0}',
]  # fmt: skip


def test_no_message_can_harm_it(tmp_path):
    plan = written(tmp_path)
    text = plan.read_text()
    with rehearsed(plan) as process, Wire(process) as page:
        page.until("whole", number=0)
        for message in HOSTILE:
            page.send(message)
        page.send(b"\x01\x02\x03")
        page.say(do="text", text=text + "# still here\n", number=0)
        page.until("whole", number=page.until("saved", text=text + "# still here\n")["number"])
        assert {each["is"] for each in page.told} & {"told"}
        assert plan.read_text() == text + "# still here\n"
        # what is too long ends that page's wire, and no other
        with Wire(process) as other, pytest.raises(ConnectionClosed):
            other.send("x" * (MOST_BYTES + 1))
            while True:
                other.next()
        page.say(do="undo")
        page.until("saved", text=text)
        assert plan.read_text() == text


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4),
    max_leaves=12,
)
keys = st.sampled_from(["number", "second", "text", "reading", "playing", "to", "keep", "change", "at"])
kinds = st.sampled_from(["hear", "text", "change", "offers", "undo", "redo", "back", "settle", "paper", "taps", "x"])


@settings(max_examples=300, suppress_health_check=[HealthCheck.too_slow])
@given(st.dictionaries(keys, json_values), kinds)
def test_what_is_understood_is_within_bounds(values, do):
    wish = understood(json.dumps(values | {"do": do}))
    if isinstance(wish, Hear):
        assert wish.reading in (0, 1) and 0 <= wish.second <= 1e6 and wish.number >= 0 and type(wish.playing) is bool
    if isinstance(wish, TextWish):
        assert type(wish.text) is str and (wish.number is None or type(wish.number) is int)


@given(st.text() | st.binary().map(lambda given: given.decode("latin-1")))
def test_whatever_is_said_is_understood_or_not(message):
    understood(message)


def test_a_port_that_is_taken_is_said_to_be():
    with open_port(0) as opened:
        assert opened.getsockname()[0] == "127.0.0.1"
        with pytest.raises(CannotDo, match="is taken"):
            open_port(opened.getsockname()[1])


def test_it_listens_on_this_machine_alone(sitting):
    own = socket.gethostbyname_ex(socket.gethostname())[2] if socket.gethostname() else []
    for address in {each for each in own if not each.startswith("127.")}:
        with pytest.raises(OSError):
            socket.create_connection((address, sitting.port), timeout=2)
