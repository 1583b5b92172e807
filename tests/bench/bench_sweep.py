# SPDX-License-Identifier: GPL-3.0-or-later
"""Sweep: throughput against bare runs of the same decks, minimum voltage against tighter steps, memory, parent's cost.

Figures are ratios within one run of this script, taken in turn several times, because other work may share the machine.
Where it does, two workers and a lone loop do not get the same share of it; the ratio of processor times does not mind.
`CRANKSAG_BENCH=full` runs the 10,000 combinations of the standby-pack example and the 200 tight ones; else a part of
them is run and the time of the whole is computed from it.
"""

from __future__ import annotations

import os
import resource
import statistics
import tempfile
import time
from dataclasses import replace
from importlib import resources
from pathlib import Path

import numpy as np

from cranksag.circuit import build_circuit
from cranksag.resolve import resolve
from cranksag.runner import BoatWork, Changed, Keys, default_workers, run_many
from cranksag.scenario import Scenario, load_scenario
from cranksag.solver import LADDER, get_solver
from cranksag.studies import sweep
from cranksag.studies.measures import NUMBERS, RowMeasure
from cranksag.studies.sweep import Ties, plan_of
from cranksag.studies.table import AxisColumn, Table
from cranksag.verdict import judge

FULL = os.environ.get("CRANKSAG_BENCH") == "full"
WHOLE = 10_000
ROWS = WHOLE if FULL else 120
TIGHT_ROWS = 200 if FULL else 20
ROUNDS, BARE_ROWS = 3, 15
TARGET_SHARE, TARGET_SECONDS, TARGET_VOLTS, TARGET_BYTES = 0.85, 60.0, 5e-3, 1e9
AXES = (
    "battery.rating=600 A:1000 A:10",
    "battery.health=50 %:100 %:10",
    "feed.length=10 ft:40 ft:10",
    "hold_up.coil_resistance=60 ohm:120 ohm:10",
)
TIGHTER = tuple(replace(s, ceiling_scale=s.ceiling_scale / 260.0) for s in LADDER)
"""Where something happens the steps are far below the ceiling: it takes so low a one to have ten times as many."""


def standby_pack() -> Scenario:
    with resources.as_file(resources.files("cranksag.examples") / "standby-pack.toml") as path:
        return load_scenario(path)


def tasks(count: int) -> list[Changed]:
    """Rows of the grid, spread over it."""
    plan = plan_of(AXES, Ties(), None)
    step = max(1, plan.count() // count)
    return [plan.task(row) for k, row in enumerate(plan.rows()) if k % step == 0][:count]


def bare(scenario: Scenario, rows: list[Changed]) -> tuple[float, float]:
    """Seconds and processor seconds for each run of the decks alone, in this process."""
    decks = [build_circuit(resolve(scenario.with_overrides(dict(row.overrides)))).deck for row in rows]
    solver = get_solver()
    began, cpu = time.perf_counter(), time.process_time()
    for deck in decks:
        solver.run(deck)
    return (time.perf_counter() - began) / len(decks), (time.process_time() - cpu) / len(decks)


def children_time() -> float:
    """Processor seconds of the worker processes that have ended."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def start_time(work: BoatWork, workers: int) -> float:
    """Processor seconds of starting the workers and one row in each."""
    before = children_time()
    list(run_many(Keys(work).jobs(tasks(workers)), work, workers))
    return children_time() - before


def throughput(scenario: Scenario, workers: int) -> None:
    """Rows per second of the runner over workers times the rate of bare runs, taken in turn."""
    rows = tasks(ROWS)
    work = BoatWork((scenario,), RowMeasure.of())
    keys = Keys(work)
    bare(scenario, rows[:2])
    shares, seconds, parent, costs = [], [], [], []
    starting = start_time(work, workers)
    part = max(ROWS // ROUNDS, 1)
    for turn in range(ROUNDS):
        mine = rows[turn * part : (turn + 1) * part]
        alone = [bare(scenario, mine[:BARE_ROWS])]
        cpu, children, first, began = time.process_time(), children_time(), 0.0, time.perf_counter()
        done = 0
        for outcome in run_many(keys.jobs(mine), work, workers):
            first = first or time.perf_counter()
            assert not outcome.failure, outcome.reason
            done += 1
        ended = time.perf_counter()
        parent.append((time.process_time() - cpu) / done)
        alone.append(bare(scenario, mine[:BARE_ROWS]))
        rate = (done - 1) / (ended - first)  # without the start of the processes, which a long sweep does not notice
        wall, own = (statistics.mean(column) for column in zip(*alone, strict=True))
        shares.append(rate * wall / workers)
        seconds.append((first - began, 1.0 / rate, wall))
        rows_cost = (children_time() - children - starting) / (done - workers) + parent[-1]
        costs.append(own / rows_cost)
    start, each, alone_each = (statistics.median(column) for column in zip(*seconds, strict=True))
    share = statistics.median(shares)
    print(f"workers                                   {workers}")
    print(f"bare run of a deck                        {alone_each * 1e3:.1f} ms")
    print(f"row of the sweep                          {each * 1e3:.1f} ms")
    print(f"throughput / (workers x bare)             {share:.2f}   (target {TARGET_SHARE}; turns {_list(shares)})")
    print(f"processor time, bare run / row            {statistics.median(costs):.2f}   (turns {_list(costs)})")
    print(f"parent's processor time for a row         {statistics.median(parent) * 1e3:.2f} ms")
    print(f"{WHOLE} combinations of standby-pack      {start + WHOLE * each:.0f} s   (target {TARGET_SECONDS:.0f} s)")


def _list(values: list[float]) -> str:
    return ", ".join(f"{v:.2f}" for v in values)


def overhead(scenario: Scenario) -> None:
    """Where a row's time goes in one process, as shares of the run of its deck."""
    spent: dict[str, list[float]] = {
        name: [] for name in ("overrides", "resolve", "circuit", "solver", "verdict", "row")
    }
    solver, measure = get_solver(), RowMeasure.of()
    for row in tasks(12):
        marks = [time.perf_counter()]
        changed = scenario.with_overrides(dict(row.overrides))
        marks.append(time.perf_counter())
        boat = resolve(changed)
        marks.append(time.perf_counter())
        circuit = build_circuit(boat)
        marks.append(time.perf_counter())
        waveforms = solver.run(circuit.deck)
        marks.append(time.perf_counter())
        result = judge(boat, circuit, waveforms, solver.info())
        marks.append(time.perf_counter())
        measure(result)
        marks.append(time.perf_counter())
        for name, begin, end in zip(spent, marks[:-1], marks[1:], strict=True):
            spent[name].append(end - begin)
    whole = statistics.median(spent["solver"])
    for name, values in spent.items():
        each = statistics.median(values)
        print(f"  {name:<10} {each * 1e3:7.2f} ms   {each / whole:6.1%} of the solver's")


def accuracy(scenario: Scenario, workers: int) -> None:
    """Largest difference of the minimum voltage from runs with ten times as many steps."""
    rows = tasks(TIGHT_ROWS)
    deck = build_circuit(resolve(scenario.with_overrides(dict(rows[0].overrides)))).deck
    points = [get_solver().run(deck, ladder).points for ladder in (LADDER, TIGHTER)]
    place = NUMBERS.index("minimum_voltage_v")
    found = []
    for ladder in (LADDER, TIGHTER):
        work = BoatWork((scenario,), RowMeasure.of(), ladder=ladder)
        outcomes = sorted(run_many(Keys(work).jobs(rows), work, workers), key=lambda o: o.number)
        assert not any(o.failure for o in outcomes), [o.reason for o in outcomes if o.failure][:1]
        found.append(np.array([o.payload[0][place] for o in outcomes]))
    worst = float(np.abs(found[0] - found[1]).max())
    told = f"target {TARGET_VOLTS * 1e3:.0f} mV, {len(rows)} rows, {points[1] / points[0]:.1f} times the steps"
    print(f"minimum against tighter steps             {worst * 1e3:.3f} mV   ({told})")


def memory() -> None:
    """Memory of this process with a table of 100,000 rows, written and read back."""
    count = 100_000
    table = Table.empty([AxisColumn("battery.rating", "A"), AxisColumn("feed.length", "m")], count)
    payload = [[float(k) for k in range(len(NUMBERS))], ["helm", "feed", "", "", ""], "held", ""]
    for row in range(count):
        table.put_axes(row, (f"{row} A", f"{row % 100} m"), (float(row), row % 100.0))
        payload[0][0] = 8.0 + row * 1e-5
        table.put(row, payload)
    from cranksag.studies import read_table, write_table

    with tempfile.TemporaryDirectory() as folder:
        read_table(write_table(table, Path(folder) / "rows.csv"))
    used = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
    child = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss * 1024
    total = used + default_workers() * child
    print(f"memory, 100,000 rows, with the workers    {total / 1e6:.0f} MB   (target {TARGET_BYTES / 1e6:.0f} MB)")


def full(scenario: Scenario, workers: int) -> None:
    result = sweep(scenario, AXES, workers=workers)
    told = result.summary
    print(f"measured: {WHOLE} combinations            {told['seconds']:.0f} s, {told['failed']} failed")


def main() -> None:
    scenario, workers = standby_pack(), default_workers()
    throughput(scenario, workers)
    overhead(scenario)
    accuracy(scenario, workers)
    memory()
    if FULL:
        full(scenario, workers)


if __name__ == "__main__":
    main()
