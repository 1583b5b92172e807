# SPDX-License-Identifier: GPL-3.0-or-later
"""A result for people: verdict, key numbers, voltage budget, dangers, warnings, next steps, cautions."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from cranksag.cli.console import plain, problem, quiet
from cranksag.quantities import CURRENT, ENERGY, POWER, VOLTAGE, format_quantity
from cranksag.report import CAUTIONS, CAUTIONS_LINE, next_steps, verdict
from cranksag.report.words import margin_words, not_written, seconds, volts
from cranksag.verdict.document import document
from cranksag.verdict.results import BudgetLine, DisplayResult, Result
from cranksag.verdict.starting import SOLENOID

UNITS = {"v": "V", "a": "A", "s": "s", "j": "J", "w": "W", "rpm": "rpm", "a2s": "A2s", "degc": "degC"}
DIMENSIONS = {"V": VOLTAGE, "A": CURRENT, "J": ENERGY, "W": POWER}
LEAST_CURRENT = 1e-6  # [A] below this a drain is told as such: no boat's insulation is as good
LISTED = 8  # [-] fields behind the band that are named; the others are counted


def headline(result: Result) -> Text:
    """Title and verdict."""
    colour = "bold green" if result.display.holds and result.cranks.turns else "bold red"
    if result.dangers:
        colour = "bold red"
    elif result.near_switching:
        colour = "bold yellow"
    return Text(plain(verdict(result)), style=colour)


def band_note(result: Result) -> Text:
    """Which fields were not written, and which of them make the band."""
    moved, count = not_written(result)
    rest = f"{count} fields were not written and took a default or an estimate; --show-scenario lists them."
    if result.estimate is None:
        return Text(f"No band was estimated. {rest}")
    if not moved:
        return Text(f"Nothing that was left open moves the minimum by more than 1 mV. {rest}")
    names = ", ".join(moved[:LISTED]) + (f" and {len(moved) - LISTED} more" if len(moved) > LISTED else "")
    return Text(f"The band comes from what was not written: {names}. In all {rest}")


def summary(result: Result) -> Iterator[RenderableType]:
    """Everything that `simulate` prints, in order."""
    yield headline(result)
    yield Text(plain(result.title), style="dim")
    yield band_note(result)
    yield from _notes("Dangers", result.dangers, "bold red")
    if not result.cranks.engages and result.start_budget.falls_short:
        yield _section(f"Voltage budget of the start circuit at {result.start_budget.at:.3f} s", _start_budget(result))
    yield _section("Display", _displays(result))
    yield _section("Supply", _pairs(_supply(result)))
    if len(result.hold_up) > 1:
        yield _section(f"Hold-up: {result.hold_up['branch']}", _pairs(_hold_up(result)))
    yield _section(_budget_heading(result), Group(*_budget(result)))
    yield _section("Wiring against published limits", _list(_wiring(result)))
    yield from _notes("Warnings", result.warnings, "bold yellow")
    yield _section("Next", _list(next_steps(result)))
    yield _section("Cautions", _list(CAUTIONS), "dim")


def cautions() -> Iterator[RenderableType]:
    """The cautions as one paragraph, below what a study finds; nothing where only the result is wanted."""
    if not quiet():
        yield Text("")
        yield Text(CAUTIONS_LINE, style="dim")


def alert(found: Iterable[tuple[str, Result]]) -> None:
    """Dangers of named results to stderr, where the bare result is on its way into a file or a program."""
    if quiet() and not sys.stdout.isatty():
        problem(
            plain(f"danger: {name + ': ' if name else ''}{note.code}: {note.message}")
            for name, result in found
            for note in result.dangers
        )


def dangers(result: Result) -> Iterator[RenderableType]:
    """The dangers alone."""
    yield from _notes("Dangers", result.dangers, "bold red")


def _wiring(result: Result) -> Iterator[str]:
    """How each circuit stands against published limits; the sentence of one that is warned about stands there."""
    warned = {note.message for note in result.warnings}
    for check in result.wiring:
        told = any(message.startswith(check.message) for message in warned)
        yield f"{check.circuit}: beyond every published limit, see the warning {check.code}" if told else check.message


def _section(heading: str, body: RenderableType, style: str = "bold") -> RenderableType:
    return Group(Text(""), Text(heading, style=style), Padding(body, (0, 0, 0, 2), expand=False))


def _list(lines: Iterable[str]) -> RenderableType:
    table = Table.grid(padding=(0, 1))
    for line in lines:
        table.add_row("-", Text(plain(line)))
    return table


def _notes(heading: str, notes: Sequence[Any], style: str) -> Iterator[RenderableType]:
    if notes:
        yield _section(heading, _list(f"{n.code}: {n.message}" for n in notes), style)


def _pairs(rows: Iterable[tuple[str, str]]) -> Table:
    table = Table.grid(padding=(0, 2))
    table.add_column()
    table.add_column(justify="left")
    for name, value in rows:
        table.add_row(name, Text(value))
    return table


def _grid(*columns: str) -> Table:
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="dim", show_edge=False)
    for k, column in enumerate(columns):
        table.add_column(column, justify="left" if k == 0 or column in ("side", "") else "right", no_wrap=True)
    return table


def _displays(result: Result) -> RenderableType:
    """One column for each display."""
    start = result.boat.crank.key_on_before
    table = Table.grid(padding=(0, 2))
    rows: dict[str, Callable[[DisplayResult], str]] = {
        "": lambda d: plain(d.name),
        "lowest voltage at its pins": lambda d: volts(d.minimum_voltage),
        "fed then by": lambda d: "the normal feed" if d.source == "feed" else d.source,
        "at": lambda d: f"{d.minimum_at:.3f} s from key-on, {_from_start(d.minimum_at - start)}{_after_reset(d)}",
        "brown-out threshold": lambda d: volts(d.brownout),
        "margin, short spikes apart": lambda d: margin_words(d.margin, bool(d.restarts)),
        "time below threshold": lambda d: _time(d.time_below_threshold),
        "restarts": lambda d: str(d.restarts),
        "gauges first up": lambda d: _first_up(d.first_booted_at, start),
        "without gauges after a reset": lambda d: _dark(d.dark_time),
        "engine running then without alarms": lambda d: _dark(d.alarm_blind),
    }
    for name, cell in rows.items():
        table.add_row(name, *(Text(cell(d)) for d in result.displays))
    return table


def _first_up(moment: float | None, start: float) -> str:
    """When the display has booted for the first time."""
    if moment is None:
        return "not in this crank"
    return f"{moment:.3g} s from key-on, {_from_start(moment - start)}" if moment > 0.0 else "before key-on"


def _from_start(moment: float) -> str:
    return f"{seconds(abs(moment))} {'after' if moment >= 0.0 else 'before'} START"


def _after_reset(display: DisplayResult) -> str:
    """Says that a minimum lies after the display has reset and let go of its load."""
    reset = display.first_reset_at
    return "" if reset is None or display.minimum_at <= reset else f", after the reset at {reset:.3f} s"


def _time(value: float) -> str:
    return seconds(value) if value else "0 s"


def _dark(value: float | None) -> str:
    return "does not come back" if value is None else _time(value)


def _supply(result: Result) -> Iterator[tuple[str, str]]:
    found = document(result)
    battery, starter, shift = found["battery"], found["starter"], found["ground_shift_v"]
    yield "cranking", plain(result.cranks.reason)
    settled = battery["crank_voltage_v"]
    cranking = "" if settled is None else f", {volts(settled)} while cranking"
    rest, lowest = volts(battery["open_circuit_voltage_v"]), volts(battery["minimum_voltage_v"])
    yield "start battery", f"{rest} at rest, {lowest} at the lowest{cranking}"
    yield "starter stud", f"{volts(starter['stud_minimum_voltage_v'])} at the lowest"
    yield (
        "S terminal in START",
        f"{volts(starter['s_terminal_minimum_voltage_v'])} to {volts(starter['s_terminal_highest_voltage_v'])}",
    )
    speed, current = starter["crank_speed_rpm"], starter["crank_current_a"]
    cranking = "" if current is None else f", {current:.0f} A while cranking"
    turning = "" if speed is None else f", {speed:.0f} rpm at the crankshaft"
    yield "starter", f"{starter['peak_current_a']:.0f} A inrush{cranking}{turning}"
    block, helm = (volts(shift[place], sign=True) for place in ("engine_block", "display_return"))
    yield (
        f"ground shift, largest mean of 1 ms at {found['ground_shift_at_s']:.3f} s",
        f"engine block {block}, display return {helm} against battery - (falsifies sender readings)",
    )


def _hold_up(result: Result) -> Iterator[tuple[str, str]]:
    for key, value in document(result)["hold_up"].items():
        if key == "branch":
            continue
        words = key.split("_")
        unit = UNITS.get(words[-1], "") if len(words) > 1 else ""
        name = " ".join(words[:-1] if unit else words)
        yield name, _figure(value, unit)


def _figure(value: Any, unit: str) -> str:
    if value is None:
        return "not within this run" if unit == "s" else "never"
    if unit == "s":
        return _time(value)
    if unit == "A" and 0.0 < value < LEAST_CURRENT:
        return f"below {format_quantity(LEAST_CURRENT, CURRENT)}"
    if unit in DIMENSIONS:
        return format_quantity(float(value), DIMENSIONS[unit], digits=3)
    if isinstance(value, dict):
        return ", ".join(f"{name} {share:.1%}" for name, share in value.items())
    if not isinstance(value, float):
        return f"{value} {unit}".rstrip()
    return f"{float(f'{value:.3g}'):.0f} {unit}".rstrip() if value >= 1e4 else f"{value:.4g} {unit}".rstrip()


def _budget_heading(result: Result) -> str:
    display = result.display
    if not _after_reset(display):
        return "Voltage budget at the display's minimum"
    return f"Voltage budget at {display.demand_minimum_at:.3f} s, the display's minimum before its first reset"


def _start_budget(result: Result) -> RenderableType:
    """Where the volts between battery and solenoid, or the start relay's coil, go while the key is held."""
    budget = result.start_budget
    table = _drops(result, budget.lines)
    reached = "S terminal to engine block" if budget.across == SOLENOID else budget.across
    table.add_row(reached, "", volts(budget.left, 3), "", f"needs {volts(budget.needed, 1)}", style="bold")
    return table


def _drops(result: Result, lines: Sequence[BudgetLine]) -> Table:
    """The drops of a loop under the battery's voltage at rest."""
    table = _grid("element", "side", "drop", "share", "")
    total = sum(line.drop for line in lines)
    table.add_row("start battery at rest", "", volts(result.battery.open_circuit_voltage, 3), "", "")
    for line in lines:
        share = f"{line.drop / total:z.0%}" if total > 0.0 else ""
        mark = "blocking" if line.blocking else ""
        table.add_row(Text(plain(line.element)), line.side, volts(-line.drop, 3, sign=True), share, mark)
    return table


def _budget(result: Result) -> Iterator[RenderableType]:
    """The table, at the worst instant at which the display still draws what it runs on, and where the minimum lies."""
    table = _drops(result, result.demand_budget)
    left = result.battery.open_circuit_voltage - sum(line.drop for line in result.demand_budget)
    table.add_row("display at its pins", "", volts(left, 3), "", "", style="bold")
    yield table
    display = result.display
    if _after_reset(display):
        yield Text(
            f"The lowest of all, {volts(display.minimum_voltage)} at {display.minimum_at:.3f} s, "
            f"lies{_after_reset(display)[1:]}: the display no longer draws its power then.",
            style="dim",
        )
