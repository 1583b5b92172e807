# SPDX-License-Identifier: GPL-3.0-or-later
"""`cranksag validate`: the model against published figures."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, cast

import typer

from cranksag.cli import console
from cranksag.errors import CheckFailed

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from rich.table import Table

    from cranksag.validate import Check, Row


def run(
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON list instead of the table.")] = False,
    output: Annotated[
        Path | None,
        typer.Option("-o", "--output", metavar="F.md", help="Also write the report (Markdown).", show_default=False),
    ] = None,
) -> None:
    """Run every outside check: published value, computed value, difference, allowed, pass.

    Each row names its source; rows from common practice or memory are marked and counted apart. Exit code 1 if a row
    misses; the misses are listed with their reasons.
    """
    from cranksag.validate import all_checks, rows_document, run_checks
    from cranksag.validate.report import markdown

    checks = all_checks()
    rows = run_checks(checks, _progress(len(checks)))
    if output is not None:
        with console.output_file(output):
            output.write_text(markdown(rows), encoding="utf-8")
        console.say(f"{console.plain(str(output))} written")
    if as_json:
        console.json_document(cast("Any", rows_document(rows)))  # a list, as the contract has it
    else:
        _print(rows)
    missed = sum(not row.passed for row in rows)
    if missed:
        raise CheckFailed(f"validate: {missed} of {len(rows)} outside checks miss; reasons stand below the table")


def _progress(total: int) -> Callable[[int, Check], None]:
    def note(number: int, check: Check) -> None:
        if number % 25 == 0:
            console.say(f"{number} of {total}: {check.family}")

    return note


def _print(rows: Sequence[Row]) -> None:
    from cranksag.validate.report import counts, misses

    width = max(len(what) for what, _ in counts(rows))
    console.show(_table(rows), *[f"{what:{width}}  {how_many}" for what, how_many in counts(rows)])
    lines = misses(rows)
    if lines and not console.quiet():
        console.show("", "Misses:", *[f"- {line}" for line in lines])


def _table(rows: Sequence[Row]) -> Table:
    from rich import box
    from rich.table import Table

    from cranksag.validate.report import allowed, difference, mark, number, published, verdict

    table = Table(box=box.SIMPLE, pad_edge=False)
    for heading in ("check", "source", "come by", "published", "computed", "difference", "allowed", "pass"):
        table.add_column(heading, overflow="fold")
    family = ""
    for row in rows:
        if row.check.family != family:
            family = row.check.family
            table.add_section()
        table.add_row(
            f"{family}: {row.check.name}",
            row.check.source,
            mark(row.check),
            published(row.check),
            number(row.computed),
            difference(row),
            allowed(row.check),
            verdict(row),
        )
    return table
