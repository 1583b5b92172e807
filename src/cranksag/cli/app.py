# SPDX-License-Identifier: GPL-3.0-or-later
"""The application that typer runs: the group of all commands and its own options."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from cranksag import __version__
from cranksag.cli import console
from cranksag.cli.group import CommandGroup, interrupted, keep_standard_streams

__all__ = ["app", "start"]

app = typer.Typer(
    cls=CommandGroup,
    add_completion=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog="Start with: cranksag new --example restarting -o boat.toml, then: cranksag simulate boat.toml",
)


@app.callback(invoke_without_command=True)
def _no_command(
    context: typer.Context,
    version: Annotated[bool, typer.Option("--version", help="Print the version and stop.")] = False,
) -> None:
    """Supply-voltage sag of a diesel boat while cranking, and what a digital engine display makes of it."""
    if version:
        typer.echo(f"cranksag {__version__}")
        raise typer.Exit
    if context.invoked_subcommand is None:
        typer.echo(context.get_help())


def start() -> None:
    """Run on the command line's words; ends the process."""
    keep_standard_streams()
    console.own_process()
    try:
        typer.main.get_command(app).main()
    except KeyboardInterrupt as late:  # between the end of the work and its message
        sys.exit(interrupted(late))
