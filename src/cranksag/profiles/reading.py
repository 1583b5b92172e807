# SPDX-License-Identifier: GPL-3.0-or-later
"""A user's own starting profile: a CSV file, breakpoints in one line of text, or a TOML file like the shipped ones."""

from __future__ import annotations

import re
from collections.abc import Iterable
from itertools import pairwise
from pathlib import Path
from typing import Final

from cranksag.errors import InputError
from cranksag.profiles.document import profile_of_text
from cranksag.profiles.limits import LONGEST, MOST_POINTS, SHORTEST, volts_problem
from cranksag.profiles.model import Profile, one_level
from cranksag.quantities import DIMENSIONS, Dimension, parse, shown

MAX_BYTES: Final = 2_000_000
"""Largest file [byte]; one of `MOST_POINTS` points has some 200,000."""
MAX_PROBLEMS: Final = 20
"""Most problems listed before "and N more"."""

TIME_HEADERS: Final = ("time_s", "time", "t", "time [s]", "t [s]")
VOLT_HEADERS: Final = ("volts", "voltage", "v", "voltage_v", "source_v", "voltage [v]", "v [v]", "u")
_NUMBER = re.compile(r"[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]{1,3})?")

Point = tuple[float, float]


def read_profile(path: Path, *, shipped: bool = False) -> Profile:
    """A profile from a file: ``.toml`` as the shipped ones are, anything else as CSV of time [s] and voltage [V].

    Raises
    ------
    InputError : the file cannot be read, or every problem in it with file and line.
    """
    name = shown(str(path), 200)[1:-1]
    try:
        with path.open("rb") as file:
            data = file.read(MAX_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError([f"{name}: cannot be read: {shown(reason, 200)[1:-1].lower()}"]) from None
    if len(data) > MAX_BYTES:
        raise InputError([f"{name}: larger than {MAX_BYTES // 1_000_000} MB, a profile has a few points"])
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise InputError([f"{name}:{line}: not UTF-8 text"]) from None
    if path.suffix.lower() == ".toml":
        return profile_of_text(text, name, path.stem, shipped=shipped)
    return csv_profile(text, name)


def csv_profile(text: str, name: str) -> Profile:
    """A profile from rows of time [s] and voltage [V], with straight lines between them.

    Comma, semicolon, tab or blanks separate; `#` opens a comment; one header row is allowed. Further columns are
    refused: it would be a guess which one is meant.

    Parameters
    ----------
    text : the rows.
    name : what to call it in messages.

    Raises
    ------
    InputError : every problem, one line each with name and line.
    """
    problems: list[str] = []
    points: list[tuple[int, Point]] = []
    first = True
    for number, line in enumerate(text.splitlines(), 1):
        row = line.split("#", 1)[0].strip()
        if not row:
            continue
        header = first and _is_header(_cells(row))
        first = False
        if header:
            continue
        found = _row(row)
        if isinstance(found, str):
            problems.append(f"{name}:{number}: {found}")
        else:
            points.append((number, found))
    problems += [f"{name}:{number}: {problem}" for number, problem in _order_problems(points)]
    if not problems and len(points) < 2:
        problems.append(f"{name}:1: at least two rows of time [s] and voltage [V] are needed")
    _refuse(problems, name)
    return one_level(Path(name).stem or "own", (p for _, p in points), name)


def points_profile(text: str) -> Profile:
    """A profile from breakpoints in one line: ``0 s=12 V, 5 ms=8 V, 20 ms=8 V, 70 ms=10.5 V, 1 s=10.5 V, 1.1 s=12 V``.

    Raises
    ------
    InputError : every problem, with the number of the breakpoint.
    """
    problems: list[str] = []
    points: list[tuple[int, Point]] = []
    for number, piece in enumerate(text.split(","), 1):
        place = f"--points, breakpoint {number} {shown(piece.strip())}"
        if "=" not in piece:
            problems.append(f"{place}: write TIME=VOLTAGE, such as 5 ms=8 V")
            continue
        time, volts = piece.split("=", 1)
        values = [_quantity(part, DIMENSIONS[kind]) for part, kind in ((time, "time"), (volts, "voltage"))]
        told = [v for v in values if isinstance(v, str)]
        numbers = [v for v in values if isinstance(v, float)]
        if told:
            problems += [f"{place}: {t}" for t in told]
        elif bad := volts_problem(numbers[1]):
            problems.append(f"{place}: {bad}")
        else:
            points.append((number, (numbers[0], numbers[1])))
    problems += [f"--points, breakpoint {n}: {problem}" for n, problem in _order_problems(points)]
    if not problems and len(points) < 2:
        problems.append("--points: at least two breakpoints are needed")
    _refuse(problems, "--points")
    return one_level("own", (p for _, p in points), "breakpoints of the command line")


def _quantity(text: str, dimension: Dimension) -> float | str:
    try:
        return parse(text.strip(), dimension)
    except InputError as error:
        return "; ".join(error.problems)


def _refuse(problems: list[str], name: str) -> None:
    if not problems:
        return
    more = [f"{name}: and {len(problems) - MAX_PROBLEMS} more problems"] if len(problems) > MAX_PROBLEMS else []
    raise InputError([*problems[:MAX_PROBLEMS], *more])


def _cells(row: str) -> list[str]:
    mark = next((m for m in (";", "\t", ",") if m in row), None)
    return [cell.strip().strip('"') for cell in (row.split(mark) if mark else row.split())]


def _is_header(cells: list[str]) -> bool:
    lower = [cell.lower() for cell in cells]
    return len(cells) == 2 and lower[0] in TIME_HEADERS and lower[1] in VOLT_HEADERS


def _row(row: str) -> Point | str:
    cells = _cells(row)
    if len(cells) != 2:
        return f'two columns are due, time [s] and voltage [V], not {len(cells)} (the decimal mark is ".")'
    for cell, what in zip(cells, ("a time [s]", "a voltage [V]"), strict=True):
        if _NUMBER.fullmatch(cell) is None:
            comma = ', write the decimal mark as "."' if "," in cell else ""
            return f"{shown(cell)} is not a number, {what} without its unit is due{comma}"
    time, volts = float(cells[0]), float(cells[1])
    if not abs(time) <= 1e9:
        return f"{shown(cells[0])} is not a time a log can have"
    return volts_problem(volts) or (time, volts)


def _order_problems(points: list[tuple[int, Point]]) -> Iterable[tuple[int, str]]:
    if len(points) > MOST_POINTS:
        yield points[MOST_POINTS][0], f"more than {MOST_POINTS} points, thin them out"
        return
    for (_, (before, _)), (number, (time, _)) in pairwise(points):
        if time - before < SHORTEST * 0.999:
            why = "not later than" if time <= before else f"less than {SHORTEST * 1e6:g} us after"
            yield number, f"{time:g} s is {why} the point before ({before:g} s)"
    if points and points[-1][1][0] - points[0][1][0] > LONGEST:
        yield points[-1][0], f"the profile lasts longer than {LONGEST:g} s"
