# SPDX-License-Identifier: GPL-3.0-or-later
"""Capacitors, supercapacitors and standby packs: hold-up worked examples, data-sheet laws, cold and age."""

from __future__ import annotations

import math
from functools import partial

from cranksag.parts import capacitor as c
from cranksag.parts import pack as p
from cranksag.parts import pack_chemistry, ride_through
from cranksag.parts import supercapacitor as s
from cranksag.validate import bench
from cranksag.validate.records import Check, band

_TWL = "data sheet of a low-leakage radial electrolytic series (TWL)"
_BOARD = "demo manual DC1937B: 4 x 10 F in series, 25 W, 10 V down to 3 V in 3.2 s"
_CONTROLLER = "data sheet of a backup controller (LTC3350) p. 26, sizing at constant power with ESR"
_CELL_2000 = "data sheet of a 2.7 V 2000 F cell, 0.33 mohm (studylib.net 8810492)"
_CELL_5 = "data sheet of a 2.7 V 5 F cell, 45 mohm (scribd 704713119)"
_SEALED = "data sheet of a 12 V 40 Ah sealed lead battery (vinachem.com.vn)"
_ADVICE = "owners' advice of a diode and 10 or 22 mF ahead of a display, 1 A and 3 V of droop"
AMPERE_HOUR = 3600.0  # [C]
WATT_HOUR = 3600.0  # [J]
AGM = pack_chemistry.CHEMISTRIES["sealed lead AGM"]
IDEAL = 1e-9  # [ohm] where an example leaves ESR out


def _bank(capacitance: float, esr: float = IDEAL) -> c.CapacitorCircuit:
    return c.CapacitorCircuit(capacitance, esr, math.inf, math.inf)


def _avionics() -> float:
    """Hold-up of 25 mF on the low line of a 28 V bus, 22 V, 25 W down to the converter's 9 V [ms]."""
    return 1e3 * bench.hold_up(_bank(25e-3), 22.0, 9.0, 0.4, "power", 25.0)


def _bus() -> float:
    """57.1 uF, 100 W, 400 to 300 V [ms]."""
    return 1e3 * bench.hold_up(_bank(57.1e-6), 400.0, 300.0, 0.04, "power", 100.0)


def _exact() -> float:
    return bench.hold_up(_bank(1.0, 0.05), 12.0, 9.0, 8.0, "power", 5.0, behind_esr=True)


def _advice(capacitance: float) -> float:
    return 1e3 * bench.hold_up(_bank(capacitance), 12.0, 9.0, 0.2, "current", 1.0)


def _ten_millifarad(temperature: float) -> float:
    """ESR of 10 mF 25 V at a temperature [mohm]."""
    return 1e3 * c.capacitor_circuit(10e-3, 25.0, temperature).esr


def _impedance(temperature: float) -> float:
    """Impedance of 10 mF 25 V at 120 Hz and a temperature, as its circuit has it [ohm]."""
    can = c.capacitor_circuit(10e-3, 25.0, temperature)
    return math.hypot(can.esr, 1.0 / (2.0 * math.pi * 120.0 * can.capacitance))


def _large_can() -> float:
    return 1e3 * c.leakage_current(22e-3, 40.0, "large can")


def _hold_up_rows() -> list[Check]:
    """Worked examples of hold-up."""
    return [
        Check(
            "25 mF on a 28 V bus at its low line of 22 V: 25 W down to 9 V",
            "capacitor",
            "hold-up article in Electronic Products (25 W for 200 ms, converter 9-36 V: 25 000 uF)",
            200.0,
            4.0,
            "ms",
            "the figure is rounded to the next 1000 uF; the low line is our reading of it (28 V would ask 14 mF)",
            _avionics,
            spice=True,
            whole=True,
        ),
        Check(
            "57.1 uF on a 400 V bus: 100 W down to 300 V",
            "capacitor",
            "buffer-module article (infoneva.com)",
            20.0,
            0.05,
            "ms",
            "last digit of 57.1",
            _bus,
            spice=True,
            whole=True,
        ),
        Check(
            "10 mF, 1 A, 3 V of droop",
            "capacitor",
            _ADVICE,
            30.0,
            0.1,
            "ms",
            "arithmetic",
            partial(_advice, 10e-3),
            status="derived",
            spice=True,
            whole=True,
        ),
    ]


def _simple_hold_up_rows() -> list[Check]:
    """Hold-up by arithmetic and by closed integral."""
    return [
        Check(
            "22 mF, 1 A, 3 V of droop",
            "capacitor",
            _ADVICE,
            66.0,
            0.1,
            "ms",
            "arithmetic",
            partial(_advice, 22e-3),
            status="derived",
            spice=True,
            whole=True,
        ),
        Check(
            "1 F with 50 mohm, 5 W, 12 to 9 V behind the ESR",
            "capacitor",
            "closed integral of the constant-power discharge with ESR, integrated numerically as well",
            6.2856,
            0.002,
            "s",
            "the run's own steps",
            _exact,
            status="derived",
            spice=True,
        ),
        Check(
            "0.22 F clock backup, 1 uA, 3.0 to 1.6 V",
            "capacitor",
            "real-time clock article (blog.csdn.net 128259830)",
            308.0,
            0.5,
            "ks",
            "last digit",
            lambda: 1e-3 * ride_through.hold_up_constant_current(0.22, 3.0, 1.6, 1e-6),
        ),
    ]


def _electrolytic_rows() -> list[Check]:
    """ESR, life and leakage."""
    return [
        Check(
            "10 mF 25 V, largest ESR at 20 degC",
            "capacitor",
            _TWL,
            42.4,
            0.5,
            "mohm",
            "last digit of tan delta",
            partial(_ten_millifarad, 20.0),
            status="derived",
        ),
        Check(
            "10 mF 25 V, largest impedance at 120 Hz, -40 over 20 degC",
            "capacitor",
            _TWL,
            4.0,
            0.05,
            "times",
            "circular: the printed ratio is carried, as an ESR beside the reactance",
            lambda: _impedance(-40.0) / _impedance(20.0),
            status="derived",
        ),
        Check(
            "life at 45 degC of 2000 h at 85 degC",
            "capacitor",
            "capacitor maker's primer part 7 (twice for each 10 K)",
            32000.0,
            1.0,
            "h",
            "circular: the rule itself is carried",
            lambda: c.lifetime(2000.0, 85.0, 45.0),
            status="derived",
        ),
        Check(
            "leakage of a 22 mF 40 V can after 5 min",
            "capacitor",
            "data sheet of screw-terminal cans, 3 sqrt(C V) uA",
            2.81,
            0.01,
            "mA",
            "last digit",
            _large_can,
            status="derived",
        ),
    ]


def capacitor_checks() -> list[Check]:
    """Checks of electrolytic capacitors and of hold-up."""
    return [*_hold_up_rows(), *_simple_hold_up_rows(), *_electrolytic_rows()]


def _board(efficiency: float) -> float:
    """The demonstration board with the catalogue's 10 F cell (50 mohm) behind a converter [s]."""
    string = _bank(s.string_capacitance(10.0, 4), 4 * 50e-3)
    return bench.hold_up(string, 10.0, 3.0, 6.0, "power", 25.0 / efficiency)


def _bracket(share: float) -> float:
    """The controller's sizing equation turned round: hold-up in ngspice of the capacitance it asks for [s]."""
    voltage, power, time = 10.0, 25.0, 2.0
    esr = (1.0 - share) * voltage**2 / (4.0 * power)
    root = math.sqrt(share)
    bracket = share + root - (1.0 - share) * math.log((1.0 + root) / math.sqrt(1.0 - share))
    floor = ride_through.voltage_floor(power, esr)
    string = _bank(4.0 * power * time / voltage**2 / bracket, esr)
    return bench.hold_up(string, voltage, 1.0005 * floor, 2.0 * time, "power", power, behind_esr=True)


def _peak_current(capacitance: float, esr: float, current: float) -> float:
    """Voltage left after the printed peak current has flowed for its second; the sheets mean half of 2.7 V."""
    return bench.bank_voltage(_bank(capacitance, esr), 2.7, current, 1.0)


def _string_rows() -> list[Check]:
    """Strings at constant power."""
    return [
        Check(
            "boost board, 4 x 10 F, 25 W, converter 0.93",
            "supercapacitor",
            _BOARD,
            3.2,
            0.2,
            "s",
            "converter 0.90 to 0.96 by the controller's data sheet; the cells' ESR is not printed",
            partial(_board, 0.93),
            spice=True,
            whole=True,
        ),
        Check(
            "controller's sizing equation at 20 % of the power left",
            "supercapacitor",
            _CONTROLLER,
            2.0,
            0.03,
            "s",
            "the end lies on the knee, approached to 0.05 %",
            partial(_bracket, 0.8),
            status="derived",
            spice=True,
        ),
    ]


def _cell_rows() -> list[Check]:
    """Cells."""
    return [
        Check(
            "2000 F cell after its peak current of 1,620 A for 1 s",
            "supercapacitor",
            _CELL_2000,
            1.35,
            0.01,
            "V",
            "last digit of the current",
            partial(_peak_current, 2000.0, 0.33e-3, 1620.0),
            spice=True,
        ),
        Check(
            "5 F cell after its peak current of 5.5 A for 1 s",
            "supercapacitor",
            _CELL_5,
            1.35,
            0.02,
            "V",
            "last digit of the current",
            partial(_peak_current, 5.0, 45e-3, 5.5),
            spice=True,
        ),
        Check(
            "2000 F cell, usable power per kilogram",
            "supercapacitor",
            _CELL_2000,
            6.71,
            0.05,
            "kW/kg",
            "mass from its own 2.02 Wh and 5.12 Wh/kg, three digits each",
            lambda: 1e-3 * s.power_limit(2.7, 0.33e-3) / (2.02 / 5.12),
        ),
    ]


def _aging_rows() -> list[Check]:
    """End of life, and capacitance by discharge."""
    return [
        Check(
            "string at end of life: capacitance left",
            "supercapacitor",
            "makers' failure criteria (nanoramic.com FAQ: -20 %; atomfair.com: -30 %)",
            75.0,
            5.0,
            "%",
            "circular: the middle of the makers' spread is carried",
            lambda: 100.0 * s.end_of_life_factors(1.0)[0],
            sense="band",
            status="second hand",
        ),
        Check(
            "100 F cell, 80 to 40 % of 2.7 V at 1 A",
            "supercapacitor",
            "murata.com EDLC FAQ 0005, capacitance from discharge time",
            108.0,
            0.5,
            "s",
            "arithmetic",
            lambda: bench.hold_up(_bank(100.0), 2.16, 1.08, 160.0, "current", 1.0),
            status="derived",
            spice=True,
        ),
    ]


def supercapacitor_checks() -> list[Check]:
    """Checks of supercapacitors."""
    return [*_string_rows(), *_cell_rows(), *_aging_rows()]


def _charge_lost(months: int) -> float:
    return 100.0 * (1.0 - p.charge_after_rest(AGM, 1.0, months * p.MONTH, 20.0))


def _capacity(temperature: float) -> float:
    return 100.0 * pack_chemistry.capacity_factor(AGM, temperature)


def _at_largest_current() -> float:
    """Volts left of the full 40 Ah pack at its largest printed current of 160 A."""
    return bench.pack_voltage(p.pack_circuit(AGM, 6, 40.0 * AMPERE_HOUR, 1.0, 25.0), 0.0, 160.0)


def _rest_rows() -> list[Check]:
    """Capacity and loss at rest."""
    return [
        Check(
            "capacity left at 0 degC, between printed points",
            "pack",
            _SEALED,
            82.0,
            1.0,
            "%",
            "last digit",
            partial(_capacity, 0.0),
            status="derived",
        ),
        Check(
            "charge lost after two months at 20 degC",
            "pack",
            _SEALED,
            10.0,
            0.5,
            "%",
            "last digit; the first month is the anchor",
            partial(_charge_lost, 2),
        ),
        Check(
            "charge lost after three months at 20 degC",
            "pack",
            _SEALED,
            19.0,
            0.5,
            "%",
            "last digit",
            partial(_charge_lost, 3),
            miss="no constant rate gives 5, 10 and 19 %: the third month would lose as much as the first two together",
        ),
    ]


def _load_rows() -> list[Check]:
    """Under load, and full at rest."""
    low_loss, half_loss = band(3.0, 20.0)
    return [
        Check(
            "full 40 Ah pack at its largest current of 160 A",
            "pack",
            _SEALED,
            10.8,
            1.6,
            "V",
            "must stay above the discharge's end of 10.8 V and cannot exceed the voltage at rest",
            _at_largest_current,
            sense="at least",
            spice=True,
        ),
        Check(
            "flooded lead battery: charge lost in a month at 20 degC",
            "pack",
            "wungiel.pl, self-discharge 3-20 % a month",
            low_loss,
            half_loss,
            "%",
            "the printed band",
            lambda: 100.0 * (1.0 - p.charge_after_rest(pack_chemistry.CHEMISTRIES["vented lead"], 1.0, p.MONTH, 20.0)),
            sense="band",
        ),
    ]


def pack_checks() -> list[Check]:
    """Checks of standby packs."""
    return [*_rest_rows(), *_load_rows()]
