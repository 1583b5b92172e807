# SPDX-License-Identifier: GPL-3.0-or-later
"""Relay: coil and temperature, operate and release in time, suppression, spreads, contact."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.optimize import brentq, least_squares

from cranksag.parts import coil as winding
from cranksag.parts import contact, relay
from cranksag.parts.coil import Suppression

KINDS = st.sampled_from(["diode", "zener", "resistor", "none"])
COILS = st.tuples(
    st.floats(20.0, 500.0),  # resistance [ohm]
    st.floats(0.05, 3.0),  # inductance [H]
    st.floats(0.05, 0.95),  # current at the end over current at the start
)


def _example(suppression: Suppression | None = None, temperature: float = 20.0) -> relay.RelayCircuit:
    """The 90 ohm relay of the V23076 data sheet, typical specimen."""
    return relay.relay_circuit(90.0, 5.9, 2.4, 5e-3, 3e-3, 12.0, temperature, 2e-3, suppression=suppression)


# --- against published figures ----------------------------------------------------------------------------


@pytest.mark.parametrize(("temperature", "resistance", "voltage"), [(85.0, 112.98, 8.16), (-40.0, 68.78, 4.97)])
def test_coil_and_pick_up_with_temperature(temperature: float, resistance: float, voltage: float) -> None:
    # "Temperature considerations for DC relays" (relay maker's application note): 90 ohm and 6.5 V at 20
    # degC, R = R20 (1 + 0.003929 (T - 20)), pick-up current constant. Tolerance: half the last digit.
    assert winding.coil_resistance(90.0, temperature) == pytest.approx(resistance, abs=0.005)
    assert winding.voltage_at_temperature(6.5, temperature) == pytest.approx(voltage, abs=0.005)


def test_coil_resistance_by_ratio_of_temperatures() -> None:
    # Relay maker's application note 102: 290 ohm at 25 degC is "403.31" ohm at 125 degC. The copper law by
    # ratio (234.5 + T) / (234.5 + T0) gives 401.75: the note rounds alpha. Ours 401.8; allowed 0.5 %.
    at_20 = 290.0 / winding.coil_resistance(1.0, 25.0)
    assert winding.coil_resistance(at_20, 125.0) == pytest.approx(403.31, rel=0.005)
    assert pytest.approx(-234.5, abs=0.1) == winding.ZERO_RESISTANCE_TEMPERATURE


def test_measured_kick_with_resistor() -> None:
    # electro-tech-online.com thread 167257, own measurement: coil of about 120 ohm beside 680 ohm, 12 V, "the
    # voltage peaked at around 65 V". Ours 68 V; the reading is from an oscilloscope, allowed 8 %.
    kick = winding.coil_kick_voltage(12.0 / 120.0, Suppression("resistor", resistance=680.0))
    assert kick == pytest.approx(65.0, rel=0.08)


def test_measured_release_with_diode_and_with_resistor() -> None:
    # Same measurement: 2.6 ms to open with the 680 ohm resistor, about 8 ms with a diode, whose current needs
    # 25 to 30 ms to die. The last gives the inductance (1.14 H), the two times together the one release
    # voltage that explains both: ours 5.7 V. It must lie in the published release window of such relays, 0.5
    # to 6 V (JIS D 5010 pattern data sheet). It is far above our typical 2.4 V and inside our spread.
    start = 12.0 / 120.0
    diode = Suppression("diode", diode_drop=0.7)
    resistor = Suppression("resistor", resistance=680.0)
    inductance = 27.5e-3 / winding.current_decay_time(1.0, 120.0, start, 0.0, diode)

    def excess(share: float) -> float:
        slow, quick = (
            winding.current_decay_time(inductance, 120.0, start, share * start, kind) for kind in (diode, resistor)
        )
        return slow - quick - (8e-3 - 2.6e-3)

    released = 12.0 * brentq(excess, 0.01, 0.99)
    assert 0.5 < released < 6.0
    assert winding.current_decay_time(inductance, 120.0, start, released / 120.0, resistor) < 2.6e-3
    spread = relay.must_release_spread(0.5, 7.0)
    assert spread.typical < released < spread.high


def test_measured_clamp_voltages() -> None:
    # AN070710, coil transient test of a 24 V relay: 0.875 V across a diode, "up to around 6.1 V" across a 5.1
    # V zener and a diode. The measured diode predicts the clamp: 5.98 V, 2 % less; a 5.1 V zener is a 5 %
    # part.
    drop = 0.875
    assert winding.coil_kick_voltage(0.02, Suppression("diode", diode_drop=drop)) == drop
    clamp = winding.coil_kick_voltage(0.02, Suppression("zener", diode_drop=drop, zener_voltage=5.1))
    assert clamp == pytest.approx(6.1, rel=0.05)
    assert drop == pytest.approx(winding.SUPPRESSION_DIODE_DROP, abs=0.1)


def test_release_times_by_suppression_from_memory() -> None:
    # Application note 13C3311 (from memory): release time in ms of a 55 ohm class coil under different
    # suppression. Three unknowns (L, release current, travel) are fitted to three rows; the five other
    # resistors are predicted within 8 % (ours 2.32 2.71 3.94 5.95 6.56), allowed 10 %: one decimal is
    # printed.
    fitted = {
        Suppression("none"): 1.5,
        Suppression("resistor", resistance=330.0): 3.2,
        Suppression("diode"): 9.8,
    }
    start = 12.0 / 55.0

    def release(values: np.ndarray, suppression: Suppression) -> float:
        inductance, share, travel = values
        decay = winding.current_decay_time(inductance, 55.0, start, share * start, suppression)
        return float(1e3 * decay + travel)

    fit = least_squares(
        lambda x: [release(x, kind) / time - 1.0 for kind, time in fitted.items()],
        [0.3, 0.3, 1.4],
        bounds=([0.01, 0.005, 0.5], [3.0, 0.98, 1.6]),
    )
    for kind, time in fitted.items():
        assert release(fit.x, kind) == pytest.approx(time, rel=1e-3)
    for resistance, time in {680.0: 2.3, 470.0: 2.8, 220.0: 3.7, 100.0: 5.5, 82.0: 6.1}.items():
        ours = release(fit.x, Suppression("resistor", resistance=resistance))
        assert ours == pytest.approx(time, rel=0.10), resistance
    # A miss, kept in sight: the note's 24 V zener row says 1.9 ms, ours is 2.65 ms. 0.4 ms after the
    # unsuppressed release would take a clamp of about 90 V in a coil that fits all resistor rows; the row is
    # from memory.
    zener = release(fit.x, Suppression("zener", zener_voltage=24.0))
    assert zener == pytest.approx(2.65, abs=0.1)
    assert zener > 1.9 * 1.3


def test_measured_coil_inductances_are_of_our_size() -> None:
    # elektroda.com topic 1062919 quoting a data sheet: a 275 ohm 12 V coil has 1.15 H open and 2.29 H closed.
    # Ours from a 15 ms operate time and 70 % must-operate (that type's data sheet, from memory) is 2.06 H:
    # between the two, since the armature closes meanwhile.
    ours = winding.inductance_from_operate_time(15e-3, 275.0, 12.0, 0.7 * 12.0 / 275.0)
    assert 1.15 < ours < 2.29
    # The same page: 43.6 mA stopped within 0.5 ms gives 199.7 V; energy is the bound of any such kick.
    assert winding.kick_voltage_bound(2.29, 43.6e-3, 100e-12) > 199.7


def test_unsuppressed_kick_inside_published_range() -> None:
    # 13C3311: a 12 V relay "may generate 1000 to 1500 V" at turn-off.
    kick = winding.coil_kick_voltage(0.13, Suppression("none"))
    assert kick == pytest.approx(1250.0, abs=250.0)


# --- against a second method ----------------------------------------------------------------------------


@given(coil=COILS, kind=KINDS)
def test_decay_agrees_with_integration(coil: tuple[float, float, float], kind: winding.SuppressionKind) -> None:
    resistance, inductance, share = coil
    start = 12.0 / resistance
    suppression = Suppression(kind)
    time = winding.current_decay_time(inductance, resistance, start, share * start, suppression)
    clamp = {"diode": 0.8, "zener": 24.8}.get(kind, 0.0)
    added = {"resistor": 680.0, "none": 1000.0 / start}.get(kind, 0.0)
    run = solve_ivp(
        lambda _, i: [-((resistance + added) * i[0] + clamp) / inductance],
        (0.0, time), [start], rtol=1e-10, atol=1e-14,
    )  # fmt: skip
    assert run.y[0, -1] == pytest.approx(share * start, rel=1e-6)


@given(coil=COILS, voltage=st.floats(6.0, 32.0))
def test_rise_agrees_with_integration(coil: tuple[float, float, float], voltage: float) -> None:
    resistance, inductance, share = coil
    current = share * voltage / resistance
    time = winding.current_rise_time(inductance, resistance, voltage, current)
    run = solve_ivp(
        lambda _, i: [(voltage - resistance * i[0]) / inductance], (0.0, time), [0.0], rtol=1e-10, atol=1e-14
    )
    assert run.y[0, -1] == pytest.approx(current, rel=1e-6)


def test_self_heating_agrees_with_fixed_point() -> None:
    temperature = 60.0
    for _ in range(200):
        temperature = 60.0 + 35.0 * 14.4**2 / winding.coil_resistance(90.0, temperature)
    assert winding.coil_temperature(90.0, 14.4, 60.0, 35.0) == pytest.approx(temperature, abs=1e-6)


# --- laws -----------------------------------------------------------------------------------------------


@given(cool=st.floats(-60.0, 180.0), step=st.floats(0.1, 100.0), resistance=st.floats(1.0, 1e4))
def test_hotter_coil_has_more_resistance_and_needs_more_volts(cool: float, step: float, resistance: float) -> None:
    assert winding.coil_resistance(resistance, cool + step) > winding.coil_resistance(resistance, cool)
    ratio = winding.voltage_at_temperature(7.0, cool) / winding.coil_resistance(resistance, cool)
    assert ratio == pytest.approx(7.0 / resistance, rel=1e-12)  # the pick-up current never moves


@given(voltage=st.floats(0.0, 32.0), ambient=st.floats(-40.0, 90.0), time=st.floats(0.0, 1e4))
def test_self_heating_bounds(voltage: float, ambient: float, time: float) -> None:
    steady = winding.coil_temperature(90.0, voltage, ambient)
    now = winding.coil_temperature(90.0, voltage, ambient, time=time)
    assert ambient <= now <= steady + 1e-9
    rise = winding.COIL_THERMAL_RESISTANCE * voltage**2 / winding.coil_resistance(90.0, steady)
    assert steady - ambient == pytest.approx(rise, rel=1e-9, abs=1e-9)


@given(coil=COILS)
def test_order_of_suppressions(coil: tuple[float, float, float]) -> None:
    resistance, inductance, share = coil
    start = 12.0 / resistance
    times = [
        winding.current_decay_time(inductance, resistance, start, share * start, Suppression(kind))
        for kind in ("none", "zener", "diode")
    ]
    assert times[0] < times[1] < times[2]


def test_diode_slows_release_and_never_operate() -> None:
    bare, slow = _example(), _example(Suppression("diode"))
    assert relay.release_time(bare, 12.0) == pytest.approx(3e-3, rel=1e-9)  # printed
    assert relay.release_time(slow, 12.0) > 2.0 * relay.release_time(bare, 12.0)
    assert relay.operate_time(slow, 12.0) == relay.operate_time(bare, 12.0) == pytest.approx(5e-3, rel=1e-9)


@given(temperature=st.floats(-40.0, 125.0))
def test_pick_up_threshold_of_the_circuit(temperature: float) -> None:
    circuit = _example(temperature=temperature)
    threshold = winding.voltage_at_temperature(5.9, temperature)
    assert math.isinf(relay.operate_time(circuit, threshold * 0.999))
    assert math.isfinite(relay.operate_time(circuit, threshold * 1.001))
    assert circuit.release_current < circuit.operate_current


@given(operate=st.floats(1.0, 24.0), share=st.floats(0.01, 0.6))
def test_spreads_are_ordered_and_keep_the_printed_limit(operate: float, share: float) -> None:
    pick_up = relay.must_operate_spread(operate)
    drop_out = relay.must_release_spread(share * operate, operate)
    assert pick_up.low < pick_up.typical < pick_up.high == operate  # must-operate is a maximum
    assert share * operate == drop_out.low <= drop_out.typical <= drop_out.high  # must-release a minimum
    assert drop_out.high < pick_up.high


def test_published_pick_up_inside_spread() -> None:
    # 6.5 V (application note) against the 6.9 V limit of the same coil (V23076 data sheet).
    spread = relay.must_operate_spread(6.9)
    assert spread.low < 6.5 < spread.high


@given(time=st.floats(1e-3, 50e-3), share=st.floats(0.2, 0.9))
def test_inductance_comes_back(time: float, share: float) -> None:
    current = share * 12.0 / 90.0
    inductance = winding.inductance_from_operate_time(time, 90.0, 12.0, current, 0.6)
    assert winding.current_rise_time(inductance, 90.0, 12.0, current) == pytest.approx(0.6 * time, rel=1e-9)


@given(inductance=st.floats(0.01, 3.0), current=st.floats(0.01, 1.0), capacitance=st.floats(1e-12, 1e-9))
def test_kick_bound_is_energy_balance(inductance: float, current: float, capacitance: float) -> None:
    kick = winding.kick_voltage_bound(inductance, current, capacitance)
    assert 0.5 * capacitance * kick**2 == pytest.approx(winding.coil_stored_energy(inductance, current), rel=1e-9)


def test_contact() -> None:
    # V23076 data sheet: 20 mV typical, 300 mV maximum at 10 A.
    assert contact.contact_resistance_from_drop(20e-3, 10.0) == pytest.approx(2e-3)
    assert contact.contact_drop(30.0, contact.contact_resistance_from_drop(0.3, 10.0)) == pytest.approx(0.9)
    assert contact.contact_inrush_use(240.0, 120.0) == 2.0


@pytest.mark.parametrize(
    "call",
    [
        lambda: winding.coil_resistance(0.0, 20.0),
        lambda: winding.coil_resistance(90.0, -235.0),
        lambda: relay.must_release_spread(7.0, 7.0),
        lambda: winding.inductance_from_operate_time(5e-3, 90.0, 6.0, 0.1),
        lambda: relay.relay_circuit(90.0, 2.0, 5.0, 5e-3, 3e-3, 12.0, 20.0, 1e-3),
        lambda: Suppression("varistor"),  # type: ignore[arg-type]
        lambda: Suppression("resistor", resistance=0.0),
        lambda: winding.current_decay_time(1.0, 90.0, 0.1, 0.0, Suppression("resistor")),
        lambda: contact.contact_inrush_use(1.0, 0.0),
        lambda: winding.coil_temperature(90.0, 12.0, 20.0, time=-1.0),
    ],
)
def test_refusals(call: object) -> None:
    with pytest.raises(ValueError):
        call()  # type: ignore[operator]
