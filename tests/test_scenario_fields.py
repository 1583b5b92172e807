# SPDX-License-Identifier: GPL-3.0-or-later
"""Every scenario field at, below and above its limits, with wrong units and kinds; schema and table."""

from __future__ import annotations

import json
import math
import tomllib
from collections.abc import Iterator
from typing import Any

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cranksag.errors import InputError
from cranksag.examples import example_names, example_text, template
from cranksag.quantities import DIMENSIONS, SIZE_NAMES, Dimension, format_quantity, parse
from cranksag.scenario import (
    BRANCHES,
    FieldDoc,
    Scenario,
    default_value,
    field_doc,
    field_table,
    loads_scenario,
    scenario_schema,
)

FIELDS = list(field_table().values())
QUANTITIES = [doc for doc in FIELDS if doc.kind == "quantity"]
SCHEMA = scenario_schema()
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)

# What a row needs beside the field under test.
COMPANIONS: dict[str, dict[str, Any]] = {
    "cables.positive.*": {"length": "1 m", "size": "2 AWG"},
    "cables.negative.*": {"length": "1 m", "size": "2 AWG"},
    "loads.*": {"current": "1 A"},
    "starter.points.*": {"voltage": "9 V", "current": "200 A"},
}


def document(doc: FieldDoc, value: Any) -> dict[str, Any]:
    """The smallest scenario that holds one field and whatever must stand beside it."""
    *parents, name = doc.path.split(".")
    row = dict(COMPANIONS.get(".".join(parents), {}))
    if name == "resistance" or (name == "part" and value != "none"):
        row.pop("length", None)
        row.pop("size", None)
        row.pop("current", None)
    elif parents == ["loads", "*"] and name == "power":
        row.pop("current")
    if name.endswith("corrosion"):
        row[name.replace("corrosion", "corroded")] = "multi-pin connector pin"
    if doc.branches:
        row["branch"] = doc.branches[0]
    row[name] = value
    whole: Any = row
    for parent in reversed(parents):
        whole = [whole] if parent == "*" else {parent: whole}
    return dict(whole)


def toml(value: Any) -> str:
    """A value as TOML; tables inline, which is TOML too."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {toml(inner)}" for key, inner in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(toml(inner) for inner in value) + "]"
    if isinstance(value, float):
        return {math.inf: "inf", -math.inf: "-inf"}.get(value, repr(value))
    return json.dumps(value)


def read(doc: FieldDoc, value: Any) -> Any:
    """The field's value as read from a file."""
    text = "\n".join(f"{key} = {toml(inner)}" for key, inner in document(doc, value).items())
    return loads_scenario(text, "boat.toml").get(doc.path.replace("*", "0"))


def refusal(doc: FieldDoc, value: Any) -> str:
    """The one line that refuses a value, in a file and in an override alike."""
    with pytest.raises(InputError) as caught:
        read(doc, value)
    assert len(caught.value.problems) == 1, caught.value.problems
    line = caught.value.problems[0]
    assert line.isprintable()
    assert line.startswith(f"boat.toml:1: {doc.path.replace('*', '0')}")
    return line


def ids(doc: FieldDoc) -> str:
    return doc.path


def si_limits(doc: FieldDoc) -> tuple[float, float]:
    assert doc.dimension is not None
    assert doc.low is not None
    assert doc.high is not None
    return parse(doc.low, doc.dimension), parse(doc.high, doc.dimension)


@pytest.mark.parametrize("doc", QUANTITIES, ids=ids)
def test_quantities_at_below_and_above_their_limits(doc: FieldDoc) -> None:
    low, high = si_limits(doc)
    assert low < high
    dimension = doc.dimension
    assert dimension is not None
    assert read(doc, doc.low) == low
    assert read(doc, doc.high) == high
    step = 1e-6 * (high - low)
    for value in (low - step, high + step, low - 10 * (high - low), high + 1e6 * (high - low)):
        line = refusal(doc, format_quantity(value, dimension, digits=None))
        assert f"must be {doc.low} to {doc.high}" in line or ("cannot be negative" in line and value < 0.0)
    middle = format_quantity(0.5 * (low + high), dimension, digits=None)
    assert read(doc, middle) == pytest.approx(0.5 * (low + high), rel=1e-12)
    assert VALIDATOR.is_valid(document(doc, middle))


@pytest.mark.parametrize("doc", QUANTITIES, ids=ids)
def test_quantities_in_wrong_units_and_kinds(doc: FieldDoc) -> None:
    dimension = doc.dimension
    assert dimension is not None
    fits = f"units that fit: {', '.join(dimension.listed)}"
    for bare in (3, 2.5, math.inf):
        line = refusal(doc, bare)
        assert "needs a unit" in line
        assert fits in line
    for other in DIMENSIONS.values():
        unit = other.listed[0]
        if unit not in dimension.units:
            line = refusal(doc, f"3 {unit}")
            assert fits in line
            assert dimension.article in line
            assert not VALIDATOR.is_valid(document(doc, f"3 {unit}"))
    for text, says in [
        ("3", "unit is missing"),
        ("1,5 " + dimension.listed[0], "comma"),
        ("inf " + dimension.listed[0], "finite"),
        ("much", "not a quantity"),
        ("", "not a quantity"),
        ("10**10**10 " + dimension.listed[0], "unknown unit"),
    ]:
        assert says in refusal(doc, text)
        assert not VALIDATOR.is_valid(document(doc, text))
    for wrong in (True, [], ["3 V"]):
        assert "in quotes" in refusal(doc, wrong)
        assert not VALIDATOR.is_valid(document(doc, wrong))
    for word in doc.words:
        assert read(doc, word) == word
        assert VALIDATOR.is_valid(document(doc, word))


@pytest.mark.parametrize("doc", [d for d in FIELDS if d.kind == "choice"], ids=ids)
def test_choices(doc: FieldDoc) -> None:
    for word in doc.choices:
        if doc.path == "hold_up.branch" or read(doc, word) == word:
            assert VALIDATOR.is_valid(document(doc, word))
    for wrong in ("", "zzz", doc.choices[0] + " ", doc.choices[0].swapcase()):
        assert doc.choices[0] in refusal(doc, wrong)
        assert not VALIDATOR.is_valid(document(doc, wrong))
    for kind in (3, True, [], [doc.choices[0]]):
        assert "must be one of" in refusal(doc, kind)


@pytest.mark.parametrize("doc", [d for d in FIELDS if d.kind == "number"], ids=ids)
def test_numbers(doc: FieldDoc) -> None:
    assert doc.low is not None
    assert doc.high is not None
    low, high = (int(float(x)) if doc.whole else float(x) for x in (doc.low, doc.high))
    assert read(doc, low) == low
    assert read(doc, high) == high
    step = 1 if doc.whole else 1e-6
    for wrong in (low - step, high + step, -high, math.inf, math.nan, str(low), True, [], f"{low} V", 10**30):
        line = refusal(doc, wrong)
        assert f"{doc.low} to {doc.high}" in line
        if wrong == wrong:  # NaN compares false with every limit, also in the schema
            assert not VALIDATOR.is_valid(document(doc, wrong))
    if doc.whole:
        assert "whole number" in refusal(doc, low + 0.5)


@pytest.mark.parametrize("doc", [d for d in FIELDS if d.kind == "size"], ids=ids)
def test_sizes(doc: FieldDoc) -> None:
    for system, names in SIZE_NAMES.items():
        for name in (names[0], names[-1]):
            assert read(doc, f"{name} {system}").name == name
            assert VALIDATOR.is_valid(document(doc, f"{name} {system}"))
    for wrong in (
        "23 AWG",
        "5/0 AWG",
        "0.1 mm2",
        "401 mm2",
        "2 mm2",
        "16",
        "16 V",
        "70 m2",
        16,
        1.5,
        True,
        [],
    ):
        refusal(doc, wrong)
        assert not VALIDATOR.is_valid(document(doc, wrong))


@pytest.mark.parametrize("doc", [d for d in FIELDS if d.kind in ("flag", "text", "time mark")], ids=ids)
def test_flags_texts_and_moments(doc: FieldDoc) -> None:
    good: dict[str, list[Any]] = {
        "flag": [True, False],
        "text": ["x", "ü" * 200],
        "time mark": ["fire", "fire+0.2 s", "fire - 3 ms"],
    }
    wrong: dict[str, list[Any]] = {
        "flag": ["true", "", 0, 1],
        "text": ["", True, "x" * 201],
        "time mark": ["", "noon", "fire+3", "fire+3 V", True],
    }
    for value in good[doc.kind]:
        read(doc, value)
        assert VALIDATOR.is_valid(document(doc, value))
    for value in [*wrong[doc.kind], 3, 1.5, [], math.inf]:
        refusal(doc, value)
        assert not VALIDATOR.is_valid(document(doc, value))


@given(st.sampled_from(QUANTITIES), st.data())
def test_a_quantity_is_taken_exactly_within_its_limits(doc: FieldDoc, data: st.DataObject) -> None:
    dimension = doc.dimension
    assert dimension is not None
    low, high = si_limits(doc)
    number = data.draw(st.floats(-1e4, 1e4) | st.floats(1e-6, 1e6))
    unit = data.draw(st.sampled_from(dimension.listed))
    text = f"{number:.9g} {unit}"
    try:
        value = parse(text, dimension)
    except InputError:
        value = math.nan
    if low <= value <= high:
        assert read(doc, text) == value
    else:
        refusal(doc, text)


@given(st.sampled_from(FIELDS), st.data())
def test_garbage_in_any_field_is_taken_or_refused(doc: FieldDoc, data: st.DataObject) -> None:
    scalars = st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=30)
    names = st.text(max_size=4)
    nested = st.recursive(
        scalars, lambda x: st.lists(x, max_size=2) | st.dictionaries(names, x, max_size=2), max_leaves=4
    )
    value = data.draw(nested)
    raw = document(doc, value)
    try:
        Scenario.model_validate(raw)
        accepted = True
    except ValueError:
        accepted = False
    if accepted and doc.kind not in ("text",):
        assert value is None or VALIDATOR.is_valid(raw)


# --- the table ------------------------------------------------------------


@pytest.mark.parametrize("doc", FIELDS, ids=ids)
def test_documentation_is_complete(doc: FieldDoc) -> None:
    path = doc.path.replace("*", "0")
    assert doc.description.endswith((".", "so on."))
    assert field_doc(path).description == doc.description
    if doc.default is None:
        assert default_value(path) is None
    else:
        value: Any = doc.default
        if doc.kind in ("number", "flag"):
            value = default_value(path)
        assert read(doc, value) == default_value(path)


def test_the_table_has_every_kind_of_path() -> None:
    table = field_table()
    assert {
        "title",
        "feed.from",
        "cables.positive.*.length",
        "starter.points.*.torque",
        "house.rating",
    } <= set(table)
    assert table["battery.rating"].dimension is DIMENSIONS["current"]
    assert table["hold_up.capacitance"].branches == ("reservoir", "supercapacitor")
    assert len(table) > 150
    with pytest.raises(InputError, match="did you mean"):
        field_doc("feed.sise")


def test_every_branch_has_fields_of_its_own() -> None:
    for branch in BRANCHES[1:]:
        assert any(branch in doc.branches for doc in FIELDS)


# --- the schema ------------------------------------------------------------


def test_the_schema_is_one() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    assert SCHEMA["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert json.loads(json.dumps(SCHEMA)) == SCHEMA


@pytest.mark.parametrize("name", example_names())
def test_examples_keep_to_the_schema(name: str) -> None:
    assert not list(VALIDATOR.iter_errors(tomllib.loads(example_text(name))))


def test_the_template_keeps_to_the_schema() -> None:
    assert not list(VALIDATOR.iter_errors(tomllib.loads(template())))


@pytest.mark.parametrize(
    "broken",
    [
        {},
        {"feed": {"sise": "16 AWG"}},
        {"feed": {"length": 30}},
        {"displays": {"power": "9 W"}},
        {"battery": []},
        {"hold_up": {"capacitance": "1 F"}},
        {"hold_up": {"branch": "standby pack", "capacitance": "1 F"}},
        {"batery": {}},
        {"title": ""},
    ],
)
def test_broken_scenarios_break_the_schema(broken: dict[str, Any]) -> None:
    assert not VALIDATOR.is_valid(broken)


def _defaults(schema: Any) -> Iterator[tuple[dict[str, Any], Any]]:
    if isinstance(schema, dict):
        if "default" in schema and "description" in schema:
            yield schema, schema["default"]
        for inner in schema.values():
            yield from _defaults(inner)


def test_defaults_keep_to_their_own_schema() -> None:
    found = list(_defaults(SCHEMA))
    assert len(found) > 60
    for schema, value in found:
        assert jsonschema.Draft202012Validator(schema).is_valid(value)


def _spellings(dimension: Dimension) -> list[str]:
    signs = {"u": "µ", "ohm": "Ω", "m2": "m²", "m3": "m³"}
    return [
        *dimension.units,
        *(unit.replace(a, b) for unit in dimension.units for a, b in signs.items() if a in unit),
    ]


@pytest.mark.parametrize("doc", QUANTITIES, ids=ids)
def test_schema_and_parser_take_the_same_units(doc: FieldDoc) -> None:
    dimension = doc.dimension
    assert dimension is not None
    for spelling in _spellings(dimension):
        try:
            parse(f"3 {spelling}", dimension)
        except InputError:
            continue
        assert VALIDATOR.is_valid(document(doc, f"3 {spelling}")), spelling
