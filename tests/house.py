"""Where the house stands, and how its command is begun."""

from __future__ import annotations

import sys
from pathlib import Path

TESTS = Path(__file__).parent
ROOT = TESTS.parent
PLANS = ROOT / "plans"
DEMOS = sorted(PLANS.glob("*.yaml"))
MAIN = "from render.commands.entry import main; main()"
COMMAND = [sys.executable, "-c", MAIN]
