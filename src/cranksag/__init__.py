# SPDX-License-Identifier: GPL-3.0-or-later
"""Supply-voltage sag of a diesel boat while cranking, and what a digital engine display makes of it.

The public face: each name below is loaded from its room at first use, so that importing the package
(and `cranksag --help`) stays light.
"""

from __future__ import annotations

import sys
from importlib import import_module
from types import ModuleType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from cranksag.scenario import load_scenario
    from cranksag.simulate import simulate
    from cranksag.studies.compare import compare
    from cranksag.studies.size import size
    from cranksag.studies.sweep import sweep
    from cranksag.studies.tolerance import tolerance

__version__ = "0.1.0"

__all__ = ["__version__", "compare", "load_scenario", "simulate", "size", "sweep", "tolerance"]

_ROOMS = {
    "load_scenario": "cranksag.scenario",
    "simulate": "cranksag.simulate",
    "sweep": "cranksag.studies.sweep",
    "size": "cranksag.studies.size",
    "tolerance": "cranksag.studies.tolerance",
    "compare": "cranksag.studies.compare",
}


class _PublicFace(ModuleType):
    """A package whose functions are not hidden by the modules they are named after.

    Importing `cranksag.simulate` makes Python bind that module to the package's attribute `simulate`;
    the public name is the function of that module, whichever of the two is imported first.
    """

    def __setattr__(self, name: str, value: object) -> None:
        if isinstance(value, ModuleType) and _ROOMS.get(name) == value.__name__:
            return
        super().__setattr__(name, value)


def __getattr__(name: str) -> Any:
    if name not in _ROOMS:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(_ROOMS[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})


sys.modules[__name__].__class__ = _PublicFace
