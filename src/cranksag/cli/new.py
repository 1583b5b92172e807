# SPDX-License-Identifier: GPL-3.0-or-later
"""`cranksag new`: a commented scenario to start from."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cranksag.cli import console
from cranksag.errors import InputError


def run(
    example: Annotated[
        str | None,
        typer.Option(
            "--example",
            metavar="NAME",
            help="An invented boat instead of the empty form.",
            show_default=False,
        ),
    ] = None,
    output: Annotated[
        Path | None,
        typer.Option("-o", "--output", metavar="FILE", help="File to write; else standard output.", show_default=False),
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Write over a file that exists.")] = False,
    names: Annotated[bool, typer.Option("--list", help="List the examples.")] = False,
) -> None:
    """Write a commented scenario file: the empty form, or one of the invented boats.

    Without -o the scenario goes to standard output.
    """
    from cranksag.examples import example_names, example_text, template

    if names:
        table = [(name, _title(example_text(name))) for name in example_names()]
        width = max(len(name) for name, _ in table)
        console.data("\n".join(f"{name:{width}}  {title}" for name, title in table))
        return
    text = template() if example is None else example_text(example)
    if output is None or str(output) == "-":
        console.data(text)
        return
    if output.is_dir():
        raise InputError([f"{console.plain(str(output))}: is a directory, a file name is needed"])
    with console.output_file(output):
        try:
            with output.open("w" if force else "x", encoding="utf-8") as file:
                file.write(text)
        except FileExistsError:
            raise InputError([f"{console.plain(str(output))}: exists; --force writes over it"]) from None
    console.say(f"{console.plain(str(output))} written. Next: cranksag simulate {console.plain(str(output))}")


def _title(text: str) -> str:
    import tomllib

    return str(tomllib.loads(text)["title"])
