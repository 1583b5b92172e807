# SPDX-License-Identifier: GPL-3.0-or-later
"""Arguments and options that several commands share, and what they are turned into."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cranksag.errors import InputError

if TYPE_CHECKING:
    from cranksag.catalogue import Catalogue
    from cranksag.scenario import Scenario

ScenarioFile = Annotated[
    Path,
    typer.Argument(metavar="FILE", help='Scenario file (TOML); "-" reads standard input.', show_default=False),
]
Overrides = Annotated[
    list[str] | None,
    typer.Option(
        "--set", metavar="PATH=VALUE", show_default=False,
        help='Change one field, such as --set feed.size=10AWG or --set "battery.health=100 %". Repeatable.',
    ),
]  # fmt: skip
Catalogues = Annotated[
    list[Path] | None,
    typer.Option("--catalogue", metavar="FILE", show_default=False, help="Your own parts (TOML). Repeatable."),
]


def read_scenario(file: Path, overrides: list[str] | None) -> Scenario:
    """The scenario of a file with the changes of ``--set``.

    Raises
    ------
    InputError : every problem of the file, or of the options.
    """
    from cranksag.scenario import load_scenario

    scenario = load_scenario("/dev/stdin" if str(file) == "-" else file)
    return scenario.with_overrides(assignments(overrides or [])) if overrides else scenario


def assignments(texts: list[str], option: str = "--set") -> dict[str, str]:
    """``PATH=VALUE`` texts as a mapping, split at the first ``=``; of one path the last counts."""
    problems = [f"{option} {text}: write PATH=VALUE, such as feed.size=10AWG" for text in texts if "=" not in text]
    if problems:
        raise InputError(problems)
    pairs = (text.split("=", 1) for text in texts)
    return {path.strip(): value.strip() for path, value in pairs}


def read_catalogue(files: list[Path] | None) -> Catalogue | None:
    """Shipped parts and the user's own; None when only the shipped ones are wanted."""
    if not files:
        return None
    from cranksag.catalogue import load_catalogue

    return load_catalogue(files)
