"""The house as its guide has it: rooms, arrows one way, one home for a name."""

from __future__ import annotations

import ast
from collections import defaultdict
from functools import cache
from graphlib import TopologicalSorter

import pytest
from house import ROOT

FOLDERS = ("timing", "render", "soundfonts")
ROOMS, FLOORS = {"timing": 29, "render": 10}, {"timing": 12, "render": 6}  # at most; a module at the top is a room too
LONGEST = 400  # lines of a module


@cache
def modules() -> dict[str, ast.Module]:
    """Every module by its name."""
    found = {}
    for folder in FOLDERS:
        for file in sorted((ROOT / folder).rglob("*.py")):
            parts = file.relative_to(ROOT).with_suffix("").parts
            name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
            found[name] = ast.parse(file.read_text(encoding="utf-8"))
    return found


def imported(tree: ast.Module) -> set[str]:
    """The modules of the house that a module imports, wherever in it it does."""
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0 and node.module, "imports name the whole module"
            inside = {f"{node.module}.{alias.name}" for alias in node.names} & modules().keys()
            found |= inside or {node.module}
    return found & modules().keys()


def room(module: str) -> str:
    """timing.time of timing.time.pace; the banks are one room."""
    return ".".join(module.split(".")[: 1 if module.startswith("soundfonts") else 2])


@cache
def arrows() -> dict[str, set[str]]:
    """The rooms that each room takes from."""
    made: defaultdict[str, set[str]] = defaultdict(set)
    for module, tree in modules().items():
        made[room(module)] |= {room(other) for other in imported(tree)} - {room(module)}
    return dict(made)


def test_the_arrows_between_folders_go_one_way():
    outside = {
        (here, there) for here, others in arrows().items() for there in others
        if here.split(".")[0] != there.split(".")[0]
    }  # fmt: skip
    pairs = {(here.split(".")[0], there.split(".")[0]) for here, there in outside}
    assert pairs == {("render", "timing"), ("render", "soundfonts"), ("soundfonts", "timing")}
    banks = {there for here, there in outside if here == "soundfonts"}
    assert banks <= {"timing.remarks", "timing.disk"}, "of timing the banks know faults and files alone"


@pytest.mark.parametrize("folder", ROOMS)
def test_rooms_are_few_lie_on_few_floors_and_no_two_need_each_other(folder):
    inside = {here: {each for each in there if each.startswith(folder)} for here, there in arrows().items()}
    inside = {here: there for here, there in inside.items() if here.startswith(folder)}
    floor: dict[str, int] = {}
    for each in TopologicalSorter(inside).static_order():  # CycleError names the rooms of a circle
        floor[each] = 1 + max((floor[below] for below in inside[each]), default=0)
    assert len(floor) <= ROOMS[folder]
    assert max(floor.values()) <= FLOORS[folder]


def test_the_guide_says_of_every_room_what_it_holds():
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    table = guide[guide.index("## Where to look") : guide.index("## Words")]
    lines = [line.split("`")[1] for line in table.splitlines() if line.startswith("| `")]
    rooms = {each.replace(".", "/") for each in arrows() if "." in each or each == "soundfonts"}
    assert sorted(line.removesuffix(".py").rstrip("/") for line in lines) == sorted(rooms)


def test_modules_are_short():
    files = [file for folder in FOLDERS for file in (ROOT / folder).rglob("*.py")]
    assert {file.name for file in files if len(file.read_text(encoding="utf-8").splitlines()) > LONGEST} == set()


def test_tests_lie_where_their_rooms_are():
    rooms = {each.replace(".", "/") for each in arrows()}
    files = [file for folder in FOLDERS for file in (ROOT / "tests" / folder).rglob("test_*.py")]
    places = {str(file.parent.relative_to(ROOT / "tests")) for file in files}
    assert places <= rooms | {"timing", "render"}


def test_no_public_type_has_the_name_of_another():
    """Of classes, and of types that are given a name; what is only said with how it is read, as
    `Range = Annotated[position.Range, BeforeValidator(...)]`, is the same one."""
    homes: defaultdict[str, list[str]] = defaultdict(list)
    for module, tree in modules().items():
        for node in tree.body:
            if isinstance(node, ast.ClassDef):
                homes[node.name].append(module)
            elif isinstance(node, ast.Assign) and not (name := _name(node)).isupper() and name[:1].isupper():
                if f".{name}, BeforeValidator" in ast.unparse(node.value):
                    continue
                homes[name].append(module)
    public = {name: places for name, places in homes.items() if not name.startswith("_")}
    assert len(modules()) > 200 and len(public) > 150
    assert {name: places for name, places in public.items() if len(places) > 1} == {}


@pytest.mark.parametrize("package", ["timing", "render"])
def test_type_checkers_find_every_name_where_it_is_imported_from(package):
    """A package imports its names when they are first used, which no type checker sees: so it says them twice."""
    tree = modules()[package]
    (homes,) = (node.value for node in tree.body if isinstance(node, ast.Assign) and _name(node) == "_HOMES")
    told = [node for branch in tree.body if isinstance(branch, ast.If) for node in branch.body]
    named = [(alias, node) for node in told if isinstance(node, ast.ImportFrom) for alias in node.names]
    seen = {alias.asname: node.module for alias, node in named if alias.asname}
    assert seen == ast.literal_eval(homes)


def _name(assigned: ast.Assign) -> str:
    return ast.unparse(assigned.targets[0])
