# SPDX-License-Identifier: GPL-3.0-or-later
"""What can hurt people or burn a boat is listed with its reason, or refused; the sound neighbour is not."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cranksag.circuit.boat import node_of
from cranksag.errors import InputError
from cranksag.examples import example_names, example_text
from cranksag.parts.conductors import AWG_SHELF_NAMES
from cranksag.resolve import Boat, resolve
from cranksag.resolve.carrying import carrying
from cranksag.scenario import loads_scenario

PACK = {"hold_up.branch": "standby pack"}
RESERVOIR = {"hold_up.branch": "reservoir"}
CONVERTER = {"hold_up.branch": "converter"}
SUPER = {"hold_up.branch": "supercapacitor"}
HOUSE = '[house]\nrating = "800 A"\n'


def boat(changes: dict[str, str], extra: str = "") -> Boat:
    """A resolved boat."""
    return resolve(loads_scenario('title = "test boat"\n' + extra).with_overrides(changes))


def dangers(changes: dict[str, str], extra: str = "") -> set[str]:
    """Codes of a boat's dangers."""
    return {note.code for note in boat(changes, extra).dangers}


def warnings(changes: dict[str, str], extra: str = "") -> set[str]:
    """Codes of a boat's warnings."""
    return {note.code for note in boat(changes, extra).warnings}


LISTED = {
    "unlike chemistries in parallel": (
        "unlike_chemistries",
        PACK | {"hold_up.chemistry": "lithium", "hold_up.in_parallel_with": "start battery"},
        PACK | {"hold_up.chemistry": "lithium", "hold_up.in_parallel_with": "none"},
    ),
    "AGM pack across a flooded bank": (
        "unlike_chemistries",
        PACK | {"hold_up.chemistry": "agm", "hold_up.in_parallel_with": "start battery"},
        PACK | {"hold_up.chemistry": "agm", "hold_up.in_parallel_with": "start battery", "battery.chemistry": "agm"},
    ),
    "lithium charged through a resistor": (
        "lithium_unregulated",
        PACK | {"hold_up.chemistry": "lithium", "hold_up.recharge": "resistor"},
        PACK | {"hold_up.chemistry": "lithium", "hold_up.recharge": "charger"},
    ),
    "lithium wired to the feed": (
        "lithium_unregulated",
        PACK | {"hold_up.chemistry": "lithium", "hold_up.charge_path": "feed"},
        PACK | {"hold_up.chemistry": "lithium", "hold_up.charge_path": "none"},
    ),
    "primary cells with a resistor": (
        "primary_charged",
        PACK | {"hold_up.chemistry": "primary lithium", "hold_up.recharge": "resistor"},
        PACK | {"hold_up.chemistry": "primary lithium", "hold_up.recharge": "none"},
    ),
    "primary cells with a charger": (
        "primary_charged",
        PACK | {"hold_up.chemistry": "alkaline", "hold_up.recharge": "charger"},
        PACK | {"hold_up.chemistry": "agm", "hold_up.recharge": "charger"},
    ),
    "primary cells with any charge path": (
        "primary_charged",
        PACK | {"hold_up.chemistry": "alkaline", "hold_up.charge_path": "house battery"},
        PACK | {"hold_up.chemistry": "alkaline", "hold_up.charge_path": "none"},
    ),
    "a vented pack at a hot helm": (
        "vented_hot",
        PACK | {"hold_up.chemistry": "vented lead", "temperature.helm": "45 degC"},
        PACK | {"hold_up.chemistry": "agm", "temperature.helm": "45 degC"},
    ),
    "a reservoir without inrush limiter": (
        "no_inrush_limit",
        RESERVOIR | {"hold_up.inrush_limit": "none"},
        RESERVOIR | {"hold_up.inrush_limit": "4.7 ohm"},
    ),
    "a reservoir without bleed": (
        "no_bleed",
        RESERVOIR | {"hold_up.bleed": "none"},
        RESERVOIR | {"hold_up.bleed": "4.7 kohm"},
    ),
    "a supercapacitor without bleed": (
        "no_bleed",
        SUPER | {"hold_up.bleed": "none"},
        SUPER | {"hold_up.bleed": "1 kohm"},
    ),
    "a bank across the key switch": (
        "bank_across_key",
        RESERVOIR | {"hold_up.charge_path": "key switch"},
        RESERVOIR | {"hold_up.charge_path": "feed"},
    ),
    "a pack without a fuse": ("source_unfused", PACK | {"hold_up.fuse": "none"}, PACK | {"hold_up.fuse": "5 A"}),
    "a reservoir without a fuse": (
        "source_unfused",
        RESERVOIR | {"hold_up.fuse": "none"},
        RESERVOIR | {"hold_up.fuse": "5 A"},
    ),
    "a supercapacitor without a fuse": (
        "source_unfused",
        SUPER | {"hold_up.fuse": "none"},
        SUPER | {"hold_up.fuse": "5 A"},
    ),
    "a converter without a fuse": (
        "source_unfused",
        CONVERTER | {"hold_up.fuse": "none"},
        CONVERTER | {"hold_up.fuse": "5 A"},
    ),
    "a feed too thin for the converter's fuse, and for its own": (
        "conductor_unprotected",
        CONVERTER | {"hold_up.fuse": "60 A", "feed.fuse": "none", "feed.size": "20 AWG"},
        CONVERTER | {"hold_up.fuse": "60 A", "feed.fuse": "5 A", "feed.size": "20 AWG"},
    ),
    "a feed of which only the converter's fuse takes care": (
        "conductor_unprotected",
        CONVERTER | {"hold_up.fuse": "60 A", "feed.fuse": "none", "feed.size": "20 AWG"},
        CONVERTER | {"hold_up.fuse": "3 A", "feed.fuse": "none", "feed.size": "14 AWG"},
    ),
    "a converter that does not stand the charging voltage": (
        "converter_over_voltage",
        CONVERTER | {"hold_up.maximum_input": "14 V"},
        CONVERTER | {"hold_up.maximum_input": "16 V"},
    ),
    "a converter of the catalogue on a boat of twice its voltage": (
        "converter_over_voltage",
        CONVERTER | {"battery.in_series": "2", "hold_up.converter": "wide input 9-18 V to 12 V 20 W"},
        CONVERTER | {"battery.in_series": "2", "hold_up.converter": "wide input 9-36 V to 12 V 25 W"},
    ),
    "a part's fuse too large for the wire": (
        "conductor_unprotected",
        PACK | {"hold_up.fuse_part": "maxi blade 60 A", "hold_up.size": "20 AWG"},
        PACK | {"hold_up.fuse_part": "maxi blade 60 A", "hold_up.fuse": "5 A", "hold_up.size": "14 AWG"},
    ),
    "a pack of the catalogue across a bank of the catalogue": (
        "unlike_chemistries",
        PACK | {"hold_up.in_parallel_with": "start battery", "battery.part": "12 V 110 Ah flooded 800 A SAE"},
        PACK | {"hold_up.in_parallel_with": "start battery", "battery.part": "12 V 95 Ah agm 850 A EN"},
    ),
    "a capacitor of the catalogue under the charging voltage": (
        "over_voltage",
        RESERVOIR | {"hold_up.capacitor": "22 mF 25 V screw terminal", "battery.in_series": "2"},
        RESERVOIR | {"hold_up.capacitor": "22 mF 40 V screw terminal", "battery.in_series": "2"},
    ),
    "a string rated under the charging voltage": (
        "over_voltage",
        SUPER | {"hold_up.rated_voltage": "14 V", "hold_up.cells": "8"},
        SUPER | {"hold_up.cells": "8"},
    ),
    "a feed without a fuse": ("feed_unfused", {"feed.fuse": "none"}, {"feed.fuse": "5 A"}),
    "a wire too thin for its fuse": (
        "conductor_unprotected",
        PACK | {"hold_up.fuse": "60 A", "hold_up.size": "20 AWG"},
        PACK | {"hold_up.fuse": "5 A", "hold_up.size": "14 AWG"},
    ),
    "a fuse that cannot break the pack's short circuit": (
        "conductor_unprotected",
        PACK | {"hold_up.pack_resistance": "3 mohm", "hold_up.pack_capacity": "100 Ah"},
        PACK | {"hold_up.pack_resistance": "40 mohm", "hold_up.pack_capacity": "7 Ah"},
    ),
    "cells over their voltage at 15.5 V": (
        "over_voltage",
        SUPER | {"hold_up.cells": "5", "hold_up.balancing": "active"},  # 3.1 V each, rated 2.7 V
        SUPER | {"hold_up.cells": "6", "hold_up.balancing": "active"},  # 2.58 V each
    ),
    "cells over their voltage at 31 V": (
        "over_voltage",
        SUPER | {"battery.in_series": "2", "hold_up.cells": "11", "hold_up.balancing": "active"},  # 2.82 V each
        SUPER | {"battery.in_series": "2", "hold_up.cells": "12", "hold_up.balancing": "active"},  # 2.58 V each
    ),
    "unbalanced cells": (
        "over_voltage",
        SUPER | {"hold_up.cells": "6", "hold_up.balancing": "none"},
        SUPER | {"hold_up.cells": "8", "hold_up.balancing": "none"},
    ),
    "a reservoir rated under the charging voltage": (
        "over_voltage",
        RESERVOIR | {"hold_up.rated_voltage": "15 V"},
        RESERVOIR | {"hold_up.rated_voltage": "16 V"},
    ),
    "a reservoir of 25 V on a 24 V boat": (
        "over_voltage",
        RESERVOIR | {"battery.in_series": "2", "hold_up.rated_voltage": "25 V"},
        RESERVOIR | {"battery.in_series": "2", "hold_up.rated_voltage": "35 V"},
    ),
}


@pytest.mark.parametrize("name", LISTED)
def test_each_danger_is_listed_and_the_sound_neighbour_is_not(name: str) -> None:
    code, unsafe, safe = LISTED[name]
    assert code in dangers(unsafe)
    assert code not in dangers(safe)


def test_a_house_feed_without_a_fuse() -> None:
    feed = {"hold_up.branch": "house feed"}
    assert "source_unfused" in dangers(feed | {"hold_up.fuse": "none"}, HOUSE)
    assert "source_unfused" not in dangers(feed | {"hold_up.fuse": "5 A"}, HOUSE)
    thin = feed | {"hold_up.fuse": "60 A", "hold_up.size": "20 AWG"}
    assert "conductor_unprotected" in dangers(thin, HOUSE)
    assert "conductor_unprotected" not in dangers(feed | {"hold_up.fuse": "5 A", "hold_up.size": "14 AWG"}, HOUSE)


def test_a_house_feed_without_a_diode_is_refused() -> None:
    with pytest.raises(InputError, match=r"hold_up\.diode"):
        boat({"hold_up.branch": "house feed", "hold_up.diode": "none"}, HOUSE)


def test_a_lithium_start_battery_is_refused() -> None:
    with pytest.raises(InputError, match=r"battery\.chemistry.*lithium"):
        boat({"battery.chemistry": "lithium"})


@pytest.mark.parametrize(
    ("code", "unusual", "usual"),
    [
        ("pack_voltage", PACK | {"battery.in_series": "2"}, PACK),
        ("pack_voltage", PACK | {"hold_up.pack_voltage": "25.6 V"}, PACK | {"hold_up.pack_voltage": "12.8 V"}),
        ("long_feed", {"feed.length": "200 m"}, {"feed.length": "12 m"}),
        ("vented_helm", PACK | {"hold_up.chemistry": "vented lead"}, PACK | {"hold_up.chemistry": "agm"}),
        ("always_fed", PACK | {"hold_up.contact": "none"}, PACK | {"hold_up.contact": "make"}),
        ("starter_voltage", {"starter.voltage": "24 V"}, {"starter.voltage": "12 V"}),
    ],
)
def test_unusual_boats_are_warned_about(code: str, unusual: dict[str, str], usual: dict[str, str]) -> None:
    assert code in warnings(unusual)
    assert code not in warnings(usual)


HEAVY = {"battery.in_series": "2"}
TWELVE = {"displays.0.part": "7 in display, 12 V"}
WIDE = {"displays.0.part": "7 in display, 10-32 V"}
HOUSE_24 = HOUSE + "in_series = 2\n"


@pytest.mark.parametrize(
    ("deadly", "sound", "extra"),
    [
        (HEAVY | TWELVE, TWELVE, ""),
        (HEAVY | TWELVE, HEAVY | WIDE, ""),
        (HEAVY | TWELVE, HEAVY | TWELVE | CONVERTER, ""),
        (HEAVY | TWELVE, HEAVY | TWELVE | {"feed.from": "house battery"}, HOUSE),  # 12 V of its own for the helm
        (HEAVY | TWELVE | {"feed.from": "panel"}, HEAVY | TWELVE | {"feed.from": "panel"} | CONVERTER, HOUSE_24),
        (TWELVE | {"hold_up.branch": "house feed"}, WIDE | {"hold_up.branch": "house feed"}, HOUSE_24),
        (TWELVE | CONVERTER | {"hold_up.output_voltage": "24 V"}, TWELVE | CONVERTER, ""),
        (TWELVE | PACK | {"hold_up.pack_voltage": "25.6 V"}, TWELVE | PACK, ""),
        ({"displays.0.maximum_supply": "14 V"}, {"displays.0.maximum_supply": "16 V"}, ""),  # the alternator's 14.2 V
        # a step-up unit lets its input through
        (
            HEAVY | TWELVE | CONVERTER | {"hold_up.direction": "up"},
            TWELVE | CONVERTER | {"hold_up.direction": "up"},
            "",
        ),
    ],
)
def test_a_display_that_its_supply_destroys_is_a_danger(
    deadly: dict[str, str], sound: dict[str, str], extra: str
) -> None:
    assert "display_over_voltage" in dangers(deadly, extra)
    assert "display_over_voltage" not in dangers(sound, extra)
    assert "display_supply" not in warnings(deadly, extra) | warnings(sound, extra)


def test_a_diode_that_does_not_block_its_boat_is_a_danger() -> None:
    feed = HEAVY | WIDE | {"hold_up.branch": "house feed"}
    for name in ("diode", "feed_diode"):
        weak = {f"hold_up.{name}": "1N5820"}  # 20 V
        notes = {note.code: note.message for note in boat(feed | weak, HOUSE_24).dangers}
        assert f"hold_up.{name}: 1N5820 blocks 20 V and may have 28.4 V in reverse" in notes["diode_reverse_voltage"]
        assert "diode_reverse_voltage" not in dangers({"hold_up.branch": "house feed"} | weak, HOUSE)
    assert "diode_reverse_voltage" not in dangers(feed, HOUSE_24)


def test_a_display_that_may_be_for_half_the_voltage_is_warned_about() -> None:
    notes = {note.code: note.message for note in boat(HEAVY).warnings}
    assert "28.4 V" in notes["display_supply"]
    assert "displays.0.maximum_supply" in notes["display_supply"]
    assert "display_supply" not in warnings({})
    for known in ({"displays.0.maximum_supply": "32 V"}, {"displays.0.brownout": "18 V"}, CONVERTER):
        assert "display_supply" not in warnings(HEAVY | known)


def test_every_note_has_a_code_and_a_sentence_that_says_what_to_do() -> None:
    for _, unsafe, _ in LISTED.values():
        for note in (*boat(unsafe).dangers, *boat(unsafe).warnings):
            assert note.code.replace("_", "").isalpha()
            assert note.code == note.code.lower()
            assert len(note.message) > 30


@pytest.mark.parametrize("name", example_names())
def test_the_examples_hold_no_danger_but_a_pack_in_a_hot_engine_room(name: str) -> None:
    expected = {"pack_hot"} if name == "hot-restart" else set()
    assert {note.code for note in resolve(loads_scenario(example_text(name), name)).dangers} == expected


@pytest.mark.parametrize("chemistry", ["vented lead", "agm", "gel", "nimh", "lithium", "primary lithium", "alkaline"])
def test_a_pack_of_any_chemistry_is_a_twelve_volt_pack_unless_written(chemistry: str) -> None:
    found = boat(PACK | {"hold_up.chemistry": chemistry})
    assert 11.0 < found.hold_up.pack.open_circuit_voltage < 14.5  # type: ignore[union-attr]
    assert "pack_voltage" not in {note.code for note in found.warnings}


def test_capacity_and_short_circuit_of_a_reservoir_are_fused() -> None:
    """A fuse of the wrong size is a matter of the wire; a bank has its fuse whatever its size."""
    assert dangers(RESERVOIR) == set()
    assert dangers(SUPER) == set()
    assert dangers(PACK) == set()
    assert dangers({}) == set()


def test_a_thin_feed_and_a_fat_fuse_are_warned_about_with_the_standard_named() -> None:
    boat = loads_scenario(example_text("restarting"))
    assert not {"feed_drop", "feed_fuse"} & {n.code for n in resolve(boat).warnings}
    thin = {"feed.size": "20 AWG", "feed.length": "60 ft", "displays.0.power": "20 W"}
    notes = {n.code: n.message for n in resolve(boat.with_overrides(thin)).warnings}
    assert "ABYC E-11" in notes["feed_drop"]
    fat = {"feed.size": "16 AWG", "feed.fuse": "30 A"}
    notes = {n.code: n.message for n in resolve(boat.with_overrides(fat)).warnings}
    assert "33 CFR 183.425" in notes["feed_fuse"]


SWITCHED = '[[cables.positive]]\nlength = "2 m"\nsize = "2/0 AWG"\n[[cables.positive]]\n{}\n'


@pytest.mark.parametrize("path", ["feed.from", "panel.from", "start_circuit.supply_from"])
def test_a_tap_at_a_battery_switch_that_is_not_there_is_warned_about(path: str) -> None:
    missing = SWITCHED.format('name = "main isolator"\nresistance = "0.3 mohm"')
    assert "no_battery_switch" in warnings({path: "battery switch"}, missing)
    assert "no_battery_switch" not in warnings({path: "battery"}, missing)
    for there in ('name = "Battery Switch"\nresistance = "0.3 mohm"', 'part = "battery switch"'):
        assert "no_battery_switch" not in warnings({path: "battery switch"}, SWITCHED.format(there))


@pytest.mark.parametrize("path", ["feed.from", "start_circuit.supply_from", "loads.0.at"])
def test_a_panel_that_is_not_described_is_told_with_what_stands_for_it(path: str) -> None:
    load = '[[loads]]\nname = "heater"\ncurrent = "5 A"\n'
    notes = {note.code: note.message for note in boat({path: "panel"}, load).warnings}
    assert path in notes["panel_assumed"]
    assert "battery switch through 2 m of 8 AWG" in notes["panel_assumed"]
    notes = {note.code: note.message for note in boat({path: "panel"}, load + HOUSE).warnings}
    assert "house battery" in notes["panel_assumed"]
    assert "panel_assumed" not in warnings({path: "panel", "panel.length": "3 m"}, load)
    assert "panel_assumed" not in warnings({path: "battery"}, load)


def test_a_switch_named_as_a_part_is_the_node_of_that_name() -> None:
    found = boat({"feed.from": "battery switch"}, SWITCHED.format('part = "battery switch"'))
    assert [element.name for element in found.positive] == ["cable 1", "battery switch"]
    assert node_of(found, "battery switch") == "stud"


@pytest.mark.parametrize(
    ("size", "fuse", "warned"),
    [("18 AWG", "15 A", False), ("18 AWG", "20 A", True), ("20 AWG", "5 A", False), ("20 AWG", "25 A", True)],
)
def test_a_feed_thinner_than_the_table_has_no_leave_to_carry_more(size: str, fuse: str, warned: bool) -> None:
    assert ("feed_fuse" in warnings({"feed.size": size, "feed.fuse": fuse})) is warned


CLEAR = {"feed.from": "panel", "feed.return_to": "battery negative", "panel.length": "3 m"}
HOT_PACK = {"hold_up.branch": "standby pack", "hold_up.size": "16 AWG", "hold_up.fuse": "25 A"}


@pytest.mark.parametrize(
    ("changes", "hot"),
    [
        ({}, True),
        ({"feed.from": "battery", "feed.return_to": "battery negative"}, True),
        ({"feed.from": "panel", "panel.length": "3 m"}, True),  # returns to the engine block
        (CLEAR, False),
    ],
)
def test_a_harness_through_the_engine_space_carries_less(changes: dict[str, str], hot: bool) -> None:
    """16 AWG: 25 A, in engine spaces 0.85 of it (33 CFR 183.425, Table 5 and its note 1, 105 degC)."""
    for fuse, warned in (("20 A", False), ("25 A", hot), ("30 A", True)):
        notes = {n.code: n.message for n in boat({**changes, "feed.size": "16 AWG", "feed.fuse": fuse}).warnings}
        assert ("feed_fuse" in notes) is warned
        if warned:
            told = "21.25 A of 16 AWG in engine spaces (33 CFR 183.425, Table 5, 105 degC times 0.85 for engine spaces)"
            assert (told in notes["feed_fuse"]) is hot


def test_an_added_source_s_wire_carries_less_only_where_the_source_is_in_the_engine_room() -> None:
    for place, hot in (("helm", False), ("engine room", True)):
        notes = [n.message for n in boat({**HOT_PACK, "hold_up.placed_at": place}).dangers]
        above = [text for text in notes if "above the wire's" in text]
        assert bool(above) is hot
        assert all("21.2 A (16 AWG in engine spaces)" in text for text in above)


@given(st.sampled_from(AWG_SHELF_NAMES), st.sampled_from(["feed.size", "feed.return_size", "start_circuit.size"]))
def test_no_conductor_carries_more_in_the_engine_space(name: str, path: str) -> None:
    hot, clear = (carrying(boat({**changes, path: f"{name} AWG"}).values, path) for changes in ({}, CLEAR))
    assert hot is not None
    assert clear is not None
    assert hot.current <= clear.current
    assert hot.derated is hot.listed
    assert clear.derated is (clear.listed and path == "start_circuit.size")
    if hot.derated and not clear.derated:
        assert hot.current == pytest.approx(0.85 * clear.current)
