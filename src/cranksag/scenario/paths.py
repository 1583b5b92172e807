# SPDX-License-Identifier: GPL-3.0-or-later
"""Dotted paths through the scenario models, such as ``cables.positive.0.length``, to field specs."""

from __future__ import annotations

import typing
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from types import NoneType

from cranksag.quantities import nearest, shown
from cranksag.scenario.base import Section
from cranksag.scenario.specs import Spec, fail

MAX_PATH_LENGTH = 200
"""Longest dotted path that is looked at [characters]."""


@dataclass(frozen=True, slots=True)
class Member:
    """An entry of a section: a field (`spec`), a table (`model`) or a list of tables (`model` and `rows`)."""

    name: str
    attribute: str
    spec: Spec | None = None
    model: type[Section] | None = None
    rows: bool = False
    doc: str = ""


@dataclass(frozen=True, slots=True)
class Leaf:
    """A field found by its path: the attributes and indices that lead to it, and its spec."""

    path: str
    steps: tuple[str | int, ...]
    spec: Spec


@cache
def members(model: type[Section]) -> Mapping[str, Member]:
    """The entries of a section by their name in the file."""
    found: dict[str, Member] = {}
    hints = typing.get_type_hints(model)
    for attribute, info in model.model_fields.items():
        name = info.alias or attribute
        spec = next((m for m in info.metadata if isinstance(m, Spec)), None)
        if spec is not None:
            found[name] = Member(name, attribute, spec, doc=spec.doc)
            continue
        kinds = typing.get_args(hints[attribute]) or (hints[attribute],)
        section = next(kind for kind in kinds if kind not in (NoneType, ...))
        if not (isinstance(section, type) and issubclass(section, Section)):
            raise TypeError(f"{model.__name__}.{attribute} is neither a field nor a section")
        rows = typing.get_origin(hints[attribute]) is tuple
        doc = info.description or (section.__doc__ or "").strip().split("\n")[0]
        found[name] = Member(name, attribute, None, section, rows, doc)
    return found


def walk(model: type[Section], prefix: str = "") -> Iterator[tuple[str, Spec]]:
    """Every field below a section: path pattern (``*`` for a list index) and spec."""
    for member in members(model).values():
        path = f"{prefix}{member.name}"
        if member.spec is not None:
            yield path, member.spec
        elif member.model is not None:
            yield from walk(member.model, f"{path}.*." if member.rows else f"{path}.")


def unknown(model: type[Section], name: str, where: str) -> str:
    """The message for a name that a section does not have, with the nearest it has."""
    table = members(model)
    kind = "field" if where else "section"
    close = _likely(name, list(table))
    if not close:
        homes = [f"{m.name}" for m in table.values() if m.model and name in members(m.model)]
        if homes:
            have = "has" if len(homes) == 1 else "have"
            return f"unknown {kind} ({' and '.join(homes)} {have} a field of that name)"
    meant = " or ".join(f'"{word}"' for word in close)
    return f"unknown {kind} (did you mean {meant}?)" if close else f"unknown {kind}"


def _likely(name: str, words: list[str]) -> list[str]:
    """The closest word, and the only one that ends on the same part: ``reset_at`` may be ``brownout_at``."""
    close = nearest(name, words)
    alike = [w for w in words if "_" in name and w.endswith(f"_{name.rpartition('_')[2]}")]
    return list(dict.fromkeys([*([close] if close else []), *(alike if len(alike) == 1 else [])]))


@cache
def _leaf(model: type[Section], path: str) -> Leaf:
    steps: list[str | int] = []
    names = path.split(".")
    done: list[str] = []
    while names:
        name = names.pop(0)
        member = members(model).get(name)
        if member is None:
            raise fail(f"{path}: {unknown(model, name, '.'.join(done))}")
        done.append(name)
        steps.append(member.attribute)
        if member.spec is not None:
            if names:
                raise fail(f"{path}: {'.'.join(done)} is a field, nothing follows it")
            return Leaf(path, tuple(steps), member.spec)
        assert member.model is not None
        if member.rows:
            if not names or not (names[0].isascii() and names[0].isdigit() and len(names[0]) < 4):
                rows = ".".join(done)
                raise fail(f"{path}: {rows} is a list, write an index after it as in {rows}.0")
            done.append(names[0])
            steps.append(int(names.pop(0)))
        model = member.model
    raise fail(f"{path}: is a table, name one of its fields: {', '.join(members(model))}")


def find_leaf(model: type[Section], path: str) -> Leaf:
    """The field a dotted path names, whether or not the list entry exists; `InputError` if there is none."""
    if len(path) > MAX_PATH_LENGTH or not path.isprintable():
        raise fail(f"{shown(path)}: not the path of a field")
    return _leaf(model, path)
