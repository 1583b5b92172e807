# SPDX-License-Identifier: GPL-3.0-or-later
"""`cranksag tolerance`: the share of real boats in which the display holds."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from cranksag.cli import console
from cranksag.cli.options import Catalogues, Overrides, ScenarioFile, read_catalogue, read_scenario
from cranksag.cli.study_options import AsJson, RunLimit, Scheduler, Workers
from cranksag.errors import CheckFailed, Interrupted

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rich.console import RenderableType
    from rich.table import Table

    from cranksag.studies.tolerance import Tolerance

LISTED = 6  # [-] values of the worst boat that are shown to people


def run(
    file: ScenarioFile,
    draws: Annotated[int, typer.Option("--draws", metavar="N", min=1, help="Boats to draw.")] = 200,
    seed: Annotated[
        int, typer.Option("--seed", metavar="S", min=0, help="Of the draws: the same seed gives the same answer.")
    ] = 0,
    own: Annotated[
        list[str] | None,
        typer.Option(
            "--tolerance",
            metavar="PATH=SPEC",
            help='A spread in place of the default one: "uniform 10 %", "normal 10 %", "factor 2", "uniform A..B", '
            '"normal A..B", "triangular A..M..B" or none. Repeatable.',
            show_default=False,
        ),
    ] = None,
    only: Annotated[bool, typer.Option("--only", help="No other spreads than those given.")] = False,
    confidence: Annotated[float, typer.Option("--confidence", metavar="SHARE", help="Of the interval.")] = 0.95,
    method: Annotated[
        str, typer.Option("--interval", metavar="NAME", help="clopper-pearson or wilson.")
    ] = "clopper-pearson",
    width: Annotated[
        float, typer.Option("--width", metavar="SHARE", help="Interval at which the draws count as enough.")
    ] = 0.1,
    share: Annotated[
        float,
        typer.Option(
            "--share",
            metavar="SHARE",
            min=0.0,
            max=1.0,
            help="With --check: the lower end of the interval must reach it.",
        ),
    ] = 0.9,
    show_spreads: Annotated[
        bool, typer.Option("--show-spreads", help="Also print every spread with its source.")
    ] = False,
    overrides: Overrides = None,
    catalogue: Catalogues = None,
    workers: Workers = None,
    on: Scheduler = None,
    run_limit: RunLimit = None,
    as_json: AsJson = False,
    check: Annotated[bool, typer.Option("--check", help="Exit 1 if fewer boats hold than --share.")] = False,
) -> None:
    """The share of boats that hold when every part strays as real parts do, and what drives the failures.

    A boat that gives no result counts as not held. After Ctrl-C the boats done so far are the answer, told as partial.

    Exit codes: 0 done, 1 only with --check, 2 usage or input, 3 every run failed, 70 a fault of the program, 130
    interrupted.
    """
    from cranksag.studies.tolerance import tolerance

    found = tolerance(
        read_scenario(file, overrides),
        draws,
        seed,
        own or (),
        only=only,
        confidence=confidence,
        method=method,
        width=width,
        catalogue=read_catalogue(catalogue),
        workers=workers,
        on=on,
        wall_limit=run_limit,
        progress=not console.quiet(),
    )
    if as_json:
        console.json_document(found.document())
    else:
        console.show(*_report(found), *([_spreads(found)] if show_spreads else []))
    if found.partial:
        raise Interrupted(f"interrupted: the answer is that of the first {found.draws} of {found.asked} draws")
    if check and found.low < share:
        raise CheckFailed(f"check: at least {found.low:.1%} of boats hold, fewer than {share:.1%}")


def _report(found: Tolerance) -> Iterator[RenderableType]:
    from rich.text import Text

    told = f"{found.held} of {found.draws} boats hold: {found.share:.1%}, {found.low:.1%} to {found.high:.1%} "
    told += f"at {found.confidence:.0%} confidence ({found.method})"
    if found.partial:
        yield Text(f"Partial: interrupted after the first {found.draws} of {found.asked} draws.", style="yellow")
    yield Text(told, style="bold green" if found.held == found.draws else "bold red")
    if found.not_starting:
        yield Text(
            f"In {found.not_starting} of them the engine does not start, which counts as not held.", style="yellow"
        )
    if found.failed:
        whose = f", {found.impossible} of them because they are no possible boat" if found.impossible else ""
        told = f"{found.failed} boats gave no result and count as not held{whose}; the first: {found.reason}"
        yield Text(console.plain(told), style="yellow")
    if found.redrawn:
        yield Text(f"In {found.redrawn} boats a value was drawn again, because it fell below the one it follows.")
    if found.enough is None:
        yield Text(f"Not enough draws for an interval narrower than {found.width:.0%}.", style="yellow")
    else:
        yield Text(f"Enough draws for an interval narrower than {found.width:.0%}: {found.enough}.")
    if console.quiet():
        return
    yield _drivers(found) if found.drivers else Text("Nothing stands out from chance as a driver of failures.")
    if found.caution:
        yield Text(f"{found.caution[0].upper()}{found.caution[1:]}.", style="yellow")
    yield from _worst(found)
    yield _running(found)


def _drivers(found: Tolerance) -> RenderableType:
    grid = _grid("What drives failures", "part", "worse when", "effect", "by chance", "by")
    for driver in found.drivers:
        grid.add_row(driver.path, driver.worse, f"{driver.effect:+.2f}", f"{driver.p_value:.1g}", driver.by)
    return grid


def _worst(found: Tolerance) -> Iterator[RenderableType]:
    if found.worst is None:
        return
    margin, minimum = found.margins[found.worst], found.minima[found.worst]
    title = f"Worst boat, draw {found.worst}: margin {margin:+.2f} V, lowest {minimum:z.2f} V"
    from cranksag.studies.spreads import drawn_unit

    grid = _grid(
        title, "part", "drawn", "unit (x nominal: multiple of the boat's own figure)", "share of boats below it"
    )
    for correlation in found.correlations[:LISTED]:
        drawn = found.values[correlation.path]
        below = f"{(drawn < drawn[found.worst]).mean():.0%}"
        grid.add_row(correlation.path, f"{drawn[found.worst]:.4g}", drawn_unit(correlation.path), below)
    yield grid


def _running(found: Tolerance) -> RenderableType:
    grid = _grid("Share over the draws", "draws", "share", "from", "to")
    for step in found.running:
        grid.add_row(str(step.draws), f"{step.share:.1%}", f"{step.low:.1%}", f"{step.high:.1%}")
    return grid


def _spreads(found: Tolerance) -> RenderableType:
    from cranksag.studies.spreads import MULTIPLE, drawn_unit

    grid = _grid("Spreads", "part", "law", "low", "high", "unit", "source", "moves with it")
    for spread in found.spreads:
        unit = drawn_unit(spread.path) if spread.absolute else MULTIPLE
        with_it = ", ".join(tie.follower for tie in found.ties if tie.leader == spread.path)
        grid.add_row(
            spread.path, spread.law, f"{spread.low:.4g}", f"{spread.high:.4g}", unit, console.plain(spread.source),
            with_it,
        )  # fmt: skip
    return grid


def _grid(title: str, *columns: str) -> Table:
    from rich.table import Table

    grid = Table(title=title, title_justify="left", box=None, pad_edge=False)
    for name in columns:
        grid.add_column(name)
    return grid
