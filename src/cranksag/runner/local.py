# SPDX-License-Identifier: GPL-3.0-or-later
"""Jobs over the worker processes of this machine; a faulty job costs itself and a fresh process, nothing else.

Tasks travel in small batches, answers one by one: when a process dies or hangs, the first unanswered task of its
batch is the one it was busy with, and the rest of the batch goes to another process.
"""

from __future__ import annotations

import os
import time
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from multiprocessing.connection import Connection, wait
from typing import Any

from cranksag.errors import InputError
from cranksag.runner.jobs import Job, Outcome
from cranksag.runner.process import START_LIMIT, Worker, packed

BATCH_SECONDS, LARGEST_BATCH = 0.25, 64
"""A batch is sized to last this long [s], and holds so many tasks at most [-]."""

DEATHS_ALLOWED = 2
"""A job whose process died is tried once more: it may have died of something else (out of memory, a kill)."""

_TICK = 0.25  # [s] longest wait before stop requests and time limits are looked at


def default_workers() -> int:
    """One worker for each processor this process may use."""
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:  # not on every system
        return os.cpu_count() or 1


@dataclass(slots=True)
class _Item:
    number: int
    job: Job
    deaths: int = 0


class LocalPool:
    """Worker processes for one run; `finished` yields outcomes in the order in which they are ready."""

    def __init__(self, work: Any, workers: int, wall_limit: float | None) -> None:
        self._work = packed(work)
        self.size = workers
        self._limit = wall_limit
        self._workers: list[Worker] = []
        self._again: deque[_Item] = deque()
        self._mean = BATCH_SECONDS  # the first batches hold one task
        self._proven = False

    def finished(self, jobs: Iterator[tuple[int, Job]], stop: Callable[[], bool]) -> Iterator[Outcome]:
        """Outcomes of numbered jobs until there are no more, or `stop` says so."""
        try:
            source: Iterator[tuple[int, Job]] | None = jobs
            while not stop():
                if source is not None and not self._feed(source):
                    source = None
                if source is None and self._again:
                    self._feed(iter(()))
                if not any(worker.waiting or not worker.ready for worker in self._workers) and not self._again:
                    return
                yield from self._collect()
        finally:
            self.close()

    def close(self) -> None:
        """End every process."""
        for worker in self._workers:
            if worker.waiting or not worker.ready:
                worker.kill()
            worker.let_go()
        for worker in self._workers:
            worker.end()
        self._workers.clear()

    def _feed(self, source: Iterator[tuple[int, Job]]) -> bool:
        """Give every idle worker a batch; False when the source is empty."""
        more = True
        while len(self._workers) < self.size:
            idle = sum(not worker.waiting for worker in self._workers)
            while more and len(self._again) <= idle:
                found = next(source, None)
                more = found is not None
                if found is not None:
                    self._again.append(_Item(*found))
            if len(self._again) <= idle:  # no more processes than there is work for
                break
            self._start()
        for worker in self._workers:
            if worker.ready and not worker.waiting:
                batch: list[_Item] = []
                size = max(1, min(LARGEST_BATCH, int(BATCH_SECONDS / self._mean)))
                while len(batch) < size:
                    item = self._next(source)
                    if item is None:
                        more = False
                        break
                    batch.append(item)
                    if item.deaths:  # a suspect travels alone
                        break
                if batch:
                    worker.give(batch, [item.job.task for item in batch])
        return more

    def _next(self, source: Iterator[tuple[int, Job]]) -> _Item | None:
        if self._again:
            return self._again.popleft()
        found = next(source, None)
        return None if found is None else _Item(*found)

    def _start(self) -> None:
        worker = Worker(self._work)
        self._workers.append(worker)
        worker.introduce()

    def _collect(self) -> Iterator[Outcome]:
        """Read what has arrived, and end what takes too long."""
        by_channel = {worker.connection: worker for worker in self._workers}
        for channel in wait(list(by_channel), _TICK):
            assert isinstance(channel, Connection)
            yield from self._read(by_channel[channel])
        for worker in list(self._workers):
            limit = worker.waiting[0].job.within(self._limit) if worker.waiting else START_LIMIT
            if worker.busy_for() > limit:
                if not worker.ready:
                    raise worker.not_starting()
                yield self._failed(worker.waiting.popleft(), "hung", hung(limit), limit)
                self._drop(worker)

    def _read(self, worker: Worker) -> Iterator[Outcome]:
        while worker in self._workers:
            message = worker.take()
            if message is None:
                yield from self._lost(worker)
            elif message[0] == "ready":
                worker.ready = self._proven = True
            elif message[0] == "unfit":
                worker.kill()
                raise message[1]
            elif message[0] == "done":
                item = worker.waiting.popleft()
                self._mean += 0.1 * (max(message[2], 1e-4) - self._mean)
                yield Outcome(item.number, item.job.key, message[1], seconds=message[2])
            else:
                item = worker.waiting.popleft()
                yield self._failed(item, message[1], message[2], message[4])
                if message[3]:
                    self._drop(worker)
            if worker not in self._workers or not worker.connection.poll():
                return

    def _lost(self, worker: Worker) -> Iterator[Outcome]:
        """A process that is gone: its current job is suspect, the others are innocent."""
        if not worker.ready:
            if not self._proven:
                raise worker.not_starting()
            self._drop(worker)
            return
        if worker.waiting:
            item = worker.waiting.popleft()
            item.deaths += 1
            if item.deaths < DEATHS_ALLOWED:
                self._again.append(item)
            else:
                how, words = worker.how_it_ended(), worker.last_words()
                reason = f"the worker process died ({how}){', last words: ' + words if words else ''}"
                yield self._failed(item, "died", reason, time.monotonic() - worker.since)
        self._drop(worker)

    def _drop(self, worker: Worker) -> None:
        self._again.extendleft(reversed(worker.waiting))
        worker.waiting.clear()
        self._workers.remove(worker)
        worker.kill()

    @staticmethod
    def _failed(item: _Item, kind: str, reason: str, seconds: float) -> Outcome:
        return Outcome(item.number, item.job.key, None, kind, reason, seconds)


def hung(limit: float) -> str:
    """Why a task is taken to hang."""
    return f"no answer within {limit:.4g} s, the worker process was stopped"


def checked_workers(workers: int | None) -> int:
    """The number of worker processes: as asked, or one for each processor."""
    if workers is None:
        return default_workers()
    if workers < 1:
        raise InputError([f"{workers} workers: at least one is needed"])
    return workers
