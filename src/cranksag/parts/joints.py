# SPDX-License-Identifier: GPL-3.0-or-later
"""Joints: resistance of lugs, switches, fuses, pins and key contacts; what a start circuit may drop.

A joint is given sound and corroded. "Corroded" means bad enough to be found by a voltage-drop test while the
part still works at rest: an unplugged meter sees nothing, the crank does. Values between the two are taken on
a logarithmic scale, because film and loss of contact area multiply resistance.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from cranksag.errors import InputError

__all__ = [
    "JOINTS",
    "START_CIRCUIT_LIMITS",
    "Joint",
    "StartCircuitLimit",
    "corroded_resistance",
    "joint_resistance",
    "limits_for",
    "series_resistance",
    "start_circuit_limit",
]

Provenance = Literal["published", "common practice", "memory", "engineering estimate"]
Side = Literal["both", "supply", "return"]


@dataclass(frozen=True, slots=True)
class Joint:
    """One kind of joint.

    sound, corroded : contact resistance of one [ohm]; source : where the figures stand; provenance : how
    firmly.
    """

    sound: float
    corroded: float
    source: str
    provenance: Provenance


@dataclass(frozen=True, slots=True)
class StartCircuitLimit:
    """A published limit on what a start circuit, or a part of it, may drop.

    part : what the limit covers; side : "supply", "return" or "both" together; nominal_voltage : system [V];
    resistance : as a resistance [ohm] or None; drop : as a voltage while cranking [V] or None;
    current : current the drop was stated at [A] or None; source : title and place.
    """

    part: str
    side: Side
    nominal_voltage: float
    resistance: float | None
    drop: float | None
    current: float | None
    source: str


_ESTIMATE = "engineering estimate; in line with a limit of 0 V per connection in TM 5-3820-256-24-4 p. 450"
_CORRODED_PLUG = "engineering estimate; owners report full voltage at rest and none under load, which is more"
_FUSE = "memory of makers' cold resistances for ISO 8820-3 blade fuses, plus two clips of 1 mohm; corroded: clips"
_RELAY = "sound 20 mV typical, worn 300 mV maximum, at 10 A: data sheet of a 45/30 A automotive relay"
_SOLENOID = "Murugesan et al. 2014 (second hand): 0.02-0.05 mohm new, 10-15 mohm worn out; middles taken"

#: joints by name
JOINTS: Mapping[str, Joint] = MappingProxyType(
    {
        "battery cable lug": Joint(0.05e-3, 2e-3, _ESTIMATE, "engineering estimate"),
        "battery post clamp": Joint(0.1e-3, 3e-3, _ESTIMATE, "engineering estimate"),
        "ground bolt on block": Joint(0.05e-3, 5e-3, _ESTIMATE, "engineering estimate"),
        "bus bar stud": Joint(0.1e-3, 2e-3, _ESTIMATE, "engineering estimate"),
        "battery switch": Joint(
            0.2e-3,
            1.5e-3,
            "sound: engineering estimate; corroded: 0.5 V limit of TM 5-3895-382-24 p. 338 at about 330 A",
            "engineering estimate",
        ),
        "solenoid main contacts": Joint(0.035e-3, 12.5e-3, _SOLENOID, "published"),
        "relay contact": Joint(2e-3, 30e-3, _RELAY, "published"),
        "magnetic switch": Joint(
            0.5e-3,
            3e-3,
            "corroded: 0.3 V limit of TM 5-3820-256-24-4 p. 450 at about 100 A; sound: estimate",
            "engineering estimate",
        ),
        "key switch contact": Joint(10e-3, 150e-3, "engineering estimate", "engineering estimate"),
        "neutral switch contact": Joint(10e-3, 100e-3, "engineering estimate", "engineering estimate"),
        "multi-pin connector pin": Joint(5e-3, 200e-3, _CORRODED_PLUG, "engineering estimate"),
        "terminal block screw": Joint(1e-3, 50e-3, "engineering estimate", "engineering estimate"),
        "crimped splice": Joint(0.5e-3, 50e-3, "engineering estimate", "engineering estimate"),
        "blade fuse 5 A": Joint(19e-3, 100e-3, _FUSE, "memory"),
        "blade fuse 7.5 A": Joint(13e-3, 100e-3, _FUSE, "memory"),
        "blade fuse 10 A": Joint(9.5e-3, 100e-3, _FUSE, "memory"),
        "blade fuse 15 A": Joint(7e-3, 100e-3, _FUSE, "memory"),
        "blade fuse 20 A": Joint(5.5e-3, 100e-3, _FUSE, "memory"),
        "blade fuse 30 A": Joint(4e-3, 100e-3, _FUSE, "memory"),
    }
)

_J541 = "SAE J541, maximum drop per 100 A at 20 degC (read in a summary)"
_J3053 = "SAE J3053-2024, total circuit resistance (read in a summary)"
_TM_382 = "TM 5-3895-382-24 p. 338, table 30 (engines with 2000 h and more)"
_TM_256 = "TM 5-3820-256-24-4 p. 450"
_TM_230 = "TM 5-2420-230-24-2 p. 13-23"
_M65 = "Perkins M65/M85T handbook TPD 1399E p. 29"

WHOLE = "whole circuit"
LIGHT_MEDIUM = "whole circuit, light and medium duty"
MEDIUM = "whole circuit, medium duty"
HEAVY = "whole circuit, heavy duty"

#: every published limit carried, as read; they disagree (12 V diesel 1.0 to 2.0 mohm, 24 V heavy 1.7 or 2.0)
START_CIRCUIT_LIMITS: tuple[StartCircuitLimit, ...] = (
    StartCircuitLimit(LIGHT_MEDIUM, "both", 12.0, 2.0e-3, 0.200, 100.0, _J541),
    StartCircuitLimit(HEAVY, "both", 12.0, 1.0e-3, 0.10, 100.0, _J541),
    StartCircuitLimit(LIGHT_MEDIUM, "both", 24.0, 4.0e-3, 0.400, 100.0, _J541),
    StartCircuitLimit(HEAVY, "both", 24.0, 1.7e-3, 0.17, 100.0, _J541),
    StartCircuitLimit(LIGHT_MEDIUM, "both", 12.0, 2.0e-3, 1.0, 500.0, _J3053),
    StartCircuitLimit(MEDIUM, "both", 12.0, 1.2e-3, 0.6, 500.0, _J3053),
    StartCircuitLimit(HEAVY, "both", 12.0, 1.0e-3, 0.5, 500.0, _J3053),
    StartCircuitLimit(MEDIUM, "both", 24.0, 2.0e-3, 1.0, 500.0, _J3053),
    StartCircuitLimit(HEAVY, "both", 24.0, 2.0e-3, 1.0, 500.0, _J3053),
    StartCircuitLimit(WHOLE, "both", 12.0, 1.0e-3, 0.5, 500.0, _TM_230),
    StartCircuitLimit(WHOLE, "both", 24.0, 4.0e-3, 1.0, 250.0, _TM_230),
    StartCircuitLimit("both cables", "both", 12.0, 1.7e-3, None, None, _M65),
    StartCircuitLimit("battery - to starter -", "return", 12.0, None, 0.7, None, _TM_382),
    StartCircuitLimit("battery - to starter -", "return", 24.0, None, 1.4, None, _TM_382),
    StartCircuitLimit("disconnect switch", "supply", 12.0, None, 0.5, None, _TM_382),
    StartCircuitLimit("disconnect switch", "supply", 24.0, None, 1.0, None, _TM_382),
    StartCircuitLimit("battery + to starter terminal", "supply", 12.0, None, 0.5, None, _TM_382),
    StartCircuitLimit("battery + to starter terminal", "supply", 24.0, None, 1.0, None, _TM_382),
    StartCircuitLimit("cable under 3 ft", "supply", 12.0, None, 0.1, None, _TM_256),
    StartCircuitLimit("cable 3 to 6 ft", "supply", 12.0, None, 0.2, None, _TM_256),
    StartCircuitLimit("mechanical switch", "supply", 12.0, None, 0.1, None, _TM_256),
    StartCircuitLimit("solenoid switch", "supply", 12.0, None, 0.2, None, _TM_256),
    StartCircuitLimit("magnetic switch", "supply", 12.0, None, 0.3, None, _TM_256),
    StartCircuitLimit("each connection", "supply", 12.0, None, 0.0, None, _TM_256),
    StartCircuitLimit("ground side", "return", 12.0, None, 0.2, None, _TM_256),
)


def corroded_resistance(sound: float, corroded: float, corrosion: float) -> float:
    """Contact resistance between two conditions, sound^(1-c) x corroded^c.

    Parameters: sound, corroded : of the joint [ohm], above zero; corrosion c : 0 sound, 1 corroded [-].
    Returns: resistance [ohm], exactly the one or the other at the ends.
    Source: engineering estimate; film and loss of contact area multiply resistance.
    """
    resistance: float = sound ** (1.0 - corrosion) * corroded**corrosion
    return resistance


def joint_resistance(name: str, corrosion: float = 0.0) -> float:
    """Contact resistance of one joint, sound^(1-c) x corroded^c.

    Parameters: name : key of `JOINTS`; corrosion c : 0 sound, 1 corroded [-].
    Returns: resistance [ohm]. Raises: InputError for an unknown name or a share outside 0 to 1.
    Source: the end points carry theirs; the scale between is an engineering estimate.
    """
    if name not in JOINTS:
        raise InputError([f'joint "{name}" is unknown: use {", ".join(JOINTS)}'])
    if not 0.0 <= corrosion <= 1.0:
        raise InputError([f"corrosion {corrosion:g} must lie between 0 (sound) and 1 (corroded)"])
    return corroded_resistance(JOINTS[name].sound, JOINTS[name].corroded, corrosion)


def series_resistance(names: Iterable[str], corrosion: float = 0.0) -> float:
    """Resistance of joints one after the other, all in the same condition.

    Parameters: names : keys of `JOINTS`, repeated as they occur; corrosion : as `joint_resistance` [-].
    Returns: resistance [ohm]. Raises: InputError as `joint_resistance`.
    """
    return sum((joint_resistance(name, corrosion) for name in names), 0.0)


def limits_for(nominal_voltage: float, part: str | None = None) -> list[StartCircuitLimit]:
    """Published limits of a system voltage, optionally of one part.

    Parameters: nominal_voltage : 12 or 24 [V]; part : as in the table, None for all.
    Returns: the rows, in the table's order; empty if none is carried.
    """
    return [
        limit
        for limit in START_CIRCUIT_LIMITS
        if limit.nominal_voltage == nominal_voltage and part in (None, limit.part)
    ]


def start_circuit_limit(nominal_voltage: float) -> tuple[StartCircuitLimit, StartCircuitLimit]:
    """Tightest and widest published limit on a whole start circuit; the published ones disagree.

    Parameters: nominal_voltage : 12 or 24 [V]. Returns: (tightest, widest) by resistance.
    Raises: InputError if no limit is carried for that voltage.
    """
    rows = [r for r in limits_for(nominal_voltage) if r.part.startswith(WHOLE) and r.resistance is not None]
    if not rows:
        raise InputError([f"no published start-circuit limit for {nominal_voltage:g} V: use 12 or 24"])
    ordered = sorted(rows, key=lambda r: r.resistance or 0.0)
    return ordered[0], ordered[-1]
