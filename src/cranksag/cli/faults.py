# SPDX-License-Identifier: GPL-3.0-or-later
"""`cranksag faults`: what if one part fails?"""

from __future__ import annotations

import shutil
import sys
from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated, Any, cast

import typer

from cranksag.cli import console
from cranksag.cli.options import Catalogues, Overrides, ScenarioFile, read_catalogue, read_scenario

if TYPE_CHECKING:
    from rich.console import RenderableType
    from rich.table import Table

    from cranksag.studies.faults import FaultRow
    from cranksag.studies.faultskipped import NotTried

WIDE = 180  # [characters] a terminal below this has no room for the sentences in a column of their own


def run(
    file: ScenarioFile,
    overrides: Overrides = None,
    catalogue: Catalogues = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON list instead of the table.")] = False,
    workers: Annotated[
        int | None,
        typer.Option(
            "--workers", min=1, metavar="N", help="Processes; one for each processor by default.", show_default=False
        ),
    ] = None,
) -> None:
    """Fail each part in turn: what stays live with the key off, which currents flow, what becomes dangerous.

    Every fault is run with the key off and the hold-up full, in RUN, and in START. Fuses are taken as holding.
    With the key off the S terminal, the start signal and the feed behind the key must stay below 1 V. No conductor may
    carry more than its ampacity for longer than a burst, unless a fuse opens before it overheats; nor may an inrush
    limiter stay at work. A pulse that is over before the key moves on is judged by its I2t. No display may get
    more voltage than it stands. A short that no fuse ends is a danger: in the starter's cables, bank link, alternator's
    cable, and behind the start relay. What is not tried is listed with its reason.
    """
    from cranksag.resolve import resolve
    from cranksag.studies.faults import fault_document, not_tried, run_faults

    boat = resolve(read_scenario(file, overrides), read_catalogue(catalogue))
    rows = run_faults(boat, workers=workers)
    if as_json:
        console.json_document(cast("Any", fault_document(rows, not_tried(boat))))  # a list, as the contract has it
        return
    from cranksag.cli.summary import cautions

    narrow = sys.stdout.isatty() and shutil.get_terminal_size().columns < WIDE
    found = _listing(rows) if narrow else (_table(rows),)
    console.show(_headline(boat.title, boat.branch, rows), *found, _left_out(not_tried(boat)), *cautions())


def _headline(title: str, branch: str, rows: tuple[FaultRow, ...]) -> str:
    found = [r for r in rows if r.danger]
    added = sum(1 for r in found if r.from_hold_up)
    count = "no single fault is dangerous" if not found else f"{len(found)} of {len(rows) - 1} faults are dangerous"
    blame = "" if not found or branch == "none" else f", {added} of them through the hold-up"
    what = "live with the key off: S terminal, start signal, feed; or a part that overheats and no fuse guards; "
    what += "or a battery shorted without a fuse; or more at a display than it stands"
    runs = sum(r.runs for r in rows)
    tried = f"{len(rows) - 1} faults tried, one at a time, in {runs} runs of ngspice"
    return f"{console.plain(title)}\nhold-up: {branch}; {count}{blame}\n({what})\n{tried}"


def _left_out(skipped: tuple[NotTried, ...]) -> str:
    from cranksag.studies.faultskipped import BEYOND

    lines = [f"  {console.plain(n.part)}, {n.fault}: {console.plain(n.reason)}" for n in skipped]
    return "\n".join(["Not tried, and why:", *lines, BEYOND])


def _table(rows: tuple[FaultRow, ...]) -> Table:
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    table = Table(box=SIMPLE_HEAD, pad_edge=False)
    for name in ("", "part", "fault", "live, key off", "worst current", "what it does"):
        table.add_column(name, overflow="fold")
    for row in rows:
        table.add_row(
            "DANGER" if row.danger else "",
            console.plain(row.part),
            row.fault,
            _live(row),
            _worst(row),
            console.plain(row.message),
            style="bold red" if row.danger else None,
        )
    return table


def _listing(rows: tuple[FaultRow, ...]) -> Iterator[RenderableType]:
    """The table's rows one below the other, for a narrow terminal."""
    from rich.padding import Padding
    from rich.text import Text

    for row in rows:
        style = "bold red" if row.danger else ""
        yield Text("")
        yield Text(f"{'DANGER  ' if row.danger else ''}{console.plain(row.part)}: {row.fault}", style=style or "bold")
        live, worst = _live(row), _worst(row)
        facts = [f"live, key off: {live}" if live else "", f"worst current: {worst}" if worst else ""]
        for told in ("; ".join(f for f in facts if f), console.plain(row.message)):
            if told:
                yield Padding(Text(told, style=style), (0, 0, 0, 2), expand=False)


def _live(row: FaultRow) -> str:
    return ", ".join(f"{n.node} {n.voltage:.1f} V" for n in row.live_nodes if n.key == "off")


def _worst(row: FaultRow) -> str:
    currents = row.currents
    if any(n.code == "main_cable_shorted" for n in row.dangers):
        top = max((c for c in currents if c.limit is None), key=lambda c: c.current)
        return f"{top.current:.0f} A, {top.element}, no fuse"
    worst = max(currents, key=lambda c: c.use, default=None)
    if worst is None or worst.limit is None:
        return ""
    pulse = " (pulse)" if worst.pulse is not None else ""
    return f"{worst.current:.1f} A of {worst.limit:g} A, {worst.element}{pulse}"
