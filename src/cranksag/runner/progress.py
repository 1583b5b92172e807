# SPDX-License-Identifier: GPL-3.0-or-later
"""How far, how fast, how long still: a bar on a terminal, a line now and then elsewhere; always on stderr."""

from __future__ import annotations

import sys
import time
from types import TracebackType
from typing import TYPE_CHECKING, TextIO

if TYPE_CHECKING:
    from rich.progress import Progress as Bar

LINE_EVERY = 10.0
"""Time between plain lines [s]."""


class Progress:
    """Counts jobs that are done.

    Parameters
    ----------
    total : how many there are
    label : what is being done
    quiet : say nothing
    stream : where to; stderr by default
    """

    def __init__(self, total: int, label: str = "sweep", *, quiet: bool = False, stream: TextIO | None = None) -> None:
        self.total = total
        self.done = self.failed = self.recalled = 0
        self._label, self._quiet = label, quiet
        self._stream = stream if stream is not None else sys.stderr
        self._bar: Bar | None = None
        self._began = self._told = time.monotonic()

    def __enter__(self) -> Progress:
        self._began = self._told = time.monotonic()
        if not self._quiet and self._stream.isatty():
            self._bar = _bar(self._stream)
            self._bar.start()
            self._bar.add_task(self._label, total=self.total, rate="", failed="")
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._bar is not None:
            self._bar.stop()

    def step(self, *, failed: bool = False, recalled: bool = False) -> None:
        """One more job is done."""
        self.done += 1
        self.failed += failed
        self.recalled += recalled
        now = time.monotonic()
        if self._bar is not None:
            told = f"{self.rate():.0f}/s", f"{self.failed} failed" if self.failed else ""
            self._bar.update(self._bar.task_ids[0], completed=self.done, rate=told[0], failed=told[1])
        elif not self._quiet and now - self._told >= LINE_EVERY:
            self._told = now
            print(self.line(), file=self._stream, flush=True)

    def rate(self) -> float:
        """Jobs computed per second so far [1/s]."""
        return (self.done - self.recalled) / max(time.monotonic() - self._began, 1e-9)

    def line(self) -> str:
        """One plain line: how far, how fast, how long still."""
        rate = self.rate()
        left = f", {_span((self.total - self.done) / rate)} left" if rate > 0.0 and self.done > self.recalled else ""
        failed = f", {self.failed} failed" if self.failed else ""
        return f"{self._label}: {self.done} of {self.total} done, {rate:.3g}/s{left}{failed}"


def _span(seconds: float) -> str:
    if seconds < 90.0:
        return f"{seconds:.0f} s"
    minutes = seconds / 60.0
    return f"{minutes:.0f} min" if minutes < 90.0 else f"{minutes / 60.0:.1f} h"


def _bar(stream: TextIO) -> Bar:
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, TextColumn, TimeElapsedColumn, TimeRemainingColumn
    from rich.progress import Progress as Bar

    return Bar(
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TextColumn("{task.fields[rate]}"),
        TimeElapsedColumn(),
        TextColumn("left"),
        TimeRemainingColumn(),
        TextColumn("{task.fields[failed]}"),
        console=Console(file=stream, stderr=True),
        refresh_per_second=4,
    )
