"""Make the page's editor of its libraries: `files/editor.js`, their licences, and the hash of both.

The packages are those of package-lock.json, each with the hash that it must have; none of their scripts is run. The
same lock gives the same bytes. It takes Node and the network; what is made lies in the repository, so that nobody else
needs either.

    python render/rehearse/editor/build.py            make it
    python render/rehearse/editor/build.py --check    say whether what lies here is what would be made
"""

from __future__ import annotations

import hashlib
import json
import shutil
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

HERE = Path(__file__).parent
MADE = HERE.parent / "files"
SOURCES = ("package.json", "package-lock.json", "bundle.js")
OPTIONS = ("--bundle", "--minify", "--format=esm", "--target=es2022", "--charset=utf8", "--legal-comments=none")
BANNER = "/* CodeMirror 6 and what it stands on, MIT: see editor-licences.txt. Made by editor/build.py. */"


def build(folder: Path) -> dict[str, bytes]:
    """What is made, by its name, with `folder` to work in. CalledProcessError or OSError where it cannot be."""
    for name in SOURCES:
        shutil.copy(HERE / name, folder)
    _run(folder, "npm", "ci", "--ignore-scripts", "--no-audit", "--no-fund")
    command = ("node_modules/.bin/esbuild", "bundle.js", *OPTIONS, f"--banner:js={BANNER}")
    _run(folder, *command, "--outfile=editor.js", "--metafile=made.json")
    inputs = json.loads((folder / "made.json").read_text(encoding="utf-8"))["inputs"]
    files = {
        "editor.js": (folder / "editor.js").read_bytes(),
        "editor-licences.txt": _licences(folder, inputs).encode(),
    }
    hashes = "".join(f"{hashlib.sha256(content).hexdigest()}  {name}\n" for name, content in files.items())
    return files | {"editor.sha256": hashes.encode()}


def _run(folder: Path, *command: str) -> None:
    subprocess.run(command, cwd=folder, check=True, capture_output=True, timeout=300)


def _licences(folder: Path, inputs: dict[str, object]) -> str:
    """The licences of all packages of which anything is in the bundle."""
    told = ["editor.js is made of these packages, each under the MIT licence, as it stands below it.\n"]
    for path in sorted({_package(file) for file in inputs if "node_modules/" in file}):
        package = json.loads((folder / path / "package.json").read_text(encoding="utf-8"))
        if package["license"] != "MIT":
            raise OSError(f"{package['name']} is not under the MIT licence")
        licence = (folder / path / "LICENSE").read_text(encoding="utf-8").strip()
        told.append(f"{package['name']} {package['version']}\n\n{licence}\n")
    return f"\n{'-' * 72}\n\n".join(told)


def _package(file: str) -> str:
    """node_modules/@codemirror/view of node_modules/@codemirror/view/dist/index.js."""
    parts = file.split("/")
    row = len(parts) - 1 - parts[::-1].index("node_modules")
    return "/".join(parts[: row + 2 + parts[row + 1].startswith("@")])


def main(check: bool) -> int:
    """Make it, or compare."""
    with TemporaryDirectory() as folder:
        made = build(Path(folder))
    if check:
        other = [name for name, content in made.items() if (MADE / name).read_bytes() != content]
        print(f"not as it would be made: {', '.join(other)}" if other else "as it would be made")
        return 1 if other else 0
    for name, content in made.items():
        (MADE / name).write_bytes(content)
        print(f"{name}: {len(content):,} bytes")
    return 0


if __name__ == "__main__":
    sys.exit(main("--check" in sys.argv[1:]))
