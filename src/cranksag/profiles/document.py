# SPDX-License-Identifier: GPL-3.0-or-later
"""The TOML form of a profile, shipped or a user's own: levels of steps.

    title = "..."
    nominal = "12 V"                                          # of the boats it is meant for; may be left out
    [[levels]]
    name = "I"
    rest = "12 V"
    steps = [ { to = "8 V", within = "5 ms" }, { hold = "15 ms" }, { to = "10.5 V", within = "50 ms" },
              { hold = "1 s", ripple = "2 V", frequency = 2.0 }, { to = "12 V", within = "40 ms" } ]

Of a level also: `provenance`, `source`, `note`, `resistance` of the source, and `crank_steps`: how many of the steps
belong to the crank (the start signal stands so long: the key is held until the engine runs); all if it is not written.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from typing import Any, Final, get_args

from cranksag.errors import InputError
from cranksag.profiles.limits import FREQUENCIES, LONGEST, MOST_POINTS, SHORTEST, volts_problem
from cranksag.profiles.model import EDGE, Level, Profile, Provenance, Step, assemble
from cranksag.quantities import DIMENSIONS, nearest, parse, shown
from cranksag.scenario.positions import Path, Positions, find_positions

TOP: Final = ("title", "nominal", "levels")
LEVEL: Final = ("name", "provenance", "source", "note", "rest", "resistance", "crank_steps", "steps")
STEP: Final = ("to", "within", "hold", "ripple", "frequency")
_WHERE = re.compile(r"\(at line (\d+)")
MOST_LEVELS: Final = 50
SHORTEST_SINE: Final = 2.0 * EDGE  # [s] a sine window wide enough for the edges of its gate
SOURCE_RESISTANCE_HIGHEST: Final = 10.0  # [ohm]


def profile_of_text(text: str, file: str, name: str, *, shipped: bool = False) -> Profile:
    """The profile of a TOML text. `file`: what to call it in messages; a user's levels are of provenance "user".

    Raises
    ------
    InputError : every problem, one line each with file and line.
    """
    try:
        raw = tomllib.loads(text)
    except RecursionError:
        raise InputError([f"{file}: lists or tables are nested too deeply"]) from None
    except ValueError as error:  # TOMLDecodeError is one
        where = _WHERE.search(str(error))
        line = where[1] if where else str(text.count("\n") + 1)
        raise InputError([f"{file}:{line}: not valid TOML: {shown(str(error), 200)[1:-1]}"]) from None
    reader = _Reader(file, find_positions(text), shipped)
    profile = reader.profile(raw, name)
    if reader.problems:
        raise InputError(reader.problems)
    return profile


class _Reader:
    """Collects the problems of one file while its values are read; a value with a problem is replaced by 0."""

    def __init__(self, file: str, positions: Positions, shipped: bool) -> None:
        self.file, self.positions, self.shipped = file, positions, shipped
        self.problems: list[str] = []

    def problem(self, path: Path, what: str) -> None:
        line = self.positions.nearest(path) or 1
        name = ".".join(shown(str(p), 60)[1:-1] for p in path)
        self.problems.append(f"{self.file}:{line}: {name + ': ' if name else ''}{what}")

    def keys(self, table: Mapping[str, Any], allowed: tuple[str, ...], path: Path) -> None:
        for key in table:
            if key not in allowed:
                near = nearest(key, allowed)
                hint = f'did you mean "{near}"?' if near else f"known are {', '.join(allowed)}"
                self.problem((*path, key), f"unknown field, {hint}")

    def quantity(self, table: Mapping[str, Any], key: str, dimension: str, path: Path) -> float:
        value = table.get(key)
        if not isinstance(value, str):
            what = "missing" if value is None else f"is {shown(repr(value))}"
            self.problem((*path, key), f'{what}: write a quantity such as "{DIMENSIONS[dimension].example}"')
            return 0.0
        try:
            number = parse(value, DIMENSIONS[dimension])
        except InputError as error:
            self.problem((*path, key), "; ".join(error.problems))
            return 0.0
        if dimension == "voltage" and (bad := volts_problem(number)):
            self.problem((*path, key), bad)
            return 0.0
        return number

    def text(self, table: Mapping[str, Any], key: str, path: Path, otherwise: str) -> str:
        value = table.get(key, otherwise)
        if isinstance(value, str) and value.isprintable() and len(value) <= 300:
            return value
        self.problem((*path, key), "must be a line of text")
        return otherwise

    def profile(self, raw: Mapping[str, Any], name: str) -> Profile:
        self.keys(raw, TOP, ())
        nominal = self.quantity(raw, "nominal", "voltage", ()) if "nominal" in raw else None
        rows = raw.get("levels")
        if not isinstance(rows, list) or not rows or not all(isinstance(row, dict) for row in rows):
            self.problem(("levels",), "at least one table [[levels]] is needed")
            rows = []
        if len(rows) > MOST_LEVELS:
            self.problem(("levels",), f"at most {MOST_LEVELS} levels are taken")
            rows = []
        levels = [self.level(row, ("levels", k)) for k, row in enumerate(rows)]
        names = [level.name.lower() for level in levels]
        for k, own in enumerate(names):
            if own in names[:k]:
                self.problem(("levels", k, "name"), f"{shown(own)} is there already")
        return Profile(name, self.text(raw, "title", (), name), nominal, tuple(levels))

    def level(self, row: Mapping[str, Any], path: Path) -> Level:
        self.keys(row, LEVEL, path)
        rest = self.quantity(row, "rest", "voltage", path)
        steps = self.steps(row.get("steps"), (*path, "steps"))
        count = row.get("crank_steps", max(len(steps), 1))
        if type(count) is not int or not 1 <= count <= max(len(steps), 1):
            self.problem((*path, "crank_steps"), f"must be a whole number from 1 to {len(steps)}")
            count = 1
        resistance = self.quantity(row, "resistance", "resistance", path) if "resistance" in row else 0.0
        if resistance > SOURCE_RESISTANCE_HIGHEST:
            self.problem((*path, "resistance"), f"more than {SOURCE_RESISTANCE_HIGHEST:g} ohm is no supply")
        corners, ripples = assemble(rest, steps)
        for ripple in ripples:
            centre = next(v for t, v in corners if t >= ripple.begin)
            if centre < ripple.amplitude:
                self.problem((*path, "steps"), "the sine on a plateau reaches below 0 V")
        if corners[-1][0] > LONGEST:
            self.problem((*path, "steps"), f"the profile lasts longer than {LONGEST:g} s")
        return Level(
            name=self.text(row, "name", path, str(path[-1])).strip(),
            corners=corners,
            ripples=ripples,
            crank=(0.0, sum(step.duration for step in steps[:count])),
            source_resistance=resistance,
            provenance=self.provenance(row, path),
            source=self.text(row, "source", path, self.file),
            note=self.text(row, "note", path, ""),
        )

    def provenance(self, row: Mapping[str, Any], path: Path) -> Provenance:
        if not self.shipped:
            if "provenance" in row and row["provenance"] != "user":
                self.problem((*path, "provenance"), 'the provenance of your own profile is "user"')
            return "user"
        for known in get_args(Provenance):
            if row.get("provenance") == known and known != "user":
                return known  # type: ignore[no-any-return]
        self.problem((*path, "provenance"), f"must be one of {', '.join(get_args(Provenance)[:-1])}")
        return "memory"

    def steps(self, rows: Any, path: Path) -> list[Step]:
        if not isinstance(rows, list) or not rows or not all(isinstance(row, dict) for row in rows):
            self.problem(path, 'a list of steps is needed, such as { to = "8 V", within = "5 ms" }')
            return []
        if len(rows) > MOST_POINTS:
            self.problem(path, f"at most {MOST_POINTS} steps are taken")
            return []
        return [self.step(row, (*path, k)) for k, row in enumerate(rows)]

    def step(self, row: Mapping[str, Any], path: Path) -> Step:
        self.keys(row, STEP, path)
        if ("to" in row) == ("hold" in row):
            self.problem(path, 'write either to = "8 V" (and within = "5 ms") or hold = "15 ms"')
            return Step(None, EDGE)
        if "to" in row:
            for key in ("ripple", "frequency"):
                if key in row:
                    self.problem((*path, key), "belongs to a hold")
            duration = self.quantity(row, "within", "time", path) if "within" in row else EDGE
            self.duration(duration, "within", SHORTEST, path)
            return Step(self.quantity(row, "to", "voltage", path), duration)
        if "within" in row:
            self.problem((*path, "within"), 'belongs to a step "to"')
        duration = self.quantity(row, "hold", "time", path)
        if "ripple" not in row and "frequency" not in row:
            self.duration(duration, "hold", SHORTEST, path)
            return Step(None, duration)
        self.duration(duration, "hold", SHORTEST_SINE, path)
        frequency = row.get("frequency")
        if not isinstance(frequency, (int, float)) or not FREQUENCIES[0] <= frequency <= FREQUENCIES[1]:
            low, high = FREQUENCIES
            self.problem((*path, "frequency"), f"a number of {low:g} to {high:g} hertz is needed, such as 2.0")
            frequency = 1.0
        return Step(None, duration, self.quantity(row, "ripple", "voltage", path), float(frequency))

    def duration(self, value: float, key: str, shortest: float, path: Path) -> None:
        if not shortest * 0.999 <= value <= LONGEST:
            self.problem((*path, key), f"must last {shortest * 1e6:g} us to {LONGEST:g} s")
