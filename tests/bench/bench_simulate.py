# SPDX-License-Identifier: GPL-3.0-or-later
"""Speed and accuracy of one simulation, as ratios. A script: it prints its own tables.

1. `simulate()` against a bare load, run and copy of the same deck and options (target: at most 1.3).
2. The default settings against a 1 ms step ceiling everywhere and against a 20 us reference: time and error.
3. Resident memory over many runs in one process (target: under 2 MB over 2,000 runs).
4. The command line on an example, from process start to exit.

The two sides of a ratio are measured in turn, and the median of each is taken, so that a busy machine slows both.
"""

from __future__ import annotations

import argparse
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from cranksag.circuit import Circuit, build_circuit
from cranksag.examples import example_text
from cranksag.resolve import resolve
from cranksag.scenario import Scenario, loads_scenario
from cranksag.simulate import simulate
from cranksag.solver import STANDARD, Settings, get_solver

EXAMPLES = ("restarting", "standby-pack", "reservoir", "converter-24v")
SHORT = {"crank.key_on_before": "500 ms", "crank.key_held": "1500 ms", "crank.after": "300 ms"}
CEILING_1MS, REFERENCE_STEP = 1e-3, 20e-6  # [s]


def scenario(name: str, *, short: bool = False) -> Scenario:
    """An example, as it is or with a short wait before START."""
    found = loads_scenario(example_text(name), name)
    return found.with_overrides(SHORT) if short else found


def bare_run(circuit: Circuit) -> int:
    """Load, run and copy with nothing checked: the floor; number of points."""
    spice = get_solver()._library()  # the one instance a process may hold
    lines = [line for line in circuit.deck.lines(STANDARD) if not line.lstrip().startswith("*")]
    spice.take_lines()
    spice.load(["* bare", *lines])
    spice.command("run")
    plot = spice.current_plot()
    copied = [spice.copy_vector(plot, name) for name in spice.vector_names(plot)]
    spice.command("destroy all")
    spice.command("remcirc")
    spice.take_lines()
    return len(copied[0])


def medians(*actions: Callable[[], object], rounds: int) -> list[float]:
    """Median time of each action [s], all measured in turn."""
    times: list[list[float]] = [[] for _ in actions]
    for _ in range(rounds):
        for action, kept in zip(actions, times, strict=True):
            begin = time.perf_counter()
            action()
            kept.append(time.perf_counter() - begin)
    return [statistics.median(kept) for kept in times]


def against_bare(rounds: int) -> None:
    """Table 1."""
    print("1. simulate() against a bare load + run + copy of the same deck (target: at most 1.3)")
    print(f"   {'example':16s} {'bare ms':>9s} {'simulate ms':>12s} {'ratio':>7s}")
    for name in EXAMPLES:
        boat = scenario(name)
        circuit = build_circuit(resolve(boat))
        simulate(boat)
        bare, whole = medians(lambda c=circuit: bare_run(c), lambda b=boat: simulate(b), rounds=rounds)
        print(f"   {name:16s} {bare * 1e3:9.1f} {whole * 1e3:12.1f} {whole / bare:7.2f}")


def minimum(circuit: Circuit, settings: Settings) -> tuple[float, int]:
    """Display minimum from START on [V] and number of points."""
    waves = get_solver().run(circuit.deck, (settings,), wall_limit=600.0)
    signal = circuit.signals["display"]
    display = waves.vectors[signal.plus] - (waves.vectors[signal.minus] if signal.minus else 0.0)
    return float(display[waves.time > circuit.times.starts[0] - 1e-3].min()), waves.points


def against_reference() -> None:
    """Table 2."""
    print("\n2. default settings against a step ceiling of 1 ms and of 20 us (the reference), same deck")
    print(
        f"   {'example':16s} {'settings':>10s} {'points':>8s} {'ms':>9s} {'time':>6s} {'minimum V':>10s} "
        f"{'error mV':>9s}"
    )
    for name in EXAMPLES:
        circuit = build_circuit(resolve(scenario(name, short=True)))
        ceiling = circuit.deck.step_ceiling
        rows = []
        for label, settings in (
            ("default", STANDARD),
            ("1 ms", Settings("1 ms", ceiling_scale=CEILING_1MS / ceiling)),
            ("20 us", Settings("20 us", ceiling_scale=REFERENCE_STEP / ceiling)),
        ):
            begin = time.perf_counter()
            found, points = minimum(circuit, settings)
            rows.append((label, points, time.perf_counter() - begin, found))
        base, reference = rows[0][2], rows[-1][3]
        for label, points, seconds, found in rows:
            error = (found - reference) * 1e3
            print(
                f"   {name:16s} {label:>10s} {points:8d} {seconds * 1e3:9.1f} {seconds / base:6.1f} {found:10.4f} "
                f"{error:+9.2f}"
            )


def resident() -> float:
    """Resident memory of this process now [MB]."""
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * resource.getpagesize() / 1e6


def memory(runs: int) -> None:
    """Table 3."""
    print(f"\n3. resident memory over {runs} runs in one process (target: under 2 MB over 2,000)")
    boat = scenario("restarting").with_overrides(
        {"crank.key_on_before": "100 ms", "crank.key_held": "500 ms", "crank.after": "100 ms"}
    )
    for _ in range(50):  # caches and arenas fill up first
        simulate(boat)
    levels = [resident()]
    for run in range(1, runs + 1):
        simulate(boat)
        if run % max(runs // 4, 1) == 0:
            levels.append(resident())
    print("   MB at each quarter: " + " ".join(f"{level:.2f}" for level in levels))
    print(f"   growth {levels[-1] - levels[0]:+.2f} MB")


def command_line(rounds: int) -> None:
    """Table 4."""
    print("\n4. the command line on an example, from process start to exit")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "boat.toml"
        path.write_text(example_text("restarting"), encoding="utf-8")

        def run(*words: str) -> Callable[[], object]:
            command = [sys.executable, "-c", "from cranksag.cli import main; main()", *words]
            return lambda: subprocess.run(command, capture_output=True, check=True)

        nothing, help_text, json_run, people = medians(
            lambda: subprocess.run([sys.executable, "-c", "pass"], check=False),
            run("--help"),
            run("simulate", str(path), "--json"),
            run("simulate", str(path)),
            rounds=rounds,
        )
        boat = scenario("restarting")
        simulate(boat)
        (inside,) = medians(lambda: simulate(boat), rounds=rounds)
    print(f"   python alone {nothing:.2f} s, --help {help_text:.2f} s ({help_text / nothing:.1f} x python)")
    print(f"   simulate --json {json_run:.2f} s, simulate {people:.2f} s ({people / inside:.1f} x simulate() inside)")


def main() -> None:
    """Print all tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rounds", type=int, default=15, help="repetitions of each timing")
    parser.add_argument("--runs", type=int, default=2000, help="runs of the memory test")
    chosen = parser.parse_args()
    np.seterr(all="raise", under="ignore")
    against_bare(chosen.rounds)
    against_reference()
    memory(chosen.runs)
    command_line(max(chosen.rounds // 3, 3))


if __name__ == "__main__":
    main()
