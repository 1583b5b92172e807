# SPDX-License-Identifier: GPL-3.0-or-later
"""Every diode, contact and conductor of a boat's deck has its faults in the list, or a reason why not.

The deck is walked here by itself: a part that a netlist gains and the list of faults forgets fails these tests.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from hypothesis import given

from cranksag.circuit import build_circuit
from cranksag.examples import example_names, example_text
from cranksag.resolve import Boat, resolve
from cranksag.scenario import Scenario, loads_scenario
from cranksag.studies.faultedits import FAULT_OPEN, FAULT_SHORT, Added, Bridge, Detach, Fault, Parameter, Port, Swap
from cranksag.studies.faultlist import single_faults
from cranksag.studies.faultskipped import NotTried, not_tried
from tests.strategies import scenarios

CONDUCTOR = ("broken", "shorted")
DIODE = ("short", "open", "reversed")
CONTACT = ("welded", "open")
PART = ("short", "open")
MODES: dict[str, tuple[str, ...]] = {
    "cable": CONDUCTOR,
    "joint": CONDUCTOR,
    "wire": CONDUCTOR,
    "alternator": CONDUCTOR,
    "sense": CONDUCTOR,
    "load_current": CONDUCTOR,
    "load_power": CONDUCTOR,
    "load_resistance": CONDUCTOR,
    "contact_keyed": CONTACT,
    "solenoid": CONTACT,
    "relay": CONTACT,
    "diode": DIODE,
    "suppress_diode": DIODE,
    "suppress_zener": DIODE,
    "suppress_resistor": PART,
    "suppress_none": (),
    "pack": (*CONDUCTOR, "negative broken", "reversed"),
    "limiter": PART,
    "charger": PART,
    "converter": PART,
    "capacitor": PART,
    "display": (),  # its input diode is added where the deck has one
    # no diode, contact or conductor of the scenario in these
    "battery": (),
    "battery_charged": (),
    "starter": (),
    "engine": (),
    "pacer": (),
    "charging": (),
    "gate_from_fire": (),
    "gate_until_fire": (),
}
"""What can fail at a subcircuit. A kind that is not named here fails the walk."""
RESISTORS = {
    "rpanel": CONDUCTOR,
    "rhousen": CONDUCTOR,
    "rlink": CONDUCTOR,
    "rs0": CONDUCTOR,
    "rcoilwire": CONDUCTOR,
    "rfd": CONDUCTOR,
    "rfuse": CONDUCTOR,
    "rlimit": PART,
    "rcharge": PART,
    "rmot": (),  # a way out for the motor's current
    "raltp": (),
    "rsig": (),
    "rncs": (),
    "rnc": (),
}
PORTS = {
    "relay": (2, 3),
    "solenoid": (1, 2),
    "converter": (0, 1),
}
"""The two ports that a short or a welded contact joins, where they are not the first two."""

FAR: dict[str, tuple[int, ...]] = {"xreturn": (0,), "alternator": (0,), "pack": (0,), "rfuse": (0, 1), "rlink": (0, 1)}
"""The ports, away from its source, at which a conductor counts as shorted, where that is not the second: a short at the
source is another wire's."""


class Deck:
    """The top circuit of a boat: elements, their kinds and nodes, ammeters taken as joints."""

    def __init__(self, boat: Boat) -> None:
        self.lines: dict[str, list[str]] = {}
        self._joined: dict[str, str] = {}
        inside = False
        for line in build_circuit(boat).deck.text.splitlines():
            words = line.split()
            if not words or words[0][0] in "*+.":
                inside = (inside or (bool(words) and words[0] == ".subckt")) and words[:1] != [".ends"]
                continue
            if not inside:
                self.lines[words[0].lower()] = words
        for name, words in self.lines.items():
            if name[0] == "v" and words[-1] == "0" and len(words) == 4:
                self._joined[self.node(words[1])] = self.node(words[2])

    def node(self, name: str) -> str:
        while name in self._joined:
            name = self._joined[name]
        return name

    def kind(self, name: str) -> str:
        words = self.lines[name]
        return next(w for w in reversed(words) if "=" not in w) if name[0] == "x" else name

    def nodes(self, name: str) -> list[str]:
        words = [w for w in self.lines[name][1:] if "=" not in w]
        return [self.node(w) for w in words[:-1]]

    def parameter(self, name: str, key: str) -> float | None:
        found = [w.partition("=")[2] for w in self.lines[name] if w.startswith(f"{key}=")]
        return float(found[0]) if found else None

    def can_fail(self) -> Iterator[tuple[str, str]]:
        """Every element and mode."""
        for name in self.lines:
            if name[0] == "x":
                kind = self.kind(name)
                assert kind in MODES, f"{name} is of a kind that the walk does not know: {kind}"
                modes = MODES[kind]
                if kind == "relay" and sum(self.node("nc") in self.nodes(n) for n in self.lines if n[0] == "x") > 1:
                    modes += ("resting welded", "resting open") if "nc" in self.lines[name] else ()
                if kind == "display" and (self.parameter(name, "dsh") or 0.0) > 1.0:
                    modes = DIODE
            elif name[0] == "r":
                assert name in RESISTORS, f"{name} is a resistor that the walk does not know"
                modes = RESISTORS[name]
            elif name[0] == "d":
                raise AssertionError(f"{name}: a diode outside a subcircuit")
            else:
                modes = ()
            yield from ((name, mode) for mode in modes)


def _made(deck: Deck, fault: Fault) -> Iterator[tuple[str, str]]:
    """The elements and modes that a fault's changes of the deck make."""
    joins = any(isinstance(edit, Bridge) and edit.ohm < FAULT_OPEN for edit in fault.edits)
    for edit in fault.edits:
        if isinstance(edit, Detach):
            if joins and deck.kind(edit.element.lower()) == "relay":
                continue  # a welded contact leaves the other one open
            yield from _opened(deck, edit.element.lower(), edit.port)
        elif isinstance(edit, Port):
            yield edit.element.lower(), "broken"
        elif isinstance(edit, Swap):
            yield edit.element.lower(), "reversed"
        elif isinstance(edit, Bridge):
            yield from _bridged(deck, edit)
        elif isinstance(edit, Added) and " xso " in edit.text:
            yield "xsolenoid", "welded"
    told = {(e.name, e.value) for e in fault.edits if isinstance(e, Parameter)}
    for element in {e.element.lower() for e in fault.edits if isinstance(e, Parameter)}:
        if ("dsh", FAULT_SHORT) in told:
            yield element, "short"
        if ("drs", FAULT_OPEN) in told:
            turned = any(isinstance(e, Added) and e.text.startswith("Dturned") for e in fault.edits)
            yield element, "reversed" if turned else "open"


def _opened(deck: Deck, name: str, port: int) -> Iterator[tuple[str, str]]:
    kind = deck.kind(name)
    if kind == "relay":
        yield name, "open" if port == 3 else "resting open"
    elif kind == "pack" and port == 1:
        yield name, "negative broken"
    else:
        yield from ((name, mode) for mode in ("open", "broken"))


def _bridged(deck: Deck, edit: Bridge) -> Iterator[tuple[str, str]]:
    if edit.ohm >= FAULT_OPEN:
        return
    ends = {deck.node(edit.a), deck.node(edit.b)}
    for name in deck.lines:
        if name[0] not in "xr":
            continue
        nodes = deck.nodes(name)
        first, second = PORTS.get(deck.kind(name), (0, 1))
        behind = {deck.node(edit.a.removesuffix("a")), *ends} if edit.a == f"X{name[1:]}a" else ends
        if edit.a == f"X{name[1:]}a" or {nodes[first], nodes[second]} == behind:
            yield from ((name, mode) for mode in ("short", "welded"))
        if deck.kind(name) == "relay" and {nodes[2], nodes[4]} == ends:
            yield name, "resting welded"
        far = FAR.get(name, FAR.get(deck.kind(name), (1,)))
        if "block" in ends and (ends - {"block"}) & {nodes[port] for port in far}:
            yield name, "shorted"


def _gaps(boat: Boat, faults: list[Fault], left_out: tuple[NotTried, ...]) -> set[tuple[str, str]]:
    deck = Deck(boat)
    covered = {pair for fault in faults for pair in _made(deck, fault)}
    for skipped in left_out:
        assert skipped.element.lower() in deck.lines, f"{skipped.part}: no such element in the deck"
        words = skipped.fault.replace("shorted to ground", "shorted").split(" or ")
        covered |= {(skipped.element.lower(), word) for word in words}
        if skipped.element == "Rlimit":  # the limiter's place without a limiter: terminals
            covered |= {("rlimit", mode) for mode in PART}
    return set(deck.can_fail()) - covered


VARIANTS: list[tuple[str, dict[str, str]]] = [
    *((name, {}) for name in example_names()),
    ("standby-pack", {"hold_up.contact": "changeover", "hold_up.recharge": "resistor"}),
    ("standby-pack", {"hold_up.contact": "none", "hold_up.recharge": "charger"}),
    ("standby-pack", {"hold_up.contact": "none", "hold_up.feed_diode": "none"}),
    ("standby-pack", {"start_circuit.relay": "none", "hold_up.suppression": "resistor"}),
    ("standby-pack", {"hold_up.suppression": "zener", "hold_up.coil_at": "s terminal"}),
    ("standby-pack", {"hold_up.suppression": "none"}),
    ("standby-pack", {"start_circuit.shares_feed": "true", "feed.return_to": "battery negative"}),
    ("reservoir", {"hold_up.inrush_limit": "none"}),
    ("house-feed", {"feed.key_terminal": "always"}),
    ("house-feed", {"link.kind": "diode isolator"}),
    ("house-feed", {"link.kind": "closed", "hold_up.feed_diode": "none"}),
    ("converter-24v", {"hold_up.direction": "up"}),
    ("two-displays", {"displays.0.sense_threshold": "6 V", "displays.0.sense_from": "panel"}),
    ("restarting", {"feed.from": "panel"}),
    ("restarting", {"battery.in_parallel": "2", "start_circuit.supply_from": "panel"}),
    ("paralleled-banks", {"link.kind": "diode isolator", "displays.0.input_diode": "true"}),
]


def _boat(name: str, changes: dict[str, str]) -> Boat:
    return resolve(loads_scenario(example_text(name), name).with_overrides(changes))


@pytest.mark.parametrize(("name", "changes"), VARIANTS, ids=lambda v: v if isinstance(v, str) else " ".join(v.values()))
def test_every_diode_contact_and_conductor_is_tried_or_left_out_with_a_reason(
    name: str, changes: dict[str, str]
) -> None:
    boat = _boat(name, changes)
    faults, left_out = list(single_faults(boat)), not_tried(boat)
    assert _gaps(boat, faults, left_out) == set()
    names = [(f.part, f.fault) for f in faults]
    assert len(set(names)) == len(names)
    assert not {(n.part, n.fault) for n in left_out} & set(names)
    assert all(n.reason for n in left_out)


@given(scenarios())
def test_no_random_boat_has_a_part_that_is_forgotten(scenario: Scenario) -> None:
    boat = resolve(scenario)
    assert _gaps(boat, list(single_faults(boat)), not_tried(boat)) == set()


@pytest.mark.parametrize("name", ["standby-pack", "house-feed", "converter-24v", "two-displays"])
def test_a_part_that_the_list_forgets_is_found(name: str) -> None:
    """Each fault that alone makes something fail is missed when it is taken out."""
    boat = _boat(name, {})
    faults, left_out = list(single_faults(boat)), not_tried(boat)
    deck = Deck(boat)
    missed = {f.part for f in faults if _gaps(boat, [g for g in faults if g is not f], left_out)}
    shorts = {
        f.part
        for f in faults
        if f.fault == "shorted to ground" and _gaps(boat, [g for g in faults if g is not f], left_out)
    }
    assert {"starter solenoid's main contact", "key's START contact", "start wire", "alternator output cable"} <= missed
    assert {"display feed conductor", "start circuit's supply wire", "start wire", "battery cable"} <= shorts
    assert _gaps(boat, [], ()) == set(deck.can_fail())
    assert {"xneg0", "xneutral", "rpanel", "xload0"} <= {name for name, _ in _gaps(boat, faults, ())}
