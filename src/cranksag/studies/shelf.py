# SPDX-License-Identifier: GPL-3.0-or-later
"""The shelf of a field: its standard values from the smallest up, as far as they fit the boat."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from cranksag.catalogue import Catalogue, Entry, load_catalogue
from cranksag.errors import InputError
from cranksag.parts.conductors import sizes_between
from cranksag.parts.pack_chemistry import CHEMISTRIES
from cranksag.quantities import ConductorSize, parse_conductor_size
from cranksag.resolve import Boat
from cranksag.runner import spec_at
from cranksag.scenario.specs import Number, Quantity, Size
from cranksag.studies.axes import Axis, make_axis, parse_axis, part_kind
from cranksag.studies.series import shelf_between

__all__ = ["shelf_of"]

_ENDS = {"AWG": ("18 AWG", "4/0 AWG"), "mm2": ("0.75 mm2", "120 mm2"), "SAE": ("SAE 18", "SAE 4/0")}
"""Conductors kept for boats: 18 AWG is the smallest that 33 CFR 183.425 table 5 lists; common practice above."""

_BANKS = {"reservoir": (1e-3, 1.0), "supercapacitor": (0.1, 500.0)}
"""Banks that are built [F]: electrolytics to some 1 F, double layers from 0.1 F; engineering estimate."""

_ORDER: Mapping[str, Callable[[Entry], float]] = {
    "pack": lambda entry: float(entry.value("capacity")),
    "relay": lambda entry: float(entry.value("carry_current")),
    "diode": lambda entry: float(entry.value("rated_current")),
    "starter": lambda entry: float(entry.value("power", 0.0)),
}
"""What makes a part of a kind small."""

_BATTERY_SPLIT = 18.0  # [V] between parts for 12 V and 24 V
MOST_VALUES = 400


def shelf_of(path: str, boat: Boat, catalogue: Catalogue | None = None, spec: str | None = None) -> Axis:
    """Standard values of a field, smallest first.

    Parameters
    ----------
    path : dotted path of the field
    boat : the boat as written
    catalogue : parts; the shipped ones by default
    spec : values to choose from instead, in the grammar of an axis

    Raises
    ------
    InputError
        The field has no shelf, or the values cannot be read.
    """
    axis = _usual(path, boat, catalogue) if spec is None else _written(path, spec, catalogue)
    if len(axis) > MOST_VALUES:
        raise InputError([f"--shelf: {len(axis)} values; at most {MOST_VALUES} are tried"])
    if isinstance(spec_at(path), Quantity | Size | Number):
        places = sorted(range(len(axis)), key=lambda k: axis.values[k])
    elif spec is not None or part_kind(path) is None:
        places = list(range(len(axis)))
    else:
        return axis
    return make_axis(path, [axis.texts[k] for k in places])


def _written(path: str, spec: str, catalogue: Catalogue | None) -> Axis:
    try:
        return parse_axis(f"{path}={spec}", catalogue)
    except InputError as error:
        raise InputError([f"--shelf {problem}" for problem in error.problems]) from None


def _usual(path: str, boat: Boat, catalogue: Catalogue | None) -> Axis:
    field, kind = spec_at(path), part_kind(path)
    if kind is not None:
        return make_axis(path, _parts(kind, boat, catalogue))
    if isinstance(field, Size):
        held = boat.values.get(path)
        system = held.value.system if held is not None and isinstance(held.value, ConductorSize) else "AWG"
        first, last = (parse_conductor_size(text) for text in _ENDS[system])
        return make_axis(path, [str(size) for size in sizes_between(first, last)])
    if isinstance(field, Quantity):
        low, high = _BANKS.get(boat.branch, field.limits) if path == "hold_up.capacitance" else field.limits
        shelf = shelf_between(path, low, high, catalogue) if low > 0.0 else None
        if shelf:
            return make_axis(path, [text for text, _ in shelf])
    raise InputError(
        [f"--for {path}: no standard values are known for this field; name them with --shelf, such as --shelf A:B:N"]
    )


def _parts(kind: str, boat: Boat, catalogue: Catalogue | None) -> list[str]:
    """Names of the parts that fit the boat's voltage, small first; of equal ones the better one first."""
    parts = catalogue if catalogue is not None else load_catalogue()
    fitting = [entry for entry in parts.entries(kind) if _fits(kind, entry, boat)]
    return [entry.name for entry in sorted(fitting, key=lambda e: (_ORDER[kind](e), e.name))]


def _fits(kind: str, entry: Entry, boat: Boat) -> bool:
    heavy = boat.nominal_voltage > _BATTERY_SPLIT
    if kind in ("relay", "starter"):
        field = "coil_voltage" if kind == "relay" else "voltage"
        return (float(entry.value(field)) > _BATTERY_SPLIT) == heavy
    if kind == "diode":  # twice the charging voltage: room for the spike of a coil; common practice
        return float(entry.value("reverse_voltage")) >= 2.0 * boat.alternator.charge_voltage
    nominal = int(entry.value("cells")) * CHEMISTRIES[str(entry.value("chemistry"))].cell_nominal
    return (nominal > _BATTERY_SPLIT) == heavy
