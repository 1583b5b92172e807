# SPDX-License-Identifier: GPL-3.0-or-later
"""What a starting profile may hold, whichever way it is written."""

from __future__ import annotations

import math
from typing import Final

MOST_POINTS: Final = 4000  # [-] a log of seconds in milliseconds; the solver stops at each
SHORTEST: Final = 20e-6  # [s] between two points: twice the solver's resolution of corners at the bench's step ceiling
LONGEST: Final = 600.0  # [s]
HIGHEST: Final = 60.0  # [V] above any charging voltage of a 24 V boat; load dumps are not starting profiles
FREQUENCIES: Final = (0.01, 1000.0)  # [Hz] of a sine on a plateau


def volts_problem(volts: float) -> str:
    """Why a source voltage [V] cannot be meant; empty where it can."""
    if not math.isfinite(volts) or not 0.0 <= volts <= HIGHEST:
        return f"{volts:g} V is not within 0 to {HIGHEST:g} V"
    return ""
