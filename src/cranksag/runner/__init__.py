# SPDX-License-Identifier: GPL-3.0-or-later
"""Many simulations: worker processes, each fault isolated, resumable, on this machine or beyond it."""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Callable, Iterable, Iterator
from typing import Any

from cranksag.errors import InputError
from cranksag.runner.boats import (
    BoatWork,
    Changed,
    Keys,
    Overrides,
    limit_of,
    read_value,
    spec_at,
    whole,
    with_changes,
    without,
)
from cranksag.runner.interrupt import StopRequest
from cranksag.runner.jobs import FAILURES, WALL_LIMIT, Job, Outcome, Work
from cranksag.runner.journal import SUFFIX, Journal
from cranksag.runner.local import LocalPool, checked_workers, default_workers
from cranksag.runner.progress import Progress

__all__ = [
    "FAILURES",
    "SUFFIX",
    "WALL_LIMIT",
    "BoatWork",
    "Changed",
    "Job",
    "Journal",
    "Keys",
    "Outcome",
    "Overrides",
    "Progress",
    "Run",
    "StopRequest",
    "Work",
    "default_workers",
    "limit_of",
    "read_value",
    "run_many",
    "spec_at",
    "whole",
    "with_changes",
    "without",
]


def _never() -> bool:
    return False


class Run(Iterator[Outcome]):
    """Outcomes of a run as they become ready; `workers`: processes (or threads of a scheduler) at its disposal."""

    def __init__(self, outcomes: Iterator[Outcome], workers: int) -> None:
        self._outcomes = outcomes
        self.workers = workers

    def __next__(self) -> Outcome:
        return next(self._outcomes)

    def close(self) -> None:
        """End the workers; also done at the end of the iteration."""
        close = getattr(self._outcomes, "close", None)
        if close is not None:
            close()


def run_many(
    jobs: Iterable[Job],
    work: Work,
    workers: int | None = None,
    *,
    on: str | None = None,
    wall_limit: float | None = None,
    journal: Journal | None = None,
    stop: Callable[[], bool] = _never,
) -> Run:
    """Do many jobs and give what became of each, in the order in which they are ready.

    A job that kills its process, hangs or fails loses itself only. Jobs of one key are done once. With a journal,
    what it holds is not done again, and every outcome is in it before it is given; a job that hung is done again where
    it may take longer now.

    Parameters
    ----------
    jobs : looked at one at a time, a little ahead of the work
    work : what is done with each task
    workers : processes on this machine; one for each processor by default
    on : "dask://host:port" of a running scheduler, instead of processes on this machine
    wall_limit : longest one task may take [s]; what each job says by default
    journal : where outcomes are kept
    stop : asked now and then; once it is true, what is under way is dropped and the iteration ends

    Returns
    -------
    Run, an iterator of Outcome

    Raises
    ------
    InputError
        No such scheduler, or no worker to be.
    SimulationError
        Workers cannot start at all, or there is no solver (raised by the iteration).
    """
    pool: Any = LocalPool(work, checked_workers(workers), wall_limit) if on is None else _remote(work, on, wall_limit)
    return Run(_outcomes(pool, _Pending(jobs, journal, wall_limit), stop), pool.size)


def _outcomes(pool: Any, pending: _Pending, stop: Callable[[], bool]) -> Iterator[Outcome]:
    finished = pool.finished(pending.new(stop), stop)
    try:
        while True:
            yield from pending.recalled()
            outcome = next(finished, None)
            if outcome is None:
                break
            yield from pending.done(outcome)
        yield from pending.recalled()
    finally:
        finished.close()


def _remote(work: Work, on: str, wall_limit: float | None) -> Any:
    if not on.startswith("dask://"):
        raise InputError([f"{on}: unknown kind of scheduler, write dask://host:port"])
    from cranksag.runner.remote import DaskPool

    return DaskPool(work, on, wall_limit)


class _Pending:
    """Jobs by key: which are new, which are under way, which are known already."""

    def __init__(self, jobs: Iterable[Job], journal: Journal | None, wall_limit: float | None) -> None:
        self._jobs = enumerate(jobs)
        self._limit = wall_limit
        self._journal = journal
        self._kept: dict[str, Outcome] = {}  # without a journal
        self._twins: defaultdict[str, list[int]] = defaultdict(list)  # of jobs under way
        self._known: deque[tuple[str, int]] = deque()

    def new(self, stop: Callable[[], bool]) -> Iterator[tuple[int, Job]]:
        """Numbered jobs that have to be done."""
        for number, job in self._jobs:
            if stop():
                return
            if job.key in self._twins:
                self._twins[job.key].append(number)
            elif self._is_known(job):
                self._known.append((job.key, number))
            else:
                self._twins[job.key] = []
                yield number, job

    def _is_known(self, job: Job) -> bool:
        if self._journal is None:
            return job.key in self._kept
        return self._journal.settles(job.key, job.within(self._limit))

    def done(self, outcome: Outcome) -> Iterator[Outcome]:
        """An outcome and those of its twins."""
        if self._journal is not None:
            self._journal.add(outcome)
        else:
            self._kept[outcome.key] = outcome
        yield outcome
        for number in self._twins.pop(outcome.key, ()):
            yield _again(outcome, number)

    def recalled(self) -> Iterator[Outcome]:
        """Outcomes that were known already."""
        while self._known:
            key, number = self._known.popleft()
            if self._journal is not None:
                yield self._journal.recall(key, number)
            else:
                yield _again(self._kept[key], number)


def _again(outcome: Outcome, number: int) -> Outcome:
    return Outcome(
        number, outcome.key, outcome.payload, outcome.failure, outcome.reason, outcome.seconds, recalled=True
    )
