# SPDX-License-Identifier: GPL-3.0-or-later
"""What the runner is given and what it gives back. Classes here carry data only."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Protocol

WALL_LIMIT = 60.0
"""Longest one task may take [s] before its process is taken to hang, where the job says nothing else."""


@dataclass(frozen=True, slots=True)
class Job:
    """One thing to do.

    `key`: hash of everything that decides the outcome; jobs of one key are done once. `task`: what the work is
    called with, small and picklable. `limit`: longest it may take [s] where the run sets no limit for all.
    """

    key: str
    task: Any
    limit: float = WALL_LIMIT

    def within(self, limit: float | None) -> float:
        """Longest it may take [s]: the run's limit, where it sets one."""
        return self.limit if limit is None else limit


class Work(Protocol):
    """What is done with each task, in a worker process: a picklable object of an importable class."""

    def prepare(self) -> None:
        """Whatever must be there before the first task; an exception here ends the whole run."""

    def __call__(self, task: Any) -> Any:
        """The payload of a task: small, picklable, and of JSON's types where a journal is kept."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one job.

    `number`: its position among the jobs as given, from 0; `payload`: what the work returned, None for a failure;
    `failure`: "" or the kind of failure (`FAILURES`); `reason`: why, one line; `seconds` in the worker [s];
    `recalled`: taken from the journal or from an identical job rather than computed.
    """

    number: int
    key: str
    payload: Any
    failure: str = ""
    reason: str = ""
    seconds: float = 0.0
    recalled: bool = False


FAILURES = {
    "input": "what the fields together make impossible",
    "deck": "the netlist was refused",
    "convergence": "the solver gave up at a point in time",
    "incomplete": "the run ended early",
    "envelope": "a value left what is physically possible",
    "library": "the solver's library became unusable",
    "died": "the worker process died",
    "hung": "the worker process did not come back in time and was stopped",
    "bug": "an unexpected fault of the program",
}
"""Kinds of failure and what they mean."""
