# SPDX-License-Identifier: GPL-3.0-or-later
"""A worker process: tasks in, one message out for each as soon as it is done.

Messages: ("ready",) once; ("unfit", error) when the work cannot be prepared; then for each task
("done", payload, seconds) or ("failed", kind, reason, last, seconds), where `last` says that this process must
be replaced.
"""

from __future__ import annotations

import os
import pickle
import signal
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from multiprocessing.connection import Connection
from typing import Any

from cranksag.errors import (
    ConvergenceError,
    CranksagError,
    DeckError,
    EnvelopeError,
    IncompleteError,
    InputError,
    LibraryDead,
    SimulationError,
)

_KINDS: tuple[tuple[type[CranksagError], str], ...] = (
    (InputError, "input"),
    (DeckError, "deck"),
    (ConvergenceError, "convergence"),
    (IncompleteError, "incomplete"),
    (EnvelopeError, "envelope"),
    (LibraryDead, "library"),
)
MAX_REASON = 400
"""Longest reason kept [characters]."""


def main(channel: int, lifeline: int) -> None:
    """Serve one parent until it closes the channel.

    Parameters
    ----------
    channel, lifeline : file descriptors: the two-way channel, and a pipe that ends when the parent is gone.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent hears Ctrl-C and decides
    threading.Thread(target=_follow, args=(lifeline,), daemon=True).start()
    connection = Connection(channel)
    with suppress(EOFError, BrokenPipeError, ConnectionResetError):  # the parent has what it wanted
        _serve(connection)
    os._exit(0)  # no clean-up in C libraries that may be in any state


def _follow(lifeline: int) -> None:
    """End with the parent, also when it was killed and a task is under way."""
    os.read(lifeline, 1)
    os._exit(1)


def _serve(connection: Connection) -> None:
    try:
        work = pickle.loads(connection.recv_bytes())
        work.prepare()
    except Exception as error:  # noqa: BLE001 - raised again in the parent
        connection.send(("unfit", _sendable(error)))
        return
    connection.send(("ready",))
    while True:
        for task in connection.recv():
            message = attempt(work, task)
            connection.send(message)
            if message[0] == "failed" and message[3]:
                return


def attempt(work: Callable[[Any], Any], task: Any) -> tuple[Any, ...]:
    """The message of one task: done, or failed and why."""
    started = time.perf_counter()
    try:
        payload = work(task)
    except CranksagError as error:
        kind = next((name for base, name in _KINDS if isinstance(error, base)), "bug")
        return ("failed", kind, reason_of(error), _unusable(error), time.perf_counter() - started)
    except Exception as error:  # noqa: BLE001 - one row, not the sweep
        text = one_line(f"{type(error).__name__}: {error}")
        return ("failed", "bug", text, _unusable(error), time.perf_counter() - started)
    return ("done", payload, time.perf_counter() - started)


def _unusable(error: BaseException) -> bool:
    """Whether this process has seen its last circuit."""
    from cranksag.solver import get_solver

    return isinstance(error, LibraryDead | MemoryError) or get_solver().dead


def reason_of(error: CranksagError) -> str:
    """The error in one line, without the advice that belongs to a single run."""
    return one_line(error.what if isinstance(error, SimulationError) else str(error))


def one_line(text: str) -> str:
    """Printable text on one line, shortened."""
    plain = "; ".join(line.strip() for line in text.splitlines() if line.strip())
    plain = "".join(c if c.isprintable() else "?" for c in plain)
    return plain if len(plain) <= MAX_REASON else plain[: MAX_REASON - 3] + "..."


def _sendable(error: Exception) -> Exception:
    try:
        pickle.loads(pickle.dumps(error))
    except Exception:  # noqa: BLE001 - an exception that cannot travel is told in words
        return RuntimeError(f"{type(error).__name__}: {error}")
    return error
