# SPDX-License-Identifier: GPL-3.0-or-later
"""Converters, displays and fuses: data-sheet currents, cut-outs, constant power, time-current limits."""

from __future__ import annotations

import math
from functools import partial

from cranksag.parts import converter as c
from cranksag.parts import diode as d
from cranksag.parts import display as y
from cranksag.parts import fuse as f
from cranksag.validate import bench
from cranksag.validate.records import Check, band
from cranksag.validate.switching import SET_1N5822

_TEN25 = "data sheet of a 25/30 W converter series, 10-40 V input (TEN 25WI), input current at full load"
_GLASS = "data sheet of a fast glass fuse (AGX, form BU-SB08027)"
_WITHSTAND = "one-second short-circuit currents by size (calculatorsconversion.com, after IEC 60364-5-54)"
_NETWORK = "NMEA 2000 power rules (actisense.com, maretron.com)"
_HOUR = 3600.0  # [s]
_NO_ADDED_DRAW = 1e-9  # [W]


def _unit(output: float, current: float, efficiency: float, supply: float, **extra: float) -> c.ConverterCircuit:
    return c.converter_circuit(
        supply,
        output,
        "up/down",
        output * current,
        efficiency,
        quiescent_power=_NO_ADDED_DRAW,
        input_limit=1e3,
        **extra,
    )


def _input(output: float, current: float, efficiency: float, supply: float) -> float:
    """Input current of a loaded converter [mA]."""
    return 1e3 * bench.converter_input(_unit(output, current, efficiency, supply), supply, output * current)


def _boost() -> float:
    """Input current of the boost board's converter at 3 V [A], efficiency 0.90."""
    unit = _unit(12.0, 25.0 / 12.0, 0.90, 3.0)
    return bench.converter_input(unit, 3.0, 25.0)


def _cut_out() -> float:
    return bench.converter_cut_out(c.converter_circuit(24.0, 12.0, "down", 60.0), 24.0, 15.0, 2.0)


def _converter_inputs() -> list[Check]:
    """Input currents of a converter series."""
    rows = (
        (12.0, 2.5, 0.89, 24.0, 1400.0, 10.0),
        (5.0, 5.0, 0.85, 24.0, 1220.0, 10.0),
        (3.3, 5.5, 0.82, 24.0, 920.0, 10.0),
        (12.0, 2.5, 0.89, 48.0, 700.0, 5.0),
    )
    return [
        Check(
            f"{output:g} V {current:g} A at {supply:g} V input",
            "converter",
            _TEN25,
            published,
            allowed,
            "mA",
            "two printed digits",
            partial(_input, output, current, efficiency, supply),
            spice=True,
        )
        for output, current, efficiency, supply, published, allowed in rows
    ]


def _converter_limits() -> list[Check]:
    """The boost board, and where a converter stops."""
    middle, half = band(18.0, 20.0)
    return [
        Check(
            "boost board, 25 W from 3 V",
            "converter",
            "demo manual DC1937B (9.67 A at 3 V)",
            9.67,
            0.60,
            "A",
            "converter 0.90 by its controller's data sheet, which gives 0.90 to 0.96",
            _boost,
            spice=True,
        ),
        Check(
            "24-to-12 V unit: supply at which it stops, by ramp",
            "converter",
            "trade: cuts out at 18 to 20 V",
            middle,
            half,
            "V",
            "the trade's band",
            _cut_out,
            status="common practice",
            sense="band",
            spice=True,
        ),
    ]


def converter_checks() -> list[Check]:
    """Checks of converters."""
    return [*_converter_inputs(), *_converter_limits()]


def _display(power: float, brownout: float = 6.0) -> y.DisplayCircuit:
    return y.display_circuit(power, brownout, brownout + 1.0, converter_minimum=5.0)


def _display_current(power: float, volts: float) -> float:
    """Current of a running display [mA]."""
    return 1e3 * bench.display_current(_display(power), volts)


def _ride_through() -> float:
    """1 mF behind a Schottky diode, 100 mA at the mean voltage, from 12 V off until 7 V [ms]."""
    diode = d.diode_circuit(SET_1N5822, 25.0)
    start = 12.0 - bench.forward_voltage(diode, 0.1)
    display = y.display_circuit(
        0.1 * 0.5 * (start + 7.0),
        7.0,
        8.0,
        at="internal",
        reset_after=1e-5,
        diode=diode,
        input_capacitance=1e-3,
        converter_minimum=5.0,
    )
    return 1e3 * bench.display_ride_through(display, 12.0, 0.05, 0.2)


def _feed_at_11_volts() -> float:
    """Volts at a 9 W display at the end of 7 m of 16 AWG with the battery flat at 11 V."""
    from cranksag.parts.conductors import run_resistance
    from cranksag.quantities import ConductorSize

    loop = 2.0 * run_resistance(ConductorSize("AWG", "16"), 7.0)
    return c.operating_voltage(11.0, loop, 3.0)


def _display_currents() -> list[Check]:
    """Constant power."""
    return [
        Check(
            "repeater display of 3 W at 15 V",
            "display",
            "JRC JLN-900 manual p. 168 (largest current at 15 V)",
            200.0,
            2.0,
            "mA",
            "last digit; power and current are printed side by side",
            partial(_display_current, 3.0, 15.0),
            spice=True,
        ),
        Check(
            "6 W instrument at 24 V, from its 495 mA at 12 V",
            "display",
            "data logger power requirements (help.campbellsci.com, 495 mA at 12 V, 255 mA at 24 V)",
            255.0,
            12.0,
            "mA",
            "its own 6 W is about; a converter loses a few per cent more at twice the input",
            partial(_display_current, 12.0 * 0.495, 24.0),
            spice=True,
        ),
    ]


def _display_supplies() -> list[Check]:
    """Its own capacitor, and its feed."""
    return [
        Check(
            "1 mF behind a Schottky diode, 100 mA: time from 12 V off to 7 V",
            "display",
            "electronics questions-and-answers thread 146271 (45 ms, diode of 0.5 V)",
            45.0,
            3.0,
            "ms",
            "6 %: the diode is taken as 0.5 V there and is 0.29 V here; constant power against constant current",
            _ride_through,
            spice=True,
            whole=True,
        ),
        Check(
            "3 W display at the end of 7 m of 16 AWG, battery flat at 11 V",
            "display",
            "chart plotter installation manual p. 36 (at least 10.8 V at the connector)",
            10.8,
            0.2,
            "V",
            "a limit; it cannot exceed the battery",
            _feed_at_11_volts,
            sense="at least",
            whole=True,
        ),
    ]


def _network_rows() -> list[Check]:
    """Loads on a network."""
    return [
        Check(
            "network device of 151 mA in load equivalents",
            "display",
            _NETWORK,
            4.0,
            0.0,
            "LEN",
            "whole numbers",
            lambda: float(y.load_equivalents(0.151)),
        ),
        Check(
            "most power a device may take from the network",
            "display",
            _NETWORK,
            9.0,
            0.0,
            "W",
            "20 load equivalents of 50 mA at the lowest supply of 9 V",
            lambda: y.power_from_load_equivalents(20),
            status="derived",
        ),
    ]


def display_checks() -> list[Check]:
    """Checks of displays."""
    return [*_display_currents(), *_display_supplies(), *_network_rows()]


def _longest(name: str, multiple: float) -> float:
    return f.opening_time(f.FUSE_TYPES[name], 10.0, 10.0 * multiple)[1]


def _shortest(name: str, multiple: float) -> float:
    return f.opening_time(f.FUSE_TYPES[name], 10.0, 10.0 * multiple)[0]


def _withstand(area: float, insulation: str) -> float:
    return 1e-3 * math.sqrt(f.conductor_i2t(area * 1e-6, insulation))


def _glass_fuses() -> list[Check]:
    """A glass fuse."""
    return [
        Check(
            "glass fuse at 110 %: shortest time",
            "fuse",
            _GLASS,
            4.0,
            0.01,
            "h",
            "circular: a printed limit is the band's edge",
            lambda: _shortest("glass fast", 1.10) / _HOUR,
        ),
        Check(
            "glass fuse at 135 %: longest time",
            "fuse",
            _GLASS,
            60.0,
            0.1,
            "min",
            "circular: a printed limit is the band's edge",
            lambda: _longest("glass fast", 1.35) / 60.0,
        ),
        Check(
            "glass fuse at 200 %: longest time",
            "fuse",
            _GLASS,
            5.0,
            0.01,
            "s",
            "circular: a printed limit up to 2 A is the band's edge for every rating",
            partial(_longest, "glass fast", 2.0),
        ),
        Check(
            "glass fuse 5 A: warm over cold resistance",
            "fuse",
            _GLASS,
            1.0,
            0.8,
            "-",
            "0.0205 ohm is printed cold; the element runs hundreds of kelvin hotter at its rating and copper alloys "
            "gain up to 80 %",
            lambda: f.fuse_resistance(f.FUSE_TYPES["glass fast"], 5.0) / 0.0205,
            sense="at least",
        ),
    ]


def _wires() -> list[Check]:
    """Wire behind a fuse, and repeated pulses."""
    return [
        Check(
            "share of melting I2t for 100 000 pulses",
            "fuse",
            "fuse maker's selection guide p. 12",
            22.0,
            0.5,
            "%",
            "circular: carried; last digit",
            lambda: 100.0 * f.PULSE_SHARE_100000,
        ),
        Check(
            "10 mm2 in PVC, one second",
            "conductor",
            _WITHSTAND,
            1.15,
            0.005,
            "kA",
            "last digit",
            partial(_withstand, 10.0, "PVC 70"),
        ),
    ]


def _blade_fuses() -> list[Check]:
    """Blade fuses, from memory."""
    return [
        Check(
            "blade fuse at 135 %: longest time",
            "fuse",
            "SAE J1284 and ISO 8820-3",
            600.0,
            1.0,
            "s",
            "circular: the limit is carried",
            partial(_longest, "blade", 1.35),
            status="memory",
        ),
        Check(
            "blade fuse at 200 %: longest time",
            "fuse",
            "SAE J1284 and ISO 8820-3",
            5.0,
            0.01,
            "s",
            "circular: the limit is carried",
            partial(_longest, "blade", 2.0),
            status="memory",
        ),
    ]


def fuse_checks() -> list[Check]:
    """Checks of fuses and of the wire behind them."""
    return [*_glass_fuses(), *_wires(), *_blade_fuses()]
