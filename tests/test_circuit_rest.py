# SPDX-License-Identifier: GPL-3.0-or-later
"""The boat at rest with the key off: a network solved by hand, by numpy, and stood still by ngspice."""

from __future__ import annotations

import dataclasses
import math
import re
from collections.abc import Mapping

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cranksag.circuit import build_circuit
from cranksag.circuit.network import THERMAL_VOLTAGE_DECK, RestElement, solve_rest
from cranksag.circuit.timing import PREROLL
from cranksag.errors import SimulationError
from cranksag.examples import example_names, example_text
from cranksag.resolve import resolve
from cranksag.scenario import Scenario, loads_scenario
from cranksag.simulate import simulate_boat
from cranksag.solver import get_solver

STILL = 1e-3  # [V] no node moves more than this before key-on

BOAT = """
title = "test boat"
[crank]
key_on_before = "100 ms"
key_held = "800 ms"
after = "200 ms"
[[displays]]
name = "helm"
power = "9 W"
"""
HOUSE = '[house]\nrating = "600 A"\nstate_of_charge = "60 %"\n'
SECOND = '[[displays]]\nname = "second"\npower = "15 W"\ninput_diode = true\nbrownout_at = "internal"\n'
ALWAYS = {"feed.key_terminal": "always"}
PACK = {"hold_up.branch": "standby pack"}
ASLEEP = {"displays.0.sense_threshold": "6 V", "displays.0.sense_from": "start signal"}

AT_REST = {
    "always, none": (ALWAYS, ""),
    "always, standby pack": (ALWAYS | PACK, ""),
    "always, changeover": (ALWAYS | PACK | {"hold_up.contact": "changeover"}, ""),
    "always, coil on the S terminal": (ALWAYS | PACK | {"hold_up.coil_at": "s terminal"}, ""),
    "always, no start relay": (ALWAYS | PACK | {"start_circuit.relay": "none"}, ""),
    "always, resistor across the coil": (ALWAYS | PACK | {"hold_up.suppression": "resistor"}, ""),
    "always, reservoir": (ALWAYS | {"hold_up.branch": "reservoir"}, ""),
    "always, supercapacitor": (ALWAYS | {"hold_up.branch": "supercapacitor"}, ""),
    "always, house feed": (ALWAYS | {"hold_up.branch": "house feed"}, HOUSE),
    "always, converter": (ALWAYS | {"hold_up.branch": "converter"}, ""),
    "always, step-up converter": (ALWAYS | {"hold_up.branch": "converter", "hold_up.direction": "up"}, ""),
    "always, 24 V and a converter": (ALWAYS | {"hold_up.branch": "converter", "battery.in_series": "2"}, ""),
    "link closed, unequal banks": ({"link.kind": "closed"}, HOUSE),
    "always, link closed, unequal banks": (ALWAYS | {"link.kind": "closed"}, HOUSE),
    "surface charge": ({"battery.open_circuit_voltage": "13.2 V"}, ""),
    "surface charge, always": (ALWAYS | {"battery.open_circuit_voltage": "13.2 V"}, ""),
    "surface charge, link closed": ({"battery.open_circuit_voltage": "13.2 V", "link.kind": "closed"}, HOUSE),
    "diode isolator": (ALWAYS | {"link.kind": "diode isolator"}, HOUSE),
    "diode-only pack": (PACK | {"hold_up.contact": "none"}, ""),
    "diode-only pack, charged through a resistor": (
        PACK | {"hold_up.contact": "none", "hold_up.recharge": "resistor"},
        "",
    ),
    "always, pack on a charger": (ALWAYS | PACK | {"hold_up.recharge": "charger"}, ""),
    "fed from the house battery": (ALWAYS | {"feed.from": "house battery"}, HOUSE),
    "fed from the panel": (ALWAYS | {"feed.from": "panel"}, HOUSE),
    "fed from the battery switch": (ALWAYS | {"feed.from": "battery switch"}, ""),
    "fed from the battery posts": (ALWAYS | {"feed.from": "battery", "feed.return_to": "battery negative"}, ""),
    "two displays": (ALWAYS | {"displays.0.input_diode": "true"}, SECOND),
    "two displays, diode-only pack": (PACK | {"hold_up.contact": "none"}, SECOND),
    "two displays, converter": (ALWAYS | {"hold_up.branch": "converter"}, SECOND),
    "thin return, heavy display": (ALWAYS | PACK | {"feed.return_size": "20 AWG", "displays.0.power": "40 W"}, ""),
    "asleep behind its sense pin": (ALWAYS | ASLEEP, ""),
    "asleep behind a converter": (ALWAYS | ASLEEP | {"hold_up.branch": "converter"}, ""),
    "diode-only pack, asleep until key-on": (
        PACK | {"hold_up.contact": "none", "displays.0.sense_threshold": "6 V", "displays.0.sense_from": "feed"},
        "",
    ),
    "a break longer than the key is on": ({"crank.key_on_before": "0 s", "feed.key_break": "1 s"}, ""),
    "24 V, a converter that takes 50 W for itself": (
        {"battery.in_series": "2", "hold_up.branch": "converter", "hold_up.quiescent_power": "50 W"},
        "",
    ),
    "24 V, a start relay of 10 kohm": (ALWAYS | {"battery.in_series": "2", "start_circuit.relay": "10 kohm"}, ""),
    "no more than stray capacitance at the input": (
        ALWAYS | {"displays.0.input_diode": "true", "displays.0.input_capacitance": "0.1 uF", "feed.joints": "3 ohm"},
        "",
    ),
    "a load of before key-on": (
        {},
        HOUSE + '[[loads]]\nat = "house battery"\ncurrent = "20 A"\nfrom_time = "key on-1 s"\n',
    ),
}


def movement(scenario: Scenario) -> float:
    """Largest movement of a node voltage before key-on [V], whatever the run does later."""
    circuit = build_circuit(resolve(scenario))
    waves = get_solver().run(circuit.deck)
    before = waves.time < PREROLL * 0.99
    assert before.sum() >= 2
    nodes = [n for n in circuit.deck.vectors if n.startswith("v(")]
    states = ("v(on", "v(xs", "v(xh", "v(th)", "v(w", "v(f", "v(xengine", "v(xdisplay0.done", "v(xdisplay1.done")
    return max(float(np.ptp(waves.vectors[n][before])) for n in nodes if not n.startswith(states) or n == "v(feed)")


@pytest.mark.parametrize("name", AT_REST)
def test_no_node_moves_before_key_on(name: str) -> None:
    changes, extra = AT_REST[name]
    assert movement(loads_scenario(BOAT + extra).with_overrides(changes)) < STILL


def test_the_network_at_rest_has_the_resistance_of_the_circuit() -> None:
    """Two displays of 25 W each, always fed: 4 A would show a milliohm too many as 4 mV; 0.1 mV is the tolerance."""
    heavy = ALWAYS | {"displays.0.power": "25 W", "displays.1.power": "25 W"}
    boat = resolve(loads_scenario(BOAT + SECOND).with_overrides(heavy))
    circuit = build_circuit(boat)
    waves = get_solver().run(circuit.deck)
    before = waves.time <= circuit.deck.preroll
    for node in ("ds", "dr"):
        assert waves.vectors[f"v({node})"][before][-1] == pytest.approx(circuit.rest_volts[node], abs=1e-4)


@pytest.mark.parametrize("name", example_names())
def test_no_node_of_an_example_moves_before_key_on(name: str) -> None:
    scenario = loads_scenario(example_text(name), name)
    assert movement(scenario.with_overrides({"crank.key_on_before": "50 ms", "crank.after": "50 ms"})) < STILL


@pytest.mark.parametrize(
    ("name", "still", "drawing"),
    [
        pytest.param("restarting", {}, {"feed.key_terminal": "always"}, id="always fed"),
        pytest.param(
            "paralleled-banks",
            {"house.open_circuit_voltage": "13.4 V"},
            {"house.open_circuit_voltage": "12.5 V"},
            id="beside a lower bank",
        ),
    ],
)
def test_a_current_at_rest_does_not_make_a_surface_charge_last(
    name: str, still: dict[str, str], drawing: dict[str, str]
) -> None:
    """A crank takes it all the same: neither a display always on nor a lower house bank lifts the cranking voltage."""
    boat = loads_scenario(example_text(name), name).with_overrides({"battery.open_circuit_voltage": "13.4 V"})
    without, found = (
        simulate_boat(resolve(boat.with_overrides(changes))).battery.crank_voltage for changes in (still, drawing)
    )
    assert without is not None
    assert found is not None
    assert found < without + 0.02


def test_wrong_initial_conditions_would_be_seen() -> None:
    """The pre-roll check can fail: one node set 20 mV off is refused."""
    circuit = build_circuit(
        resolve(loads_scenario(BOAT).with_overrides(ALWAYS | {"displays.0.input_capacitance": "10 mF"}))
    )
    text = re.sub(r"(Xdisplay0 .* v0=)(\S+)", lambda m: f"{m[1]}{float(m[2]) - 0.5}", circuit.deck.text)
    assert text != circuit.deck.text
    with pytest.raises(SimulationError):
        get_solver().run(dataclasses.replace(circuit.deck, text=text))


# --- the network against hand calculations ----------------------------------------------------------


def test_a_divider() -> None:
    volts, amperes = solve_rest(
        [RestElement("e", "battery", "a", "0", 12.0, 1.0), RestElement("r", "load", "a", "0", 5.0)]
    )
    assert volts["a"] == pytest.approx(10.0, abs=1e-9)
    assert amperes["load"] == pytest.approx(2.0, abs=1e-9)
    assert amperes["battery"] == pytest.approx(-2.0, abs=1e-9)


def test_two_unequal_banks_in_parallel() -> None:
    """(12.7 - 12.1) / (4 + 6 + 2 mohm) = 50 A round the loop."""
    volts, amperes = solve_rest(
        [
            RestElement("e", "start", "a", "0", 12.7, 4e-3),
            RestElement("e", "house", "b", "0", 12.1, 6e-3),
            RestElement("r", "link", "a", "b", 2e-3),
        ]
    )
    assert amperes["link"] == pytest.approx(50.0, rel=1e-9)
    assert volts["a"] == pytest.approx(12.7 - 0.2, abs=1e-9)
    assert volts["b"] == pytest.approx(12.1 + 0.3, abs=1e-9)


@pytest.mark.parametrize("load", [0.0, 1e-3, 2.0, 300.0])
def test_a_bank_behind_its_charge_transfer(load: float) -> None:
    """E - I R - Va asinh(I / Ia) at the posts, either way round; nothing at no current."""
    emf, ohm, scale, knee = 12.6, 4e-3, 0.31, 80.0
    drop = ohm * load + scale * math.asinh(load / knee)
    for volts_wanted, current in ((emf - drop, load), (emf + drop, -load)):
        other = RestElement("e", "other", "p", "0", volts_wanted - 1e-3 * current, 1e-3)
        volts, amperes = solve_rest([RestElement("e", "bank", "p", "0", emf, ohm, scale, knee), other])
        assert volts["p"] == pytest.approx(volts_wanted, abs=1e-6)
        assert amperes["bank"] == pytest.approx(-current, rel=1e-4, abs=1e-4)


def test_constant_power_behind_a_resistance() -> None:
    """v = (E + sqrt(E^2 - 4 R P)) / 2."""
    volts, amperes = solve_rest(
        [RestElement("e", "battery", "a", "0", 12.6, 0.3), RestElement("p", "display", "a", "0", 24.0, 6.8)]
    )
    expected = (12.6 + math.sqrt(12.6**2 - 4 * 0.3 * 24.0)) / 2
    assert volts["a"] == pytest.approx(expected, abs=1e-6)
    assert amperes["display"] == pytest.approx(24.0 / expected, abs=1e-6)


def test_a_diode_and_a_resistor() -> None:
    """The Lambert-W solution of E = R i + n Vt ln(1 + i / Is) + Rs i, here by bisection."""
    saturation, scale, series, load, source = 15e-6, 1.25 * THERMAL_VOLTAGE_DECK, 30e-3, 10.0, 12.0
    _, amperes = solve_rest(
        [
            RestElement("e", "battery", "a", "0", source, 1e-3),
            RestElement("d", "diode", "a", "b", saturation, scale, series),
            RestElement("r", "load", "b", "0", load),
        ]
    )
    low, high = 0.0, source / load
    for _ in range(200):
        i = 0.5 * (low + high)
        left = (load + series + 1e-3) * i + scale * math.log1p(i / saturation)
        low, high = (i, high) if left < source else (low, i)
    assert amperes["load"] == pytest.approx(low, abs=1e-6)


def test_a_blocking_diode_passes_its_saturation_current_at_most() -> None:
    volts, amperes = solve_rest(
        [
            RestElement("e", "feed", "a", "0", 11.0, 0.1),
            RestElement("e", "pack", "b", "0", 12.8, 0.1),
            RestElement("d", "feed diode", "a", "ds", 15e-6, 0.032, 0.03),
            RestElement("d", "pack diode", "b", "ds", 15e-6, 0.032, 0.03),
            RestElement("p", "display", "ds", "0", 9.0, 6.8),
        ]
    )
    assert -2 * 15e-6 < amperes["feed diode"] <= 0.0
    assert amperes["pack diode"] == pytest.approx(amperes["display"], abs=1e-4)
    assert 12.2 < volts["ds"] < 12.8


def test_nodes_without_a_source_lie_at_zero() -> None:
    volts, _ = solve_rest(
        [
            RestElement("e", "battery", "a", "0", 12.0, 1.0),
            RestElement("r", "elsewhere", "c", "d", 1.0),
            RestElement("r", "return", "d", "0", 1.0),
        ]
    )
    assert volts["c"] == pytest.approx(0.0, abs=1e-6)
    assert volts["a"] == pytest.approx(12.0, abs=1e-6)


def test_a_load_that_no_source_can_carry_collapses() -> None:
    """200 W through 1 ohm from 12 V has no solution (36 W is the most); below its least voltage the load gives in."""
    elements = [RestElement("e", "battery", "a", "0", 12.0, 1.0), RestElement("p", "display", "a", "0", 200.0, 6.8)]
    volts, amperes = solve_rest(elements)
    assert amperes["display"] == pytest.approx(200.0 / max(volts["a"], 6.8), rel=1e-6)


resistances = st.floats(1e-3, 1e3)


@st.composite
def networks(draw: st.DrawFn) -> list[RestElement]:
    """A connected network of resistors and batteries: a chain from ground, and random links across it."""
    count = draw(st.integers(1, 7))
    nodes = ["0", *(f"n{k}" for k in range(count))]
    elements = [RestElement("e", "source", "n0", "0", draw(st.floats(1.0, 30.0)), draw(resistances))]
    for k in range(1, count):
        to = nodes[draw(st.integers(0, k))]
        elements.append(RestElement("r", f"chain {k}", f"n{k}", to, draw(resistances)))
    for k in range(draw(st.integers(0, 6))):
        a, b = draw(st.sampled_from(nodes)), draw(st.sampled_from(nodes))
        if a == b:
            continue
        if draw(st.booleans()):
            elements.append(RestElement("r", f"link {k}", a, b, draw(resistances)))
        else:
            elements.append(RestElement("e", f"battery {k}", a, b, draw(st.floats(-20.0, 20.0)), draw(resistances)))
    return elements


def nodal(elements: list[RestElement]) -> Mapping[str, float]:
    """The same network by conductances: G v = J, in one solution."""
    nodes = sorted({n for e in elements for n in (e.a, e.b)} - {"0"})
    where = {n: k for k, n in enumerate(nodes)}
    matrix, right = np.zeros((len(nodes), len(nodes))), np.zeros(len(nodes))
    for e in elements:
        g = 1.0 / (e.value if e.kind == "r" else e.extra)
        push = 0.0 if e.kind == "r" else e.value * g
        for node, other, sign in ((e.a, e.b, 1.0), (e.b, e.a, -1.0)):
            if node == "0":
                continue
            matrix[where[node], where[node]] += g
            right[where[node]] += sign * push
            if other != "0":
                matrix[where[node], where[other]] -= g
    solution = np.linalg.solve(matrix, right)
    return {n: float(solution[k]) for n, k in where.items()}


@given(networks())
def test_random_linear_networks_agree_with_nodal_analysis(elements: list[RestElement]) -> None:
    volts, amperes = solve_rest(elements)
    for node, expected in nodal(elements).items():
        assert volts[node] == pytest.approx(expected, abs=1e-6)
    # Kirchhoff's current law at every node but ground; the leak of 1 pS takes its share
    for node in volts:
        if node != "0":
            total = sum(amperes[e.name] * ((e.a == node) - (e.b == node)) for e in elements)
            assert total == pytest.approx(0.0, abs=1e-6)


@given(networks(), st.floats(0.1, 1.5))
def test_rest_voltages_scale_with_all_sources(elements: list[RestElement], factor: float) -> None:
    scaled = [
        RestElement(e.kind, e.name, e.a, e.b, e.value * factor, e.extra) if e.kind == "e" else e for e in elements
    ]
    first, second = solve_rest(elements)[0], solve_rest(scaled)[0]
    for node, value in first.items():
        assert second[node] == pytest.approx(factor * value, abs=1e-6 * (1.0 + factor))
