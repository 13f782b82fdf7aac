"""HTML elements. Whatever is not markup already is text and gets escaped, so that no title can be anything else."""

from __future__ import annotations

from html import escape


class Markup(str):
    """Text that is HTML already."""

    __slots__ = ()


def inside(*children: str | None) -> Markup:
    """Several pieces one after another; None is nothing."""
    return Markup("".join(_escaped(child) for child in children if child is not None))


def element(tag: str, *children: str | None, **attributes: str | int | float | bool | None) -> Markup:
    """An element. Names of attributes have _ for -, and may end in one (`class_`); True stands for an attribute without
    a value, False and None for none."""
    written = "".join(_attribute(name, value) for name, value in attributes.items())
    return Markup(f"<{tag}{written}>{inside(*children)}</{tag}>")


def void(tag: str, **attributes: str | int | float | bool | None) -> Markup:
    """An element that has no inside, as <input>."""
    return Markup(f"<{tag}{''.join(_attribute(name, value) for name, value in attributes.items())}>")


def _escaped(child: str) -> str:
    return child if isinstance(child, Markup) else escape(str(child))


def _attribute(name: str, value: str | int | float | bool | None) -> str:
    if value is None or value is False:
        return ""
    name = name.rstrip("_").replace("_", "-")
    return f" {name}" if value is True else f' {name}="{escape(str(value))}"'
