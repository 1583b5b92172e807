# SPDX-License-Identifier: GPL-3.0-or-later
"""`cranksag simulate`: one boat cranked once."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cranksag.cli import console
from cranksag.cli.options import Catalogues, Overrides, ScenarioFile, read_catalogue, read_scenario
from cranksag.errors import CheckFailed, InputError, SimulationError

if TYPE_CHECKING:
    from cranksag.scenario import Scenario
    from cranksag.verdict.results import Result


def run(
    file: ScenarioFile,
    overrides: Overrides = None,
    catalogue: Catalogues = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document instead of the report.")] = False,
    waveforms: Annotated[
        Path | None,
        typer.Option(
            "--waveforms", metavar="F.csv", help="Write the run as CSV; time 0 is key-on.", show_default=False
        ),
    ] = None,
    plots: Annotated[
        list[Path] | None,
        typer.Option("--plot", metavar="F.png|svg|pdf", help="Write a figure. Repeatable.", show_default=False),
    ] = None,
    show_scenario: Annotated[
        bool, typer.Option("--show-scenario", help="Also print every field: value, origin and source.")
    ] = False,
    check: Annotated[
        bool, typer.Option("--check", help="Exit 1 if a display does not hold or the engine does not start.")
    ] = False,
    no_band: Annotated[
        bool, typer.Option("--no-band", help="Skip the band on the minimum: one run instead of many.")
    ] = False,
    keep_deck: Annotated[
        Path | None,
        typer.Option(
            "--keep-deck",
            metavar="F.cir",
            help="If the run fails, write its circuit here.",
            show_default=False,
        ),
    ] = None,
) -> None:
    """Crank one boat: whether it cranks, whether the display restarts, and where every volt went.

    Exit codes: 0 done, 1 only with --check, 2 usage or input, 3 the simulation failed, 70 a fault of the program,
    130 interrupted. With 2 and 3 nothing is written to standard output.
    """
    from cranksag.simulate import simulate

    if as_json and show_scenario:
        raise InputError(["--show-scenario prints a table and --json one document: give one of them"])
    sources = (file, *(catalogue or []))
    for path in plots or []:
        _check_plot(path)
    for path in (*(plots or []), *(p for p in (waveforms, keep_deck) if p is not None)):
        console.refuse_input(path, *sources)
    scenario = read_scenario(file, overrides)
    try:
        result = simulate(scenario, read_catalogue(catalogue), band=not no_band)
    except SimulationError as error:
        raise _with_deck(error, keep_deck) from error
    _write_files(result, waveforms, plots or [], sources)
    if as_json:
        from cranksag.verdict.document import document

        console.json_document(document(result))
    else:
        _print(result, scenario if show_scenario else None)
    if check:
        _check(result)


def _check_plot(path: Path) -> None:
    from cranksag.report.words import FIGURE_TYPES

    if path.suffix.lower() not in FIGURE_TYPES:
        raise InputError([f"--plot {console.plain(str(path))}: the name must end in {', '.join(FIGURE_TYPES)}"])


def _with_deck(error: SimulationError, target: Path | None) -> SimulationError:
    """The same failure; its next step says where the deck is, or how to get it."""
    if not error.deck:
        return error
    if target is None:
        error.todo = f"{error.todo} The same command with --keep-deck F.cir writes the circuit that failed.".lstrip()
        return error
    with console.output_file(target):
        error.write_deck(target)
    error.todo = f"The circuit is in {console.plain(str(target))}; `ngspice -b` runs it."
    return error


def _write_files(result: Result, waveforms: Path | None, plots: list[Path], sources: tuple[Path, ...]) -> None:
    if waveforms is not None:
        from cranksag.verdict.document import write_waveforms

        with console.output_file(waveforms, *sources):
            write_waveforms(result, waveforms)
        console.say(f"{console.plain(str(waveforms))} written")
    if plots:
        from cranksag.report import crank_figure, save_figure

        figure = crank_figure(result)
        for path in plots:
            with console.output_file(path, *sources):
                save_figure(figure, path)
            console.say(f"{console.plain(str(path))} written")


def _print(result: Result, scenario: Scenario | None) -> None:
    from cranksag.cli import summary
    from cranksag.cli.resolved import resolved_table

    parts = [summary.headline(result), *summary.dangers(result)] if console.quiet() else [*summary.summary(result)]
    summary.alert([("", result)])
    console.show(*parts, *([resolved_table(result.boat, scenario)] if scenario is not None else []))


def _check(result: Result) -> None:
    """The boat passes if every display holds and the engine starts (or was told never to fire)."""
    cranks = result.cranks
    failures = [f"display {d.name} does not hold" for d in result.displays if not d.holds]
    if not cranks.turns or (not cranks.fires and result.boat.fires_after is not None):
        failures.append(f"the engine does not start: {cranks.reason}")
    if failures:
        raise CheckFailed("check: " + console.plain("; ".join(failures)))
