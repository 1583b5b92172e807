# SPDX-License-Identifier: GPL-3.0-or-later
"""The command `cranksag`: one module per command, imported only when that command runs.

To add a command: a module of this package whose function `run` has a typer signature, and a line in `COMMANDS`.
At module level it imports nothing heavier than typer; the rooms above it are imported inside `run`.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping

__all__ = ["COMMANDS", "main"]

COMMANDS: Mapping[str, str] = {
    "new": "Write a commented scenario file to start from.",
    "simulate": "Crank one boat: does its display restart, and why?",
    "sweep": "Crank every combination of values: which keep the display alive?",
    "faults": "What if a part fails: which single fault is dangerous?",
    "size": "The smallest standard value that holds, with margin, in every corner.",
    "tolerance": "The share of real boats that hold, and what drives the failures.",
    "compare": "What if: variants of a boat side by side.",
    "netlist": "Write the circuit as one file for plain ngspice.",
    "bench": "Put the display through a published starting profile instead of the boat.",
    "parts": "List and filter the parts of the catalogue.",
    "validate": "Compare the model with published figures, row by row.",
    "schema": "Print a JSON Schema, for editors and scripts.",
    "doctor": "Check the installation and say what is missing.",
}
"""Every command, in the order of `--help`, and what it does; the module has the command's name."""


def main() -> None:
    """Entry point of the console script; ends the process with one of the documented exit codes."""
    try:
        from cranksag.cli.app import start
    except KeyboardInterrupt:  # pressed while Python was still loading
        sys.exit(130)
    start()
