# SPDX-License-Identifier: GPL-3.0-or-later
"""The JSON Schema of the scenario file (draft 2020-12), for completion in editors.

It says what a field may look like (units, words, numbers); the limits of quantities stand in the
descriptions, since a pattern cannot compare, and are checked when the file is read.
"""

from __future__ import annotations

from typing import Any

from cranksag.scenario.base import Section
from cranksag.scenario.hold_up import BRANCHES, HoldUp, branches_of
from cranksag.scenario.model import Scenario
from cranksag.scenario.paths import Member, members
from cranksag.scenario.specs import Flag, Number, Quantity, Spec


def scenario_schema() -> dict[str, Any]:
    """The JSON Schema of the scenario file."""
    definitions: dict[str, Any] = {}
    root = _object(Scenario, definitions)
    root["properties"]["sweep"] = _sweep()
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "cranksag scenario",
        **root,
        "minProperties": 1,
        "$defs": dict(sorted(definitions.items())),
    }


SWEEP_LISTS = {
    "axes": ("What is swept, PATH=SPEC, as after --axis.", "battery.rating=600 A, 800 A"),
    "zip": ("Fields that advance together, PATH,PATH.", "feed.size,feed.return_size"),
    "same": ("A field that follows another, PATH=PATH.", "feed.return_size=feed.size"),
    "where": ("Conditions that a combination meets.", "feed.size <= feed.return_size"),
    "prices": ("What a value costs, PATH=VALUE:AMOUNT.", "feed.size=16 AWG:1.20/m"),
}
"""Lists of the [sweep] table, which `cranksag sweep` reads and every other command passes over."""


def _sweep() -> dict[str, Any]:
    lists = {
        name: {"type": "array", "items": {"type": "string"}, "description": doc, "examples": [[example]]}
        for name, (doc, example) in SWEEP_LISTS.items()
    }
    return {
        "type": "object",
        "description": "What `cranksag sweep` varies; it says nothing about the boat.",
        "additionalProperties": False,
        "properties": {
            **lists,
            "sample": {"type": "string", "description": "Draws instead of the grid.", "examples": ["latin 500"]},
            "seed": {"type": "integer", "minimum": 0, "description": "Of the draws.", "default": 0},
        },
    }


def _object(model: type[Section], definitions: dict[str, Any]) -> dict[str, Any]:
    schema: dict[str, Any] = {
        "type": "object",
        "description": (model.__doc__ or "").strip().split("\n")[0],
        "additionalProperties": False,
        "properties": {name: _member(member, definitions) for name, member in members(model).items()},
    }
    if model is HoldUp:
        schema["allOf"] = [_branch_rule(branch) for branch in BRANCHES]
    return schema


def _member(member: Member, definitions: dict[str, Any]) -> dict[str, Any]:
    if member.spec is not None:
        return _field(member.spec)
    model = member.model
    assert model is not None
    if model.__name__ not in definitions:
        definitions[model.__name__] = {}
        definitions[model.__name__] = _object(model, definitions)
    reference = {"$ref": f"#/$defs/{model.__name__}"}
    if member.rows:
        return {"type": "array", "items": reference, "description": member.doc}
    return {**reference, "description": member.doc}


def _field(spec: Spec) -> dict[str, Any]:
    description = spec.doc
    if isinstance(spec, Quantity):
        description += f" Limits: {spec.low} to {spec.high}."
    if spec.branches:
        description += f" For: {', '.join(spec.branches)}."
    schema: dict[str, Any] = {**spec.schema(), "description": description}
    if spec.default is not None:
        as_read = isinstance(spec, (Number, Flag))
        schema["default"] = spec.read_text(spec.default) if as_read else spec.default
    return schema


def _branch_rule(branch: str) -> dict[str, Any]:
    """In a hold-up table of this branch, only its own fields."""
    names = [name for name in HoldUp.model_fields if not branches_of(name) or branch in branches_of(name)]
    chosen: dict[str, Any] = {"properties": {"branch": {"const": branch}}}
    if branch != "none":  # a table without a branch has the branch "none"
        chosen["required"] = ["branch"]
    return {"if": chosen, "then": {"propertyNames": {"enum": names}}}
