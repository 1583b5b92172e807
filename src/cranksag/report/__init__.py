# SPDX-License-Identifier: GPL-3.0-or-later
"""What is handed to people: the verdict in words, the cautions, the figures.

matplotlib is imported when a figure is drawn.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from cranksag.report.words import CAUTIONS, CAUTIONS_LINE, FIGURE_TYPES, brief_verdict, next_steps, verdict

if TYPE_CHECKING:
    from cranksag.report.figure import crank_figure, save_figure

__all__ = [
    "CAUTIONS",
    "CAUTIONS_LINE",
    "FIGURE_TYPES",
    "brief_verdict",
    "crank_figure",
    "next_steps",
    "save_figure",
    "verdict",
]

_DRAWN = frozenset({"crank_figure", "save_figure"})


def __getattr__(name: str) -> Any:
    if name not in _DRAWN:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module("cranksag.report.figure"), name)
