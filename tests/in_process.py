# SPDX-License-Identifier: GPL-3.0-or-later
"""Real simulations in the test's own process, each boat once: what the studies are compared with shares the runs."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from cranksag.errors import CranksagError
from cranksag.resolve import Boat
from cranksag.runner import Job, Outcome, Run
from cranksag.simulate import Ladder, simulate_boat
from cranksag.verdict.results import Result

_kept: dict[str, Result] = {}


def crank(boat: Boat, ladder: Ladder) -> Result:
    """The result of a boat, from ngspice at its first call."""
    name = repr(boat) + repr(ladder)
    if name not in _kept:
        _kept[name] = simulate_boat(boat, ladder)
    return _kept[name]


def run_here(jobs: Iterable[Job], work: Any, workers: int | None = None, **settings: Any) -> Run:
    """`run_many` without processes of its own."""

    def outcomes() -> Iterator[Outcome]:
        for number, job in enumerate(jobs):
            try:
                yield Outcome(number, job.key, work(job.task))
            except CranksagError as error:
                yield Outcome(number, job.key, None, "input", str(error))

    return Run(outcomes(), 1)
