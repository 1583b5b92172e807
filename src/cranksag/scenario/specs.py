# SPDX-License-Identifier: GPL-3.0-or-later
"""What a scenario field may hold: the kinds of value, their limits, defaults and words.

A spec is the annotation of a pydantic field and the only place that knows the field: pydantic validates
through it, and the JSON Schema, the documentation, ``--set`` and the sweeps read it.
"""

from __future__ import annotations

import re
from abc import ABC, abstractmethod
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any, ClassVar

from pydantic_core import PydanticCustomError, core_schema

from cranksag.errors import InputError
from cranksag.quantities import (
    DIMENSIONS,
    SIZE_NAMES,
    ConductorSize,
    Dimension,
    nearest,
    parse,
    parse_conductor_size,
    shown,
    units_that_fit,
)

MAX_TEXT_LENGTH = 200
"""Longest free text (titles, names) [characters]."""

EVENTS = ("key on", "start", "fire", "end")
"""The moments a load's window may hang on."""

_NUMBER_PATTERN = r"([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][-+]?[0-9]{1,3})?"  # in JSON Schema; as in parse
_PLAIN_NUMBER = re.compile(r"[+-]?([0-9]{1,9}\.?[0-9]{0,20}|\.[0-9]{1,20})([eE][+-]?[0-9]{1,2})?")


@dataclass(frozen=True, slots=True)
class TimeMark:
    """A moment of the run: an event and an offset from it [s] (``"start+0.2 s"``)."""

    event: str
    offset: float = 0.0

    def __str__(self) -> str:
        return self.event if self.offset == 0.0 else f"{self.event}{self.offset:+g} s"


@dataclass(frozen=True)
class Spec(ABC):
    """A field's documentation and its reader; the kinds below say how it reads.

    Parameters
    ----------
    doc : one sentence for people.
    default : as it would be written; None where it is estimated from other fields (the doc says how).
    branches : hold-up branches the field belongs to; empty for all.
    """

    kind: ClassVar[str] = "text"
    doc: str
    default: str | None = None
    branches: tuple[str, ...] = ()

    @abstractmethod
    def read(self, value: Any) -> Any:
        """The value of what a TOML file holds; `InputError` with one problem if it does not fit."""

    def read_text(self, text: str) -> Any:
        """The value of a ``--set`` text; the same rules, numbers and true/false in words."""
        return self.read(text)

    @abstractmethod
    def schema(self) -> dict[str, Any]:
        """The JSON Schema of what a TOML file may hold here, without description and default."""

    def __get_pydantic_core_schema__(self, source: Any, handler: Callable[..., Any]) -> core_schema.CoreSchema:
        def validate(value: Any) -> Any:
            try:
                return self.read(value)
            except InputError as error:
                raise PydanticCustomError("field", "{problem}", {"problem": error.problems[0]}) from None

        return core_schema.no_info_plain_validator_function(validate)


def fail(problem: str) -> InputError:
    """The error of one field."""
    return InputError([problem])


@dataclass(frozen=True)
class Quantity(Spec):
    """A quantity with its unit, within limits, or one of a few words ("none", "never")."""

    kind: ClassVar[str] = "quantity"
    dimension: str = ""
    low: str = ""
    high: str = ""
    words: tuple[str, ...] = ()

    @cached_property
    def measure(self) -> Dimension:
        """What the quantity measures."""
        return DIMENSIONS[self.dimension]

    @cached_property
    def limits(self) -> tuple[float, float]:
        """Lowest and highest accepted value [SI of the dimension]."""
        return parse(self.low, self.measure), parse(self.high, self.measure)

    def read(self, value: Any) -> float | str:
        if type(value) is not str:
            raise fail(self._not_text(value))
        if value in self.words:
            return value
        try:
            number = parse(value, self.measure)
        except InputError as error:
            if self.words:
                raise fail(f"{error.problems[0]}, or {_listed(self.words)}") from None
            raise
        low, high = self.limits
        if not low <= number <= high:
            raise fail(f"must be {self.low} to {self.high}")
        return number

    def _not_text(self, value: Any) -> str:
        if isinstance(value, (int, float)) and not isinstance(value, bool):
            unit = self.measure.listed[0]
            return f'needs a unit, such as "{describe(value)} {unit}" ({units_that_fit(self.measure)})'
        words = f" or {_listed(self.words)}" if self.words else ""
        return f'must be {self.measure.article} in quotes, such as "{self.measure.example}"{words}'

    def schema(self) -> dict[str, Any]:
        pattern = f"^[-+]?{_NUMBER_PATTERN} *({_units(self.measure)})$"
        accepted: dict[str, Any] = {"type": "string", "pattern": pattern, "examples": [self.measure.example]}
        if not self.words:
            return accepted
        return {"anyOf": [accepted, {"enum": list(self.words)}]}


@dataclass(frozen=True)
class Size(Spec):
    """A conductor size by name."""

    kind: ClassVar[str] = "size"

    def read(self, value: Any) -> ConductorSize:
        if type(value) is not str:
            raise fail('must be a conductor size in quotes, such as "16 AWG", "70 mm2" or "SAE 2/0"')
        return parse_conductor_size(value)

    def schema(self) -> dict[str, Any]:
        awg, mm2, sae = ("|".join(name.replace(".", "\\.") for name in SIZE_NAMES[s]) for s in ("AWG", "mm2", "SAE"))
        gauges = "|".join(
            f"({names}) *{word}|{word} *({names})" for names, word in ((awg, "[Aa][Ww][Gg]"), (sae, "[Ss][Aa][Ee]"))
        )
        return {
            "type": "string",
            "pattern": f"^({gauges}|({mm2}) *(mm2|mm²))$",
            "examples": ["16 AWG", "2/0 AWG", "70 mm2", "SAE 2/0"],
        }


@dataclass(frozen=True)
class Choice(Spec):
    """One word of a list; `refused` says why a word that someone might expect is not in it."""

    kind: ClassVar[str] = "choice"
    choices: tuple[str, ...] = ()
    refused: tuple[tuple[str, str], ...] = ()

    def read(self, value: Any) -> str:
        if type(value) is str and value in self.choices:
            return value
        if type(value) is not str:
            raise fail(f"must be one of {_listed(self.choices)}")
        for word, reason in self.refused:
            if value.strip().lower() == word:
                raise fail(reason)
        close = nearest(value.strip().lower(), [c.lower() for c in self.choices])
        hint = f' (did you mean "{next(c for c in self.choices if c.lower() == close)}"?)' if close else ""
        raise fail(f"must be one of {_listed(self.choices)}{hint}")

    def schema(self) -> dict[str, Any]:
        return {"enum": list(self.choices)}


@dataclass(frozen=True)
class Number(Spec):
    """A pure number or a count."""

    kind: ClassVar[str] = "number"
    low: float = 0.0
    high: float = 0.0
    whole: bool = False

    def read(self, value: Any) -> float | int:
        wanted = "a whole number" if self.whole else "a number"
        if type(value) is not int and (self.whole or type(value) is not float):
            raise fail(f"must be {wanted} without quotes or unit, {self.low:g} to {self.high:g}")
        if not self.low <= value <= self.high:
            raise fail(f"must be {wanted}, {self.low:g} to {self.high:g}")
        return int(value) if self.whole else float(value)

    def read_text(self, text: str) -> float | int:
        plain = text.strip()
        if re.fullmatch(r"[+-]?[0-9]{1,9}", plain):
            return self.read(int(plain))
        if not self.whole and _PLAIN_NUMBER.fullmatch(plain):
            return self.read(float(plain))
        return self.read(None)

    def schema(self) -> dict[str, Any]:
        return {"type": "integer" if self.whole else "number", "minimum": self.low, "maximum": self.high}


@dataclass(frozen=True)
class Flag(Spec):
    """Yes or no."""

    kind: ClassVar[str] = "flag"

    def read(self, value: Any) -> bool:
        if type(value) is not bool:
            raise fail("must be true or false, without quotes")
        return value

    def read_text(self, text: str) -> bool:
        return self.read({"true": True, "false": False}.get(text.strip()))

    def schema(self) -> dict[str, Any]:
        return {"type": "boolean"}


@dataclass(frozen=True)
class Text(Spec):
    """Free text: a title, a name, a part's name in the catalogue."""

    kind: ClassVar[str] = "text"

    def read(self, value: Any) -> str:
        if type(value) is not str:
            raise fail("must be text in quotes")
        if not value.strip():
            raise fail("must not be empty")
        if len(value) > MAX_TEXT_LENGTH:
            raise fail(f"longer than {MAX_TEXT_LENGTH} characters")
        if any(not c.isprintable() and c not in "\n\r\t" for c in value):
            raise fail("holds a control character")
        return value

    def schema(self) -> dict[str, Any]:
        return {"type": "string", "minLength": 1, "maxLength": MAX_TEXT_LENGTH}


@dataclass(frozen=True)
class Part(Text):
    """A part of the catalogue by its name; `parts`: the kinds it may be of, in the order of `branches` if several."""

    parts: tuple[str, ...] = ()

    def kinds(self, branch: str | None = None) -> tuple[str, ...]:
        """Kinds of part that the field may name; on one hold-up branch, if it is known."""
        if len(self.parts) > 1 and branch in self.branches:
            return (self.parts[self.branches.index(branch)],)
        return self.parts


@dataclass(frozen=True)
class Mark(Spec):
    """A moment of the run: ``key on``, ``start``, ``fire``, ``end``, with or without an offset."""

    kind: ClassVar[str] = "time mark"
    limit: ClassVar[str] = "1 h"

    def read(self, value: Any) -> TimeMark:
        example = f'write {_listed(EVENTS)}, with or without an offset as in "start+0.2 s"'
        if type(value) is not str:
            raise fail(f"must be a moment in quotes: {example}")
        plain = value.strip()
        event = next((e for e in EVENTS if plain.startswith(e)), None)
        rest = plain[len(event) :].strip() if event else ""
        if event is None or (rest and rest[0] not in "+-−"):
            raise fail(f"not a moment of the run: {example}")
        offset = parse(rest[0] + rest[1:].strip(), DIMENSIONS["time"]) if rest else 0.0
        if abs(offset) > parse(self.limit, DIMENSIONS["time"]):
            raise fail(f"the offset must be at most {self.limit}")
        return TimeMark(event, offset)

    def schema(self) -> dict[str, Any]:
        offset = f"( *[-+] *{_NUMBER_PATTERN} *({_units(DIMENSIONS['time'])}))?"
        pattern = f"^({'|'.join(EVENTS)}){offset}$"
        return {"type": "string", "pattern": pattern, "examples": ["key on", "start+0.2 s"]}


def _listed(words: tuple[str, ...]) -> str:
    return ", ".join(f'"{w}"' for w in words)


def _units(dimension: Dimension) -> str:
    """Every spelling of the dimension's units as a pattern, with the signs that `parse` also takes."""
    spelled = set(dimension.units)
    for symbol in dimension.units:
        micro = [symbol, *(letter + symbol[1:] for letter in "µμ")] if symbol[0] == "u" else [symbol]
        for spelling in micro:
            spelled |= {spelling, re.sub("ohm$", "Ω", spelling), spelling.replace("N m", "N·m")}
        spelled.add(re.sub("m([23])$", lambda m: "m²" if m[1] == "2" else "m³", symbol))
    return "|".join(sorted(spelled, key=lambda s: (-len(s), s)))


def describe(value: Any) -> str:
    """What the file holds, for a message: text in quotes, numbers as they are, containers by kind."""
    if isinstance(value, str):
        return shown(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        return repr(value) if abs(value) < 1e30 or isinstance(value, float) else "a huge number"
    if isinstance(value, dict):
        return "a table"
    return "a list" if isinstance(value, list) else shown(str(value))
