# SPDX-License-Identifier: GPL-3.0-or-later
"""What if a part fails: each single fault of a boat run with the key off, in RUN and in START.

With the key off and the hold-up full, three things must stay dead whatever single part fails: the S terminal and the
start signal (an engine that cranks by itself), and the feed behind the key, on which a run solenoid (an engine that
will not stop) and the alternator's excitation hang. The first two must stay dead in RUN as well. A conductor that
carries more than its ampacity where no fuse opens in time is a danger too, and so is a battery shorted through a cable
without a fuse, and more voltage at a display than it stands. Fuses are taken as holding, so that the
currents can be compared with them.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Any

from cranksag.errors import LibraryDead, SimulationError
from cranksag.resolve.model import Bank, Boat, NoHoldUp, Note
from cranksag.runner import Job, limit_of, run_many
from cranksag.studies.faultedits import SOUND, Fault
from cranksag.studies.faultlist import single_faults
from cranksag.studies.faultloads import HOT, OVERLOADED, conductor_dangers, limiter_dangers
from cranksag.studies.faultreading import (
    EMPTY,
    Current,
    FaultRow,
    LiveNode,
    Outcome,
    charge_of,
    currents_of,
    fuses_of,
    left_empty,
    live_by_design,
    live_nodes,
    opened,
    outcome,
    with_fuses_opened,
    with_inrush,
)
from cranksag.studies.faultrun import Bench, Run, Tally, make_bench, run_fault, without_hold_up
from cranksag.studies.faultshorts import SHORTED, charge_warnings, load_dump_warnings, short_dangers
from cranksag.studies.faultskipped import NotTried, not_tried
from cranksag.studies.faultwords import (
    MAY_HOLD,
    OVER_VOLTAGE,
    SURGE,
    current_warnings,
    fuse_opens,
    message,
    node_dangers,
    node_warnings,
    voltage_warnings,
)

RUNS, RUNS_OF_A_BANK = 7, 8
"""Runs behind a row at most, none longer than a whole crank: the fault, with the key off where its crank fails, twice
with fuses opened, and the same without the hold-up; with a bank the fault, its charge, the crank beside an empty bank,
twice with fuses opened, and without the hold-up; twice with the alternator at work where a fault is about that."""

__all__ = ["Current", "FaultRow", "FaultStudy", "LiveNode", "fault_document", "not_tried", "run_faults"]


class FaultStudy:
    """One boat with what its rows are compared with; a `Work` of the runner, its tasks are part and fault."""

    def __init__(self, boat: Boat) -> None:
        self.boat = boat
        self._bench: Bench | None = None
        self._bare: Bench | None = None
        self._sound: FaultRow | None = None
        self._by_design: frozenset[str] = frozenset()

    def prepare(self) -> None:
        """Run the sound boat.

        Raises: SimulationError if it cannot be computed.
        """
        before = Tally.runs
        self._bench = make_bench(self.boat)
        self._bare = None if isinstance(self.boat.hold_up, NoHoldUp) else make_bench(without_hold_up(self.boat))
        self._by_design = live_by_design(self._bench, self._bare)
        sound = self._judged(self._bench, Fault(*SOUND, ()))
        self._sound = dataclasses.replace(sound, runs=Tally.runs - before)

    def __call__(self, task: tuple[str, str]) -> FaultRow:
        """The row of a part and fault, told with the runs of the solver that it took."""
        before = Tally.runs
        row = self._row_of(task)
        return row if task == SOUND else dataclasses.replace(row, runs=Tally.runs - before)

    def _row_of(self, task: tuple[str, str]) -> FaultRow:
        if self._bench is None or self._sound is None:
            self.prepare()
        assert self._bench is not None
        assert self._sound is not None
        if task == SOUND:
            return self._sound
        fault = next(f for f in single_faults(self.boat) if (f.part, f.fault) == task)
        return self._judged(self._bench, fault)

    def _judged(self, bench: Bench, fault: Fault) -> FaultRow:
        row = _row(bench, fault, self._sound, self._by_design)
        if not row.danger or self._bare is None:
            return row
        if {n.code for n in row.dangers} == {SHORTED}:  # a main cable's, hold-up or not
            return _innocent(row)
        same = next((f for f in single_faults(self._bare.boat) if (f.part, f.fault) == (fault.part, fault.fault)), None)
        return _with_blame(row, self._bare, same, self._by_design, self._sound)


def run_faults(
    boat: Boat, chosen: Callable[[Fault], bool] = lambda fault: True, workers: int | None = 0
) -> tuple[FaultRow, ...]:
    """Every single fault of a boat, the sound boat first, then the worst first.

    Parameters
    ----------
    boat : resolved
    chosen : which faults to run; the sound boat always is
    workers : processes, so that a fault that hangs the solver loses its own row only; None for one to each processor,
        0 to stay in this process

    Returns
    -------
    rows; a fault whose run fails is listed as a danger of its own (``not_computed``)

    Raises
    ------
    SimulationError
        The sound boat cannot be computed, or ngspice has become unusable in this process.
    """
    study = FaultStudy(boat)
    sound = study(SOUND)
    faults = [f for f in single_faults(boat) if f.edits and chosen(f)]
    tasks = [(f.part, f.fault) for f in faults]
    if workers == 0:
        rows = [study(task) for task in tasks]
    else:
        limit = (RUNS_OF_A_BANK if isinstance(boat.hold_up, Bank) else RUNS) * limit_of(boat)
        jobs = [Job(f"{part}: {fault}", (part, fault), limit) for part, fault in tasks]
        rows = []
        for done in run_many(jobs, FaultStudy(boat), workers):
            part, fault = tasks[done.number]
            rows.append(_not_computed(Fault(part, fault, ()), done.reason) if done.failure else done.payload)
        order = {task: number for number, task in enumerate(tasks)}
        rows.sort(key=lambda r: order[r.part, r.fault])
    return (sound, *sorted(rows, key=_badness))


def fault_document(rows: tuple[FaultRow, ...], left_out: tuple[NotTried, ...] = ()) -> list[dict[str, Any]]:
    """The rows as plain data; numbers are finite or None. `left_out`, not tried, stands in the sound boat's row.

    Of each current `fuse_opens` says "no", "may" or "yes" where a fuse carries it, None elsewhere, and
    `fuse_opens_within_s` within which time [s] where it must by itself.
    """
    return [
        {
            "part": row.part,
            "fault": row.fault,
            "live_nodes": [{"node": n.node, "voltage_v": n.voltage, "key": n.key} for n in row.live_nodes],
            "currents": [_current(c) for c in row.currents],
            "danger": row.danger,
            "message": row.message,
            "dangers": [{"code": n.code, "message": n.message} for n in row.dangers],
            "warnings": [{"code": n.code, "message": n.message} for n in row.warnings],
            "from_hold_up": row.from_hold_up,
            "display_alive": row.display_alive,
            "display_minimum_v": row.display_minimum,
            "display_holds": row.display_holds,
            "cranks": row.cranks,
            "coil_kick_v": row.coil_kick,
            "display_highest_v": row.display_highest,
            "display_top_v": None if row.display_top is None else row.display_top[0],
            "bank_charge_c": row.charge,
            "runs": row.runs,
            "not_tried": [
                {"part": n.part, "fault": n.fault, "reason": n.reason}
                for n in (left_out if (row.part, row.fault) == SOUND else ())
            ],
        }
        for row in rows
    ]


def _current(current: Current) -> dict[str, Any]:
    over, latest = current.pulse, current.opens[1]
    told = None if over is None else {"i2t_a2s": over.i2t, "duration_s": over.duration, "peak_a": over.peak}
    return {
        "element": current.element,
        "current_a": current.current,
        "limit_a": current.limit,
        "key": current.key,
        "lasting_a": current.lasting,
        "pulse": told,
        "fuse_opens": fuse_opens(current),
        "fuse_opens_within_s": latest if latest < MAY_HOLD else None,
    }


def _badness(row: FaultRow) -> tuple[bool, bool, bool, bool, float, bool]:
    worst = max((c.use for c in row.currents), default=0.0)
    codes = {n.code for n in row.dangers}
    burns_only = codes <= {OVERLOADED, HOT, OVER_VOLTAGE, SHORTED}
    order = (not row.danger, burns_only, not row.from_hold_up, SHORTED not in codes)
    return (*order, -max(worst, 1.0), row.display_holds is True)


def _row(bench: Bench, fault: Fault, sound: FaultRow | None, by_design: frozenset[str]) -> FaultRow:
    trouble = ""
    try:
        run = run_fault(bench, fault)
    except SimulationError as error:
        if sound is None or isinstance(error, LibraryDead):
            raise
        trouble = str(error.args[0]) if error.args else "no answer"
        try:
            run = run_fault(bench, fault, phases=1)
        except LibraryDead:
            raise
        except SimulationError:
            return _not_computed(fault, trouble)
    live = with_fuses_opened(bench, fault, run, live_nodes(bench.boat, run))
    currents = currents_of(bench, run)
    charge = charge_of(bench, fault) if isinstance(bench.boat.hold_up, Bank) and run.cranked else None
    charging = None
    if charge is not None:
        currents, charging = with_inrush(currents, charge), charge.run
    dangers = [*node_dangers(bench.boat, live, run, by_design), *conductor_dangers(bench, run, fault, sound, charging)]
    dangers += [*limiter_dangers(bench, run, fault, currents), *short_dangers(bench, run, fault)]
    found = outcome(bench.boat, run)
    if sound is not None and left_empty(charge.taken if charge else None, sound):
        found = _with_empty_bank(bench, fault, found)
    loads = current_warnings(bench, (run, *([charging] if charging else [])), fault, currents, sound)
    volts = voltage_warnings(bench.boat, found, currents, sound)
    if any(n.code == OVER_VOLTAGE for n in volts):  # a fuse whose gravest current is in another position of the key
        volts = voltage_warnings(bench.boat, found, fuses_of(bench, run), sound)
    if any(n.code == SURGE for n in volts) and not _ends_surge(bench, fault, run, sound):
        volts = voltage_warnings(bench.boat, found, [], sound)
    dangers += [n for n in volts if n.code == OVER_VOLTAGE]
    warnings = [*node_warnings(bench.boat, live, by_design), *loads, *(n for n in volts if n.code != OVER_VOLTAGE)]
    warnings += [*charge_warnings(bench, fault), *load_dump_warnings(bench.boat, fault)]
    row = FaultRow(
        part=fault.part,
        fault=fault.fault,
        live_nodes=tuple(live),
        currents=tuple(currents),
        dangers=tuple(dangers),
        warnings=tuple(warnings),
        from_hold_up=None,
        display_alive=found.alive,
        display_minimum=found.minimum,
        display_holds=found.holds,
        cranks=found.cranks,
        coil_kick=found.coil_kick,
        display_highest=found.display_highest,
        message="",
        charge=None if charge is None else charge.taken,
        display_top=found.display_top,
    )
    return dataclasses.replace(row, message=message(bench, run, fault, row, sound, by_design, trouble))


def _ends_surge(bench: Bench, fault: Fault, run: Run, sound: FaultRow | None) -> bool:
    """Whether a display's over-voltage is gone with the fuses opened that surely open within `BRIEF`."""
    try:
        rest = run_fault(bench, fault, more=opened(bench, run))
    except SimulationError:
        return False
    found = outcome(bench.boat, rest)
    return not any(n.code == OVER_VOLTAGE for n in voltage_warnings(bench.boat, found, [], sound))


def _with_empty_bank(bench: Bench, fault: Fault, full: Outcome) -> Outcome:
    """The displays' outcome beside a bank that a fault leaves uncharged; a bank still full from before hides it."""
    try:
        empty = outcome(bench.boat, run_fault(bench, fault, more=(EMPTY,)))
    except SimulationError:
        return full
    return dataclasses.replace(full, alive=empty.alive, minimum=empty.minimum, holds=empty.holds)


def _not_computed(fault: Fault, trouble: str) -> FaultRow:
    message = f"could not be computed ({trouble}): take it as dangerous until it is measured"
    note = Note("not_computed", message)
    return FaultRow(fault.part, fault.fault, (), (), (note,), (), None, None, None, None, None, None, None, message)


def _with_blame(
    row: FaultRow, bare: Bench, fault: Fault | None, by_design: frozenset[str], sound: FaultRow | None
) -> FaultRow:
    """Whether the same boat without the hold-up has the same dangers from the same fault."""
    if fault is None:
        return dataclasses.replace(row, from_hold_up=True)
    try:
        run = run_fault(bare, fault)
    except SimulationError:
        return row
    found = (
        *node_dangers(bare.boat, live_nodes(bare.boat, run), run, by_design),
        *conductor_dangers(bare, run, fault, sound),
        *short_dangers(bare, run, fault),
        *voltage_warnings(bare.boat, outcome(bare.boat, run), [], sound),
    )
    codes = {n.code for n in found}
    own = any(n.code not in codes for n in row.dangers)
    return dataclasses.replace(row, from_hold_up=True) if own else _innocent(row)


def _innocent(row: FaultRow) -> FaultRow:
    said = f"{row.message}; the hold-up has no part in it"
    return dataclasses.replace(row, from_hold_up=False, message=said)
