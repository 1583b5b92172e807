# SPDX-License-Identifier: GPL-3.0-or-later
"""How far parts of a kind usually lie from the figures of their line, where the line itself states no tolerance.

The default spreads of `cranksag.studies.spreads` take their figures here, so that the catalogue and a study of
tolerances say the same.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from cranksag.parts.fuse import FUSE_TYPES, melting_i2t
from cranksag.parts.relay import OPERATE_SHARE_LOW

__all__ = ["USUAL", "Tolerance", "factor", "fuse_melting", "within"]


@dataclass(frozen=True, slots=True)
class Tolerance:
    """How far a part's figure may lie below and above the line's: `low` and `high` as shares of it [-], low negative;
    `source`; `provenance`: one of those of a line."""

    low: float
    high: float
    source: str
    provenance: str

    def __str__(self) -> str:
        """As a line writes it, "10 %", where it is as much either way, else as "-50 % +100 %"."""
        if self.high == -self.low:
            return f"{100.0 * self.high:.3g} %"
        return f"-{-100.0 * self.low:.3g} % +{100.0 * self.high:.3g} %"


def within(percent: float, source: str, provenance: str = "engineering estimate") -> Tolerance:
    """As much either way [%]."""
    return Tolerance(-percent / 100.0, percent / 100.0, source, provenance)


def factor(times: float, source: str, provenance: str = "engineering estimate") -> Tolerance:
    """From one part in `times` to `times` as much."""
    return Tolerance(1.0 / times - 1.0, times - 1.0, source, provenance)


def _at_most(percent: float, source: str, provenance: str = "engineering estimate") -> Tolerance:
    """The line holds a printed maximum; single parts lie below it by up to so much [%]."""
    return Tolerance(-percent / 100.0, 0.0, source, provenance)


_COIL = within(10.0, "data sheet V23076, automotive power relay, and others: coil resistance +-10 %", "published")
_SOLENOID_COIL = within(10.0, "as the coils of relays (data sheets: +-10 %)")
_JOINT = factor(2.0, "engineering estimate: pins and terminals between fresh and corroded")
_TIMES = within(40.0, "engineering estimate: data sheets print one time, typical or largest")
_PINS = within(2.0, "from memory: reset supervisors +-1.5 to 2.5 %", "memory")
_POWER = within(10.0, "engineering estimate: backlight and units of one type")
_INPUT = within(5.0, "engineering estimate: comparators and their dividers of 1 to 2 % parts")
_ESR = factor(1.5, "engineering estimate: data sheets print a maximum")
_LEAKAGE = _at_most(90.0, "engineering estimate: data sheets print a maximum, most parts leak a small part of it")
_BATTERIES = within(10.0, "engineering estimate: batteries of one type and age")
_ELECTROLYTIC = within(
    20.0, "data sheet of a radial electrolytic series (TWL): +-20 % at 120 Hz and 20 degC", "published"
)

#: by kind and field
USUAL: Mapping[str, Mapping[str, Tolerance]] = {
    "relay": {
        "coil_resistance": _COIL,
        "must_operate": _at_most(
            100.0 * (1.0 - OPERATE_SHARE_LOW), "data sheets print a maximum; the lowest: engineering estimate"
        ),
        "operate_time": _TIMES,
        "release_time": _TIMES,
        "contact_resistance": factor(2.0, "engineering estimate: contacts between new and worn in"),
    },
    "diode": {
        "forward": _at_most(
            15.0, "engineering estimate: data sheets print a maximum; typical ones lie 40 to 80 mV lower"
        ),
        "leakage": _LEAKAGE,
        "leakage_hot": _LEAKAGE,
    },
    "capacitor": {"capacitance": _ELECTROLYTIC, "esr": _ESR},
    "supercapacitor": {
        "cell_capacitance": within(20.0, "data sheets of double-layer cells, from memory", "memory"),
        "cell_esr": _ESR,
        "cell_leakage": _LEAKAGE,
    },
    "pack": {
        "capacity": within(10.0, "engineering estimate: packs of one type, new"),
        "resistance": factor(1.3, "engineering estimate: packs of one type and age"),
    },
    "converter": {
        "output_voltage": within(2.0, "from memory: set points of fixed-output modules +-1 to 2 %", "memory"),
        "cut_out": _INPUT,
        "cut_in": _INPUT,
    },
    "display": {
        "power": _POWER,
        "boot_power": _POWER,
        "brownout": _PINS,
        "restarts_above": _PINS,
        "input_capacitance": within(20.0, "engineering estimate: as the electrolytics of one series (TWL), +-20 %"),
    },
    "fuse": {"resistance": within(15.0, "engineering estimate: cold resistances of one rating")},
    "starter": {
        "points": within(15.0, "engineering estimate: spread of production starters about a fitted figure"),
        "pull_in": _SOLENOID_COIL,
        "hold_in": _SOLENOID_COIL,
    },
    "solenoid": {
        "pull_in": _SOLENOID_COIL,
        "hold_in": _SOLENOID_COIL,
        "contact_resistance": factor(2.0, "engineering estimate: contacts between new and worn in"),
    },
    "battery": {"rating": _BATTERIES, "capacity": _BATTERIES},
    "joint": {"resistance": _JOINT, "corroded_resistance": _JOINT},
    "engine": {
        "compression_ratio": within(3.0, "engineering estimate: gasket and piston height"),
        "minimum_speed": within(20.0, "engineering estimate: the lowest speed an engine of the class fires at"),
    },
}


def fuse_melting(kind: str, rating: float) -> Tolerance:
    """Of the melting I2t of a fuse type at a rating [A]: from the limits of its time-current band."""
    low, typical, high = melting_i2t(FUSE_TYPES[kind], rating)
    source = f"{kind} fuses' opening-time limits: {FUSE_TYPES[kind].source}"
    return Tolerance(low / typical - 1.0, high / typical - 1.0, source, FUSE_TYPES[kind].provenance)
