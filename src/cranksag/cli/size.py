# SPDX-License-Identifier: GPL-3.0-or-later
"""`cranksag size`: the smallest standard value that holds in every corner."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from cranksag.cli import console
from cranksag.cli.options import Catalogues, Overrides, ScenarioFile, read_catalogue, read_scenario
from cranksag.cli.study_options import AsJson, RunLimit, Scheduler, Workers
from cranksag.errors import CheckFailed

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rich.console import RenderableType

    from cranksag.studies.size import Size, Tried


def run(
    file: ScenarioFile,
    path: Annotated[
        str,
        typer.Option("--for", metavar="PATH", help="Field to size, such as hold_up.capacitance.", show_default=False),
    ],
    margin: Annotated[
        str, typer.Option("--margin", metavar="VOLTAGE", help="Wanted over the brown-out threshold.")
    ] = "1 V",
    corners: Annotated[
        list[str] | None,
        typer.Option(
            "--corner",
            metavar="NAME:PATH=VALUE,...",
            help="A corner in which it has to hold, in place of the default ones; "
            '"default" keeps those too. Repeatable.',
            show_default="default",
        ),
    ] = None,
    shelf: Annotated[
        str | None,
        typer.Option(
            "--shelf",
            metavar="SPEC",
            help='Values to choose from, as for an axis: "E12 1 mF..1 F".',
            show_default="standard values",
        ),
    ] = None,
    overrides: Overrides = None,
    catalogue: Catalogues = None,
    workers: Workers = None,
    on: Scheduler = None,
    run_limit: RunLimit = None,
    as_json: AsJson = False,
    check: Annotated[bool, typer.Option("--check", help="Exit 1 if no value on the shelf holds.")] = False,
) -> None:
    """The smallest standard value that keeps every display alive, with margin, in every corner.

    The boat as written always counts; the default corners are cold, hot restart, hot relay with cold battery, new,
    end of life, half-charged, key straight to START, a second attempt, a long feed, cold and worn in haste, and each
    place at its own worst: an old, half-charged, cold battery, a hot relay, a long feed and no time. A default corner
    in which no value holds and none starts the engine is set aside, and said so. That no value holds is an answer too.

    Exit codes: 0 done, 1 only with --check, 2 usage or input, 3 every run failed, 70 a fault of the program, 130
    interrupted.
    """
    from cranksag.studies.size import DEFAULT, size

    found = size(
        read_scenario(file, overrides),
        path,
        margin,
        tuple(corners or (DEFAULT,)),
        shelf=shelf,
        catalogue=read_catalogue(catalogue),
        workers=workers,
        on=on,
        wall_limit=run_limit,
        progress=not console.quiet(),
    )
    if as_json:
        console.json_document(found.document())
    else:
        from cranksag.cli.summary import cautions

        console.show(*_report(found), *cautions())
    if check and not found.holds:
        raise CheckFailed(f"check: {console.plain(found.reason)}")


def _report(found: Size) -> Iterator[RenderableType]:
    from rich.text import Text

    plain = console.plain
    if found.answer is None:
        yield Text(plain(found.reason[:1].upper() + found.reason[1:] + "."), style="bold red")
        yield Text(plain(_corners(found)))
    else:
        answer = found.answer
        yield Text(
            plain(f"{found.path} = {answer.value}: {_margin(answer)} in the hardest corner, {answer.corner}"),
            style="bold green",
        )
        if answer.why:
            yield Text(plain(f"There: {answer.why}."))
        yield Text(plain(_smaller(found)))
    if not found.monotone and found.answer is not None:
        above = [t for t in found.tried if t.holds is False and _above(found, t)]
        told = "; ".join(f"{t.value} {_does(t)}" for t in above)
        yield Text(
            plain(f"Bigger is not better here: {told}; and yet {found.answer.value} holds."), style="bold yellow"
        )
    if found.set_aside:
        yield Text(
            plain(
                f"Set aside, because no value starts the engine there: {'; '.join(found.set_aside)}. What the display "
                "sees in such a crank was not held against any value."
            ),
            style="bold yellow",
        )
    if found.not_starting:
        yield Text(
            plain(f"The engine does not start in: {'; '.join(found.not_starting)}. Repair that first."),
            style="bold yellow",
        )
    for warning in found.warnings:
        yield Text(plain(f"{warning.code}: {warning.message} (in {warning.corner})"), style="bold yellow")
    for note in found.notes:
        yield Text(plain(note[:1].upper() + note[1:] + "."), style="dim" if note.startswith("left out") else "")
    if not console.quiet():
        yield _table(found)
        yield from _reasons(found)
        yield Text(plain(f"{len(found.corners)} corners: {'; '.join(found.corners)}."))
        everything = found.shelf * (len(found.corners) + len(found.set_aside))
        yield Text(f"{found.runs} runs; every value in every corner takes {everything}.", style="dim")


def _above(found: Size, tried: Tried) -> bool:
    places = [t.value for t in found.tried]
    return found.answer is not None and places.index(tried.value) > places.index(found.answer.value)


def _smaller(found: Size) -> str:
    smaller = found.next_smaller
    if smaller is None:
        return "It is the smallest value on the shelf."
    because = f": {smaller.why}" if smaller.why else ""
    return f"The next smaller, {smaller.value}, {_does(smaller)}: {_margin(smaller)} in {smaller.corner}{because}."


def _does(tried: Tried) -> str:
    """What a value does that does not hold."""
    from cranksag.studies.search import FAILS, NO_RESULT, NO_START, RULED_OUT, SHORT

    return {
        SHORT: "keeps the display running with too little margin",
        FAILS: "fails",
        RULED_OUT: "is ruled out",
        NO_START: "does not start the engine",
        NO_RESULT: "gives no result",
    }[tried.verdict]


def _corners(found: Size) -> str:
    """In which corners the best fails, and in which it only lacks margin."""
    short = set(found.short_in)
    fails = [name for name in found.fails_in if name not in short]
    told = []
    if fails:
        told.append(f"It fails in {len(fails)} of {len(found.corners)} corners: {'; '.join(fails)}.")
    if short:
        told.append(
            f"The display runs on, but with too little margin, in {len(short)} of {len(found.corners)} corners: "
            f"{'; '.join(found.short_in)}."
        )
    return " ".join(told)


def _margin(tried: Tried) -> str:
    return "no result" if tried.margin is None else f"{tried.margin:+z.2f} V of margin"


def _reasons(found: Size) -> Iterator[RenderableType]:
    """Why values have no result or are ruled out, which their margin does not tell."""
    from rich.text import Text

    from cranksag.studies.search import NO_RESULT, NO_START, RULED_OUT

    for tried in found.tried:
        if tried.verdict in (RULED_OUT, NO_START, NO_RESULT) and tried.why:
            yield Text(f"{console.plain(tried.value)} ({tried.verdict}): {console.plain(tried.why)}")


def _table(found: Size) -> RenderableType:
    from rich.table import Table

    grid = Table(title="Tried", title_justify="left", box=None, pad_edge=False)
    for name in ("value", "result", "margin V", "hardest corner", ""):
        grid.add_column(name, justify="right" if name == "margin V" else "left")
    for tried in found.tried:
        margin = "-" if tried.margin is None else f"{tried.margin:z.2f}"
        rest = "" if tried.complete else "of those tried"
        grid.add_row(console.plain(tried.value), tried.verdict, margin, console.plain(tried.corner), rest)
    return grid
