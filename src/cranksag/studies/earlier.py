# SPDX-License-Identifier: GPL-3.0-or-later
"""The table that an earlier sweep left in the file that is to be written: what of it must not be lost, and which rows
need not be run again.

A row's `run_key` names the run behind it, by the start of its job's key, and seals its figures, by the start of a hash
of that key and them. So a row is taken over only for the very boat, model and solver that gave it, and only as long as
nobody has changed it.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Sequence
from pathlib import Path

from cranksag.errors import InputError
from cranksag.runner import Job
from cranksag.runner.keys import digest
from cranksag.studies.plan import Plan
from cranksag.studies.store import fields_in, read_table
from cranksag.studies.table import AxisColumn, Table

__all__ = ["Earlier", "earlier", "seal"]

_NAME = 16
"""Characters of a job's key, and of the seal, in a row's `run_key`; 64 bits tell millions of rows apart, and where two
share a name the seal still does."""
_FORCE = "choose another name, or --force to write over it"


def seal(table: Table, row: int, key: str) -> None:
    """Note in a row which job it is of, and what it holds."""
    table.keys[row] = _run_key(table, row, key)


def _run_key(table: Table, row: int, key: str) -> bytes:
    return (key[:_NAME] + digest(key, json.dumps(table.payload(row)))[:_NAME]).encode()


class Earlier:
    """A table as far as its rows may be taken over."""

    def __init__(self, table: Table) -> None:
        self._table = table
        self._rows = {key[:_NAME]: row for row, key in enumerate(table.keys.tolist()) if key}

    def give(self, job: Job, limit: float | None, table: Table, row: int) -> bool:
        """Copy the figures of a job, where they are known, to a row of another table; whether they were.

        Parameters
        ----------
        job : what would be run
        limit : longest it may take [s], where the sweep says so; what hung within less is not known
        table, row : where to
        """
        place = self._rows.get(job.key[:_NAME].encode())
        if place is None or self._table.keys[place] != _run_key(self._table, place, job.key):
            return False
        if self._hung_within(place) < job.within(limit):
            return False
        table.put(row, self._table.payload(place))
        table.keys[row] = self._table.keys[place]
        table.numbers["solve_s"][row] = self._table.numbers["solve_s"][place]
        return True

    def _hung_within(self, row: int) -> float:
        """Time after which a run was given up [s]; without end for one that was not."""
        if not self._table.texts["reason"][row].startswith("hung: "):
            return math.inf
        given = float(self._table.numbers["solve_s"][row])
        return given if math.isfinite(given) else 0.0


def earlier(path: Path, plan: Plan, *, resume: bool, force: bool) -> Earlier | None:
    """The rows of the table that a sweep is going to write over, None where there are none.

    Parameters
    ----------
    path : the file
    plan : the sweep
    resume : its rows are taken over
    force : whatever it holds may go

    Raises
    ------
    InputError
        It holds something else, or other combinations, which would be lost.
    """
    if not path.is_file() or path.stat().st_size == 0:
        return None
    try:
        table = _read(path, [axis.path for axis in plan.axes])
        if not force:
            _refuse_other(path, table, plan, resume)
    except InputError:
        if force:
            return None
        raise
    return Earlier(table)


def _read(path: Path, fields: Sequence[str]) -> Table:
    try:
        held = fields_in(path)
    except InputError:
        raise InputError([f"{path}: exists and is no result of a sweep; {_FORCE}"]) from None
    if sorted(held) != sorted(fields):
        raise InputError([f"{path}: holds another sweep, over {', '.join(held) or 'nothing'}; {_FORCE}"])
    try:
        return read_table(path)
    except InputError:
        raise InputError([f"{path}: holds a sweep that cannot be read, such as another version's; {_FORCE}"]) from None


def _refuse_other(path: Path, table: Table, plan: Plan, resume: bool) -> None:
    """Refuse combinations that would be lost, or would be run again for want of --resume."""
    ordered = [AxisColumn(axis.path, axis.unit).ordered for axis in plan.axes]

    def named(texts: Iterable[str], values: Iterable[float]) -> tuple[str, ...]:
        """A combination, however its values are spelled."""
        items = zip(texts, values, ordered, strict=True)
        return tuple(f"{value:.12g}" if known and math.isfinite(value) else text for text, value, known in items)

    names = [(axis.path, axis.number_name) for axis in sorted(table.axes, key=lambda a: plan.place(a.path))]
    held = {
        named((table.written[path][row] for path, _ in names), (float(table.numbers[name][row]) for _, name in names))
        for row in range(len(table))
    }
    wanted = {named(row.texts, row.values) for row in plan.rows()} if held else set()
    lost, kept = len(held - wanted), len(held & wanted)
    if lost:
        fields, are = ", ".join(path for path, _ in names), "is" if lost == 1 else "are"
        told = f"{lost} of its {len(held)} combinations {are} not of this sweep"
        raise InputError([f"{path}: holds other values of {fields}: {told}; {_FORCE}"])
    if held and kept < len(wanted) and not resume:
        todo = "--resume keeps its rows and runs the others, --force runs all of them anew"
        raise InputError([f"{path}: holds {kept} of the {len(wanted)} combinations of this sweep; {todo}"])
