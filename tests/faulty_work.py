# SPDX-License-Identifier: GPL-3.0-or-later
"""Work with faults for the tests of the runner; imported by worker processes through `sys.path`.

The circuits are real and ngspice computes them; the faults are real too: an abort of the process, a task that never
comes back, a circuit that no settings solve, a netlist that leaves the library dead.
"""

from __future__ import annotations

import dataclasses
import os
import time
from pathlib import Path
from typing import Any

from cranksag.circuit import build_circuit
from cranksag.resolve import Boat
from cranksag.simulate import Ladder, simulate_boat
from cranksag.solver import Deck, get_solver
from cranksag.verdict import judge
from cranksag.verdict.results import Result

CONTRADICTION = "Vclash5 clash 0 5\nVclash6 clash 0 6\nRclash clash 0 1"
"""Two sources in parallel with different voltages: no settings solve it."""


def divider(volts: float, extra: str = "") -> Deck:
    """A source, a resistor and a capacitor: 1 ms of computing."""
    text = f"V1 in 0 {volts!r}\nR1 in out 1k\nC1 out 0 1u IC=0\n{extra}"
    return Deck(text, ("v(out)",), 0.01, {"v(out)": (-1e4, 1e4)}, 1e-4)


class Dividers:
    """Tasks: (volts, fault); payload: the last voltage of the capacitor."""

    def __init__(self, notes: str = "") -> None:
        self.notes = notes

    def prepare(self) -> None:
        """Nothing: the library is loaded by the first circuit."""

    def __call__(self, task: tuple[float, str]) -> Any:
        volts, fault = task
        if self.notes:
            with Path(self.notes).open("a") as file:
                file.write(f"{volts!r} {os.getpid()}\n")
        if fault == "abort":
            os.abort()
        if fault == "exit":
            os._exit(7)
        if fault == "hang":
            time.sleep(1e6)
        if fault == "bug":
            raise ZeroDivisionError("of the test")
        if fault == "slow":
            time.sleep(0.2)
        if fault == "dead":  # an undefined parameter: the library cannot go on in this process
            return get_solver().run(divider(volts, "R9 out 0 {nowhere}")).points
        extra = CONTRADICTION if fault == "converge" else ""
        return float(get_solver().run(divider(volts, extra)).vectors["v(out)"][-1])


class Unfit:
    """Work that cannot be prepared."""

    def prepare(self) -> None:
        """Fails."""
        raise OSError("nothing works here")

    def __call__(self, task: Any) -> Any:
        """Never reached."""
        return task


def faulty_boat(boat: Boat, ladder: Ladder) -> Result:
    """As `simulate_boat`; of ratings that end in 1, 2 and 3 A past a hundred the first aborts, the second hangs, and
    the third has a contradiction in its circuit."""
    rest = round(boat.values["battery.rating"].value) % 100
    if rest == 1:
        os.abort()
    if rest == 2:
        time.sleep(1e6)
    if rest != 3:
        return simulate_boat(boat, ladder)
    circuit = build_circuit(boat)
    deck = dataclasses.replace(circuit.deck, text=f"{circuit.deck.text}\n{CONTRADICTION}")
    solver = get_solver()
    return judge(boat, circuit, solver.run(deck, ladder), solver.info())
