# SPDX-License-Identifier: GPL-3.0-or-later
"""The only room that knows PySpice and ngspice: a deck in, checked waveforms out, or a named failure.

One process holds one ngspice library; runs follow each other, whichever thread asks. PySpice is imported at
the first run, not with this package.
"""

from __future__ import annotations

from cranksag.solver.deck import LADDER, STANDARD, Deck, Settings, deck_text, deck_title
from cranksag.solver.library import LibraryInfo
from cranksag.solver.running import STILL, Solver, Waveforms, get_solver, library_info

__all__ = [
    "LADDER",
    "STANDARD",
    "STILL",
    "Deck",
    "LibraryInfo",
    "Settings",
    "Solver",
    "Waveforms",
    "deck_text",
    "deck_title",
    "get_solver",
    "library_info",
]
