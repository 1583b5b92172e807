# SPDX-License-Identifier: GPL-3.0-or-later
"""Named changes to a boat: ``NAME:PATH=VALUE,PATH=VALUE``.

A comma separates changes. Only within a name (of a part, of a cable) a comma belongs to the value where no ``PATH=``
follows it, since part names hold commas: ``hot:hold_up.relay=12 V 45 A make, 90 ohm,temperature.helm=50 degC``.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from cranksag.errors import InputError
from cranksag.quantities import shown
from cranksag.runner import Overrides, spec_at
from cranksag.scenario.specs import Text

__all__ = ["AS_WRITTEN", "Variant", "parse_variant", "parse_variants"]

AS_WRITTEN = "as written"
"""Name of the boat without any change."""

_CHANGE = re.compile(r"\s*([a-z_]+(?:\.[a-z0-9_]+)*)\s*=(.*)", re.DOTALL)
_SEMICOLON = re.compile(r"\s*;\s*([a-z_]+(?:\.[a-z0-9_]+)+\s*=)")
"""A semicolon before a change; within the name of a part none stands before ``PATH=``."""
LONGEST_NAME = 60  # [characters]


@dataclass(frozen=True, slots=True)
class Variant:
    """A name and the changes that make the variant: pairs of dotted path and text."""

    name: str
    changes: Overrides = ()


def parse_variants(texts: Sequence[str], option: str = "--variant") -> tuple[Variant, ...]:
    """Variants of several texts.

    Raises
    ------
    InputError
        Every problem of all of them, one line each.
    """
    found: list[Variant] = []
    problems: list[str] = []
    for text in texts:
        try:
            variant = parse_variant(text)
        except InputError as error:
            problems += [f"{option} {problem}" for problem in error.problems]
            continue
        if variant.name == AS_WRITTEN or any(variant.name == other.name for other in found):
            problems.append(f"{option} {shown(variant.name)}: the name is taken, choose another")
        found.append(variant)
    if problems:
        raise InputError(problems)
    return tuple(found)


def parse_variant(text: str) -> Variant:
    """One variant of ``NAME:PATH=VALUE,...``, split at the first ``:``.

    Raises
    ------
    InputError
        It cannot be read, a path is unknown, a value does not fit its field, or a path is given twice.
    """
    name, colon, rest = text.partition(":")
    name = name.strip()
    if not colon or not name or not rest.strip():
        raise InputError([f"{shown(text)}: write NAME:PATH=VALUE, such as thick:feed.size=10 AWG"])
    if len(name) > LONGEST_NAME or not name.isprintable():
        raise InputError([f"{shown(name)}: the name must be one line of at most {LONGEST_NAME} characters"])
    if _SEMICOLON.search(rest):
        written = _SEMICOLON.sub(r",\1", rest.strip())
        raise InputError([f"{shown(name)}: a comma separates changes, not a semicolon: write {name}:{written}"])
    changes: dict[str, str] = {}
    problems: list[str] = []
    last = ""
    for piece in rest.split(","):
        match = _CHANGE.fullmatch(piece)
        if match is None:
            if last and isinstance(spec_at(last), Text):
                changes[last] += f",{piece}"
            else:
                problems.append(f"{name}: {shown(piece)}: write PATH=VALUE")
            continue
        path, value = match[1], match[2].strip()
        if path in changes:
            problems.append(f"{name}: {path}: given twice")
        try:
            spec_at(path)
        except InputError as error:
            problems += [f"{name}: {problem}" for problem in error.problems]
            last = ""
            continue
        changes[path] = value
        last = path
    for path, value in changes.items():
        try:
            spec_at(path).read_text(value)
        except InputError as error:
            problems += [f"{name}: {path} = {shown(value)}: {problem}" for problem in error.problems]
    if problems:
        raise InputError(problems)
    return Variant(name, tuple(changes.items()))
