# SPDX-License-Identifier: GPL-3.0-or-later
"""Example boats, all invented, and the empty form to describe one's own."""

from __future__ import annotations

from importlib import resources

from cranksag.errors import InputError

__all__ = ["TEMPLATE", "example_names", "example_text", "template"]

TEMPLATE = "template"
"""File name of the form, which is not an example."""


def example_names() -> tuple[str, ...]:
    """The names of the examples, sorted."""
    files = (entry.name for entry in resources.files(__package__).iterdir())
    names = (file.removesuffix(".toml") for file in files if file.endswith(".toml"))
    return tuple(sorted(name for name in names if name != TEMPLATE))


def example_text(name: str) -> str:
    """The TOML text of an example.

    Raises
    ------
    InputError : there is no example of that name; the names are listed.
    """
    names = example_names()
    if name not in names:
        raise InputError([f"no example of that name, there are: {', '.join(names)}"])
    return _text(name)


def template() -> str:
    """The TOML text of a scenario with the main fields at their defaults, each with a comment."""
    return _text(TEMPLATE)


def _text(name: str) -> str:
    return resources.files(__package__).joinpath(f"{name}.toml").read_text(encoding="utf-8")
