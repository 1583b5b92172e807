# SPDX-License-Identifier: GPL-3.0-or-later
"""From waveforms to a verdict: cranks?, minimum, time below, restarts, budget, stresses, dangers."""

from __future__ import annotations

import numpy as np

from cranksag.circuit import Circuit
from cranksag.circuit.timing import KeyTimes
from cranksag.resolve.model import Boat, Note
from cranksag.solver import LibraryInfo, Waveforms
from cranksag.verdict.budget import ground_shift, voltage_budget
from cranksag.verdict.cables import cable_dangers
from cranksag.verdict.cranking import battery_and_starter, judge_cranking
from cranksag.verdict.display import first_runs, judge_displays, judged_from, worst_display
from cranksag.verdict.hold_up import hold_up_report
from cranksag.verdict.lowest import with_lowest
from cranksag.verdict.results import DisplayResult, Result, SolverReport, Traces
from cranksag.verdict.starting import start_budget
from cranksag.verdict.stresses import stress_warnings
from cranksag.verdict.switching import MARGIN_BAND, near_switching
from cranksag.verdict.wiring import wiring_checks, wiring_warnings

__all__ = ["judge", "read_traces"]

PICK_UP_WARNING = "hold_up_not_closing"


def read_traces(circuit: Circuit, waveforms: Waveforms) -> Traces:
    """The declared signals on a time axis that is 0 at key-on."""
    signals = {name: signal.read(waveforms.vectors) for name, signal in circuit.signals.items()}
    return Traces(np.asarray(waveforms.time - circuit.times.key_on), signals)


def judge(boat: Boat, circuit: Circuit, waveforms: Waveforms, library: LibraryInfo) -> Result:
    """Everything the run says about the boat; the headline's band is added by `cranksag.simulate`."""
    times = circuit.times
    traces = with_lowest(read_traces(circuit, waveforms), judged_from(boat, times))
    starting = start_budget(boat, traces, circuit.start_loop, circuit.contact_loop, times)
    cranks = judge_cranking(boat, traces, times, starting)
    battery, starter = battery_and_starter(boat, traces, times)
    displays = judge_displays(boat, traces, times)
    display = worst_display(displays)
    report = hold_up_report(boat, traces, times)
    late = [d.name for k, d in enumerate(boat.displays) if first_runs(traces, k) > times.starts[0] - times.key_on]
    shift_at, shift = ground_shift(traces, judged_from(boat, times), times.releases[-1] - times.key_on)
    near = near_switching(boat, cranks, displays, traces, times)
    wiring = wiring_checks(boat, traces, times)
    return Result(
        title=boat.title,
        boat=boat,
        cranks=cranks,
        display=display,
        displays=displays,
        battery=battery,
        starter=starter,
        budget=voltage_budget(boat, traces, circuit.loop, display.minimum_at),
        demand_budget=voltage_budget(boat, traces, circuit.loop, display.demand_minimum_at),
        start_budget=starting,
        ground_shift=shift,
        ground_shift_at=shift_at,
        hold_up=report,
        dangers=(*boat.dangers, *cable_dangers(boat, traces, times)),
        warnings=(
            *boat.warnings,
            *_warnings(boat, cranks.engages, displays, report, near, times),
            *map(_late, late),
            *stress_warnings(boat, traces, times),
            *wiring_warnings(wiring),
        ),
        wiring=wiring,
        near_switching=near,
        estimate=None,
        solver=SolverReport(library.name, library.version, waveforms.points, waveforms.solve_s, waveforms.attempt),
        traces=traces,
    )


def _late(name: str) -> Note:
    return Note("not_ready", f"{name} was not running yet at START: leave the key on longer before cranking")


def _closes_in_start(report: dict[str, object], times: KeyTimes) -> bool:
    """Whether the hold-up relay first closed with a key in START: the collapse after release may lift its coil."""
    closes = report["relay_closes_s"]
    if not isinstance(closes, float):
        return False
    return any(a <= closes + times.key_on <= b for a, b in zip(times.starts, times.releases, strict=True))


def _warnings(
    boat: Boat,
    engages: bool,
    displays: tuple[DisplayResult, ...],
    report: dict[str, object],
    near: tuple[str, ...],
    times: KeyTimes,
) -> list[Note]:
    notes = []
    if near:
        notes.append(Note("near_switching", "near a switching point: " + "; ".join(near)))
    if "relay_closes_s" in report and getattr(boat.hold_up, "relay", None) and not _closes_in_start(report, times):
        notes.append(Note(PICK_UP_WARNING, "the hold-up relay does not pick up: its coil never gets enough volts"))
    if report.get("chatter_count"):
        notes.append(
            Note(
                "hold_up_chatter",
                f"the hold-up relay drops out and closes again {report['chatter_count']} times",
            )
        )
    for display, written in zip(displays, boat.displays, strict=True):
        if display.restarts and display.margin >= MARGIN_BAND and written.circuit.sense_threshold is not None:
            notes.append(Note("sense_reset", f"{display.name} is reset by its sense pin, not by its supply"))
        if not display.holds and display.restarts == 0:
            notes.append(
                Note(
                    "never_started",
                    f"{display.name} never starts: its supply stays below its restart voltage",
                )
            )
    if not engages:
        notes.append(Note("not_cranking", "nothing cranks: the display's verdict means little until that is repaired"))
    return notes
