# SPDX-License-Identifier: GPL-3.0-or-later
"""Defaults, catalogue and parts turn a scenario into a boat: every number known, each with its origin."""

from __future__ import annotations

from functools import lru_cache

from cranksag.catalogue import Catalogue, load_catalogue
from cranksag.errors import InputError
from cranksag.resolve import boat as sections
from cranksag.resolve import machine
from cranksag.resolve.dangers import (
    highest_supply,
    judge,
    judge_converter,
    judge_diodes,
    judge_drops,
    judge_feed,
    judge_loads,
    judge_supply,
)
from cranksag.resolve.drops import display_drops
from cranksag.resolve.fields import Ledger, field_doc_text
from cranksag.resolve.hold_up import hold_up
from cranksag.resolve.model import Boat, ConverterAhead, Note, Value
from cranksag.scenario import Scenario, default_value

__all__ = ["Boat", "Note", "Value", "resolve"]


@lru_cache(maxsize=1)
def _shipped() -> Catalogue:
    return load_catalogue()


def resolve(scenario: Scenario, catalogue: Catalogue | None = None) -> Boat:
    """The boat of a scenario.

    Parameters
    ----------
    scenario : what the user wrote
    catalogue : parts to name; the shipped ones by default

    Returns
    -------
    Boat, frozen, in SI and degC

    Raises
    ------
    InputError
        What the fields together make impossible, all of it, one line each.
    """
    ledger = Ledger(scenario, catalogue if catalogue is not None else _shipped())
    try:
        boat = _boat(ledger)
    except ValueError as error:  # a part refuses a combination that each field alone allows
        raise InputError([*ledger.problems, f"{scenario.name}: {error}"]) from error
    if ledger.problems:
        raise InputError(ledger.problems)
    return boat


def _boat(ledger: Ledger) -> Boat:
    scenario = ledger.scenario
    title = scenario.title if scenario.title is not None else str(default_value("title"))
    ledger.note("title", title, "default" if scenario.title is None else "written", field_doc_text("title"))
    places = sections.temperatures(ledger)
    batteries, nominal = sections.nominal_voltage(scenario)
    feed = sections.feed(ledger, places.engine_room, places.helm)
    motor, solenoid, ratio = machine.starter(ledger, nominal, places.engine_room)
    engine, fires_after, minimum_speed = machine.engine(ledger, places.oil)
    displays = sections.displays(ledger, places.helm)
    power = sum(d.circuit.power for d in displays)
    booting = sum(max(d.circuit.power, d.circuit.boot_power) for d in displays)
    alternator = sections.alternator(ledger, batteries)  # its voltage ages a bank
    branch, hold = hold_up(ledger, places, nominal, power, booting)
    start = machine.start_circuit(ledger, feed, nominal, places.engine_room, places.helm)
    house = sections.bank(ledger, "house", places.battery) if scenario.house is not None else None
    battery = sections.bank(ledger, "battery", places.battery)
    link = sections.link(ledger)
    panel, crank, loads = (
        sections.panel(ledger, places.engine_room),
        sections.crank(ledger),
        sections.loads(ledger),
    )
    positive = sections.cable_elements(ledger, "positive", places.engine_room)
    negative = sections.cable_elements(ledger, "negative", places.engine_room)
    sections.warn_of_missing_switch(ledger, positive)
    sections.warn_of_assumed_panel(ledger)
    ledger.warn_of_hidden()
    if not ledger.problems:
        judge(ledger, hold, nominal, places.helm)
        judge_loads(ledger, loads, hold)
        charging = max(alternator.charge_voltage, battery.open_circuit_voltage)
        feeding, house_charging = sections.charging_voltages(ledger, feed, panel, charging)
        if isinstance(hold, ConverterAhead):
            judge_converter(ledger, hold, feed, nominal, feeding)
        judge_drops(ledger, display_drops(feed, displays, loads, hold, nominal))
        judge_feed(ledger)
        highest = highest_supply(feeding, house_charging, hold)
        judge_supply(ledger, displays, highest, nominal)
        judge_diodes(ledger, hold, max(highest, feeding))
    return Boat(
        title=title,
        nominal_voltage=nominal,
        temperatures=places,
        battery=battery,
        house=house,
        house_negative=sections.HOUSE_NEGATIVE,
        link=link,
        alternator=alternator,
        panel=panel,
        positive=positive,
        negative=negative,
        feed=feed,
        start=start,
        solenoid=solenoid,
        motor=motor,
        gear_ratio=ratio,
        engine=engine,
        fires_after=fires_after,
        minimum_speed=minimum_speed,
        idle_speed=sections.IDLE_SPEED,
        crank=crank,
        loads=loads,
        displays=displays,
        branch=branch,
        hold_up=hold,
        values=ledger.values,
        dangers=tuple(ledger.dangers),
        warnings=tuple(ledger.warnings),
    )
