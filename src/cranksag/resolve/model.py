# SPDX-License-Identifier: GPL-3.0-or-later
"""The resolved boat: every number known, in SI, with a note of where it came from.

Built by :func:`cranksag.resolve.resolve` from a scenario, the catalogue and the parts; read by `circuit`, `verdict`
and the studies. Classes here carry data only. Temperatures are in degC, everything else in SI.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from cranksag.parts.battery import BatteryCircuit
from cranksag.parts.capacitor import CapacitorCircuit
from cranksag.parts.converter import ConverterCircuit
from cranksag.parts.diode import DiodeCircuit
from cranksag.parts.display import DisplayCircuit
from cranksag.parts.engine import EngineCircuit
from cranksag.parts.fuse import FUSE_TYPES, FuseType
from cranksag.parts.pack import PackCircuit
from cranksag.parts.pack_chemistry import Chemistry
from cranksag.parts.relay import RelayCircuit
from cranksag.parts.solenoid import SolenoidCoils
from cranksag.parts.starter import MotorCircuit
from cranksag.scenario import TimeMark

BLADE = FUSE_TYPES["blade"]
"""The fuse of a boat that names none of the catalogue."""

Origin = Literal["written", "catalogue", "default", "estimate"]


@dataclass(frozen=True, slots=True)
class Value:
    """One resolved field: `value` in SI (or a word, a size), its `origin` and `source`; `tolerance`: the relative one
    that the named catalogue part states, 0 where none is known [-]."""

    value: Any
    origin: Origin
    source: str = ""
    tolerance: float = 0.0


@dataclass(frozen=True, slots=True)
class Note:
    """A danger or a warning: a stable `code` and a sentence that says what to do."""

    code: str
    message: str


@dataclass(frozen=True, slots=True)
class Temperatures:
    """Temperature of each place [degC]."""

    battery: float
    engine_room: float
    oil: float
    helm: float


SWITCH = "battery switch"
"""Name, and joint of the catalogue, by which a piece of the positive path is the battery switch."""


@dataclass(frozen=True, slots=True)
class Element:
    """One piece of a battery cable path: `resistance` of the conductor and of its `joints` [ohm], `inductance` [H];
    `part`: of the catalogue, if it is one."""

    name: str
    path: str
    resistance: float
    joints: float
    inductance: float
    part: str = ""

    @property
    def is_switch(self) -> bool:
        """Whether it is the battery switch, by its name or by its part."""
        return SWITCH in (self.name.strip().lower(), self.part.strip().lower())


@dataclass(frozen=True, slots=True)
class Link:
    """How start and house bank meet while cranking; `resistance` [ohm]."""

    kind: Literal["open", "closed", "diode isolator"]
    resistance: float


@dataclass(frozen=True, slots=True)
class Alternator:
    """Charging after the engine fires: `charge_voltage` [V], `ramp` [s], `rating` [A]."""

    charge_voltage: float
    ramp: float
    rating: float


@dataclass(frozen=True, slots=True)
class Panel:
    """Distribution panel: node it is fed from and the `resistance` of that feeder [ohm]."""

    source: str
    resistance: float


@dataclass(frozen=True, slots=True)
class Feed:
    """The display's normal feed; resistances [ohm], `key_break` [s]; nodes by their scenario names."""

    source: str
    return_to: str
    resistance: float
    joints: float
    return_resistance: float
    return_joints: float
    key_terminal: Literal["always", "accessory", "run"]
    dead_in_start: bool
    key_break: float
    fuse_type: FuseType = BLADE


@dataclass(frozen=True, slots=True)
class StartCircuit:
    """What puts current into the S terminal.

    `supply_resistance`, `supply_joints`: wire from `source` to the key, 0 when it shares the display feed's supply
    conductor; `resistance`, `joints`: wire from key to engine [ohm]; `relay` None: the key carries both coils;
    `relay_contact_wire`: relay contact to S terminal [ohm]; `neutral_closed` False blocks the start.
    """

    source: str
    shares_feed: bool
    supply_resistance: float
    supply_joints: float
    resistance: float
    joints: float
    neutral_resistance: float
    neutral_closed: bool
    relay: RelayCircuit | None
    relay_contact_wire: float


@dataclass(frozen=True, slots=True)
class Crank:
    """Times of the key [s]: START at `key_on_before`, held `key_held`, `attempts` with `rest` between, `after`."""

    key_on_before: float
    key_held: float
    attempts: int
    rest: float
    after: float


@dataclass(frozen=True, slots=True)
class Load:
    """Another load: `kind` current [A], power [W] or resistance [ohm] of `amount` from `at` to `return_to`."""

    name: str
    path: str
    at: str
    return_to: str
    kind: Literal["current", "power", "resistance"]
    amount: float
    from_time: TimeMark
    until: TimeMark

    @property
    def by_key(self) -> bool:
        """Whether the key alone switches it: on from key-on to the end, as a run solenoid is."""
        return self.from_time.event == "key on" and self.until.event == "end"


@dataclass(frozen=True, slots=True)
class Display:
    """One display: its name, scenario path, circuit values and the node its sense pin hangs on."""

    name: str
    path: str
    circuit: DisplayCircuit
    sense_node: str


@dataclass(frozen=True, slots=True)
class NoHoldUp:
    """The boat as it is."""


@dataclass(frozen=True, slots=True)
class StandbyPack:
    """Pack, fuse, relay contact, blocking diode beside the normal feed. `relay` None: diode only.

    `pack_charge`: 0 to 1; `relay_ambient`: where pack and relay stand [degC].
    `coil_at`: "s terminal" or "start signal"; `recharge`: none, resistor or charger with `recharge_resistance` [ohm]
    and `recharge_voltage` [V]; `fuse_resistance` [ohm], `fuse_rating` [A] or None, of `fuse_type`.
    """

    pack: PackCircuit
    pack_energy: float
    pack_chemistry: Chemistry
    pack_charge: float
    relay: RelayCircuit | None
    relay_ambient: float
    coil_at: str
    diode: DiodeCircuit
    feed_diode: DiodeCircuit | None
    fuse_rating: float | None
    fuse_resistance: float
    recharge: Literal["none", "resistor", "charger"]
    recharge_resistance: float
    recharge_voltage: float
    fuse_type: FuseType = BLADE


@dataclass(frozen=True, slots=True)
class Bank:
    """Reservoir or supercapacitor bank at the display behind its own feed diode.

    `inrush_limit` [ohm] or None (no limiter); `charge_current` [A] or None; `discharge_diode` None when there is no
    limiter to pass; `bleed` [ohm] or None; `cells` in series with worst share `worst_cell_share` of the voltage.
    """

    branch: Literal["reservoir", "supercapacitor"]
    bank: CapacitorCircuit
    diode: DiodeCircuit | None
    discharge_diode: DiodeCircuit | None
    inrush_limit: float | None
    charge_current: float | None
    bleed: float | None
    cells: int
    cell_voltage: float
    worst_cell_share: float
    fuse_rating: float | None
    fuse_resistance: float
    fuse_type: FuseType = BLADE


@dataclass(frozen=True, slots=True)
class HouseFeed:
    """Second supply from the house bank through wire, fuse and diode; `resistance` [ohm] of its positive wire."""

    resistance: float
    joints: float
    diode: DiodeCircuit
    feed_diode: DiodeCircuit | None
    fuse_rating: float | None
    fuse_resistance: float
    fuse_type: FuseType = BLADE


@dataclass(frozen=True, slots=True)
class ConverterAhead:
    """Converter between feed and display, its fuse at its input; `pass_diode` for a step-up unit that lets the input
    through."""

    converter: ConverterCircuit
    pass_diode: DiodeCircuit | None
    fuse_rating: float | None
    fuse_resistance: float
    fuse_type: FuseType = BLADE


HoldUp = NoHoldUp | StandbyPack | Bank | HouseFeed | ConverterAhead


@dataclass(frozen=True, slots=True)
class Boat:
    """Everything `circuit` needs, and where each value came from (`values`, by dotted path)."""

    title: str
    nominal_voltage: float
    temperatures: Temperatures
    battery: BatteryCircuit
    house: BatteryCircuit | None
    house_negative: float
    link: Link
    alternator: Alternator
    panel: Panel
    positive: tuple[Element, ...]
    negative: tuple[Element, ...]
    feed: Feed
    start: StartCircuit
    solenoid: SolenoidCoils
    motor: MotorCircuit
    gear_ratio: float
    engine: EngineCircuit
    fires_after: float | None
    minimum_speed: float
    idle_speed: float
    crank: Crank
    loads: tuple[Load, ...]
    displays: tuple[Display, ...]
    branch: str
    hold_up: HoldUp
    values: Mapping[str, Value]
    dangers: tuple[Note, ...]
    warnings: tuple[Note, ...]
