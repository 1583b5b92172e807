# SPDX-License-Identifier: GPL-3.0-or-later
"""`cranksag doctor`: is everything there, does it compute, and what is to be installed if not."""

from __future__ import annotations

import platform
import re
import shutil
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, version
from typing import TYPE_CHECKING

import typer

from cranksag.cli import console
from cranksag.errors import CranksagError, DeckError, LibraryMissing

if TYPE_CHECKING:
    from cranksag.solver import Deck

PACKAGES = ("PySpice", "cffi", "numpy", "scipy", "matplotlib", "pydantic", "typer", "rich")
MINIMUM_PYTHON = (3, 11)
SAMPLES = (("restarting", False), ("standby-pack", True))  # example and whether its display is to hold
_CONTROL_CARDS = frozenset({".options", ".tran", ".meas", ".save", ".end"})  # the solver writes its own
_TRAN = re.compile(r"\.tran\s+\S+\s+(\S+)\s+\S+\s+(\S+)", re.IGNORECASE)
_SUFFIX = {"m": 1e-3, "u": 1e-6}
_WIDE = (-1e6, 1e6)  # [V] a top circuit's own envelope is not known here; the solver's other checks all apply


@dataclass(frozen=True, slots=True)
class Finding:
    """One line: what was looked at, whether it is well, what was found, and what to do if it is not."""

    subject: str
    well: bool
    found: str
    remedy: str = ""


def run() -> None:
    """Check the installation: Python packages, ngspice's library, the netlists, and sample simulations.

    Exit code 0 if all is well, 3 if simulations cannot run.
    """
    findings = []
    for check in (_python, _packages, _library, _netlists, _circuits, _samples, _ngspice_command):
        for finding in _guarded(check):
            findings.append(finding)
            console.data(_line(finding))
    bad = [f for f in findings if not f.well]
    if not bad:
        console.data("Everything needed is here.")
        return
    remedies = list(dict.fromkeys(f.remedy for f in bad if f.remedy))
    console.data("\n".join(["Not well: " + ", ".join(f.subject for f in bad) + ".", *remedies]))
    raise typer.Exit(LibraryMissing.exit_code)


def _line(finding: Finding) -> str:
    return f"{'ok ' if finding.well else 'BAD'}  {finding.subject:22}  {console.plain(finding.found)}"


def _guarded(check: Callable[[], Iterator[Finding]]) -> Iterator[Finding]:
    """The findings of one check; what it raises is a finding too."""
    subject = check.__name__.strip("_").replace("_", " ")
    try:
        yield from check()
    except LibraryMissing as error:
        yield Finding(subject, False, error.what, error.todo)
    except (CranksagError, ImportError, OSError) as error:
        yield Finding(subject, False, str(error).splitlines()[0] if str(error) else type(error).__name__)


def _python() -> Iterator[Finding]:
    well = sys.version_info >= MINIMUM_PYTHON
    yield Finding("cranksag", True, _version("cranksag") or "not installed as a package")
    yield Finding("python", well, f"{platform.python_version()} at {sys.executable}", "Install Python 3.11 or later.")


def _version(package: str) -> str | None:
    try:
        return version(package)
    except PackageNotFoundError:
        return None


def _packages() -> Iterator[Finding]:
    for name in PACKAGES:
        found = _version(name)
        yield Finding(
            name, found is not None, found or "missing", f"Install it: {sys.executable} -m pip install {name}"
        )


def _library() -> Iterator[Finding]:
    from cranksag.solver import library_info

    info = library_info()
    yield Finding("ngspice library", True, f"{info.name} {info.version or '(no version)'} at {info.path}")


def _netlists() -> Iterator[Finding]:
    from cranksag.circuit.netlists import branch_names, circuits_directory

    folder = circuits_directory()
    yield Finding("netlists", True, f"{len(branch_names())} top circuits in {folder}")


def _circuits() -> Iterator[Finding]:
    from cranksag.circuit.netlists import branch_names
    from cranksag.solver import get_solver

    for name in branch_names():
        subject = f"circuits/{name}.cir"
        try:
            waveforms = get_solver().run(top_deck(name))
        except LibraryMissing:
            raise
        except CranksagError as error:
            yield Finding(
                subject, False, str(error).splitlines()[0], "Install cranksag again; its netlists do not run."
            )
            continue
        yield Finding(subject, True, f"runs with its defaults, {waveforms.points} points")


def top_deck(name: str) -> Deck:
    """A top circuit as it stands in its file, defaults and all, ready for the solver.

    Raises
    ------
    DeckError : it has no transient analysis, or cannot be read.
    """
    from cranksag.circuit.netlists import read_netlist
    from cranksag.solver import Deck

    netlist = read_netlist(name)
    pieces = [part.text for part in netlist.subcircuits.values()] + [text for _, text in netlist.pieces]
    lines = [line for piece in pieces for line in piece.splitlines()]
    analysis = next((m for m in map(_TRAN.match, lines) if m), None)
    if analysis is None:
        raise DeckError(f"circuits/{name}.cir has no .tran line")
    kept = [line for line in lines if line.strip() and line.split()[0].lower() not in _CONTROL_CARDS]
    return Deck("\n".join(kept), ("v(display)",), _seconds(analysis[1]), {"v(display)": _WIDE}, _seconds(analysis[2]))


def _seconds(text: str) -> float:
    scale = _SUFFIX.get(text[-1].lower())
    return float(text) if scale is None else float(text[:-1]) * scale


def _samples() -> Iterator[Finding]:
    from cranksag.examples import example_text
    from cranksag.scenario import loads_scenario
    from cranksag.simulate import simulate

    for name, holds in SAMPLES:
        display = simulate(loads_scenario(example_text(name), name)).display
        state = "keeps running" if display.holds else "restarts"
        text = f"display {state}, lowest supply {display.minimum_voltage:z.2f} V"
        yield Finding(f"example {name}", display.holds is holds, text, "The examples do not come out as they should.")


def _ngspice_command() -> Iterator[Finding]:
    found = shutil.which("ngspice")
    yield Finding("ngspice command", True, found or "not installed; only `cranksag netlist` files need it")
