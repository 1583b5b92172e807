# SPDX-License-Identifier: GPL-3.0-or-later
"""Which picture of a sweep is asked for in words; apart from the pictures, so that it can be told before the sweep."""

from __future__ import annotations

from collections.abc import Sequence

from cranksag.errors import InputError
from cranksag.quantities import nearest, shown

__all__ = ["PICTURES", "asked_picture"]

PICTURES = ("map", "band", "pareto")
"""Kinds of picture."""


def asked_picture(words: str, paths: Sequence[str]) -> tuple[str, list[str]]:
    """Kind of the picture and the axes it names: "map X,Y", "map X,Y,FACET", "band X" or "pareto".

    Parameters
    ----------
    words : which picture; empty for the one that fits the axes
    paths : the axes of the sweep

    Raises
    ------
    InputError
        There is no such picture or axis.
    """
    kind, _, rest = words.strip().partition(" ")
    names = [name.strip() for name in rest.split(",") if name.strip()]
    kind = kind or ("map" if len(paths) > 1 else "band")
    if kind not in PICTURES:
        raise InputError([f"--picture {shown(words)}: write map X,Y or map X,Y,FACET, band X, or pareto"])
    for name in names:
        if name not in paths:
            close = nearest(name, list(paths))
            raise InputError(
                [f"--picture {shown(name)}: not an axis of this sweep" + (f" (did you mean {close}?)" if close else "")]
            )
    limit = {"map": 3, "band": 1, "pareto": 0}[kind]
    if len(names) > limit or len(set(names)) < len(names) or (kind == "map" and len(names) == 1):
        raise InputError([f"--picture {shown(words)}: write map X,Y or map X,Y,FACET, band X, or pareto"])
    if kind == "map" and len(paths) < 2:
        raise InputError(["--picture map: needs two axes, this sweep has one; try --picture band"])
    return kind, names
