# SPDX-License-Identifier: GPL-3.0-or-later
"""Every field of a scenario as resolved: value, origin and source, in the file's order."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from cranksag.cli.console import plain
from cranksag.errors import InputError
from cranksag.quantities import format_quantity
from cranksag.resolve import Boat, Value
from cranksag.scenario import Scenario, TimeMark, field_doc, field_table

_INDEX = re.compile(r"\.\d+(?=\.|$)")


@dataclass(frozen=True, slots=True)
class Row:
    """One field: dotted path, value for people, origin, and where it is from."""

    path: str
    value: str
    origin: str
    source: str


def resolved_rows(boat: Boat, scenario: Scenario) -> Iterator[Row]:
    """Every field that this boat has, in the order of the scenario file."""
    written = scenario.written
    known = dict(boat.values)
    for path in written:
        if path not in known:
            known[path] = Value(None, "written")
    for path in sorted(known, key=_place):
        value = known[path]
        if value.origin == "written" and path in written:
            place = written[path]
            source = place.file if place.line is None else f"{place.file}:{place.line}"
            yield Row(path, plain(place.text), "written", plain(source))
        elif value.value is not None:
            yield Row(path, plain(shown_value(path, value.value)), value.origin, plain(value.source))


def _place(path: str) -> tuple[int, int, int]:
    """Where a field stands in the file: its table, its entry of a list, itself."""
    order = list(field_table())
    index = _INDEX.search(path)
    own = _INDEX.sub(".*", path)
    place = order.index(own) if own in order else len(order)
    if index is None:
        return place, 0, 0
    rows = path[: index.start()] + ".*."
    first = next((k for k, pattern in enumerate(order) if pattern.startswith(rows)), place)
    return first, int(index[0][1:]), place


def shown_value(path: str, value: Any) -> str:
    """A resolved value as it would be written in the file."""
    try:
        dimension = field_doc(path).dimension
    except InputError:  # a value that belongs to no field of the file
        dimension = None
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float) and dimension is not None:
        return format_quantity(value, dimension)
    if isinstance(value, TimeMark):
        return value.event if not value.offset else f"{value.event}{value.offset:+g} s"
    return f"{value:.4g}" if isinstance(value, float) else str(value)


def resolved_table(boat: Boat, scenario: Scenario) -> RenderableType:
    """The fields as a table under a heading."""
    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="dim", show_edge=False)
    for column in ("field", "value", "origin", "source"):
        table.add_column(column, no_wrap=column in ("field", "origin"), overflow="fold")
    for row in resolved_rows(boat, scenario):
        table.add_row(Text(row.path), Text(row.value), row.origin, Text(row.source))
    return Group(Text(""), Text("Scenario as resolved", style="bold"), table)
