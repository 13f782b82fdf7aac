"""One word for one thing, as the house has it."""

from __future__ import annotations

import ast
from collections import defaultdict
from pathlib import Path

ROOT = Path(__file__).parents[1]
ROOMS = ("timing", "render", "soundfonts")


def test_no_public_class_has_the_name_of_another():
    homes: defaultdict[str, list[str]] = defaultdict(list)
    files = [file for room in ROOMS for file in sorted((ROOT / room).rglob("*.py"))]
    for file in files:
        for node in ast.parse(file.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                homes[node.name].append(str(file.relative_to(ROOT)))
    assert len(files) > 200 and len(homes) > 100
    assert {name: places for name, places in homes.items() if len(places) > 1} == {}
