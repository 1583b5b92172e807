# SPDX-License-Identifier: GPL-3.0-or-later
"""Relay: operate and release of one specimen behind the printed limits, times, and its circuit parameters.

Operate and release times are split into an electrical part (the coil current rising or decaying, see
`cranksag.parts.coil`) and a travel part (armature and spring); the suppression across the coil changes only the
electrical part.

Temperatures are in degC, everything else in SI units.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from cranksag.parts.coil import (
    UNSUPPRESSED_KICK_TYPICAL,
    Suppression,
    coil_resistance,
    current_decay_time,
    current_rise_time,
    inductance_from_operate_time,
)

__all__ = [
    "RelayCircuit",
    "Spread",
    "must_operate_spread",
    "must_release_spread",
    "operate_time",
    "relay_circuit",
    "release_time",
]

# Travel never takes less than this share of the printed time [-]. Engineering estimate.
TRAVEL_SHARE_MINIMUM = 0.2
# Must-operate is printed as a maximum over all specimens. Pick-up of one specimen as a share of it [-]:
# lowest and typical are engineering estimates. One published pair sits inside: 6.5 V pick-up ("Temperature
# considerations for DC relays", relay maker's application note) in the class whose limit is 6.9 V (90 ohm
# automotive relay data sheet), a share of 0.94.
OPERATE_SHARE_LOW = 0.65
OPERATE_SHARE_TYPICAL = 0.85
# Must-release is printed as a minimum. Highest drop-out over the printed must-operate [-]: release window
# 0.5-6 V beside an operate class of 7 V, JIS D 5010 pattern relay data sheet. Such a specimen picks up above
# it.
RELEASE_SHARE_HIGH = 6.0 / 7.0
# Typical drop-out over the typical pick-up [-]: engineering estimate (clapper relays release at a third to a
# half of pick-up).
RELEASE_SHARE_TYPICAL = 0.40
# Winding and wire hold this much [F]: a coil of kilohms and tens of henries cannot kick as high as one of a hundred
# ohms, because its energy goes there. Engineering estimate: 20 m of wire at 100 pF/m.
STRAY_CAPACITANCE = 2e-9


@dataclass(frozen=True, slots=True)
class Spread:
    """A value that varies from specimen to specimen: low, typical, high, all in the same unit."""

    low: float
    typical: float
    high: float


@dataclass(frozen=True, slots=True)
class RelayCircuit:
    """The relay as the netlist sees it, at its coil temperature.

    coil_resistance [ohm], coil_inductance [H], operate_current [A], release_current [A],
    travel_time_operate [s], travel_time_release [s], contact_resistance [ohm], changeover [-],
    suppression (kind and values), damping_resistance [ohm]: what stands in for the opening contact's arc when
    nothing lies across the coil (always present, so that no inductor is chopped in one step).
    """

    coil_resistance: float
    coil_inductance: float
    operate_current: float
    release_current: float
    travel_time_operate: float
    travel_time_release: float
    contact_resistance: float
    changeover: bool
    suppression: Suppression
    damping_resistance: float


def operate_time(relay: RelayCircuit, voltage: float) -> float:
    """Time from coil voltage to closed contact: current rise plus travel; infinite if it never picks up [s].

    Parameters
    ----------
    relay : the relay at its temperature
    voltage : coil voltage [V]

    Returns
    -------
    time [s]
    """
    rise = current_rise_time(relay.coil_inductance, relay.coil_resistance, voltage, relay.operate_current)
    return rise + relay.travel_time_operate


def release_time(relay: RelayCircuit, voltage: float) -> float:
    """Time from the cut of the coil voltage to open contact, under the relay's own suppression [s].

    Parameters
    ----------
    relay : the relay at its temperature
    voltage : coil voltage before the cut [V]

    Returns
    -------
    time [s]
    """
    start = voltage / relay.coil_resistance
    decay = current_decay_time(
        relay.coil_inductance, relay.coil_resistance, start, relay.release_current, relay.suppression
    )
    return decay + relay.travel_time_release


def must_operate_spread(must_operate: float) -> Spread:
    """Pick-up of single specimens behind a printed must-operate maximum.

    Parameters
    ----------
    must_operate : printed maximum, coil at 20 degC [V]

    Returns
    -------
    low, typical and high pick-up [V]; high is the printed value
    """
    return Spread(OPERATE_SHARE_LOW * must_operate, OPERATE_SHARE_TYPICAL * must_operate, must_operate)


def must_release_spread(must_release: float, must_operate: float) -> Spread:
    """Drop-out of single specimens behind a printed must-release minimum.

    Parameters
    ----------
    must_release : printed minimum, coil at 20 degC [V]
    must_operate : printed must-operate maximum, coil at 20 degC [V]

    Returns
    -------
    low, typical and high drop-out [V]; low is the printed value; a specimen at the high end picks up above it

    Raises
    ------
    ValueError
        If the printed minimum is not below the lowest pick-up.
    """
    pick_up = must_operate_spread(must_operate)
    if not 0.0 < must_release < pick_up.low:
        raise ValueError("must-release has to be above zero and below the lowest pick-up")
    typical = max(must_release, RELEASE_SHARE_TYPICAL * pick_up.typical)
    high = max(typical, RELEASE_SHARE_HIGH * must_operate)
    return Spread(must_release, typical, high)


def relay_circuit(
    coil_resistance_20: float,
    operate_voltage: float,
    release_voltage: float,
    time_operate: float,
    time_release: float,
    rated_voltage: float,
    temperature: float,
    contact_resistance: float,
    changeover: bool = False,
    suppression: Suppression | None = None,
    coil_inductance: float | None = None,
) -> RelayCircuit:
    """Circuit parameters of a relay from its data-sheet figures and its coil temperature.

    The printed times hold at 20 degC and rated voltage with nothing across the coil. Inductance comes from
    the operate time unless given; what the electrical part leaves of each printed time is travel.

    Parameters
    ----------
    coil_resistance_20 : at 20 degC [ohm]
    operate_voltage : pick-up of this specimen with the coil at 20 degC (a value of must_operate_spread) [V]
    release_voltage : drop-out of this specimen with the coil at 20 degC (a value of must_release_spread) [V]
    time_operate, time_release : printed times [s]
    rated_voltage : coil voltage of the printed times [V]
    temperature : coil temperature [degC]
    contact_resistance : [ohm]
    changeover : changeover contact instead of a make contact
    suppression : what lies across the coil; nothing by default
    coil_inductance : if known [H]

    Returns
    -------
    RelayCircuit

    Raises
    ------
    ValueError
        If release is not below operate, operate not below rated voltage, or a time not positive.
    """
    if not 0.0 < release_voltage < operate_voltage < rated_voltage:
        raise ValueError("needs 0 < release voltage < operate voltage < rated voltage")
    if time_operate <= 0.0 or time_release <= 0.0:
        raise ValueError("operate and release time must be above zero")
    operate = operate_voltage / coil_resistance_20
    release = release_voltage / coil_resistance_20
    rated = rated_voltage / coil_resistance_20
    if coil_inductance is None:
        coil_inductance = inductance_from_operate_time(time_operate, coil_resistance_20, rated_voltage, operate)
    rise = current_rise_time(coil_inductance, coil_resistance_20, rated_voltage, operate)
    decay = current_decay_time(coil_inductance, coil_resistance_20, rated, release, Suppression("none"))
    resistance = coil_resistance(coil_resistance_20, temperature)
    return RelayCircuit(
        coil_resistance=resistance,
        coil_inductance=coil_inductance,
        operate_current=operate,
        release_current=release,
        travel_time_operate=max(time_operate - rise, TRAVEL_SHARE_MINIMUM * time_operate),
        travel_time_release=max(time_release - decay, TRAVEL_SHARE_MINIMUM * time_release),
        contact_resistance=contact_resistance,
        changeover=changeover,
        suppression=suppression if suppression is not None else Suppression("none"),
        damping_resistance=min(UNSUPPRESSED_KICK_TYPICAL / rated, math.sqrt(coil_inductance / STRAY_CAPACITANCE)),
    )
