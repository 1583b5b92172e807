# SPDX-License-Identifier: GPL-3.0-or-later
"""The table of all scenario fields: what each may hold, its default and what it means."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import Any

from cranksag.quantities import Dimension
from cranksag.scenario.model import Scenario
from cranksag.scenario.paths import find_leaf, walk
from cranksag.scenario.specs import Choice, Number, Part, Quantity, Spec


@dataclass(frozen=True, slots=True)
class FieldDoc:
    """One field of the scenario file.

    Parameters
    ----------
    path : its dotted path, ``*`` for a list index.
    kind : quantity | size | choice | number | flag | text | time mark.
    dimension : what a quantity measures; None for the other kinds.
    default : the default as it would be written; None if it is estimated or absent (the description says).
    low, high : limits as written, with their unit; None where there are none.
    choices : the words of a choice; empty for the other kinds.
    words : words taken in place of a quantity ("none", "never").
    branches : hold-up branches the field belongs to; empty for all.
    description : one sentence.
    whole : a number without decimals.
    parts : kinds of catalogue part that the field names; empty for other fields.
    """

    path: str
    kind: str
    dimension: Dimension | None
    default: str | None
    low: str | None
    high: str | None
    choices: tuple[str, ...]
    words: tuple[str, ...]
    branches: tuple[str, ...]
    description: str
    whole: bool = False
    parts: tuple[str, ...] = ()


@cache
def field_table() -> Mapping[str, FieldDoc]:
    """Every field by its path pattern (``cables.positive.*.length``), in the file's order."""
    return MappingProxyType({path: _doc(path, spec) for path, spec in walk(Scenario)})


def field_doc(path: str) -> FieldDoc:
    """The field a dotted path names (``displays.0.power``).

    Raises
    ------
    InputError : there is none; the nearest is named.
    """
    leaf = find_leaf(Scenario, path)
    return _doc(path, leaf.spec)


@cache
def default_value(path: str) -> Any:
    """The default at a dotted path [SI]; None if it is estimated from other fields or absent.

    Raises
    ------
    InputError : there is no such field.
    """
    spec = find_leaf(Scenario, path).spec
    return None if spec.default is None else spec.read_text(spec.default)


def _doc(path: str, spec: Spec) -> FieldDoc:
    low: str | None = None
    high: str | None = None
    if isinstance(spec, Quantity):
        low, high = spec.low, spec.high
    elif isinstance(spec, Number):
        low, high = f"{spec.low:g}", f"{spec.high:g}"
    return FieldDoc(
        path=path,
        kind=spec.kind,
        dimension=spec.measure if isinstance(spec, Quantity) else None,
        default=spec.default,
        low=low,
        high=high,
        choices=spec.choices if isinstance(spec, Choice) else (),
        words=spec.words if isinstance(spec, Quantity) else (),
        branches=spec.branches,
        description=spec.doc,
        whole=isinstance(spec, Number) and spec.whole,
        parts=spec.parts if isinstance(spec, Part) else (),
    )
