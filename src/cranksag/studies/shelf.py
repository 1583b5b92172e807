# SPDX-License-Identifier: GPL-3.0-or-later
"""The shelf of a field: its standard values from the smallest up, as far as they fit the boat."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial

from cranksag.catalogue import Catalogue, Entry, load_catalogue
from cranksag.errors import InputError
from cranksag.parts.battery import battery_circuit
from cranksag.parts.conductors import sizes_between
from cranksag.parts.pack_chemistry import CHEMISTRIES
from cranksag.parts.supercapacitor import cells_needed
from cranksag.quantities import ConductorSize, parse_conductor_size
from cranksag.resolve import Boat
from cranksag.resolve.dangers import AT_REST, may_be_for_12_v
from cranksag.resolve.hold_up import OVER_CHARGE_12, OVER_CHARGE_24
from cranksag.resolve.model import BLADE, Display
from cranksag.runner import spec_at
from cranksag.scenario.specs import Number, Quantity, Size
from cranksag.studies.axes import Axis, make_axis, parse_axis, part_kinds
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
    "battery": lambda entry: 1.0 / _battery_resistance(entry),
    "capacitor": lambda entry: float(entry.value("capacitance")),
    "converter": lambda entry: float(entry.value("rated_power")),
    "fuse": lambda entry: float(entry.value("rating")),
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
    axis = _usual(path, boat, catalogue) if spec is None else _written(path, spec, boat, catalogue)
    if len(axis) > MOST_VALUES:
        raise InputError([f"--shelf: {len(axis)} values; at most {MOST_VALUES} are tried"])
    if isinstance(spec_at(path), Quantity | Size | Number):
        places = sorted(range(len(axis)), key=lambda k: axis.values[k])
    elif spec is not None or not part_kinds(path):
        places = list(range(len(axis)))
    else:
        return axis
    return make_axis(path, [axis.texts[k] for k in places])


def _written(path: str, spec: str, boat: Boat, catalogue: Catalogue | None) -> Axis:
    try:
        return parse_axis(f"{path}={spec}", catalogue, boat.branch)
    except InputError as error:
        raise InputError([f"--shelf {problem}" for problem in error.problems]) from None


def _usual(path: str, boat: Boat, catalogue: Catalogue | None) -> Axis:
    field, kinds = spec_at(path), part_kinds(path, boat.branch)
    if kinds:
        if kinds[0] not in (*_ORDER, "supercapacitor"):
            raise InputError([f"--for {path}: no {kinds[0]} is larger than another; name those to try with --shelf"])
        names = _parts(path, kinds[0], boat, catalogue)
        if not names:
            raise InputError([f"--for {path}: no {kinds[0]} of the catalogue fits this boat; name some with --shelf"])
        return make_axis(path, names)
    if isinstance(field, Size):
        held = boat.values.get(path)
        system = held.value.system if held is not None and isinstance(held.value, ConductorSize) else "AWG"
        first, last = (parse_conductor_size(text) for text in _ENDS[system])
        return make_axis(path, [str(size) for size in sizes_between(first, last)])
    if isinstance(field, Quantity):
        low, high = _BANKS.get(boat.branch, field.limits) if path == "hold_up.capacitance" else field.limits
        shelf = shelf_between(path, low, high, catalogue) if low > 0.0 else None
        if shelf and path in ("feed.fuse", "hold_up.fuse"):
            ratings = _ratings(path, boat, catalogue)
            shelf = [(text, rating) for text, rating in shelf if rating in ratings]
        if shelf:
            return make_axis(path, [text for text, _ in shelf])
    raise InputError(
        [f"--for {path}: no standard values are known for this field; name them with --shelf, such as --shelf A:B:N"]
    )


def _ratings(path: str, boat: Boat, catalogue: Catalogue | None) -> set[float]:
    """Ratings [A] in which the type of the boat's fuse is made; a fuse of another type is a change of holder."""
    fitted = boat.feed.fuse_type if path == "feed.fuse" else getattr(boat.hold_up, "fuse_type", BLADE)
    parts = catalogue if catalogue is not None else load_catalogue()
    return {float(e.value("rating")) for e in parts.entries("fuse") if e.value("type") == fitted.name}


def _parts(path: str, kind: str, boat: Boat, catalogue: Catalogue | None) -> list[str]:
    """Names of the parts that fit the boat's voltage, small first; of equal ones the better one first."""
    parts = catalogue if catalogue is not None else load_catalogue()
    fitting = [entry for entry in parts.entries(kind) if _fits(kind, entry, boat) and _wired(path, entry, boat)]
    order = partial(_string_capacitance, boat) if kind == "supercapacitor" else _ORDER[kind]
    return [entry.name for entry in sorted(fitting, key=lambda e: (order(e), e.name))]


def _fits(kind: str, entry: Entry, boat: Boat) -> bool:
    heavy = boat.nominal_voltage > _BATTERY_SPLIT
    if kind in _RATED_AT:
        return (float(entry.value(_RATED_AT[kind])) > _BATTERY_SPLIT) == heavy
    if kind == "diode":  # twice the charging voltage: room for the spike of a coil; common practice
        return float(entry.value("reverse_voltage")) >= 2.0 * boat.alternator.charge_voltage
    if kind == "pack":
        nominal = int(entry.value("cells")) * CHEMISTRIES[str(entry.value("chemistry"))].cell_nominal
        return (nominal > _BATTERY_SPLIT) == heavy
    over = OVER_CHARGE_24 if heavy else OVER_CHARGE_12
    if kind == "capacitor":
        return float(entry.value("rated_voltage")) >= over
    if kind == "supercapacitor":  # of a lone cell there are as many as the voltage needs
        cells = int(entry.value("cells"))
        return cells == 1 or cells * float(entry.value("cell_voltage")) >= over
    if kind == "converter":
        return _converts(entry, boat, heavy)
    if kind == "battery":
        return float(entry.value("voltage")) <= _BATTERY_SPLIT
    if kind == "fuse":
        return float(entry.value("rated_voltage")) >= over
    return True


def _converts(entry: Entry, boat: Boat, heavy: bool) -> bool:
    """Whether a converter starts on the boat's voltage and stands it, and its output suits every display: no lower than
    it restarts at, and no higher than its plate, or than a 12 V boat charges with where it may be one for 12 V."""
    starts = float(entry.value("cut_in", entry.value("input_voltage"))) <= boat.nominal_voltage * AT_REST
    stands = float(entry.value("maximum_input", boat.alternator.charge_voltage)) >= boat.alternator.charge_voltage
    down = entry.value("direction") != "down" or heavy
    output = float(entry.value("output_voltage"))
    return starts and stands and down and all(_suits(output, display, boat) for display in boat.displays)


def _suits(output: float, display: Display, boat: Boat) -> bool:
    plate = boat.values[f"{display.path}.maximum_supply"].value
    if not isinstance(plate, float):
        plate = OVER_CHARGE_12 if may_be_for_12_v(display) else OVER_CHARGE_24
    return display.circuit.restarts_above <= output <= plate


def _wired(path: str, entry: Entry, boat: Boat) -> bool:
    """Whether a relay of the hold-up brings the contact that the boat is wired for; a changeover contact makes too,
    where the scenario says that only this is used."""
    held = boat.values.get("hold_up.contact")
    if path != "hold_up.relay" or held is None:
        return True
    return entry.value("contact") == held.value or (held.value == "make" and held.origin == "written")


_RATED_AT = {"relay": "coil_voltage", "starter": "voltage", "solenoid": "voltage"}
"""The field of a part that has to be the boat's voltage."""


def _string_capacitance(boat: Boat, entry: Entry) -> float:
    """Of the string that a line comes to on this boat [F]: a lone cell is one of as many as the voltage needs."""
    cells = int(entry.value("cells"))
    if cells == 1:
        over = OVER_CHARGE_24 if boat.nominal_voltage > _BATTERY_SPLIT else OVER_CHARGE_12
        cells = cells_needed(float(entry.value("cell_voltage")), over)
    return float(entry.value("cell_capacitance")) / cells


def _battery_resistance(entry: Entry) -> float:
    """What a cranking rating comes to, whatever the test behind it [ohm]."""
    made = battery_circuit(
        float(entry.value("rating")),
        str(entry.value("rating_standard")),
        capacity=float(entry.value("capacity")),
        chemistry=entry.value("chemistry"),
        state_of_charge=1.0,
        health=1.0,
        temperature=25.0,
    )
    return made.resistance_instant
