# SPDX-License-Identifier: GPL-3.0-or-later
"""The example boats and the form for a new one."""

from __future__ import annotations

import pytest

from cranksag.errors import InputError
from cranksag.examples import example_names, example_text, template
from cranksag.scenario import DEFAULT_ROWS, default_value, loads_scenario


@pytest.mark.parametrize("name", example_names())
def test_examples_are_invented_and_read(name: str) -> None:
    text = example_text(name)
    boat = loads_scenario(text, name)
    assert "invented" in text.split("\n\n")[0]
    assert boat.title is not None
    assert "nvented" in boat.title
    assert boat.hold_up.branch is not None
    assert len(boat.written) > 50


def test_examples_by_name() -> None:
    assert {
        "restarting",
        "standby-pack",
        "hot-restart",
        "only-clicks",
        "converter-24v",
        "key-cut",
        "paralleled-banks",
        "two-displays",
        "reservoir",
        "supercapacitor",
        "house-feed",
    } == set(example_names())
    for name in ("nowhere", "../restarting", "template", ""):
        with pytest.raises(InputError, match="restarting"):
            example_text(name)


def test_every_branch_has_an_example() -> None:
    branches = {loads_scenario(example_text(name)).hold_up.branch for name in example_names()}
    assert branches == {"none", "standby pack", "reservoir", "supercapacitor", "house feed", "converter"}


def test_the_template_shows_the_defaults() -> None:
    boat = loads_scenario(template(), "template")
    rows = {
        f"{where}.{i}.{k}": v for where, row in DEFAULT_ROWS.items() for i, r in enumerate(row) for k, v in r.items()
    }
    assert set(rows) <= set(boat.written)
    for path, place in boat.written.items():
        if path in rows:
            assert place.text == rows[path]
        else:
            assert boat.get(path) == default_value(path), path


def test_the_template_s_optional_lines_are_right_too() -> None:
    marks = ("# [", "# ]", "#   {")
    lines = [
        line[2:] if line.startswith(marks) or (line.startswith("# ") and line[2:].split(" ")[1:2] == ["="]) else line
        for line in template().split("\n")
    ]
    boat = loads_scenario("\n".join(lines), "template")
    assert len(boat.starter.points) == 3
    assert boat.house is not None
    assert len(boat.loads) == 1
