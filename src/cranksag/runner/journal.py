# SPDX-License-Identifier: GPL-3.0-or-later
"""What has been done, on disk: one line of JSON for each finished job, appended as it finishes.

A line is one `write` of the system, so a process that is killed leaves at most its last line torn; that line is cut
off when the journal is opened again. Lines are found by the job's key, which holds everything that decides the
outcome: a journal of another scenario, model or solver version simply has no line for the job.
"""

from __future__ import annotations

import fcntl
import json
import os
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from cranksag.errors import InputError
from cranksag.runner.jobs import Outcome

SUFFIX = ".journal"
_HEADER = {"journal": "cranksag runner", "version": 1}


class Journal:
    """An append-only file of outcomes.

    Parameters
    ----------
    path : file to write
    resume : carry on with the file that is there; else one that holds outcomes is refused
    """

    def __init__(self, path: Path | str, *, resume: bool = False) -> None:
        self.path = Path(path)
        try:
            self._file = os.open(self.path, os.O_RDWR | os.O_CREAT | os.O_APPEND | os.O_CLOEXEC, 0o644)
        except OSError as error:
            raise InputError([f"{self.path}: cannot be written: {error.strerror}"]) from None
        self._places: dict[bytes, int] = {}
        self._hung: dict[bytes, float] = {}  # limit [s] within which a job did not come back
        try:
            self._claim()
            self._read()
            if self._places and not resume:
                held = f"holds {len(self._places)} rows of an earlier run"
                raise InputError([f"{self.path}: {held}; carry on with --resume, or delete it (--force does)"])
        except BaseException:
            os.close(self._file)
            raise

    def __len__(self) -> int:
        return len(self._places)

    def __contains__(self, key: str) -> bool:
        return _short(key) in self._places

    def settles(self, key: str, limit: float) -> bool:
        """Whether the job is done: it is here, and did not merely hang within less than the limit [s] it has now."""
        return key in self and self._hung.get(_short(key), limit) >= limit

    def strange(self, keys: Iterable[str]) -> int:
        """How many jobs are here that are none of these."""
        left = set(self._places)
        left.difference_update(map(_short, keys))
        return len(left)

    def recall(self, key: str, number: int) -> Outcome:
        """The outcome of a job done earlier, for the job at position `number`."""
        line = json.loads(self._line_at(self._places[_short(key)]))
        return Outcome(
            number, key, line.get("payload"), line.get("failure", ""), line.get("reason", ""), line["seconds"], True
        )

    def add(self, outcome: Outcome) -> None:
        """Append an outcome; it is with the operating system when this returns."""
        line: dict[str, Any] = {"key": outcome.key, "seconds": outcome.seconds}
        if outcome.failure:
            line |= {"failure": outcome.failure, "reason": outcome.reason}
        else:
            line["payload"] = outcome.payload
        data = json.dumps(line, allow_nan=False, separators=(",", ":")).encode() + b"\n"
        place = os.lseek(self._file, 0, os.SEEK_END)
        written = os.write(self._file, data)
        while written < len(data):  # a full disk raises; a signal may shorten
            written += os.write(self._file, data[written:])
        self._note(line, place)

    def close(self, *, delete: bool = False) -> None:
        """Close; `delete` when everything in it has been written elsewhere."""
        if self._file >= 0:
            if delete:
                self.path.unlink(missing_ok=True)
            else:
                os.fsync(self._file)
            os.close(self._file)
            self._file = -1

    def _claim(self) -> None:
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            raise InputError([f"{self.path}: another run is writing it"]) from None

    def _read(self) -> None:
        place = 0
        with os.fdopen(os.dup(self._file), "rb") as file:
            file.seek(0)
            for number, line in enumerate(file):
                if not line.endswith(b"\n"):
                    break
                try:
                    entry = json.loads(line)
                    if number == 0:
                        if entry != _HEADER:
                            raise ValueError
                    else:
                        self._note(entry, place)
                except (ValueError, KeyError, TypeError):
                    raise InputError([f"{self.path}:{number + 1}: not a journal of this program"]) from None
                place += len(line)
        if place < os.fstat(self._file).st_size:
            if place == 0 and not json.dumps(_HEADER).encode().startswith(self._line_at(0)):
                raise InputError([f"{self.path}: not a journal of this program"])
            os.ftruncate(self._file, place)
        if place == 0:
            os.write(self._file, json.dumps(_HEADER).encode() + b"\n")

    def _note(self, line: dict[str, Any], place: int) -> None:
        """Remember where a job's last line stands."""
        key = _short(line["key"])
        self._places[key] = place
        self._hung.pop(key, None)
        if line.get("failure") == "hung":
            self._hung[key] = float(line["seconds"])

    def _line_at(self, place: int) -> bytes:
        data, size = b"", 4096
        while b"\n" not in data:
            more = os.pread(self._file, size, place + len(data))
            if not more:
                break
            data += more
        return data.partition(b"\n")[0]


def _short(key: str) -> bytes:
    """Sixteen bytes for a key: a million of them must fit in memory."""
    try:
        raw = bytes.fromhex(key)
    except ValueError:
        return key.encode()
    return raw[:16]
