"""YAML as plans have it: values that know their place, and everything that could surprise refused in plain words."""

from __future__ import annotations

import codecs
import math
from pathlib import Path

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from ruamel.yaml import YAML
from ruamel.yaml.error import YAMLError

from timing.plan.yamltext import MAX_BYTES, MAX_DEPTH, MAX_FAULTS, MAX_VALUES, parse, read_text
from timing.remarks import CannotDo

FILE = Path("plan.yaml")


def value(text: str):
    made, faults = parse(FILE, text)
    assert not faults
    return made


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("7:30", "7:30"),  # 450 in YAML 1.1
        ("yes", "yes"),
        ("no", "no"),
        ("on", "on"),
        ("true", True),
        ("False", False),
        ("null", None),
        ("~", None),
        ("", None),
        ("010", 10),  # 8 in YAML 1.1
        ("0x1F", "0x1F"),
        ("0o17", "0o17"),
        ("1_000", "1_000"),
        ("2024-01-01", "2024-01-01"),
        ("1.50", 1.5),
        (".5", 0.5),
        ("1e3", 1000.0),
        ("1e999", math.inf),
        ("-.inf", -math.inf),
        ("'7'", "7"),
        ('"true"', "true"),
        ("9" * 25, "9" * 25),
        ("80%", "80%"),
        ("= x", "= x"),
    ],
)
def test_plain_values(text, expected):
    made = value(f"a: {text}")["a"]
    assert made == expected
    assert type(made) in (bool, type(None)) or isinstance(made, type(expected))


def test_nan_is_a_number_so_that_it_can_be_refused_as_one():
    assert math.isnan(value("a: .NaN")["a"])


def test_every_value_knows_its_place():
    made = value("title: x\nslowing:\n  - {rallentando: 7:2, to: 80}\n")
    entry = made["slowing"][0]
    assert (made.keys_at["slowing"].line, made.keys_at["slowing"].column) == (2, 1)
    assert (entry.place.line, entry.place.column) == (3, 5)
    assert (entry.keys_at["to"].line, entry.keys_at["to"].column) == (3, 24)
    assert (entry["to"].place.line, entry["to"].place.column) == (3, 28)
    assert entry["rallentando"].place.excerpt == "  - {rallentando: 7:2, to: 80}"


@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_any_line_ends_and_a_byte_order_mark(tmp_path, newline, mark):
    path = tmp_path / "plan.yaml"
    path.write_bytes((mark + newline.join(["a: 1", "b: [2,", "  3]"])).encode())
    made, faults = parse(path, read_text(path))
    assert (made, faults) == ({"a": 1, "b": [2, 3]}, [])
    assert (made["b"][1].place.line, made["b"][1].place.column, made["b"][1].place.excerpt) == (3, 3, "  3]")


@pytest.mark.parametrize("text", ["", "\n\n", "# nothing yet\n", "---\n", "--- \n...\n"])
def test_an_empty_file_is_an_empty_plan(text):
    assert value(text) == {}


@pytest.mark.parametrize(
    ("text", "line", "column", "says"),
    [
        ("a: &x 1", 1, 4, "no anchors (&) or aliases (*)"),
        ("a: *x", 1, 4, "no anchors (&) or aliases (*)"),
        ("a: 1\nb: !!int 2", 2, 4, "no tags (!)"),
        ("a: ! b", 1, 4, "no tags (!)"),
        ("%YAML 1.1\n---\na: 1", 1, 1, "leave the %YAML line out"),
        ("a: 1\n---\nb: 2", 2, 1, "a second document"),
        ("a:\n\t- b", 2, 1, "a tab stands here"),
        ("? [1]\n: 2", 1, 3, "what stands before a colon must be a word"),
        ("{[1, 2]: 3}", 1, 2, "what stands before a colon must be a word"),
        ("{{a: 1}: 3}", 1, 2, "what stands before a colon must be a word"),
        ("to:80%\nb: 3", 2, 2, "a space after its colon"),
        ("a: b: c", 1, 5, "a text with a colon in it belongs in quotes"),
        ("a: {b: x\n", 2, 1, "is closed (it begins in line 1, column 4)"),
        ("a: {b: x\nc: d\n", 2, 2, "inside { }"),
        ("a: [1, 2\nb: 3\n", 2, 2, "inside [ ]"),
        ("a: 'x\nb", 2, 2, "quotes that are not closed (it begins in line 1, column 4)"),
        ("a: @x", 1, 4, "put the text in quotes"),
        ("a: 1\nb", 2, 2, "needs a key, a colon and a space"),
        ("a: \x07", 1, 4, "a character that is no text"),
        ('a: "\\ud800"', 1, 4, "a character that is no text"),
        ('"\\0": 1', 1, 1, "a character that is no text"),
        ("[" * (MAX_DEPTH + 1), 1, MAX_DEPTH + 1, "nested more than"),
        ("[1, }", 1, 5, "cannot be read"),
    ],
)
def test_what_could_surprise_is_refused(text, line, column, says):
    made, (fault, *more) = parse(FILE, text)
    assert made is None
    assert not more
    assert says in fault.message
    assert (fault.place.line, fault.place.column) == (line, column)


def test_an_alias_bomb_does_not_go_off():
    bomb = "a0: &a0 [x]\n" + "".join(f"a{n}: &a{n} [{f'*a{n - 1}, ' * 9}]\n" for n in range(1, 30))
    made, faults = parse(FILE, bomb)
    assert made is None
    assert len(faults) == MAX_FAULTS


def test_duplicate_keys_name_both_places_and_leave_the_first():
    made, (fault,) = parse(FILE, "a: 1\nb: {c: 1, d: 2, c: 3}\n")
    assert made == {"a": 1, "b": {"c": 1, "d": 2}}
    assert (fault.place.line, fault.place.column) == (2, 17)
    assert "line 2, column 5" in fault.message


def test_more_than_a_plan_can_hold():
    made, (fault,) = parse(FILE, f"a: [{'1, ' * MAX_VALUES}]")
    assert made is None
    assert "60000 words and numbers" in fault.message


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (codecs.BOM_UTF16_LE + "a: 1".encode("utf-16-le"), "is saved as UTF-16: save it again as UTF-8"),
        (codecs.BOM_UTF16_BE + "a: 1".encode("utf-16-be"), "is saved as UTF-16"),
        ("title: x".encode("utf-16-le"), "is saved as UTF-16"),
        ("title: x".encode("utf-16-be"), "is saved as UTF-16"),
        (b"\x89PNG\r\n\x1a\n\0\0\0", "is not a text file"),
        ("a: 1\nb: é".encode("latin-1"), "line 2 holds letters that are not in UTF-8"),
        (b"#" * (MAX_BYTES + 1), "is too large for a plan"),
    ],
)
def test_files_that_are_no_text(tmp_path, data, says):
    path = tmp_path / "plan.yaml"
    path.write_bytes(data)
    with pytest.raises(CannotDo) as refused:
        read_text(path)
    assert says in str(refused.value)


def test_fifty_megabytes_are_not_even_opened(tmp_path):
    path = tmp_path / "plan.yaml"
    with path.open("wb") as file:
        file.truncate(50_000_000)
    with pytest.raises(CannotDo, match=r"50.0 MB; the limit is 1 MB"):
        read_text(path)


@pytest.mark.parametrize("name", ["none.yaml", "", "x" * 400, "a\0b"])
def test_files_that_are_not_there(tmp_path, name):
    with pytest.raises(CannotDo, match=r"no such file|is a folder|cannot be read"):
        read_text(tmp_path / name)


# No control characters and line separators: writers and readers of YAML fold U+0085 and its kin, each in its own way.
LETTERS = st.characters(exclude_categories=("Cs", "Cc", "Zl", "Zp"))
LEAVES = (
    st.none()
    | st.booleans()
    | st.integers(-(10**17), 10**17)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(LETTERS)
)
TREES = st.recursive(
    LEAVES,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(LETTERS, max_size=8), inner, max_size=4),
    max_leaves=15,
)


@given(st.dictionaries(st.text(LETTERS, max_size=8), TREES, max_size=4))
def test_what_another_writer_wrote_is_read_back(tmp_path_factory, tree):
    """ruamel.yaml writes, this reads; where it refuses it is for a character that plans do not have."""
    path = tmp_path_factory.mktemp("written") / "plan.yaml"
    yaml = YAML(typ="safe", pure=True)
    yaml.representer.ignore_aliases = lambda _: True
    yaml.dump(tree, path)
    made, faults = parse(path, path.read_text(encoding="utf-8", errors="surrogatepass"))
    if any(fault.code == "plan-syntax" for fault in faults):
        with pytest.raises(YAMLError):  # what it wrote cannot be read by itself either
            yaml.load(path)
    elif {fault.code for fault in faults} != {"plan-text"}:
        assume(yaml.load(path) == tree)  # it writes the keys ?0 and ?& so that it reads 0 and an anchor itself
        assert made == tree and not faults
