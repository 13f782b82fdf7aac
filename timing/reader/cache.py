"""Scores that were read before, kept by their content, so that a second run need not load the notation library.

They lie as numpy archives (never pickles) in the user's cache folder; the environment variable LENTANDO_CACHE names
another. The key is the SHA-256 of the reader's version, the kind of file and its bytes. A cache that cannot be read or
written is never an error: the score is read again, and what was damaged is replaced.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import zipfile
from contextlib import suppress
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np

from timing.disk.keeping import folder, put_in_place
from timing.disk.unfinished import NUMBER, tidy, unfinished
from timing.remarks import Place, Remark, Severity
from timing.score import BAR, HEAD, MARK, NOTE, PART, Score

READER = "12"  # raise it when the reader answers differently for the same file

_TABLES = {"notes": NOTE, "heads": HEAD, "bars": BAR, "marks": MARK, "parts": PART}
_UNFINISHED = re.compile(rf"[0-9a-f]{{64}}-{NUMBER}\.part")


def key(kind: str, content: bytes) -> str:
    """The name of a score's archive."""
    return hashlib.sha256(f"{READER} {kind} ".encode() + content).hexdigest()


def load(name: str, path: Path) -> Score | None:
    """The score kept under this name, as if read from `path`; None if there is none, or none that is whole."""
    archive = folder() / f"{name}.npz"
    if not os.path.isfile(archive):  # to open a pipe would be to wait for someone who writes to it
        return None
    try:
        tables, about = _unpacked(archive)
        if about["name"] != name or any(tables[table].dtype != dtype for table, dtype in _TABLES.items()):
            return None
        remarks = tuple(
            Remark(Severity(r["severity"]), r["code"], r["message"], Place(path, r["line"]), r["bar_name"], r["beat"])
            for r in about["remarks"]
        )
        return Score(path=path, title=about["title"], remarks=remarks, **tables)
    except Exception:  # whatever damaged bytes make the libraries say: half a dozen kinds, some of them their own
        return None


def _unpacked(archive: Path) -> tuple[dict[str, np.ndarray], dict[str, Any]]:
    """The tables and what else is known. Each is taken out whole first: only so their sums are checked to the end."""
    with zipfile.ZipFile(archive) as kept:
        held = {table: np.load(BytesIO(kept.read(f"{table}.npy")), allow_pickle=False) for table in (*_TABLES, "about")}
    about = json.loads(str(held.pop("about")))
    return held, about


def store(name: str, score: Score) -> None:
    """Keep a score, whole or not at all."""
    remarks = [
        {
            "severity": r.severity, "code": r.code, "message": r.message,
            "line": r.place.line if r.place else None, "bar_name": r.bar_name, "beat": r.beat,
        }
        for r in score.remarks
    ]  # fmt: skip
    about = json.dumps({"name": name, "title": score.title, "remarks": remarks})
    with suppress(OSError):  # else there is none, then
        folder().mkdir(parents=True, exist_ok=True)
        tidy(folder(), _UNFINISHED)
        with unfinished(folder(), f"{name}-", ".part") as archive:
            with archive.path.open("wb") as file:
                np.savez_compressed(file, about=np.array(about), **{table: getattr(score, table) for table in _TABLES})
            put_in_place(archive, folder() / f"{name}.npz")
