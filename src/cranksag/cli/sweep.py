# SPDX-License-Identifier: GPL-3.0-or-later
"""`cranksag sweep`: every combination of axis values cranked, and which of them hold."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from cranksag.cli import console
from cranksag.cli.options import Catalogues, Overrides, assignments, read_catalogue
from cranksag.cli.study_options import USUAL_LIMIT
from cranksag.errors import CheckFailed, InputError, Interrupted, SimulationError

if TYPE_CHECKING:
    from cranksag.catalogue import Catalogue
    from cranksag.scenario import Scenario
    from cranksag.studies import Sweep, Table, Ties
    from cranksag.studies.sweepfile import SweepTable

LISTED = 10  # [-] rows and places shown to people; the file has them all

_List = list[str] | None


def _option(name: str, metavar: str, text: str) -> Any:
    return typer.Option(name, metavar=metavar, help=text, show_default=False)


def run(
    file: Annotated[
        Path | None,
        typer.Argument(metavar="[FILE]", help="Scenario file; its [sweep] table counts too.", show_default=False),
    ] = None,
    axes: Annotated[
        _List,
        _option(
            "--axis",
            "PATH=SPEC",
            "A field and its values: a comma list, A..B, A:B:N, log A:B:N, E6 A..B, parts:FILTER. Repeatable.",
        ),
    ] = None,
    zipped: Annotated[_List, _option("--zip", "PATH,PATH", "Axes that advance together. Repeatable.")] = None,
    same: Annotated[
        _List, _option("--same", "PATH=PATH", "The first field takes the value of the second, an axis. Repeatable.")
    ] = None,
    where: Annotated[
        _List,
        _option(
            "--where",
            "CONDITION",
            'Only combinations that meet it, such as "feed.size <= feed.return_size". Repeatable.',
        ),
    ] = None,
    sample: Annotated[
        str | None,
        _option(
            "--sample",
            '"KIND N"',
            'Draws in place of the full grid, in quotes: "latin N", "sobol N", or "saltelli N" for Sobol\' indices.',
        ),
    ] = None,
    seed: Annotated[int | None, typer.Option("--seed", min=0, help="Of the draws.", show_default="0")] = None,
    prices: Annotated[
        _List, _option("--price", "PATH=VALUE:AMOUNT", "What a value costs; AMOUNT/m for a wire size. Repeatable.")
    ] = None,
    overrides: Overrides = None,
    catalogue: Catalogues = None,
    out: Annotated[Path | None, _option("--out", "F.csv|parquet|sqlite", "Write one row for each combination.")] = None,
    resume: Annotated[
        bool,
        typer.Option(
            "--resume",
            help="Carry on with an interrupted sweep to the same --out, or widen a finished one: rows that it holds, "
            "of this very boat and model and not changed by hand, are kept, and only the others are run. Once all are "
            "there, the command without it runs nothing either.",
        ),
    ] = False,
    force: Annotated[
        bool,
        typer.Option(
            "--force",
            help="Run every row anew and write over --out once the new table has all that it holds; an interrupted "
            "sweep to it is begun anew, or carried on with --resume beside it. Without --force no row is lost: a table "
            "of other values, of the boat before you edited it, or of other parts, prices or version is refused.",
        ),
    ] = False,
    workers: Annotated[
        int | None, typer.Option("--workers", min=1, help="Worker processes.", show_default="one for each processor")
    ] = None,
    on: Annotated[str | None, _option("--on", "dask://HOST:PORT", "Run on the workers of a dask scheduler.")] = None,
    row_limit: Annotated[
        float | None,
        typer.Option(
            "--row-limit", metavar="SECONDS", min=0.01, help="Longest a row may take.", show_default=USUAL_LIMIT
        ),
    ] = None,
    margin: Annotated[
        str, typer.Option("--margin", metavar="VOLTAGE", help="Margin that a survivor has at least.")
    ] = "0 V",
    wanted: Annotated[
        _List,
        _option("--pareto", "NAME:min|max", "Objective of the best compromises, a column or an axis. Repeatable."),
    ] = None,
    show: Annotated[
        Path | None, _option("--show", "FILE", "Open the results of an earlier sweep; nothing is run.")
    ] = None,
    plots: Annotated[
        list[Path] | None, _option("--plot", "F.png|svg|pdf", "Write a picture of the results. Repeatable.")
    ] = None,
    picture: Annotated[
        str | None,
        _option(
            "--picture",
            "KIND",
            'Which, in quotes: "map X,Y" or "map X,Y,FACET" (axes), "band X", or pareto; else the one that fits.',
        ),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document instead of the report.")] = False,
    check: Annotated[
        bool,
        typer.Option(
            "--check",
            help="Exit 1 if in a combination a display restarts, the engine does not start, or the run failed.",
        ),
    ] = False,
) -> None:
    """Crank every combination of axis values: which keep the display alive, and what decides it.

    Axes and what ties them may also stand in the file, in a table [sweep] with the fields axes, zip, same, where,
    prices (lists of texts, each as after its option), sample and seed: axes = ["feed.size=18 AWG..10 AWG"]. An axis
    on the command line stands for one of the same path there. Where an axis names parts, figures of the file that
    would hide theirs are left out.

    Exit codes: 0 done, 1 only with --check, 2 usage or input, 3 every row failed, 70 a fault of the program, 130
    interrupted (rows done so far are kept; --resume carries on).
    """
    from cranksag.quantities import VOLTAGE, parse_option
    from cranksag.studies import Ties

    least = parse_option("--margin", margin, VOLTAGE)
    for path in plots or []:
        _check_plot(path, *(p for p in (file, show, *(catalogue or [])) if p is not None))
    if show is not None:
        if file is not None or axes or out or resume or force:
            spaced = {"map": "map X,Y", "band": "band X"}.get(picture or "")
            quotes = f'; a picture of two words needs quotes: --picture "{spaced}"' if spaced and file else ""
            told = "--show opens earlier results: no FILE, --axis, --out, --resume or --force beside it"
            raise InputError([told + quotes])
        from cranksag.studies import read_table

        table = read_table(show)
        _check_asked(table, plots or [], picture, wanted or [])
        headed = replace(table, meta={**table.meta, "title": table.meta.get("title") or show.stem})
        undrawn = _draw(headed, plots or [], picture, least, wanted or [])
        _report(table, least, wanted or [], as_json)
        _end(table, check, undrawn, as_json or check)
        return
    if file is None:
        raise InputError(["FILE is missing: a scenario file, or --show with earlier results"])
    scenario, asked = _read(file, overrides)
    ties = Ties(
        (*asked.ties.zipped, *(zipped or [])),
        (*asked.ties.same, *(same or [])),
        (*asked.ties.where, *(where or [])),
        sample if sample is not None else asked.ties.sample,
        seed if seed is not None else asked.ties.seed,
    )
    if out is not None:
        console.refuse_input(out, file, *(catalogue or []))
    from cranksag.studies import sweep

    every, parts = _merged(asked.axes, axes or []), read_catalogue(catalogue)
    _check_before(every, ties, parts, scenario, plots or [], picture, wanted or [])
    result = sweep(
        scenario,
        every,
        ties,
        catalogue=parts,
        prices=(*asked.prices, *(prices or [])),
        workers=workers,
        on=on,
        out=out,
        resume=resume,
        force=force,
        wall_limit=row_limit,
        progress=not console.quiet(),
    )
    kept = _kept(result, out)
    try:
        undrawn = None
        if len(result.table.done()) > result.summary["failed"]:
            undrawn = _draw(result.table, plots or [], picture, least, wanted or [])
        _finish(result, out, least, wanted or [], as_json, check, undrawn)
    except KeyboardInterrupt:
        raise Interrupted(kept) from None


def _kept(result: Sweep, out: Path | None) -> str:
    """What is left of a sweep whose pictures or report were interrupted."""
    from cranksag.studies.sweep import interrupted

    count = result.summary["combinations"]
    if result.interrupted:
        untouched = console.plain(str(out)) if out is not None and out.exists() and not result.written else ""
        return interrupted(lambda: count - result.summary["not_run"], count, kept=out is not None, untouched=untouched)
    if out is None:
        return "interrupted before the report was complete: with --out the rows would be kept"
    where = console.plain(str(out))
    return f"interrupted before the report was complete: all {count} rows are in {where}; --show {where} prints them"


def _finish(
    result: Sweep,
    out: Path | None,
    least: float,
    wanted: list[str],
    as_json: bool,
    check: bool,
    undrawn: _Undrawn | None,
) -> None:
    if out is not None and result.written:
        rows = f"; {kept} of its rows were there" if (kept := result.summary["recalled"]) else ""
        if twins := result.summary["repeated"]:
            rows += f"; {twins} of its rows are of boats that others have too, which were run once"
        console.say(f"{console.plain(str(out))} written{rows}")
    elif out is not None and not result.interrupted:
        told = "holds all rows of this sweep already: nothing was run; --force runs them anew"
        console.say(f"{console.plain(str(out))} {told}")
    if result.interrupted:
        _report(result.table, least, wanted, as_json)
        raise Interrupted(_kept(result, out))
    if result.summary["failed"] == result.summary["combinations"]:
        raise SimulationError(
            f"every row failed; the first: {result.table.texts['reason'][0]}",
            why="",
            todo="Try one of them with simulate.",
        )
    _report(result.table, least, wanted, as_json)
    _end(result.table, check, undrawn, as_json or check or out is not None)


def _end(table: Table, check: bool, undrawn: _Undrawn | None, more: bool) -> None:
    """The exit code, once the report is out. A picture that the rows do not give is told; it fails the command only
    where the picture was all that was asked for beside the report."""
    if undrawn is not None and more and not undrawn.file:
        console.problem(undrawn.why.problems)
    _judge(table, check)
    if undrawn is not None and (undrawn.file or not more):
        raise undrawn.why


def _check_plot(path: Path, *sources: Path) -> None:
    from cranksag.report.words import FIGURE_TYPES

    if path.suffix.lower() not in FIGURE_TYPES:
        raise InputError([f"--plot {console.plain(str(path))}: the name must end in {', '.join(FIGURE_TYPES)}"])
    console.refuse_input(path, *sources)


def _check_before(
    axes: list[str],
    ties: Ties,
    catalogue: Catalogue | None,
    scenario: Scenario,
    plots: list[Path],
    picture: str | None,
    wanted: list[str],
) -> None:
    """Refuse objectives and pictures that no rows of these axes could give, before any is run."""
    if not plots and not wanted:
        return
    from cranksag.studies import Table
    from cranksag.studies.sweep import plan_of
    from cranksag.studies.table import AxisColumn

    plan = plan_of(axes, ties, catalogue, scenario.hold_up.branch)
    columns = [AxisColumn(axis.path, axis.unit, axis.free_text) for axis in plan.axes]
    _check_asked(Table.empty(columns, 0), plots, picture, wanted)


def _check_asked(table: Table, plots: list[Path], picture: str | None, wanted: list[str]) -> None:
    """The same for a table, whatever its rows."""
    from cranksag.report.asked import asked_picture
    from cranksag.studies import objectives

    objectives(wanted, table)
    if not plots:
        return
    kind, _ = asked_picture(picture or "", [axis.path for axis in table.axes])
    if kind == "pareto" and len(wanted) == 1:
        raise InputError([f"--picture pareto: needs two objectives, such as {wanted[0]} and mass_kg:min; one is given"])


@dataclass(frozen=True, slots=True)
class _Undrawn:
    """`why` there is no picture; `file`: because it cannot be written, not for what the rows hold."""

    why: InputError
    file: bool


def _draw(table: Table, plots: list[Path], picture: str | None, least: float, wanted: list[str]) -> _Undrawn | None:
    """Write the pictures; where there are none the report is still due."""
    if not plots:
        return None
    from cranksag.report.figure import save_figure
    from cranksag.report.pictures import sweep_picture
    from cranksag.studies import objectives
    from cranksag.studies.analysis import usual_objectives

    goals = objectives(wanted, table) if wanted else usual_objectives(table)
    try:
        figure = sweep_picture(table, picture or "", goals, least)
    except InputError as error:
        return _Undrawn(InputError([f"{problem}: no picture is written" for problem in error.problems]), file=False)
    for path in plots:
        try:
            with console.output_file(path):
                save_figure(figure, path)
        except InputError as error:
            return _Undrawn(error, file=True)
        console.say(f"{console.plain(str(path))} written")
    return None


def _merged(file_axes: tuple[str, ...], given: list[str]) -> list[str]:
    """Axes of the file and of the command line; one given again replaces the file's."""
    paths = {text.partition("=")[0].strip() for text in given}
    return [text for text in file_axes if text.partition("=")[0].strip() not in paths] + given


def _read(file: Path, overrides: list[str] | None) -> tuple[Scenario, SweepTable]:
    from cranksag.scenario import load_scenario, loads_scenario
    from cranksag.studies.sweepfile import SweepTable, split_sweep

    source = Path("/dev/stdin") if str(file) == "-" else file
    try:
        text = source.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        scenario, table = load_scenario(source), SweepTable()  # says what is wrong with it
    else:
        rest, table = split_sweep(text, console.plain(str(file)))
        scenario = loads_scenario(rest, str(file))
    return (scenario.with_overrides(assignments(overrides)) if overrides else scenario), table


def _report(table: Table, least: float, wanted: list[str], as_json: bool) -> None:
    from cranksag.studies import objectives, pareto, summary_of
    from cranksag.studies.analysis import usual_objectives

    summary = summary_of(table, least)
    goals = objectives(wanted, table) if wanted else usual_objectives(table)
    front = pareto(table, goals)
    if as_json:
        console.json_document({**summary, "pareto": [table.row(int(k)) for k in front[:1000]]})
        return
    from cranksag.cli.sweep_report import report

    console.show(*report(table, summary, goals, front, LISTED))


def _judge(table: Table, check: bool) -> None:
    from cranksag.studies.analysis import not_started

    if not check:
        return
    counts, idle = table.counts(), len(not_started(table))
    told = {"restart": counts["restarted"], "do not start the engine": idle, "failed": counts["failed"]}
    if any(told.values()):
        amount = ", ".join(f"{count} {what}" for what, count in told.items() if count)
        raise CheckFailed(f"check: of {len(table.done())} combinations {amount}")
