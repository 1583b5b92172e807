# SPDX-License-Identifier: GPL-3.0-or-later
"""Which kinds of catalogue part a field may name; apart from the axes, because masses and prices depend on it."""

from __future__ import annotations

from cranksag.scenario import Scenario
from cranksag.scenario.paths import find_leaf
from cranksag.scenario.specs import Part

__all__ = ["part_kinds"]


def part_kinds(path: str, branch: str | None = None) -> tuple[str, ...]:
    """Kinds of catalogue part that a field may name, on one hold-up branch if it is known; empty for other fields."""
    field = find_leaf(Scenario, path).spec
    return field.kinds(branch) if isinstance(field, Part) else ()
