"""What all tests share: the scores that were read, the banks that were built, and how often a law is tried."""

from __future__ import annotations

import os
import shutil
import signal
import sys
from tempfile import mkdtemp

import pytest
from hypothesis import HealthCheck, settings

# No deadlines: what else the machine does is no fault of ours. HYPOTHESIS_PROFILE=thorough looks further.
settings.register_profile("quick", max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("thorough", settings.get_profile("quick"), max_examples=1000)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "quick"))


def pytest_configure(config: pytest.Config) -> None:
    """An interrupt is heard. All processes of a session have one cache, which nobody had before and which goes with
    them: each score is read once, each bank built once. What is compiled is kept."""
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:  # begun in the background: all that it begins would ignore it
        signal.signal(signal.SIGINT, signal.default_int_handler)
    if sys.dont_write_bytecode:  # or each worker, and each process that a test begins, compiles everything anew
        sys.dont_write_bytecode = False
        os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    if not hasattr(config, "workerinput"):  # a worker finds that of the process that began it
        os.environ["LENTANDO_CACHE"] = cache = mkdtemp(prefix="lentando-tests-")
        os.environ["LENTANDO_SETTINGS"] = os.path.join(cache, "settings")
        config.add_cleanup(lambda: shutil.rmtree(cache, ignore_errors=True))


def pytest_xdist_auto_num_workers() -> int:
    """One worker more than there are processors: the tests of the browser and of processes mostly wait."""
    return (len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1) + 1


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Whatever asks for the browser has its mark: `-m "not browser"` leaves these tests out."""
    for item in items:
        if "browser" in item.fixturenames:
            item.add_marker("browser")
