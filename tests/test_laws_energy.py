# SPDX-License-Identifier: GPL-3.0-or-later
"""Energy, charge and limiting cases on simulated boats."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import cumulative_trapezoid

from cranksag.examples import example_text
from cranksag.resolve.model import Bank
from cranksag.scenario import loads_scenario
from cranksag.simulate import simulate
from cranksag.verdict.results import Result
from tests.charge_transfer import charge_transfer
from tests.reference import laws
from tests.reference.cases import SHORT


def _simulated(example: str, **changes: str) -> Result:
    overrides = {key.replace("__", "."): value for key, value in changes.items()}
    return simulate(loads_scenario(example_text(example), example).with_overrides({**SHORT, **overrides}))


def test_the_starters_energy_goes_somewhere() -> None:
    """Electrical energy into the starter = heat + motion + friction + compression, over the whole of START.

    Motor: v i = R i^2 + Vb tanh(i/10) i + L i di/dt + k i w; shaft and engine as in `tests.reference.laws`; the
    clutch loses torque times slip. 1 %: the trapezoidal rule on the simulator's own points, 2 to 4 ms apart.
    """
    result = _simulated("restarting", engine__fires_after="never")
    boat, traces = result.boat, result.traces
    motor, engine, ratio = boat.motor, boat.engine, boat.gear_ratio
    chosen = (traces.time >= 0.4) & (traces.time <= 1.19)
    t = traces.time[chosen]
    s = {n: v[chosen] for n, v in traces.signals.items()}
    w, we, angle = s["motor_speed"], s["engine_speed"], s["crank_angle"]
    across = s["motor_stud"] - s["block"]
    i = s["starter_current"] - across / 100.0  # the damping resistor beside the motor
    constants = motor.field_constant_residual, motor.field_constant_saturated, motor.saturation_current
    k = np.array([laws.field_constant(x, *constants)[0] for x in i])
    torque = np.array([laws.clutch_torque(x) for x in w - ratio * we])
    resisting = engine.friction_torque, engine.breakaway_torque, engine.breakaway_speed, engine.friction_viscous
    friction = np.array([laws.engine_friction(x, *resisting) for x in we])
    power = {
        "heat": motor.resistance * i**2 + motor.brush_drop * np.tanh(i / 10.0) * i,
        "gear": (1.0 - motor.torque_share) * k * i * w,
        "shaft": (motor.friction_torque * np.tanh(w / 2.0) + motor.friction_viscous * w) * w,
        "clutch": torque * (w - ratio * we),
        "engine": friction * we,
    }
    pairs = ((engine.a1, engine.b1), (engine.a2, engine.b2), (engine.a3, engine.b3))

    def potential(theta: float) -> float:
        h = engine.order
        return sum(
            (-a * np.cos(n * h * theta) + b * np.sin(n * h * theta)) / (n * h) for n, (a, b) in enumerate(pairs, 1)
        )

    def change(values: np.ndarray) -> float:
        return float(values[-1] - values[0])

    stored = 0.5 * motor.inertia * change(w**2) + 0.5 * engine.inertia * change(we**2)
    stored += 0.5 * motor.inductance * change(i**2) + potential(float(angle[-1])) - potential(float(angle[0]))
    spent = sum(float(np.trapezoid(p, t)) for p in power.values()) + stored
    assert float(np.trapezoid(across * i, t)) == pytest.approx(spent, rel=0.01)


def test_the_sources_energy_is_all_accounted_for() -> None:
    """EMF energy = heat in the bank + polarisation stored + energy at the posts, to 0.1 %."""
    result = _simulated("restarting")
    battery, traces = result.boat.battery, result.traces
    chosen = traces.time >= 0.0
    t, current = traces.time[chosen], -traces.signals["battery_current"][chosen]
    posts = traces.signals["battery"][chosen]
    ohm, tau = battery.resistance_slow, battery.time_slow
    rise = cumulative_trapezoid(np.exp((t - t[-1]) / tau) * current, t, initial=0.0) * np.exp((t[-1] - t) / tau)
    slow = rise * ohm / tau
    transfer = charge_transfer(battery, t, current, t)
    leaking = battery.activation_current * np.sinh(transfer / battery.activation_voltage)
    heat = battery.resistance_instant * current**2 + slow**2 / ohm + transfer * leaking
    stored = 0.5 * tau / ohm * slow[-1] ** 2 + 0.5 * battery.activation_capacitance * transfer[-1] ** 2
    given = battery.open_circuit_voltage * float(np.trapezoid(current, t))
    spent = float(np.trapezoid(heat, t)) + stored + float(np.trapezoid(posts * current, t))
    assert given == pytest.approx(spent, rel=1e-3)


def _held(capacitance: str, power: str, load: str | None) -> tuple[Result, Bank]:
    """A reservoir straight at the display, cut off from the feed while the key is in START."""
    text = example_text("reservoir")
    if load is not None:
        text += f'\n[[loads]]\nname = "test"\nat = "display supply"\ncurrent = "{load}"\n'
    overrides = {
        **SHORT, "feed.dead_in_start": "true", "hold_up.capacitance": capacitance, "hold_up.inrush_limit": "none",
        "hold_up.bleed": "none", "hold_up.esr": "1 mohm", "hold_up.leakage": "0 A", "displays.0.brownout": "4 V",
        "displays.0.restarts_above": "5 V", "displays.0.power": power, "displays.0.boot_power": power,
        "displays.0.reset_power": "0 W", "displays.0.converter_minimum": "3 V", "displays.0.input_capacitance": "1 uF",
        "crank.key_on_before": "0.5 s",
    }  # fmt: skip
    result = simulate(loads_scenario(text, "reservoir").with_overrides(overrides))
    assert isinstance(result.boat.hold_up, Bank)
    return result, result.boat.hold_up


def _time_between(result: Result, high: float, low: float) -> float:
    t, v = result.traces.time, result.traces.signals["display"]
    held = (t > 0.51) & (t < 1.29)
    return float(np.interp(-low, -v[held], t[held]) - np.interp(-high, -v[held], t[held]))


def test_constant_power_hold_up_time() -> None:
    """t = C (V1^2 - V2^2) / (2 P), the textbook hold-up time; 0.5 %: ESR and the feed diode's leakage."""
    result, hold = _held("100 mF", "8 W", None)
    wanted = hold.bank.capacitance * (10.5**2 - 8.5**2) / (2.0 * 8.0)
    assert _time_between(result, 10.5, 8.5) == pytest.approx(wanted, rel=5e-3)


def test_constant_current_hold_up_time() -> None:
    """t = C dV / I; the display takes a tenth of a watt beside the 2 A."""
    result, hold = _held("100 mF", "0.1 W", "2 A")
    wanted = hold.bank.capacitance * 2.0 / (2.0 + 0.1 / 9.0)
    assert _time_between(result, 10.0, 8.0) == pytest.approx(wanted, rel=5e-3)


def test_the_reservoirs_charge_balances() -> None:
    """C dV = integral of the bank's current less its leakage, over START, to 1 % of the charge moved."""
    result = _simulated("reservoir", crank__key_on_before="0.9 s")
    hold, traces = result.boat.hold_up, result.traces
    assert isinstance(hold, Bank)
    chosen = (traces.time > 0.9) & (traces.time < 1.69)
    t, current = traces.time[chosen], traces.signals["bank_current"][chosen]
    inside = traces.signals["hold_up"][chosen] - hold.bank.esr * current
    leak = 1.0 / hold.bank.leakage_resistance + (1.0 / hold.bleed if hold.bleed else 0.0)
    moved = float(np.trapezoid(current - leak * inside, t))
    through = float(np.trapezoid(np.abs(current), t))
    assert hold.bank.capacitance * float(inside[-1] - inside[0]) == pytest.approx(moved, abs=0.01 * through)


def test_a_feed_of_no_length_shows_the_source() -> None:
    """One centimetre of 4/0 cable without joints: the battery's posts less the key's 1 mohm, to 0.5 mV on average."""
    result = _simulated(
        "restarting", feed__from="battery", feed__return_to="battery negative", feed__length="1 cm",
        feed__size="4/0 AWG", feed__joints="0 ohm", feed__return_joints="0 ohm",
    )  # fmt: skip
    later = result.traces.time > 0.4
    t, s = result.traces.time[later], {n: v[later] for n, v in result.traces.signals.items()}
    apart = s["battery"] - s["display"] - 1e-3 * s["feed_current"]
    assert float(np.trapezoid(np.abs(apart), t) / np.ptp(t)) < 5e-4


def test_a_huge_battery_does_not_sag() -> None:
    """Eight strings of 3 kA: the posts lose less than 5 % while they crank."""
    result = _simulated("restarting", battery__rating="3000 A", battery__in_parallel="8", battery__health="100 %")
    assert result.battery.minimum_voltage > 0.95 * result.battery.open_circuit_voltage


def test_a_display_that_draws_nothing_shows_the_tap() -> None:
    """0.1 W and no other load on the harness: the display follows the stud less the block, to 50 mV mean."""
    text = example_text("restarting")
    cut = text[: text.index("[[loads]]")] + text[text.index("[[displays]]") :]
    overrides = {**SHORT, "displays.0.power": "0.1 W", "displays.0.boot_power": "0.1 W"}
    result = simulate(loads_scenario(cut, "restarting").with_overrides(overrides))
    t, s = result.traces.time, result.traces.signals
    window = (t > 0.5) & (t < 1.1)
    apart = (s["starter_stud"] - s["block"] - s["display"])[window]
    assert abs(float(np.trapezoid(apart, t[window]) / np.ptp(t[window]))) < 0.05
