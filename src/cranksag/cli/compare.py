# SPDX-License-Identifier: GPL-3.0-or-later
"""`cranksag compare`: variants of a boat side by side with the boat as it is."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from cranksag.cli import console
from cranksag.cli.options import Catalogues, Overrides, ScenarioFile, read_catalogue, read_scenario
from cranksag.cli.study_options import AsJson, RunLimit, Scheduler, Workers
from cranksag.errors import CheckFailed, InputError

if TYPE_CHECKING:
    from rich.console import RenderableType

    from cranksag.studies.compare import Compared, Comparison
    from cranksag.verdict.results import Result

WORSE = 0.05  # [V] of the minimum worth telling
RPM = 9.549296585513721  # [rpm s/rad] 60 / (2 pi)


def run(
    file: ScenarioFile,
    variants: Annotated[
        list[str] | None,
        typer.Option(
            "--variant",
            metavar="NAME:PATH=VALUE,...",
            help='A named change, such as "thick:feed.size=10 AWG". Repeatable.',
            show_default=False,
        ),
    ] = None,
    overrides: Overrides = None,
    catalogue: Catalogues = None,
    plots: Annotated[
        list[Path] | None,
        typer.Option(
            "--plot", metavar="F.png|svg|pdf", help="Write a figure of the waveforms. Repeatable.", show_default=False
        ),
    ] = None,
    workers: Workers = None,
    on: Scheduler = None,
    run_limit: RunLimit = None,
    as_json: AsJson = False,
    check: Annotated[
        bool,
        typer.Option(
            "--check",
            help="Exit 1 if in a variant a display restarts, the engine does not start, or the run failed; the boat as "
            "it is may fail.",
        ),
    ] = False,
) -> None:
    """What if: variants of a boat beside the boat as it is, as a table and as overlaid waveforms.

    Exit codes: 0 done, 1 only with --check, 2 usage or input, 3 every run failed, 70 a fault of the program, 130
    interrupted.
    """
    from cranksag.report.words import FIGURE_TYPES
    from cranksag.studies.compare import compare

    sources = (file, *(catalogue or []))
    for path in plots or []:
        if path.suffix.lower() not in FIGURE_TYPES:
            raise InputError([f"--plot {console.plain(str(path))}: the name must end in {', '.join(FIGURE_TYPES)}"])
        console.refuse_input(path, *sources)
    found = compare(
        read_scenario(file, overrides),
        variants or (),
        catalogue=read_catalogue(catalogue),
        workers=workers,
        on=on,
        wall_limit=run_limit,
        progress=not console.quiet(),
    )
    _draw(found, plots or [], sources)
    if as_json:
        console.json_document(found.document())
    else:
        from cranksag.cli.summary import alert, cautions

        alert(found.results)
        console.show(*_report(found), *cautions())
    if check:
        _check(found)


def _draw(found: Comparison, plots: list[Path], sources: tuple[Path, ...]) -> None:
    if not plots:
        return
    from cranksag.report.figure import save_figure
    from cranksag.report.overlay import overlay_figure

    figure = overlay_figure(found.results)
    for path in plots:
        with console.output_file(path, *sources):
            save_figure(figure, path)
        console.say(f"{console.plain(str(path))} written")


def _report(found: Comparison) -> Iterator[RenderableType]:
    from rich.text import Text

    yield Text(console.plain(_headline(found)), style="bold")
    yield _table(found)
    for told in found.notes:
        yield Text(console.plain(f"Note: {told}."), style="yellow")
    for compared in found.variants:
        changes = ", ".join(f"{path} = {text}" for path, text in compared.variant.changes)
        if changes:
            yield Text(console.plain(f"{compared.name}: {changes}"))
        if compared.result is not None and (short := _short(compared.result, found.variants[0].result)):
            yield Text(console.plain(f"{compared.name}: {short}"), style="bold yellow")
        if compared.failure:
            yield Text(
                console.plain(f"{compared.name} failed: {compared.failure}: {compared.reason}"), style="bold red"
            )
        if compared.result is not None:
            for note in compared.result.dangers:
                yield Text(console.plain(f"{compared.name}: danger: {note.code}: {note.message}"), style="bold red")
            if compared.result.warnings:
                codes = ", ".join(dict.fromkeys(note.code for note in compared.result.warnings))
                yield Text(console.plain(f"{compared.name}: warnings: {codes}"), style="yellow")


def _headline(found: Comparison) -> str:
    held = [name for name, result in found.results if result.display.holds]
    told = f"No display restarts in: {', '.join(held)}" if held else "A display restarts in every variant"
    for what, names in (
        ("The engine does not start in", [name for name, result in found.results if not result.cranks.fires]),
        ("DANGER in", [name for name, result in found.results if result.dangers]),
    ):
        told += f". {what}: {', '.join(names)}" if names else ""
    return told


def _short(result: Result, written: Result | None) -> str:
    """Why a fitted hold-up does not help, and that it leaves the display less than the boat as it is."""
    from cranksag.verdict.shortfall import shortfalls

    if result.display.holds:
        return ""
    told = ", ".join(shortfalls(result))
    less = 0.0 if written is None else written.display.minimum_voltage - result.display.minimum_voltage
    worse = f"{less:.2f} V less at the lowest than the boat as written" if less >= WORSE else ""
    if not told:
        return ""
    return f"the hold-up falls short: {told}" + (f"; {worse}" if worse else "")


def _table(found: Comparison) -> RenderableType:
    from rich.table import Table

    grid = Table(box=None, pad_edge=False)
    grid.add_column("")
    for compared in found.variants:
        grid.add_column(console.plain(compared.name), justify="right")
    for title, cell in _ROWS.items():
        grid.add_row(title, *("-" if c.result is None else console.plain(cell(c.result)) for c in found.variants))
    return grid


def _number(value: float | None, form: str, unit: str) -> str:
    return "-" if value is None else f"{value:{form}} {unit}"


def _margin(result: Result) -> str:
    from cranksag.report.words import margin_words
    from cranksag.studies.measures import AT_THRESHOLD

    display = result.display
    words = margin_words(display.margin, bool(display.restarts))
    if display.holds or abs(display.margin) >= AT_THRESHOLD:
        return words
    return "just at its threshold" if words == "-0.00 V" else f"{words}, just at its threshold"


_ROWS: dict[str, Callable[[Any], str]] = {
    "display holds": lambda r: "yes" if r.display.holds else "no",
    "restarts": lambda r: str(r.display.restarts),
    "lowest voltage": lambda r: _number(r.display.minimum_voltage, "z.2f", "V"),
    "margin": _margin,
    "fed then by": lambda r: "the normal feed" if r.display.source == "feed" else r.display.source,
    "time below threshold": lambda r: f"{r.display.time_below_threshold:.3g} s",
    "without gauges": lambda r: "does not come back" if r.display.dark_time is None else f"{r.display.dark_time:.3g} s",
    "engine starts": lambda r: "yes" if _starts(r) else "no",
    "crank speed": lambda r: "-" if r.starter.crank_speed is None else f"{r.starter.crank_speed * RPM:.0f} rpm",
    "starter peak": lambda r: _number(r.starter.peak_current, ".0f", "A"),
    "battery at its lowest": lambda r: _number(r.battery.minimum_voltage, "z.2f", "V"),
    "battery while cranking": lambda r: _number(r.battery.crank_voltage, "z.2f", "V"),
}


def _starts(result: Result) -> bool:
    return result.cranks.turns and (result.cranks.fires or result.boat.fires_after is None)


def _check(found: Comparison) -> None:
    lacking = [f"check: {c.name}: {'; '.join(told)}" for c in found.variants[1:] if (told := _lacking(c))]
    if lacking:
        raise CheckFailed("\n".join(console.plain(line) for line in lacking))


def _lacking(compared: Compared) -> list[str]:
    """What a variant fails at, in words."""
    from cranksag.studies.measures import status_of

    result = compared.result
    if result is None:
        return [f"failed: {compared.failure}"]
    told = [] if result.display.holds else [status_of(result)[1]]
    if not _starts(result):
        told.append("the engine does not start" + (f": {result.cranks.reason}" if result.cranks.reason else ""))
    return told
