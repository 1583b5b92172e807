# SPDX-License-Identifier: GPL-3.0-or-later
"""A relay's contact: resistance, drop, and the inrush it may close on. SI units."""

from __future__ import annotations

__all__ = [
    "contact_drop",
    "contact_inrush_use",
    "contact_resistance_from_drop",
]


def contact_resistance_from_drop(drop: float, current: float) -> float:
    """Contact resistance from a printed drop, for instance 20 mV at 10 A [ohm].

    Parameters
    ----------
    drop : [V]
    current : [A]

    Returns
    -------
    resistance [ohm]

    Raises
    ------
    ValueError
        If the current is not positive.
    """
    if current <= 0.0:
        raise ValueError("test current must be above zero")
    return drop / current


def contact_drop(current: float, resistance: float) -> float:
    """Voltage lost in a closed contact [V].

    Parameters
    ----------
    current : [A]
    resistance : contact resistance [ohm]

    Returns
    -------
    voltage [V]
    """
    return current * resistance


def contact_inrush_use(inrush_peak: float, making_current: float) -> float:
    """Share of a contact's making rating that a capacitor's inrush peak uses; above 1 the contact may weld
    [-].

    Parameters
    ----------
    inrush_peak : first peak through the closing contact [A]
    making_current : largest current the contact may close on [A]

    Returns
    -------
    share [-]

    Raises
    ------
    ValueError
        If the rating is not positive.
    """
    if making_current <= 0.0:
        raise ValueError("making current must be above zero")
    return abs(inrush_peak) / making_current
