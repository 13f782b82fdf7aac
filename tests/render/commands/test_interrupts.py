"""Being asked to stop, wherever Python happens to be."""

import subprocess
import sys

import pytest

# In a destructor and in a callback Python throws away what is raised: an interrupt that falls there would be lost.
PLACES = {
    "destructor": """
class Held:
    def __del__(self):
        signal.raise_signal(ASKED)
        time.sleep(0.1)

held = Held()
del held
""",
    "callback": """
class Held:
    pass

def gone(_):
    signal.raise_signal(ASKED)
    time.sleep(0.1)

held = Held()
watch = weakref.ref(held, gone)
del held
""",
}
SCRIPT = """
import signal, sys, time, weakref
from render.commands.interrupts import heed_interrupts

ASKED = signal.{asked}
heed_interrupts()
try:
{place}
    time.sleep(20)
    print("never heard")
except KeyboardInterrupt:
    print("interrupted")
except SystemExit as left:
    print("left with", left.code)
"""


def _run(asked: str, place: str) -> subprocess.CompletedProcess:
    script = SCRIPT.format(asked=asked, place=PLACES[place].replace("\n", "\n    "))
    return subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, timeout=60)


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize(("asked", "heard"), [("SIGINT", "interrupted"), ("SIGTERM", "left with 143")])
def test_a_wish_to_stop_is_never_lost(asked, heard, place):
    run = _run(asked, place)
    assert run.stdout.strip() == heard
    assert run.stderr == ""


def test_other_faults_of_a_destructor_are_still_told():
    script = (
        "from render.commands.interrupts import heed_interrupts\n"
        "heed_interrupts()\n"
        "class Held:\n"
        "    def __del__(self):\n"
        "        raise OSError('the disk is gone')\n"
        "held = Held()\n"
        "del held\n"
    )
    run = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, timeout=60)
    assert "the disk is gone" in run.stderr
