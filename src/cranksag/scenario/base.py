# SPDX-License-Identifier: GPL-3.0-or-later
"""What every section of a scenario shares, and short names for writing its fields."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict

from cranksag.scenario.specs import Choice, Part, Quantity

SUPPLY_NODES = ("battery", "battery switch", "starter stud", "house battery", "panel")
"""Where a supply may be tapped."""

POSITIVE_NODES = (*SUPPLY_NODES, "s terminal", "feed", "display supply", "start signal")
"""Every node on the supply side."""

RETURN_NODES = ("battery negative", "engine block")
"""Where a supply may return."""

SupplyNode = Literal["battery", "battery switch", "starter stud", "house battery", "panel"]
PositiveNode = Literal[
    "battery",
    "battery switch",
    "starter stud",
    "house battery",
    "panel",
    "s terminal",
    "feed",
    "display supply",
    "start signal",
]
ReturnNode = Literal["battery negative", "engine block"]
LoadReturnNode = Literal["battery negative", "engine block", "display return"]

NODES = (*POSITIVE_NODES, *RETURN_NODES, "display return")
"""Every node name a scenario may use."""


class Section(BaseModel):
    """A table of the scenario file. Quantities are SI floats; None is a field that was not written."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    @classmethod
    def problems(cls, held: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
        """What is wrong between fields of one table: pairs of field and message.

        `held` has the written fields by their name in the file, as text or as read; the check looks at which
        are there and at words, so that it also runs on a file whose values do not all fit.
        """
        del held
        yield from ()


def quantity(
    dimension: str,
    low: str,
    high: str,
    doc: str,
    default: str | None = None,
    *,
    words: tuple[str, ...] = (),
    branches: tuple[str, ...] = (),
) -> Quantity:
    """A `Quantity` in the order that reads best in a table of fields."""
    return Quantity(doc, default, branches, dimension, low, high, words)


def choice(
    choices: tuple[str, ...],
    doc: str,
    default: str | None = None,
    *,
    branches: tuple[str, ...] = (),
    refused: tuple[tuple[str, str], ...] = (),
) -> Choice:
    """A `Choice` in the order that reads best in a table of fields."""
    return Choice(doc, default, branches, choices, refused)


def corroded_joint(where: str, *, branches: tuple[str, ...] = ()) -> Part:
    """The field that names a corroded joint; `where` it sits among the sound ones."""
    doc = f"A joint of the catalogue by name that is corroded, {where}; joints has it sound, corrosion says how far."
    return named("joint", doc, "none", branches=branches)


def corroded_share(of: str = "the joint named by corroded", *, branches: tuple[str, ...] = ()) -> Quantity:
    """The field that says how far the joint named by the field `of` is corroded."""
    doc = (
        f"How far {of} is: 0 % sound, 100 % as the catalogue states it corroded, unless written where a joint is named."
    )
    return quantity("share", "0 %", "100 %", doc, branches=branches)


def corrosion_problems(held: Mapping[str, Any], *sides: str) -> Iterator[tuple[str, str]]:
    """Corrosion of a joint that nobody names; `sides`: what stands before the names of the fields."""
    for side in sides or ("",):
        if f"{side}corrosion" in held and f"{side}corroded" not in held:
            message = (
                f'of which joint? add {side}corroded = "multi-pin connector pin", or another of '
                f'"cranksag parts joint"; ohms go into {side}joints'
            )
            yield f"{side}corrosion", message


def named(
    kinds: str | tuple[str, ...], doc: str, default: str | None = None, *, branches: tuple[str, ...] = ()
) -> Part:
    """A `Part` of one kind, or of a kind for each branch."""
    return Part(doc, default, branches, (kinds,) if isinstance(kinds, str) else kinds)
