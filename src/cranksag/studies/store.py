# SPDX-License-Identifier: GPL-3.0-or-later
"""Result tables on disk and back: CSV for people and spreadsheets, Parquet or SQLite for the big ones.

In CSV a text that a spreadsheet would take for a formula gets an apostrophe in front, free text only: a written axis
value such as "-10 degC" stays as it is.
"""

from __future__ import annotations

import csv
import json
import math
import os
import re
import sqlite3
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from cranksag.errors import InputError
from cranksag.studies.measures import LEADING, NUMBERS, TEXTS
from cranksag.studies.table import STATUSES, AxisColumn, Table, TextColumn

__all__ = ["COLUMNS", "SUFFIXES", "checked_target", "fields_in", "read_table", "write_table"]

SUFFIXES = (".csv", ".parquet", ".sqlite")
"""Kinds of file, by the end of the name."""

COLUMNS = (*LEADING, "status", "reason", *NUMBERS[len(LEADING) :], *TEXTS, "run_key")
"""Columns after those of the axes; `run_key` is for --resume: see `cranksag.studies.earlier`."""

_WHOLE = frozenset({"restarts", "engages", "turns", "fires", "starts", "chatter_count", "cut_outs"})
_AXIS = re.compile(r"(.+) \[([^\]]+)\]")
_RISKY = ("=", "+", "-", "@", "\t", "\r", "'")


def checked_target(path: Path | str) -> Path:
    """The file to write, refused before anything is run if it cannot be written.

    Raises
    ------
    InputError
        The kind is unknown, there is no such directory, or a library is missing.
    """
    target = Path(path)
    if target.suffix.lower() not in SUFFIXES:
        raise InputError([f"{target}: the name must end in {', '.join(SUFFIXES)}"])
    if target.is_dir() or not target.absolute().parent.is_dir():
        raise InputError([f"{target}: " + ("is a directory" if target.is_dir() else "there is no such directory")])
    if not os.access(target if target.exists() else target.absolute().parent, os.W_OK):
        raise InputError([f"{target}: no permission to write it"])
    if target.suffix.lower() == ".parquet":
        _pyarrow(target)
    return target


def fields_in(path: Path) -> list[str]:
    """The swept fields of a result file, by its columns; of another version too.

    Raises
    ------
    InputError
        It is none.
    """
    kind = path.suffix.lower()
    try:
        if kind == ".csv":
            with path.open(encoding="utf-8-sig", newline="") as file:
                names = next(csv.reader(file), [])
        elif kind == ".sqlite":
            base = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
            try:
                names = [column[0] for column in base.execute("SELECT * FROM rows LIMIT 0").description]
            finally:
                base.close()
        else:
            names = list(_pyarrow(path).parquet.read_schema(path).names)
    except (OSError, UnicodeDecodeError, csv.Error, sqlite3.Error, ValueError) as error:
        raise InputError([f"{path}: not a result table of a sweep ({error})"]) from error
    if not {"status", "reason", LEADING[0]} <= set(names):
        raise InputError([f"{path}: not a result table of a sweep"])
    return names[: names.index(LEADING[0]) : 2]


def write_table(table: Table, path: Path | str) -> Path:
    """Write the rows that were run, whole or not at all: the file appears when it is complete."""
    target = checked_target(path)
    part = target.with_name(f".{target.name}.part")
    writer = {".csv": _write_csv, ".parquet": _write_parquet, ".sqlite": _write_sqlite}[target.suffix.lower()]
    try:
        part.unlink(missing_ok=True)
        writer(table.taken(table.done()), part)
        part.replace(target)
    except OSError as error:
        raise InputError([f"{target}: cannot be written: {error.strerror or error}"]) from error
    finally:
        part.unlink(missing_ok=True)
    return target


def read_table(path: Path | str) -> Table:
    """A table that was written before.

    Raises
    ------
    InputError
        It is not one.
    """
    source = Path(path)
    readers = {".csv": _read_csv, ".parquet": _read_parquet, ".sqlite": _read_sqlite}
    reader = readers.get(source.suffix.lower())
    if reader is None:
        raise InputError([f"{source}: the name must end in {', '.join(SUFFIXES)}"])
    if not source.is_file():
        raise InputError([f"{source}: no such file"])
    try:
        return reader(source)
    except (
        OSError,
        UnicodeDecodeError,
        csv.Error,
        sqlite3.Error,
        ValueError,
        KeyError,
        TypeError,
        IndexError,
    ) as error:
        raise InputError([f"{source}: not a result table of a sweep ({error})"]) from error


def _names(axes: Sequence[AxisColumn]) -> list[str]:
    return [name for axis in axes for name in (axis.path, axis.number_name)] + list(COLUMNS)


def _cells(table: Table) -> Iterator[list[Any]]:
    """Every row as plain values in the order of `_names`."""
    columns: list[tuple[Any, bool]] = []
    for axis in table.axes:
        columns += [(table.written[axis.path], False), (table.numbers[axis.number_name], False)]
    for name in COLUMNS:
        if name in ("status", "run_key"):
            columns.append((name, False))
        elif name in table.texts:
            columns.append((table.texts[name], False))
        else:
            columns.append((table.numbers[name], name in _WHOLE))
    for row in range(len(table)):
        cells: list[Any] = []
        for column, whole in columns:
            if isinstance(column, str):
                cells.append(table.keys[row].decode() if column == "run_key" else STATUSES[table.status[row]])
            elif isinstance(column, TextColumn):
                cells.append(column[row])
            else:
                value = float(column[row])
                cells.append(None if math.isnan(value) else int(value) if whole else value)
        yield cells


def _table(axes: Sequence[AxisColumn], rows: Sequence[Sequence[Any]] | Iterator[Sequence[Any]], count: int) -> Table:
    """A table of `count` rows of plain values in the order of `_names`."""
    table = Table.empty(axes, count)
    names = _names(axes)
    texts = {**table.written, **table.texts}
    for number, cells in enumerate(rows):
        for name, cell in zip(names, cells, strict=True):
            if name == "status":
                table.status[number] = STATUSES.index(str(cell))
            elif name == "run_key":
                table.keys[number] = str(cell or "").encode("ascii", "replace")
            elif name in texts:
                texts[name].put(number, "" if cell is None else str(cell))
            elif cell not in (None, ""):
                table.numbers[name][number] = float(cell)
    return table


# --- CSV -----------------------------------------------------------------------------------------------------


def _safe(text: str) -> str:
    """Free text that no spreadsheet takes for a formula."""
    return "'" + text if text.startswith(_RISKY) else text


def _unsafe(text: str) -> str:
    return text[1:] if text.startswith("'") and text[1:].startswith(_RISKY) else text


def _free_columns(axes: Sequence[AxisColumn]) -> set[int]:
    free = {axis.path for axis in axes if axis.free_text} | {"reason", *TEXTS}
    return {place for place, name in enumerate(_names(axes)) if name in free}


def _write_csv(table: Table, path: Path) -> None:
    free = _free_columns(table.axes)
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(_names(table.axes))
        for cells in _cells(table):
            writer.writerow([_safe(cell) if place in free else cell for place, cell in enumerate(cells)])


def _read_csv(path: Path) -> Table:
    with path.open(encoding="utf-8-sig", newline="") as file:
        axes = _axes_of(next(csv.reader(file), []))
        count = sum(1 for _ in csv.reader(file))
    # Free text is known again by its field's kind.
    free = _free_columns(axes)
    with path.open(encoding="utf-8-sig", newline="") as file:
        reader = csv.reader(file)
        next(reader)
        rows = ([_unsafe(c) if k in free else c for k, c in enumerate(cells)] for cells in reader)
        return _table(axes, rows, count)


def _axes_of(header: Sequence[str]) -> tuple[AxisColumn, ...]:
    from cranksag.runner import spec_at
    from cranksag.scenario.specs import Text

    axes = []
    for place in range(0, len(header) - len(COLUMNS), 2):
        match = _AXIS.fullmatch(header[place + 1])
        if match is None or match[1] != header[place]:
            raise ValueError(f"column {header[place + 1]!r} is not that of an axis")
        axes.append(AxisColumn(match[1], match[2], isinstance(spec_at(match[1]), Text)))
    if list(header) != _names(axes):
        raise ValueError("its columns are others; one of another version has to be run again")
    return tuple(axes)


# --- SQLite --------------------------------------------------------------------------------------------------


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


def _write_sqlite(table: Table, path: Path) -> None:
    names = _names(table.axes)
    text = {axis.path for axis in table.axes} | {"status", "reason", "run_key", *TEXTS}
    kinds = ["TEXT" if n in text else "INTEGER" if n in _WHOLE else "REAL" for n in names]
    base = sqlite3.connect(path)
    try:
        with base:
            base.execute(
                f"CREATE TABLE rows ({', '.join(f'{_quoted(n)} {k}' for n, k in zip(names, kinds, strict=True))})"
            )
            base.executemany(f"INSERT INTO rows VALUES ({', '.join('?' * len(names))})", _cells(table))
            base.execute("CREATE TABLE about (name TEXT PRIMARY KEY, value TEXT)")
            base.execute("INSERT INTO about VALUES ('meta', ?)", (json.dumps(table.meta),))
    finally:
        base.close()


def _read_sqlite(path: Path) -> Table:
    base = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
    try:
        cursor = base.execute("SELECT * FROM rows")
        axes = _axes_of([column[0] for column in cursor.description])
        (count,) = base.execute("SELECT count(*) FROM rows").fetchone()
        table = _table(axes, cursor, count)
        table.meta = json.loads(base.execute("SELECT value FROM about WHERE name = 'meta'").fetchone()[0])
    finally:
        base.close()
    return table


# --- Parquet -------------------------------------------------------------------------------------------------


def _pyarrow(path: Path) -> Any:
    try:
        import pyarrow
        import pyarrow.parquet
    except ImportError:
        raise InputError(
            [f'{path}: Parquet needs pyarrow: pip install "cranksag[parquet]", or write .sqlite']
        ) from None
    return pyarrow


def _write_parquet(table: Table, path: Path) -> None:
    arrow = _pyarrow(path)
    columns: dict[str, Any] = {}
    coded = {**table.written, **table.texts}
    for name in _names(table.axes):
        if name == "status":
            columns[name] = arrow.DictionaryArray.from_arrays(arrow.array(table.status), list(STATUSES))
        elif name == "run_key":
            columns[name] = arrow.array([key.decode() for key in table.keys.tolist()])
        elif name in coded:
            columns[name] = arrow.DictionaryArray.from_arrays(arrow.array(coded[name].codes), coded[name].texts)
        else:
            values = table.numbers[name]
            columns[name] = arrow.array(values, mask=np.isnan(values))
            if name in _WHOLE:
                columns[name] = columns[name].cast(arrow.int64())
    made = arrow.table(columns).replace_schema_metadata({"cranksag": json.dumps(table.meta)})
    arrow.parquet.write_table(made, path)


def _read_parquet(path: Path) -> Table:
    arrow = _pyarrow(path)
    try:
        found = arrow.parquet.read_table(path)
    except arrow.ArrowException as error:
        raise ValueError(str(error)) from error
    axes = _axes_of(found.column_names)
    rows = (
        list(cells) for batch in found.to_batches(4096) for cells in zip(*(c.to_pylist() for c in batch), strict=True)
    )
    table = _table(axes, rows, found.num_rows)
    table.meta = json.loads((found.schema.metadata or {}).get(b"cranksag", b"{}"))
    return table
