# SPDX-License-Identifier: GPL-3.0-or-later
"""Reads a scenario section by section and notes where every value came from."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from cranksag.catalogue import Catalogue, Entry
from cranksag.errors import InputError
from cranksag.parts.coil import same_power
from cranksag.quantities import shown
from cranksag.resolve.model import Note, Origin, Value
from cranksag.scenario import Scenario, default_value, field_doc

COIL_NOMINAL = 12.0  # [V] boat that the defaults of coils are written for
SPLIT_VOLTAGE = 18.0  # [V] between 12 V and 24 V systems


@dataclass(slots=True)
class Ledger:
    """What has been resolved so far: values by dotted path, problems, dangers and warnings."""

    scenario: Scenario
    catalogue: Catalogue
    values: dict[str, Value] = field(default_factory=dict)
    problems: list[str] = field(default_factory=list)
    dangers: list[Note] = field(default_factory=list)
    warnings: list[Note] = field(default_factory=list)
    named: dict[str, Entry] = field(default_factory=dict)  # parts by the path of the field that names them
    given: set[tuple[int, str]] = field(default_factory=set)  # identity of a part and a path that it gave a value for
    hidden: list[tuple[int, str]] = field(default_factory=list)  # the same where a written field stands before it

    def note(self, path: str, value: Any, origin: Origin, source: str = "", tolerance: float = 0.0) -> None:
        """Record a resolved value."""
        self.values[path] = Value(value, origin, source, tolerance)

    def note_part(self, path: str, value: Any, entry: Entry, key: str) -> None:
        """Record a value that a catalogue line gives in its field `key`, with the tolerance it states there."""
        self.note(path, value, "catalogue", f"{entry.name}: {entry.source}", entry.spread(key))
        self.given.add((id(entry), path))

    def note_before_part(self, path: str, value: Any, entry: Entry, key: str) -> None:
        """Record a written value that stands before a catalogue line's; it strays as the part does."""
        self.note(path, value, "written", f"{entry.name}: {entry.source}", entry.spread(key))
        self.hidden.append((id(entry), path))

    def warn_of_hidden(self) -> None:
        """Warn of each part that gives nothing, since every figure it could give is written."""
        for path, entry in self.named.items():
            table = path.rpartition(".")[0] + "."
            before = [where for part, where in self.hidden if part == id(entry) and where.startswith(table)]
            if before and not any(part == id(entry) and where.startswith(table) for part, where in self.given):
                written = ", ".join(before)
                self.warn("part_hidden", f"{path}: {shown(entry.name)} gives nothing, since {written} are written: "
                          "leave out what the part should give")  # fmt: skip

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
            entry = self.named[path] = self.catalogue.find(kind, name)
            return entry
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

    def part(self, kind: str, name: str = "part") -> Entry | None:
        """The catalogue part that a field names; None for "none", and after noting the problem."""
        chosen = self.value(name)
        return None if chosen == "none" else self.ledger.part(f"{self.prefix}.{name}", kind, chosen)

    def value(
        self, name: str, estimate: Any = None, source: str = "", entry: Entry | None = None, key: str = ""
    ) -> Any:
        """The value of a field: as written, else of the catalogue part, else its default, else the estimate.

        `source`: of the estimate; `key`: the field's name in the catalogue where it is another.
        """
        path = f"{self.prefix}.{name}"
        written = self.written(name)
        if written is not None:
            self.ledger.note(path, written, self.origin)
            if entry is not None and (key or name) in entry.values:
                self.ledger.note_before_part(path, written, entry, key or name)
            return written
        if entry is not None and (key or name) in entry.values:
            found = entry.value(key or name)
            self.ledger.note_part(path, found, entry, key or name)
            return found
        default = default_value(path)
        if default is not None:
            self.ledger.note(path, default, "default", field_doc_text(path))
            return default
        self.ledger.note(path, estimate, "estimate", source)
        return estimate

    def number(
        self,
        name: str,
        estimate: float | None = None,
        source: str = "",
        entry: Entry | None = None,
        key: str = "",
    ) -> float:
        """As `value`, for quantities and numbers."""
        return float(self.value(name, estimate, source, entry, key))

    def derived(self, name: str, value: Any, source: str) -> None:
        """Note what an unwritten field that only replaces an estimate comes out at."""
        written = self.written(name)
        path = f"{self.prefix}.{name}"
        if written is not None:
            self.ledger.note(path, written, self.origin)
        else:
            self.ledger.note(path, value, "estimate", source)

    def scaled(self, name: str, entry: Entry | None, nominal: float, key: str = "") -> Any:
        """As `value`, of a coil or what lies across one: an unwritten default [ohm] is that of a 12 V boat, and takes
        the same power on a boat of another nominal voltage [V]."""
        found = self.value(name, entry=entry, key=key)
        path = f"{self.prefix}.{name}"
        if self.ledger.values[path].origin != "default" or not isinstance(found, float) or nominal == COIL_NOMINAL:
            return found
        found = same_power(found, COIL_NOMINAL, nominal)
        self.ledger.note(path, found, "estimate", f"takes the power of its default on a {COIL_NOMINAL:g} V boat")
        return found

    def problem(self, name: str, message: str) -> None:
        """A problem with a field of this section."""
        self.ledger.problem(f"{self.prefix}.{name}", message)


def field_doc_text(path: str) -> str:
    """What the field means, in one sentence."""
    return field_doc(path).description
