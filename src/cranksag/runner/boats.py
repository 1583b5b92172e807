# SPDX-License-Identifier: GPL-3.0-or-later
"""The work that studies share: crank a boat, given as changes to a scenario or resolved already, and measure it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from cranksag.catalogue import Catalogue, Entry, load_catalogue
from cranksag.circuit.timing import key_times
from cranksag.resolve import Boat, resolve
from cranksag.runner.jobs import WALL_LIMIT, Job
from cranksag.runner.keys import digest, model_fingerprint, solver_fingerprint
from cranksag.scenario import Scenario
from cranksag.simulate import Ladder, simulate_boat
from cranksag.solver import LADDER, library_info
from cranksag.verdict.results import Result

WALL_PER_SECOND = 20.0
"""Wall time that a boat may take for each second from before key-on to the end [-]. The solver lets a budget of 50,000
steps last `WALL_LIMIT` and, as long as the run gets on, gives it another; a boat whose display restarts in a loop, 170
steps each 9 ms, uses one in less than 3 s. Usual cranks take a tenth of a second to the second."""

Overrides = tuple[tuple[str, str], ...]
"""Pairs of dotted path and text, as after `--set`."""


@dataclass(frozen=True, slots=True)
class Changed:
    """A base scenario (by its position in `BoatWork.bases`) with some fields changed, and the fields at the dotted
    paths `left_out`, of which none is among those changed, not written."""

    overrides: Overrides = ()
    base: int = 0
    left_out: tuple[str, ...] = ()

    def of(self, scenario: Scenario, option: str) -> Scenario:
        """The changed boat.

        Raises
        ------
        InputError
            Changes that do not fit it.
        """
        bare = without(scenario, self.left_out)
        return bare.with_overrides(dict(self.overrides), option) if self.overrides else bare


def without(scenario: Scenario, paths: Iterable[str]) -> Scenario:
    """A boat with the fields at some dotted paths not written."""
    tables: dict[str, list[str]] = {}
    for path in paths:
        table, _, name = path.rpartition(".")
        tables.setdefault(table, []).append(name)
    for table, names in tables.items():
        scenario = scenario.without(table, names)
    return scenario


def whole(result: Result) -> Result:
    """The result itself: for a few boats, not for thousands."""
    return result


@dataclass(frozen=True)
class BoatWork:
    """Crank a boat and measure it.

    `bases`: scenarios to change; `measure`: an importable function from result to payload, of JSON's types where a
    journal is kept; `catalogue`: parts to name, the shipped ones by default; `ladder`: solver settings;
    `simulate`: an importable function from boat and ladder to result.

    A task is a `Changed` or a `Boat`.
    """

    bases: tuple[Scenario, ...]
    measure: Callable[[Result], Any] = whole
    catalogue: Catalogue | None = None
    ladder: Ladder = LADDER
    simulate: Callable[[Boat, Ladder], Result] = simulate_boat
    option: str = "--axis"

    def __reduce__(self) -> tuple[Any, ...]:
        own = None if self.catalogue is None else [_plain_entry(e) for e in own_entries(self.catalogue)]
        return _work_again, (self.bases, self.measure, own, self.ladder, self.simulate, self.option)

    def prepare(self) -> None:
        """Load the solver's library; without one no boat can be cranked."""
        library_info()

    def __call__(self, task: Changed | Boat) -> Any:
        return self.measure(self.simulate(self.boat(task), self.ladder))

    def boat(self, task: Changed | Boat) -> Boat:
        """The resolved boat of a task."""
        if isinstance(task, Boat):
            return task
        return resolve(task.of(self.bases[task.base], self.option), self.catalogue)

    def fingerprint(self) -> str:
        """Hash of everything that decides an outcome, apart from the task."""
        own = "" if self.catalogue is None else repr([_plain_entry(e) for e in own_entries(self.catalogue)])
        functions = [_named(f) for f in (self.measure, self.simulate)]
        scenarios = [_content(scenario) for scenario in self.bases]
        return digest(model_fingerprint(), solver_fingerprint(), own, repr(self.ladder), *functions, *scenarios)


def _work_again(
    bases: tuple[Scenario, ...],
    measure: Callable[[Result], Any],
    own: list[dict[str, Any]] | None,
    ladder: Ladder,
    simulate: Callable[[Boat, Ladder], Result],
    option: str,
) -> BoatWork:
    """The work on the far side of a process boundary."""
    catalogue = None if own is None else Catalogue([Entry(**entry) for entry in own])
    return BoatWork(bases, measure, catalogue, ladder, simulate, option)


def _plain_entry(entry: Entry) -> dict[str, Any]:
    """A catalogue line with plain mappings, which travel between processes."""
    held = {name: getattr(entry, name) for name in Entry.__dataclass_fields__}
    return {name: dict(value) if isinstance(value, Mapping) else value for name, value in held.items()}


def own_entries(catalogue: Catalogue) -> list[Entry]:
    """The lines that are not those of the shipped catalogue."""
    shipped = {id(entry) for entry in load_catalogue().entries()}
    return [entry for entry in catalogue.entries() if id(entry) not in shipped]


def _named(function: Any) -> str:
    """A function by its name; a callable object by what it holds."""
    name = getattr(function, "__qualname__", None)
    return repr(function) if name is None else f"{function.__module__}.{name}"


def _content(scenario: Scenario) -> str:
    """The scenario's fields in SI without its title."""
    return repr({name: value for name, value in scenario.__dict__.items() if name != "title"})


def limit_of(boat: Boat) -> float:
    """Longest a boat may take [s] before its process is taken to hang: long cranks longer than short ones."""
    return max(WALL_LIMIT, WALL_PER_SECOND * key_times(boat.crank).stop)


class Keys:
    """Keys of tasks: equal for equal boats, however their values are spelled.

    Parameters
    ----------
    work : what will be done with the tasks
    """

    def __init__(self, work: BoatWork) -> None:
        self._print = work.fingerprint()
        self._work = work
        self._bases = work.bases
        self._limits: dict[tuple[int, Overrides], float] = {}
        self._plain: dict[tuple[int, str, str], str] = {}

    def of(self, task: Changed | Boat) -> str:
        """The key of a task."""
        if isinstance(task, Boat):
            return digest(self._print, "boat", repr(task))
        items = (self._item(task.base, path, text) for path, text in sorted(dict(task.overrides).items()))
        gone = (f"without {path}" for path in sorted(task.left_out))
        return digest(self._print, str(task.base), *(item for item in items if item), *gone)

    def job(self, task: Changed | Boat) -> Job:
        """The task as a job."""
        return Job(self.of(task), task, self.limit(task))

    def limit(self, task: Changed | Boat) -> float:
        """Longest the task may take [s]; boats whose key is turned alike are resolved once."""
        if isinstance(task, Boat):
            return limit_of(task)
        place = (task.base, tuple(item for item in task.overrides if item[0].startswith("crank.")))
        if place not in self._limits:
            try:
                self._limits[place] = limit_of(self._work.boat(task))
            except Exception:  # noqa: BLE001 - what is wrong with a boat is for its row to say, not for the run
                return WALL_LIMIT
        return self._limits[place]

    def jobs(self, tasks: Iterable[Changed | Boat]) -> Iterable[Job]:
        """Tasks as jobs, one at a time."""
        return (self.job(task) for task in tasks)

    def _item(self, base: int, path: str, text: str) -> str:
        """Path and value in SI; empty when the base has that value already."""
        place = (base, path, text)
        found = self._plain.get(place)
        if found is None:
            try:
                value = read_value(path, text)
                written = self._bases[base].get(path)
            except (ValueError, IndexError, TypeError):
                value, written = text, None
            found = self._plain[place] = "" if value == written and written is not None else f"{path}={value!r}"
        return found


def read_value(path: str, text: str) -> Any:
    """The value in SI of a text at a dotted path.

    Raises
    ------
    InputError
        There is no such field, or the text does not fit.
    """
    return spec_at(path).read_text(text)


def spec_at(path: str) -> Any:
    """What the field at a dotted path may hold."""
    from cranksag.scenario.model import Scenario as Model
    from cranksag.scenario.paths import find_leaf

    return find_leaf(Model, path).spec


def with_changes(overrides: Mapping[str, str], base: int = 0) -> Changed:
    """A `Changed` of a mapping."""
    return Changed(tuple(overrides.items()), base)
