# SPDX-License-Identifier: GPL-3.0-or-later
"""Which combinations of axis values are run: full grid, zipped axes, fields that follow others, conditions, samples."""

from __future__ import annotations

import math
import operator
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import product
from typing import Any

import numpy as np

from cranksag.errors import InputError
from cranksag.quantities import nearest, shown
from cranksag.runner import Changed, Overrides, spec_at
from cranksag.studies.axes import Axis, unit_of, value_at, value_in_si
from cranksag.studies.superseded import left_out

__all__ = ["Condition", "Plan", "Sample", "make_plan", "parse_condition", "parse_sample"]

MOST_COMBINATIONS = 20_000_000
"""Largest plan [combinations]."""

_OPERATORS: Mapping[str, Callable[[Any, Any], bool]] = {
    "<=": operator.le,
    ">=": operator.ge,
    "!=": operator.ne,
    "<": operator.lt,
    ">": operator.gt,
    "=": operator.eq,
}
_CONDITION = re.compile(r"(.+?)\s*(<=|>=|!=|<|>|=)\s*(.+)", re.DOTALL)
_SAMPLE = re.compile(r"(latin|sobol|saltelli)\s+([0-9]{1,8})")


@dataclass(frozen=True, slots=True)
class Condition:
    """Keep a combination only if `left` (a path) compares so with `right` (a path of another axis, or a value)."""

    left: str
    sign: str
    right: str
    right_is_path: bool


@dataclass(frozen=True, slots=True)
class Sample:
    """Draws in place of the full grid: `kind` "latin" (Latin hypercube), "sobol" (Sobol' sequence) or "saltelli" (the
    design behind Sobol' indices: `count` x (axes + 2) rows); `seed` of the draw."""

    kind: str
    count: int
    seed: int = 0


@dataclass(frozen=True, slots=True)
class Row:
    """One combination: the text of every axis, in the order of `Plan.axes`, and its value [SI]."""

    texts: tuple[str, ...]
    values: tuple[float, ...]


@dataclass(frozen=True)
class Plan:
    """The combinations of a study, made one at a time.

    `axes`: every swept field, those that follow another included; `groups`: positions of axes that advance together;
    `leaders`: for each axis the position of the one it follows, or its own; `hides`: by axes that name parts, figures
    of the file that are left out where a row names one (`cranksag.studies.superseded`).
    """

    axes: tuple[Axis, ...]
    groups: tuple[tuple[int, ...], ...]
    leaders: tuple[int, ...]
    conditions: tuple[Condition, ...] = ()
    sample: Sample | None = None
    hides: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    _draws: list[Any] = field(default_factory=list, repr=False)

    def rows(self) -> Iterator[Row]:
        """Every combination that meets the conditions, in order."""
        meets = [_test(self.axes, condition) for condition in self.conditions]
        rows = self._grid() if self.sample is None else self._sampled()
        return (row for row in rows if all(test(row) for test in meets)) if meets else rows

    def count(self) -> int:
        """How many combinations there are."""
        if self.conditions:
            return sum(1 for _ in self.rows())
        return self.size()

    def size(self) -> int:
        """How many combinations there are before the conditions."""
        if self.sample is None:
            return math.prod(len(self.axes[group[0]]) for group in self.groups)
        extra = len(self.groups) + 2 if self.sample.kind == "saltelli" else 1
        return self.sample.count * extra

    def overrides(self, row: Row) -> Overrides:
        """The row as changes to the scenario."""
        return tuple((axis.path, text) for axis, text in zip(self.axes, row.texts, strict=True))

    def task(self, row: Row) -> Changed:
        """The row as a task of a sweep."""
        changes = self.overrides(row)
        return Changed(changes, left_out=left_out(self.hides, changes) if self.hides else ())

    def place(self, path: str) -> int:
        """Position of the axis of a field."""
        return next(place for place, axis in enumerate(self.axes) if axis.path == path)

    def _grid(self) -> Iterator[Row]:
        group_of = {place: g for g, group in enumerate(self.groups) for place in group}
        where = [group_of[leader] for leader in self.leaders]
        columns = [(axis.texts, axis.values, w) for axis, w in zip(self.axes, where, strict=True)]
        for places in product(*(range(len(self.axes[group[0]])) for group in self.groups)):
            yield Row(
                tuple(texts[places[w]] for texts, _, w in columns), tuple(values[places[w]] for _, values, w in columns)
            )

    def _sampled(self) -> Iterator[Row]:
        group_of = {place: g for g, group in enumerate(self.groups) for place in group}
        for shares in self.unit_design():
            pairs = [value_at(self.axes[leader], float(shares[group_of[leader]])) for leader in self.leaders]
            yield Row(tuple(text for text, _ in pairs), tuple(value for _, value in pairs))

    def unit_design(self) -> np.ndarray:
        """The sample in the unit cube, shape (rows, groups); for "saltelli" blocks A, B and each AB."""
        if not self._draws:
            assert self.sample is not None
            self._draws.append(_unit_design(self.sample, len(self.groups)))
        design: np.ndarray = self._draws[0]
        return design


def _unit_design(sample: Sample, dimensions: int) -> np.ndarray:
    from scipy.stats import qmc

    if sample.kind == "latin":
        return np.asarray(qmc.LatinHypercube(dimensions, rng=sample.seed).random(sample.count))
    width = 2 * dimensions if sample.kind == "saltelli" else dimensions
    sequence = qmc.Sobol(width, scramble=True, rng=sample.seed)
    drawn = np.asarray(
        sequence.random_base2(math.ceil(math.log2(sample.count))) if sample.count > 1 else sequence.random(1)
    )
    drawn = drawn[: sample.count]
    if sample.kind == "sobol":
        return drawn
    first, second = drawn[:, :dimensions], drawn[:, dimensions:]
    mixed = []
    for k in range(dimensions):
        block = first.copy()
        block[:, k] = second[:, k]
        mixed.append(block)
    return np.concatenate([first, second, *mixed])


def make_plan(
    axes: Sequence[Axis],
    zipped: Sequence[str] = (),
    same: Sequence[str] = (),
    where: Sequence[str] = (),
    sample: Sample | None = None,
) -> Plan:
    """A plan from axes and what ties them.

    Parameters
    ----------
    axes : the swept fields
    zipped : "PATH,PATH": axes of equal length that advance together
    same : "PATH=PATH": the first field takes the value of the second, which is an axis
    where : conditions, "PATH <= PATH" or "PATH <= VALUE" (also <, >, >=, =, !=)
    sample : draws in place of the full grid

    Raises
    ------
    InputError
        Every problem, one line each.
    """
    problems: list[str] = []
    every = list(axes)
    names = {axis.path: place for place, axis in enumerate(every)}
    leaders = list(range(len(every)))
    if not every:
        problems.append("--axis: at least one axis is needed, such as --axis battery.rating=600A,800A")
    groups = _groups(every, names, zipped, problems)
    for text in same:
        _follow(text, every, names, leaders, problems)
    conditions: list[Condition] = []
    for text in where:
        try:
            conditions.append(parse_condition(text, every))
        except InputError as error:
            problems += [f"--where {problem}" for problem in error.problems]
    plan = Plan(tuple(every), tuple(groups), tuple(leaders), tuple(conditions), sample)
    if not problems and plan.size() > MOST_COMBINATIONS:
        problems.append(f"{plan.size()} combinations; at most {MOST_COMBINATIONS} are taken, a --sample needs fewer")
    if problems:
        raise InputError(problems)
    return plan


def _groups(
    axes: list[Axis], names: Mapping[str, int], zipped: Sequence[str], problems: list[str]
) -> list[tuple[int, ...]]:
    taken: dict[int, tuple[int, ...]] = {}
    for text in zipped:
        paths = [part.strip() for part in text.split(",")]
        strange = [p for p in paths if p not in names]
        if strange or len(set(paths)) < 2:
            problems.append(f"--zip {shown(text)}: " + _not_an_axis(strange, names, "name two or more axes"))
            continue
        places = tuple(names[p] for p in paths)
        lengths = {axes[k].path: len(axes[k]) for k in places}
        if len(set(lengths.values())) > 1:
            told = ", ".join(f"{path} has {count}" for path, count in lengths.items())
            problems.append(f"--zip {shown(text)}: the axes must have as many values ({told})")
        if any(k in taken for k in places):
            problems.append(f"--zip {shown(text)}: an axis belongs to one zip only")
        taken |= dict.fromkeys(places, places)
    groups: list[tuple[int, ...]] = []
    for place in range(len(axes)):
        group = taken.get(place, (place,))
        if group not in groups:
            groups.append(group)
    return groups


def _not_an_axis(strange: Sequence[str], names: Mapping[str, int], otherwise: str) -> str:
    if not strange:
        return otherwise
    close = nearest(strange[0], list(names))
    return f"{strange[0]} is not an axis" + (f" (did you mean {close}?)" if close else "")


def _follow(text: str, axes: list[Axis], names: dict[str, int], leaders: list[int], problems: list[str]) -> None:
    path, _, other = (part.strip() for part in text.partition("="))
    if path in names:
        problems.append(f"--same {shown(text)}: {path} has values of its own")
    elif other not in names:
        problems.append(f"--same {shown(text)}: " + _not_an_axis([other], names, ""))
    else:
        leader = axes[names[other]]
        try:
            if unit_of(path) != leader.unit:
                raise InputError([f"{path} and {other} are not of one kind"])
            read = [spec_at(path).read_text(value) for value in leader.texts]
        except InputError as error:
            problems += [f"--same {shown(text)}: {problem}" for problem in error.problems]
            return
        values = tuple(value_in_si(spec_at(path), value, k) for k, value in enumerate(read))
        leaders.append(leaders[names[other]])
        names[path] = len(axes)
        axes.append(Axis(path, leader.texts, values, unit_of(path), leader.span, leader.free_text))


def parse_condition(text: str, axes: Sequence[Axis]) -> Condition:
    """A condition between axes, or between an axis and a value.

    Raises
    ------
    InputError
        It cannot be read, or compares what cannot be compared.
    """
    match = _CONDITION.fullmatch(text.strip())
    paths = {axis.path: axis for axis in axes}
    if match is None:
        raise InputError([f"{shown(text)}: write PATH <= PATH or PATH <= VALUE, with <, <=, >, >=, = or !="])
    left, sign, right = match.groups()
    if left not in paths:
        raise InputError([f"{shown(text)}: " + _not_an_axis([left], dict.fromkeys(paths, 0), "")])
    if right in paths:
        if paths[left].unit != paths[right].unit:
            raise InputError([f"{shown(text)}: {left} and {right} are not of one kind"])
        return Condition(left, sign, right, True)
    try:
        spec_at(left).read_text(right)
    except InputError as error:
        raise InputError([f"{shown(text)}: {problem}" for problem in error.problems]) from None
    return Condition(left, sign, right, False)


def _test(axes: Sequence[Axis], condition: Condition) -> Callable[[Row], bool]:
    """Whether a row meets a condition. Words compare by equality only: any other comparison with one is not met."""
    places = {axis.path: place for place, axis in enumerate(axes)}
    left, compare = places[condition.left], _OPERATORS[condition.sign]
    by_text = condition.sign in ("=", "!=")

    def read(place: int, text: str) -> Any:
        return spec_at(axes[place].path).read_text(text)

    if condition.right_is_path:
        right = places[condition.right]
        if by_text:
            return lambda row: compare(read(left, row.texts[left]), read(right, row.texts[right]))
        return lambda row: compare(row.values[left], row.values[right])
    field = spec_at(condition.left)
    value = field.read_text(condition.right)
    if by_text:
        return lambda row: compare(read(left, row.texts[left]), value)
    limit = value_in_si(field, value, -1)
    return lambda row: compare(row.values[left], limit)


def parse_sample(text: str, seed: int = 0) -> Sample:
    """A sample: "latin N", "sobol N" or "saltelli N".

    Raises
    ------
    InputError
        It cannot be read.
    """
    match = _SAMPLE.fullmatch(text.strip())
    if match is None or int(match[2]) < 1:
        raise InputError([f"--sample {shown(text)}: write latin N, sobol N or saltelli N"])
    return Sample(match[1], int(match[2]), seed)
