"""Every code that a reading can be told has a page: the codes in the sources, what is said of them, their examples."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path

import pytest
from house import PLANS
from judged import mended

import timing
from soundfonts import guitar
from timing.cautions import check
from timing.cautions.accepting import UNMATCHED
from timing.cautions.rules import RULES, Rule
from timing.plan import Plan
from timing.plan.yamltext import parse
from timing.reader import read_score
from timing.reading import perform
from timing.remarks import Remark

SOURCES = Path(timing.__file__).parent
OURS = ("timing.cautions.hands", "timing.cautions.open_strings", "timing.cautions.slides")
MET = [rule for rule in RULES if rule.find is None and rule.code != UNMATCHED]  # which is tested with acceptances
MINE = MET + [rule for rule in RULES if rule.find is not None and rule.find.__module__ in OURS]
SHOWN = [rule for rule in MINE if rule.example.startswith("score:")]


# -- the codes that the sources hold

# Calls that make a remark: the name of the function, and where its code stands among the arguments. Two tell later:
# _add of string_remarks, and remember of the slips of a file.
MAKERS = {"Remark": 1, "remark": 1, "remark_at": 1, "_add": 0, "remember": 0}


def calls(tree: ast.AST) -> Iterator[tuple[list[ast.FunctionDef], ast.Call]]:
    """Every call, with the functions that it stands in."""
    waiting: list[tuple[list[ast.FunctionDef], ast.AST]] = [([], tree)]
    while waiting:
        inside, node = waiting.pop()
        if isinstance(node, ast.Call):
            yield inside, node
        inner = [*inside, node] if isinstance(node, ast.FunctionDef) else inside
        waiting += [(inner, child) for child in ast.iter_child_nodes(node)]


def called(call: ast.Call) -> str:
    return call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")


def is_error(call: ast.Call) -> bool:
    return any(isinstance(arg, ast.Attribute) and arg.attr == "ERROR" for arg in call.args)


def argument(call: ast.Call, place: int) -> ast.expr | None:
    named = {word.arg: word.value for word in call.keywords}
    return call.args[place] if place < len(call.args) else named.get("code")


def parameters(function: ast.FunctionDef) -> list[str]:
    return [arg.arg for arg in function.args.args if arg.arg not in ("self", "cls")]


def codes_of(text: str, makers: dict[str, int]) -> tuple[set[str], dict[str, int]]:
    """The codes of advice and cautions in a module, and its functions that hand a code on to a maker of remarks."""
    tree, found, more = ast.parse(text), set(), {}
    constants = {
        target.id: node.value.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Assign) and isinstance(node.value, ast.Constant)
        for target in node.targets
        if isinstance(target, ast.Name)
    }
    for inside, call in calls(tree):
        place = makers.get(called(call))
        code = argument(call, place) if place is not None and not is_error(call) else None
        if isinstance(code, ast.Constant) and isinstance(code.value, str):
            found.add(code.value)
        elif isinstance(code, ast.Name) and code.id in constants:
            found.add(constants[code.id])
        elif isinstance(code, ast.Name):
            more |= {f.name: parameters(f).index(code.id) for f in inside if code.id in parameters(f)}
    return found, more


def all_codes(texts: list[str]) -> frozenset[str]:
    """The same for several modules. A function that hands codes on is known to all of them, unless its name begins with
    an underscore."""
    makers = [dict(MAKERS) for _ in texts]
    while True:  # until no function is found that hands codes on
        found = [codes_of(text, own) for text, own in zip(texts, makers, strict=True)]
        shared = {name: place for _, more in found for name, place in more.items() if not name.startswith("_")}
        grown = [shared | more | own for own, (_, more) in zip(makers, found, strict=True)]
        if grown == makers:
            return frozenset().union(*(codes for codes, _ in found))
        makers = grown


@lru_cache
def codes_in_sources() -> frozenset[str]:
    return all_codes([path.read_text() for path in sorted(SOURCES.rglob("*.py"))])


def test_every_code_has_a_page():
    assert codes_in_sources() - {rule.code for rule in RULES} == set()


def test_every_page_has_a_code():
    assert {rule.code for rule in RULES} - codes_in_sources() == set()


def test_no_code_has_two_pages():
    codes = [rule.code for rule in RULES]
    assert sorted(codes) == sorted(set(codes))


@pytest.mark.parametrize(
    ("text", "codes"),
    [
        ("where.remark(Severity.CAUTION, 'a-b', text, None)", {"a-b"}),
        ("where.remark(Severity.ERROR, 'a-b', text, None)", set()),
        ("def f(code, what):\n    where.remark(ADVICE, code, what, None)\nf('c', 'd-e')", {"c"}),
        ("def f(self, row, code):\n    self.g(code)\ndef g(self, code):\n    Remark(A, code)\nx.f(1, 'c')", {"c"}),
        ("def f(code):\n    def g(row):\n        Remark(A, code)\nf('c')", {"c"}),
        ("CODE = 'c'\nRemark(Severity.ADVICE, CODE, 'message')", {"c"}),
    ],
)
def test_codes_are_found_in_sources(text, codes):
    assert all_codes([text]) == codes


def test_functions_of_one_name_in_two_modules():
    first = "def _tell(row, code):\n    Remark(A, code)\n_tell(1, 'c')\nshout(1, 2, 'f')"
    second = "def _tell(code):\n    Remark(A, code)\n_tell('d')\ndef shout(a, b, code):\n    Remark(A, code)"
    assert all_codes([first, second]) == {"c", "d", "f"}


# -- what is said of them


@pytest.mark.parametrize("rule", MINE, ids=lambda rule: rule.code)
def test_all_there_is_to_say(rule):
    assert rule.why.endswith(".") and ". " not in rule.why and rule.why[0].isupper()
    assert rule.example and rule.threshold and rule.source
    said = " ".join((rule.why, rule.threshold, rule.source, rule.mends))
    assert not re.search(r"\bwrong\b", said)
    assert not rule.threshold.endswith(".") and not rule.source.endswith(".")


@lru_cache
def _score(name: str):
    return read_score(PLANS / name)


def told(rule: Rule, plan: dict) -> list[Remark]:
    made = perform(_score(plan["score"]), Plan.model_validate(plan))
    return [remark for remark in check(made, guitar) if remark.code == rule.code]


@pytest.mark.parametrize("rule", SHOWN, ids=lambda rule: rule.code)
def test_an_example_earns_its_code_and_is_mended_if_it_can_be(rule):
    plan, faults = parse(Path("plan.yaml"), rule.example)
    assert faults == []
    remarks = told(rule, dict(plan))
    assert remarks and (bool(rule.mends) or not any(remark.fix for remark in remarks))
    if rule.mends:
        plan, count = dict(plan), len(remarks)
        while fixable := [remark for remark in remarks if remark.fix]:
            plan = mended(plan, fixable[0])
            remarks = told(rule, plan)
            assert len(remarks) < count
            count = len(remarks)
        assert not remarks or rule.code == "tone-too-quick"  # not every change has a place nearby


def test_most_examples_are_plans():
    words = {rule.code for rule in MINE} - {rule.code for rule in SHOWN}
    assert words.isdisjoint({rule.code for rule in RULES if rule.find is not None})
