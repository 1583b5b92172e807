# SPDX-License-Identifier: GPL-3.0-or-later
"""`cranksag parts`: the catalogue listed and filtered."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, cast

import typer

from cranksag.cli import console
from cranksag.cli.options import Catalogues

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.table import Table

    from cranksag.catalogue import Entry
    from cranksag.catalogue.usual import Tolerance


def run(
    kind: Annotated[
        str | None, typer.Argument(metavar="[KIND]", help="Kind of part, such as relay or diode; all kinds without it.")
    ] = None,
    words: Annotated[
        str | None,
        typer.Option(
            "--filter",
            metavar="TEXT",
            show_default=False,
            help='Words of a name, or comparisons such as "rated_current>=5A construction=schottky"; all must fit.',
        ),
    ] = None,
    catalogue: Catalogues = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON list.")] = False,
) -> None:
    """List the catalogue's parts: values with tolerance, source and provenance of each line.

    A tolerance is the line's own, or the usual one of its kind; --json names the source of each.

    A scenario names a part by its name and may override any of its fields.
    """
    from cranksag.catalogue import load_catalogue

    found = load_catalogue(catalogue or ()).filter(words or "", kind)
    if as_json:
        console.json_document(cast("Any", [entry.as_dict() for entry in found]))  # a list, as the contract has it
        return
    if not found:
        console.say("no part fits; leave out a word of --filter, or the kind")
        return
    for each in dict.fromkeys(entry.kind for entry in found):
        console.show(_table(each, [entry for entry in found if entry.kind == each]))
    console.say(f"{len(found)} parts; --json prints every field, the source of each tolerance, and notes")


def _table(kind: str, entries: Sequence[Entry]) -> Table:
    from rich import box
    from rich.table import Table

    table = Table(title=kind, title_justify="left", box=box.SIMPLE, pad_edge=False)
    for heading in ("name", "values", "source", "provenance"):
        table.add_column(heading, overflow="fold")
    for entry in entries:
        tolerances = entry.tolerances()
        table.add_row(
            console.plain(entry.name),
            "; ".join(
                f"{field} {_shown(value)}"
                + ("*" if field in entry.estimated else "")
                + (f" {_around(tolerances[field])}" if field in tolerances else "")
                for field, value in entry.values.items()
            ),
            console.plain(entry.source),
            entry.provenance,
        )
    if any(entry.estimated for entry in entries):
        table.caption = "* engineering estimate, whatever the line's provenance"
        table.caption_justify = "left"
    return table


def _around(tolerance: Tolerance) -> str:
    """A tolerance behind its value."""
    text = str(tolerance)
    return text if text.startswith("-") else f"+-{text}"


def _shown(value: Any) -> str:
    """A value as written; points as pairs."""
    if isinstance(value, (list, tuple)):
        return ", ".join(" ".join(str(part) for part in point.values()) for point in value)
    return console.plain(str(value))
