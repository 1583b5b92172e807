# SPDX-License-Identifier: GPL-3.0-or-later
"""Generic parts as data: one TOML file per kind, each line with its source; a user's own files add to them.

The shipped files are read when a kind is first asked for, a user's files at once, so that every problem in
them is reported before anything else happens. Quantities stay text until a field's value is asked for.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from cranksag.catalogue.fields import KINDS, PROVENANCES, FieldSpec, read_value, spec_of
from cranksag.catalogue.reader import Entry, read_file
from cranksag.errors import InputError
from cranksag.quantities import nearest, shown

__all__ = ["KINDS", "PROVENANCES", "Catalogue", "Entry", "load_catalogue"]

_COMPARISON = re.compile(r"([a-z_0-9]+)(>=|<=|>|<|=)(.+)")
_COMPARE: Mapping[str, Callable[[Any, Any], bool]] = {
    ">=": lambda a, b: bool(a >= b),
    "<=": lambda a, b: bool(a <= b),
    ">": lambda a, b: bool(a > b),
    "<": lambda a, b: bool(a < b),
    "=": lambda a, b: bool(a == b),
}


@functools.cache
def _shipped(kind: str) -> tuple[Entry, ...]:
    """Entries of the shipped file of a kind."""
    path = Path(__file__).parent / f"{kind}.toml"
    entries = read_file(path)
    strangers = sorted({entry.kind for entry in entries} - {kind})
    if strangers:
        raise InputError([f"{path}: holds parts of kind {', '.join(strangers)}"])
    return tuple(entries)


def _key(name: str) -> str:
    """A name as it is compared: case and runs of spaces do not count."""
    return " ".join(name.lower().split())


class Catalogue:
    """Shipped parts and a user's own, looked up by kind and name; a user's part hides a shipped one of its
    name."""

    def __init__(self, extra: Sequence[Entry] = ()) -> None:
        self._extra = tuple(extra)
        self._by_kind: dict[str, dict[str, Entry]] = {}

    def _kind(self, kind: str) -> dict[str, Entry]:
        if kind not in KINDS:
            close = nearest(kind, list(KINDS))
            hint = f' (did you mean "{close}"?)' if close else ""
            raise InputError([f"{shown(kind)}: unknown kind of part{hint}; kinds: {', '.join(KINDS)}"])
        if kind not in self._by_kind:
            parts = {_key(entry.name): entry for entry in _shipped(kind)}
            parts.update({_key(entry.name): entry for entry in self._extra if entry.kind == kind})
            self._by_kind[kind] = parts
        return self._by_kind[kind]

    def entries(self, kind: str | None = None) -> Iterator[Entry]:
        """Entries of one kind, or all of them kind by kind.

        Parameters
        ----------
        kind : name of a kind, or None for all

        Yields
        ------
        Entry

        Raises
        ------
        InputError
            If the kind is unknown.
        """
        for each in KINDS if kind is None else (kind,):
            yield from self._kind(each).values()

    def find(self, kind: str, name: str) -> Entry:
        """The part of a kind and name; case and spacing do not count.

        Parameters
        ----------
        kind, name : what to look for

        Returns
        -------
        Entry

        Raises
        ------
        InputError
            If there is none; the kind that it is of, or the nearest names, are given.
        """
        parts = self._kind(kind)
        entry = parts.get(_key(name))
        if entry is not None:
            return entry
        others = [_with_article(other) for other in KINDS if _key(name) in self._kind(other)]
        if others:
            raise InputError([f"{shown(name)} is {' and '.join(others)}; {_with_article(kind)} is due"])
        raise InputError([f"{shown(name)}: no such {kind} in the catalogue{_suggestion(name, parts)}"])

    def filter(self, text: str, kind: str | None = None) -> list[Entry]:
        """Parts that meet every word of a filter.

        Words are split at spaces. The name of a kind keeps that kind; `field=value`, `field>=value` and so on
        (without spaces, "rated_current>=5A") compare a field; any other word must occur in the name or in a
        text field. A part without the compared field is left out.

        Parameters
        ----------
        text : the filter; empty keeps all
        kind : name of a kind, if it is already known

        Returns
        -------
        list of Entry

        Raises
        ------
        InputError
            If a kind or field is unknown or a value does not fit; all problems at once.
        """
        words = text.split()
        kinds = [word for word in words if word in KINDS]
        if kind is None and kinds:
            kind = kinds[0]
        tests: list[tuple[str, str, str]] = []
        plain: list[str] = []
        for word in words:
            match = _COMPARISON.fullmatch(word)
            if match:
                tests.append((match[1], match[2], match[3]))
            elif word != kind:
                plain.append(word.lower())
        searched = [kind] if kind is not None else list(KINDS)
        wanted = _check_tests(tests, searched)
        found = [e for each in searched for e in self.entries(each)]
        return [e for e in found if _matches(e, plain, wanted)]


def _with_article(kind: str) -> str:
    return f"{'an' if kind[0] in 'aeiou' else 'a'} {kind}"


def _suggestion(name: str, parts: Mapping[str, Entry]) -> str:
    wanted = set(_key(name).split())
    close = nearest(_key(name), list(parts))
    # A name shares words with what was meant more often than it is one letter off.
    ranked = sorted(parts, key=lambda key: -len(wanted & set(key.split())))
    names = [key for key in ranked[:3] if wanted & set(key.split())]
    if close is not None:
        names = [close, *(key for key in names if key != close)][:3]
    if not names:
        kind = "".join(f" {entry.kind}" for entry in list(parts.values())[:1])
        return f" (there are {len(parts)}; list them with: cranksag parts{kind})"
    return f" (did you mean {' or '.join(shown(parts[key].name, 80) for key in names)}?)"


def _check_tests(tests: Sequence[tuple[str, str, str]], kinds: Sequence[str]) -> dict[str, list[tuple[str, str, Any]]]:
    """Comparisons by kind with their values in SI; kinds that lack a field drop out."""
    problems: list[str] = []
    usable = {kind: [] for kind in kinds}  # type: dict[str, list[tuple[str, str, Any]]]
    for field, sign, value in tests:
        able = [kind for kind in kinds if field in KINDS[kind]]
        if not able:
            close = nearest(field, sorted({name for kind in kinds for name in KINDS[kind]}))
            problems.append(f"{field}: unknown field" + (f' (did you mean "{close}"?)' if close else ""))
        for kind in list(usable):
            if kind not in able:
                del usable[kind]
                continue
            try:
                usable[kind].append((field, sign, _compared(spec_of(kind, field), value, sign)))
            except InputError as error:
                problems += [f"{field}: {problem}" for problem in error.problems]
    if problems:
        raise InputError(list(dict.fromkeys(problems)))
    return usable


def _compared(spec: FieldSpec, value: str, sign: str) -> Any:
    if spec.measures == "points":
        raise InputError(["points cannot be compared"])
    if spec.measures in ("text", "flag"):
        if sign != "=":
            raise InputError([f'can only be compared with "=", not "{sign}"'])
        if spec.measures == "flag" and value not in ("true", "false"):
            raise InputError(["must be true or false"])
        return value == "true" if spec.measures == "flag" else value
    if spec.measures in ("number", "count"):
        try:
            return float(value)
        except ValueError:
            raise InputError(["must be a number"]) from None
    # Limits are those of a part, not of a question about parts.
    return read_value(FieldSpec(spec.measures), value)


def _matches(entry: Entry, plain: Sequence[str], wanted: Mapping[str, Sequence[tuple[str, str, Any]]]) -> bool:
    if entry.kind not in wanted:
        return False
    haystack = " ".join([entry.name, *(v for v in entry.values.values() if isinstance(v, str))]).lower()
    if not all(word in haystack for word in plain):
        return False
    for field, sign, value in wanted[entry.kind]:
        if field not in entry.values or not _COMPARE[sign](entry.value(field), value):
            return False
    return True


def load_catalogue(extra: Sequence[Path] = ()) -> Catalogue:
    """The catalogue: shipped parts and those of the files given.

    Parameters
    ----------
    extra : a user's own catalogue files (TOML)

    Returns
    -------
    Catalogue

    Raises
    ------
    InputError
        Every problem of every file, each with file and line; also two parts of one kind and name in these
        files.
    """
    problems: list[str] = []
    entries: list[Entry] = []
    seen: dict[tuple[str, str], str] = {}
    for path in extra:
        try:
            found = read_file(path)
        except InputError as error:
            problems += error.problems
            continue
        for entry in found:
            key = (entry.kind, _key(entry.name))
            if key in seen:
                problems.append(f"{path}: {entry.kind} {shown(entry.name)} is already in {seen[key]}")
            seen[key] = str(path)
        entries += found
    if problems:
        raise InputError(problems)
    return Catalogue(entries)
