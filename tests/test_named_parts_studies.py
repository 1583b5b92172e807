# SPDX-License-Identifier: GPL-3.0-or-later
"""Named parts in studies: axes, shelves, tolerances; and whatever line a user's catalogue may hold."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cranksag.catalogue import KINDS, Catalogue
from cranksag.catalogue.reader import read_text
from cranksag.errors import InputError
from cranksag.parts.fuse import FUSE_TYPES
from cranksag.quantities import DIMENSIONS
from cranksag.resolve.hold_up import PACK_CHEMISTRY
from cranksag.studies.axes import parse_axis, part_kinds
from cranksag.studies.shelf import shelf_of
from cranksag.studies.spreads import parse_spread, spreads_of
from tests.part_fields import FIELDS, boat, branch_of, numbers, own_catalogue, shipped, table_of


@pytest.fixture
def own() -> Catalogue:
    return own_catalogue()


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
    unfit = {"over_voltage", "converter_input", "converter_over_voltage", "display_over_voltage", "display_supply"}
    unfit = (unfit | {"starter_voltage"}) - {n.code for n in (*held.dangers, *held.warnings)}
    for name in names:
        found = boat({**changes, path: name})
        assert not unfit & {n.code for n in (*found.dangers, *found.warnings)}
    key = {"hold_up.capacitor": "capacitance", "hold_up.fuse_part": "rating", "feed.fuse_part": "rating"}.get(path)
    if key is not None:
        sizes = [float(shipped().find(part_kinds(path, held.branch)[0], name).value(key)) for name in names]
        assert sizes == sorted(sizes)
    if path == "battery.part":
        inside = [boat({**changes, path: n, "battery.health": "100 %"}).battery for n in names]
        ohms = [b.resistance_instant for b in inside]
        assert ohms == sorted(ohms, reverse=True)  # a larger battery has less resistance, whatever its test


@pytest.mark.parametrize(
    ("change", "contacts"),
    [
        ({}, {"make"}),
        ({"hold_up.contact": "changeover"}, {"changeover"}),
        ({"hold_up.contact": "make"}, {"make", "changeover"}),
        ({"hold_up.relay": "12 V 45 A changeover, 90 ohm"}, {"changeover"}),
    ],
)
def test_the_shelf_of_hold_up_relays_keeps_the_wiring(change: dict[str, str], contacts: set[str]) -> None:
    held = boat({"hold_up.branch": "standby pack", **change})
    names = shelf_of("hold_up.relay", held, shipped()).texts
    assert {shipped().find("relay", name).value("contact") for name in names} == contacts
    starts = shelf_of("start_circuit.relay_part", held, shipped()).texts
    assert {shipped().find("relay", name).value("contact") for name in starts} == {"make", "changeover"}


@pytest.mark.parametrize("table", ["feed", "hold_up"])
@pytest.mark.parametrize("kind", ["", *FUSE_TYPES])
def test_the_shelf_of_a_fuse_holds_the_ratings_of_its_type(table: str, kind: str) -> None:
    """A boat that names no fuse has a blade fuse; a maxi blade is not made for 2 A."""
    named = next((e.name for e in shipped().entries("fuse") if e.value("type") == kind), "none")
    held = boat({"hold_up.branch": "standby pack", f"{table}.fuse_part": named})
    made = FUSE_TYPES[kind or "blade"].ratings
    assert shelf_of(f"{table}.fuse", held, shipped()).values == tuple(sorted(made))


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
@settings(max_examples=25)
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
