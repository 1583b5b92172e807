# SPDX-License-Identifier: GPL-3.0-or-later
"""`cranksag netlist`: the boat's circuit as one self-contained file for plain ngspice."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cranksag.cli import console
from cranksag.cli.options import Catalogues, Overrides, ScenarioFile, read_catalogue, read_scenario

if TYPE_CHECKING:
    from cranksag.resolve import Boat


def run(
    file: ScenarioFile,
    output: Annotated[
        Path | None,
        typer.Option(
            "-o", "--output", metavar="F.cir", help="File to write; else standard output.", show_default=False
        ),
    ] = None,
    overrides: Overrides = None,
    catalogue: Catalogues = None,
) -> None:
    """Write the circuit that `simulate` computes; `ngspice -b F.cir` runs it and prints the same minimum."""
    from cranksag.resolve import resolve

    boat = resolve(read_scenario(file, overrides), read_catalogue(catalogue))
    text = netlist_text(boat)
    if output is None or str(output) == "-":
        console.data(text)
        return
    with console.output_file(output, file, *(catalogue or [])):
        output.write_text(text, encoding="utf-8")
    name = console.plain(str(output))
    console.say(f"{name} written. `ngspice -b {name}` prints display_minimum and the others; time 0 is before key-on.")


def netlist_text(boat: Boat) -> str:
    """The deck of a boat with the measurements of the verdict, each over the same stretch of time.

    Parameters
    ----------
    boat : resolved boat

    Returns
    -------
    str : a complete deck.
    """
    from cranksag.circuit import build_circuit
    from cranksag.verdict.display import judged_from

    circuit = build_circuit(boat)
    *lines, end = circuit.deck.lines()
    times, stop = circuit.times, circuit.deck.stop_time
    judged = f"from={judged_from(boat, times) + times.key_on!r} to={stop!r}"
    cranked = f"from={times.starts[0]!r} to={stop!r}"
    remarks = [
        f"* Run by hand with: ngspice -b FILE. Here key-on is at {times.key_on:g} s, START at {times.starts[0]:g} s.",
        "* display_minimum is across the display's own pins while the crank is judged.",
        "* v(w), v(we), v(th): motor and engine speed [rad/s], crank angle [rad]; node 0 is battery negative.",
    ]
    measured = [
        "Bdisplay display 0 V = v(ds,dr)",
        ".save v(display)",
        f".meas tran display_minimum MIN v(display) {judged}",
        f".meas tran battery_minimum MIN v(bat) {cranked}",
        f".meas tran starter_stud_minimum MIN v(stud) {cranked}",
        f".meas tran s_terminal_highest MAX v(s) {cranked}",
        f".meas tran starter_peak MAX i(vmot) {cranked}",
    ]
    return "\n".join([lines[0], *remarks, *lines[1:], *measured, end]) + "\n"
