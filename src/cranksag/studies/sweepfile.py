# SPDX-License-Identifier: GPL-3.0-or-later
"""The `[sweep]` table of a scenario file: the axes and what ties them, each text as after its option.

[sweep]
axes = ["battery.rating=600 A, 800 A", "feed.size=18 AWG..10 AWG"]
zip = ["PATH,PATH"]
same = ["PATH=PATH"]
where = ["PATH <= PATH"]
sample = "latin 500"
seed = 1
prices = ["feed.size=16 AWG:1.20/m"]
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass, field
from typing import Any

from cranksag.errors import InputError
from cranksag.quantities import nearest
from cranksag.studies.sweep import Ties

_HEADER = re.compile(r"\s*\[\s*sweep\s*\]\s*(#.*)?")
_ANY_HEADER = re.compile(r"\s*\[\[?\s*[A-Za-z_\"'][^,]*\]\s*(#.*)?")
_LISTS = ("axes", "zip", "same", "where", "prices")
_FIELDS = (*_LISTS, "sample", "seed")


@dataclass(frozen=True, slots=True)
class SweepTable:
    """What a `[sweep]` table asks for; empty without one."""

    axes: tuple[str, ...] = ()
    ties: Ties = field(default_factory=Ties)
    prices: tuple[str, ...] = ()


def split_sweep(text: str, name: str) -> tuple[str, SweepTable]:
    """The scenario's text with its `[sweep]` table blanked out (line numbers stay), and that table.

    Raises
    ------
    InputError
        The table holds what it may not hold.
    """
    try:
        raw = tomllib.loads(text.removeprefix("\ufeff"))
    except (ValueError, RecursionError):
        return text, SweepTable()  # the scenario's reader says what is wrong
    if "sweep" not in raw:
        return text, SweepTable()
    lines, first = text.split("\n"), 0
    inside = False
    for number, line in enumerate(lines):
        if _HEADER.fullmatch(line):
            inside, first = True, number + 1
        elif inside and _ANY_HEADER.fullmatch(line):
            inside = False
        if inside:
            lines[number] = ""
    rest = "\n".join(lines)
    table = raw.pop("sweep")
    try:
        alike = tomllib.loads(rest.removeprefix("\ufeff")) == raw
    except ValueError:
        alike = False
    if not alike or not isinstance(table, dict):
        raise InputError([f"{name}: sweep: write it as one table under [sweep], at the end of the file"])
    return rest, _table(table, f"{name}:{first}")


def _table(raw: dict[str, Any], where: str) -> SweepTable:
    problems: list[str] = []
    for key, value in raw.items():
        if key not in _FIELDS:
            close = nearest(key, list(_FIELDS))
            problems.append(f"{where}: sweep.{key}: unknown field" + (f' (did you mean "{close}"?)' if close else ""))
        elif key in _LISTS and not (isinstance(value, list) and all(isinstance(v, str) for v in value)):
            problems.append(f"{where}: sweep.{key}: must be a list of texts")
        elif key == "sample" and not isinstance(value, str):
            problems.append(f'{where}: sweep.sample: must be text, such as "latin 500"')
        elif key == "seed" and not (type(value) is int and value >= 0):
            problems.append(f"{where}: sweep.seed: must be a whole number, not negative")
    if problems:
        raise InputError(problems)
    lists = {key: tuple(raw.get(key, ())) for key in _LISTS}
    ties = Ties(lists["zip"], lists["same"], lists["where"], raw.get("sample"), raw.get("seed", 0))
    return SweepTable(lists["axes"], ties, lists["prices"])
