# SPDX-License-Identifier: GPL-3.0-or-later
"""Engine oil viscosity by temperature: Walther's law (ASTM D341) with the high-shear limit of SAE J300."""

from __future__ import annotations

import math
from dataclasses import dataclass

from cranksag.errors import InputError

KELVIN = 273.15  # [K] of 0 degC
WALTHER_SHIFT = 0.7  # [mm2/s] in log10 log10(nu + 0.7): ASTM D341 form
CENTISTOKES = 1e-6  # [m2/s per mm2/s] definition
TEMPERATURE_LOW = 40.0  # [degC] lower reading of kinematic viscosity on an oil's data sheet: common practice
TEMPERATURE_HIGH = 100.0  # [degC] upper reading
DENSITY_15 = 880.0  # [kg/m3] engine oil at 15 degC: engineering estimate
DENSITY_TEMPERATURE = 15.0  # [degC] of DENSITY_15
DENSITY_SLOPE = -0.65  # [kg/(m3 K)] engineering estimate
TEMPERATURE_RANGE = (-60.0, 200.0)  # [degC] beyond it no oil of these grades is an oil


@dataclass(frozen=True, slots=True)
class OilGrade:
    """One SAE grade: kinematic viscosities of a typical oil, and the limit of its W grade if it has one."""

    name: str
    viscosity_40: float  # [mm2/s] at 40 degC
    viscosity_100: float  # [mm2/s] at 100 degC
    cranking_limit: float | None  # [Pa s] largest dynamic viscosity at high shear, at `cranking_temperature`
    cranking_temperature: float | None  # [degC]
    source: str


_J300 = "SAE J300 tables"
# W grade: largest high-shear cranking viscosity [Pa s] at [degC].
CRANKING_LIMITS: dict[str, tuple[float, float, str]] = {
    "0W": (6.2, -35.0, "SAE J300, from memory"),
    "5W": (6.6, -30.0, "SAE J300, from memory"),
    "10W": (7.0, -25.0, _J300),
    "15W": (7.0, -20.0, _J300),
    "20W": (9.5, -15.0, _J300),
    "25W": (13.0, -10.0, "SAE J300, from memory"),
}
# Typical kinematic viscosity [mm2/s] at 40 and 100 degC; each 100 degC value lies inside its SAE J300 band.
TYPICAL_VISCOSITY: dict[str, tuple[float, float, str]] = {
    "0W-20": (45.0, 8.5, "from memory"),
    "0W-30": (58.0, 10.6, "from memory"),
    "0W-40": (76.0, 13.5, "from memory"),
    "5W-20": (49.0, 8.6, "from memory"),
    "5W-30": (66.0, 11.2, "from memory"),
    "5W-40": (86.0, 14.0, "from memory"),
    "10W-30": (76.0, 11.4, "from memory"),
    "10W-40": (97.0, 14.4, "from memory"),
    "15W-40": (105.0, 14.2, "typical 15W-40 of the viscosity-law fit A 8.0710, B 3.1112 (ASTM D341 form)"),
    "15W-50": (130.0, 18.0, "from memory"),
    "20W-40": (130.0, 14.5, "from memory"),
    "20W-50": (165.0, 18.5, "from memory"),
    "SAE 20": (60.0, 8.0, "from memory"),
    "SAE 30": (95.0, 11.0, "from memory"),
    "SAE 40": (140.0, 14.4, "from memory"),
    "SAE 50": (210.0, 19.0, "from memory"),
}


def oil_grade(name: str) -> OilGrade:
    """The grade of that name ("15W-40", "SAE 30" or "30").  Raises: InputError naming the grades known."""
    key = " ".join(name.strip().upper().replace("SAE", " ").split())
    key = f"SAE {key}" if key.isdigit() else key.replace(" ", "")
    if key not in TYPICAL_VISCOSITY:
        known = ", ".join(TYPICAL_VISCOSITY)
        raise InputError([f'engine oil "{name}": not a grade known here (one of {known})'])
    at_40, at_100, source = TYPICAL_VISCOSITY[key]
    limit, temperature, source_limit = CRANKING_LIMITS.get(key.split("-")[0], (None, None, ""))
    return OilGrade(key, at_40, at_100, limit, temperature, f"{source}; {source_limit}".rstrip("; "))


def walther_constants(viscosity_40: float, viscosity_100: float) -> tuple[float, float]:
    """(A, B) [-] of log10 log10(nu + 0.7) = A - B log10 T through 40 and 100 degC.  Parameters: [mm2/s]."""
    low = math.log10(math.log10(viscosity_40 + WALTHER_SHIFT))
    high = math.log10(math.log10(viscosity_100 + WALTHER_SHIFT))
    x_low, x_high = math.log10(TEMPERATURE_LOW + KELVIN), math.log10(TEMPERATURE_HIGH + KELVIN)
    slope = (low - high) / (x_high - x_low)
    return low + slope * x_low, slope


def kinematic_viscosity(grade: OilGrade, temperature: float) -> float:
    """Walther's law, ASTM D341 form.

    Parameters: temperature [degC].  Returns: [m2/s].  Raises: InputError.
    """
    if not TEMPERATURE_RANGE[0] <= temperature <= TEMPERATURE_RANGE[1]:
        raise InputError([f"an oil temperature of {temperature:g} degC is outside -60 to 200 degC"])
    a, b = walther_constants(grade.viscosity_40, grade.viscosity_100)
    exponent: float = 10.0 ** (a - b * math.log10(temperature + KELVIN))  # log10(nu + 0.7)
    viscosity: float = (10.0**exponent - WALTHER_SHIFT) * CENTISTOKES
    return viscosity


def density(temperature: float) -> float:
    """Oil density at [degC], linear; returns [kg/m3].  Engineering estimate."""
    return DENSITY_15 + DENSITY_SLOPE * (temperature - DENSITY_TEMPERATURE)


def dynamic_viscosity(grade: OilGrade, temperature: float) -> float:
    """Viscosity at bearing and ring shear rates while cranking: Walther, corrected to the W grade's limit.

    Walther's law overshoots the high-shear (cold-cranking) viscosity of multigrade oils in the cold.  Where
    it lies above the limit at the grade's own temperature, its logarithm is lowered in proportion to the
    distance below 40 degC, so that the limit is met there and nothing changes at 40 degC and above.

    Parameters: temperature [degC].  Returns: [Pa s].  Raises: InputError.
    """
    plain = kinematic_viscosity(grade, temperature) * density(temperature)
    if grade.cranking_limit is None or grade.cranking_temperature is None or temperature >= TEMPERATURE_LOW:
        return plain
    at_limit = kinematic_viscosity(grade, grade.cranking_temperature) * density(grade.cranking_temperature)
    excess = max(0.0, math.log(at_limit / grade.cranking_limit))
    depth = (TEMPERATURE_LOW - temperature) / (TEMPERATURE_LOW - grade.cranking_temperature)
    return plain * math.exp(-excess * depth)
