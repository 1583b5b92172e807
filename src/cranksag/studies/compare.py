# SPDX-License-Identifier: GPL-3.0-or-later
"""Compare: named variants of a boat beside the boat as it is."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from cranksag.catalogue import Catalogue
from cranksag.errors import InputError, Interrupted, SimulationError
from cranksag.resolve import Boat, resolve
from cranksag.runner import BoatWork, Changed, Keys, Progress, StopRequest, run_many, whole
from cranksag.scenario import Scenario
from cranksag.simulate import Ladder, simulate_boat
from cranksag.solver import LADDER
from cranksag.studies.superseded import hiding, left_out, told
from cranksag.studies.variants import AS_WRITTEN, Variant, parse_variants
from cranksag.verdict.document import document, document_schema
from cranksag.verdict.results import Result
from cranksag.verdict.shortfall import shortfalls

__all__ = ["Compared", "Comparison", "compare"]


@dataclass(frozen=True, slots=True)
class Compared:
    """One variant: its `result`, or None and the kind of `failure` with its `reason`."""

    variant: Variant
    result: Result | None
    failure: str = ""
    reason: str = ""

    @property
    def name(self) -> str:
        """The variant's name."""
        return self.variant.name


@dataclass(frozen=True, slots=True)
class Comparison:
    """Variants in the order given, the boat as it is first; `notes`: what the reader should know of all of them."""

    variants: tuple[Compared, ...]
    notes: tuple[str, ...] = ()

    @property
    def results(self) -> tuple[tuple[str, Result], ...]:
        """Name and result of those that have one."""
        return tuple((c.name, c.result) for c in self.variants if c.result is not None)

    def document(self) -> dict[str, Any]:
        """The JSON document: each variant's name, its changes, the keys of the simulate document, and in words what its
        hold-up lacks (null if it failed); and the notes."""
        return {"notes": list(self.notes), "variants": [_document(compared) for compared in self.variants]}


def _document(compared: Compared) -> dict[str, Any]:
    if compared.result is not None:
        found = document(compared.result)
    else:
        found = dict.fromkeys(document_schema()["properties"])
    head = {"name": compared.name, "changes": dict(compared.variant.changes)}
    failure = {"kind": compared.failure, "reason": compared.reason} if compared.failure else None
    short = None if compared.result is None else list(shortfalls(compared.result))
    return {**head, **found, "falls_short": short, "failure": failure}


def compare(
    scenario: Scenario,
    variants: Sequence[str | Variant],
    *,
    catalogue: Catalogue | None = None,
    workers: int | None = None,
    on: str | None = None,
    wall_limit: float | None = None,
    ladder: Ladder = LADDER,
    simulate: Callable[[Boat, Ladder], Result] = simulate_boat,
    progress: bool = False,
) -> Comparison:
    """Crank a boat and variants of it.

    Where a variant names a part, the figures of the file that would hide those of the part are left out in it; what was
    set since the file was read, or by the variant, stays. The notes say so.

    Parameters
    ----------
    scenario : the boat as it is
    variants : ``NAME:PATH=VALUE,...``, or made already
    catalogue : parts; the shipped ones by default
    workers, on, wall_limit : as for a sweep
    ladder : groups of solver settings, tried in order
    simulate : an importable function from boat and ladder to result
    progress : tell on stderr how far it is

    Returns
    -------
    Comparison

    Raises
    ------
    InputError
        Variants that cannot be read or be boats; every problem.
    SimulationError
        Every simulation failed.
    Interrupted
        Ctrl-C.
    """
    if not variants:
        raise InputError(['--variant: at least one is needed, such as --variant "thick:feed.size=10 AWG"'])
    read = iter(parse_variants([v for v in variants if isinstance(v, str)]))
    wanted = [Variant(AS_WRITTEN), *(next(read) if isinstance(v, str) else v for v in variants)]
    tasks = [_task(scenario, variant) for variant in wanted]
    _check(scenario, wanted, tasks, catalogue)
    work = BoatWork((scenario,), whole, catalogue, ladder, simulate, "--variant")
    keys = Keys(work)
    found: dict[int, Compared] = {}
    with StopRequest() as stop, Progress(len(wanted), "compare", quiet=not progress) as bar:
        outcomes = run_many((keys.job(task) for task in tasks), work, workers, on=on, wall_limit=wall_limit, stop=stop)
        try:
            for outcome in outcomes:
                variant = wanted[outcome.number]
                found[outcome.number] = Compared(variant, outcome.payload, outcome.failure, outcome.reason)
                bar.step(failed=bool(outcome.failure))
        finally:
            outcomes.close()
        if stop():
            raise Interrupted("interrupted: nothing is kept")
    ordered = tuple(found[number] for number in range(len(wanted)))
    if all(compared.result is None for compared in ordered):
        first = ordered[0]
        raise SimulationError(
            f"every run failed; the first: {first.failure}: {first.reason}", why="", todo="Try the boat with simulate."
        )
    return Comparison(ordered, _notes(wanted, tasks))


def _task(scenario: Scenario, variant: Variant) -> Changed:
    hides = hiding(scenario, [path for path, _ in variant.changes])
    return Changed(variant.changes, left_out=left_out(hides, variant.changes))


def _notes(variants: Sequence[Variant], tasks: Sequence[Changed]) -> tuple[str, ...]:
    """Which figures of the file the variants do without, those without the same in one note."""
    names: dict[tuple[str, ...], list[str]] = {}
    for variant, task in zip(variants, tasks, strict=True):
        if task.left_out:
            names.setdefault(task.left_out, []).append(variant.name)
    return tuple(told(", ".join(found), figures) for figures, found in names.items())


def _check(
    scenario: Scenario, variants: Sequence[Variant], tasks: Sequence[Changed], catalogue: Catalogue | None
) -> None:
    """Refuse what cannot be a boat before anything is run."""
    problems: list[str] = []
    for variant, task in zip(variants, tasks, strict=True):
        try:
            changed = task.of(scenario, "--variant")
        except InputError as error:
            problems += [f"{problem} (in {variant.name})" for problem in error.problems]
            continue
        try:
            resolve(changed, catalogue)
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(list(dict.fromkeys(problems)))
