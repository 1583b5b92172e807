# SPDX-License-Identifier: GPL-3.0-or-later
"""Relays and diodes: coil and pick-up with heat, kicks by suppression, forward points hot and cold."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from functools import partial

from cranksag.parts import coil
from cranksag.parts import diode as d
from cranksag.parts import relay as r
from cranksag.validate import bench
from cranksag.validate.records import Check, band

_HEAT = "relay maker's application note, temperature considerations for DC relays (90 ohm, 6.5 V at 20 degC)"
_MEASURED = "electro-tech-online.com thread 167257, own oscilloscope, coil of about 120 ohm"
_CLAMPS = "application note AN070710, coil transient test of a 24 V relay"
_DATA_5822 = "data sheets 1N5820-1N5822 of four makers, maxima at 25 degC"
_DATA_MBRM = "data sheet MBRM560 (5 A: typical 0.65 V at 25 degC, 0.56 V at 125 degC)"
_DATA_25 = "data sheet MBRS25H45CT, maxima at 12.5 and 25 A, 25 and 125 degC (dtsheet.com 348426)"
SET_1N5822 = d.DiodeModel(15e-6, 1.25, 30e-3, exponent=d.SCHOTTKY_EXPONENT, gap=d.SCHOTTKY_GAP, breakdown=40.0)
_PUBLIC_SET = "a public SPICE set of a typical part; makers' maxima lie up to a third above the typical part"
_SHARE_RESISTIVE = 0.18  # [-] of the forward drop at rated current, as in the public 1N5822 set


def _relay(temperature: float, suppression: coil.Suppression | None = None) -> r.RelayCircuit:
    """The 90 ohm relay that picks up at 6.5 V when at 20 degC."""
    return r.relay_circuit(90.0, 6.5, 2.4, 5e-3, 3e-3, 12.0, temperature, 2e-3, suppression=suppression)


def _pick_up(temperature: float) -> float:
    return bench.relay_pick_up(_relay(temperature), 12.0)


def _hot_coil() -> float:
    return coil.coil_resistance(290.0 / coil.coil_resistance(1.0, 25.0), 125.0)


def _coil(resistance: float, rated: float, suppression: coil.Suppression) -> r.RelayCircuit:
    return r.relay_circuit(
        resistance, 0.55 * rated, 0.2 * rated, 10e-3, 5e-3, rated, 20.0, 2e-3, suppression=suppression
    )


def _current(resistance: float, suppressed: bool) -> float:
    """Coil current at 12 V [mA], with a 680 ohm resistor across the coil where asked."""
    relay = _coil(resistance, 12.0, coil.Suppression("resistor", resistance=680.0))
    return 1e3 * bench.coil_current(relay, 12.0, suppressed)


def _kick(resistance: float, rated: float, suppression: coil.Suppression) -> float:
    return bench.relay_kick(_coil(resistance, rated, suppression), rated)


def _clamped() -> float:
    """A 5.1 V zener behind the note's own diode: its 0.875 V is carried by the model's zener voltage."""
    return bench.relay_kick(_coil(1200.0, 24.0, coil.Suppression("zener", zener_voltage=5.1)), 24.0)


def _pick_up_rows() -> list[Check]:
    """Coil and pick-up with heat."""
    return [
        Check(
            "90 ohm relay, pick-up with the coil at 85 degC, by ramp",
            "relay",
            _HEAT,
            8.16,
            0.02,
            "V",
            "last digit, and the ramp's step",
            partial(_pick_up, 85.0),
            status="derived",
            spice=True,
        ),
        Check(
            "90 ohm relay, pick-up with the coil at -40 degC, by ramp",
            "relay",
            _HEAT,
            4.97,
            0.02,
            "V",
            "last digit, and the ramp's step",
            partial(_pick_up, -40.0),
            status="derived",
            spice=True,
        ),
        Check(
            "290 ohm at 25 degC, the coil at 125 degC",
            "relay",
            "relay maker's application note 102",
            403.31,
            2.0,
            "ohm",
            "0.5 %: the note rounds the slope of copper",
            _hot_coil,
        ),
    ]


def _coil_rows() -> list[Check]:
    """Coil currents."""
    return [
        Check(
            "coil current of a 103 ohm relay at 12 V",
            "relay",
            "data sheet of a 40 A mini relay (117 mA, 1.4 W)",
            117.0,
            0.5,
            "mA",
            "circular: 103 ohm is this figure's own reciprocal; last digit",
            partial(_current, 103.0, False),
            status="derived",
            spice=True,
        ),
        Check(
            "the same with the resistor across its coil",
            "relay",
            "data sheet of a 40 A mini relay (134 mA)",
            134.0,
            2.0,
            "mA",
            "the 680 ohm of the maker's advice is an E12 value",
            partial(_current, 103.0, True),
            spice=True,
        ),
    ]


def _kick_rows() -> list[Check]:
    """Kicks by suppression."""
    kick, half = band(1000.0, 1500.0)
    return [
        Check(
            "kick of a 120 ohm coil beside 680 ohm",
            "relay",
            _MEASURED,
            65.0,
            5.2,
            "V",
            "8 %: read off a screen",
            partial(_kick, 120.0, 12.0, coil.Suppression("resistor", resistance=680.0)),
            spice=True,
        ),
        Check(
            "kick of a bare 12 V coil",
            "relay",
            "relay maker's application note 13C3311 (1000 to 1500 V)",
            kick,
            half,
            "V",
            "the printed band",
            partial(_kick, 90.0, 12.0, coil.Suppression("none")),
            sense="band",
            spice=True,
            miss="the resistor that stands for the opening contact's arc is sized for the band's lower end, and the "
            "arc takes some per cent of the current before the peak",
        ),
        Check(
            "kick across a diode",
            "relay",
            _CLAMPS,
            0.875,
            0.15,
            "V",
            "diodes of one kind differ by 0.1 V",
            partial(_kick, 1200.0, 24.0, coil.Suppression("diode")),
            spice=True,
        ),
        Check(
            "kick across a 5.1 V zener and a diode",
            "relay",
            _CLAMPS,
            6.1,
            0.31,
            "V",
            "5 %: the zener's own tolerance",
            _clamped,
            spice=True,
        ),
    ]


def relay_checks() -> list[Check]:
    """Checks of relays."""
    return [*_pick_up_rows(), *_coil_rows(), *_kick_rows()]


def _forward(model: d.DiodeModel, current: float, temperature: float) -> float:
    return bench.forward_voltage(d.diode_circuit(model, temperature), current)


def _hot_from_one_point(current: float, cold: float, hot: float) -> float:
    """Forward voltage at a junction temperature from one point at 25 degC."""
    model = d.fit_diode(
        [(current, cold)],
        25.0,
        1.25,
        d.SCHOTTKY_EXPONENT,
        d.SCHOTTKY_GAP,
        series_resistance=_SHARE_RESISTIVE * cold / current,
    )
    return _forward(model, current, hot)


def _hot_from_two_points(points: Sequence[tuple[float, float]], current: float) -> float:
    """Forward voltage at 125 degC from two points at 25 degC, emission 1.05."""
    model = d.fit_diode(points, 25.0, 1.05, d.SCHOTTKY_EXPONENT, d.SCHOTTKY_GAP)
    return _forward(model, current, 125.0)


def _silicon() -> float:
    """The public 1N4007 set at 3 A against the maxima of the larger 1N5400 family [V]."""
    return _forward(
        dataclasses.replace(
            SET_1N5822,
            saturation_current=90e-12,
            emission=1.4,
            series_resistance=40e-3,
            exponent=d.SILICON_EXPONENT,
            gap=d.SILICON_GAP,
        ),
        3.0,
        27.0,
    )


def _cold_rows() -> list[Check]:
    """Forward points at 25 degC."""
    return [
        Check(
            "1N5822 at 3 A, 25 degC",
            "diode",
            _DATA_5822,
            0.525,
            0.18,
            "V",
            f"a maximum, {_PUBLIC_SET}",
            partial(_forward, SET_1N5822, 3.0, 25.0),
            sense="at most",
            spice=True,
        ),
        Check(
            "1N5822 at 9.4 A, 25 degC",
            "diode",
            _DATA_5822,
            0.950,
            0.32,
            "V",
            f"a maximum, {_PUBLIC_SET}",
            partial(_forward, SET_1N5822, 9.4, 25.0),
            sense="at most",
            spice=True,
        ),
    ]


def _hot_rows() -> list[Check]:
    """Forward points when hot from cold ones."""
    cold_25 = ((12.5, 0.70), (25.0, 0.90))
    return [
        Check(
            "60 V 5 A Schottky at 125 degC from its 25 degC point",
            "diode",
            _DATA_MBRM,
            0.56,
            0.025,
            "V",
            "one point does not say which share of the drop is resistive, and the slope hangs on it",
            partial(_hot_from_one_point, 5.0, 0.65, 125.0),
            spice=True,
        ),
        Check(
            "45 V 20 A Schottky, 10 A at 125 degC from its 25 degC point",
            "diode",
            "data sheet SDB2045P (dtsheet.com 578762): maxima 0.54 and 0.50 V",
            0.50,
            0.04,
            "V",
            "maxima, not points of one diode; the resistive share is assumed",
            partial(_hot_from_one_point, 10.0, 0.54, 125.0),
            spice=True,
            miss="its printed maxima fall by 0.4 mV/K only, half of what other makers print; a maximum when hot is "
            "a guard band rather than a diode",
        ),
        Check(
            "25 A Schottky, 12.5 A at 125 degC from its 25 degC points",
            "diode",
            _DATA_25,
            0.60,
            0.05,
            "V",
            "maxima, not points of one diode",
            partial(_hot_from_two_points, cold_25, 12.5),
            spice=True,
        ),
        Check(
            "25 A Schottky, 25 A at 125 degC from its 25 degC points",
            "diode",
            _DATA_25,
            0.75,
            0.05,
            "V",
            "maxima, not points of one diode",
            partial(_hot_from_two_points, cold_25, 25.0),
            spice=True,
            miss="the model keeps the series resistance whatever the temperature; two maxima make it too large, and "
            "at this current it carries half the drop",
        ),
    ]


def _other_rows() -> list[Check]:
    """A silicon diode, and leakage."""
    silicon, half = band(0.95, 1.2)
    return [
        Check(
            "silicon diode at 3 A",
            "diode",
            "data sheets 1N5400-1N5408 of four makers (0.95 to 1.2 V)",
            silicon,
            half,
            "V",
            "the makers' spread",
            _silicon,
            sense="band",
            spice=True,
        ),
        Check(
            "step over which 1N5822 leakage doubles",
            "diode",
            _DATA_5822,
            22.6,
            0.1,
            "K",
            "circular: 2 mA at 25 degC and 20 mA at 100 degC give it; last digit",
            partial(d.leakage_doubling, 2e-3, 25.0, 20e-3, 100.0),
            status="derived",
            table=_DATA_5822,
        ),
    ]


def diode_checks() -> list[Check]:
    """Checks of diodes."""
    return [*_cold_rows(), *_hot_rows(), *_other_rows()]
