# SPDX-License-Identifier: GPL-3.0-or-later
"""The table that an earlier sweep left in the file that is to be written: what of it must not be lost, and which rows
need not be run again.

What would be lost is refused at once, unless it may be. What may be written over stays until the new table holds all of
its combinations: an interrupt leaves no file with fewer.

A row's `run_key` names the run behind it, by the start of its job's key, and seals its figures, by the start of a hash
of that key and them. So a row is taken over only for the very boat, model and solver that gave it, and only as long as
nobody has changed it.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from cranksag.errors import InputError
from cranksag.runner import Job, Keys
from cranksag.runner.keys import digest
from cranksag.studies.plan import Plan
from cranksag.studies.store import fields_in, read_table
from cranksag.studies.table import AxisColumn, Table

__all__ = ["Earlier", "earlier", "seal"]

NAME = 16
"""Characters of a job's key, and of the seal, in a row's `run_key`; 64 bits tell millions of rows apart, and where two
share a name the seal still does."""
_FORCE = "choose another name, or --force to write over it"


def seal(table: Table, row: int, key: str) -> None:
    """Note in a row which job it is of, and what it holds."""
    table.keys[row] = _run_key(table, row, key)


def _run_key(table: Table, row: int, key: str) -> bytes:
    return (key[:NAME] + digest(key, json.dumps(table.payload(row)))[:NAME]).encode()


class Earlier:
    """What the file holds.

    Parameters
    ----------
    table : its rows, where it is a table over the fields of the sweep
    places : the sweep's rows of the same combinations, where it has all of them
    """

    def __init__(self, table: Table | None = None, places: npt.NDArray[np.intp] | None = None) -> None:
        self._table = table
        self._places = places
        keys = [] if table is None else table.keys.tolist()
        self._rows = {key[:NAME]: row for row, key in enumerate(keys) if key}

    def __len__(self) -> int:
        return 0 if self._table is None else len(self._table)

    def outlasts(self, table: Table) -> bool:
        """Whether it has a combination that another table of the sweep, not complete, does not have yet."""
        return self._places is None or not table.status[self._places].all()

    def give(self, job: Job, limit: float | None, table: Table, row: int) -> bool:
        """Copy the figures of a job, where they are known, to a row of another table; whether they were.

        Parameters
        ----------
        job : what would be run
        limit : longest it may take [s], where the sweep says so; what hung within less is not known
        table, row : where to
        """
        held, place = self._table, self._rows.get(job.key[:NAME].encode())
        if held is None or place is None or held.keys[place] != _run_key(held, place, job.key):
            return False
        if _hung_within(held, place) < job.within(limit):
            return False
        table.put(row, held.payload(place))
        table.keys[row] = held.keys[place]
        table.numbers["solve_s"][row] = held.numbers["solve_s"][place]
        return True


def _hung_within(table: Table, row: int) -> float:
    """Time after which a run was given up [s]; without end for one that was not."""
    if not table.texts["reason"][row].startswith("hung: "):
        return math.inf
    given = float(table.numbers["solve_s"][row])
    return given if math.isfinite(given) else 0.0


def earlier(path: Path, plan: Plan, keys: Keys, *, resume: bool, force: bool) -> Earlier | None:
    """What the file holds that a sweep is going to write over, None where there is nothing.

    Parameters
    ----------
    path : the file
    plan : the sweep
    keys : of its rows
    resume : some of its rows may be there; else all or none
    force : whatever it holds may go

    Raises
    ------
    InputError
        It holds something else, other combinations, or those of another boat, which would be lost.
    """
    if not path.is_file() or path.stat().st_size == 0:
        return None
    try:
        table = _read(path, [axis.path for axis in plan.axes])
    except InputError:
        if force:
            return Earlier()
        raise
    shared = _shared(table, plan, keys)
    if not force:
        _refuse_loss(path, table, shared, resume)
    return Earlier(table, None if shared.lost else np.array(shared.places, dtype=np.intp))


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


@dataclass(frozen=True, slots=True)
class _Shared:
    """Combinations of a table and of a sweep: `held` in the table, of them `lost` to the sweep and `foreign`, which are
    of another boat; `wanted` by the sweep; `places`: its rows that are in the table."""

    held: int
    lost: int
    foreign: int
    wanted: int
    places: list[int]


def _shared(table: Table, plan: Plan, keys: Keys) -> _Shared:
    ordered = [AxisColumn(axis.path, axis.unit).ordered for axis in plan.axes]

    def named(texts: Iterable[str], values: Iterable[float]) -> tuple[str, ...]:
        """A combination, however its values are spelled."""
        items = zip(texts, values, ordered, strict=True)
        return tuple(f"{value:.12g}" if known and math.isfinite(value) else text for text, value, known in items)

    names = [(axis.path, axis.number_name) for axis in sorted(table.axes, key=lambda a: plan.place(a.path))]
    held = {
        named(
            (table.written[path][row] for path, _ in names), (float(table.numbers[name][row]) for _, name in names)
        ): row
        for row in range(len(table))
    }
    wanted: set[tuple[str, ...]] = set()
    foreign: set[tuple[str, ...]] = set()
    places = []
    for number, row in enumerate(plan.rows() if held else ()):
        name = named(row.texts, row.values)
        wanted.add(name)
        if (place := held.get(name)) is not None:
            places.append(number)
            if not table.keys[place].startswith(keys.of(plan.task(row))[:NAME].encode()):
                foreign.add(name)
    return _Shared(len(held), len(held.keys() - wanted), len(foreign), len(wanted), places)


def _refuse_loss(path: Path, table: Table, shared: _Shared, resume: bool) -> None:
    """Refuse what would lose combinations, or run them again for want of --resume."""

    def told(count: int) -> str:
        return f"{count} of its {shared.held} combinations {'is' if count == 1 else 'are'}"

    if shared.lost:
        fields = ", ".join(axis.path for axis in table.axes)
        raise InputError([f"{path}: holds other values of {fields}: {told(shared.lost)} not of this sweep; {_FORCE}"])
    if shared.foreign:
        other = f"{told(shared.foreign)} of another boat, other parts or prices, or another version (by run_key)"
        raise InputError([f"{path}: {other}; choose another name to keep both, or add --force to write over it"])
    kept = shared.held
    if 0 < kept < shared.wanted and not resume:
        todo = "--resume keeps its rows and runs the others, --force runs all of them anew"
        raise InputError([f"{path}: holds {kept} of the {shared.wanted} combinations of this sweep; {todo}"])
