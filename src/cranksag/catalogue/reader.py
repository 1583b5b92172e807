# SPDX-License-Identifier: GPL-3.0-or-later
"""One catalogue file: TOML to checked entries, every problem with its file and line."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any

import tomli  # compiled: the standard library's reader takes three to four times as long over the whole catalogue

from cranksag.catalogue.fields import KINDS, LONGEST_TEXT, PROVENANCES, FieldSpec, read_value, spec_of
from cranksag.catalogue.usual import USUAL, Tolerance, fuse_melting
from cranksag.errors import InputError
from cranksag.quantities import DIMENSIONS, nearest, parse, shown

__all__ = ["Entry", "read_file", "read_text"]

LARGEST_FILE = 1_000_000  # bytes
LONGEST_LINE = 10_000  # characters
MOST_PROBLEMS = 50
ABOUT = ("name", "tolerance", "estimated", "source", "provenance", "note")


@dataclass(frozen=True, slots=True)
class Entry:
    """One part of the catalogue.

    values: as written, quantities as text; tolerance: relative, by field, as text; estimated: fields that do
    not come from the source but are engineering estimates; source: title and place; provenance: one of
    "published", "common practice", "memory", "engineering estimate"; file: where the line stands.
    """

    kind: str
    name: str
    values: Mapping[str, Any]
    tolerance: Mapping[str, str]
    estimated: frozenset[str]
    source: str
    provenance: str
    note: str
    file: str

    def value(self, field: str, default: Any = None) -> Any:
        """Value of a field in SI (temperatures in degC), or the default where the line does not hold it.

        Parameters
        ----------
        field : name
        default : what to give for an absent field

        Returns
        -------
        float, int, bool, str, or a tuple of dicts for points

        Raises
        ------
        InputError
            If parts of this kind have no such field.
        """
        spec = spec_of(self.kind, field)
        return read_value(spec, self.values[field]) if field in self.values else default

    def spread(self, field: str) -> float:
        """Relative tolerance that the line itself states for a field, 0 where it states none [-].

        Parameters
        ----------
        field : name

        Returns
        -------
        share [-]
        """
        spec_of(self.kind, field)
        return parse(self.tolerance[field], DIMENSIONS["share"]) if field in self.tolerance else 0.0

    def tolerances(self) -> dict[str, Tolerance]:
        """Tolerance of each field that has one: as the line states it, else as is usual for its kind.

        Returns
        -------
        dict of Tolerance by field, in the order of the line
        """
        usual = USUAL.get(self.kind, {})
        found: dict[str, Tolerance] = {}
        for field in self.values:
            if field in self.tolerance:
                stated = self.spread(field)
                found[field] = Tolerance(-stated, stated, self.source, self.provenance)
            elif field in usual:
                found[field] = usual[field]
            elif (self.kind, field) == ("fuse", "melting_i2t"):
                found[field] = fuse_melting(self.values["type"], self.value("rating"))
        return found

    def provenance_of(self, field: str) -> str:
        """Provenance of one field: that of the line, unless the field is listed as estimated.

        Parameters
        ----------
        field : name

        Returns
        -------
        provenance
        """
        return "engineering estimate" if field in self.estimated else self.provenance

    def as_dict(self) -> dict[str, Any]:
        """The entry for a JSON document: kind, name, values, tolerance, source, provenance, estimated, note.

        `tolerance` is what the line states, `tolerances` adds the usual ones of its kind (see the method of that name):
        low and high as shares, source, provenance.

        Returns
        -------
        dict of plain values
        """
        return {
            "kind": self.kind,
            "name": self.name,
            "values": dict(self.values),
            "tolerance": dict(self.tolerance),
            "tolerances": {field: asdict(found) for field, found in self.tolerances().items()},
            "source": self.source,
            "provenance": self.provenance,
            "estimated": sorted(self.estimated),
            "note": self.note or None,
        }


def read_file(path: Path) -> list[Entry]:
    """Entries of a catalogue file.

    Parameters
    ----------
    path : of a TOML file

    Returns
    -------
    list of Entry, in the order of the file

    Raises
    ------
    InputError
        Every problem found, each as "file:line: kind "name": field: what is wrong".
    """
    try:
        with path.open("rb") as stream:
            raw = stream.read(LARGEST_FILE + 1)
    except OSError as error:
        raise InputError([f"{path}: cannot be read ({error.strerror})"]) from None
    if len(raw) > LARGEST_FILE:
        raise InputError([f"{path}: larger than {LARGEST_FILE} bytes, not a catalogue"])
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise InputError([f"{path}:{line}: not UTF-8 text"]) from None
    return read_text(text, str(path))


def read_text(text: str, file: str) -> list[Entry]:
    """Entries of a catalogue text; see read_file.

    Parameters
    ----------
    text : TOML
    file : its name, for messages

    Returns
    -------
    list of Entry

    Raises
    ------
    InputError
        Every problem found.
    """
    # A very long line makes the TOML reader slow and its column numbers useless.
    for number, line in enumerate(text.splitlines(), 1):
        if len(line) > LONGEST_LINE:
            raise InputError([f"{file}:{number}: line longer than {LONGEST_LINE} characters"])
    try:
        document = tomli.loads(text)
    except tomli.TOMLDecodeError as error:
        found = re.search(r"\(at line (\d+), column \d+\)", str(error))
        where = f"{file}:{found[1]}" if found else f"{file}:{text.count(chr(10)) + 1}"
        reason = re.sub(r"\s*\(at [^)]*\)", "", str(error))
        raise InputError([f"{where}: not valid TOML: {reason}"]) from None
    except RecursionError:
        raise InputError([f"{file}: nested too deeply"]) from None
    entries: list[Entry] = []
    problems: list[tuple[str, int, str, str]] = []
    for kind, lines in document.items():
        if kind not in KINDS:
            close = nearest(kind, list(KINDS))
            hint = f' (did you mean "{close}"?)' if close else f" (kinds: {', '.join(KINDS)})"
            problems.append((kind, 0, "", f"{shown(kind)}: unknown kind of part{hint}"))
        elif type(lines) is not list or any(type(line) is not dict for line in lines):
            problems.append((kind, 0, "", f"{kind}: write each part under its own [[{kind}]]"))
        else:
            for index, table in enumerate(lines):
                found_here = list(_problems(kind, table))
                name = table.get("name")
                label = f"{kind} {shown(name)}" if isinstance(name, str) else kind
                problems += [(kind, index, field, f"{label}: {problem}") for field, problem in found_here]
                if not found_here:
                    entries.append(_entry(kind, table, file))
    if problems:
        places = _line_numbers(text)
        messages = [(_place(places, kind, index, field), message) for kind, index, field, message in problems]
        messages.sort(key=lambda item: item[0])
        texts = [f"{file}:{line}: {message}" for line, message in messages]
        if len(texts) > MOST_PROBLEMS:
            texts[MOST_PROBLEMS:] = [f"{file}: and {len(texts) - MOST_PROBLEMS} more problems"]
        raise InputError(texts)
    return entries


def _entry(kind: str, table: Mapping[str, Any], file: str) -> Entry:
    return Entry(
        kind=kind,
        name=table["name"],
        values=MappingProxyType({key: value for key, value in table.items() if key not in ABOUT}),
        tolerance=MappingProxyType(dict(table.get("tolerance", {}))),
        estimated=frozenset(table.get("estimated", [])),
        source=table["source"],
        provenance=table["provenance"],
        note=table.get("note", ""),
        file=file,
    )


def _is_label(value: str) -> bool:
    return bool(value.strip()) and value.isprintable() and len(value) <= LONGEST_TEXT


_EXPECTED = {
    "source": " (where its figures come from, such as a data sheet and its page)",
    "provenance": f" (one of {', '.join(PROVENANCES)})",
}


def _problems(kind: str, table: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Pairs of field and problem of one line."""
    for name in ("name", "source", "provenance"):
        value = table.get(name)
        if name not in table:
            yield "", f"{name} is missing{_EXPECTED.get(name, '')}"
        elif not isinstance(value, str) or not _is_label(value):
            yield name, f"{name}: must be 1 to {LONGEST_TEXT} printable characters in quotes"
        elif name == "provenance" and value not in PROVENANCES:
            yield name, f"provenance: {shown(value)} must be one of {', '.join(PROVENANCES)}"
    note = table.get("note", "")
    if type(note) is not str or not (note == "" or note.isprintable()) or len(note) > 2 * LONGEST_TEXT:
        yield "note", f"note: must be at most {2 * LONGEST_TEXT} printable characters in quotes"
    yield from _about_problems(kind, table)
    for field, value in table.items():
        if field in ABOUT:
            continue
        try:
            read_value(spec_of(kind, field), value)
        except InputError as error:
            unknown = field not in KINDS[kind]
            for problem in error.problems:
                yield field, problem if unknown else f"{field}: {problem}"
    for field, spec in KINDS[kind].items():
        if spec.required and field not in table:
            yield "", f"{field} is missing ({_example(spec)})"


def _about_problems(kind: str, table: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    tolerance = table.get("tolerance", {})
    if type(tolerance) is not dict:
        yield "tolerance", 'tolerance: must be a table such as {coil_resistance = "10 %"}'
        tolerance = {}
    for field, value in tolerance.items():
        if field not in table or field in ABOUT:
            yield "tolerance", f"tolerance.{field}: this line has no such field"
            continue
        try:
            read_value(FieldSpec("share", False, 0.0, 1.0), value)
        except InputError as error:
            yield "tolerance", f"tolerance.{field}: {error.problems[0]}"
    estimated = table.get("estimated", [])
    if type(estimated) is not list or any(type(field) is not str for field in estimated):
        yield "estimated", "estimated: must be a list of field names in quotes"
        return
    for field in estimated:
        if field not in table or field in ABOUT:
            yield "estimated", f"estimated: this line has no field {shown(field)}"


def _example(spec: FieldSpec) -> str:
    if spec.measures == "text":
        return f"one of {', '.join(spec.words)}" if spec.words else "text"
    if spec.measures in ("count", "number", "points", "flag"):
        return {"count": "a whole number", "number": "a number", "points": "points", "flag": "true or false"}[
            spec.measures
        ]
    return f'{DIMENSIONS[spec.measures].article}, such as "{DIMENSIONS[spec.measures].example}"'


_HEADER = re.compile(r"\s*\[\[?\s*\"?([\w -]+?)\"?\s*(?:\.[^\]]*)?\]")
_KEY = re.compile(r"\s*\"?([\w-]+)\"?\s*[.=]")
# What can hide a bracket: comments and strings that end on their own line.
_HIDING = re.compile(r"\"\"\"|'''|\"(?:[^\"\\\n]|\\.)*\"|'[^'\n]*'|#.*")


def _line_numbers(text: str) -> dict[tuple[str, int, str], int]:
    """Line of each table header (field "") and key, by kind, index and field."""
    places: dict[tuple[str, int, str], int] = {}
    counts: dict[str, int] = {}
    kind, depth, open_string = "", 0, ""
    for number, line in enumerate(text.splitlines(), 1):
        if open_string:
            if open_string not in line:
                continue
            line, open_string = line.split(open_string, 1)[1], ""
        elif depth == 0:
            if line.lstrip().startswith("["):
                found = _HEADER.match(line)
                kind = found[1] if found else ""
                if line.lstrip().startswith("[["):
                    counts[kind] = counts.get(kind, -1) + 1
                places.setdefault((kind, counts.get(kind, 0), ""), number)
                sub = re.match(r"\s*\[[\w -]+\.\s*([\w-]+)", line)
                if sub:
                    places.setdefault((kind, counts.get(kind, 0), sub[1]), number)
                continue
            key = _KEY.match(line)
            if key:
                places.setdefault((kind, counts.get(kind, 0), key[1]), number)
                if not kind:
                    places.setdefault((key[1], 0, ""), number)
        bare = ""
        position = 0
        for hidden in _HIDING.finditer(line):
            bare += line[position : hidden.start()]
            position = hidden.end()
            if hidden[0] in ('"""', "'''"):
                rest = line[position:]
                if hidden[0] not in rest:
                    open_string = hidden[0]
                    position = len(line)
                    break
        bare += line[position:]
        depth = max(depth + sum(bare.count(c) for c in "[{") - sum(bare.count(c) for c in "]}"), 0)
    return places


def _place(places: Mapping[tuple[str, int, str], int], kind: str, index: int, field: str) -> int:
    header = places.get((kind, index, ""), places.get((kind, 0, ""), 1))
    return places.get((kind, index, field), header)
