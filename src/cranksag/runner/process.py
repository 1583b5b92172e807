# SPDX-License-Identifier: GPL-3.0-or-later
"""The parent's end of one worker process.

A fresh interpreter rather than a fork (the library's state must not be shared) or `multiprocessing` (which
imports the caller's main module again, and may not be used inside daemonic processes).
"""

from __future__ import annotations

import json
import os
import pickle
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections import deque
from contextlib import suppress
from multiprocessing.connection import Connection
from typing import Any

from cranksag.errors import SimulationError
from cranksag.runner.child import one_line

_BOOT = (
    "import json, sys; sys.path[:] = json.loads(sys.argv[1]); "
    "from cranksag.runner.child import main; main(int(sys.argv[2]), int(sys.argv[3]))"
)
_ONE_THREAD = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS", "NUMEXPR_NUM_THREADS")
START_LIMIT = 120.0
"""A worker process that is not ready by then [s] is taken not to start at all."""

_TAIL = 2000
_LARGEST_STDERR = 1_000_000


def packed(work: Any) -> bytes:
    """The work as it travels."""
    return pickle.dumps(work, protocol=pickle.HIGHEST_PROTOCOL)


class Worker:
    """One worker process and the tasks it holds.

    `waiting`: what was given and not yet answered, in order, so that the first one is what it is busy with;
    `since`: moment of its last message.
    """

    def __init__(self, work: bytes) -> None:
        ours, theirs = socket.socketpair()
        life_read, life_write = os.pipe()
        self._stderr = tempfile.TemporaryFile(mode="a+b")  # noqa: SIM115 - lives as long as the process
        environment = dict(os.environ, **dict.fromkeys(_ONE_THREAD, "1"))
        try:
            self._process = subprocess.Popen(
                [sys.executable, "-c", _BOOT, json.dumps(sys.path), str(theirs.fileno()), str(life_read)],
                pass_fds=(theirs.fileno(), life_read),
                stdin=subprocess.DEVNULL,
                stdout=self._stderr,
                stderr=self._stderr,
                env=environment,
            )
        finally:
            theirs.close()
            os.close(life_read)
        self._lifeline: int | None = life_write
        self.connection = Connection(ours.detach())
        self.waiting: deque[Any] = deque()
        self.ready = False
        self.since = time.monotonic()
        self._work: bytes | None = work

    def introduce(self) -> None:
        """Send the work; the process reads it as soon as it is up."""
        if self._work is not None:
            work, self._work = self._work, None
            try:
                self.connection.send_bytes(work)
            except OSError:
                raise self.not_starting() from None

    @property
    def pid(self) -> int:
        """Process id."""
        return self._process.pid

    def give(self, items: list[Any], tasks: list[Any]) -> None:
        """Hand over tasks; `items` are what `waiting` keeps for them. Only to an idle worker: it reads at once."""
        self.waiting.extend(items)
        self.since = time.monotonic()
        self._shorten_stderr()
        with suppress(OSError):  # it died while idle; reading from it says so
            self.connection.send(tasks)

    def take(self) -> tuple[Any, ...] | None:
        """The next message; None when the process is gone."""
        try:
            message: tuple[Any, ...] = self.connection.recv()
        except (EOFError, OSError, pickle.UnpicklingError):
            return None
        self.since = time.monotonic()
        return message

    def busy_for(self) -> float:
        """Time on the current task [s]; 0 when idle."""
        return time.monotonic() - self.since if self.waiting or not self.ready else 0.0

    def not_starting(self) -> SimulationError:
        """The error of a process that never became ready."""
        if self._process.poll() is None and not self.connection.closed and self.busy_for() > START_LIMIT:
            how = f"not ready within {START_LIMIT:g} s"
        else:
            how = self.how_it_ended()
        words = self.last_words()
        self.kill()
        return SimulationError(
            f"a worker process does not start ({how})",
            why=f"Its last words: {words or 'none'}.",
            todo=f"Try: {sys.executable} -c 'import cranksag.simulate'",
        )

    def how_it_ended(self) -> str:
        """Exit code or signal, in words."""
        try:
            code = self._process.wait(5.0)
        except subprocess.TimeoutExpired:
            return "it has closed its channel"
        if code >= 0:
            return f"exit code {code}"
        try:
            return f"signal {-code}, {signal.Signals(-code).name}"
        except ValueError:
            return f"signal {-code}"

    def last_words(self) -> str:
        """The end of what it wrote to its standard error, on one line."""
        try:
            size = os.fstat(self._stderr.fileno()).st_size
            return one_line(os.pread(self._stderr.fileno(), _TAIL, max(size - _TAIL, 0)).decode(errors="replace"))
        except (OSError, ValueError):
            return ""

    def kill(self) -> None:
        """End the process now and free what it held."""
        self._process.kill()
        self.end()

    def let_go(self) -> None:
        """Close channel and lifeline: a live process then ends by itself."""
        self.connection.close()
        if self._lifeline is not None:
            os.close(self._lifeline)
            self._lifeline = None

    def end(self) -> None:
        """Let go and wait for the end; kill what does not end."""
        self.let_go()
        try:
            self._process.wait(2.0)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        self._stderr.close()

    def _shorten_stderr(self) -> None:
        if os.fstat(self._stderr.fileno()).st_size > _LARGEST_STDERR:
            os.ftruncate(self._stderr.fileno(), 0)
