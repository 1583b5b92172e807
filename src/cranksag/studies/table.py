# SPDX-License-Identifier: GPL-3.0-or-later
"""The result table of a sweep: columns in memory, compact enough for hundreds of thousands of rows."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from cranksag.runner import spec_at
from cranksag.scenario.specs import Number, Quantity, Size
from cranksag.studies.measures import NUMBERS, TEXTS

STATUSES = ("", "held", "restarted", "failed")
"""Status by its code; code 0 is a row that was not run."""

KEY = "S32"
"""Kind of a row's `run_key`."""

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class AxisColumn:
    """A swept field: `path`, SI `unit` ("-" for none); `free_text`: its texts are names."""

    path: str
    unit: str
    free_text: bool = False

    @property
    def ordered(self) -> bool:
        """Whether its values have an order: a quantity, a size or a number, not a word."""
        return isinstance(spec_at(self.path), Quantity | Size | Number)

    @property
    def number_name(self) -> str:
        """Name of the column that holds its values in SI."""
        return f"{self.path} [{self.unit}]"


@dataclass
class TextColumn:
    """Texts that repeat: a code for each row and the distinct texts."""

    codes: npt.NDArray[np.int32]
    texts: list[str] = field(default_factory=lambda: [""])
    _places: dict[str, int] = field(default_factory=lambda: {"": 0}, repr=False)

    @classmethod
    def empty(cls, rows: int) -> TextColumn:
        """A column of empty texts."""
        return cls(np.zeros(rows, dtype=np.int32))

    def __getitem__(self, row: int) -> str:
        return self.texts[int(self.codes[row])]

    def put(self, row: int, text: str) -> None:
        """Set one row."""
        place = self._places.get(text)
        if place is None:
            place = self._places[text] = len(self.texts)
            self.texts.append(text)
        self.codes[row] = place

    def taken(self, rows: npt.NDArray[np.intp]) -> TextColumn:
        """Some rows; the texts are shared."""
        return TextColumn(self.codes[rows], self.texts, self._places)


@dataclass
class Table:
    """Rows of a sweep in the plan's order.

    `written`: texts of each axis by path; `numbers`: SI values of each axis under `AxisColumn.number_name` and the
    measures of `NUMBERS`, nan where there is none; `texts`: `TEXTS` and `reason`; `status`: codes of `STATUSES`;
    `keys`: the `run_key` of each row, empty without one; `meta`: seconds, workers and the like, whatever the file it
    came from could hold.
    """

    axes: tuple[AxisColumn, ...]
    written: dict[str, TextColumn]
    numbers: dict[str, Floats]
    texts: dict[str, TextColumn]
    status: npt.NDArray[np.int8]
    keys: npt.NDArray[np.bytes_]
    meta: dict[str, Any] = field(default_factory=dict)

    @classmethod
    def empty(cls, axes: Sequence[AxisColumn], rows: int) -> Table:
        """A table of rows that were not run."""
        names = [*(axis.number_name for axis in axes), *NUMBERS]
        return cls(
            tuple(axes),
            {axis.path: TextColumn.empty(rows) for axis in axes},
            {name: np.full(rows, math.nan) for name in names},
            {name: TextColumn.empty(rows) for name in (*TEXTS, "reason")},
            np.zeros(rows, dtype=np.int8),
            np.zeros(rows, dtype=KEY),
        )

    def __len__(self) -> int:
        return len(self.status)

    def put_axes(self, row: int, texts: Sequence[str], values: Sequence[float]) -> None:
        """Set the axis values of one row."""
        for axis, text, value in zip(self.axes, texts, values, strict=True):
            self.written[axis.path].put(row, text)
            self.numbers[axis.number_name][row] = value

    def put(self, row: int, payload: Sequence[Any]) -> None:
        """Set the measures of one row: the payload of `RowMeasure`."""
        numbers, texts, status, reason = payload
        for name, value in zip(NUMBERS, numbers, strict=True):
            self.numbers[name][row] = math.nan if value is None else value
        for name, text in zip(TEXTS, texts, strict=True):
            self.texts[name].put(row, text)
        self.texts["reason"].put(row, reason)
        self.status[row] = STATUSES.index(status)

    def payload(self, row: int) -> list[Any]:
        """The measures of one row as `put` takes them, without the time they took."""
        numbers = [None if name == "solve_s" else _maybe(self.numbers[name][row]) for name in NUMBERS]
        texts = [self.texts[name][row] for name in TEXTS]
        return [numbers, texts, STATUSES[self.status[row]], self.texts["reason"][row]]

    def fail(self, row: int, reason: str) -> None:
        """Set one row as failed."""
        self.texts["reason"].put(row, reason)
        self.status[row] = STATUSES.index("failed")

    def rows_with(self, status: str) -> npt.NDArray[np.intp]:
        """Positions of the rows of a status."""
        return np.flatnonzero(self.status == STATUSES.index(status))

    def done(self) -> npt.NDArray[np.intp]:
        """Positions of the rows that were run, failed ones included."""
        return np.flatnonzero(self.status != 0)

    def taken(self, rows: npt.NDArray[np.intp]) -> Table:
        """A table of some rows."""
        return Table(
            self.axes,
            {name: column.taken(rows) for name, column in self.written.items()},
            {name: column[rows] for name, column in self.numbers.items()},
            {name: column.taken(rows) for name, column in self.texts.items()},
            self.status[rows],
            self.keys[rows],
            dict(self.meta),
        )

    def counts(self) -> dict[str, int]:
        """Rows by status."""
        return {name: int(np.count_nonzero(self.status == code)) for code, name in enumerate(STATUSES) if name}

    def row(self, number: int) -> dict[str, Any]:
        """One row by column name; None where there is no number."""
        values: dict[str, Any] = {}
        for axis in self.axes:
            values[axis.path] = self.written[axis.path][number]
            values[axis.number_name] = _maybe(self.numbers[axis.number_name][number])
        values |= {name: _maybe(self.numbers[name][number]) for name in NUMBERS[:4]}
        values |= {"status": STATUSES[self.status[number]], "reason": self.texts["reason"][number]}
        values |= {name: _maybe(self.numbers[name][number]) for name in NUMBERS[4:]}
        return values | {name: self.texts[name][number] for name in TEXTS}

    def rows(self) -> Iterator[dict[str, Any]]:
        """Every row that was run."""
        return (self.row(int(number)) for number in self.done())


def _maybe(value: float) -> float | None:
    return None if math.isnan(value) else float(value)
