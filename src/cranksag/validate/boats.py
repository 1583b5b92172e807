# SPDX-License-Identifier: GPL-3.0-or-later
"""The whole circuit: crank-voltage bands by temperature, drop limits in sound boats, typical currents."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, partial

import numpy as np

from cranksag.scenario import loads_scenario
from cranksag.validate.records import Check, band
from cranksag.verdict.results import Result

_BANDS = "TM 5-3895-382-24 table 29 (diesel workshop manual 854f-e34t p. 85), system voltage while cranking"
_LIMITS = "TM 5-3895-382-24 p. 338, table 30, engines of 2000 h and more"
_OPTIMISTIC = (
    "plateau at the battery posts of a sound boat; the model's lies 1 to 5 V above the band, while its inrush minimum "
    "lies inside at all three temperatures and both voltages. As a plateau the band asks two to five times the "
    "plateau's current of this battery, or the same current of one at 18 to 45 % of its rating: more than any "
    "published battery figure leaves open. The manual names neither battery nor starter nor oil"
)
RPM = 60.0 / (2.0 * np.pi)  # [rpm per rad/s]


@dataclass(frozen=True, slots=True)
class Boat:
    """What distinguishes one boat of these checks: engine, starter, battery, cables, temperature."""

    displacement: str
    cylinders: int
    compression: float
    starter: str
    battery: str
    volts: int = 12
    temperature: float = 20.0
    oil: str = "15W-40"
    cable: str = "70 mm2"
    metres: float = 2.0


DIESEL_12 = Boat("4.2 L", 4, 17.5, "2.5 kW", "800 A")
DIESEL_24 = Boat("6.0 L", 6, 17.5, "5.0 kW", "800 A", volts=24)
SMALL = Boat("0.7 L", 2, 23.0, "1.1 kW", "540 A", cable="35 mm2", metres=0.9)  # cable and battery: Volvo Penta D1 table
THIRTY_HP = Boat("1.1 L", 3, 23.0, "2.0 kW", "540 A", temperature=0.0, cable="70 mm2", metres=1.8)
FORK_TRUCK = Boat("2.7 L", 4, 21.0, "2.0 kW", "700 A")
EIGHT_CYLINDER = Boat("7.3 L", 8, 21.5, "4.0 kW", "850 A")
PETROL = Boat("1.8 L", 4, 9.5, "1.2 kW", "500 A", temperature=21.0, oil="5W-30", cable="35 mm2", metres=1.0)


def _text(boat: Boat) -> str:
    return f"""
title = "Boat of the outside checks"
[temperature]
ambient = "{boat.temperature} degC"
[battery]
rating = "{boat.battery}"
in_series = {boat.volts // 12}
[starter]
power = "{boat.starter}"
[engine]
displacement = "{boat.displacement}"
cylinders = {boat.cylinders}
compression_ratio = {boat.compression}
oil = "{boat.oil}"
fires_after = "never"
[crank]
key_on_before = "0.5 s"
key_held = "3 s"
after = "0.2 s"
[[cables.positive]]
length = "{boat.metres} m"
size = "{boat.cable}"
[[cables.positive]]
name = "battery switch"
resistance = "0.3 mohm"
[[cables.negative]]
length = "{boat.metres} m"
size = "{boat.cable}"
"""


@cache
def cranked(boat: Boat) -> Result:
    """One boat cranked for 3 s with an engine that does not fire."""
    from cranksag.simulate import simulate

    return simulate(loads_scenario(_text(boat)))


def at(boat: Boat, temperature: float) -> Boat:
    """The same boat at another temperature [degC]."""
    return Boat(
        boat.displacement,
        boat.cylinders,
        boat.compression,
        boat.starter,
        boat.battery,
        boat.volts,
        temperature,
        boat.oil,
        boat.cable,
        boat.metres,
    )


def figure(boat: Boat, name: str) -> float:
    """A figure of the crank: volts, amperes, rpm or seconds by name; not a number where the boat does not crank."""
    result = cranked(boat)
    starter, battery = result.starter, result.battery
    values = {
        "volts": battery.crank_voltage,
        "minimum": battery.minimum_voltage,
        "amperes": starter.crank_current,
        "peak": starter.peak_current,
        "rpm": None if starter.crank_speed is None else starter.crank_speed * RPM,
    }
    value = values[name]
    return float("nan") if value is None else float(value)


def _mean_drop(boat: Boat, high: str, low: str | None) -> float:
    """Mean voltage between two signals over the last second of the crank [V]."""
    traces = cranked(boat).traces
    window = (traces.time > traces.time[-1] - 1.2) & (traces.time < traces.time[-1] - 0.2)
    time = traces.time[window]
    volts = traces.signals[high][window] - (traces.signals[low][window] if low else 0.0)
    return float(np.trapezoid(volts, time) / (time[-1] - time[0]))


def _total_drop(boat: Boat) -> float:
    """Drop of the whole start circuit, both sides with the battery switch [V]."""
    return _mean_drop(boat, "battery", "starter_stud") + _mean_drop(boat, "block", None)


def _total_per_100_amperes(boat: Boat) -> float:
    """The same for each 100 A [V]."""
    return 100.0 * _total_drop(boat) / figure(boat, "amperes")


def checks() -> list[Check]:
    """Checks of the whole circuit."""
    return [*_voltage_bands(), *_drop_limits()]


def _voltage_bands() -> list[Check]:
    rows = (
        (DIESEL_12, -15.0, 6.0, 8.0),
        (DIESEL_12, 1.5, 7.0, 9.0),
        (DIESEL_12, 18.5, 8.0, 10.0),
        (DIESEL_24, -15.0, 12.0, 16.0),
        (DIESEL_24, 1.5, 14.0, 18.0),
        (DIESEL_24, 18.5, 16.0, 24.0),
    )
    found = []
    for boat, temperature, low, high in rows:
        middle, half = band(low, high)
        inside = boat.volts == 24 and temperature == 18.5
        found.append(
            Check(
                f"{boat.volts} V diesel at {temperature:g} degC, voltage while cranking",
                "boat",
                _BANDS,
                middle,
                half,
                "V",
                "the printed band, read at its middle temperature",
                partial(figure, at(boat, temperature), "volts"),
                sense="band",
                spice=True,
                whole=True,
                miss="" if inside else _OPTIMISTIC,
            )
        )
    return found


_IN_SERVICE = "a limit for machines in service; a sound circuit stays below it"


def _table_limits() -> list[Check]:
    """A manual's table of drops."""
    rows = (
        ("battery - to starter -", DIESEL_12, "block", None, 0.7),
        ("battery - to starter -", DIESEL_24, "block", None, 1.4),
        ("battery + to starter terminal", DIESEL_12, "battery", "starter_stud", 0.5),
        ("battery + to starter terminal", DIESEL_24, "battery", "starter_stud", 1.0),
    )
    return [
        Check(
            f"sound {boat.volts} V boat while cranking: {part}",
            "joint and limit",
            _LIMITS,
            limit,
            limit,
            "V",
            _IN_SERVICE,
            partial(_mean_drop, boat, high, low),
            sense="at most",
            spice=True,
            whole=True,
        )
        for part, boat, high, low, limit in rows
    ]


def _circuit_limits() -> list[Check]:
    """Limits on the whole circuit."""
    return [
        Check(
            "sound 12 V boat: whole start circuit per 100 A",
            "joint and limit",
            "SAE J541, light and medium duty 12 V (0.200 V per 100 A), read in a summary",
            0.200,
            0.15,
            "V",
            "a limit; the battery switch counts in it here",
            partial(_total_per_100_amperes, DIESEL_12),
            status="second hand",
            sense="at most",
            spice=True,
            whole=True,
        ),
        Check(
            "sound 12 V boat: both sides of the start circuit together",
            "joint and limit",
            "hand-held load tester manual p. 15 (0.5 V positive and 0.3 V ground)",
            0.8,
            0.8,
            "V",
            _IN_SERVICE,
            partial(_total_drop, DIESEL_12),
            sense="at most",
            spice=True,
            whole=True,
        ),
        Check(
            "sound 12 V boat at 20 degC: battery while cranking",
            "boat",
            "centerpowerbattery.com, voltage when cranking (above 9.6 to 10.5 V)",
            9.6,
            2.4,
            "V",
            "a limit; it cannot exceed the voltage at rest",
            partial(figure, DIESEL_12, "volts"),
            sense="at least",
            spice=True,
            whole=True,
        ),
    ]


def _drop_limits() -> list[Check]:
    return [*_table_limits(), *_circuit_limits()]
