# SPDX-License-Identifier: GPL-3.0-or-later
"""Faults of main cables, alternator, banks, panel and input diodes on the real ngspice; and that none is forgotten."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from cranksag.examples import example_names
from cranksag.parts.battery import terminal_voltage
from cranksag.resolve import resolve
from cranksag.resolve.model import Boat
from cranksag.studies.faultedits import FAULT_SHORT, Bridge, Fault
from cranksag.studies.faultlist import SOUND, single_faults
from cranksag.studies.faultloads import SHORT
from cranksag.studies.faultmains import NOT_TRIED
from cranksag.studies.faultreading import FaultRow
from cranksag.studies.faultrun import make_bench
from cranksag.studies.faults import run_faults

PLUMBING = {
    "ammeters and taps of 0 V": (
        "Vtap", "Vreturn", "Vstart", "Vsig", "Vs", "Vfuse", "Vhold", "Vcoil", "Vfd", "Vlink", "Vpass", "Vbank",
    ),
    "the key's and the loads' times, the pacer and what its steps need": (
        "Vone", "Vk", "Vpc", "Xpacer", "Vga", "Xga", "Xgate", "Xcharging", "Bdisplay",
    ),
    "strays and resistors of nodes that would float": ("C", "Rncs", "Rnc", "Rsig", "Raltp", "Rmot"),
    "fuses, which hold so that their currents can be read": ("Rfuse",),
    "the engine": ("Xengine",),
}  # fmt: skip
"""Lines of the deck that are no parts, by the beginnings of their names."""

VARIANTS: dict[str, tuple[str, dict[str, str]]] = {
    **{name: (name, {}) for name in example_names()},
    "isolator": ("house-feed", {"link.kind": "diode isolator"}),
    "input diode": ("restarting", {"displays.0.input_diode": "true"}),
    "feed from a panel": ("restarting", {"feed.from": "panel"}),
    "heater": ("restarting", {"loads.0.at": "starter stud", "loads.0.current": "150 A"}),
    "no start relay": ("restarting", {"start_circuit.relay": "none"}),
    "relay without suppression": ("standby-pack", {"hold_up.suppression": "none"}),
    "changeover": ("standby-pack", {"hold_up.contact": "changeover"}),
    "no hold-up relay": ("standby-pack", {"hold_up.contact": "none"}),
    "charged by a resistor": ("standby-pack", {"hold_up.recharge": "resistor", "hold_up.chemistry": "agm"}),
}


def _boat(variant: str) -> Boat:
    name, changes = VARIANTS[variant]
    from cranksag.examples import example_text
    from cranksag.scenario import loads_scenario

    return resolve(loads_scenario(example_text(name), name).with_overrides(changes))


def _lines(boat: Boat) -> Iterator[list[str]]:
    """Words of the lines of the deck's top circuit that are elements."""
    inside = False
    for line in make_bench(boat).circuit.deck.text.splitlines():
        words = line.split()
        if not words:
            continue
        inside = inside or words[0].lower() == ".subckt"
        if not inside and words[0][0].isalpha():
            yield words
        inside = inside and words[0].lower() != ".ends"


@pytest.mark.parametrize("variant", list(VARIANTS))
def test_every_part_of_the_deck_is_failed_or_named_as_not_tried(variant: str) -> None:
    """A new conductor, diode or relay without its faults is found here: the text below the table must be complete."""
    boat = _boat(variant)
    faults = list(single_faults(boat))
    failed = {edit.element for fault in faults for edit in fault.edits if hasattr(edit, "element")}
    bridged = {
        node for fault in faults for edit in fault.edits if isinstance(edit, Bridge) for node in (edit.a, edit.b)
    }
    excused = tuple(start for starts in (*NOT_TRIED.values(), *PLUMBING.values()) for start in starts)
    unused = {"Rpanel"} if not any(f.part == "panel feeder" for f in faults) else set()
    for words in _lines(boat):
        name = words[0]
        if name in failed or name in unused or name.startswith(excused):
            continue
        if "suppress_none" in words:  # nothing stands there
            continue
        assert {words[1], words[2]} <= bridged, f"{' '.join(words[:5])}: no fault, and not excused"


@pytest.mark.parametrize("variant", list(VARIANTS))
def test_each_conductor_breaks_and_shorts_and_each_diode_fails_three_ways(variant: str) -> None:
    faults = [(f.part, f.fault) for f in single_faults(_boat(variant))]
    assert len(faults) == len(set(faults))
    of = {part: {fault for p, fault in faults if p == part} for part, _ in faults}
    for part, kinds in of.items():
        if "diode" in part:
            assert kinds == {"short", "open", "reversed"}, part
        if part.endswith((" cable", " feeder")) or "link between" in part or part in ("start wire", "battery cable"):
            assert {"broken", "shorted to ground"} <= kinds, part
        if part in ("start relay", "hold-up relay"):
            assert kinds == {"welded", "open"}, part


def _rows(variant: str, *parts: str) -> dict[tuple[str, str], FaultRow]:
    def chosen(fault: Fault) -> bool:
        return any(part in fault.part for part in parts)

    return {(row.part, row.fault): row for row in run_faults(_boat(variant), chosen)}


def _battery(row: FaultRow, name: str = "start battery") -> float:
    return next(c.current for c in row.currents if c.element == name)


def test_a_shorted_battery_cable_is_ohms_law_and_nothing_ends_it() -> None:
    """The battery's own circuit over the path to the short and back, in the quarter second with the key off."""
    boat, rows = _boat("restarting"), _rows("restarting", "battery cable", "switch", "alternator")
    order = [("battery cable", 1), ("battery switch", 2), ("switch to starter", 3)]
    before = float("inf")
    for part, number in order:
        row = rows[part, "shorted to ground"]
        (danger,) = (n for n in row.dangers if n.code == SHORT)
        current = _battery(row)
        path = sum(e.resistance + e.joints for e in (*boat.positive[:number], *boat.negative)) + FAULT_SHORT
        # the battery falls as it polarises: between its first instant and a quarter second later
        low, high = sorted(_through(boat, path, time) for time in (0.02, 0.25))
        assert 0.98 * low <= current <= 1.02 * high
        assert current < before
        before = current
        assert row.cranks is False
        assert row.display_alive is False
        stops = "only the battery switch ends it" if number == 3 else "no battery switch lies before it"
        assert stops in danger.message
    assert rows["alternator output cable", "shorted to ground"].danger
    for part, _ in order:
        broken = rows[part, "broken"]
        assert not broken.danger
        assert broken.cranks is False
        assert "load dump" in broken.message


def _through(boat: Boat, ohm: float, time: float) -> float:
    """Current at which the battery's terminals and a resistance have the same voltage [A]."""
    low, high = 0.0, 1e5
    for _ in range(80):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if terminal_voltage(boat.battery, middle, time) > ohm * middle else (low, middle)
    return 0.5 * (low + high)


def test_cranking_and_loads_are_no_short() -> None:
    """A welded start relay cranks with the key off, and a heater takes its hundred amperes: neither is a short."""
    rows = _rows("heater", "start relay", "alternator")
    assert _battery(rows[SOUND]) > 150.0
    assert not rows[SOUND].dangers
    assert {n.code for n in rows["start relay", "welded"].dangers} == {"uncommanded_crank"}
    assert {n.code for n in rows["alternator output cable", "shorted to ground"].dangers} == {SHORT}


def test_an_isolator_keeps_a_shorted_alternator_cable_off_the_batteries_until_a_diode_fails_too() -> None:
    """One fault is no danger there, and a shorted diode alone is none either: it joins the banks."""
    rows = _rows("isolator", "alternator", "isolator")
    for key in ("alternator output cable", "shorted to ground"), ("isolator diode to the start battery", "short"):
        assert not rows[key].danger, rows[key].message


def test_a_display_s_input_diode_open_is_dark_and_short_costs_nothing_at_once() -> None:
    rows = _rows("input diode", "input diode")
    part = "input diode of the display 'helm'"
    assert rows[part, "open"].display_alive is False
    assert rows[part, "reversed"].display_alive is False
    assert rows[part, "short"].display_alive is True
    sound, short = rows[SOUND].display_minimum, rows[part, "short"].display_minimum
    assert sound is not None
    assert short is not None
    assert short == pytest.approx(sound, abs=0.8)  # the minimum is at the pins


@pytest.mark.parametrize("variant", ["house-feed", "paralleled-banks"])
def test_a_shorted_house_cable_is_fed_by_that_bank(variant: str) -> None:
    rows = _rows(variant, "house battery cable", "house bank negative")
    shorted = rows["house battery cable", "shorted to ground"]
    assert _battery(shorted, "house battery") > 500.0
    assert SHORT in {n.code for n in shorted.dangers}
    assert not rows["house battery cable", "broken"].danger
