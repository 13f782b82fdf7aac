"""Sittings for tests: the command in a process of its own, its wire, and its page in a browser."""

from __future__ import annotations

import json
import os
import signal
import struct
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlsplit

import numpy as np
from house import COMMAND, ROOT

PATIENCE = 60  # seconds, for a machine that has much else to do
TUNE = """\
X:1
T:Tern Ledge
M:3/4
L:1/4
Q:1/4=120
K:G
|: G B d | g2 f | e c A | d3 | B/c/ d g | f e/d/ c | B G A |1 G3 :|2 G2 A ||
B d b | a2 g | e/f/ g a | b3 | g d B | c A F | G3 |]
"""
PLAN = """\
title: Tern Ledge
score: tern.abc
instrument: violin
tempo: 120   # as it dances
phrases:
  - {bars: 1-8}
  - {bars: 9-16}
slowing:
  - {rallentando: 7:1 - 8:3, to: 70%, then: a tempo}
"""


def written(folder: Path, text: str = PLAN) -> Path:
    """The tune and a plan in a folder."""
    (folder / "tern.abc").write_text(TUNE, encoding="utf-8")
    plan = folder / "plan.yaml"
    plan.write_text(text, encoding="utf-8")
    return plan


def saved(file: Path, text: str) -> None:
    """As an editor saves: a new file in the place of the old one."""
    new = file.with_suffix(".new")
    new.write_text(text, encoding="utf-8")
    os.replace(new, file)


class Process:
    """`lentando rehearse` as it runs."""

    def __init__(self, *words: object):
        environment = os.environ | {"PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": "1"}
        self._process = subprocess.Popen(
            [*COMMAND, "rehearse", *map(str, words), "--no-browser"], stdout=subprocess.PIPE, stderr=subprocess.PIPE,
            text=True, env=environment,
        )  # fmt: skip
        self.pid = self._process.pid
        assert self._process.stdout is not None
        self.address = self._process.stdout.readline().strip()
        if not self.address:
            raise AssertionError(self._process.stderr.read() if self._process.stderr else "")
        parts = urlsplit(self.address)
        self.port, self.token = parts.port, parts.path.strip("/")

    def leave(self, asked: int = signal.SIGINT) -> tuple[int, str]:
        """Ask it to stop; its status and what it said."""
        if self._process.poll() is None:
            self._process.send_signal(asked)
        _, said = self._process.communicate(timeout=PATIENCE)
        return self._process.returncode, said


@contextmanager
def rehearsed(*words: object) -> Iterator[Process]:
    process = Process(*words)
    try:
        yield process
    finally:
        process.leave()


_HEADER = struct.Struct("<BBHIII")


class Wire:
    """A page without a browser: what it is told, and what it says."""

    def __init__(self, process: Process):
        from websockets.sync.client import connect

        origin = f"http://127.0.0.1:{process.port}"
        self._opened = connect(
            f"ws://127.0.0.1:{process.port}/{process.token}/wire", origin=origin, compression=None, max_size=None,
            proxy=None, open_timeout=PATIENCE, close_timeout=0.5,  # what is not taken any more holds the farewell up
        )  # fmt: skip
        self._socket = self._opened.__enter__()
        self.told: list[dict] = []  # all so far, sound among it
        self.say(do="paper", paper="narrow")

    def close(self) -> None:
        self._opened.__exit__(None, None, None)

    def __enter__(self) -> Wire:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def say(self, **message: object) -> None:
        self._socket.send(json.dumps(message))

    def send(self, message: str | bytes) -> None:
        self._socket.send(message)

    def next(self) -> dict:
        """The next thing that is told; sound as {is, reading, number, first, frames, block}."""
        message = self._socket.recv(timeout=PATIENCE)
        if isinstance(message, str):
            told = json.loads(message)
        else:
            kind, reading, channels, number, first, frames = _HEADER.unpack_from(message)
            assert kind == 1
            block = np.frombuffer(message, "<f4", offset=_HEADER.size).reshape(-1, channels)
            told = {"is": "sound", "reading": reading, "number": number, "first": first, "frames": frames,
                    "block": block}  # fmt: skip
        self.told.append(told)
        return told

    def until(self, kind: str, **values: object) -> dict:
        """Wait until something of a kind is told that has these values."""
        end = time.monotonic() + PATIENCE
        while time.monotonic() < end:
            told = self.next()
            if told["is"] == kind and all(told.get(key) == value for key, value in values.items()):
                return told
        raise AssertionError(f"never told: {kind} {values}")
