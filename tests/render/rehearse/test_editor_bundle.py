"""The libraries of the page's editor: what lies here is what their lock gives, with the licences of all of them."""

from __future__ import annotations

import hashlib
import importlib.util
import json
import shutil
import subprocess

import pytest
from house import ROOT

ROOM = ROOT / "render" / "rehearse"
FILES = ROOM / "files"


@pytest.fixture(scope="module")
def lock():
    return json.loads((ROOM / "editor" / "package-lock.json").read_text(encoding="utf-8"))["packages"]


def test_the_files_have_the_hashes_that_were_noted():
    noted = dict(line.split()[::-1] for line in (FILES / "editor.sha256").read_text(encoding="ascii").splitlines())
    assert noted.keys() == {"editor.js", "editor-licences.txt"}
    assert noted == {name: hashlib.sha256((FILES / name).read_bytes()).hexdigest() for name in noted}


def test_every_package_is_pinned_with_a_hash(lock):
    for name, package in lock.items():
        if name:
            assert package["integrity"].startswith("sha512-") and package["version"]
            assert package["resolved"].startswith("https://registry.npmjs.org/")
    wanted = {**lock[""]["dependencies"], **lock[""]["devDependencies"]}
    assert wanted == {name: lock[f"node_modules/{name}"]["version"] for name in wanted}, "no ranges"


def test_every_bundled_package_has_its_licence_beside_it(lock):
    told = (FILES / "editor-licences.txt").read_text(encoding="utf-8")
    bundled = {name.removeprefix("node_modules/"): each for name, each in lock.items() if name and not each.get("dev")}
    assert len(bundled) == 17
    for name, package in bundled.items():
        assert package["license"] == "MIT"
        assert f"\n{name} {package['version']}\n" in told
    assert told.count("Permission is hereby granted, free of charge") == 17
    assert told.count('THE SOFTWARE IS PROVIDED "AS IS"') == 17


def test_the_editor_makes_no_script_of_text_and_asks_for_nothing():
    text = (FILES / "editor.js").read_text(encoding="utf-8")
    assert not [each for each in ("eval(", "new Function", "fetch(", "XMLHttpRequest", "import(") if each in text]
    assert "http://" not in text.replace("http://www.w3.org/", "") and "https://" not in text


def test_the_script_makes_the_same_bytes(tmp_path):
    if not shutil.which("npm"):
        pytest.skip("there is no npm on this system")
    spec = importlib.util.spec_from_file_location("build", ROOM / "editor" / "build.py")
    build = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(build)
    try:
        made = build.build(tmp_path)
    except subprocess.CalledProcessError as fault:
        said = (fault.stderr or b"").decode(errors="replace")
        if any(code in said for code in ("ENOTFOUND", "EAI_AGAIN", "ECONNREFUSED", "ETIMEDOUT", "ENETUNREACH", "E403")):
            pytest.skip("the packages cannot be fetched from here")
        raise
    except subprocess.TimeoutExpired:
        pytest.skip("the packages cannot be fetched from here in time")
    assert made == {name: (FILES / name).read_bytes() for name in made}
