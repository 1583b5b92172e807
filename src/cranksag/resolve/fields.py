# SPDX-License-Identifier: GPL-3.0-or-later
"""Reads a scenario section by section and notes where every value came from."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from cranksag.catalogue import Catalogue, Entry
from cranksag.errors import InputError
from cranksag.quantities import shown
from cranksag.resolve.model import Note, Origin, Value
from cranksag.scenario import Scenario, default_value, field_doc


@dataclass(slots=True)
class Ledger:
    """What has been resolved so far: values by dotted path, problems, dangers and warnings."""

    scenario: Scenario
    catalogue: Catalogue
    values: dict[str, Value] = field(default_factory=dict)
    problems: list[str] = field(default_factory=list)
    dangers: list[Note] = field(default_factory=list)
    warnings: list[Note] = field(default_factory=list)

    def note(self, path: str, value: Any, origin: Origin, source: str = "") -> None:
        """Record a resolved value."""
        self.values[path] = Value(value, origin, source)

    def problem(self, path: str, message: str) -> None:
        """Record what makes the scenario unusable, with file and line of the field if it was written."""
        place = self.scenario.written.get(path)
        if place is None:
            self.problems.append(f"{self.scenario.name}: {path}: {message}")
        else:
            where = f"{place.file}:{place.line}:" if place.line is not None else place.file
            self.problems.append(f"{where} {path} = {shown(place.text)}: {message}")

    def danger(self, code: str, message: str) -> None:
        """Record something that can hurt people or burn a boat."""
        self.dangers.append(Note(code, message))

    def warn(self, code: str, message: str) -> None:
        """Record something unusual."""
        self.warnings.append(Note(code, message))

    def part(self, path: str, kind: str, name: str) -> Entry | None:
        """A part of the catalogue named by the field at `path`; None after noting the problem."""
        try:
            return self.catalogue.find(kind, name)
        except InputError as error:
            self.problem(path, error.problems[0])
            return None


@dataclass(slots=True)
class Section:
    """One table of the scenario under its dotted `prefix`; unwritten fields take their defaults.

    `origin` of what the table holds: "default" for a row that stands in for a list that was not written.
    """

    ledger: Ledger
    section: Any
    prefix: str
    origin: Origin = "written"

    def written(self, name: str) -> Any:
        """The value as written, or None."""
        return getattr(self.section, "from_" if name == "from" else name)

    def value(self, name: str, estimate: Any = None, source: str = "", entry: Entry | None = None) -> Any:
        """The value of a field: as written, else of the catalogue part, else its default, else the estimate."""
        path = f"{self.prefix}.{name}"
        written = self.written(name)
        if written is not None:
            self.ledger.note(path, written, self.origin)
            return written
        if entry is not None:
            key = source or name
            if key in entry.values:
                found = entry.value(key)
                self.ledger.note(path, found, "catalogue", f"{entry.name}: {entry.source}")
                return found
        default = default_value(path)
        if default is not None:
            self.ledger.note(path, default, "default", field_doc_text(path))
            return default
        self.ledger.note(path, estimate, "estimate", "" if entry is not None else source)
        return estimate

    def number(self, name: str, estimate: float | None = None, source: str = "", entry: Entry | None = None) -> float:
        """As `value`, for quantities and numbers."""
        return float(self.value(name, estimate, source, entry))

    def problem(self, name: str, message: str) -> None:
        """A problem with a field of this section."""
        self.ledger.problem(f"{self.prefix}.{name}", message)


def field_doc_text(path: str) -> str:
    """What the field means, in one sentence."""
    return field_doc(path).description
