# SPDX-License-Identifier: GPL-3.0-or-later
"""A sweep for people: how many hold, the best rows, where holding ends, what decides it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np
from rich.console import Group, RenderableType
from rich.table import Table as Grid
from rich.text import Text

from cranksag.cli.console import plain
from cranksag.quantities import DIMENSIONS, format_quantity
from cranksag.runner import spec_at
from cranksag.scenario.specs import Quantity
from cranksag.studies.analysis import Objective, boundary, closest, ruled_out, survivors
from cranksag.studies.table import AxisColumn, Table
from cranksag.verdict.cables import OVERHEATS

NEAREST = 5  # [-] rows shown where none survives: enough to see which way to go


def report(
    table: Table, summary: Mapping[str, Any], goals: Sequence[Objective], front: np.ndarray, most: int
) -> Iterator[RenderableType]:
    """The parts of the report in order; at most `most` rows of each kind."""
    yield _headline(summary)
    for note in summary["notes"]:
        yield Text(f"Note: {plain(note)}.", style="yellow")
    if summary["failures"]:
        kinds = ", ".join(f"{count} {kind}" for kind, count in sorted(summary["failures"].items()))
        yield Text(f"Failed rows by kind: {kinds}; the column reason says why.")
    if summary["near_switching"]:
        yield Text(
            f"{summary['near_switching']} rows stand near a switching point (column near_switching).", style="yellow"
        )
    alive = survivors(table, summary["survivor_margin_v"])
    burnt = len(ruled_out(table, summary["survivor_margin_v"]))
    if summary["held"] and not len(alive) and not burnt:
        yield Text(f"No survivors: {_lacking(summary)}.", style="bold red")
    near = closest(table)
    if not len(alive) and not burnt and len(near):
        yield _rows(table, near[: min(most, NEAREST)], "Nearest to holding, largest margin first", ("dark_time_s",))
    if len(alive):
        weighed = bool(np.isfinite(table.numbers["mass_kg"][alive]).all())
        extra = ("mass_kg" if weighed else "copper_kg", "cost")
        yield _rows(table, alive[:most], f"Survivors, largest margin first ({_count(len(alive), most)})", extra)
        yield from _dangerous(table, alive)
    if burnt:
        told = f"{burnt} {'more rows' if len(alive) else 'rows'} hold and are ruled out (column dangers): {OVERHEATS}"
        yield Text(f"{told}; `cranksag simulate` says what to do about it.", style="bold red")
    if len(front) and len(goals) > 1:
        wanted = ", ".join(f"{g.name} {'large' if g.largest else 'small'}" for g in goals)
        title = f"Best compromises: {wanted} ({_count(len(front), most)})"
        yield _rows(table, front[:most], title, tuple(g.column for g in goals))
    elif len(alive):
        empty = [g.name for g in goals if not np.isfinite(table.numbers[g.column][alive]).any()]
        if empty:
            yield Text(f"No best compromises: {', '.join(empty)} is not known of any row that holds.", style="yellow")
    crossings = boundary(table)
    if crossings:
        yield _crossings(table, crossings[:most], _count(len(crossings), most))
    if summary["drivers"]:
        yield _drivers(summary["drivers"])


def _headline(summary: Mapping[str, Any]) -> Text:
    told = f"{summary['combinations']} combinations: {summary['held']} hold{_starting(summary)}"
    told += f", {summary['restarted']} restart"
    told += f", {summary['failed']} failed" if summary["failed"] else ""
    told += f", {summary['not_run']} not run" if summary["not_run"] else ""
    if summary["seconds"] is not None and summary["rate_per_s"]:
        told += f" ({summary['seconds']:.1f} s, {summary['rate_per_s']:.3g}/s, {summary['workers']} workers)"
    return Text(told, style="bold green" if summary["survivors"] else "bold red")


def _lacking(summary: Mapping[str, Any]) -> str:
    """Why none of the rows that hold is a survivor."""
    if summary["not_started"] == summary["held"]:
        return "the engine starts in no row that holds"
    return f"no row that holds and starts the engine has a margin of {summary['survivor_margin_v']:g} V"


def _starting(summary: Mapping[str, Any]) -> str:
    """In how many of the rows that hold the engine does not start."""
    idle = summary["not_started"]
    if not idle:
        return ""
    few = "it" if idle == summary["held"] == 1 else "any of them" if idle == summary["held"] else f"{idle} of them"
    return f" (the engine does not start in {few})"


def _count(found: int, most: int) -> str:
    """How many there are, and how many of them are shown where that is fewer."""
    return f"{found}" if found <= most else f"{most} of {found} shown"


def _dangerous(table: Table, alive: np.ndarray) -> Iterator[RenderableType]:
    """That a boat which holds is dangerous all the same."""
    found = [text for row in alive if (text := table.texts["dangers"][int(row)])]
    if found:
        codes = ", ".join(dict.fromkeys(code for text in found for code in text.split("; ")))
        told = f"{len(found)} of {len(alive)} survivors are dangerous (column dangers): {codes}"
        yield Text(f"{told}; `cranksag simulate` says what to do about it.", style="bold red")


def _titled(title: str, grid: Grid) -> RenderableType:
    """A title that may be wider than its table."""
    return Group(Text(title, style="italic"), grid)


def _rows(table: Table, rows: np.ndarray, title: str, extra: Sequence[str]) -> RenderableType:
    paths = {axis.number_name for axis in table.axes}
    columns = [
        c
        for c in dict.fromkeys(extra)
        if c not in paths and c != "margin_v" and np.isfinite(table.numbers[c][rows]).any()
    ]
    dangers = [table.texts["dangers"][int(row)] for row in rows]
    grid = Grid(box=None, pad_edge=False)
    for axis in table.axes:
        grid.add_column(axis.path)
    for name in ("minimum V", "margin V", *columns):
        grid.add_column(name, justify="right")
    if any(dangers):
        grid.add_column("dangers")
    for row, danger in zip(rows, dangers, strict=True):
        held = table.row(int(row))
        numbers = [held["margin_v"], *(held[c] for c in columns)]
        written = [plain(str(held[axis.path])) for axis in table.axes]
        lowest = held["minimum_voltage_v"]
        told = ("-" if lowest is None else f"{lowest:z.2f}", *("-" if n is None else f"{n:.2f}" for n in numbers))
        grid.add_row(*written, *told, *([plain(danger)] if any(dangers) else []))
    return _titled(title, grid)


def _crossings(table: Table, found: Sequence[Any], count: str) -> RenderableType:
    grid = Grid(box=None, pad_edge=False)
    for name in ("axis", "holds at", "restarts at", "zero margin at", "others"):
        grid.add_column(name)
    axes = {axis.path: axis for axis in table.axes}
    for crossing in found:
        zero = "-" if crossing.zero is None else _at(axes[crossing.path], crossing.zero)
        others = ", ".join(f"{path} = {plain(text)}" for path, text in crossing.others)
        grid.add_row(crossing.path, plain(crossing.holds_at), plain(crossing.fails_at), zero, others)
    return _titled(f"Where holding turns into restarting ({count})", grid)


def _at(axis: AxisColumn, value: float) -> str:
    """A value of an axis for people: a share in per cent, as the axis is written."""
    field = spec_at(axis.path)
    if isinstance(field, Quantity):
        return format_quantity(value, field.measure)
    return _quantity(value, axis.unit)


def _quantity(value: float, unit: str) -> str:
    """An SI value for people; areas in mm2, since they are conductors."""
    measure = next((d for d in DIMENSIONS.values() if d.si == unit), None)
    if measure is None:
        return f"{value:.4g} {unit.replace('-', '')}".strip()
    return format_quantity(value, measure)


def _drivers(found: Sequence[Mapping[str, Any]]) -> RenderableType:
    grid = Grid(box=None, pad_edge=False)
    for name in ("axis", "alone", "with interactions"):
        grid.add_column(name, justify="left" if name == "axis" else "right")
    for driver in found:
        alone = _share(driver["first"], driver["first_band"])
        grid.add_row(driver["path"], alone, _share(driver["total"], driver["total_band"]))
    return _titled(f"What moves the margin (Sobol' indices, {found[0]['how']})", grid)


def _share(value: float | None, band: tuple[float, float] | None) -> str:
    """A share for people, between nil and all, with the band it lies in where it is an estimate."""
    if value is None:
        return "-"
    told, *ends = (f"{min(max(share, 0.0), 1.0):.0%}" for share in (value, *(band or ())))
    return f"{told} ({ends[0]} to {ends[1]})" if ends else told
