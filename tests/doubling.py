"""The command in a process of its own, doubled from one that has imported everything: as users run it, and at once.

Imports take longer than most commands. What a new process shows alone (imports themselves, what they do to an
interrupt, the order of its sets, whatever Python takes from its environment as it begins) has to be tested with
`house.COMMAND`.
"""

from __future__ import annotations

import atexit
import gc
import json
import os
import select
import subprocess
import sys
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

from house import COMMAND, ROOT

LONGEST = 120  # seconds that a command may take


def run(*words: object, folder: Path, **environment: str | None) -> subprocess.CompletedProcess:
    """Run the command in a folder, with nothing to read; what it says is kept as text. `environment` is what is set
    besides, or (None) not set."""
    words = [str(word) for word in words]
    around = os.environ | {"PYTHONPATH": str(ROOT), "COLUMNS": "100", "NO_COLOR": "1"} | environment
    around = {name: value for name, value in around.items() if value is not None}
    if not hasattr(os, "fork"):
        options = {"capture_output": True, "encoding": "utf-8", "timeout": LONGEST, "stdin": subprocess.DEVNULL}
        return subprocess.run([*COMMAND, *words], cwd=folder, env=around, **options)
    with TemporaryDirectory() as place:
        said = [Path(place, name) for name in ("output", "error")]
        status = _ask({"words": words, "folder": str(folder), "around": around, "said": [*map(str, said)]})
        return subprocess.CompletedProcess(words, status, *(path.read_text(encoding="utf-8") for path in said))


def _ask(wish: dict) -> int:
    original = _original()
    original.stdin.write(json.dumps(wish) + "\n")
    original.stdin.flush()
    if not select.select([original.stdout], [], [], LONGEST)[0]:
        original.kill()
        _original.cache_clear()
        raise subprocess.TimeoutExpired(wish["words"], LONGEST)
    return int(original.stdout.readline())


@cache
def _original() -> subprocess.Popen:
    """The process that is doubled; it ends when nobody asks any more."""
    made = subprocess.Popen(
        [sys.executable, __file__],
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    atexit.register(made.communicate)
    return made


# -- in that process


def _serve() -> None:
    """Run the command for each line of wishes in a double, and answer with its status; in a double, return."""
    while line := sys.stdin.readline():
        double = os.fork()
        if not double:
            _become(json.loads(line))
            return
        print(os.waitstatus_to_exitcode(os.waitpid(double, 0)[1]), flush=True)
    os._exit(0)


def _become(wish: dict) -> None:
    """As if the process had been started so."""
    ends = [os.open(os.devnull, os.O_RDONLY), *(os.open(path, os.O_WRONLY | os.O_CREAT) for path in wish["said"])]
    for number, end in enumerate(ends):
        os.dup2(end, number)
        os.close(end)
    os.chdir(wish["folder"])
    os.environ.clear()
    os.environ.update(wish["around"])
    sys.argv[:] = ["-c", *wish["words"]]


def _import_everything() -> None:
    """All of the house, and what it imports where it is used."""
    import pkgutil
    from importlib import import_module

    for package in ("timing", "render", "soundfonts"):
        for module in pkgutil.walk_packages([str(ROOT / package)], f"{package}."):
            import_module(module.name)
    for library in ("music21.converter", "music21.midi.translate", "music21.roman", "defusedxml.ElementTree", "mido",
                    "soundfile", "verovio", "typst", "fontTools.subset", "rich.live", "rich.progress"):  # fmt: skip
        import_module(library)


if __name__ == "__main__":
    _import_everything()
    gc.freeze()
    _serve()
    from render.commands.entry import main

    try:
        main()
    except SystemExit as leaving:
        atexit._run_exitfuncs()
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(leaving.code)
