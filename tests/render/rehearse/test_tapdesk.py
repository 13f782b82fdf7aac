"""Who asks about taps is answered, whatever becomes of them, and the work elsewhere goes on meanwhile."""

from __future__ import annotations

import json
from queue import Queue
from threading import Event
from types import SimpleNamespace

import numpy as np
import pytest
from support import reading

from render.rehearse import taps
from render.rehearse.tapdesk import TapDesk
from timing.remarks import CannotDo

ASKED = {"do": "taps", "what": "fit", "seconds": (0.8 * np.arange(32)).tolist()}


@pytest.fixture
def desk():
    return TapDesk(SimpleNamespace(reading=reading({"tempo": 60})))


def answered(desk: TapDesk, message: dict) -> dict:
    answers: Queue[str] = Queue()
    desk.take(message, answers.put)
    return json.loads(answers.get(timeout=60))


def test_taps_are_answered_with_what_they_come_to(desk):
    told = answered(desk, ASKED)
    assert (told["is"], told["what"]) == ("taps", "fit")
    assert told["entries"][0]["words"] == "tempo 75"


@pytest.mark.parametrize("message", [{"do": "taps", "what": "fit", "seconds": [1.0]}, {"do": "taps", "what": "steal"}])
def test_a_refusal_is_told_and_the_next_is_looked_at(desk, message):
    told = answered(desk, message)
    assert told["what"] == "refused" and told["words"]
    assert answered(desk, ASKED)["what"] == "fit"


def test_a_fault_of_ours_is_told_too(desk, monkeypatch):
    def fails(*_):
        raise ZeroDivisionError("by nothing")

    with monkeypatch.context() as patched:
        patched.setattr(taps, "answer", fails)
        told = answered(desk, ASKED)
    assert told["what"] == "refused" and "ZeroDivisionError" in told["words"]
    assert answered(desk, ASKED)["what"] == "fit"


def test_who_asks_again_before_the_answer_has_to_wait(desk, monkeypatch):
    begun, go = Event(), Event()

    def slow(*_):
        begun.set()
        go.wait(60)
        raise CannotDo.because("taps", "done")

    monkeypatch.setattr(taps, "answer", slow)
    first: Queue[str] = Queue()
    desk.take(ASKED, first.put)
    assert begun.wait(60)
    assert "a moment more" in answered(desk, ASKED)["words"]
    go.set()
    assert json.loads(first.get(timeout=60))["words"] == "done"


def test_what_was_taken_is_put_into_the_newest_state_by_the_worker(tmp_path):
    (tmp_path / "quay.musicxml").write_text("")
    put: list[tuple[int, str, str]] = []
    tasks: Queue = Queue()
    text = "score: quay.musicxml\ntempo: 60\n"
    sitting = SimpleNamespace(changed=lambda *change: put.append(change))
    made = reading({"tempo": 60})
    rehearsal = SimpleNamespace(
        reading=made, performed=(7, text, made), plan=tmp_path / "plan.yaml", sitting=sitting,
        put=lambda make: make(), worker=SimpleNamespace(do=tasks.put),
    )  # fmt: skip
    TapDesk(rehearsal).take({**ASKED, "what": "take", "take": ["tempo 75"]}, print)
    tasks.get(timeout=60)()
    assert put == [(7, "score: quay.musicxml\ntempo: 75\n", "tapped")]
