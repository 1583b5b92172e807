# SPDX-License-Identifier: GPL-3.0-or-later
"""A scenario names a part of any kind: its figures hold, a written one stands before them, and the origin is said."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cranksag.catalogue import KINDS, Catalogue, load_catalogue
from cranksag.catalogue.build import diode_leakage
from cranksag.errors import InputError
from cranksag.parts.supercapacitor import CellSpec, string_circuit
from cranksag.resolve import resolve
from cranksag.resolve.model import HouseFeed
from cranksag.scenario import field_table, loads_scenario
from cranksag.studies.axes import part_kinds
from cranksag.validate.bench import reverse_current
from tests.part_fields import FIELDS, OWN, WORDED, boat, branch_of, entries, own_catalogue, shipped, table_of


def test_every_field_that_names_a_part_is_tried_here() -> None:
    named = {path for path, doc in field_table().items() if doc.parts}
    cables = {"cables.negative.*.part", "cables.positive.*.corroded", "cables.negative.*.corroded"}
    tried = {path.replace(".0.", ".*.") for path in FIELDS} | WORDED | cables
    assert named == tried


def test_every_kind_of_the_catalogue_can_be_named() -> None:
    assert {kind for doc in field_table().values() for kind in doc.parts} == set(KINDS)


@pytest.mark.parametrize("path", FIELDS)
def test_a_named_part_gives_its_figures_and_the_origin_is_said(path: str) -> None:
    for entry in entries(path):
        found = boat({**branch_of(path), path: entry.name}).values
        assert found[path].origin == "written"
        for field, key in FIELDS[path].items():
            held = found[f"{table_of(path)}.{field}"]
            if key in entry.values:
                assert held.value == entry.value(key), (entry.name, field)
                assert held.origin == "catalogue", (entry.name, field)
                assert entry.source in held.source
            else:
                assert held.origin in ("default", "estimate"), (entry.name, field)


OPTIONAL = [path for path in FIELDS if path not in ("hold_up.pack", "hold_up.relay", "cables.positive.0.part")]


@pytest.mark.parametrize("path", OPTIONAL)
def test_without_a_name_no_part_is_taken(path: str) -> None:
    unwritten, none = (boat({**branch_of(path), **more}) for more in ({}, {path: "none"}))
    assert unwritten.values[path].value == none.values[path].value == "none"
    assert unwritten.values[path].origin == "default"
    assert dataclasses.replace(unwritten, values={}) == dataclasses.replace(none, values={})
    for field in FIELDS[path]:
        assert unwritten.values[f"{table_of(path)}.{field}"].origin in ("default", "estimate"), field


WRITTEN = {
    "battery.part": ("rating", "777 A", 777.0),
    "house.part": ("capacity", "50 Ah", 180e3),
    "starter.part": ("pull_in", "0.77 ohm", 0.77),
    "starter.solenoid": ("hold_in", "1.23 ohm", 1.23),
    "start_circuit.relay_part": ("relay", "77 ohm", 77.0),
    "engine.part": ("displacement", "3.3 L", 3.3e-3),
    "cables.positive.0.part": ("resistance", "0.77 mohm", 0.77e-3),
    "feed.fuse_part": ("fuse", "7 A", 7.0),
    "displays.0.part": ("power", "7.7 W", 7.7),
    "hold_up.fuse_part": ("fuse", "7 A", 7.0),
    "hold_up.pack": ("pack_resistance", "77 mohm", 0.077),
    "hold_up.relay": ("coil_resistance", "77 ohm", 77.0),
    "hold_up.capacitor": ("capacitance", "77 mF", 0.077),
    "hold_up.converter": ("efficiency", "77 %", 0.77),
}


@pytest.mark.parametrize("path", FIELDS)
def test_a_written_field_stands_before_the_parts(path: str) -> None:
    field, text, value = WRITTEN[path]
    entry = entries(path)[0]
    where = f"{table_of(path)}.{field}"
    plain, changed = (boat({**branch_of(path), path: entry.name, **more}) for more in ({}, {where: text}))
    assert changed.values[where].value == pytest.approx(value)
    assert changed.values[where].origin == "written"
    assert dataclasses.replace(plain, values={}) != dataclasses.replace(changed, values={})
    others = {f"{table_of(path)}.{name}" for name in FIELDS[path]} - {where}
    for other in others & {p for p, v in plain.values.items() if v.origin == "catalogue"}:
        assert changed.values[other].value == plain.values[other].value, other


@pytest.mark.parametrize("path", [*FIELDS, *sorted(WORDED)])
def test_an_unknown_name_is_refused_with_suggestions_file_and_line(path: str) -> None:
    table, _, field = path.rpartition(".")
    branch = "reservoir" if field == "discharge_diode" else branch_of(path).get("hold_up.branch")
    near = next(iter(shipped().entries(part_kinds(path, branch)[0]))).name
    told = f'branch = "{branch}"\n' if branch else ""
    lists = ("displays.0", "cables.positive.0")
    head = f"[[{table.removesuffix('.0')}]]" if table in lists else f"[{table}]"
    text = f'title = "x"\n{head}\n{told}{field} = "{near}x"\n'
    with pytest.raises(InputError) as caught:
        resolve(loads_scenario(text, "boat.toml"))
    assert len(caught.value.problems) == 1, caught.value.problems
    problem = caught.value.problems[0]
    assert problem.startswith(f"boat.toml:{4 if branch else 3}: {path} = ")
    assert "did you mean" in problem
    assert near in problem


@pytest.mark.parametrize("path", [*FIELDS, *sorted(WORDED)])
def test_a_part_of_the_wrong_kind_says_what_it_is(path: str) -> None:
    branch = "reservoir" if path == "hold_up.discharge_diode" else branch_of(path).get("hold_up.branch")
    kind = part_kinds(path, branch)[0]
    name, other = ("1N5822", "a diode") if kind != "diode" else ("12 V 45 A make, 90 ohm", "a relay")
    changes = {"hold_up.branch": branch} if branch else {}
    with pytest.raises(InputError) as caught:
        boat({**changes, path: name})
    article = "an" if kind == "engine" else "a"
    assert f'"{name}" is {other}; {article} {kind} is due' in str(caught.value)


def test_a_relay_as_a_battery_says_so() -> None:
    with pytest.raises(InputError, match=r"boat\.toml:3: battery\.part.*is a relay; a battery is due"):
        resolve(loads_scenario('title = "x"\n[battery]\npart = "12 V 45 A make, 90 ohm"\n', "boat.toml"))
    with pytest.raises(InputError, match=r"is a supercapacitor; a capacitor is due"):
        boat({"hold_up.branch": "reservoir", "hold_up.capacitor": "6 x 25 F 2.7 V string"})
    with pytest.raises(InputError, match=r"is a capacitor; a supercapacitor is due"):
        boat({"hold_up.branch": "supercapacitor", "hold_up.capacitor": "47 mF 25 V screw terminal"})


@pytest.fixture
def own() -> Catalogue:
    return own_catalogue()


def test_a_users_own_parts_are_named_like_any(own: Catalogue) -> None:
    found = boat({"battery.part": "my battery", "displays.0.part": "MY  display"}, parts=own)
    assert (found.values["battery.rating"].value, found.values["battery.rating_standard"].value) == (640.0, "DIN")
    assert found.displays[0].circuit.power == 4.4
    assert found.values["displays.0.boot_power"].value == 4.4  # what the line leaves out is estimated as ever
    with pytest.raises(InputError, match="no such battery"):
        boat({"battery.part": "my battery"})


def test_a_users_file_is_read_as_the_text_is(tmp_path: Path) -> None:
    file = tmp_path / "mine.toml"
    file.write_text(OWN, encoding="utf-8")
    found = boat({"battery.part": "my battery"}, parts=load_catalogue([file]))
    assert found.values["battery.capacity"].value == 66.0 * 3600.0


def test_a_battery_that_is_not_of_twelve_volts_is_refused(own: Catalogue) -> None:
    with pytest.raises(InputError, match=r"battery\.part.*is a battery of 6 V"):
        boat({"battery.part": "old six"}, parts=own)


def test_an_oil_that_no_one_knows_is_refused(own: Catalogue) -> None:
    with pytest.raises(InputError, match=r'engine\.part.*"whale".*15W-40'):
        boat({"engine.part": "my engine"}, parts=own)
    assert boat({"engine.part": "my engine", "engine.oil": "15W-40"}, parts=own).engine


def test_a_named_fuse_brings_its_type_drop_and_breaking_capacity(own: Catalogue) -> None:
    for path, place in (("hold_up.fuse_part", "hold_up"), ("feed.fuse_part", "feed")):
        found = boat({"hold_up.branch": "standby pack", path: "my fuse"}, parts=own)
        fuse = getattr(found, place).fuse_type
        assert (fuse.name, fuse.interrupt, fuse.voltage) == ("bolt-down", 3000.0, 58.0)
    thin, named = (
        boat({"hold_up.branch": "reservoir", **more}, parts=own).hold_up.fuse_resistance  # type: ignore[union-attr]
        for more in ({"hold_up.fuse": "9 A"}, {"hold_up.fuse_part": "my fuse"})
    )
    assert thin == pytest.approx(0.1 / 9.0)  # 0.1 V at rated current of a blade fuse
    assert named == pytest.approx(11e-3)


def test_a_converter_too_small_for_the_displays_is_warned_about(own: Catalogue) -> None:
    small = boat({"hold_up.branch": "converter", "hold_up.converter": "my converter"}, parts=own)
    assert "converter_overloaded" in {note.code for note in small.warnings}
    less = {"hold_up.branch": "converter", "hold_up.converter": "my converter", "displays.0.power": "4 W"}
    assert "converter_overloaded" not in {note.code for note in boat(less, parts=own).warnings}
    booting = boat({**less, "displays.0.boot_power": "300 W"}, parts=own)
    assert "300 W while booting" in next(n.message for n in booting.warnings if n.code == "converter_overloaded")


def test_a_converter_of_another_voltage_is_warned_about() -> None:
    part = {"hold_up.branch": "converter", "hold_up.converter": "24 V to 12 V 5 A"}
    assert "converter_input" in {note.code for note in boat(part).warnings}
    assert "converter_input" not in {note.code for note in boat({**part, "battery.in_series": "2"}).warnings}


def test_a_part_behind_written_fields_is_warned_about() -> None:
    named = {"battery.part": "12 V 95 Ah agm 850 A EN"}
    every = {"chemistry": "agm", "rating": "600 A", "rating_standard": "EN", "capacity": "70 Ah"}
    written = {f"battery.{k}": v for k, v in every.items()}
    notes = {note.code: note.message for note in boat({**named, **written}).warnings}
    assert "battery.rating" in notes["part_hidden"]
    del written["battery.capacity"]
    assert "part_hidden" not in {note.code for note in boat({**named, **written}).warnings}


# --- supercapacitors: cells and strings ----------------------------------------------------------------------


CHANGEOVER = "12 V 45 A changeover, 90 ohm"


@pytest.mark.parametrize("temperature", [25.0, 85.0])
def test_a_diode_leaks_what_its_line_admits(temperature: float) -> None:
    """Beside the saturation current of its forward curve, which is a small part of that."""
    entry = next(e for e in entries("hold_up.diode") if e.name == "1N5822")
    places = {"hold_up.branch": "house feed", "temperature.helm": f"{temperature} degC"}
    found = boat({**places, "hold_up.diode": entry.name})
    assert isinstance(found.hold_up, HouseFeed)
    leaks = reverse_current(found.hold_up.diode, entry.value("reverse_voltage"))
    admitted = diode_leakage(entry, temperature)
    assert admitted < leaks < 1.1 * admitted


def test_a_changeover_relay_is_wired_as_one_unless_the_scenario_says_make() -> None:
    pack = {"hold_up.branch": "standby pack"}
    named = boat({**pack, "hold_up.relay": CHANGEOVER})
    assert named.hold_up.relay.changeover  # type: ignore[union-attr]
    made = boat({**pack, "hold_up.relay": CHANGEOVER, "hold_up.contact": "make"})
    assert not made.hold_up.relay.changeover  # type: ignore[union-attr]
    assert not boat(pack).hold_up.relay.changeover  # type: ignore[union-attr]
    assert not boat({**pack, "hold_up.relay": CHANGEOVER, "hold_up.contact": "none"}).hold_up.relay  # type: ignore[union-attr]


@pytest.mark.parametrize("series", ["1", "2"])
def test_a_changeover_contact_needs_a_relay_that_has_one(series: str) -> None:
    """Without a name it gets one; a named make relay is told to lack it."""
    asked = {"hold_up.branch": "standby pack", "hold_up.contact": "changeover", "battery.in_series": series}
    usual = boat(asked)
    assert shipped().find("relay", str(usual.values["hold_up.relay"].value)).value("contact") == "changeover"
    assert "relay_contact" not in {note.code for note in usual.warnings}
    wrong = boat({**asked, "hold_up.relay": "12 V 45 A make, 90 ohm"})
    assert "relay_contact" in {note.code for note in wrong.warnings}


def test_a_string_of_the_catalogue_is_its_cells_in_series() -> None:
    found = boat({"hold_up.branch": "supercapacitor", "hold_up.capacitor": "7 x 50 F 2.7 V string"})
    bank: Any = found.hold_up
    assert (bank.cells, bank.cell_voltage) == (7, 2.7)
    entry = shipped().find("supercapacitor", "7 x 50 F 2.7 V string")
    spec = CellSpec(50.0, entry.value("cell_esr"), 2.7, entry.value("cell_leakage"))
    expected = string_circuit(spec, 7, 20.0, 0.0, entry.value("balancing_resistance"))
    assert dataclasses.astuple(bank.bank) == pytest.approx(dataclasses.astuple(expected))
    assert found.values["hold_up.capacitance"].value == pytest.approx(50.0 / 7.0)


@given(
    st.sampled_from(["10 F 2.7 V cell", "350 F 2.7 V cell", "7 x 50 F 2.7 V string"]),
    st.integers(6, 14),
    st.floats(-30.0, 50.0),
)
@settings(max_examples=30)
def test_any_count_of_cells_is_a_string_of_that_cell(name: str, cells: int, helm: float) -> None:
    """Capacitance over n, ESR times n, voltage times n, whatever the line's own count."""
    changes = {"hold_up.branch": "supercapacitor", "hold_up.capacitor": name, "hold_up.cells": str(cells)}
    found = boat({**changes, "temperature.helm": f"{helm} degC"}).values
    entry = shipped().find("supercapacitor", name)
    assert found["hold_up.capacitance"].value * cells == pytest.approx(entry.value("cell_capacitance"))
    assert found["hold_up.esr"].value / cells == pytest.approx(entry.value("cell_esr"))
    assert found["hold_up.rated_voltage"].value == pytest.approx(cells * entry.value("cell_voltage"))


def test_of_a_lone_cell_there_are_as_many_as_the_voltage_needs() -> None:
    cells = {"hold_up.branch": "supercapacitor", "hold_up.capacitor": "100 F 2.7 V cell"}
    found = boat(cells)
    assert (
        found.values["hold_up.cells"].value == boat({"hold_up.branch": "supercapacitor"}).values["hold_up.cells"].value
    )
    assert "over_voltage" not in {note.code for note in found.dangers}


@pytest.mark.parametrize("branch", ["reservoir", "supercapacitor"])
@pytest.mark.parametrize("helm", ["-20 degC", "20 degC", "45 degC"])
def test_the_resistance_shown_is_the_one_that_may_be_written(branch: str, helm: str) -> None:
    """New and at 20 degC; written down and read again it is the same bank."""
    changes = {"hold_up.branch": branch, "temperature.helm": helm, "hold_up.age": "2 y"}
    first = boat(changes)
    again = boat({**changes, "hold_up.esr": f"{first.values['hold_up.esr'].value!r} ohm"})
    assert again.hold_up.bank.esr == pytest.approx(first.hold_up.bank.esr, rel=1e-9)  # type: ignore[union-attr]
