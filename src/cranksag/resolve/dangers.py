# SPDX-License-Identifier: GPL-3.0-or-later
"""Combinations that can hurt people, burn a boat or ruin parts: listed, each with its reason and what to do."""

from __future__ import annotations

from collections.abc import Sequence

from cranksag.parts.conductors import conductor_area
from cranksag.parts.fuse import FuseType, protects_conductor
from cranksag.parts.pack_chemistry import CHEMISTRIES
from cranksag.parts.supercapacitor import cell_voltage_margin
from cranksag.resolve.carrying import WHERE, carrying
from cranksag.resolve.drops import CircuitDrop
from cranksag.resolve.fields import SPLIT_VOLTAGE, Ledger
from cranksag.resolve.hold_up import OVER_CHARGE_12, OVER_CHARGE_24
from cranksag.resolve.model import (
    Bank,
    ConverterAhead,
    Display,
    Feed,
    HoldUp,
    HouseFeed,
    Load,
    NoHoldUp,
    StandbyPack,
)

BATTERY_CHEMISTRY = {
    "flooded": "vented lead",
    "efb": "vented lead",
    "agm": "sealed lead AGM",
    "gel": "sealed lead gel",
}
"""Chemistries of start and house batteries by their names among the packs."""
BATTERY_NOMINAL = 12.0  # [V] of one lead-acid battery
AT_REST = 1.06  # [-] full battery at rest over nominal voltage: 12.7 V of 12 V; common practice
HOUSE_SHORT = 2000.0  # [A] what a house bank can give into a dead short; engineering estimate


def judge(ledger: Ledger, hold: HoldUp, nominal: float, helm: float) -> None:
    """Append the dangers and warnings of a resolved hold-up branch."""
    if isinstance(hold, NoHoldUp):
        return
    if isinstance(hold, StandbyPack):
        _pack(ledger, hold, nominal, helm)
    elif isinstance(hold, Bank):
        _bank(ledger, hold, nominal)
    if hold.fuse_rating is None:
        what, where = "added source", "within a hand's width of its positive terminal"
        if isinstance(hold, ConverterAhead):
            what, where = "converter", "at its input"
        ledger.danger("source_unfused", f"the {what} has no fuse: fit one {where}")
    if isinstance(hold, (StandbyPack, HouseFeed)):
        _conductor(ledger, hold)


def judge_loads(ledger: Ledger, loads: Sequence[Load], hold: HoldUp) -> None:
    """List each load on the display's supply that the key is meant to switch and a hold-up keeps on with the key off:
    a run solenoid there does not stop the engine."""
    lives = {
        StandbyPack: "until the pack is flat",
        Bank: "until the bank is empty",
        HouseFeed: "while the house feed's breaker is on",
    }.get(type(hold))
    if lives is None or (isinstance(hold, StandbyPack) and hold.relay is not None):
        return
    for load in loads:
        if load.at == "display supply" and load.by_key:
            ledger.danger(
                "engine_will_not_stop",
                f"the load {load.name!r} on the display's supply stays on with the key off {lives}: an engine that "
                'needs it to run does not stop by the key; connect it at "feed", ahead of the hold-up',
            )


def judge_converter(ledger: Ledger, hold: ConverterAhead, feed: Feed, nominal: float, supply: float) -> None:
    """Append what a converter's fuse leaves unprotected of the feed before it, and a feed whose highest lasting voltage
    `supply` [V] it does not stand; warn if it can never start."""
    highest = ledger.values["hold_up.maximum_input"].value
    if isinstance(highest, float) and supply > highest:
        ledger.danger(
            "converter_over_voltage",
            f"the converter stands {highest:g} V at its input and gets {supply:.1f} V on this {nominal:g} V boat: "
            "one made for this voltage",
        )
    own, before = hold.fuse_rating, ledger.values["feed.fuse"].value
    protected = isinstance(before, float) and own is not None and before <= own  # by the feed's own fuse
    if own is not None and not protected:
        loop = feed.resistance + feed.joints + feed.return_resistance + feed.return_joints
        _unprotected(ledger, "feed.size", own, hold.fuse_type, nominal / max(loop, 1e-4))
    if hold.converter.cut_in > AT_REST * nominal:
        ledger.warn(
            "converter_input",
            f"the converter starts at {hold.converter.cut_in:g} V, which a {nominal:g} V boat at rest does not have: "
            "one made for this voltage",
        )


def judge_supply(ledger: Ledger, displays: Sequence[Display], supply: float, nominal: float) -> None:
    """List each display that `supply` [V], the highest lasting at its pins, destroys; warn where none can say."""
    for display in displays:
        path = f"{display.path}.maximum_supply"
        maximum = ledger.values[path].value
        if isinstance(maximum, float) and supply > maximum:
            ledger.danger(
                "display_over_voltage",
                f"the display {display.name!r} stands {maximum:g} V and gets {supply:.1f} V on this {nominal:g} V boat:"
                ' feed it by a converter (hold_up.branch = "converter") or fit one made for the voltage',
            )
        elif not isinstance(maximum, float) and supply > SPLIT_VOLTAGE and may_be_for_12_v(display):
            ledger.warn(
                "display_supply",
                f"the display {display.name!r} gets {supply:.1f} V on this {nominal:g} V boat and may be one for 12 V: "
                f'read its plate and write {path}, such as "32 V"; one for 12 V needs a converter '
                '(hold_up.branch = "converter")',
            )


def judge_diodes(ledger: Ledger, hold: HoldUp, highest: float) -> None:
    """List each diode of the hold-up that does not block `highest` [V], all of which it has with one side dead."""
    for name in ("diode", "feed_diode", "discharge_diode", "pass_diode"):
        diode = getattr(hold, name, None)
        if diode is None or diode.breakdown >= highest:
            continue
        path = f"hold_up.{name}"
        part = ledger.values[path].value if path in ledger.values else "the diode"
        ledger.danger(
            "diode_reverse_voltage",
            f"{path}: {part} blocks {diode.breakdown:g} V and may have {highest:.1f} V in reverse: one that blocks "
            f"{2.0 * highest:.0f} V or more, or what it parts feeds back",
        )


def may_be_for_12_v(display: Display) -> bool:
    """Whether a 12 V boat at rest reaches its restart threshold, so that it may be made for 12 V alone."""
    return display.circuit.restarts_above < AT_REST * BATTERY_NOMINAL


def highest_supply(feed: float, house: float, hold: HoldUp) -> float:
    """Highest lasting voltage at the displays' pins [V], from that of the normal feed, that of the house bank and the
    hold-up: a converter's output stands in place of its input, except where a step-up unit lets the input through."""
    if isinstance(hold, ConverterAhead):
        output = hold.converter.output_voltage
        return output if hold.pass_diode is None else max(output, feed)
    pack = hold.pack.open_circuit_voltage if isinstance(hold, StandbyPack) else 0.0
    return max(feed, pack, house if isinstance(hold, HouseFeed) else 0.0)


def judge_drops(ledger: Ledger, drops: Sequence[CircuitDrop]) -> None:
    """Warn of each circuit whose lasting drop is beyond every class of the wiring standards."""
    for found in drops:
        if found.kind.name == "over 10 %":
            ledger.warn(found.code, f"{found.message}: thicker wire or sound joints")


def judge_feed(ledger: Ledger) -> None:
    """Warn of a feed whose fuse against its wire a wiring standard would not accept."""
    wire, fuse = carrying(ledger.values, "feed.size"), ledger.values["feed.fuse"].value
    if wire is not None and isinstance(fuse, float) and fuse > wire.current:
        ledger.warn(
            "feed_fuse",
            f"a {fuse:g} A fuse is above the {wire.current:.4g} A of {wire.size}{WHERE if wire.derated else ''} "
            f"({wire.source}): smaller fuse or thicker wire; turn to the standard that applies for the binding figure",
        )


def _pack(ledger: Ledger, hold: StandbyPack, nominal: float, helm: float) -> None:
    kind = str(ledger.values["hold_up.chemistry"].value)
    chemistry = CHEMISTRIES[kind]
    charged = hold.recharge != "none" or ledger.values["hold_up.charge_path"].value != "none"
    partner = ledger.values["hold_up.in_parallel_with"].value
    if partner != "none":
        bank = ledger.values.get(f"{'house' if partner == 'house battery' else 'battery'}.chemistry")
        other = "flooded" if bank is None else str(bank.value)
        if kind != BATTERY_CHEMISTRY[other]:
            ledger.danger(
                "unlike_chemistries",
                f"a {kind} pack wired straight across the {other} {partner} overcharges one of the two: use a diode, "
                "or a pack of the same chemistry",
            )
        ledger.danger("pack_paralleled", f"the pack is wired straight to the {partner}: it cranks the engine too")
    if not chemistry.rechargeable and charged:
        ledger.danger("primary_charged", f"{kind} cells must never be charged: leave every charge path out")
    regulated = hold.recharge == "charger"
    if chemistry.needs_regulated_charge and charged and not regulated:
        ledger.danger(
            "lithium_unregulated",
            f"{kind} cells on an unregulated charge can burn: use a charger made for them",
        )
    place = ledger.values["hold_up.placed_at"].value
    if chemistry.vents_gas and (place == "helm" or hold.relay_ambient > 40.0):
        where = f"at the {place} ({hold.relay_ambient:.0f} degC)"
        if place == "helm" and helm <= 30.0:
            ledger.warn(
                "vented_helm",
                f"a vented lead pack {where} gives off gas and acid mist: ventilate, or use a sealed one",
            )
        else:
            ledger.danger(
                "vented_hot",
                f"a vented lead pack {where} gives off explosive gas: use a sealed pack, ventilated",
            )
    if hold.relay_ambient > chemistry.hot_limit:
        ledger.danger(
            "pack_hot",
            f"{hold.relay_ambient:.0f} degC is too hot for a {kind} pack ({chemistry.hot_limit:.0f} degC): move it",
        )
    if nominal > SPLIT_VOLTAGE and hold.pack.open_circuit_voltage < SPLIT_VOLTAGE:
        ledger.warn("pack_voltage", "a 12 V pack on a 24 V boat: the display must work from both voltages")
    elif hold.pack.open_circuit_voltage > 1.5 * nominal:
        pack = f"a {hold.pack.open_circuit_voltage:.0f} V pack on a {nominal:.0f} V boat"
        ledger.warn("pack_voltage", f"{pack}: display, diode and fuse must stand its voltage")
    if hold.relay is None:
        ledger.warn(
            "always_fed",
            "without a relay contact the pack feeds the display with the key off until it is flat",
        )


def _bank(ledger: Ledger, hold: Bank, nominal: float) -> None:
    over = OVER_CHARGE_24 if nominal > SPLIT_VOLTAGE else OVER_CHARGE_12
    if hold.inrush_limit is None and hold.charge_current is None:
        ledger.danger("no_inrush_limit", "the bank has no inrush limiter: its charge welds contacts and blows fuses")
    if hold.bleed is None:
        ledger.danger("no_bleed", "the bank has no bleed resistor: it stays charged for days and can burn or spark")
    if ledger.values["hold_up.charge_path"].value == "key switch":
        ledger.danger(
            "bank_across_key",
            "a bank behind the key switch itself: its inrush burns the key's contact; feed it by a relay",
        )
    margin = cell_voltage_margin(hold.cell_voltage, hold.cells, over, hold.worst_cell_share)
    if margin < 0.0:
        what = "cell" if hold.branch == "supercapacitor" else "bank"
        ledger.danger(
            "over_voltage",
            f"at {over:g} V of charging voltage the worst {what} stands {-margin:.2f} V over its rating and can burst: "
            + ("more cells in series" if hold.branch == "supercapacitor" else "a higher rated voltage"),
        )


def _conductor(ledger: Ledger, hold: StandbyPack | HouseFeed) -> None:
    if hold.fuse_rating is None:
        return
    house = isinstance(hold, HouseFeed)
    short = HOUSE_SHORT if isinstance(hold, HouseFeed) else hold.pack.short_circuit_current
    _unprotected(ledger, "hold_up.size", hold.fuse_rating, hold.fuse_type, short, lenient=house)


def _unprotected(
    ledger: Ledger, path: str, rating: float, fuse: FuseType, short: float, *, lenient: bool = False
) -> None:
    """What a fuse leaves unprotected of the conductor at `path`; `lenient`: its breaking capacity is but a warning."""
    wire = carrying(ledger.values, path)
    if wire is None:
        return
    where = WHERE if wire.derated else ""
    for reason in protects_conductor(fuse, rating, conductor_area(wire.size), wire.current, short):
        message = f"{reason} ({wire.size}{where}): smaller fuse, thicker wire or a fuse type that breaks more"
        if lenient and "break" in reason:
            ledger.warn("fuse_breaking_capacity", message)
        else:
            ledger.danger("conductor_unprotected", message)
