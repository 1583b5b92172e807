# SPDX-License-Identifier: GPL-3.0-or-later
"""From a file or a text to a `Scenario`, or to every problem in it at once."""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path as FilePath
from typing import Any

from pydantic import ValidationError

from cranksag.errors import InputError
from cranksag.quantities import shown
from cranksag.scenario.base import Section
from cranksag.scenario.model import Scenario, Source
from cranksag.scenario.paths import members, unknown
from cranksag.scenario.positions import MAX_DEPTH, Path, Positions, find_positions
from cranksag.scenario.specs import describe

MAX_BYTES = 1_000_000
"""Largest scenario file [byte]; a usual one has a few thousand."""

_TOO_LARGE = f"larger than {MAX_BYTES // 1_000_000} MB, a scenario file has a few thousand bytes"

MAX_LINE = 10_000
"""Longest line [characters]."""

MAX_DOTS = 200
"""Most dots in one line; a key of thousands of parts would keep the TOML reader busy for minutes."""

MAX_PROBLEMS = 50
"""Most problems listed before "and N more"."""

_WHERE = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")
_UNQUOTED = re.compile(
    r"\s*[\w.-]+\s*=\s*([+-]?[0-9][0-9.,]*\s*(?:[^\W\d_][\w/ ]*|%|/0[ \w]*)|[A-Za-z][\w ./-]*)\s*(?:#.*)?$"
)


def load_scenario(path: str | os.PathLike[str]) -> Scenario:
    """Read a scenario file.

    Parameters
    ----------
    path : a TOML file of at most `MAX_BYTES`, in UTF-8.

    Raises
    ------
    InputError : it cannot be read, or every problem in it, one line each with file and line.
    """
    name = _plain(os.fspath(path))
    try:
        if name and FilePath(path).is_dir():
            raise InputError([f"{name}: is a directory, a scenario file is needed"])
        with open(path, "rb") as file:
            data = file.read(MAX_BYTES + 1)
    except FileNotFoundError:
        raise InputError([f"{name or shown(name)}: no such file"]) from None
    except PermissionError:
        raise InputError([f"{name}: no permission to read it"]) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError([f"{name}: cannot be read: {_plain(reason)}"]) from None
    return loads_scenario(_decoded(data, name), name)


def loads_scenario(text: str, name: str = "scenario") -> Scenario:
    """Read a scenario from a text.

    Parameters
    ----------
    text : TOML.
    name : what to call it in messages.

    Raises
    ------
    InputError : every problem in it, one line each with name and line.
    """
    name = _plain(name)
    raw = _toml(text.removeprefix("\ufeff"), name)
    raw.pop("sweep", None)  # a sweep's own table, read by the sweep; it says nothing about the boat
    scenario: Scenario | None = None
    found: list[_Problem | _Detail] = []
    try:
        scenario = Scenario.model_validate(raw)
    except ValidationError as error:
        found += [_Detail(detail["loc"], detail) for detail in error.errors(include_url=False)]
    found += _between_fields(Scenario, raw, ())
    source = Source(name, text.removeprefix("\ufeff"), raw)
    if found or scenario is None:
        raise InputError(_lines(found, name, source.positions))
    scenario._source = source
    return scenario


@dataclass(frozen=True, slots=True)
class _Problem:
    path: Path
    message: str  # from after the path: ': unknown field' or ' = "170 %": must be ...'


@dataclass(frozen=True, slots=True)
class _Detail:
    """A problem as pydantic tells it; put into words only if it is among the first."""

    path: Path
    detail: Any


def _decoded(data: bytes, name: str) -> str:
    if len(data) > MAX_BYTES:
        raise InputError([f"{name}: {_TOO_LARGE}"])
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise InputError([f"{name}: is UTF-16 text, save it as UTF-8"])
    if b"\0" in data:
        raise InputError([f"{name}: is a binary file, a scenario is TOML text"])
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        byte = data[error.start]
        raise InputError([f"{name}:{line}: not UTF-8 text (byte 0x{byte:02x}), save it as UTF-8"]) from None


def _toml(text: str, name: str) -> dict[str, Any]:
    if len(text) > MAX_BYTES:
        raise InputError([f"{name}: {_TOO_LARGE}"])
    if not any(line.strip() and not line.lstrip().startswith("#") for line in text.splitlines()):
        raise InputError([f'{name}: holds no field, "cranksag new" writes a scenario to start from'])
    if len(text) > MAX_LINE or text.count(".") > MAX_DOTS:
        for number, line in enumerate(text.split("\n"), 1):
            if len(line) > MAX_LINE or line.count(".") > MAX_DOTS:
                raise InputError([f"{name}:{number}: the line is too long ({len(line)} characters)"])
    try:
        raw = tomllib.loads(text)
    except RecursionError:
        raise InputError([f"{name}: lists or tables are nested too deeply"]) from None
    except ValueError as error:  # TOMLDecodeError is one; so is a whole number of thousands of digits
        raise InputError(_syntax_problems(text, name, error)) from None
    if _depth(raw) > MAX_DEPTH:
        raise InputError([f"{name}: lists or tables are nested too deeply"])
    return raw


def _depth(raw: dict[str, Any]) -> int:
    depth, level = 0, list(raw.values())
    while level and depth <= MAX_DEPTH:
        depth += 1
        inner: list[Any] = []
        for value in level:
            if isinstance(value, dict):
                inner += value.values()
            elif isinstance(value, list):
                inner += value
        level = inner
    return depth


def _syntax_problems(text: str, name: str, error: ValueError) -> list[str]:
    message = str(error)
    where = _WHERE.search(message)
    if where is None:
        return [f"{name}: not valid TOML: {_plain(message)}"]
    reason = message[: where.start()]
    if reason.startswith(("Cannot overwrite", "Cannot declare", "Cannot mutate", "Duplicate")):
        twice = find_positions(text).twice
        if twice:
            return [
                f"{name}:{line}: {_joined(path)}: written twice (first on line {first})"
                for path, line, first in twice[:MAX_PROBLEMS]
            ]
    lines = text.split("\n")
    number = int(where[1]) if where[1] else len(lines)
    while number > 1 and not where[1] and not lines[number - 1].strip():
        number -= 1
    line = lines[number - 1]
    unquoted = _UNQUOTED.match(line)
    if unquoted and reason.startswith(("Invalid value", "Expected newline")):
        value = unquoted[1].strip()
        return [f"{name}:{number}: write quotes round the value, {shown(value)}"]
    column = f" (column {where[2]})" if where[2] else ""
    return [f"{name}:{number}: not valid TOML: {_plain(reason[:1].lower() + reason[1:])}{column}"]


def _translated(detail: Any) -> _Problem:
    """Pydantic's account of a problem in our words."""
    path: Path = detail["loc"]
    kind, value = detail["type"], detail["input"]
    if kind == "field":
        problem = detail["ctx"]["problem"]
        return _Problem(path, f" = {describe(value)}: {problem}")
    if kind == "extra_forbidden":
        return _Problem(path, f": {unknown(_model_at(path[:-1]), str(path[-1]), _joined(path[:-1]))}")
    where = _joined(path)
    if kind == "too_long":
        return _Problem(
            path, f": holds {detail['ctx']['actual_length']} entries, at most {detail['ctx']['max_length']} are taken"
        )
    if kind == "tuple_type":
        return _Problem(path, f" is {describe(value)}: must be a list of tables, written [[{where}]]")
    if path and isinstance(path[-1], int):
        return _Problem(path, f" is {describe(value)}: must be a table")
    extra = f" once, not [[{where}]]" if isinstance(value, list) else ""
    return _Problem(path, f" is {describe(value)}: must be a table, written [{where}]{extra}")


def _model_at(path: Path) -> type[Section]:
    model: type[Section] = Scenario
    for part in path:
        if isinstance(part, str):
            inner = members(model)[part].model
            assert inner is not None
            model = inner
    return model


def _between_fields(model: type[Section], raw: Any, path: Path) -> Iterator[_Problem]:
    """The problems between fields, in every table that is one."""
    if not isinstance(raw, dict):
        return
    for name, message in model.problems(raw):
        yield _Problem((*path, name), f": {message}")
    for member in members(model).values():
        below = raw.get(member.name)
        if member.model is None or below is None:
            continue
        if not member.rows:
            yield from _between_fields(member.model, below, (*path, member.name))
        elif isinstance(below, list):
            for index, row in enumerate(below[:MAX_PROBLEMS]):
                yield from _between_fields(member.model, row, (*path, member.name, index))


def _lines(found: list[_Problem | _Detail], name: str, positions: Positions) -> list[str]:
    placed = sorted(((positions.nearest(p.path) or 1, p) for p in found), key=lambda pair: pair[0])
    listed = []
    for line, problem in placed[:MAX_PROBLEMS]:
        told = _translated(problem.detail) if isinstance(problem, _Detail) else problem
        listed.append(f"{name}:{line}: {_joined(told.path)}{told.message}")
    listed = list(dict.fromkeys(listed))
    if len(placed) > MAX_PROBLEMS:
        listed.append(f"{name}: and {len(placed) - MAX_PROBLEMS} more problems")
    return listed


def _joined(path: Path) -> str:
    return ".".join(_plain(str(part), 60) for part in path)


def _plain(text: str, limit: int = 200) -> str:
    """Text that cannot break a one-line message."""
    return shown(text, limit)[1:-1]
