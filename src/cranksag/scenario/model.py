# SPDX-License-Identifier: GPL-3.0-or-later
"""The scenario as read: one boat, with the line every field was written on."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Annotated, Any

from pydantic import Field, PrivateAttr

from cranksag.errors import InputError
from cranksag.quantities import shown
from cranksag.scenario.base import Section
from cranksag.scenario.cranking import Crank, Engine, StartCircuit, Starter
from cranksag.scenario.helm import Display, Feed, Load
from cranksag.scenario.hold_up import HoldUp, branches_of
from cranksag.scenario.paths import Leaf, find_leaf, members
from cranksag.scenario.positions import Path, Positions, find_positions
from cranksag.scenario.specs import Text, fail
from cranksag.scenario.supply import Alternator, Battery, Cable, Cables, Link, Panel, Temperature


@dataclass(frozen=True, slots=True)
class Location:
    """Where a field was written: file (or the option that set it), line (None for an option) and text."""

    file: str
    line: int | None
    text: str


@dataclass(frozen=True)
class Source:
    """The text a scenario came from; one for all scenarios that were derived from it."""

    name: str = "scenario"
    text: str = ""
    raw: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @cached_property
    def positions(self) -> Positions:
        """The lines of everything in the text; looked for when first asked."""
        return find_positions(self.text)

    @cached_property
    def locations(self) -> Mapping[str, Location]:
        """Where each field was written, by dotted path."""
        return {
            ".".join(str(part) for part in path): Location(self.name, self.positions.nearest(path), text)
            for path, text in _leaves(self.raw)
        }

    def __reduce__(self) -> tuple[Any, ...]:
        return Source, (self.name, self.text, self.raw)  # without what was looked up


DEFAULT_ROWS: Mapping[str, tuple[Mapping[str, str], ...]] = {
    "cables.positive": (
        {"name": "battery cable", "length": "1.8 m", "size": "2/0 AWG"},
        {"name": "battery switch", "resistance": "0.3 mohm"},
    ),
    "cables.negative": ({"name": "engine ground", "length": "2.0 m", "size": "2/0 AWG"},),
    "displays": ({"name": "display"},),
}
"""What stands in for a list of tables that was not written."""

_ROW_MODELS: Mapping[str, type[Section]] = {
    "cables.positive": Cable,
    "cables.negative": Cable,
    "displays": Display,
}


class Scenario(Section):
    """One boat as the user wrote it; None (or an empty list) is a field that was not written."""

    title: Annotated[str | None, Text("The boat in one line.", "untitled boat")] = None
    temperature: Temperature = Temperature()
    battery: Battery = Battery()
    house: Battery | None = Field(default=None, description="Optional second bank, same fields as battery.")
    link: Link = Link()
    alternator: Alternator = Alternator()
    starter: Starter = Starter()
    start_circuit: StartCircuit = StartCircuit()
    engine: Engine = Engine()
    crank: Crank = Crank()
    cables: Cables = Cables()
    panel: Panel = Panel()
    feed: Feed = Feed()
    loads: tuple[Load, ...] = Field(default=(), max_length=40, description="Other loads, with their time windows.")
    displays: tuple[Display, ...] = Field(default=(), max_length=8, description="One or more displays on the feed.")
    hold_up: HoldUp = HoldUp()

    _source: Source = PrivateAttr(default_factory=Source)
    _overrides: Mapping[str, Location] = PrivateAttr(default_factory=dict)

    def __eq__(self, other: object) -> bool:
        """Same boat, wherever it was written."""
        return isinstance(other, Scenario) and self.__dict__ == other.__dict__

    def __hash__(self) -> int:
        return hash(tuple(self.__dict__.values()))

    @property
    def name(self) -> str:
        """The file it came from, for messages."""
        return self._source.name

    @property
    def text(self) -> str:
        """The file's text as read."""
        return self._source.text

    @property
    def overrides(self) -> Mapping[str, Location]:
        """The fields set since the file was read."""
        return self._overrides

    @property
    def written(self) -> Mapping[str, Location]:
        """Every written or overridden field by its dotted path."""
        # A change of branch drops fields of the hold-up, nothing else is ever taken away.
        found = {**self._source.locations, **self._overrides}
        return {p: at for p, at in found.items() if not p.startswith("hold_up.") or self.get(p) is not None}

    def get(self, path: str) -> Any:
        """The value at a dotted path [SI]; None if it was not written.

        Raises
        ------
        InputError : no such field, or no such entry of a list.
        """
        leaf = find_leaf(Scenario, path)
        value: Any = self
        for step in leaf.steps:
            if isinstance(step, int):
                if step >= len(value):
                    raise fail(_absent(path, step, len(value)))
                value = value[step]
            else:
                value = getattr(value, step)
            if value is None:
                return None
        return value

    def table(self, path: str) -> Section:
        """The table at a dotted path (``battery``, ``displays.0``).

        Raises
        ------
        InputError : it was not written.
        """
        found: Any = self
        for step in path.split("."):
            if isinstance(found, tuple):
                found = found[int(step)] if int(step) < len(found) else None
            else:
                found = getattr(found, step, None)
        if not isinstance(found, Section):
            raise fail(f"{path} was not written")
        return found

    def without(self, path: str, names: Sequence[str]) -> Scenario:
        """This boat with some fields of a table not written; see `table`."""
        table = self.table(path)
        empty = {name: () if isinstance(getattr(table, name), tuple) else None for name in names}
        steps = tuple(int(step) if step.isdigit() else step for step in path.split("."))
        bare: Scenario = _replaced(self, steps, table.model_copy(update=empty), path)
        return bare

    def with_overrides(self, overrides: Mapping[str, str], option: str = "--set") -> Scenario:
        """This boat with some fields changed, each under the same rules as in the file.

        Setting ``hold_up.branch`` drops the fields of the branch before, except those set in the same call.
        Setting a field of ``displays`` or ``cables`` that the file left out starts from `DEFAULT_ROWS`.

        Parameters
        ----------
        overrides : dotted path to text, as after ``--set``.
        option : the option they came from, for messages.

        Raises
        ------
        InputError : every problem, one line each, such as ``--set feed.sise: unknown field (did you mean
        "size"?)``.
        """
        changed = self
        problems: list[str] = []
        touched: dict[tuple[str | int, ...], str] = {}
        for path, text in overrides.items():
            try:
                leaf = find_leaf(Scenario, path)
            except InputError as error:
                problems.append(f"{option} {error.problems[0]}")
                continue
            try:
                value = leaf.spec.read_text(text)
                changed = changed._with_rows(leaf)
                changed = _replaced(changed, leaf.steps, value, path)
                touched.setdefault(leaf.steps[:-1], path.rpartition(".")[0])
            except InputError as error:
                problems.append(f"{option} {path} = {shown(text)}: {error.problems[0]}")
        if "hold_up.branch" in overrides and not problems:
            changed = changed._only_branch(overrides)
        for steps, where in touched.items():
            section: Section = _follow(changed, steps)
            dot = f"{where}." if where else ""
            found = type(section).problems(_held(section))
            problems += [f"{option} {dot}{name}: {message}" for name, message in found]
        if problems:
            raise InputError(problems)
        if changed is not self:
            places = {path: Location(option, None, text) for path, text in overrides.items()}
            changed._overrides = {**self._overrides, **places}
        return changed

    def _with_rows(self, leaf: Leaf) -> Scenario:
        """With the default rows of a list that was left out, if the field lies in one."""
        where = leaf.path.split(".")
        for name, rows in DEFAULT_ROWS.items():
            parts = name.split(".")
            if where[: len(parts)] == parts and not _follow(self, tuple(parts)):
                model = _ROW_MODELS[name]
                read = tuple(model.model_validate(row) for row in rows)
                filled: Scenario = _replaced(self, tuple(parts), read, name)
                return filled
        return self

    def _only_branch(self, kept: Mapping[str, str]) -> Scenario:
        branch = self.hold_up.branch
        gone = {
            name: None
            for name in HoldUp.model_fields
            if branches_of(name) and branch not in branches_of(name) and f"hold_up.{name}" not in kept
        }
        return self.model_copy(update={"hold_up": self.hold_up.model_copy(update=gone)})


def _absent(path: str, index: int, count: int) -> str:
    entries = f"{count or 'no'} {'entry' if count == 1 else 'entries'}{', counted from 0' if count else ''}"
    where = path.split(f".{index}")[0]
    return f"{where} has {entries}; --set and axes change entries, the file adds them"


def _replaced(section: Any, steps: tuple[str | int, ...], value: Any, path: str) -> Any:
    """A copy of nested frozen sections with the value at `steps` changed; the others are shared."""
    step, rest = steps[0], steps[1:]
    if isinstance(step, int):
        if step >= len(section):
            raise fail(_absent(path, step, len(section)))
        inner = _replaced(section[step], rest, value, path) if rest else value
        return (*section[:step], inner, *section[step + 1 :])
    if rest:
        below = getattr(section, step)
        if below is None:  # the house bank, written for the first time
            home: type[Section] = type(section)
            model = members(home)[step].model
            assert model is not None
            below = model()
        value = _replaced(below, rest, value, path)
    return section.model_copy(update={step: value})


def _follow(value: Any, steps: tuple[str | int, ...]) -> Any:
    for step in steps:
        value = value[step] if isinstance(step, int) else getattr(value, step)
    return value


def _held(section: Section) -> dict[str, Any]:
    values = ((m.name, getattr(section, m.attribute)) for m in members(type(section)).values())
    return {name: value for name, value in values if value is not None and value != ()}


def _leaves(raw: Any, path: Path = ()) -> Iterator[tuple[Path, str]]:
    if isinstance(raw, Mapping):
        for name, value in raw.items():
            yield from _leaves(value, (*path, name))
    elif isinstance(raw, list):
        for index, value in enumerate(raw):
            yield from _leaves(value, (*path, index))
    else:
        yield path, ("true" if raw else "false") if isinstance(raw, bool) else str(raw)
