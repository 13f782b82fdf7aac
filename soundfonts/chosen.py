"""The bank that plays all that is no guitar: the one that comes along, or a better one that the user has chosen once.

The choice is one line in the user's settings, the path of the bank; the environment variable LENTANDO_SETTINGS names
another folder for them.
"""

from __future__ import annotations

import os
from pathlib import Path

from soundfonts.banks import checked_bank, standard_bank
from timing.disk.keeping import put_in_place, settings_folder
from timing.disk.unfinished import unfinished
from timing.remarks import CannotDo

_NAME = "general-midi-bank"


def general_bank() -> Path:
    """The bank for all other instruments. CannotDo where a bank that was chosen is no longer there, or no longer
    whole."""
    bank = chosen_bank()
    if bank is None:
        return standard_bank()
    try:
        return checked_bank(bank)
    except CannotDo as refusal:
        message = f"{refusal.remarks[0].message}; it was chosen with lentando sounds --use"
        raise CannotDo.because("no-bank", message, bank, suggestion="lentando sounds --standard") from None


def chosen_bank() -> Path | None:
    """The bank that the user has chosen, as it is remembered; None for the one that comes along."""
    try:
        path = os.fsdecode((settings_folder() / _NAME).read_bytes().strip())
    except OSError:
        return None
    return Path(path) if path else None


def choose_bank(bank: str | Path | None) -> None:
    """Remember a bank for all that comes; None: the one that comes along. CannotDo for a file that is no bank, and
    where nothing can be remembered."""
    place = settings_folder() / _NAME
    try:
        if bank is None:
            place.unlink(missing_ok=True)
            return
        whole = checked_bank(bank).resolve()
        place.parent.mkdir(parents=True, exist_ok=True)
        with unfinished(place.parent, f"{_NAME}-", ".part") as file:
            file.path.write_bytes(os.fsencode(whole) + b"\n")
            put_in_place(file, place)
    except OSError as fault:
        message = f"the choice cannot be kept in {place.parent}: {fault.strerror}"
        way = "LENTANDO_SETTINGS names another folder"
        raise CannotDo.because("no-room", message, place.parent, suggestion=way) from None
