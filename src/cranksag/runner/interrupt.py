# SPDX-License-Identifier: GPL-3.0-or-later
"""Ctrl-C as a request: what is done is kept; a second one does not wait."""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable
from types import FrameType, TracebackType
from typing import Any

from cranksag.errors import Interrupted

_SIGNALS = (signal.SIGINT, signal.SIGTERM)


class StopRequest:
    """While entered, the first Ctrl-C (or a polite `kill`) makes this true; a second raises KeyboardInterrupt, which
    leaves the block as `Interrupted` with what `kept` then says.

    Outside the main thread, where Python allows no signal handler, it only becomes true by `ask`.
    """

    def __init__(self, kept: Callable[[], str] = lambda: "interrupted: nothing is kept") -> None:
        self._kept = kept
        self._asked = False  # no lock: the second signal may come inside the handler of the first
        self._before: dict[int, Any] = {}
        self._leaving = False

    def __enter__(self) -> StopRequest:
        if threading.current_thread() is threading.main_thread():
            for number in _SIGNALS:
                self._before[number] = signal.signal(number, self._heard)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._leaving = True
        try:
            if kind is KeyboardInterrupt:
                raise Interrupted(self._kept()) from None
        finally:
            for number, handler in self._before.items():
                signal.signal(number, handler)
            self._before.clear()

    def __call__(self) -> bool:
        return self._asked

    def ask(self) -> None:
        """Ask to stop."""
        self._asked = True

    def _heard(self, number: int, frame: FrameType | None) -> None:
        del number, frame
        if self._asked and not self._leaving:
            raise KeyboardInterrupt
        self._asked = True
