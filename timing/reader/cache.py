"""Scores that were read before, kept by their content, so that a second run need not load the notation library.

They lie as numpy archives (never pickles) in the user's cache folder; the environment variable LENTANDO_CACHE names
another. The key is the SHA-256 of the reader's version, the kind of file and its bytes. A cache that cannot be read or
written is never an error: the score is read again.
"""

from __future__ import annotations

import hashlib
import json
import os
import secrets
import zipfile
from contextlib import suppress
from pathlib import Path

import numpy as np

from timing.remarks import Place, Remark, Severity
from timing.score import BAR, HEAD, MARK, NOTE, PART, Score

READER = "9"  # raise it when the reader answers differently for the same file

_TABLES = {"notes": NOTE, "heads": HEAD, "bars": BAR, "marks": MARK, "parts": PART}


def folder() -> Path:
    """Where scores are kept."""
    if named := os.environ.get("LENTANDO_CACHE"):
        return Path(named)
    from platformdirs import user_cache_path

    return user_cache_path("lentando")


def key(kind: str, content: bytes) -> str:
    """The name of a score's archive."""
    return hashlib.sha256(f"{READER} {kind} ".encode() + content).hexdigest()


def load(name: str, path: Path) -> Score | None:
    """The score kept under this name, as if read from `path`; None if there is none, or none that is whole."""
    try:
        with np.load(folder() / f"{name}.npz", allow_pickle=False) as kept:
            tables = {table: kept[table] for table in _TABLES}
            about = json.loads(str(kept["about"]))
        if any(tables[table].dtype != dtype for table, dtype in _TABLES.items()):
            return None
        remarks = tuple(
            Remark(Severity(r["severity"]), r["code"], r["message"], Place(path, r["line"]), r["bar_name"], r["beat"])
            for r in about["remarks"]
        )
        return Score(path=path, title=about["title"], remarks=remarks, **tables)
    except (OSError, ValueError, KeyError, TypeError, EOFError, zipfile.BadZipFile, RuntimeError):
        return None


def store(name: str, score: Score) -> None:
    """Keep a score, whole or not at all."""
    remarks = [
        {
            "severity": r.severity, "code": r.code, "message": r.message,
            "line": r.place.line if r.place else None, "bar_name": r.bar_name, "beat": r.beat,
        }
        for r in score.remarks
    ]  # fmt: skip
    about = json.dumps({"title": score.title, "remarks": remarks})
    unfinished = folder() / f"{name}-{secrets.token_hex(8)}.part"
    try:
        folder().mkdir(parents=True, exist_ok=True)
        with unfinished.open("xb") as file:
            np.savez_compressed(file, about=np.array(about), **{table: getattr(score, table) for table in _TABLES})
        os.replace(unfinished, folder() / f"{name}.npz")
    except OSError:
        pass  # there is none, then
    finally:
        with suppress(OSError):
            unfinished.unlink(missing_ok=True)
