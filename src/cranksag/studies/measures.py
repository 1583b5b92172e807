# SPDX-License-Identifier: GPL-3.0-or-later
"""What a row keeps of a result: numbers and a few short texts, never waveforms."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from cranksag.catalogue import KINDS, Catalogue, load_catalogue
from cranksag.errors import InputError
from cranksag.parts.conductors import copper_mass_per_metre
from cranksag.quantities import ConductorSize, shown
from cranksag.resolve import Boat
from cranksag.resolve.model import Bank, HouseFeed
from cranksag.runner import read_value
from cranksag.scenario import field_table
from cranksag.studies.banks import BANK_KINDS, BankLine, bank_lines, plain_figure
from cranksag.studies.kinds import part_kinds
from cranksag.verdict.results import DisplayResult, Result

RPM = 60.0 / (2.0 * math.pi)  # [rpm s/rad]

AT_THRESHOLD = 5e-3  # [V] margins below which "0.00 V below" would be said
LEADING = ("minimum_voltage_v", "margin_v", "restarts", "dark_time_s")
"""Columns that outside scripts rely on; `status` and `reason` follow them."""

_HOLD_UP = (
    "relay_closes_s", "relay_opens_s", "chatter_count", "gap_s", "pack_energy_j", "attempts_to_flat",
    "standing_drain_a", "months_to_flat", "inrush_peak_a", "inrush_i2t_a2s", "ride_through_s", "ready_after_s",
    "recharge_s", "cell_voltage_margin_v", "back_feed_a", "input_peak_a", "input_minimum_v", "cut_outs",
)  # fmt: skip
NUMBERS = (
    *LEADING,
    "minimum_at_s",
    "time_below_threshold_s",
    "alarm_blind_s",
    "engages",
    "turns",
    "fires",
    "starts",
    "crank_speed_rpm",
    "battery_minimum_voltage_v",
    "battery_crank_voltage_v",
    "starter_stud_minimum_voltage_v",
    "s_terminal_minimum_voltage_v",
    "starter_peak_current_a",
    "starter_crank_current_a",
    "hold_up_fed_share",
    *_HOLD_UP,
    "wire_length_m",
    "copper_kg",
    "mass_kg",
    "cost",
    "solve_s",
)
"""Number columns in order: as in the simulate document; flags are 0 or 1; `starts`: it turns, and fires unless
the scenario says it never does. `wire_length_m` counts every written or
defaulted conductor, out and back, and `copper_kg` its copper; `mass_kg` that copper and the named catalogue parts that
state a mass, as many as the boat has of each, empty where a capacitor bank is neither a part that states one nor of the
capacitance of such a part; `cost` is in the unit of the prices given or stated in the catalogue, empty without one;
`solve_s` of a row that hung is the time after which it was stopped."""

TEXTS = ("display", "source", "near_switching", "dangers", "warnings")
"""Text columns: which display is the worst, what fed it at its minimum, and short notes joined by "; "."""

_PART_NAMES = frozenset(
    path.rpartition(".")[2] for path, doc in field_table().items() if doc.parts and not path.endswith("corroded")
)
"""Fields that name a part which the boat has for it; a joint that is corroded was there before."""


@dataclass(frozen=True, slots=True)
class Price:
    """`amount` for each row in which the field at `path` has `value`; `per_metre`: times the wire's length."""

    path: str
    value: Any
    amount: float
    per_metre: bool


def parse_price(text: str) -> Price:
    """A price of ``PATH=VALUE:AMOUNT``, or ``PATH=VALUE:AMOUNT/m`` for a conductor size.

    Raises
    ------
    InputError
        It cannot be read.
    """
    path, equals, rest = text.partition("=")
    value, colon, amount = rest.rpartition(":")
    per_metre = amount.strip().endswith("/m")
    try:
        number = float(amount.strip().removesuffix("/m"))
    except ValueError:
        number = math.nan
    if not equals or not colon or not 0.0 <= number < math.inf:
        raise InputError([f"--price {shown(text)}: write PATH=VALUE:AMOUNT, or PATH=VALUE:AMOUNT/m for a wire size"])
    try:
        read = read_value(path.strip(), value.strip())
    except InputError as error:
        raise InputError([f"--price {shown(text)}: {problem}" for problem in error.problems]) from None
    if per_metre and not isinstance(read, ConductorSize):
        raise InputError([f"--price {shown(text)}: only a conductor size has a price per metre"])
    return Price(path.strip(), read, number, per_metre)


@dataclass(frozen=True)
class RowMeasure:
    """Result to payload: [numbers in the order of `NUMBERS`, texts in the order of `TEXTS`, status, reason].

    `masses` [kg] and `part_prices` by "kind:name in lower case"; `strings`: cells in series of supercapacitors by
    name; `prices` as given; `banks`: what a bank that names no part may be.
    """

    masses: dict[str, float] = field(default_factory=dict)
    prices: tuple[Price, ...] = ()
    part_prices: dict[str, float] = field(default_factory=dict)
    strings: dict[str, int] = field(default_factory=dict)
    banks: tuple[BankLine, ...] = ()

    @classmethod
    def of(cls, catalogue: Catalogue | None = None, prices: Sequence[Price] = ()) -> RowMeasure:
        """With the masses and prices that the catalogue states."""
        parts = catalogue if catalogue is not None else load_catalogue()
        figures: dict[str, dict[str, float]] = {"mass": {}, "price": {}}
        for entry in parts.entries():
            for name, found in figures.items():
                if name in KINDS[entry.kind] and name in entry.values:
                    found[f"{entry.kind}:{part_key(entry.name)}"] = float(entry.value(name))
        strings = {part_key(entry.name): int(entry.value("cells")) for entry in parts.entries("supercapacitor")}
        return cls(figures["mass"], tuple(prices), figures["price"], strings, bank_lines(parts))

    def __call__(self, result: Result) -> list[Any]:
        display, boat = result.display, result.boat
        numbers = {**_measured(result), **self._bought(boat)}
        texts = (
            display.name,
            display.source,
            "; ".join(result.near_switching),
            "; ".join(dict.fromkeys(note.code for note in result.dangers)),
            "; ".join(note.code for note in result.warnings),
        )
        return [[_plain(numbers.get(name)) for name in NUMBERS], list(texts), *status_of(result)]

    def _bought(self, boat: Boat) -> dict[str, float]:
        wires = list(_wires(boat))
        named = list(_named_parts(boat))
        masses = [self.masses[key] * self._count(path, key, boat) for path, key in named if key in self.masses]
        copper = sum(copper_mass_per_metre(size) * length for _, size, length in wires)
        return {
            "wire_length_m": sum(length for _, _, length in wires),
            "copper_kg": copper,
            "mass_kg": copper + sum(masses) + self._bank(boat, named, "mass", self.masses),
            "cost": self._cost(boat, wires, named) if self.prices or self.part_prices else math.nan,
        }

    def _bank(self, boat: Boat, named: list[tuple[str, str]], figure: str, known: dict[str, float]) -> float:
        """Mass or price of a capacitor bank beyond what the named parts state: that of a line it could be where it
        names none; nan where nobody says."""
        if not isinstance(boat.hold_up, Bank):
            return 0.0
        keys = [key for path, key in named if path == "hold_up.capacitor"]
        if not keys:
            return plain_figure(boat, self.banks, figure)
        return 0.0 if all(key in known for key in keys) else math.nan

    def _count(self, path: str, key: str, boat: Boat) -> float:
        """How many of a named part the boat has."""
        bank = path.partition(".")[0]
        if key.startswith("battery:"):
            return float(boat.values[f"{bank}.in_series"].value * boat.values[f"{bank}.in_parallel"].value)
        if key.startswith("supercapacitor:"):
            cells = boat.values["hold_up.cells"].value
            return float(cells / self.strings.get(key.partition(":")[2], cells))
        return 1.0

    def _cost(self, boat: Boat, wires: list[tuple[str, ConductorSize, float]], named: list[tuple[str, str]]) -> float:
        """Sum of the prices that apply, a given one before the catalogue's; nan if a field that has a price, or a kind
        of part that has, is at a value without."""
        total = 0.0
        given = dict.fromkeys(price.path for price in self.prices)
        for path in given:
            held = boat.values.get(path)
            if held is None:
                continue
            price = next((p for p in self.prices if p.path == path and p.value == held.value), None)
            if price is None:
                return math.nan
            length = sum(metres for where, _, metres in wires if where == path) if price.per_metre else 1.0
            total += price.amount * length
        priced = {key.partition(":")[0] for key in self.part_prices}
        for path, key in named:
            if path not in given and key.partition(":")[0] in priced:
                total += self.part_prices.get(key, math.nan) * self._count(path, key, boat)
        if BANK_KINDS.get(boat.branch) in priced and not given.keys() & {"hold_up.capacitor", "hold_up.capacitance"}:
            total += self._bank(boat, named, "price", self.part_prices)
        return total


def part_key(name: str) -> str:
    """A part's name as the catalogue compares it: case and runs of spaces do not count."""
    return " ".join(name.lower().split())


def _named_parts(boat: Boat) -> Iterator[tuple[str, str]]:
    """Fields that name a part, and "kind:name" of it."""
    for path, held in boat.values.items():
        if not isinstance(held.value, str) or held.value == "none" or path.count(".") == 0:
            continue
        if path.rpartition(".")[2] in _PART_NAMES:
            for kind in part_kinds(path, boat.branch):
                yield path, f"{kind}:{part_key(held.value)}"


def _measured(result: Result) -> dict[str, Any]:
    display, starter, battery, report = result.display, result.starter, result.battery, result.hold_up
    found: dict[str, Any] = {
        "minimum_voltage_v": display.minimum_voltage,
        "margin_v": display.margin,
        "restarts": display.restarts,
        "dark_time_s": display.dark_time,
        "minimum_at_s": display.minimum_at,
        "time_below_threshold_s": display.time_below_threshold,
        "alarm_blind_s": display.alarm_blind,
        "engages": result.cranks.engages,
        "turns": result.cranks.turns,
        "fires": result.cranks.fires,
        "starts": result.cranks.turns and (result.cranks.fires or result.boat.fires_after is None),
        "crank_speed_rpm": None if starter.crank_speed is None else starter.crank_speed * RPM,
        "battery_minimum_voltage_v": battery.minimum_voltage,
        "battery_crank_voltage_v": battery.crank_voltage,
        "starter_stud_minimum_voltage_v": starter.stud_minimum_voltage,
        "s_terminal_minimum_voltage_v": starter.s_terminal_minimum_voltage,
        "starter_peak_current_a": starter.peak_current,
        "starter_crank_current_a": starter.crank_current,
        "solve_s": result.solver.solve,
    }
    fed = report.get("fed_by")
    if isinstance(fed, dict):
        found["hold_up_fed_share"] = fed.get("house feed")
    return found | {name: report[name] for name in _HOLD_UP if name in report}


def _plain(value: Any) -> float | None:
    """A finite float, or None."""
    if value is None:
        return None
    number = float(value)
    return number if math.isfinite(number) else None


def status_of(result: Result) -> tuple[str, str]:
    """Status of a row and the reason for it in words."""
    if result.display.holds:
        return "held", "" if result.cranks.turns else result.cranks.reason
    return "restarted", _why(result, result.display)


def _why(result: Result, display: DisplayResult) -> str:
    if display.restarts == 0:
        return f"{display.name} never starts: its supply stays below its restart voltage"
    times = "once" if display.restarts == 1 else f"{display.restarts} times"
    threshold = f"its threshold of {display.brownout:g} V"
    if display.margin > -AT_THRESHOLD:
        circuit = result.boat.displays[result.displays.index(display)].circuit
        if display.margin >= 0.0 and circuit.sense_threshold is not None:
            return f"{display.name} restarts {times}, reset by its sense pin"
        return f"{display.name} restarts {times}: held just at {threshold}"
    return f"{display.name} restarts {times}: held {-display.margin:.2f} V below {threshold}"


def _wires(boat: Boat) -> Iterator[tuple[str, ConductorSize, float]]:
    """Every conductor with a size: the path of its size, the size, and its length [m], out and back where both are
    its own."""
    values = {path: value.value for path, value in boat.values.items()}

    def metres(path: str, otherwise: str = "") -> float:
        found = values.get(path, values.get(otherwise))
        return float(found) if isinstance(found, int | float) else 0.0

    lengths = {
        "feed.size": metres("feed.length"),
        "feed.return_size": metres("feed.return_length", "feed.length"),
        "start_circuit.size": metres("start_circuit.length") + metres("start_circuit.return_length"),
        "hold_up.size": (1.0 if isinstance(boat.hold_up, HouseFeed) else 2.0) * metres("hold_up.length"),
        "panel.size": metres("panel.length"),
    }
    lengths |= {f"{e.path}.size": metres(f"{e.path}.length") for e in (*boat.positive, *boat.negative)}
    for path, length in lengths.items():
        size = values.get(path)
        if isinstance(size, ConductorSize) and length > 0.0:
            yield path, size, length
