# SPDX-License-Identifier: GPL-3.0-or-later
"""Line numbers of everything in a TOML text.

The standard library's reader gives values without positions. This scanner runs over a text which that reader
has accepted (or refused for a key written twice) and notes where each table, key and list element begins. It
checks nothing: on a text it cannot follow it raises `Lost`.
"""

from __future__ import annotations

import contextlib
import re
import tomllib
from bisect import bisect_right
from dataclasses import dataclass, field

Path = tuple[str | int, ...]

MAX_DEPTH = 32
"""Deepest nesting of lists and inline tables that is followed [-]."""

_BLANK = re.compile(r"[ \t]*")
_SPACE = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_SCALAR = re.compile(r"[^\s,#\]}]+(?: [0-9:.]+(?:[Zz]|[+-][0-9:]+)?)?")  # a space may part date and time
_STRING = re.compile(
    r'"""(?:\\[\s\S]|(?!""")[^\\])*"""(?:"{0,2})|'
    r"'''(?:(?!''')[\s\S])*'''(?:'{0,2})|"
    r'"(?:\\.|[^"\\\n])*"|'
    r"'[^'\n]*'"
)


class Lost(Exception):
    """The text is not TOML as this scanner understands it."""


@dataclass(slots=True)
class Positions:
    """Where things are: first line of each path, and keys written twice as (path, line, first line)."""

    lines: dict[Path, int] = field(default_factory=dict)
    twice: list[tuple[Path, int, int]] = field(default_factory=list)

    def nearest(self, path: Path) -> int | None:
        """The line of a path, or of the closest thing around it that was written."""
        for end in range(len(path), 0, -1):
            if path[:end] in self.lines:
                return self.lines[path[:end]]
        return None


def find_positions(text: str) -> Positions:
    """Positions of every table, key and list element; as far as the text can be followed."""
    scanner = _Scanner(text.replace("\r\n", "\n"))
    with contextlib.suppress(Lost):
        scanner.document()
    return scanner.found


class _Scanner:
    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.found = Positions()
        self.rows: dict[Path, int] = {}
        self.headers: dict[Path, int] = {}
        self.leaves: dict[Path, int] = {}
        self.breaks = [m.start() for m in re.finditer("\n", text)]

    def line(self, at: int) -> int:
        return bisect_right(self.breaks, at - 1) + 1

    def skip(self, pattern: re.Pattern[str]) -> str:
        match = pattern.match(self.text, self.at)
        if match is None:
            raise Lost
        self.at = match.end()
        return match[0]

    def peek(self) -> str:
        return self.text[self.at : self.at + 1]

    def take(self, mark: str) -> None:
        if not self.text.startswith(mark, self.at):
            raise Lost
        self.at += len(mark)

    def note(self, path: Path, line: int) -> None:
        self.found.lines.setdefault(path, line)

    def document(self) -> None:
        table: Path = ()
        while True:
            self.skip(_SPACE)
            if self.at >= len(self.text):
                return
            if self.peek() == "[":
                table = self.header()
            else:
                self.pair(table, 0)
            self.skip(_BLANK)
            if self.peek() not in ("", "\n", "#"):
                raise Lost

    def header(self) -> Path:
        line = self.line(self.at)
        double = self.text.startswith("[[", self.at)
        self.take("[[" if double else "[")
        names = self.key()
        self.take("]]" if double else "]")
        path: Path = ()
        for position, name in enumerate(names):
            path = (*path, name)
            last = position == len(names) - 1
            if last and double:
                self.note(path, line)
                self.rows[path] = self.rows.get(path, -1) + 1
                path = (*path, self.rows[path])
            elif path in self.rows and not last:
                path = (*path, self.rows[path])
            self.note(path, line)
        if not double:
            self.once(self.headers, path, line)
        return path

    def once(self, seen: dict[Path, int], path: Path, line: int) -> None:
        if path in seen:
            self.found.twice.append((path, line, seen[path]))
        else:
            seen[path] = line

    def key(self) -> list[str]:
        names = []
        while True:
            self.skip(_BLANK)
            if self.peek() in ('"', "'"):
                quoted = self.skip(_STRING)
                try:
                    names.append(str(tomllib.loads(f"k = {quoted}")["k"]) if "\\" in quoted else quoted[1:-1])
                except tomllib.TOMLDecodeError:
                    raise Lost from None
            else:
                names.append(self.skip(_BARE_KEY))
            self.skip(_BLANK)
            if self.peek() != ".":
                return names
            self.at += 1

    def pair(self, table: Path, depth: int) -> None:
        self.skip(_BLANK)
        line = self.line(self.at)
        path = table
        for name in self.key():
            path = (*path, name)
            self.note(path, line)
        self.once(self.leaves, path, line)
        self.take("=")
        self.skip(_BLANK)
        self.value(path, depth)

    def value(self, path: Path, depth: int) -> None:
        if depth > MAX_DEPTH:
            raise Lost
        start = self.peek()
        if start in ('"', "'"):
            self.skip(_STRING)
        elif start == "[":
            self.array(path, depth + 1)
        elif start == "{":
            self.inline(path, depth + 1)
        else:
            self.skip(_SCALAR)

    def array(self, path: Path, depth: int) -> None:
        self.take("[")
        index = 0
        while True:
            self.skip(_SPACE)
            if self.peek() == "]":
                break
            self.note((*path, index), self.line(self.at))
            self.value((*path, index), depth)
            index += 1
            self.skip(_SPACE)
            if self.peek() != ",":
                break
            self.at += 1
        self.take("]")

    def inline(self, path: Path, depth: int) -> None:
        self.take("{")
        while True:
            self.skip(_SPACE)
            if self.peek() == "}":
                break
            self.pair(path, depth)
            self.skip(_SPACE)
            if self.peek() != ",":
                break
            self.at += 1
        self.take("}")
