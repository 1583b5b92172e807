# SPDX-License-Identifier: GPL-3.0-or-later
"""Fields changed after reading: `--set` and what sweeps do ten thousand times."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cranksag.errors import InputError
from cranksag.examples import example_names, example_text
from cranksag.quantities import ConductorSize
from cranksag.scenario import DEFAULT_ROWS, loads_scenario

BOAT = """\
title = "a boat"
[temperature]
ambient = "50 degF"

[battery]
rating = "800 A"
capacity = "110 Ah"
state_of_charge = "85 %"
in_series = 1

[[cables.positive]]
length = "6 ft"
size = "2/0 AWG"
[[cables.positive]]
resistance = "0.3 mohm"

[feed]
from = "starter stud"
size = "70 mm2"
dead_in_start = true

[[loads]]
current = "1 A"
from_time = "start+0.2 s"
until = "fire - 50 ms"

[[displays]]
name = "helm"
power = "9 W"

[hold_up]
branch = "reservoir"
capacitance = "22 mF"
inrush_limit = "none"
"""


def test_overrides_change_only_what_they_name() -> None:
    boat = loads_scenario(BOAT, "boat.toml")
    changed = boat.with_overrides(
        {
            "feed.size": "12 AWG",
            "cables.positive.0.length": "3 m",
            "battery.in_series": "2",
            "feed.dead_in_start": "false",
            "engine.compression_ratio": "21.5",
            "house.rating": "500 A",
            "displays.0.power": "8 W",
            "title": "another",
        }
    )
    assert changed.feed.size == ConductorSize("AWG", "12")
    assert changed.cables.positive[0].length == 3.0
    assert changed.battery.in_series == 2
    assert changed.feed.dead_in_start is False
    assert changed.engine.compression_ratio == 21.5
    assert changed.house is not None
    assert changed.house.rating == 500.0
    assert changed.written["feed.size"].line is None
    assert changed.written["feed.size"].text == "12 AWG"
    assert changed.written["feed.size"].file == "--set"
    assert changed.written["battery.rating"].line == 6
    assert set(changed.overrides) >= {"feed.size", "title"}
    assert boat == loads_scenario(BOAT)
    assert not boat.overrides
    assert changed.with_overrides({"feed.size": "70 mm2"}).overrides["feed.size"].text == "70 mm2"
    assert boat.with_overrides({}) == boat


def test_overrides_are_refused_like_the_file() -> None:
    boat = loads_scenario(BOAT)
    with pytest.raises(InputError) as caught:
        boat.with_overrides(
            {
                "feed.sise": "3",
                "battery.state_of_charge": "170 %",
                "displays.3.power": "3 W",
                "displays.1.power": "3 W",
                "displays.power": "1",
                "feed": "1",
                "battery.in_series": "2.5",
                "feed.dead_in_start": "yes",
                "hold_up.pack_voltage": "12 V",
                "feed.size.x": "1",
                "cables.positive.0.resistance": "1 mohm",
                "battery.rating": "800",
                "loads.0.power": "3 W",
                "loads.-1.power": "3 W",
                "": "",
                "x" * 300: "",
            }
        )
    found = caught.value.problems
    assert found[0] == '--set feed.sise: unknown field (did you mean "size"?)'
    assert found[1] == '--set battery.state_of_charge = "170 %": must be 0 % to 100 %'
    assert "displays has 1 entry, counted from 0" in found[2]
    assert len(found) == 16
    assert all(line.startswith("--set ") and line.isprintable() for line in found)


def test_the_option_is_named_in_messages() -> None:
    with pytest.raises(InputError, match=r"^--axis feed\.size = "):
        loads_scenario(BOAT).with_overrides({"feed.size": "17 m"}, option="--axis")


def test_a_new_branch_drops_the_fields_of_the_old_one() -> None:
    boat = loads_scenario(BOAT)
    none = boat.with_overrides({"hold_up.branch": "none"})
    assert none.hold_up.capacitance is None
    assert "hold_up.capacitance" not in none.written
    both = boat.with_overrides({"hold_up.branch": "supercapacitor", "hold_up.cells": "6"})
    assert both.hold_up.capacitance == 0.022
    assert both.hold_up.cells == 6
    with pytest.raises(InputError, match="does not belong"):
        boat.with_overrides({"hold_up.branch": "none", "hold_up.capacitance": "1 F"})


def test_lists_that_were_left_out_start_from_their_defaults() -> None:
    boat = loads_scenario('title = "bare"')
    changed = boat.with_overrides({"displays.0.power": "20 W", "cables.positive.0.length": "3 m"})
    assert changed.displays[0].power == 20.0
    assert len(changed.cables.positive) == len(DEFAULT_ROWS["cables.positive"])
    assert changed.cables.positive[0].size == ConductorSize("AWG", "2/0")
    assert changed.cables.negative == ()
    assert changed.overrides.keys() == {"displays.0.power", "cables.positive.0.length"}
    with pytest.raises(InputError, match="loads has no entries"):
        boat.with_overrides({"loads.0.current": "1 A"})


@given(st.text(max_size=60), st.text(max_size=60))
def test_any_override_is_taken_or_refused(path: str, text: str) -> None:
    boat = loads_scenario(BOAT)
    found: list[str] = []
    try:
        boat.with_overrides({path: text})
    except InputError as error:
        found = error.problems
    assert all(line.startswith("--set ") and line.isprintable() for line in found)


@pytest.mark.parametrize("name", example_names())
def test_an_override_is_the_same_as_writing_it(name: str) -> None:
    boat = loads_scenario(example_text(name))
    bare = loads_scenario(f'title = "x"\n[hold_up]\nbranch = "{boat.hold_up.branch}"')
    single = {
        path: place.text
        for path, place in boat.written.items()
        if not path.startswith(("cables.", "loads.", "displays."))
    }
    rebuilt = bare.with_overrides(single)
    for path in single:
        assert rebuilt.get(path) == boat.get(path)
