# SPDX-License-Identifier: GPL-3.0-or-later
"""Random sane boats for hypothesis: what a person who knows boats would not raise an eyebrow at.

`scenarios()` draws a `Scenario`; `changes()` draws the overrides alone, to be applied to an example.
"""

from __future__ import annotations

from typing import Any

from hypothesis import strategies as st

from cranksag.examples import example_text
from cranksag.scenario import BRANCHES, Scenario, loads_scenario

EXAMPLE = {
    "none": "restarting",
    "standby pack": "standby-pack",
    "reservoir": "reservoir",
    "supercapacitor": "supercapacitor",
    "house feed": "house-feed",
    "converter": "restarting",
}
"""The example that each branch starts from."""


def _number(low: float, high: float, unit: str) -> st.SearchStrategy[str]:
    return st.floats(low, high).map(lambda x: f"{x:.5g} {unit}")


def boat_changes() -> dict[str, st.SearchStrategy[str]]:
    """Ranges of the boat's own fields: a healthy to a tired small diesel boat of 12 V, cold to warm."""
    return {
        "temperature.ambient": _number(-10.0, 35.0, "degC"),
        "battery.rating": _number(500.0, 1000.0, "A"),
        "battery.state_of_charge": _number(50.0, 100.0, "%"),
        "battery.health": _number(50.0, 100.0, "%"),
        "battery.chemistry": st.sampled_from(("flooded", "efb", "agm", "gel")),
        "starter.power": _number(1.4, 3.0, "kW"),
        "starter.motor": st.sampled_from(("series", "permanent magnet")),
        "engine.displacement": _number(1.5, 5.0, "L"),
        "engine.cylinders": st.sampled_from(("3", "4", "6")),
        "cables.positive.0.length": _number(0.5, 4.0, "m"),
        "cables.positive.0.size": st.sampled_from(("2 AWG", "2/0 AWG", "50 mm2", "70 mm2")),
        "feed.from": st.sampled_from(("starter stud", "battery", "battery switch")),
        "feed.return_to": st.sampled_from(("engine block", "battery negative")),
        "feed.length": _number(1.0, 15.0, "m"),
        "feed.joints": _number(5.0, 150.0, "mohm"),
        "feed.return_joints": _number(5.0, 80.0, "mohm"),
        "displays.0.power": _number(3.0, 20.0, "W"),
        "displays.0.brownout": _number(6.0, 9.0, "V"),
        "displays.0.reset_after": _number(0.5, 20.0, "ms"),
        "displays.0.input_capacitance": _number(47.0, 1000.0, "uF"),
    }


def branch_changes(branch: str) -> dict[str, st.SearchStrategy[str]]:
    """Ranges of a hold-up branch's fields."""
    return {
        "standby pack": {"hold_up.contact": st.sampled_from(("make", "changeover", "none"))},
        "reservoir": {"hold_up.capacitance": _number(5.0, 200.0, "mF")},
        "supercapacitor": {"hold_up.capacitance": _number(0.2, 2.0, "F")},
        "converter": {"hold_up.cut_out": _number(4.0, 7.0, "V"), "hold_up.cut_in": _number(7.5, 9.0, "V")},
    }.get(branch, {})


@st.composite
def changes(draw: st.DrawFn, branches: tuple[str, ...] = BRANCHES, **fixed: str) -> tuple[str, dict[str, str]]:
    """A branch and the overrides of its example; `fixed`: further overrides, `__` for the dots."""
    branch = draw(st.sampled_from(branches))
    drawn: dict[str, Any] = {path: draw(s) for path, s in (boat_changes() | branch_changes(branch)).items()}
    drawn |= {
        "crank.key_on_before": "0.5 s",
        "crank.key_held": draw(_number(0.5, 1.2, "s")),
        "crank.after": "0.2 s",
        "engine.fires_after": draw(st.sampled_from(("0.2 s", "0.5 s", "never"))),
    }
    if branch == "converter":
        drawn["hold_up.branch"] = "converter"
        drawn["hold_up.restart_delay"] = "50 ms"
    return branch, drawn | {key.replace("__", "."): value for key, value in fixed.items()}


@st.composite
def scenarios(draw: st.DrawFn, branches: tuple[str, ...] = BRANCHES, **fixed: str) -> Scenario:
    """A sane scenario of one of the branches."""
    return scenario_of(draw(changes(branches, **fixed)))


def scenario_of(drawn: tuple[str, dict[str, str]], **more: str) -> Scenario:
    """The scenario of `changes`; `more`: further overrides, `__` for the dots."""
    branch, overrides = drawn
    name = EXAMPLE[branch]
    extra = {key.replace("__", "."): value for key, value in more.items()}
    return loads_scenario(example_text(name), name).with_overrides({**overrides, **extra})
