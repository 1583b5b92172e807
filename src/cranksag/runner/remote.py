# SPDX-License-Identifier: GPL-3.0-or-later
"""Jobs over a running dask scheduler (`--on dask://host:port`).

On each dask worker a child process of our own computes, as on one machine, so that a fault in a circuit costs one row
and never the dask worker. A dask worker that is lost has its batches done by another.
"""

from __future__ import annotations

import atexit
import hashlib
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from importlib import import_module
from multiprocessing.connection import wait
from typing import Any

from cranksag.errors import InputError, SimulationError
from cranksag.runner.jobs import Job, Outcome
from cranksag.runner.keys import model_fingerprint, solver_fingerprint
from cranksag.runner.local import BATCH_SECONDS, DEATHS_ALLOWED, LARGEST_BATCH, hung
from cranksag.runner.process import START_LIMIT, Worker, packed

Message = tuple[Any, ...]

BATCHES_PER_THREAD = 3
"""Batches handed to the scheduler ahead, for each thread of its workers."""

CONNECT_LIMIT = 20.0
"""Longest wait for the scheduler and a first worker [s]."""

_REMOTE_BATCH_SECONDS = 4 * BATCH_SECONDS  # a scheduler costs some milliseconds for each batch

_idle: dict[str, list[Worker]] = {}
_lock = threading.Lock()


def run_batch(blob: bytes, tasks: list[tuple[Any, float]], model: str) -> list[Message]:
    """Messages of a batch of tasks, each with its wall limit [s], in order; called on a dask worker.

    Raises
    ------
    SimulationError
        Another version is installed here.
    """
    if model != here():
        raise SimulationError(
            "a worker of the scheduler has another version of the model, netlists or solver",
            why="Rows of two versions must not stand in one table.",
            todo="Install the same version everywhere.",
        )
    name = hashlib.sha256(blob).hexdigest()
    messages: list[Message] = []
    left = deque((task, limit, 0) for task, limit in tasks)
    worker: Worker | None = None
    try:
        while left:
            worker = worker if worker is not None else _borrowed(name, blob)
            worker, done = _some(worker, left)
            messages += done
    finally:
        if worker is not None and not worker.waiting and worker.ready:
            with _lock:
                _idle.setdefault(name, []).append(worker)
        elif worker is not None:
            worker.kill()
    return messages


def _borrowed(name: str, blob: bytes) -> Worker:
    with _lock:
        if _idle.get(name):
            return _idle[name].pop()
    worker = Worker(blob)
    worker.introduce()
    message = worker.take() if worker.connection.poll(START_LIMIT) else None
    if message is None:
        raise worker.not_starting()
    if message[0] == "unfit":
        worker.kill()
        raise message[1]
    worker.ready = True
    return worker


def _some(worker: Worker, left: deque[tuple[Any, float, int]]) -> tuple[Worker | None, list[Message]]:
    """Messages of as many tasks as this child answers; None for the child if it is used up."""
    messages: list[Message] = []
    alone = left[0][2] > 0
    batch = [left[0]] if alone else [entry for entry in left if entry[2] == 0]
    worker.give(batch, [task for task, _, _ in batch])
    while worker.waiting:
        late = not wait([worker.connection], worker.waiting[0][1])
        message = None if late else worker.take()
        if message is not None:
            worker.waiting.popleft()
            left.popleft()
            messages.append(message)
            if message[0] == "failed" and message[3]:
                worker.waiting.clear()
                worker.kill()
                return None, messages
            continue
        worker.waiting.clear()
        how = "" if late else worker.how_it_ended()
        worker.kill()
        task, limit, deaths = left.popleft()
        if late:
            messages.append(("failed", "hung", hung(limit), True, limit))
        elif deaths + 1 < DEATHS_ALLOWED:
            left.appendleft((task, limit, deaths + 1))
        else:
            messages.append(("failed", "died", f"the worker process died ({how})", True, 0.0))
        return None, messages
    return worker, messages


@atexit.register
def release() -> None:
    """End the child processes of this process."""
    with _lock:
        for workers in _idle.values():
            for worker in workers:
                worker.end()
        _idle.clear()


def here() -> str:
    """What computes in this process: model and solver."""
    return f"{model_fingerprint()} {solver_fingerprint()}"


class DaskPool:
    """The jobs of one run over the workers of a dask scheduler.

    Parameters
    ----------
    address : "dask://host:port"
    """

    def __init__(self, work: Any, address: str, wall_limit: float | None) -> None:
        try:
            distributed: Any = import_module("distributed")
        except ImportError:
            raise InputError([f'{address}: needs dask.distributed: pip install "cranksag[dask]"']) from None
        where = address.removeprefix("dask://")
        if not where or "/" in where:
            raise InputError([f"{address}: not the address of a scheduler, write dask://host:port"])
        try:
            self._distributed = distributed
            self._client: Any = distributed.Client(f"tcp://{where}", timeout=CONNECT_LIMIT, set_as_default=False)
            self._client.wait_for_workers(1, timeout=CONNECT_LIMIT)
        except (OSError, TimeoutError, ValueError) as error:
            raise InputError([f"{address}: no scheduler with workers answers there ({error})"]) from None
        self._blob = packed(work)
        self._limit = wall_limit
        self._mean = _REMOTE_BATCH_SECONDS

    @property
    def size(self) -> int:
        """Threads of all workers [-]."""
        return sum(self._client.nthreads().values())

    def finished(self, jobs: Iterator[tuple[int, Job]], stop: Callable[[], bool]) -> Iterator[Outcome]:
        """Outcomes of numbered jobs until there are no more, or `stop` says so."""
        blob = self._client.scatter(self._blob, broadcast=True)
        under_way: dict[Any, list[tuple[int, Job]]] = {}
        ready = self._distributed.as_completed(loop=self._client.loop, with_results=False, raise_errors=False)
        ahead = BATCHES_PER_THREAD * max(self.size, 1)
        again: deque[list[tuple[int, Job]]] = deque()
        try:
            more = True
            while not stop():
                while len(under_way) < ahead and (more or again):
                    batch = again.popleft() if again else self._batch(jobs)
                    if not batch:
                        more = False
                        continue
                    tasks = [(job.task, job.within(self._limit)) for _, job in batch]
                    future = self._client.submit(run_batch, blob, tasks, here(), pure=False)
                    under_way[future] = batch
                    ready.add(future)
                if not under_way:
                    return
                future = _next(ready, stop)
                if future is None:
                    return
                yield from self._read(future, under_way.pop(future), again)
        finally:
            if under_way:
                self._client.cancel(list(under_way), force=True)
            self._client.run(release, on_error="ignore")
            self._client.close(timeout=5)

    def _batch(self, jobs: Iterator[tuple[int, Job]]) -> list[tuple[int, Job]]:
        size = max(1, min(LARGEST_BATCH, int(_REMOTE_BATCH_SECONDS / self._mean)))
        return [found for _ in range(size) if (found := next(jobs, None)) is not None]

    def _read(
        self, future: Any, batch: list[tuple[int, Job]], again: deque[list[tuple[int, Job]]]
    ) -> Iterator[Outcome]:
        if future.status != "finished":
            error = future.exception()
            if not isinstance(error, self._distributed.scheduler.KilledWorker):
                raise error if isinstance(error, Exception) else SimulationError(f"a batch was {future.status}")
            if len(batch) > 1:  # one of them may be to blame: each alone
                again.extend([entry] for entry in batch)
                return
            number, job = batch[0]
            yield Outcome(number, job.key, None, "died", f"the dask worker was lost each time ({error})")
            return
        for (number, job), message in zip(batch, future.result(), strict=True):
            if message[0] == "done":
                self._mean += 0.1 * (max(message[2], 1e-4) - self._mean)
                yield Outcome(number, job.key, message[1], seconds=message[2])
            else:
                yield Outcome(number, job.key, None, message[1], message[2], message[4])


def _next(ready: Any, stop: Callable[[], bool]) -> Any:
    """The next future that is done; None when asked to stop."""
    while not stop():
        if ready.has_ready():
            return next(ready)
        time.sleep(0.01)
    return None
