# SPDX-License-Identifier: GPL-3.0-or-later
"""How long a charged capacitor feeds a load while its voltage falls from one value to another. SI units."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from cranksag.parts.diode import Array, DiodeCircuit, circuit_voltage
from cranksag.parts.display import DisplayCircuit

__all__ = [
    "Discharge",
    "bank_ride_through",
    "capacitance_for_constant_power",
    "hold_up_constant_current",
    "hold_up_constant_power",
    "hold_up_power_with_esr",
    "internal_voltage",
    "pins_floor",
    "voltage_floor",
]

# Numerical [-]: points of the integral from the start to the floor; halvings and substitutions at each.
POINTS = 513
HALVINGS = 60
SUBSTITUTIONS = 60
# Numerical [-]: a start above its floor by no more than this share of it carries for no time.
NARROW = 1e-9


@dataclass(frozen=True, slots=True)
class Discharge:
    """A charged bank and the way out of it to the displays' pins.

    capacitance [F]; esr : of the bank with its fuse [ohm]; leakage_resistance : leakage, balancing and bleed together,
    behind the ESR [ohm]; diode : discharge diode or None; bypass : resistance beside the diode, such as a charging
    resistor, infinite for none, or in its place [ohm].
    """

    capacitance: float
    esr: float
    leakage_resistance: float = math.inf
    diode: DiodeCircuit | None = None
    bypass: float = math.inf


def hold_up_constant_current(
    capacitance: float, start_voltage: float, end_voltage: float, current: float, esr: float = 0.0
) -> float:
    """Hold-up time at constant current: t = C (V1 - V2 - I ESR) / I.

    Parameters
    ----------
    capacitance : [F]
    start_voltage : charged, at rest [V]
    end_voltage : lowest voltage at the terminals under load [V]
    current : [A]
    esr : [ohm]

    Returns
    -------
    time [s]; zero if the ESR step alone is too much, infinite without a load

    Examples
    --------
    0.22 F from 3.0 to 1.6 V at 1 uA, a clock backup: 308 000 s.

    >>> round(hold_up_constant_current(0.22, 3.0, 1.6, 1e-6))
    308000
    """
    if current <= 0.0:
        return math.inf
    return capacitance * max(start_voltage - end_voltage - current * esr, 0.0) / current


def hold_up_constant_power(
    capacitance: float, start_voltage: float, end_voltage: float, power: float, efficiency: float = 1.0
) -> float:
    """Hold-up time at constant power without ESR: t = eta C (V1^2 - V2^2) / (2 P).

    Parameters
    ----------
    capacitance : [F]
    start_voltage, end_voltage : [V]
    power : drawn by the load [W]
    efficiency : of a converter between capacitor and load [-]

    Returns
    -------
    time [s]; infinite without a load

    References
    ----------
    Hold-up capacitor selection for military and avionics converters, Electronic Products, equation for C.
    """
    if power <= 0.0:
        return math.inf
    return 0.5 * efficiency * capacitance * max(start_voltage**2 - end_voltage**2, 0.0) / power


def capacitance_for_constant_power(
    time: float, start_voltage: float, end_voltage: float, power: float, efficiency: float = 1.0
) -> float:
    """Capacitance that holds a constant power for a time, without ESR [F].

    Parameters
    ----------
    time : [s]
    start_voltage, end_voltage : [V]
    power : drawn by the load [W]
    efficiency : of a converter between capacitor and load [-]

    Returns
    -------
    capacitance [F]

    Raises
    ------
    ValueError
        If the end voltage is not below the start voltage.

    Examples
    --------
    100 W for 20 ms between 400 and 300 V: 57.1 uF.

    >>> round(1e6 * capacitance_for_constant_power(20e-3, 400.0, 300.0, 100.0), 1)
    57.1
    """
    if not 0.0 <= end_voltage < start_voltage:
        raise ValueError("the end voltage must be below the start voltage")
    return 2.0 * power * time / (efficiency * (start_voltage**2 - end_voltage**2))


def internal_voltage(terminal_voltage: float, power: float, esr: float) -> float:
    """Voltage behind the ESR when the terminals deliver a power at a voltage: V = u + P ESR / u.

    Parameters
    ----------
    terminal_voltage : above zero [V]
    power : [W]
    esr : [ohm]

    Returns
    -------
    voltage [V]
    """
    return terminal_voltage + power * esr / terminal_voltage


def voltage_floor(power: float, esr: float) -> float:
    """Lowest internal voltage at which a power can still be drawn through an ESR: 2 sqrt(P ESR).

    Parameters
    ----------
    power : [W]
    esr : [ohm]

    Returns
    -------
    voltage [V]
    """
    return 2.0 * math.sqrt(power * esr)


def hold_up_power_with_esr(
    capacitance: float, start_voltage: float, end_voltage: float, power: float, esr: float
) -> float:
    """Hold-up time at constant power with ESR, exact.

    t = C / (4 P) [F(V1) - F(V2)],  F(V) = V^2 + V s - 4 P R ln(V + s),  s = sqrt(V^2 - 4 P R),

    the integral of C dV / i with i = (V - s) / (2 R). V1 and V2 are the voltages *behind* the ESR; for an end
    at the terminals pass internal_voltage(u, P, R). The end is raised to voltage_floor, below which the load
    collapses.

    Parameters
    ----------
    capacitance : [F]
    start_voltage : internal voltage when the load begins [V]
    end_voltage : internal voltage at the end [V]
    power : [W]
    esr : [ohm]

    Returns
    -------
    time [s]; infinite without a load, zero if the start cannot carry the load

    Examples
    --------
    >>> round(hold_up_power_with_esr(1.0, 12.0, 9.0, 5.0, 0.05), 4)
    6.2856
    """
    if power <= 0.0:
        return math.inf
    four = 4.0 * power * esr
    end = max(end_voltage, voltage_floor(power, esr))
    if start_voltage <= end:
        return 0.0

    def antiderivative(voltage: float) -> float:
        root = math.sqrt(max(voltage**2 - four, 0.0))
        log_term = four * math.log(voltage + root) if four > 0.0 else 0.0
        return voltage**2 + voltage * root - log_term

    return capacitance / (4.0 * power) * (antiderivative(start_voltage) - antiderivative(end))


def pins_floor(display: DisplayCircuit) -> float:
    """Lowest voltage at its pins at which a display still runs: its brown-out threshold, with the drop of its input
    diode where the threshold is behind that [V].

    Parameters
    ----------
    display : with the power it draws

    Returns
    -------
    voltage [V]
    """
    if display.at == "pins" or display.diode is None:
        return display.brownout
    return display.brownout + float(circuit_voltage(display.diode, _current(display, np.asarray(display.brownout))))


def bank_ride_through(
    bank: Discharge, start_voltage: float, displays: Sequence[DisplayCircuit], booting: Sequence[float] = ()
) -> float:
    """Time a bank alone feeds displays until the first of them browns out.

    C dV/dt + C_in du/dt = -(i + V / R_leak) with V = u + drop(i) + ESR i and u at the pins, integrated over u:
    t = integral of (C dV/du + C_in) / (i + V / R_leak) du. The current i is that of the displays, behind their own
    diodes, the drop that of the discharge diode with the resistance beside it. Ends at the highest floor of the
    displays, or earlier where the bank can no longer give the power.

    Parameters
    ----------
    bank : and the way out of it
    start_voltage : behind the ESR when the feed goes [V]
    displays : at least one, running
    booting : for how much longer each draws its boot power; none by default [s]

    Returns
    -------
    time [s]; infinite without any drain, zero if the start cannot carry the displays

    Examples
    --------
    >>> display = DisplayCircuit(5.0, 5.0, 0.5, 7.2, 9.0, "pins", 2e-3, 9.5, 12.0, 0.0, None, None)
    >>> round(bank_ride_through(Discharge(1.0, 0.0, bypass=0.0), 12.0, [display]), 4)
    6.3
    """
    if bank.diode is None and math.isinf(bank.bypass):
        return 0.0
    left = [*booting, *[0.0] * (len(displays) - len(booting))]
    elapsed, voltage = 0.0, start_voltage
    while True:
        drawing = [
            dataclasses.replace(d, power=d.boot_power) if rest > elapsed else d
            for d, rest in zip(displays, left, strict=True)
        ]
        time, volts = _fall(bank, voltage, drawing)
        change = min((rest for rest in left if rest > elapsed), default=math.inf)
        if elapsed + float(time[-1]) <= change:
            return elapsed + float(time[-1])
        voltage = float(np.interp(change - elapsed, time, volts))
        elapsed = change


def _current(display: DisplayCircuit, inside: Array) -> Array:
    """Current of a display at the voltage behind its diode; `input_current` for arrays of voltages above zero [A]."""
    least = display.converter_minimum
    return np.asarray(display.power * np.minimum(1.0 / inside, inside / least**2))


def _inside(display: DisplayCircuit, pins: Array) -> Array:
    """Voltage behind a display's diode [V]; not below its threshold or converter, where it stops to matter."""
    if display.diode is None:
        return pins
    inside = pins
    lowest = display.brownout if display.at == "internal" else display.converter_minimum
    for _ in range(SUBSTITUTIONS):
        inside = np.maximum(pins - circuit_voltage(display.diode, _current(display, inside)), min(lowest, pins.min()))
    return inside


def _drop(bank: Discharge, current: Array) -> Array:
    """Voltage across the discharge diode and what lies beside it [V]."""
    if bank.diode is None:
        return current * bank.bypass
    if bank.bypass <= 0.0:
        return 0.0 * current
    low, high = 0.0 * current, current
    for _ in range(HALVINGS if math.isfinite(bank.bypass) else 0):
        middle = 0.5 * (low + high)
        much = middle + circuit_voltage(bank.diode, middle) / bank.bypass > current
        low, high = np.where(much, low, middle), np.where(much, middle, high)
    return circuit_voltage(bank.diode, high)


def _fall(bank: Discharge, start_voltage: float, displays: Sequence[DisplayCircuit]) -> tuple[Array, Array]:
    """Times [s] and voltages behind the ESR [V] from the start to the floor; one point if there is no way."""
    floor = max(pins_floor(d) for d in displays)
    nothing = np.zeros(1), np.full(1, start_voltage)
    if start_voltage <= floor:
        return nothing
    top = start_voltage
    for _ in range(2):  # the pins when the feed goes are read off a first grid
        pins = np.linspace(floor, top, POINTS)
        behind = [_inside(d, pins) for d in displays]
        current = np.sum([_current(d, w) for d, w in zip(displays, behind, strict=True)], axis=0)
        volts = pins + _drop(bank, current) + bank.esr * current
        first = int(np.argmin(volts))  # below it the bank cannot give the power
        if volts[first] >= start_voltage:
            return nothing
        top = float(np.interp(start_voltage, volts[first:], pins[first:]))
        if top - floor <= NARROW * floor:
            return nothing
    own = np.sum([d.input_capacitance * np.gradient(w, pins) for d, w in zip(displays, behind, strict=True)], axis=0)
    lost = current + volts / bank.leakage_resistance
    if not lost.any():
        return np.array([0.0, math.inf]), np.full(2, start_voltage)
    # the integral over V, with the bank's own share exact where V turns at its lowest
    steps = bank.capacitance * np.diff(volts) + 0.5 * (own[1:] + own[:-1]) * np.diff(pins)
    each = (steps * 0.5 * (1.0 / lost[1:] + 1.0 / lost[:-1]))[first:]
    return np.concatenate(([0.0], np.cumsum(each[::-1]))), volts[first:][::-1]
