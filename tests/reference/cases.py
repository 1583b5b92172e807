# SPDX-License-Identifier: GPL-3.0-or-later
"""The boats that are solved both ways: every hold-up branch and every way the start circuit can go, kept short."""

from __future__ import annotations

from cranksag.examples import example_text
from cranksag.resolve import resolve
from cranksag.resolve.model import Boat
from cranksag.scenario import loads_scenario

SHORT = {
    "crank.key_on_before": "0.4 s",
    "crank.key_held": "0.8 s",
    "engine.fires_after": "0.3 s",
    "crank.after": "0.2 s",
}
"""Enough for pull-in, inrush, two compressions, firing and release."""

QUICK_BOOT = {"displays.0.boot_time": "0.15 s"}

CASES: dict[str, tuple[str, dict[str, str]]] = {
    "none": ("restarting", {}),
    "none, key carries the coils": ("hot-restart", {"hold_up.branch": "none"}),
    "none, only clicks": ("only-clicks", {}),
    "standby pack": ("standby-pack", {}),
    "standby pack, relay too hot": ("hot-restart", {}),
    "standby pack, changeover": ("standby-pack", {"hold_up.contact": "changeover"}),
    "standby pack, diode only": ("standby-pack", {"hold_up.contact": "none"}),
    "reservoir": ("reservoir", {"crank.key_on_before": "0.9 s"}),
    "supercapacitor": ("supercapacitor", {"crank.key_on_before": "0.9 s", "hold_up.capacitance": "0.5 F"}),
    "house feed": ("house-feed", {}),
    # fed again when the key is let go, in a jump: a voltage that creeps over its level would be a knife's edge
    "converter 24 V": ("converter-24v", {"hold_up.restart_delay": "50 ms", "hold_up.cut_in": "23.5 V"}),
    "converter 12 V, up/down": (
        "restarting",
        {
            "hold_up.branch": "converter",
            "hold_up.cut_out": "5 V",
            "hold_up.cut_in": "6 V",
            "hold_up.restart_delay": "20 ms",
        },
    ),
    "key cut": ("key-cut", {}),
    "key break": ("restarting", {"feed.dead_in_start": "false", "feed.key_break": "8 ms", "feed.from": "battery"}),
    "paralleled banks": ("paralleled-banks", {}),
    "surface charge": ("restarting", {"battery.open_circuit_voltage": "13.1 V", "battery.in_parallel": "1"}),
    "two displays": ("two-displays", {}),
    "input diode, internal threshold": (
        "restarting",
        {
            "displays.0.input_diode": "true",
            "displays.0.brownout_at": "internal",
            "displays.0.input_capacitance": "10 mF",
        },
    ),
    "sense pin": ("standby-pack", {"displays.0.sense_threshold": "8 V", "displays.0.sense_from": "feed", **QUICK_BOOT}),
    "two attempts": (
        "restarting",
        {
            "crank.attempts": "2",
            "crank.rest": "0.3 s",
            "crank.key_held": "0.42 s",
            "engine.fires_after": "0.1 s",
            **QUICK_BOOT,
        },
    ),
    "permanent magnet": ("restarting", {"starter.motor": "permanent magnet"}),
    # the key is let go where the coasting engine does not just pass over a compression: that would be a knife's edge
    "never fires": ("restarting", {"engine.fires_after": "never", "crank.key_held": "0.85 s"}),
}


def boat_of(name: str, **more: str) -> Boat:
    """The resolved boat of a case; `more`: further overrides, `__` for the dots."""
    example, changes = CASES[name]
    extra = {key.replace("__", "."): value for key, value in more.items()}
    return resolve(loads_scenario(example_text(example), example).with_overrides({**SHORT, **changes, **extra}))
