# SPDX-License-Identifier: GPL-3.0-or-later
"""Typical currents of whole boats while cranking, and how long the inrush lasts."""

from __future__ import annotations

from functools import partial

import numpy as np

from cranksag.validate.boats import (
    DIESEL_12,
    DIESEL_24,
    EIGHT_CYLINDER,
    FORK_TRUCK,
    PETROL,
    SMALL,
    THIRTY_HP,
    Boat,
    at,
    cranked,
    figure,
)
from cranksag.validate.records import Check, Status, band

_TYPICAL = "typical levels of boat diesels"
INRUSH_SHARE = 1.5  # [-] over the plateau's current: still the inrush

_STIFF = (
    "the model's flooded battery gives at the first instant what its cold rating and the published pulses "
    "extrapolate to, charge transfer or not: what that takes at such currents, the resistances give back; "
)
MISSES = {
    "inrush": "stated without its meter; an ordinary clamp meter averages over longer than the inrush lasts, "
    "and the locked starter of that class is published with 325 A at 2.5 V already",
    "thirty": "engine of 1.1 l and 0 degC are our choice; 1.8 l would lie inside",
    "mean": "a 24 V 5.0 kW starter turns free on 95 A (fork-lift manual d35s-5 p. 128), which leaves little friction; "
    "an engine of 8 l lies inside",
    "cold": "the table is what the engine asks at one speed, and the model's torque at one speed follows it; its "
    "starter slows from 194 rpm at 27 degC to 163, 133 and 109, where the engine asks 1.4, 2.0 and 2.7 times as much, "
    "and the current rises by less than the torque: a fifth of the warm starter's torque is its own friction, which "
    "the cold leaves as it is, and its field grows with the current, by 7, 15 and 23 %",
    "levels": _STIFF + "boats as they come have worn batteries, and remembered levels are theirs",
}
"""Why a figure is missed."""


def checks() -> list[Check]:
    """Checks of currents."""
    return [*_measured_currents(), *_marine_currents(), *_cold_currents(), *_levels_from_memory()]


def _inrush_time(boat: Boat) -> float:
    """How long the starter draws more than 1.5 times its plateau current [s]."""
    traces, plateau = cranked(boat).traces, cranked(boat).starter.crank_current
    current = traces.signals["starter_current"]
    if plateau is None:
        return float("nan")
    above = current > INRUSH_SHARE * plateau
    first = traces.time[np.flatnonzero(above)[0]]
    after = np.flatnonzero((traces.time > first) & ~above)
    return float(traces.time[after[0]] - first)


def _current_row(
    name: str,
    source: str,
    boat: Boat,
    quantity: str,
    published: float,
    allowed: float,
    reason: str,
    *,
    status: Status = "seen",
    unit: str = "A",
    is_band: bool = False,
    miss: str = "",
    table: str = "",
) -> Check:
    return Check(
        name,
        "boat",
        source,
        published,
        allowed,
        unit,
        reason,
        partial(figure, boat, quantity),
        status=status,
        sense="band" if is_band else "value",
        spice=True,
        whole=True,
        table=table,
        miss=miss,
    )


def _measured_currents() -> list[Check]:
    """Mean currents and speed."""
    fork, fork_half = band(180.0, 220.0)
    eight, eight_half = band(230.0, 630.0)
    speed, speed_half = band(150.0, 200.0)
    curve = "diesel-dave.com stj36b11 (7.3 l diesel, 230-630 A at 150-200 rpm)"
    return [
        _current_row(
            "petrol 1.8 l at 21 degC, mean current",
            "manualslib.es 868782 p. 45 (60 A per litre, +-25 %)",
            PETROL,
            "amperes",
            108.0,
            27.0,
            "the rule's own spread",
        ),
        _current_row(
            "2.7 l fork-truck diesel, mean current",
            "TM 10-3930-671-24 p. 553 (180-220 A)",
            FORK_TRUCK,
            "amperes",
            fork,
            fork_half,
            "the printed band; temperature not stated, 20 degC taken",
            is_band=True,
        ),
        _current_row(
            "7.3 l diesel, mean current",
            curve,
            EIGHT_CYLINDER,
            "amperes",
            eight,
            eight_half,
            "the printed band",
            is_band=True,
        ),
        _current_row(
            "7.3 l diesel, crank speed",
            curve,
            EIGHT_CYLINDER,
            "rpm",
            speed,
            speed_half,
            "the printed band",
            unit="rpm",
            is_band=True,
        ),
    ]


def _marine_currents() -> list[Check]:
    """Small marine diesels."""
    meter, meter_half = band(281.0, 300.0)
    return [
        _current_row(
            "marine diesel of 30 hp at 0 degC, mean current",
            "morganscloud.com (281 A on an ordinary meter, 300 A on the maker's curve, cold)",
            THIRTY_HP,
            "amperes",
            meter,
            0.25 * meter,
            f"25 %: engine, starter and temperature are our choice; the two readings are {2 * meter_half:.0f} A apart",
            miss=MISSES["thirty"],
        ),
        _current_row(
            "small marine diesel, inrush",
            "sailboatowners.com 137565 (about 200 A for less than 1/4 s, stated)",
            SMALL,
            "peak",
            200.0,
            50.0,
            "25 %: the word about",
            miss=MISSES["inrush"],
        ),
        Check(
            "small marine diesel, duration of the inrush",
            "boat",
            "sailboatowners.com 137565 (about 200 A for less than 1/4 s, stated)",
            0.25,
            0.24,
            "s",
            "a limit",
            partial(_inrush_time, SMALL),
            sense="at most",
            spice=True,
            whole=True,
        ),
    ]


def _current_over_warm(temperature: float) -> float:
    """Mean current of the 12 V diesel over that at 27 degC [%]."""
    return 100.0 * figure(at(DIESEL_12, temperature), "amperes") / figure(at(DIESEL_12, 27.0), "amperes")


def _cold_currents() -> list[Check]:
    """What cold does to the current while cranking."""
    return [
        Check(
            f"12 V diesel, mean current at {temperature:g} degC over that at 27 degC",
            "boat",
            "mackertautomotive.com, engine demand against temperature",
            published,
            0.15 * published,
            "%",
            "15 %, as for the demand itself",
            partial(_current_over_warm, temperature),
            status="second hand",
            spice=True,
            whole=True,
            miss=MISSES["cold"],
        )
        for temperature, published in ((0.0, 155.0), (-18.0, 210.0), (-29.0, 350.0))
    ]


def _levels_from_memory() -> list[Check]:
    reason = "the remembered band"
    rows = (
        ("12 V diesel of 3-4.5 l, inrush", DIESEL_12, "peak", 700.0, 1200.0),
        ("12 V diesel of 3-4.5 l, mean current", DIESEL_12, "amperes", 250.0, 450.0),
        ("24 V diesel of 5.5-8 l, inrush", DIESEL_24, "peak", 900.0, 1600.0),
        ("24 V diesel of 5.5-8 l, mean current", DIESEL_24, "amperes", 250.0, 500.0),
    )
    return [
        _current_row(
            name,
            _TYPICAL,
            boat,
            quantity,
            *band(low, high),
            reason,
            status="memory",
            is_band=True,
            miss=MISSES["levels"] if quantity == "peak" else MISSES["mean"] if boat is DIESEL_24 else "",
        )
        for name, boat, quantity, low, high in rows
    ]
