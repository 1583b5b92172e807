# SPDX-License-Identifier: GPL-3.0-or-later
"""Scenario to boat: every number known, each with its origin; contradictions refused with file and line."""

from __future__ import annotations

import dataclasses
import math
import re
import tomllib
from collections.abc import Iterator
from typing import Any, get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cranksag.catalogue import load_catalogue
from cranksag.cli.resolved import resolved_rows
from cranksag.errors import InputError
from cranksag.examples import example_names, example_text
from cranksag.parts.battery import BatteryCircuit
from cranksag.resolve import Boat, resolve
from cranksag.resolve.model import HouseFeed, Origin
from cranksag.scenario import BRANCHES, field_doc, loads_scenario, scenario_schema
from cranksag.studies.measures import _wires
from tests.part_fields import numbers

HOUSE = '[house]\nrating = "800 A"\n'
EMPTY = 'title = "untitled boat"\n'


def boat(text: str = "", **changes: str) -> Boat:
    """A resolved boat; a double underscore stands for the dot."""
    scenario = loads_scenario('title = "test boat"\n' + text, "boat.toml")
    return resolve(scenario.with_overrides({k.replace("__", "."): v for k, v in changes.items()}))


@pytest.mark.parametrize("name", example_names())
def test_every_value_of_an_example_has_an_origin(name: str) -> None:
    scenario = loads_scenario(example_text(name), f"{name}.toml")
    found = resolve(scenario)
    for path, value in found.values.items():
        assert value.origin in get_args(Origin), path
        if value.origin == "catalogue":
            assert value.source, path
    # whatever is written says so
    for path in scenario.written:
        if path in found.values:
            assert found.values[path].origin == "written", path


@pytest.mark.parametrize("branch", BRANCHES)
def test_every_number_of_a_boat_is_finite(branch: str) -> None:
    for path, number in numbers(boat(HOUSE, hold_up__branch=branch), ""):
        assert math.isfinite(number), path


def test_an_empty_scenario_is_a_boat_of_defaults_and_estimates() -> None:
    found = resolve(loads_scenario(EMPTY))
    assert {v.origin for p, v in found.values.items() if p != "title"} <= {"default", "estimate", "catalogue"}
    assert len(found.displays) == 1
    assert len(found.positive) >= 1
    assert found.branch == "none"


STANDS_ALONE: dict[str, dict[str, str]] = {
    "cables.*": {"resistance": "length|size", "part": "length|size"},
    "loads.*": {"current": "power|resistance", "power": "current|resistance", "resistance": "current|power"},
    "panel": {"resistance": "length|size"},
    "starter": {"points": "power", "part": "power"},
}
"""By table: what a written field leaves no room for."""

ROWS = {"cables.positive", "cables.negative", "loads", "displays", "starter.points"}


def fields_of(schema: dict[str, Any], scenario: dict[str, Any]) -> Iterator[str]:
    """Every field that the scenario's schema has room for in this boat: dotted paths."""
    definitions = schema["$defs"]

    def walk(part: dict[str, Any], held: Any, path: str) -> Iterator[str]:
        inner = part.get("items", part)
        inner = definitions[inner["$ref"].rsplit("/", 1)[-1]] if "$ref" in inner else inner
        if part.get("type") == "array":
            assert path in ROWS
            for number, row in enumerate(held or []):
                yield from walk(inner, row, f"{path}.{number}")
            return
        if "properties" not in inner:
            yield path
            return
        table = re.sub(r"(cables)\.\w+\.\d+|(loads)\.\d+", r"\1\2.*", path)
        gone = "|".join(v for k, v in STANDS_ALONE.get(table, {}).items() if (held or {}).get(k) not in (None, "none"))
        names = inner["properties"]
        if path == "hold_up":
            rule = next(r for r in inner["allOf"] if r["if"]["properties"]["branch"]["const"] == held["branch"])
            names = {k: v for k, v in names.items() if k in rule["then"]["propertyNames"]["enum"]}
        for name, below in names.items():
            if path == "" and name == "sweep":
                continue  # what is asked of the boat, not the boat
            if not (gone and re.fullmatch(gone, name)):
                yield from walk(below, (held or {}).get(name), f"{path}.{name}".removeprefix("."))

    yield from walk(schema, scenario, "")


WHOLE = """
title = "every table"
[house]
[[cables.positive]]
part = "battery switch"
[[cables.positive]]
length = "1 m"
size = "2/0 AWG"
[[cables.negative]]
resistance = "1 mohm"
[[loads]]
current = "1 A"
[[loads]]
power = "1 W"
[[displays]]
[[displays]]
part = "7 in display, 12 V"
"""
POINTS = """
[starter]
points = [
  {voltage = "11 V", current = "90 A", speed = "3000 rpm"},
  {voltage = "9 V", current = "230 A", torque = "7 N m", speed = "1100 rpm"},
]
"""


@pytest.mark.parametrize("extra", ["", POINTS, '[panel]\nresistance = "5 mohm"\n'], ids=["", "points", "panel"])
@pytest.mark.parametrize("branch", BRANCHES)
def test_every_field_of_the_schema_has_a_value_and_an_origin(branch: str, extra: str) -> None:
    text = f'{WHOLE}[hold_up]\nbranch = "{branch}"\n{extra}'
    scenario = tomllib.loads(text)
    found = resolve(loads_scenario(text, "boat.toml"))
    paths = list(fields_of(scenario_schema(), scenario))
    assert len(paths) > 130
    unread = {"starter.points.0.torque"}  # of a reading without it there is none to show
    missing = [p for p in paths if p not in unread and (p not in found.values or found.values[p].value is None)]
    assert missing == []
    assert {found.values[p].origin for p in paths if p not in unread} <= set(get_args(Origin))
    rows = {row.path for row in resolved_rows(found, loads_scenario(text, "boat.toml"))}
    assert set(paths) - unread <= rows


def test_a_pack_without_a_relay_shows_none_of_its_figures() -> None:
    found = boat(hold_up__branch="standby pack", hold_up__contact="none").values
    assert "hold_up.coil_resistance" not in found
    assert found["hold_up.relay"].value == "none"


@pytest.mark.parametrize(
    ("path", "branch"),
    [
        ("battery.internal_resistance", "none"), ("battery.open_circuit_voltage", "none"),
        ("starter.resistance", "none"), ("starter.brush_drop", "none"), ("starter.inertia", "none"),
        ("starter.drops_out_at", "none"), ("panel.resistance", "none"), ("engine.inertia", "none"),
        ("hold_up.leakage", "reservoir"), ("hold_up.leakage", "supercapacitor"), ("hold_up.esr", "reservoir"),
        ("hold_up.esr", "supercapacitor"), ("hold_up.rated_voltage", "supercapacitor"),
        ("hold_up.cut_in", "converter"), ("hold_up.input_limit", "converter"),
    ],
)  # fmt: skip
def test_what_is_shown_of_an_unwritten_field_may_be_written(path: str, branch: str) -> None:
    """Written down and read again it is the same boat: the figure shown is the figure used."""
    first = boat(hold_up__branch=branch, temperature__ambient="-5 degC", start_circuit__length="3 m")
    dimension = field_doc(path).dimension
    assert dimension is not None
    shown = f"{first.values[path].value!r} {dimension.si}"
    name = path.replace(".", "__")
    again = boat(hold_up__branch=branch, temperature__ambient="-5 degC", start_circuit__length="3 m", **{name: shown})
    assert again.values[path].origin == "written"
    for (where, one), (_, other) in zip(numbers(first, ""), numbers(again, ""), strict=True):
        assert other == pytest.approx(one, rel=1e-9), where


def test_an_unknown_part_is_an_input_error_with_file_and_line() -> None:
    with pytest.raises(InputError) as caught:
        boat('[hold_up]\nbranch = "standby pack"\nrelay = "no such relay"\n')
    assert len(caught.value.problems) == 1
    assert caught.value.problems[0].startswith("boat.toml:4: hold_up.relay")
    with pytest.raises(InputError) as caught:
        boat('[starter]\npart = "nothing"\n[hold_up]\nbranch = "standby pack"\npack = "nothing"\ndiode = "nothing"\n')
    lines = sorted(problem.split(": ")[0] for problem in caught.value.problems)
    assert lines == ["boat.toml:3", "boat.toml:6", "boat.toml:7"]


@pytest.mark.parametrize(
    ("text", "where"),
    [
        ('[feed]\nfrom = "house battery"\n', "boat.toml:3: feed.from"),
        ('[link]\nkind = "closed"\n', "boat.toml:3: link.kind"),
        ('[panel]\nfrom = "house battery"\n', "boat.toml:3: panel.from"),
        ('[start_circuit]\nsupply_from = "house battery"\n', "boat.toml:3: start_circuit.supply_from"),
        ('[start_circuit]\nsupply_from = "s terminal"\n', "boat.toml:3: start_circuit.supply_from"),
        ('[start_circuit]\nshares_feed = true\nsupply_from = "battery"\n', "boat.toml:3: start_circuit.shares_feed"),
        ('[[displays]]\nbrownout = "9 V"\nrestarts_above = "8 V"\n', "boat.toml:4: displays.0.restarts_above"),
        ('[[loads]]\nat = "house battery"\ncurrent = "1 A"\n', "boat.toml:3: loads.0.at"),
        ('[[loads]]\ncurrent = "1 A"\nfrom_time = "fire-1 s"\n', "boat.toml:4: loads.0.from_time"),
        ('[hold_up]\nbranch = "house feed"\n', "boat.toml:3: hold_up.branch"),
        (
            '[hold_up]\nbranch = "converter"\ncut_out = "9 V"\ncut_in = "8 V"\n',
            "boat.toml:5: hold_up.cut_in",
        ),
        (
            '[hold_up]\nbranch = "standby pack"\nmust_operate = "3 V"\nmust_release = "5 V"\n',
            "boat.toml:4: hold_up.must_operate",
        ),
        (
            '[start_circuit]\nrelay_must_operate = "2 V"\nrelay_must_release = "4 V"\n',
            "boat.toml:3: start_circuit.relay_must_operate",
        ),
    ],
)
def test_contradictions_are_refused_with_file_and_line(text: str, where: str) -> None:
    with pytest.raises(InputError) as caught:
        boat(text)
    assert any(problem.startswith(where) for problem in caught.value.problems), caught.value.problems


def test_all_contradictions_are_reported_at_once() -> None:
    with pytest.raises(InputError) as caught:
        boat('[feed]\nfrom = "house battery"\n[link]\nkind = "closed"\n[panel]\nfrom = "house battery"\n')
    assert len(caught.value.problems) == 3


@pytest.mark.parametrize(
    ("path", "text"),
    [
        ("battery.rating", "650 A"),
        ("battery.health", "55 %"),
        ("feed.size", "12 AWG"),
        ("feed.length", "9 m"),
        ("starter.motor", "permanent magnet"),
        ("engine.fires_after", "never"),
        ("crank.key_held", "2 s"),
        ("start_circuit.relay", "none"),
        ("temperature.ambient", "-5 degC"),
        ("engine.oil", "5W-30"),
    ],
)
def test_an_override_equals_writing_it_in_the_file(path: str, text: str) -> None:
    table, name = path.split(".")
    written = resolve(loads_scenario(f'{EMPTY}[{table}]\n{name} = "{text}"\n'))
    overridden = resolve(loads_scenario(EMPTY).with_overrides({path: text}))
    assert strip(written) == strip(overridden)
    assert {p: (v.value, v.origin) for p, v in written.values.items()} == {
        p: (v.value, v.origin) for p, v in overridden.values.items()
    }


def strip(found: Boat) -> Boat:
    """Without the record of origins, which is compared apart."""
    return dataclasses.replace(found, values={})


@given(st.integers(0, 3), st.floats(0.1, 200.0), st.floats(1.0, 20.0))
def test_any_override_of_a_number_equals_writing_it(which: int, length: float, power: float) -> None:
    paths = ("feed.length", "start_circuit.length", "panel.length", "hold_up.length")
    if which == 3:
        base, table = '[hold_up]\nbranch = "standby pack"\n', "hold_up"
        written = loads_scenario(f'{base}length = "{length!r} m"\n[[displays]]\npower = "{power!r} W"\n')
    else:
        base, table = EMPTY, paths[which].split(".")[0]
        written = loads_scenario(f'[{table}]\nlength = "{length!r} m"\n[[displays]]\npower = "{power!r} W"\n')
    changed = loads_scenario(base).with_overrides({paths[which]: f"{length!r} m", "displays.0.power": f"{power!r} W"})
    first, second = resolve(written), resolve(changed)
    # the row of a default list carries its default name
    assert dataclasses.replace(strip(first), displays=()) == dataclasses.replace(strip(second), displays=())
    assert first.displays[0].circuit == second.displays[0].circuit


def test_the_usual_coils_lie_between_the_published_ones() -> None:
    """Of a 12 V solenoid at 10 V: more than a 1.1 kW starter's, less than those of large engines."""
    lines = [e for e in load_catalogue().entries("solenoid") if e.value("voltage") == 12.0]
    usual = boat().values
    pull, hold = (float(usual[f"starter.{name}"].value) for name in ("pull_in", "hold_in"))
    both = sorted(10.0 / float(e.value("pull_in")) + 10.0 / float(e.value("hold_in")) for e in lines)
    alone = sorted(10.0 / float(e.value("hold_in")) for e in lines)
    assert both[0] < 10.0 / pull + 10.0 / hold < both[1]
    assert alone[0] < 10.0 / hold < alone[1]


@pytest.mark.parametrize("place", ["engine room", "helm"])
def test_a_house_feed_is_the_positive_wire_alone(place: str) -> None:
    """Its return is the display's return wire, which the circuit has once: a normal feed of that wire is the same."""
    text = (
        'title = "t"\n[house]\n[feed]\nfrom = "house battery"\nlength = "7 m"\nsize = "2.5 mm2"\n'
        f'[hold_up]\nbranch = "house feed"\nlength = "7 m"\nsize = "2.5 mm2"\nplaced_at = "{place}"\n'
    )
    found = resolve(loads_scenario(text))
    assert isinstance(found.hold_up, HouseFeed)
    assert found.hold_up.resistance == pytest.approx(found.feed.resistance, rel=1e-12)
    wires = {path: length for path, _, length in _wires(found)}
    assert wires["hold_up.size"] == wires["feed.size"] == wires["feed.return_size"] == pytest.approx(7.0)


def test_a_pack_has_a_wire_out_and_a_wire_back() -> None:
    found = boat(hold_up__branch="standby pack", hold_up__length="7 m")
    assert {path: length for path, _, length in _wires(found)}["hold_up.size"] == pytest.approx(14.0)


def test_places_default_to_ambient_and_act_on_their_own_parts() -> None:
    cold, hot = (
        boat(temperature__ambient="0 degC"),
        boat(temperature__ambient="0 degC", temperature__engine_room="80 degC"),
    )
    assert (cold.temperatures.battery, cold.temperatures.oil, cold.temperatures.helm) == (0.0, 0.0, 0.0)
    assert hot.solenoid.pull_in / cold.solenoid.pull_in == pytest.approx(
        (1 + 0.00393 * 60) / (1 - 0.00393 * 20), rel=5e-3
    )
    assert hot.positive[0].resistance > 1.3 * cold.positive[0].resistance
    assert hot.battery == cold.battery
    assert hot.engine == cold.engine
    assert hot.start.relay is not None
    assert cold.start.relay is not None
    assert hot.start.relay.coil_resistance > 1.3 * cold.start.relay.coil_resistance
    # a relay answers to ampere-turns: the current stays
    assert hot.start.relay.operate_current == pytest.approx(cold.start.relay.operate_current)


def test_resolving_changes_nothing_in_the_scenario() -> None:
    scenario = loads_scenario(example_text("standby-pack"), "x")
    before = scenario.model_dump()
    first, second = resolve(scenario), resolve(scenario)
    assert scenario.model_dump() == before
    assert strip(first) == strip(second)


def test_a_rest_voltage_above_a_full_batterys_is_surface_charge() -> None:
    """At 26.7 degC a full flooded battery rests at 12.65 V, so 13.0 V hold 0.35 V of it; two in series twice that."""
    written = {"battery.open_circuit_voltage": "13.0 V", "temperature.battery": "26.7 degC"}
    for series, volts in (("1", 0.35), ("2", 0.70)):
        found = resolve(
            loads_scenario(example_text("restarting")).with_overrides({**written, "battery.in_series": series})
        ).battery
        assert found.surface_voltage == pytest.approx(volts, abs=1e-9)


def test_measured_battery_values_are_those_of_one_battery() -> None:
    """Two 12 V batteries in series, three strings: the bank has twice the voltage and two thirds of the resistance."""
    written = {"battery.open_circuit_voltage": "12.5 V", "battery.internal_resistance": "6 mohm"}
    boat = resolve(
        loads_scenario(example_text("restarting")).with_overrides(
            {**written, "battery.in_series": "2", "battery.in_parallel": "3"}
        )
    )
    assert boat.battery.open_circuit_voltage == pytest.approx(25.0)
    # a link cable of 0.15 mohm in each string, which the tester on one battery did not see
    assert boat.battery.resistance_instant == pytest.approx(4e-3 + 0.05e-3)


@pytest.mark.parametrize("bank", ["battery", "house"])
def test_batteries_in_series_are_joined_by_their_link_cables(bank: str) -> None:
    """One link in each string of two; a battery alone has none, and its own figure stays that of one battery."""
    text = 'title = "t"\n[battery]\n[house]\n'

    def made(**changes: str) -> Boat:
        return resolve(
            loads_scenario(text).with_overrides({f"{bank}.{name}": value for name, value in changes.items()})
        )

    def ohms(found: Boat) -> float:
        circuit = getattr(found, bank)
        assert isinstance(circuit, BatteryCircuit)
        return circuit.resistance_instant

    for parallel in ("1", "2"):
        bare, usual, long = (
            made(in_series="2", in_parallel=parallel, **link)
            for link in ({"link_resistance": "0 ohm"}, {}, {"link_resistance": "1 mohm"})
        )
        assert ohms(usual) - ohms(bare) == pytest.approx(0.15e-3 / int(parallel))
        assert ohms(long) - ohms(bare) == pytest.approx(1e-3 / int(parallel))
        assert usual.values[f"{bank}.link_resistance"].origin == "default"
        own = [found.values[f"{bank}.internal_resistance"].value for found in (bare, long)]
        assert own[0] == pytest.approx(own[1], rel=1e-12)
    assert ohms(made(link_resistance="1 mohm")) == ohms(made(link_resistance="0 ohm"))


def test_defaults_of_coils_follow_the_system_voltage() -> None:
    """Same power at twice the voltage: four times the ohms, half the current, twice the volts to operate and release.

    The figures of 24 V are those of the catalogue's relays: 340 ohm (cube start relay of 1.7 W, common practice).
    """
    light, heavy = (boat(hold_up__branch="standby pack", battery__in_series=n) for n in "12")
    for name in ("relay", "relay_must_operate", "relay_must_release"):
        path, factor = f"start_circuit.{name}", 4.0 if name == "relay" else 2.0
        assert heavy.values[path].value == pytest.approx(factor * light.values[path].value)
    assert light.values["start_circuit.relay"].value == 85.0
    assert light.values["start_circuit.relay"].origin == "default"
    assert heavy.values["start_circuit.relay"].value == 340.0
    assert light.start.relay is not None
    assert heavy.start.relay is not None
    for name in ("operate_current", "release_current"):
        assert getattr(heavy.start.relay, name) == pytest.approx(0.5 * getattr(light.start.relay, name))
    assert heavy.start.relay.travel_time_operate == pytest.approx(light.start.relay.travel_time_operate)
    assert heavy.values["hold_up.suppression_resistance"].value == 4.0 * 680.0
    assert heavy.values["hold_up.relay"].value.startswith("24 V")
    for side in (light, heavy):  # as the shelf has it: room for the spike of a coil
        diode = load_catalogue().find("diode", str(side.values["hold_up.diode"].value))
        assert float(diode.value("reverse_voltage")) >= 2.0 * side.alternator.charge_voltage
    assert heavy.solenoid.hold_in > 2.0 * light.solenoid.hold_in


@pytest.mark.parametrize(
    "change", [{"start_circuit__relay": "85 ohm"}, {"start_circuit__relay_part": "12 V start relay, 85 ohm"}]
)
def test_a_coil_that_is_known_is_not_scaled(change: dict[str, str]) -> None:
    assert boat(battery__in_series="2", **change).values["start_circuit.relay"].value == 85.0


@pytest.mark.parametrize(("field", "cut", "none"), [("dead_in_start", "true", "false"), ("key_break", "20 ms", "0 ms")])
def test_a_terminal_that_is_always_fed_is_not_cut_by_the_key(field: str, cut: str, none: str) -> None:
    path = f"feed__{field}"
    with pytest.raises(InputError, match=rf"feed\.{field} = .*feed\.key_terminal"):
        boat(feed__key_terminal="always", **{path: cut})
    assert boat(feed__key_terminal="always", **{path: none}).feed.key_terminal == "always"
    for terminal in ("run", "accessory"):
        assert getattr(boat(feed__key_terminal=terminal, **{path: cut}).feed, field)
