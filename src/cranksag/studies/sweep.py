# SPDX-License-Identifier: GPL-3.0-or-later
"""Sweep: crank every combination of axis values and say which hold."""

from __future__ import annotations

import re
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, nullcontext
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from cranksag.catalogue import Catalogue
from cranksag.errors import InputError, Interrupted
from cranksag.resolve import Boat
from cranksag.runner import (
    SUFFIX,
    BoatWork,
    Job,
    Journal,
    Keys,
    Outcome,
    Progress,
    StopRequest,
    run_many,
)
from cranksag.scenario import Scenario
from cranksag.simulate import Ladder, simulate_boat
from cranksag.solver import LADDER
from cranksag.studies.analysis import boundary, drivers, near_switching, not_started, survivors
from cranksag.studies.axes import Axis, parse_axes
from cranksag.studies.earlier import NAME, Earlier, earlier, seal
from cranksag.studies.measures import RowMeasure, parse_price
from cranksag.studies.plan import Plan, make_plan, parse_sample
from cranksag.studies.still import booting_at_start, still_axes
from cranksag.studies.store import checked_target, write_table
from cranksag.studies.superseded import hiding, told
from cranksag.studies.table import STATUSES, AxisColumn, Table
from cranksag.verdict.results import Result

__all__ = ["Sweep", "Ties", "summary_of", "sweep"]


_BOOT_FIELDS = re.compile(
    r"crank\.key_on_before|feed\.key_terminal|displays\.\d+\.(boot_time|part)|hold_up\.(branch|relay|contact)"
)
"""Fields that decide whether a display is still booting at START."""


@dataclass(frozen=True, slots=True)
class Ties:
    """What ties the axes of a sweep, each as written after its option: `zipped` "PATH,PATH", `same` "PATH=PATH",
    `where` "PATH <= PATH", `sample` "latin N" with its `seed`."""

    zipped: tuple[str, ...] = ()
    same: tuple[str, ...] = ()
    where: tuple[str, ...] = ()
    sample: str | None = None
    seed: int = 0


@dataclass(frozen=True, slots=True)
class Sweep:
    """A finished or interrupted sweep: its `table`, its `summary` (keys as in the JSON), whether it was `interrupted`,
    and whether its file was `written`: what an earlier sweep left there stays while it holds more, and where it holds
    all rows already."""

    table: Table
    summary: dict[str, Any]
    interrupted: bool
    written: bool = False


def sweep(
    scenario: Scenario,
    axes: Sequence[str | Axis],
    ties: Ties | None = None,
    *,
    catalogue: Catalogue | None = None,
    prices: Sequence[str] = (),
    workers: int | None = None,
    on: str | None = None,
    out: Path | str | None = None,
    resume: bool = False,
    force: bool = False,
    wall_limit: float | None = None,
    ladder: Ladder = LADDER,
    simulate: Callable[[Boat, Ladder], Result] = simulate_boat,
    progress: bool = False,
) -> Sweep:
    """Crank every combination of axis values.

    Each row is its own simulation in a worker process; one that fails loses itself only and says why. With `out`
    a journal is kept beside the file until that is complete, so that an interrupted sweep can be carried on with
    `resume`. The rows of a complete file are taken over as well: those of this very boat, model and solver that nobody
    has changed since. A file of other combinations, or of another boat, is not written over.

    Parameters
    ----------
    scenario : the boat to change
    axes : swept fields, as ``PATH=SPEC`` or made already
    ties : zipped axes, fields that follow others, conditions, a sample
    catalogue : parts to name; the shipped ones by default
    prices : ``PATH=VALUE:AMOUNT``, or ``.../m`` for wire
    workers : processes; one for each processor by default
    on : "dask://host:port" of a running scheduler instead
    out : table to write: .csv, .parquet or .sqlite
    resume : carry on with what `out` and its journal hold; only what is in neither is run
    force : write over whatever `out` holds once the new table has as much, and run everything anew; with `resume`,
        what `out` and its journal hold of this very sweep is kept
    wall_limit : longest one row may take [s]; by default 20 s for each second simulated, 60 s at least
    ladder : groups of solver settings, tried in order
    simulate : an importable function from boat and ladder to result
    progress : tell on stderr how far it is

    Returns
    -------
    Sweep

    Raises
    ------
    InputError
        Axes, ties, prices or files that cannot be used; every problem.
    SimulationError
        No worker can start, or there is no solver.
    """
    plan = plan_of(axes, ties if ties is not None else Ties(), catalogue, scenario.hold_up.branch)
    plan = replace(plan, hides=hiding(scenario, [axis.path for axis in plan.axes]))
    measure = RowMeasure.of(catalogue, [parse_price(text) for text in prices])
    work = BoatWork((scenario,), measure, catalogue, ladder, simulate)
    _first_rows(plan, scenario)
    if resume and out is None:
        raise InputError(["--resume needs --out: the journal lies beside that file"])
    target = None if out is None else checked_target(out)
    keys = Keys(work)
    before = None if target is None else earlier(target, plan, keys, resume=resume, force=force)
    if target is not None and force and not resume:
        journal_path(target).unlink(missing_ok=True)
    journal = None if target is None else Journal(journal_path(target), resume=resume)
    if journal is not None and not force:
        _refuse_strange(journal, plan, keys)
    run = _Run(plan, work, keys, before if resume or not force else None)
    written = False

    def state() -> str:
        untouched = "" if before is None or written else str(target)
        return interrupted(run.done, run.count, kept=target is not None, untouched=untouched)

    try:
        with closing(journal) if journal is not None else nullcontext(), StopRequest(state) as stop:
            with Progress(run.count, quiet=not progress) as bar:
                run.fill(stop, bar, journal, workers, on, wall_limit)
            finished = run.finished()
            as_it_is = before is not None and run.taken_over == run.count == len(before)
            if target is not None and not as_it_is and _may_write(finished, before):
                write_table(finished.table, target)
                written = True
    except KeyboardInterrupt:  # after the request was heard and left
        raise Interrupted(state()) from None
    if journal is not None and not finished.interrupted:
        journal.path.unlink(missing_ok=True)
    return replace(finished, written=written)


def plan_of(axes: Sequence[str | Axis], ties: Ties, catalogue: Catalogue | None, branch: str | None = None) -> Plan:
    """The plan of axes and ties, both as written; `branch`: the hold-up branch where no axis changes it.

    Raises
    ------
    InputError
        Every problem.
    """
    written = [axis for axis in axes if isinstance(axis, str)]
    paths = [axis.partition("=")[0].strip() if isinstance(axis, str) else axis.path for axis in axes]
    read = iter(parse_axes(written, catalogue, branch=None if "hold_up.branch" in paths else branch))
    made = [next(read) if isinstance(axis, str) else axis for axis in axes]
    sample = None if ties.sample is None else parse_sample(ties.sample, ties.seed)
    return make_plan(made, ties.zipped, ties.same, ties.where, sample)


def interrupted(done: Callable[[], int], count: int, *, kept: bool, untouched: str = "") -> str:
    """What an interrupted sweep says: rows `done` of `count`, whether they are `kept` in a journal, and the file that
    is left `untouched`."""
    further = "the same command with --resume carries on" if kept else "with --out they would be kept"
    stays = f"{untouched} is left as it was; " if untouched else ""
    return f"interrupted: {done()} of {count} rows done; {stays}{further}"


def journal_path(target: Path) -> Path:
    """The journal of a table."""
    return target.with_name(target.name + SUFFIX)


def _refuse_strange(journal: Journal, plan: Plan, keys: Keys) -> None:
    """Refuse a journal with rows of another sweep: it goes once this one is complete."""
    if not len(journal):
        return
    strange = journal.strange(keys.of(plan.task(row)) for row in plan.rows())
    if strange:
        journal.close()
        told = f"{strange} of its {len(journal)} rows are of another boat, other values, parts or prices, or another"
        todo = "choose another --out, or add --force to let them go"
        raise InputError([f"{journal.path}: {told} version; {todo}"])


def _may_write(found: Sweep, before: Earlier | None) -> bool:
    """Whether the file may hold this table: a complete one, or one of some rows that has all that is there."""
    if not found.interrupted:
        return True
    return len(found.table.done()) > 0 and (before is None or not before.outlasts(found.table))


def _first_rows(plan: Plan, scenario: Scenario) -> None:
    """Refuse a sweep whose rows cannot be boats: the same mistake in every row is told before anything is run."""
    rows = plan.rows()
    first = next(rows, None)
    if first is None:
        raise InputError(["no combination meets the conditions of --where"])
    tried = [first, *(row for _, row in zip(range(2), rows, strict=False))]
    told: list[InputError] = []
    for row in tried:
        try:
            plan.task(row).of(scenario, "--axis")
        except InputError as error:
            told.append(error)
    if len(told) == len(tried):
        raise told[0]


class _Run:
    """One sweep under way."""

    def __init__(self, plan: Plan, work: BoatWork, keys: Keys, before: Earlier | None) -> None:
        self.plan, self.work, self._keys, self._before = plan, work, keys, before
        self._rows: list[int] = []  # of the jobs handed out
        self.count = plan.count()
        columns = [AxisColumn(axis.path, axis.unit, axis.free_text) for axis in plan.axes]
        self.table = Table.empty(columns, self.count)
        self.failures: Counter[str] = Counter()
        self.computed = self.recalled = 0
        self.taken_over = 0  # of `recalled`, from the earlier table
        self._fresh = np.zeros(self.count, dtype=bool)  # rows that were computed
        self._again = np.zeros(self.count, dtype=bool)  # rows of `recalled` that the earlier table did not have
        self.workers = 0
        self.on: str | None = None
        self.seconds = 0.0

    def fill(
        self,
        stop: StopRequest,
        bar: Progress,
        journal: Journal | None,
        workers: int | None,
        on: str | None,
        wall_limit: float | None,
    ) -> None:
        """Run what has to be run, row by row into the table."""
        began = time.perf_counter()
        self._keep(wall_limit, bar)
        outcomes = run_many(self._jobs(), self.work, workers, on=on, wall_limit=wall_limit, journal=journal, stop=stop)
        self.workers, self.on = outcomes.workers, on
        try:
            for outcome in outcomes:
                self._take(outcome)
                bar.step(failed=bool(outcome.failure), recalled=outcome.recalled)
        finally:
            outcomes.close()
            self.seconds = time.perf_counter() - began

    def done(self) -> int:
        """Rows that are in the table."""
        return self.computed + self.recalled

    def _keep(self, wall_limit: float | None, bar: Progress) -> None:
        """Take over what an earlier table holds, all of it before anything is run: an interrupt then loses none."""
        if self._before is None:
            return
        for number, job in self._numbered():
            if self._before.give(job, wall_limit, self.table, number):
                failed = self.table.status[number] == STATUSES.index("failed")
                if failed:
                    self.failures[self.table.texts["reason"][number].partition(":")[0]] += 1
                self.recalled += 1
                self.taken_over += 1
                bar.step(failed=failed, recalled=True)
        self._before = None

    def _numbered(self) -> Iterator[tuple[int, Job]]:
        """Every row that is not in the table yet, as a job; its axes are from here on."""
        for number, row in enumerate(self.plan.rows()):
            if not self.table.status[number]:
                self.table.put_axes(number, row.texts, row.values)
                yield number, self._keys.job(self.plan.task(row))

    def _jobs(self) -> Iterator[Job]:
        for number, job in self._numbered():
            self._rows.append(number)
            yield job

    def _take(self, outcome: Outcome) -> None:
        row = self._rows[outcome.number]
        if outcome.failure:
            self.table.fail(row, f"{outcome.failure}: {outcome.reason}")
            self.failures[outcome.failure] += 1
            if outcome.failure == "hung":
                self.table.numbers["solve_s"][row] = outcome.seconds
        else:
            self.table.put(row, outcome.payload)
        seal(self.table, row, outcome.key)
        self.recalled += outcome.recalled
        self.computed += not outcome.recalled
        self._fresh[row], self._again[row] = not outcome.recalled, outcome.recalled

    def _repeated(self) -> int:
        """Rows of a boat that another row of this sweep has as well, which was computed for both."""
        names = self.table.keys.astype(f"S{NAME}")
        return int(np.isin(names[self._again], names[self._fresh]).sum())

    def finished(self) -> Sweep:
        """The sweep with its summary."""
        repeated = self._repeated()
        groups = [[self.plan.axes[k].path for k in group] for group in self.plan.groups]
        sample = self.plan.sample
        self.table.meta = {
            "title": self.work.bases[0].title or "",
            "plan": {
                "kind": "grid" if sample is None else sample.kind,
                "count": self.count if sample is None else sample.count,
                "groups": groups,
            },
            "seconds": self.seconds,
            "rate_per_s": self.computed / self.seconds if self.seconds > 0.0 else None,
            "workers": self.workers,
            "on": self.on,
            "computed": self.computed,
            "recalled": self.recalled - repeated,
            "repeated": repeated,
            "combinations": self.count,
            "failures": dict(self.failures),
            "booting": self._booting(),
            "notes": [told(path, figures) for path, figures in self.plan.hides.items()],
        }
        summary = summary_of(self.table)
        return Sweep(self.table, summary, summary["not_run"] > 0)

    def _booting(self) -> list[int]:
        """Numbers of the displays that are still booting at START in every row; none where an axis decides that."""
        if any(_BOOT_FIELDS.fullmatch(axis.path) for axis in self.plan.axes):
            return []
        try:
            first = next(self.plan.rows())
            return list(booting_at_start(self.work.boat(self.plan.task(first))))
        except InputError:  # the row says so
            return []


def summary_of(table: Table, margin: float = 0.0) -> dict[str, Any]:
    """The summary of a table, just made or opened again: keys as in the JSON of `cranksag sweep`.

    Parameters
    ----------
    table : rows
    margin : margin [V] that a survivor has at least
    """
    counts, meta = table.counts(), table.meta
    combinations = meta.get("combinations", len(table))
    alive = survivors(table, margin)
    found = boundary(table)
    return {
        "title": meta.get("title"),
        "combinations": combinations,
        "held": counts["held"],
        "not_started": len(not_started(table)),
        "restarted": counts["restarted"],
        "failed": counts["failed"],
        "not_run": combinations - sum(counts.values()),
        "seconds": meta.get("seconds"),
        "rate_per_s": meta.get("rate_per_s"),
        "workers": meta.get("workers"),
        "on": meta.get("on"),
        "computed": meta.get("computed"),
        "recalled": meta.get("recalled"),
        "repeated": meta.get("repeated"),
        "failures": meta.get("failures") or _failures(table),
        "notes": [*meta.get("notes", ()), *still_axes(table, meta.get("booting", ()))],
        "survivors": len(alive),
        "survivor_margin_v": margin,
        "near_switching": len(near_switching(table)),
        "boundary": len(found),
        "drivers": [asdict(driver) for driver in drivers(table)],
        "axes": [{"path": axis.path, "unit": axis.unit} for axis in table.axes],
    }


def _failures(table: Table) -> dict[str, int]:
    """Failed rows by kind, read from their reasons."""
    kinds = (table.texts["reason"][int(row)].partition(":")[0] for row in table.rows_with("failed"))
    return dict(Counter(kinds))
