# SPDX-License-Identifier: GPL-3.0-or-later
"""Diode: SPICE law against ngspice and published points, fits, leakage, junction temperature, surge."""

from __future__ import annotations

import math
import re
import shutil
import subprocess
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from cranksag.parts import diode, diode_heat
from cranksag.parts.diode import DiodeModel

# SPICE sets in public use, at 27 degC.
SET_1N5822 = DiodeModel(15e-6, 1.25, 30e-3, exponent=2.0, gap=0.69, breakdown=40.0)
SET_1N5822_FALSE = DiodeModel(1e-12, 1.5, 50e-3)
SET_1N5817 = DiodeModel(31.7e-6, 1.373, 51e-3, exponent=2.0, gap=0.69, breakdown=20.0)
SET_1N5817_PLAIN = DiodeModel(2.835e-6, 1.0, 47.1e-3, exponent=0.0)
SET_1N4007 = DiodeModel(90e-12, 1.4, 40e-3)

MODELS = st.builds(
    DiodeModel,
    saturation_current=st.floats(1e-14, 1e-4),
    emission=st.floats(1.0, 2.0),
    series_resistance=st.floats(0.0, 0.1),
    exponent=st.sampled_from([2.0, 3.0]),
    gap=st.sampled_from([0.69, 1.11]),
)


# --- against published figures ----------------------------------------------------------------------------


@pytest.mark.parametrize(("current", "limit"), [(3.0, 0.525), (9.4, 0.950)])
def test_public_1n5822_set_stays_under_the_data_sheet(current: float, limit: float) -> None:
    # Data sheets of four makers, 1N5822, maximum forward voltage at 25 degC. A typical part is below the
    # maximum and not below two thirds of it.
    assert 0.66 * limit < diode.forward_voltage(SET_1N5822, current, 25.0) < limit


def test_false_1n5822_set_is_told_apart() -> None:
    # The other public set gives 1.27 V at 3 A where the data sheet allows 0.525 V: it is no Schottky diode.
    assert diode.forward_voltage(SET_1N5822_FALSE, 3.0, 25.0) > 2.0 * 0.525


@pytest.mark.parametrize(
    ("model", "voltages"),
    [
        (SET_1N5822, (0.288, 0.389, 0.485, 0.714)),
        (SET_1N5822_FALSE, (0.988, 1.122, 1.265, 1.629)),
        (SET_1N5817, (0.291, 0.419, 0.560, 0.927)),
        (SET_1N5817_PLAIN, (0.276, 0.378, 0.500, 0.831)),
        (SET_1N4007, (0.758, 0.878, 0.997, 1.295)),
    ],
)
def test_spice_sets_by_hand(model: DiodeModel, voltages: tuple[float, ...]) -> None:
    # N Vt ln(1 + I / IS) + I RS at 0.1, 1, 3 and 9.4 A, 27 degC, worked by hand. Tolerance: 1 mV, the last
    # digit.
    for current, voltage in zip((0.1, 1.0, 3.0, 9.4), voltages, strict=True):
        assert diode.forward_voltage(model, current, 27.0) == pytest.approx(voltage, abs=1e-3)


@pytest.mark.parametrize(("name", "points"), [
    ("1N5820", ((1.0, 0.370), (3.0, 0.475), (9.4, 0.850))),
    ("1N5821", ((1.0, 0.380), (3.0, 0.500), (9.4, 0.900))),
    ("1N5822", ((1.0, 0.390), (3.0, 0.525), (9.4, 0.950))),
])  # fmt: skip
def test_fit_to_data_sheet_maxima(name: str, points: tuple[tuple[float, float], ...]) -> None:
    # The 3 and 9.4 A maxima are printed (four makers), the 1 A ones from memory. Maxima bend less than any
    # diode does, so no set meets all three; the fit stays at N = 1 and comes within 20 mV.
    model = diode.fit_diode(points, exponent=2.0, gap=0.69)
    assert model.emission == 1.0
    for current, voltage in points:
        assert diode.forward_voltage(model, current, 25.0) == pytest.approx(voltage, abs=20e-3), name


def test_forward_voltage_against_temperature() -> None:
    # MBRM560 data sheet: 5 A at 25 degC 0.65 V typical, 0.69 V maximum; at 125 degC 0.56 and 0.60 V: -0.9
    # mV/K. One point does not say which share of the drop is resistive, and the slope hangs on it: with 18 %
    # (share of the public 1N5822 set at its rated current) ours is -0.72 mV/K, so 18 mV too much at 125 degC;
    # allowed 25 mV.
    resistance = 0.18 * 0.65 / 5.0
    model = diode.fit_diode([(5.0, 0.65)], 25.0, 1.25, 2.0, 0.69, series_resistance=resistance)
    assert diode.forward_voltage(model, 5.0, 25.0) == pytest.approx(0.65, abs=1e-6)
    assert diode.forward_voltage(model, 5.0, 125.0) == pytest.approx(0.56, abs=25e-3)
    # Without that share the junction carries all and the slope is a third of the published one.
    bare = diode.fit_diode([(5.0, 0.65)], 25.0, 1.25, 2.0, 0.69)
    assert diode.forward_voltage(bare, 5.0, 125.0) > 0.56 + 50e-3


@pytest.mark.parametrize(("cool", "hot", "step"), [
    # 1N5820-22: 2 mA at 25 degC, 20 mA at 100 degC: tenfold in 75 K, twofold in 22.6 K.
    (2e-3, 20e-3, 22.6),
    # SB520-540: 0.5 and 50 mA: hundredfold in 75 K, twofold in 11.3 K.
    (0.5e-3, 50e-3, 11.3),
    # 1N5400-5408: 5 uA and 500 uA by one maker, 50 uA by another.
    (5e-6, 500e-6, 11.3),
    (5e-6, 50e-6, 22.6),
])  # fmt: skip
def test_leakage_of_published_pairs(cool: float, hot: float, step: float) -> None:
    found = diode.leakage_doubling(cool, 25.0, hot, 100.0)
    assert found == pytest.approx(step, abs=0.05)
    assert diode.leakage_current(cool, 25.0, found, 100.0) == pytest.approx(hot, rel=1e-9)


def test_surge_i2t() -> None:
    # 80 A half sine of 8.3 ms (1N5820-22, from memory): 26.6 A2 s, as makers print for such diodes.
    assert diode_heat.surge_i2t(80.0) == pytest.approx(26.6, abs=0.05)


# --- against ngspice --------------------------------------------------------------------------------------


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="needs the program of package ngspice")
@pytest.mark.parametrize("temperature", [-40.0, 25.0, 85.0, 125.0])
@pytest.mark.parametrize("model", [SET_1N5822, SET_1N5817, SET_1N4007], ids=["1N5822", "1N5817", "1N4007"])
def test_temperature_law_is_that_of_ngspice(model: DiodeModel, temperature: float, tmp_path: Path) -> None:
    deck = tmp_path / "diode.cir"
    deck.write_text(
        "diode\n"
        "I1 0 a 3\nD1 a 0 dm\nI2 0 b 1m\nD2 b 0 dm\n"
        f".model dm D(IS={model.saturation_current!r} N={model.emission!r} RS={model.series_resistance!r} "
        f"XTI={model.exponent!r} EG={model.gap!r})\n"
        f".options temp={temperature} reltol=1e-9 vntol=1e-12 abstol=1e-15\n"
        ".op\n.control\nrun\nset numdgt=9\nprint v(a) v(b)\n.endc\n.end\n"
    )
    done = subprocess.run(
        ["ngspice", "-b", "-n", str(deck)],
        capture_output=True,
        text=True,
        check=False,
        cwd=tmp_path,
        timeout=60,
    )
    found = {name: float(value) for name, value in re.findall(r"v\((\w)\) = (\S+)", done.stdout)}
    assert set(found) == {"a", "b"}, done.stdout + done.stderr
    # 20 uV: ngspice carries older values of k and q (k / q differs by 1e-6 and enters through EG / Vt) and
    # gmin.
    assert diode.forward_voltage(model, 3.0, temperature) == pytest.approx(found["a"], abs=20e-6)
    assert diode.forward_voltage(model, 1e-3, temperature) == pytest.approx(found["b"], abs=20e-6)


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="needs the program of package ngspice")
def test_circuit_parameters_replace_the_temperature_law(tmp_path: Path) -> None:
    # The netlist gives ngspice IS at the junction temperature and TNOM equal to it: no second law must act.
    circuit = diode.diode_circuit(SET_1N5822, 85.0)
    deck = tmp_path / "diode.cir"
    deck.write_text(
        "diode\nI1 0 a 3\nD1 a 0 dm\n"
        f".model dm D(IS={circuit.saturation_current!r} N={circuit.emission!r} "
        f"RS={circuit.series_resistance!r} TNOM=85)\n"
        ".options temp=85\n.op\n.control\nrun\nset numdgt=9\nprint v(a)\n.endc\n.end\n"
    )
    done = subprocess.run(
        ["ngspice", "-b", "-n", str(deck)],
        capture_output=True,
        text=True,
        check=False,
        cwd=tmp_path,
        timeout=60,
    )
    found = re.search(r"v\(a\) = (\S+)", done.stdout)
    assert found, done.stdout + done.stderr
    assert diode.forward_voltage(SET_1N5822, 3.0, 85.0) == pytest.approx(float(found[1]), abs=20e-6)


# --- laws -------------------------------------------------------------------------------------------------


@given(model=MODELS, current=st.floats(1e-6, 50.0), temperature=st.floats(-40.0, 150.0))
def test_current_is_the_inverse_of_voltage(model: DiodeModel, current: float, temperature: float) -> None:
    voltage = diode.forward_voltage(model, current, temperature)
    assert diode.forward_current(model, voltage, temperature) == pytest.approx(current, rel=1e-6)


@given(model=MODELS, current=st.floats(1e-3, 50.0), factor=st.floats(1.01, 10.0))
def test_more_current_more_voltage(model: DiodeModel, current: float, factor: float) -> None:
    assert diode.forward_voltage(model, factor * current, 25.0) > diode.forward_voltage(model, current, 25.0)


@given(model=MODELS, temperature=st.floats(-40.0, 140.0), step=st.floats(1.0, 50.0))
def test_saturation_current_rises_with_temperature(model: DiodeModel, temperature: float, step: float) -> None:
    hotter = diode.saturation_current(model, temperature + step)
    assert hotter > diode.saturation_current(model, temperature)
    assert diode.saturation_current(model, model.temperature) == pytest.approx(model.saturation_current)


@given(
    saturation=st.floats(1e-9, 1e-5), emission=st.floats(1.0, 2.0), resistance=st.floats(0.0, 0.1),
    temperature=st.floats(-20.0, 125.0),
)  # fmt: skip
def test_fit_brings_a_diode_back(saturation: float, emission: float, resistance: float, temperature: float) -> None:
    truth = DiodeModel(saturation, emission, resistance, temperature)
    points = [(i, diode.forward_voltage(truth, i, temperature)) for i in (0.3, 1.0, 3.0, 9.0)]
    model = diode.fit_diode(points, temperature)
    for current, voltage in points:
        # 0.1 mV: at 0.3 A the fit's "far above IS" is off by N Vt IS / I.
        assert diode.forward_voltage(model, current, temperature) == pytest.approx(voltage, abs=1e-4)


@given(model=MODELS, current=st.floats(0.0, 20.0), ambient=st.floats(-40.0, 85.0), thermal=st.floats(0.0, 40.0))
@example(DiodeModel(1e-6, 1.84375, 0.0, gap=0.69), 10.0, 0.0, 4.0)  # its loss rises before it falls
def test_junction_temperature_balances(model: DiodeModel, current: float, ambient: float, thermal: float) -> None:
    junction = diode_heat.junction_temperature(model, current, ambient, thermal)
    assert junction >= ambient - 1e-9
    heat = thermal * diode_heat.forward_loss(model, current, junction)
    if diode_heat.forward_loss(model, current, junction + 1.0) <= diode_heat.forward_loss(model, current, junction):
        assert junction - ambient == pytest.approx(heat, rel=1e-6, abs=1e-6)


@given(
    leakage=st.floats(1e-6, 50e-3), step=st.floats(8.0, 25.0), ambient=st.floats(-20.0, 100.0),
    thermal=st.floats(1.0, 80.0),
)  # fmt: skip
def test_blocking_diode_balances_or_runs_away(leakage: float, step: float, ambient: float, thermal: float) -> None:
    junction = diode_heat.reverse_junction_temperature(14.4, leakage, 25.0, step, ambient, thermal)

    def excess(temperature: float) -> float:
        return temperature - ambient - thermal * 14.4 * diode.leakage_current(leakage, 25.0, step, temperature)

    if math.isfinite(junction):
        assert excess(junction) == pytest.approx(0.0, abs=1e-6 * (1.0 + abs(junction)))
    else:
        assert max(excess(ambient + rise / 4.0) for rise in range(800)) <= 1e-9


def test_hot_schottky_runs_away_where_silicon_does_not() -> None:
    # SB540 (50 mA at 100 degC) against 1N5408 (500 uA), both blocking 28 V in a 95 degC place without heat
    # sink.
    assert math.isinf(diode_heat.reverse_junction_temperature(28.0, 0.5e-3, 25.0, 11.3, 95.0, 50.0))
    assert diode_heat.reverse_junction_temperature(28.0, 5e-6, 25.0, 11.3, 95.0, 50.0) < 97.0


@given(peak=st.floats(0.1, 500.0), time=st.floats(1e-5, 1e-2))
def test_pulse_i2t(peak: float, time: float) -> None:
    # Integral of I^2 exp(-2 t / tau) is I^2 tau / 2.
    assert diode_heat.pulse_i2t(peak, time) == pytest.approx(peak**2 * time / 2.0)
    assert diode_heat.surge_use(diode_heat.surge_i2t(80.0), 80.0) == pytest.approx(1.0)


@pytest.mark.parametrize(
    "call",
    [
        lambda: DiodeModel(0.0, 1.0, 0.0),
        lambda: DiodeModel(1e-6, 1.0, -1.0),
        lambda: diode.forward_voltage(SET_1N5822, -1.0, 25.0),
        lambda: diode.fit_diode([(3.0, 0.5), (9.4, 0.9)]),
        lambda: diode.fit_diode([(0.0, 0.5)], emission=1.0),
        lambda: diode.leakage_doubling(1e-3, 25.0, 1e-3, 100.0),
        lambda: diode.thermal_voltage(-300.0),
        lambda: diode_heat.surge_use(1.0, 0.0),
    ],
)
def test_refusals(call: object) -> None:
    with pytest.raises(ValueError):
        call()  # type: ignore[operator]
