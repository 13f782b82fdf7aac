"""The command `sounds`: the banks and their tones."""

from __future__ import annotations

from render.commands.terminal import console


def sounds() -> None:
    """List the banks of sound, their tones and where their files are. Builds the guitar if it is not there yet."""
    from render.telling.report import show_sounds

    show_sounds(console(), console(stderr=True))
