# SPDX-License-Identifier: GPL-3.0-or-later
"""Size: the smallest standard value that holds with margin in every corner.

A value holds if in every corner every display runs at START and none restarts, the margin is at least the one wanted,
and the value brings no danger or overload of its own. For fields that decide whether the engine turns, the engine must
start as well; for the display's own supply and hold-up a corner in which it does not start is told, not held against
the value. A default corner in which no value holds and none starts the engine is set aside and told; the boat as
written and the corners that the user names always count.

How the answer is found, and why it is that of trying everything: `cranksag.studies.search`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

from cranksag.catalogue import Catalogue, Entry, load_catalogue
from cranksag.errors import InputError, Interrupted
from cranksag.quantities import VOLTAGE, parse_option
from cranksag.resolve import Boat, resolve
from cranksag.runner import (
    BoatWork,
    Changed,
    Keys,
    Overrides,
    Progress,
    StopRequest,
    run_many,
    spec_at,
    without,
)
from cranksag.scenario import Scenario
from cranksag.simulate import Ladder, simulate_boat
from cranksag.solver import LADDER
from cranksag.studies.axes import Axis, part_kinds
from cranksag.studies.corners import DEFAULT_CORNERS, Corner, changes_of
from cranksag.studies.search import Pair, Search
from cranksag.studies.shelf import shelf_of
from cranksag.studies.sized import Size, Tried, answer_of
from cranksag.studies.superseded import superseded
from cranksag.studies.trial import FUSE_LOAD, Trial, TrialMeasure
from cranksag.studies.variants import AS_WRITTEN, Variant, parse_variants
from cranksag.verdict.results import Result
from cranksag.verdict.shortfall import charging_advice

__all__ = ["DEFAULT", "Size", "Tried", "size"]

DEFAULT = "default"
"""Stands for the default corners among those of the user."""

DISPLAY_SIDE = ("feed", "hold_up", "displays", "loads")
"""Tables whose fields do not decide whether the engine turns."""


def size(
    scenario: Scenario,
    path: str,
    margin: float | str = "1 V",
    corners: Sequence[str | Variant | Corner] = (DEFAULT,),
    *,
    shelf: str | None = None,
    catalogue: Catalogue | None = None,
    workers: int | None = None,
    on: str | None = None,
    wall_limit: float | None = None,
    ladder: Ladder = LADDER,
    simulate: Callable[[Boat, Ladder], Result] = simulate_boat,
    progress: bool = False,
) -> Size:
    """The smallest standard value of a field that holds in every corner.

    Parameters
    ----------
    scenario : the boat
    path : dotted path of the field to size
    margin : wanted over the brown-out threshold, [V] or as text
    corners : ``NAME:PATH=VALUE,...``, or "default" for `DEFAULT_CORNERS`; the boat as written always counts
    shelf : values to choose from, in the grammar of an axis; the standard values by default
    catalogue : parts; the shipped ones by default
    workers, on, wall_limit : as for a sweep
    ladder : groups of solver settings, tried in order
    simulate : an importable function from boat and ladder to result
    progress : tell on stderr how far it is

    Returns
    -------
    Size

    Raises
    ------
    InputError
        The field has no shelf, or corners that do not fit the boat.
    SimulationError
        Every simulation failed.
    Interrupted
        Ctrl-C: an answer needs every run.
    """
    wanted = parse_option("--margin", margin, VOLTAGE) if isinstance(margin, str) else float(margin)
    _check_path(path)
    scenario, notes = _without_superseded(scenario, path)
    boat = resolve(scenario, catalogue)
    axis = shelf_of(path, boat, catalogue, shelf)
    corner_list = _corner_list(corners)
    must_start = path.partition(".")[0] not in DISPLAY_SIDE
    known = tuple(note.code for note in boat.dangers)
    measure = TrialMeasure(path, must_start, _ratings(path, catalogue), known)
    work = BoatWork((scenario,), measure, catalogue, ladder, simulate, "--corner")
    tasks = _Tasks(scenario, path, axis, corner_list, catalogue)
    search = Search(len(axis), len(tasks.names), wanted, must_start, tasks.optional)
    usual = len(axis) + 3 * len(tasks.names)  # runs where more is better
    with StopRequest() as stop, Progress(usual, "size", quiet=not progress) as bar:
        bench = _Bench(work, tasks, search, workers, on, wall_limit, stop, bar)
        search.settle(bench.run)
    found = answer_of(path, wanted, axis, tasks.names, search, notes)
    return replace(found, notes=(*found.notes, *_charging(scenario, catalogue, tasks, search)))


def _check_path(path: str) -> None:
    """Refuse a path that names no field."""
    try:
        spec_at(path)
    except InputError as error:
        raise InputError([f"--for {problem}" for problem in error.problems]) from None


def _without_superseded(scenario: Scenario, path: str) -> tuple[Scenario, tuple[str, ...]]:
    """The scenario without written figures that would hide those of the parts that are tried."""
    figures = superseded(scenario, path)
    if not figures:
        return scenario, ()
    note = f"left out: {', '.join(figures)}, which as written would hide each part's own"
    return without(scenario, figures), (note,)


def _ratings(path: str, catalogue: Catalogue | None) -> dict[str, float]:
    """Current that each part of the field's kind may carry [A], by its name in lower case."""
    kind = next(iter(part_kinds(path)), None)
    if kind is None:
        return {}
    parts = catalogue if catalogue is not None else load_catalogue()
    return {entry.name.lower(): rating for entry in parts.entries(kind) if (rating := _carried(entry)) is not None}


def _carried(entry: Entry) -> float | None:
    """Current that a part may carry for long [A]; None where its kind knows none."""
    if entry.kind == "fuse":
        return FUSE_LOAD * float(entry.value("rating"))
    if entry.kind == "converter":
        return float(entry.value("rated_power")) / float(entry.value("output_voltage"))
    field = {"diode": "rated_current", "relay": "carry_current"}.get(entry.kind)
    return None if field is None else float(entry.value(field))


def _corner_list(corners: Sequence[str | Variant | Corner]) -> list[Variant | Corner]:
    found: list[Variant | Corner] = []
    texts = [c for c in corners if isinstance(c, str) and c != DEFAULT]
    read = iter(parse_variants(texts, "--corner"))
    for corner in corners:
        if corner == DEFAULT:
            found += DEFAULT_CORNERS
        else:
            found.append(next(read) if isinstance(corner, str) else corner)
    names = [corner.name for corner in found]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise InputError([f"--corner {name}: the name is taken, choose another" for name in twice])
    return found


class _Tasks:
    """Every value in every corner, as changes to the scenario; None where a corner does not touch the boat."""

    def __init__(
        self,
        scenario: Scenario,
        path: str,
        axis: Axis,
        corners: Sequence[Variant | Corner],
        catalogue: Catalogue | None,
    ) -> None:
        rows: list[list[Overrides | None]] = []
        impossible: dict[int, InputError] = {}
        for place, text in enumerate(axis.texts):
            own: Overrides = ((path, text),)
            try:
                boat = resolve(scenario.with_overrides(dict(own), "--for"), catalogue)
            except InputError as error:
                impossible[place] = error
                rows.append([own] * (len(corners) + 1))
                continue
            changes = [_changes(corner, boat, path) for corner in corners]
            rows.append([own, *(None if c is None else (*own, *c) for c in changes)])
        if len(impossible) == len(axis):
            raise next(iter(impossible.values()))
        alive = [k for k in range(len(corners) + 1) if any(row[k] is not None for row in rows)]
        own_corners: list[Variant | Corner | None] = [None, *corners]
        self.optional = tuple(place for place, k in enumerate(alive) if isinstance(own_corners[k], Corner))
        self.names = tuple([AS_WRITTEN, *(corner.name for corner in corners)][k] for k in alive)
        first = next(row[0] for place, row in enumerate(rows) if place not in impossible)
        self.changes = [[row[k] if row[k] is not None else row[0] for k in alive] for row in rows]
        _check_corners(scenario, first, [c for c in corners if isinstance(c, Variant)], catalogue)

    def of(self, value: int, corner: int) -> Changed:
        """The task of a value in a corner."""
        changes = self.changes[value][corner]
        assert changes is not None
        return Changed(changes)


def _changes(corner: Variant | Corner, boat: Boat, path: str) -> Overrides | None:
    if isinstance(corner, Corner):
        return changes_of(corner, boat, path) or None
    if path in dict(corner.changes):
        raise InputError([f"--corner {corner.name}: changes {path}, which is what is sized"])
    return corner.changes


def _check_corners(
    scenario: Scenario, own: Overrides | None, corners: Sequence[Variant], catalogue: Catalogue | None
) -> None:
    """Refuse corners that no boat can be in, all of them at once, before anything is run."""
    problems: list[str] = []
    for corner in corners:
        try:
            resolve(scenario.with_overrides(dict((*(own or ()), *corner.changes)), "--corner"), catalogue)
        except InputError as error:
            problems += [f"{problem} (in {corner.name})" for problem in error.problems]
    if problems:
        raise InputError(problems)


class _Bench:
    """Runs values in corners and hands what became of them to the search."""

    def __init__(
        self,
        work: BoatWork,
        tasks: _Tasks,
        search: Search,
        workers: int | None,
        on: str | None,
        wall_limit: float | None,
        stop: StopRequest,
        bar: Progress,
    ) -> None:
        self._work, self._tasks, self._search = work, tasks, search
        self._how = {"workers": workers, "on": on, "wall_limit": wall_limit, "stop": stop}
        self._stop, self._bar = stop, bar
        self._keys = Keys(work)

    def run(self, pairs: Iterable[Pair]) -> None:
        """Run pairs of value and corner."""
        wanted = list(dict.fromkeys(pairs))
        self._bar.total = max(self._bar.total, self._bar.done + len(wanted))
        outcomes = run_many(
            (self._keys.job(self._tasks.of(*pair)) for pair in wanted),
            self._work,
            **self._how,  # type: ignore[arg-type]
        )
        try:
            for outcome in outcomes:
                trial = (
                    Trial(None, None, False, False, why=f"{outcome.failure}: {outcome.reason}", failed=True)
                    if outcome.failure
                    else Trial(*outcome.payload)
                )
                self._search.take(wanted[outcome.number], trial)
                self._bar.step(failed=bool(outcome.failure))
        finally:
            outcomes.close()
        if self._stop():
            raise Interrupted("interrupted: a size needs every run, nothing is kept")


def _charging(scenario: Scenario, catalogue: Catalogue | None, tasks: _Tasks, search: Search) -> tuple[str, ...]:
    """What to change where the answer, or what comes nearest, is not charged in time in the corner that binds it."""
    found = search.smallest()
    place = found if found is not None else search.nearest()
    corner = search.hardest(place)
    if corner is None or not search.trials[place, corner].uncharged:
        return ()
    there = resolve(scenario.with_overrides(dict(tasks.of(place, corner).overrides)), catalogue)
    return (f"the bank is not charged in time there: {charging_advice(there)}",)
