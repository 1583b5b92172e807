# SPDX-License-Identifier: GPL-3.0-or-later
"""Conductors: size designations to resistance, inductance, mass and the published current and drop checks.

AWG, SAE and mm2 are designations, not areas. AWG follows the diameter formula of ASTM B258 and stranding
lengthens the strands a little; SAE battery cable has a smaller minimum area under the same number; a metric
size is defined by the maximum resistance in IEC 60228, not by its nominal area.

Checks here repeat a published figure so that a design can be sorted; the binding figure is in the standard.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from cranksag.errors import InputError
from cranksag.quantities import AWG_SHELF_NAMES, METRIC_NAMES, SAE_NAMES, ConductorSize

__all__ = [
    "Ampacity",
    "DropClass",
    "ampacity",
    "awg_diameter",
    "awg_number",
    "conductor_area",
    "conductor_diameter",
    "copper_mass_per_metre",
    "drop_class",
    "inductance_per_metre",
    "outer_diameter",
    "pair_inductance_per_metre",
    "resistance_per_metre",
    "resistance_source",
    "run_resistance",
    "sizes_between",
    "temperature_factor",
]

# --- copper -------------------------------------------------------------------------------------------------
COPPER_RESISTIVITY_20 = 1.0 / 58.0e6  # [ohm m] 100 % IACS at 20 degC, 0.017241 ohm mm2/m (IEC 60028)
COPPER_ALPHA_20 = 0.00393  # [1/K] at 20 degC, 100 % IACS copper (IEC 60028; the 234.5 degC inferred zero)
IEC_ALPHA_20 = 0.004  # [1/K] rounded slope behind the Kt column of IEC 60228; 0.2 % apart at 50 degC
COPPER_DENSITY = 8890.0  # [kg/m3] 8.89 g/cm3 at 20 degC (IEC 60028)
REFERENCE_TEMPERATURE = 20.0  # [degC] of every resistance table here
SQUARE_MILLIMETRE = 1.0e-6  # [m2/mm2] definition
PER_KILOMETRE = 1.0e-3  # [ohm/m per ohm/km] definition
INTERNAL_FIELD = 0.25  # [-] field inside a round wire at low frequency, Rosa 1908 (from memory)
VACUUM_PERMEABILITY = 4.0e-7 * math.pi  # [H/m] (SI to nine digits)

# --- AWG (ASTM B258) ----------------------------------------------------------------------------------------
AWG_DIAMETER_36 = 0.127e-3  # [m] 36 AWG = 0.0050 in (ASTM B258)
AWG_RATIO = 92.0  # [-] diameter 4/0 over 36 AWG, in 39 steps (ASTM B258)
AWG_STEPS = 39.0  # [-] steps between 36 AWG and 4/0 AWG (ASTM B258)
AWG_STEP_36 = 36  # [-] gauge number at which the formula is anchored (ASTM B258)
AWG_NUMBER_MAX = 40  # [-] thinnest gauge accepted; below any boat wiring (engineering estimate)
STRAND_LAY_INCREMENT = 0.02  # [-] resistance of stranded over solid of equal area (ASTM B8, from memory)

CIRCULAR_MIL = math.pi / 4.0 * (25.4e-6) ** 2  # [m2] area of a circle 0.001 in across (definition)

#: [cmil] minimum area by SAE gauge. 6, 4, 2, 1/0, 2/0, 4/0: published (automotive cable gauge table citing
#: SAE J1127); the others (J1128 primary cable 20 to 12 and 10, 8, 1, 3/0 of J1127): from memory.
SAE_CIRCULAR_MILS: Mapping[str, float] = MappingProxyType(
    {
        "20": 1072.0,
        "18": 1537.0,
        "16": 2336.0,
        "14": 3702.0,
        "12": 5833.0,
        "10": 9343.0,
        "8": 14810.0,
        "6": 24538.0,
        "4": 37360.0,
        "2": 62450.0,
        "1": 77790.0,
        "1/0": 98980.0,
        "2/0": 125100.0,
        "3/0": 158600.0,
        "4/0": 205500.0,
    }
)
SAE_PUBLISHED = frozenset({"6", "4", "2", "1/0", "2/0", "4/0"})  # [-] gauges whose area was read

# --- IEC 60228 ----------------------------------------------------------------------------------------------
#: [mm2] nominal areas of the three tables below (IEC 60228)
IEC_AREAS = (
    *(0.5, 0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0),
    *(35.0, 50.0, 70.0, 95.0, 120.0, 150.0, 185.0, 240.0, 300.0, 400.0),
)
IEC_FROM_MEMORY_ABOVE = 150.0  # [mm2] rows beyond it are from memory
#: [ohm/km] maximum at 20 degC by construction (IEC 60228:2004 tables 2 and 3; three printed copies agree up
#: to 150 mm2)
IEC_RESISTANCES: Mapping[str, tuple[float, ...]] = MappingProxyType(
    {
        "class 5 plain": (
            *(39.0, 26.0, 19.5, 13.3, 7.98, 4.95, 3.30, 1.91, 1.21, 0.780),
            *(0.554, 0.386, 0.272, 0.206, 0.161, 0.129, 0.106, 0.0801, 0.0641, 0.0486),
        ),
        "class 5 tinned": (
            *(40.1, 26.7, 20.0, 13.7, 8.21, 5.09, 3.39, 1.95, 1.24, 0.795),
            *(0.565, 0.393, 0.277, 0.210, 0.164, 0.132, 0.108, 0.0817, 0.0654, 0.0495),
        ),
        "class 2 plain": (
            *(36.0, 24.5, 18.1, 12.1, 7.41, 4.61, 3.08, 1.83, 1.15, 0.727),
            *(0.524, 0.387, 0.268, 0.193, 0.153, 0.124, 0.0991, 0.0754, 0.0601, 0.0470),
        ),
    }
)
IEC_AREA_MIN = 0.3  # [mm2] smallest accepted; R A of the first row is used below the table (estimate)
IEC_AREA_MAX = 400.0  # [mm2] largest accepted, the last row

#: accepted constructions by designation system; the first is the default
CONSTRUCTIONS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {"AWG": ("stranded", "solid"), "SAE": ("SAE minimum",), "mm2": tuple(IEC_RESISTANCES)}
)

# --- shelf sizes --------------------------------------------------------------------------------------------
#: sizes stepped through by a sweep, thin to thick
SHELF: Mapping[str, tuple[str, ...]] = MappingProxyType({"AWG": AWG_SHELF_NAMES, "SAE": SAE_NAMES, "mm2": METRIC_NAMES})

# --- bundle geometry ----------------------------------------------------------------------------------------
STRAND_FILL = 0.75  # [-] copper share of a bunched conductor's circle (engineering estimate)
#: (copper area up to [m2], insulation thickness [m]) of single-core boat cable (engineering estimate)
INSULATION_THICKNESS = ((5.5e-6, 0.8e-3), (35.0e-6, 1.2e-3), (math.inf, 1.6e-3))
BATTERY_CABLE_AREA = 12.0e-6  # [m2] from here up out and back run apart, not twisted (engineering estimate)
BATTERY_CABLE_SPACING = 0.1  # [m] between axes of the two battery cables (engineering estimate)

# --- current and drop checks --------------------------------------------------------------------------------
#: [A] by AWG name: (105 degC insulation, 60 degC insulation), 33 CFR 183.425 Table 5
CFR_TABLE_5: Mapping[str, tuple[float, float]] = MappingProxyType(
    {
        "18": (20.0, 10.0),
        "16": (25.0, 15.0),
        "14": (35.0, 20.0),
        "12": (45.0, 25.0),
        "10": (60.0, 40.0),
        "8": (80.0, 55.0),
        "6": (120.0, 80.0),
        "4": (160.0, 105.0),
        "3": (180.0, 120.0),
        "2": (210.0, 140.0),
        "1": (245.0, 165.0),
        "1/0": (285.0, 195.0),
        "2/0": (330.0, 225.0),
        "3/0": (385.0, 260.0),
        "4/0": (445.0, 300.0),
    }
)
CFR_COLUMNS = (105, 60)  # [degC] insulation ratings in the order of the tuples above
#: [-] factor inside engine spaces, note 1 of Table 5 (0.85: a chandler's wire chart, jamestowndistributors.com,
#: which prints 21 A for 16 AWG there; 0.58 from memory; both equal sqrt((T-50)/(T-30)) to 0.01)
CFR_ENGINE_SPACE: Mapping[int, float] = MappingProxyType({105: 0.85, 60: 0.58})
CFR_NOTE = (
    "33 CFR 183.425 Table 5, 30 degC ambient; cranking-motor conductors are outside it. "
    "Read the regulation and ABYC E-11 or ISO 13297 for the binding figure."
)
AREA_TOLERANCE = 1.0e-6  # [-] relative, so that a size finds its own row despite rounding

#: [-] allowed share of nominal voltage, out and back together (ABYC E-11 by a summary; ISO 10133:2012 4.8)
DROP_CRITICAL = 0.03
DROP_GENERAL = 0.10
DROP_NOTE = "ABYC E-11 and ISO 13297 (ISO 10133:2012 4.8) say which class binds which circuit."


@dataclass(frozen=True, slots=True)
class Ampacity:
    """A published current limit found for a size.

    current : limit [A]; row : AWG row it was read from; note : the standard it repeats, and its limits.
    """

    current: float
    row: str
    note: str


@dataclass(frozen=True, slots=True)
class DropClass:
    """Class of a voltage drop.

    share : drop over nominal voltage [-]; name : "3 %", "10 %" or "over 10 %"; note : the standard.
    """

    share: float
    name: str
    note: str


def awg_number(name: str) -> int:
    """Gauge number of an AWG name: "16" -> 16, "1/0" -> 0, "4/0" -> -3.

    Parameters: name : AWG name [-]. Returns: number for the formula of ASTM B258 [-].
    Raises: InputError if the name is no gauge from 4/0 to 40.
    """
    head, slash, tail = name.strip().partition("/")
    if head.isascii() and head.isdigit():
        if slash and tail == "0" and 1 <= int(head) <= 4:
            return 1 - int(head)
        if not slash and int(head) <= AWG_NUMBER_MAX:
            return int(head)
    raise InputError([f'"{name} AWG" is no gauge: use 40 down to 1, then 1/0, 2/0, 3/0 or 4/0'])


def awg_diameter(name: str) -> float:
    """Diameter of a solid conductor, d = 0.127 mm x 92^((36 - n)/39) (ASTM B258).

    Parameters: name : AWG name [-]. Returns: diameter [m]. Raises: InputError for an unknown gauge.

    >>> round(awg_diameter("4/0") / 25.4e-3, 4)  # 4/0 AWG = 0.4600 in, ASTM B258
    0.46
    """
    return AWG_DIAMETER_36 * math.pow(AWG_RATIO, (AWG_STEP_36 - awg_number(name)) / AWG_STEPS)


def _metric_area(name: str) -> float:
    """Nominal area [mm2] of a metric name, checked."""
    try:
        area = float(name)
    except ValueError:
        area = math.nan
    if not IEC_AREA_MIN <= area <= IEC_AREA_MAX:
        raise InputError([f'"{name} mm2" is outside {IEC_AREA_MIN:g} to {IEC_AREA_MAX:g} mm2'])
    return area


def conductor_area(size: ConductorSize) -> float:
    """Copper area behind a designation; for mm2 the nominal area.

    Parameters: size : designation. Returns: area [m2]. Raises: InputError for an unknown size.
    Source: ASTM B258 (AWG), SAE J1127 (SAE), IEC 60228 (mm2, nominal: its resistance is what is defined).
    """
    if size.system == "AWG":
        return math.pi / 4.0 * awg_diameter(size.name) ** 2
    if size.system == "SAE":
        if size.name not in SAE_CIRCULAR_MILS:
            raise InputError([f'"{size.name} SAE" is unknown: use {", ".join(SAE_CIRCULAR_MILS)}'])
        return SAE_CIRCULAR_MILS[size.name] * CIRCULAR_MIL
    return _metric_area(size.name) * SQUARE_MILLIMETRE


def _construction(size: ConductorSize, construction: str | None) -> str:
    allowed = CONSTRUCTIONS[size.system]
    if construction is None:
        return allowed[0]
    if construction not in allowed:
        raise InputError([f'"{construction}" is no construction of {size.system}: use {", ".join(allowed)}'])
    return construction


def _iec_resistance(area_mm2: float, construction: str) -> float:
    """Resistance [ohm/m] at 20 degC; between table rows R A is taken linear in log A (estimate)."""
    table = IEC_RESISTANCES[construction]
    products = [r * a for r, a in zip(table, IEC_AREAS, strict=True)]
    if area_mm2 <= IEC_AREAS[0] or area_mm2 >= IEC_AREAS[-1]:
        product = products[0] if area_mm2 <= IEC_AREAS[0] else products[-1]
        return product / area_mm2 * PER_KILOMETRE
    upper = next(i for i, a in enumerate(IEC_AREAS) if a >= area_mm2)
    low, high = IEC_AREAS[upper - 1], IEC_AREAS[upper]
    share = math.log(area_mm2 / low) / math.log(high / low)
    return (products[upper - 1] * (1.0 - share) + products[upper] * share) / area_mm2 * PER_KILOMETRE


def temperature_factor(temperature: float, alpha: float = COPPER_ALPHA_20) -> float:
    """Resistance at a temperature over that at 20 degC, 1 + alpha (T - 20).

    Parameters: temperature : conductor temperature [degC]; alpha : slope at 20 degC [1/K], copper by default,
    `IEC_ALPHA_20` to follow the Kt column of IEC 60228. Returns: factor [-].
    Raises: InputError below the temperature at which the line reaches zero.
    """
    factor = 1.0 + alpha * (temperature - REFERENCE_TEMPERATURE)
    if not factor > 0.0 or math.isinf(factor):
        raise InputError([f"conductor temperature {temperature:g} degC is outside the law for copper"])
    return factor


def resistance_per_metre(
    size: ConductorSize, temperature: float = REFERENCE_TEMPERATURE, construction: str | None = None
) -> float:
    """Resistance of one metre of one conductor.

    AWG: rho / area, times 1 + lay increment when stranded (default). SAE: rho / minimum area, no increment,
    because the area is already a minimum. mm2: the maximum of IEC 60228, class 5 plain unless told.

    Parameters
    ----------
    size : designation
    temperature : conductor temperature [degC]
    construction : one of `CONSTRUCTIONS` for the system, None for its default

    Returns
    -------
    resistance [ohm/m]

    Raises
    ------
    InputError
        for an unknown size or a construction that does not belong to its system.
    """
    kind = _construction(size, construction)
    if size.system == "mm2":
        at_20 = _iec_resistance(_metric_area(size.name), kind)
    else:
        at_20 = COPPER_RESISTIVITY_20 / conductor_area(size)
        if kind == "stranded":
            at_20 *= 1.0 + STRAND_LAY_INCREMENT
    return at_20 * temperature_factor(temperature)


def resistance_source(size: ConductorSize, construction: str | None = None) -> str:
    """Source of the resistance of a size, in words for a report.

    Parameters: as `resistance_per_metre`. Returns: text. Raises: InputError as there.
    """
    kind = _construction(size, construction)
    if size.system == "AWG":
        lay = f"stranded +{STRAND_LAY_INCREMENT:.0%} (ASTM B8, from memory)" if kind == "stranded" else kind
        return f"ASTM B258 area, 100 % IACS copper, {lay}"
    if size.system == "SAE":
        memory = " (area from memory)" if size.name not in SAE_PUBLISHED else ""
        return "SAE J1127/J1128 minimum area, 100 % IACS copper" + memory
    area = _metric_area(size.name)
    memory = " (row from memory)" if area > IEC_FROM_MEMORY_ABOVE else ""
    between = "" if area in IEC_AREAS else ", between rows (engineering estimate)"
    return f"IEC 60228 maximum, {kind}{memory}{between}"


def run_resistance(
    size: ConductorSize,
    length: float,
    temperature: float = REFERENCE_TEMPERATURE,
    construction: str | None = None,
) -> float:
    """Resistance of one conductor over a length (one way; joints are counted apart).

    Parameters: length [m] >= 0; the rest as `resistance_per_metre`. Returns: resistance [ohm].
    Raises: InputError for a negative length or as `resistance_per_metre`.
    """
    if not 0.0 <= length < math.inf:
        raise InputError([f"conductor length {length:g} m must be zero or more"])
    return resistance_per_metre(size, temperature, construction) * length


def pair_inductance_per_metre(conductor_radius: float, spacing: float) -> float:
    """Inductance of a go-and-return pair of round wires per metre of route, mu0/pi (ln(D/r) + 1/4).

    Limits: D at least 2 r; the 1/4 is the field inside the copper, right for the slow currents of a crank.

    Parameters: conductor_radius r [m]; spacing D between axes [m]. Returns: inductance [H/m] of the loop.
    Raises: InputError if the wires would overlap.
    Source: E. B. Rosa, The self and mutual inductances of linear conductors, Bull. Bureau of Standards 4(2),
    1908 (formula from memory).
    """
    if not 0.0 < 2.0 * conductor_radius <= spacing:
        raise InputError(["spacing of a pair must be at least the conductor's diameter"])
    return VACUUM_PERMEABILITY / math.pi * (math.log(spacing / conductor_radius) + INTERNAL_FIELD)


def conductor_diameter(size: ConductorSize) -> float:
    """Diameter of the bare stranded conductor, sqrt(4 A / (pi fill)) (engineering estimate).

    Parameters: size : designation. Returns: diameter [m]. Raises: InputError for an unknown size.
    """
    return math.sqrt(4.0 * conductor_area(size) / (math.pi * STRAND_FILL))


def outer_diameter(size: ConductorSize) -> float:
    """Diameter over the insulation of single-core cable (engineering estimate, for conduit and lug space).

    Parameters: size : designation. Returns: diameter [m]. Raises: InputError for an unknown size.
    """
    area = conductor_area(size)
    thickness = next(t for limit, t in INSULATION_THICKNESS if area <= limit)
    return conductor_diameter(size) + 2.0 * thickness


def inductance_per_metre(size: ConductorSize, spacing: float | None = None) -> float:
    """Inductance to give each conductor of a run per metre: half of the pair's (engineering estimate).

    Parameters: size : designation; spacing : between axes of conductor and return [m], None for touching
    insulation in a harness and 0.1 m for battery cable. Returns: inductance [H/m], 0.2 to 0.7e-6; the loop
    of both is about 1e-6. Raises: InputError for an unknown size or overlapping wires.
    """
    if spacing is None:
        battery_cable = conductor_area(size) >= BATTERY_CABLE_AREA
        spacing = BATTERY_CABLE_SPACING if battery_cable else outer_diameter(size)
    return 0.5 * pair_inductance_per_metre(0.5 * conductor_diameter(size), spacing)


def copper_mass_per_metre(size: ConductorSize) -> float:
    """Mass of copper per metre, density x area.

    Parameters: size : designation. Returns: mass [kg/m]. Raises: InputError for an unknown size.
    """
    return COPPER_DENSITY * conductor_area(size)


def ampacity(size: ConductorSize, insulation: int = CFR_COLUMNS[0], engine_space: bool = False) -> Ampacity | None:
    """Current limit of 33 CFR 183.425 Table 5 for the largest AWG row not thicker than the conductor.

    Parameters: size : designation; insulation : 105 or 60 [degC]; engine_space : apply note 1 of the table.
    Returns: `Ampacity`, or None if the conductor is thinner than the table's first row.
    Raises: InputError for an unknown size or column.
    """
    if insulation not in CFR_COLUMNS:
        raise InputError([f"insulation rating {insulation} degC is not carried: use 105 or 60"])
    area = conductor_area(size) * (1.0 + AREA_TOLERANCE)
    rows = [row for row in CFR_TABLE_5 if math.pi / 4.0 * awg_diameter(row) ** 2 <= area]
    if not rows:
        return None
    current = CFR_TABLE_5[rows[-1]][CFR_COLUMNS.index(insulation)]
    factor = CFR_ENGINE_SPACE[insulation] if engine_space else 1.0
    return Ampacity(current * factor, rows[-1], CFR_NOTE)


def drop_class(drop: float, nominal_voltage: float) -> DropClass:
    """Sort a voltage drop (out and back together) into the 3 % and 10 % classes.

    Parameters: drop [V] >= 0; nominal_voltage [V] > 0. Returns: `DropClass`.
    Raises: InputError for a drop below zero or a nominal voltage that is not positive.
    """
    if not (drop >= 0.0 and nominal_voltage > 0.0):
        raise InputError([f"a drop of {drop:g} V on {nominal_voltage:g} V cannot be classed"])
    share = drop / nominal_voltage
    name = "3 %" if share <= DROP_CRITICAL else "10 %" if share <= DROP_GENERAL else "over 10 %"
    return DropClass(share, name, DROP_NOTE)


def sizes_between(first: ConductorSize, last: ConductorSize) -> list[ConductorSize]:
    """Stocked sizes from one size to another, both ends included, in that order.

    Parameters: first, last : designations of one system; an end that is not stocked is kept as written.
    Returns: sizes ordered by area from first to last. Raises: InputError across systems or for unknown sizes.
    """
    if first.system != last.system:
        raise InputError([f"sizes run within one system, not from {first.system} to {last.system}"])
    low, high = sorted((conductor_area(first), conductor_area(last)))
    chosen = {conductor_area(s): s for s in (ConductorSize(first.system, n) for n in SHELF[first.system])}
    inside = {area: s for area, s in chosen.items() if low < area < high}
    inside[conductor_area(first)] = first
    inside[conductor_area(last)] = last
    return [inside[area] for area in sorted(inside, reverse=conductor_area(first) > conductor_area(last))]
