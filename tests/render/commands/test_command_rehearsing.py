"""The command `rehearse`: where its page is, from what, and how it is left."""

from __future__ import annotations

import re
import signal
import socket

import pytest
from doubling import run
from sittings import PLAN, Process, Wire, rehearsed, written

ADDRESS = re.compile(r"http://127\.0\.0\.1:(\d+)/[\w-]{20,}/")


def free_port() -> int:
    with socket.socket() as opened:
        opened.bind(("127.0.0.1", 0))
        return opened.getsockname()[1]


@pytest.mark.parametrize(("asked", "status"), [(signal.SIGINT, 0), (signal.SIGTERM, 143)])
def test_it_says_where_its_page_is_first_and_ends_when_it_is_asked_to(tmp_path, asked, status):
    port = free_port()
    process = Process(plan := written(tmp_path), "--port", port)
    assert ADDRESS.fullmatch(process.address) and process.port == port
    with Wire(process) as page:  # whoever is connected does not hold it up
        page.until("sound")
        left, said = process.leave(asked)
    assert left == status and "Traceback" not in said and "volume low" in said
    assert sorted(file.name for file in tmp_path.iterdir()) == ["plan.yaml", "tern.abc"]
    assert plan.read_text() == PLAN


def test_two_sittings_have_two_addresses(tmp_path):
    plan = written(tmp_path)
    with rehearsed(plan) as one, rehearsed(plan) as two:
        assert one.port != two.port and one.token != two.token
        for process in (one, two):
            with Wire(process) as page:
                assert page.next()["plan"] == "plan.yaml"


def test_a_port_that_is_taken_is_a_clear_error(tmp_path):
    written(tmp_path)
    with socket.socket() as opened:
        opened.bind(("127.0.0.1", 0))
        opened.listen()
        done = run("rehearse", "plan.yaml", "--no-browser", "--port", opened.getsockname()[1], folder=tmp_path)
    assert done.returncode == 2 and "is taken" in done.stderr and done.stdout == ""


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["none.yaml"], "there is no such file"),
        (["none.abc"], "does not exist"),
        (["plan.yaml", "--with", "plan.yaml"], "the plan itself"),
        (["plan.yaml", "--with", "none.yaml"], "there is no such file"),
        (["plan.yaml", "--keep", "none"], "no folder"),
        (["broken.yaml"], "fast"),
        (["plan.yaml", "--port", "70000"], "65535"),
        (["tern.txt"], "no such file"),
    ],
)
def test_what_cannot_be_rehearsed_is_said_before_there_is_a_page(tmp_path, words, said):
    written(tmp_path)
    (tmp_path / "broken.yaml").write_text(PLAN.replace("tempo: 120", "tempo: fast"))
    done = run("rehearse", *words, "--no-browser", folder=tmp_path)
    assert done.returncode == 2 and said in " ".join(done.stderr.split()) and done.stdout == ""
    assert "Traceback" not in done.stderr


def test_for_a_score_a_plan_is_drafted_beside_it_once(tmp_path):
    written(tmp_path).unlink()
    process = Process(tmp_path / "tern.abc")
    with Wire(process) as page:
        assert page.next()["plan"] == "tern.yaml"
        page.until("whole", number=0)
    _, said = process.leave()
    assert "tern.yaml" in said.replace("\n", "")
    draft = (tmp_path / "tern.yaml").read_text()
    assert "score: tern.abc" in draft
    (tmp_path / "tern.yaml").write_text(draft + "# mine\n")
    again = Process(tmp_path / "tern.abc")
    _, said = again.leave()
    assert "is there already" in " ".join(said.split()) and (tmp_path / "tern.yaml").read_text() == draft + "# mine\n"


def test_earlier_states_are_kept_in_a_folder(tmp_path):
    plan, kept = written(tmp_path), tmp_path / "kept"
    kept.mkdir()
    with rehearsed(plan, "--keep", kept) as process, Wire(process) as page:
        page.until("whole", number=0)
        page.say(do="text", text=PLAN + "# one\n", number=0)
        page.until("saved", number=1)
    (file,) = kept.iterdir()
    assert file.read_text() == PLAN and plan.read_text() == PLAN + "# one\n"
