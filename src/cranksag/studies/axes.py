# SPDX-License-Identifier: GPL-3.0-or-later
"""Axes of a study: ``PATH=SPEC`` to the values of one scenario field.

SPEC is a comma list (a comma always separates); each item is

- a value as in the scenario file: ``800 A``, ``16 AWG``, ``agm``, ``true``;
- ``A..B``: all standard sizes, shelf values or whole numbers between, ends included, in that order;
- ``A:B:N``: N points from A to B, ends included, evenly spaced;
- ``log A:B:N``: the same, each a constant factor after the one before;
- ``E6 A..B`` (also E3, E12, E24, E48, E96, E192): the series of IEC 60063 between;
- ``parts:FILTER``: every catalogue part of the field's kind that meets the filter.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from cranksag.catalogue import Catalogue, load_catalogue
from cranksag.errors import InputError
from cranksag.parts.conductors import conductor_area, sizes_between
from cranksag.quantities import ConductorSize, format_quantity, parse_conductor_size, shown
from cranksag.runner import spec_at
from cranksag.scenario import TimeMark, field_table
from cranksag.scenario.specs import Choice, Flag, Number, Quantity, Size, Text
from cranksag.studies.kinds import part_kinds
from cranksag.studies.series import SERIES, shelf_between

__all__ = ["Axis", "parse_axes", "parse_axis", "part_kinds", "unit_of", "value_in_si"]

MOST_POINTS = 100_000
"""Most values of one axis."""

_SERIES = re.compile(r"(E(?:3|6|12|24|48|96|192))\s+(.*)", re.DOTALL)
_LOG = re.compile(r"log\s+(.*)", re.DOTALL)
_POINTS = re.compile(r"[0-9]{1,6}")
_QUANTITY = re.compile(r"\s*([+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?)\s*(.*?)\s*", re.DOTALL)


@dataclass(frozen=True, slots=True)
class Span:
    """A continuous stretch of an axis, for samples: from `low` to `high` [SI], `unit` to write values in."""

    low: float
    high: float
    logarithmic: bool
    unit: str


@dataclass(frozen=True, slots=True)
class Axis:
    """The values of one scenario field.

    `texts`: as they are written, in the axis's order; `values`: the same in SI (nan for a word that stands for no
    number; for a choice or a name its place in the list, from 0); `unit`: of `values`, "-" for none; `span`: set if
    the axis was written as one ``A:B:N``, which a sample may leave between its points; `free_text`: the texts are
    names, not values.
    """

    path: str
    texts: tuple[str, ...]
    values: tuple[float, ...]
    unit: str
    span: Span | None = None
    free_text: bool = False

    def __len__(self) -> int:
        return len(self.texts)


def parse_axes(
    texts: Sequence[str], catalogue: Catalogue | None = None, option: str = "--axis", branch: str | None = None
) -> tuple[Axis, ...]:
    """Axes of several ``PATH=SPEC`` texts; `branch`: the hold-up branch of the boat, as in `parse_axis`.

    Raises
    ------
    InputError
        Every problem of all of them, one line each.
    """
    axes: list[Axis] = []
    problems: list[str] = []
    for text in texts:
        try:
            axes.append(parse_axis(text, catalogue, branch))
        except InputError as error:
            problems += [f"{option} {problem}" for problem in error.problems]
    seen: set[str] = set()
    for axis in axes:
        if axis.path in seen:
            problems.append(f"{option} {axis.path}: given twice; write one comma list")
        seen.add(axis.path)
    if problems:
        raise InputError(problems)
    return tuple(axes)


def parse_axis(text: str, catalogue: Catalogue | None = None, branch: str | None = None) -> Axis:
    """One axis of ``PATH=SPEC``, split at the first ``=``.

    Parameters
    ----------
    text : what was written
    catalogue : for ``parts:`` and shelf values; the shipped one by default
    branch : hold-up branch of the boat, which says whether a capacitor or a supercapacitor is due; None for either

    Raises
    ------
    InputError
        The path is unknown, or items that cannot be read; one line each.
    """
    path, equals, spec = text.partition("=")
    path = path.strip()
    if not equals or not path:
        raise InputError([f"{shown(text)}: write PATH=SPEC, such as feed.size=18 AWG..10 AWG"])
    field = spec_at(path)
    problems: list[str] = []
    found: list[str] = []
    items = [item.strip() for item in spec.split(",")]
    for item in items:
        try:
            found += _values(path, field, item, catalogue, branch)
        except InputError as error:
            problems += [f"{path} = {shown(item)}: {problem}" for problem in error.problems]
    if len(found) > MOST_POINTS:
        problems.append(f"{path}: {len(found)} values, at most {MOST_POINTS} are taken")
    if problems:
        raise InputError(problems)
    return make_axis(path, found, _span(field, items[0]) if len(items) == 1 else None)


def make_axis(path: str, texts: Sequence[str], span: Span | None = None) -> Axis:
    """The axis of written values: each read, those equal to an earlier one left out.

    Raises
    ------
    InputError
        Values that do not fit the field.
    """
    field = spec_at(path)
    problems: list[str] = []
    kept: dict[Any, str] = {}
    for text in texts:
        try:
            kept.setdefault(field.read_text(text), text)
        except InputError as error:
            problems += [f"{path} = {shown(text)}: {problem}" for problem in error.problems]
    if problems:
        raise InputError(problems)
    values = tuple(value_in_si(field, value, place) for place, value in enumerate(kept))
    return Axis(path, tuple(kept.values()), values, unit_of(path), span, isinstance(field, Text))


def unit_of(path: str) -> str:
    """SI unit of a field's numbers; "-" where there is none."""
    field = spec_at(path)
    if isinstance(field, Quantity):
        return "-" if field.measure.si == "1" else field.measure.si
    if isinstance(field, Size):
        return "m2"
    return "s" if field.kind == "time mark" else "-"


def value_in_si(field: Any, value: Any, place: int = 0) -> float:
    """A read value as a number [SI]: a conductor by its copper area [m2], a moment by its offset [s]; of a choice or
    a name its place in the list; a word that stands beside numbers ("none", "never") is nan."""
    if isinstance(value, bool | int | float):
        return float(value)
    if isinstance(value, ConductorSize):
        return conductor_area(value)
    if isinstance(value, TimeMark):
        return value.offset
    return math.nan if isinstance(field, Quantity) else float(place)


# --- the items of a SPEC -------------------------------------------------------------------------------------


def _values(path: str, field: Any, item: str, catalogue: Catalogue | None, branch: str | None) -> list[str]:
    """The texts an item stands for."""
    if not item:
        raise InputError(["a value is missing (a comma always separates)"])
    if item.startswith("parts:"):
        return _part_names(part_kinds(path, branch), item.removeprefix("parts:"), catalogue)
    if isinstance(field, Text | Choice | Flag):
        kinds = part_kinds(path, branch)
        if kinds and item != "none":
            _known_part(kinds, item, catalogue)
        return [item]
    if match := _SERIES.fullmatch(item):
        return _series(field, match[1], match[2])
    if match := _LOG.fullmatch(item):
        return _points(field, match[1], logarithmic=True)
    if ".." in item:
        first, _, last = item.partition("..")
        return _between(path, field, first.strip(), last.strip(), catalogue)
    if ":" in item:
        return _points(field, item, logarithmic=False)
    return [item]


def _part_names(kinds: Sequence[str], words: str, catalogue: Catalogue | None) -> list[str]:
    if not kinds:
        fields = ", ".join(path for path, doc in field_table().items() if doc.parts)
        raise InputError([f"names no catalogue part; fields that do: {fields}"])
    parts = catalogue if catalogue is not None else load_catalogue()
    said = [kind for kind in kinds if kind in words.split()]
    found: list[str] = []
    problems: list[str] = []
    for kind in said or kinds:
        try:
            found += [entry.name for entry in parts.filter(words.strip(), kind)]
        except InputError as error:  # a field that only one of the kinds has
            problems += error.problems
    if problems and not found:
        raise InputError(problems)
    if not found:
        raise InputError(
            [f"no {' or '.join(said or kinds)} of the catalogue meets this (list them with: cranksag parts)"]
        )
    return found


def _known_part(kinds: Sequence[str], name: str, catalogue: Catalogue | None) -> None:
    parts = catalogue if catalogue is not None else load_catalogue()
    problems: list[str] = []
    for kind in kinds:
        try:
            parts.find(kind, name)
        except InputError as error:
            problems += error.problems
        else:
            return
    raise InputError([f"{problems[0]}; for a name that holds a comma write parts: and words of it"])


def _number_field(field: Any) -> None:
    if not isinstance(field, Quantity | Number):
        raise InputError([f"a {field.kind} has no points between; list the values with commas"])


def _ends(field: Any, first: str, last: str) -> tuple[float, float]:
    """Both ends, read under the field's own rules."""
    if not first or not last:
        raise InputError(["one end is missing"])
    low, high = field.read_text(first), field.read_text(last)
    if isinstance(low, str) or isinstance(high, str):
        raise InputError(['a range needs numbers at both ends, not "none" or "never"'])
    return float(low), float(high)


def _between(path: str, field: Any, first: str, last: str, catalogue: Catalogue | None) -> list[str]:
    """``A..B``: standard sizes, whole numbers or shelf values."""
    if isinstance(field, Size):
        if not first or not last:
            raise InputError(["one end is missing"])
        return [str(size) for size in sizes_between(parse_conductor_size(first), parse_conductor_size(last))]
    _number_field(field)
    low, high = _ends(field, first, last)
    if isinstance(field, Number):
        if not field.whole:
            raise InputError(["no shelf values; write A:B:N for N points"])
        step = 1 if high >= low else -1
        return [str(n) for n in range(int(low), int(high) + step, step)]
    shelf = shelf_between(path, min(low, high), max(low, high), catalogue)
    if shelf is None:
        raise InputError(["no standard values are known for this field; write A:B:N for N points, or E12 A..B"])
    texts = [text for text, _ in shelf]
    if not texts:
        raise InputError(["no standard value lies between"])
    return texts if high >= low else texts[::-1]


def _series(field: Any, name: str, rest: str) -> list[str]:
    """``E6 A..B``."""
    _number_field(field)
    first, dots, last = rest.partition("..")
    if not dots:
        raise InputError([f"write {name} A..B"])
    if isinstance(field, Number):
        raise InputError(["the E series belong to quantities with a unit"])
    low, high = _ends(field, first.strip(), last.strip())
    if min(low, high) <= 0.0 or _has_offset(field, first) or _has_offset(field, last):
        raise InputError(["the E series need ends above zero"])
    values = SERIES[name](min(low, high), max(low, high))
    if not values:
        raise InputError([f"no value of the series {name} lies between"])
    texts = [format_quantity(value, field.measure, digits=6) for value in values]
    return texts if high >= low else texts[::-1]


def _points(field: Any, item: str, *, logarithmic: bool) -> list[str]:
    """``A:B:N``."""
    _number_field(field)
    parts = [part.strip() for part in item.split(":")]
    if len(parts) != 3 or not _POINTS.fullmatch(parts[2]):
        raise InputError(["write A:B:N, N points from A to B"])
    count = int(parts[2])
    if not 2 <= count <= MOST_POINTS:
        raise InputError([f"{count} points; write 2 to {MOST_POINTS}"])
    low, high = _ends(field, parts[0], parts[1])
    if logarithmic and (min(low, high) <= 0.0 or any(_has_offset(field, part) for part in parts[:2])):
        raise InputError(["a logarithmic axis needs ends above zero"])
    write = _writer(field, parts[0], parts[1])
    texts = [write(_at(low, high, k / (count - 1), logarithmic)) for k in range(count)]
    texts[0], texts[-1] = parts[0], parts[1]
    return texts


def _at(low: float, high: float, share: float, logarithmic: bool) -> float:
    """The value at a share of the way [SI]."""
    if logarithmic:
        return float(low * (high / low) ** share)
    return low + (high - low) * share


def _writer(field: Any, first: str, last: str) -> Callable[[float], str]:
    """How values between two written ends are written: in the unit of the first."""
    if isinstance(field, Number):
        if not field.whole:
            return lambda value: f"{value:.10g}"
        return _whole
    symbol = _unit(first) or _unit(last)
    unit = field.measure.units[symbol]
    return lambda value: f"{unit.from_si(value):.10g} {symbol}"


def _whole(value: float) -> str:
    if abs(value - round(value)) > 1e-9:
        raise InputError([f"{value:g} is not a whole number; choose N so that every point is one"])
    return str(round(value))


def _unit(text: str) -> str:
    match = _QUANTITY.fullmatch(text)
    return " ".join(match[2].split()) if match else ""


def _has_offset(field: Any, text: str) -> bool:
    """Whether a quantity is written in a unit whose zero is not the quantity's (temperatures)."""
    unit = field.measure.units.get(_unit(text)) if isinstance(field, Quantity) else None
    return (isinstance(field, Quantity) and field.dimension == "temperature") or (
        unit is not None and unit.offset != 0.0
    )


def _span(field: Any, item: str) -> Span | None:
    """The stretch of a lone ``A:B:N``; whole numbers have none between."""
    if not isinstance(field, Quantity | Number) or (isinstance(field, Number) and field.whole):
        return None
    match = _LOG.fullmatch(item)
    parts = [part.strip() for part in (match[1] if match else item).split(":")]
    if len(parts) != 3 or ".." in item:
        return None
    low, high = _ends(field, parts[0], parts[1])
    return Span(low, high, match is not None, _unit(parts[0]) if isinstance(field, Quantity) else "")


def value_at(axis: Axis, share: float) -> tuple[str, float]:
    """Text and value [SI] at a share (0 to 1) of an axis: between the ends of its span, else one of its values."""
    if axis.span is None:
        place = min(int(Fraction(share) * len(axis)), len(axis) - 1)
        return axis.texts[place], axis.values[place]
    span, field = axis.span, spec_at(axis.path)
    value = _at(span.low, span.high, share, span.logarithmic)
    if isinstance(field, Quantity):
        unit = field.measure.units[span.unit]
        text = f"{unit.from_si(value):.6g} {span.unit}"
    else:
        text = f"{value:.6g}"
    return text, float(field.read_text(text))
