# SPDX-License-Identifier: GPL-3.0-or-later
"""A scenario names a part of any kind: its figures hold, a written one stands before them, and the origin is said."""

from __future__ import annotations

import dataclasses
import functools
import math
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cranksag.catalogue import KINDS, Catalogue, Entry, load_catalogue
from cranksag.catalogue.reader import read_text
from cranksag.errors import InputError
from cranksag.parts.supercapacitor import CellSpec, string_circuit
from cranksag.quantities import DIMENSIONS
from cranksag.resolve import Boat, resolve
from cranksag.resolve.hold_up import PACK_CHEMISTRY
from cranksag.scenario import field_table, loads_scenario
from cranksag.studies.axes import parse_axis, part_kinds
from cranksag.studies.shelf import shelf_of
from cranksag.studies.spreads import parse_spread, spreads_of

BASE = """title = "test boat"
[house]
health = "90 %"
[[displays]]
[[cables.positive]]
part = "battery switch"
[[cables.negative]]
resistance = "1 mohm"
"""
"""A boat with one row of each list."""

PLAIN = {"chemistry": "chemistry", "rating": "rating", "rating_standard": "rating_standard", "capacity": "capacity"}
NOT_IN_THE_SCENARIO = ("input_voltage", "rated_power", "mass", "price")
FIELDS: Mapping[str, Mapping[str, str]] = {
    "battery.part": PLAIN,
    "house.part": PLAIN,
    "starter.part": {k: k for k in ("voltage", "motor", "pull_in", "hold_in", "pulls_in_at", "gear_ratio")},
    "starter.solenoid": {k: k for k in ("pull_in", "hold_in", "pulls_in_at", "contact_resistance")},
    "start_circuit.relay_part": {
        "relay": "coil_resistance", "relay_must_operate": "must_operate", "relay_must_release": "must_release",
    },
    "engine.part": {k: k for k in ("displacement", "cylinders", "compression_ratio", "oil", "minimum_speed")},
    "cables.positive.0.part": {"resistance": "resistance"},
    "feed.fuse_part": {"fuse": "rating"},
    "displays.0.part": {k: k for k in KINDS["display"] if k != "price"},
    "hold_up.fuse_part": {"fuse": "rating"},
    "hold_up.pack": {"pack_capacity": "capacity", "pack_resistance": "resistance"},
    "hold_up.relay": {
        k: k for k in
        ("coil_resistance", "must_operate", "must_release", "operate_time", "release_time", "contact_resistance")
    },
    "hold_up.capacitor": {k: k for k in ("capacitance", "esr", "rated_voltage")},
    "hold_up.converter": {k: k for k in KINDS["converter"] if k not in NOT_IN_THE_SCENARIO},
}  # fmt: skip
"""By the field that names a part: scenario field and the catalogue's name of it."""

BRANCH = {"pack": "standby pack", "relay": "standby pack", "capacitor": "reservoir", "converter": "converter"}
WORDED = {"hold_up.diode", "hold_up.feed_diode", "hold_up.discharge_diode"}  # a diode has no figure in the scenario


@functools.cache
def shipped() -> Catalogue:
    return load_catalogue()


def boat(changes: Mapping[str, str], parts: Catalogue | None = None) -> Boat:
    """The boat with changes, resolved."""
    return resolve(loads_scenario(BASE, "boat.toml").with_overrides(dict(changes)), parts)


def numbers(value: Any, path: str) -> Iterator[tuple[str, float]]:
    """All floats of nested dataclasses."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        for field in dataclasses.fields(value):
            if field.name not in ("breakdown", "fuse_type"):
                yield from numbers(getattr(value, field.name), f"{path}.{field.name}")
    elif isinstance(value, tuple):
        for k, item in enumerate(value):
            yield from numbers(item, f"{path}.{k}")
    elif isinstance(value, float):
        yield path, value


def branch_of(path: str) -> dict[str, str]:
    branch = BRANCH.get(path.removeprefix("hold_up."), "standby pack")
    return {"hold_up.branch": branch} if path.startswith("hold_up.") else {}


def table_of(path: str) -> str:
    return path.rpartition(".")[0]


def entries(path: str) -> list[Entry]:
    """Every part of the field's kind."""
    return list(shipped().entries(part_kinds(path, branch_of(path).get("hold_up.branch"))[0]))


def test_every_field_that_names_a_part_is_tried_here() -> None:
    named = {path for path, doc in field_table().items() if doc.parts}
    tried = {path.replace(".0.", ".*.") for path in FIELDS} | WORDED | {"cables.negative.*.part"}
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


@pytest.mark.parametrize("path", [*FIELDS, *WORDED])
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


@pytest.mark.parametrize("path", [*FIELDS, *WORDED])
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


OWN = """
[[battery]]
name = "my battery"
chemistry = "agm"
voltage = "12 V"
rating = "640 A"
rating_standard = "DIN"
capacity = "66 Ah"
mass = "19 kg"
price = 240
tolerance = { rating = "7 %", voltage = "3 %" }
source = "label"
provenance = "engineering estimate"
[[battery]]
name = "old six"
chemistry = "flooded"
voltage = "6 V"
rating = "640 A"
rating_standard = "SAE"
capacity = "66 Ah"
source = "label"
provenance = "engineering estimate"
[[display]]
name = "my display"
power = "4.4 W"
brownout = "7.7 V"
restarts_above = "8 V"
source = "bench"
provenance = "engineering estimate"
[[converter]]
name = "my converter"
input_voltage = "12 V"
output_voltage = "12 V"
direction = "up/down"
rated_power = "5 W"
source = "bench"
provenance = "engineering estimate"
[[fuse]]
name = "my fuse"
type = "bolt-down"
rating = "9 A"
resistance = "11 mohm"
rated_voltage = "58 V"
interrupt = "3000 A"
source = "bench"
provenance = "engineering estimate"
[[engine]]
name = "my engine"
displacement = "2 L"
cylinders = 4
compression_ratio = 21
oil = "whale"
tolerance = { cylinders = "10 %", compression_ratio = "4 %", displacement = "1 %" }
source = "bench"
provenance = "engineering estimate"
"""


@pytest.fixture
def own(tmp_path: Path) -> Catalogue:
    file = tmp_path / "mine.toml"
    file.write_text(OWN, encoding="utf-8")
    return load_catalogue([file])


def test_a_users_own_parts_are_named_like_any(own: Catalogue) -> None:
    found = boat({"battery.part": "my battery", "displays.0.part": "MY  display"}, parts=own)
    assert (found.values["battery.rating"].value, found.values["battery.rating_standard"].value) == (640.0, "DIN")
    assert found.displays[0].circuit.power == 4.4
    assert found.values["displays.0.boot_power"].value == 4.4  # what the line leaves out is estimated as ever
    with pytest.raises(InputError, match="no such battery"):
        boat({"battery.part": "my battery"})


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


# --- studies ---------------------------------------------------------------------------------------------------


@given(st.sampled_from(sorted(FIELDS)), st.data())
@settings(max_examples=60)
def test_any_part_of_an_axis_resolves_to_that_part(path: str, data: st.DataObject) -> None:
    branch = branch_of(path).get("hold_up.branch")
    axis = parse_axis(f"{path}=parts:", branch=branch)
    assert axis.free_text
    name = data.draw(st.sampled_from(axis.texts))
    entry = shipped().find(part_kinds(path, branch)[0], name)
    found = boat({**branch_of(path), path: name}).values
    for field, key in FIELDS[path].items():
        if key in entry.values:
            assert found[f"{table_of(path)}.{field}"].value == entry.value(key)


def test_an_axis_of_capacitors_is_of_the_branchs_kind() -> None:
    kinds = {"reservoir": "capacitor", "supercapacitor": "supercapacitor"}
    for branch, kind in kinds.items():
        names = parse_axis("hold_up.capacitor=parts:", branch=branch).texts
        assert list(names) == [entry.name for entry in shipped().entries(kind)]
    every = parse_axis("hold_up.capacitor=parts:").texts
    assert len(every) == sum(1 for kind in kinds.values() for _ in shipped().entries(kind))
    assert all("string" in name for name in parse_axis("hold_up.capacitor=parts:string cells>1").texts)
    with pytest.raises(InputError, match="is a diode; a battery is due"):
        parse_axis("battery.part=1N5822")


@pytest.mark.parametrize(
    "path",
    ["battery.part", "house.part", "start_circuit.relay_part", "starter.part", "feed.fuse_part", "hold_up.capacitor",
     "hold_up.converter", "hold_up.fuse_part"],
)  # fmt: skip
@pytest.mark.parametrize("series", ["1", "2"])
def test_the_shelf_of_a_part_fits_the_boat_and_rises(path: str, series: str) -> None:
    changes = {**branch_of(path), "battery.in_series": series}
    held = boat({**changes, "displays.0.restarts_above": "9.5 V"})
    names = shelf_of(path, held).texts
    assert names
    for name in names:
        found = boat({**changes, path: name})
        assert not {"over_voltage", "converter_input", "starter_voltage"} & {
            n.code for n in (*found.dangers, *found.warnings)
        }
    key = {"hold_up.capacitor": "capacitance", "hold_up.fuse_part": "rating", "feed.fuse_part": "rating"}.get(path)
    if key is not None:
        sizes = [float(shipped().find(part_kinds(path, held.branch)[0], name).value(key)) for name in names]
        assert sizes == sorted(sizes)
    if path == "battery.part":
        inside = [boat({**changes, path: n, "battery.health": "100 %"}).battery for n in names]
        ohms = [b.resistance_instant + b.resistance_fast for b in inside]
        assert ohms == sorted(ohms, reverse=True)  # a larger battery has less resistance, whatever its test


@pytest.mark.parametrize("series", ["1", "2"])
def test_cells_and_strings_stand_on_one_shelf_by_what_they_come_to(series: str) -> None:
    changes = {"hold_up.branch": "supercapacitor", "battery.in_series": series}
    names = shelf_of("hold_up.capacitor", boat(changes)).texts
    assert {"cell" in name for name in names} == {True, False}
    banks = [boat({**changes, "hold_up.capacitor": name}) for name in names]
    farad = [b.values["hold_up.capacitance"].value for b in banks]
    assert farad == sorted(farad)
    over = {n for n, b in zip(names, banks, strict=True) if "over_voltage" in {note.code for note in b.dangers}}
    assert all("string" in name for name in over)  # of a lone cell there are enough; a string is what it is


@pytest.mark.parametrize("path", ["engine.part", "displays.0.part", "starter.solenoid", "cables.positive.0.part"])
def test_parts_without_a_size_have_no_shelf_of_their_own(path: str) -> None:
    with pytest.raises(InputError, match="--shelf"):
        shelf_of(path, boat({}))
    assert shelf_of(path, boat({}), spec="parts:").texts


def test_tolerances_of_a_line_are_those_of_the_part(own: Catalogue) -> None:
    by_path = {s.path: s for s in spreads_of(boat({"battery.part": "my battery"}, parts=own))}
    assert by_path["battery.rating"].high == pytest.approx(1.07)
    assert "my battery" in by_path["battery.rating"].source
    assert "battery.rating" not in {s.path for s in spreads_of(boat({}))}
    bank = {"hold_up.branch": "supercapacitor", "hold_up.capacitor": "7 x 50 F 2.7 V string"}
    entry = shipped().find("supercapacitor", "7 x 50 F 2.7 V string")
    spread = {s.path: s for s in spreads_of(boat(bank))}["hold_up.capacitance"]
    assert spread.high == pytest.approx(1.0 + entry.spread("cell_capacitance"))
    assert entry.source in spread.source


def test_a_count_does_not_stray_and_a_whole_ratio_does(own: Catalogue) -> None:
    found = {s.path for s in spreads_of(boat({"engine.part": "my engine", "engine.oil": "15W-40"}, parts=own))}
    assert {"engine.compression_ratio", "engine.displacement"} <= found
    assert "engine.cylinders" not in found


def test_an_own_spread_stands_before_the_parts(own: Catalogue) -> None:
    spread = parse_spread("battery.rating=uniform 1 %")
    found = [s for s in spreads_of(boat({"battery.part": "my battery"}, parts=own), [spread]) if s.path == spread.path]
    assert [s.high for s in found] == [pytest.approx(1.01)]


def test_nothing_strays_about_a_zero() -> None:
    assert "cables.positive.0.joints" not in {s.path for s in spreads_of(boat({}))}


def test_the_words_of_a_packs_chemistry_are_those_of_the_catalogue() -> None:
    assert set(PACK_CHEMISTRY.values()) <= {str(e.value("chemistry")) for e in shipped().entries("pack")}


# --- any line that a catalogue may hold ------------------------------------------------------------------------


def _texts(kind: str, field: str) -> st.SearchStrategy[str]:
    """Anything that the catalogue takes in a field, as TOML."""
    spec = KINDS[kind][field]
    if spec.words and spec.measures == "text":
        return st.sampled_from(spec.words).map(lambda word: f'"{word}"')
    if spec.measures == "text":
        return st.sampled_from(['"15W-40"', '"SAE 30"', '"whale"'])
    if spec.measures == "flag":
        return st.sampled_from(["true", "false"])
    if spec.measures == "count":
        return st.integers(int(spec.low), int(spec.high)).map(str)
    low, high = max(spec.low, 0.0), min(spec.high, 1e9)
    exponents = st.floats(-6.0, 6.0).map(lambda x: min(max(10.0**x, low), high))
    numbers = st.sampled_from([low, high]).filter(lambda x: x > 1e-12 or spec.low == 0.0) | exponents
    if spec.measures == "number":
        return numbers.map(lambda x: f"{x:.6f}" if x < 1e6 else f"{x:.0f}.0")
    unit = {"temperature": "degC", "share": "%"}.get(spec.measures)
    if spec.measures == "temperature":
        return st.integers(-100, 400).map(lambda x: f'"{x} {unit}"')
    if spec.measures == "share":
        return st.integers(0, 100).map(lambda x: f'"{x} {unit}"')
    si = {"volume": "m3", "I2t": "A2s", "capacity": "Ah", "thermal resistance": "K/W", "speed": "rpm"}
    unit = si.get(spec.measures) or DIMENSIONS[spec.measures].si
    largest = high / {"Ah": 3600.0, "rpm": 0.10472}.get(unit, 1.0)
    return numbers.map(lambda x: f'"{min(x, largest * 0.999):.9g} {unit}"')


@st.composite
def lines(draw: st.DrawFn, kind: str) -> str:
    """A catalogue line with everything it must hold and some of what it may."""
    text = f'[[{kind}]]\nname = "any"\nsource = "drawn"\nprovenance = "memory"\n'
    for field, spec in KINDS[kind].items():
        if spec.measures != "points" and (spec.required or draw(st.booleans())):
            text += f"{field} = {draw(_texts(kind, field))}\n"
    return text


@pytest.mark.parametrize("path", [p for p in FIELDS if p != "starter.part"] + ["supercapacitor"])
@given(data=st.data())
@settings(max_examples=60, deadline=None)
def test_any_line_gives_a_boat_or_is_refused_in_words(path: str, data: st.DataObject) -> None:
    changes = branch_of(path)
    if path == "supercapacitor":
        path, changes = "hold_up.capacitor", {"hold_up.branch": "supercapacitor"}
    kind = part_kinds(path, changes.get("hold_up.branch"))[0]
    text = data.draw(lines(kind))
    parts = Catalogue(read_text(text, "drawn.toml"))
    try:
        found = boat({**changes, path: "any"}, parts)
    except InputError:
        return  # refused, as parts that contradict themselves may be, but never with another error
    for section in (found.battery, found.engine, found.solenoid, found.start, found.hold_up, found.displays):
        for where, number in numbers(section, ""):
            assert math.isfinite(number), where
