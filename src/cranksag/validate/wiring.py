# SPDX-License-Identifier: GPL-3.0-or-later
"""Conductors, joints, and what a start circuit may drop."""

from __future__ import annotations

from functools import partial

from cranksag.parts import conductors as c
from cranksag.parts import joints as j
from cranksag.parts.relay import relay_circuit
from cranksag.quantities import ConductorSize
from cranksag.validate import bench
from cranksag.validate.records import Check

_WIRE_TABLE = "solid copper wire table, ohm/km at 20 degC (wp.1728.org p=4314)"
_STRANDED = "engine maker's stranded cable, 3TNV72 service manual p. 259 (azmanual.top)"
_VOLVO = "Volvo Penta D1/D2 manual p. 38, starter cable by total length"
_CHART = "chandler's wire chart (hollandmarine.com 2021 pp. 52-53), 10 A over a 21 ft loop at 12 V"
_FEET = 0.3048  # [m]
_TEST_CURRENT = 500.0  # [A] of the cable test of TM 5-2420-230-24-2 p. 13-23


def _per_km(system: str, name: str, construction: str | None = None) -> float:
    size = ConductorSize(system, name)  # type: ignore[arg-type]
    return 1e3 * c.resistance_per_metre(size, construction=construction)


def _table_drop(name: str, length: float) -> float:
    """Cable of the size and length that a table pairs, carrying the cable test's current [V]."""
    return bench.cable_drop(c.run_resistance(ConductorSize("mm2", name), length), 0.0, _TEST_CURRENT)


def _chart_gauge(share: float) -> float:
    """Thinnest SAE size that keeps a drop share on the chart's example, as its gauge number."""
    for name in ("18", "16", "14", "12", "10", "8"):
        drop = 10.0 * c.run_resistance(ConductorSize("SAE", name), 21.0 * _FEET, 29.3)
        if c.drop_class(drop, 12.0).share <= share:
            return float(name)
    return 0.0


def _kt(temperature: float) -> float:
    return 1.0 / c.temperature_factor(temperature)


def _area_ratio(name: str) -> float:
    return c.conductor_area(ConductorSize("SAE", name)) / c.conductor_area(ConductorSize("AWG", name))


def _contact(corrosion: float) -> float:
    """Drop of a small relay's contact at 10 A [mV]."""
    resistance = j.joint_resistance("relay contact", corrosion)
    relay = relay_circuit(90.0, 5.9, 2.4, 5e-3, 3e-3, 12.0, 20.0, resistance)
    return 1e3 * bench.contact_drop(relay, 12.0, 10.0)


def _sound_start_circuit(metres: float, size: str) -> float:
    """Drop at the test current of a start circuit with sound joints at both ends of its two cables [V]."""
    joints = j.series_resistance(["battery post clamp", "battery cable lug"] * 2)
    return bench.cable_drop(c.run_resistance(ConductorSize("mm2", size), metres), joints, _TEST_CURRENT)


def _wire_tables() -> list[Check]:
    """Printed resistances."""
    half_digit = "half the last printed digit, and 0.1 % for a table that rounds copper differently"
    return [
        *[
            Check(
                f"{name} AWG solid",
                "conductor",
                _WIRE_TABLE,
                value,
                round(0.005 + 0.001 * value, 4),
                "ohm/km",
                half_digit,
                partial(_per_km, "AWG", name, "solid"),
            )
            for name, value in (("16", 13.17), ("2/0", 0.26))
        ],
        *[
            Check(
                f"SAE {name} stranded",
                "conductor",
                _STRANDED,
                value,
                round(0.07 * value, 4),
                "ohm/km",
                "7 %: the table's own steps between gauges are uneven by as much",
                partial(_per_km, "SAE", name),
            )
            for name, value in (("16", 14.30), ("10", 3.52), ("2/0", 0.285))
        ],
    ]


def _cable_table() -> list[Check]:
    """A maker's cable table."""
    return [
        Check(
            f"{size} mm2, the longest {length} m the table allows, carrying 500 A",
            "conductor",
            _VOLVO,
            0.50,
            0.02,
            "V",
            "the 0.1 m step of its lengths is 2 to 4 %; the table states no criterion: 1.0 mohm, the 0.5 V at 500 A "
            "of TM 5-2420-230-24-2 p. 13-23",
            partial(_table_drop, size, length),
            spice=True,
            whole=True,
            table=_VOLVO,
        )
        for size, length in (("35", 1.8), ("70", 3.7), ("95", 4.8))
    ]


def _chart_rows() -> list[Check]:
    """A wire chart."""
    return [
        Check(
            f"thinnest size for a {100 * share:.0f} % drop",
            "conductor",
            _CHART,
            gauge,
            0.0,
            "gauge number",
            "sizes are whole numbers",
            partial(_chart_gauge, share),
        )
        for share, gauge in ((0.03, 10.0), (0.10, 16.0))
    ]


def _area_rows() -> list[Check]:
    """Areas and temperature."""
    return [
        Check(
            "SAE 2/0 over 2/0 AWG, area",
            "conductor",
            "automotive cable gauge table (batterycable.co), SAE J1127",
            0.940,
            0.0006,
            "-",
            "last digit",
            partial(_area_ratio, "2/0"),
            status="derived",
        ),
        Check(
            "temperature factor Kt at 50 degC",
            "conductor",
            "uecables.com 471, Kt of IEC 60228",
            0.893,
            0.003,
            "-",
            "the standard rounds the slope of copper, 0.00393 to 0.004 per kelvin",
            partial(_kt, 50.0),
        ),
    ]


def conductor_checks() -> list[Check]:
    """Checks of conductors."""
    return [*_wire_tables(), *_cable_table(), *_chart_rows(), *_area_rows()]


def _contact_rows() -> list[Check]:
    """Contacts."""
    data_sheet = "data sheet of a 45/30 A automotive relay, contact drop at 10 A"
    return [
        Check(
            "relay contact, sound",
            "joint and limit",
            data_sheet,
            20.0,
            1.0,
            "mV",
            "circular: the printed typical value is carried; 5 % for the way through the netlist",
            partial(_contact, 0.0),
            spice=True,
        ),
        Check(
            "relay contact, worn",
            "joint and limit",
            data_sheet,
            300.0,
            15.0,
            "mV",
            "circular: the printed maximum is carried; 5 % for the way through the netlist",
            partial(_contact, 1.0),
            spice=True,
        ),
    ]


def _circuit_rows() -> list[Check]:
    """Start circuits against limits."""
    return [
        Check(
            "sound start circuit, 95 mm2, 3.0 m out and back, at 500 A",
            "joint and limit",
            "TM 5-2420-230-24-2 p. 13-23 (less than 0.5 V)",
            0.5,
            0.25,
            "V",
            "a limit; less than half of it would need no cable",
            partial(_sound_start_circuit, 3.0, "95"),
            sense="at most",
            spice=True,
            whole=True,
        ),
        Check(
            "both cables of a small diesel, 50 mm2, 3.0 m out and back with sound joints, as ohms",
            "joint and limit",
            "Perkins M65/M85T handbook TPD 1399E p. 29 (0.0017 ohm)",
            1.7,
            0.9,
            "mohm",
            "a limit on both leads",
            lambda: 1e3 * _sound_start_circuit(3.0, "50") / _TEST_CURRENT,
            sense="at most",
            spice=True,
            whole=True,
        ),
        Check(
            "solenoid main contact, worn over new",
            "joint and limit",
            "Murugesan et al. 2014 (12.5 over 0.035 mohm, middles)",
            round(12.5 / 0.035, 1),
            120.0,
            "-",
            "the printed bands, 10-15 and 0.02-0.05 mohm",
            lambda: j.joint_resistance("solenoid main contacts", 1.0) / j.joint_resistance("solenoid main contacts"),
            status="second hand",
        ),
    ]


def joint_checks() -> list[Check]:
    """Checks of joints and of limits on a start circuit."""
    return [*_contact_rows(), *_circuit_rows()]
