# SPDX-License-Identifier: GPL-3.0-or-later
"""Engine and oil: viscosity, cold demand, compression pressure."""

from __future__ import annotations

from functools import partial

from cranksag.parts import engine as e
from cranksag.parts import oil as o
from cranksag.parts.starter import RPM
from cranksag.validate.records import Check, band

_J300 = "SAE J300 tables"
_DEMAND = "mackertautomotive.com, engine demand against temperature"
_GAUGE = (
    "compression ratio not printed beside it, 17.5 taken (from memory); a tester's volume and valve cost some per cent"
)
BAR = 1e5  # [Pa]


def _cold_demand(temperature: float) -> float:
    """Mean cranking torque at 200 rpm over that at 27 degC of a 4.2 l diesel on 15W-40 [%]."""
    torque = [
        e.mean_cranking_torque(e.engine_circuit(4.2e-3, 4, 17.5, "15W-40", t), 200.0 * RPM) for t in (temperature, 27.0)
    ]
    return 100.0 * torque[0] / torque[1]


def _oil_effect() -> float:
    """Torque saved by a thin oil over a thick one in deep cold, 2 l diesel [%]."""
    thick, thin = (
        e.mean_cranking_torque(e.engine_circuit(2.0e-3, 4, 19.0, grade, -25.0), 150.0 * RPM)
        for grade in ("15W-40", "0W-30")
    )
    return 100.0 * (1.0 - thin / thick)


def _hot_viscosity() -> float:
    """Dynamic viscosity of a 15W-40 at 150 degC [mPa s]."""
    return 1e3 * o.dynamic_viscosity(o.oil_grade("15W-40"), 150.0)


def _viscosity_100() -> float:
    return 1e6 * o.kinematic_viscosity(o.oil_grade("15W-40"), 100.0)


def _gauge(ratio: float) -> float:
    """Compression pressure above ambient [bar]."""
    return (e.peak_pressure(ratio) - e.ATMOSPHERE) / BAR


def _cold_demand_rows() -> list[Check]:
    """Demand in the cold."""
    return [
        *[
            Check(
                f"engine demand at {t:g} degC over that at 27 degC, mean torque at 200 rpm",
                "engine and oil",
                _DEMAND,
                published,
                0.15 * published,
                "%",
                "15 %: the table names neither engine nor oil, and two common oils differ by as much",
                partial(_cold_demand, t),
                status="second hand",
            )
            for t, published in ((0.0, 155.0), (-18.0, 210.0), (-29.0, 350.0))
        ],
        Check(
            "torque between thickest and thinnest oil at -25 degC, 2 l diesel",
            "engine and oil",
            "abstract sae:447322b4 (up to 36 % at -20 to -30 degC)",
            36.0,
            6.0,
            "%",
            "the oils are not named",
            _oil_effect,
        ),
    ]


def _oil_rows() -> list[Check]:
    """Viscosity of an SAE grade."""
    grade_40, half = band(12.5, 16.3)
    return [
        Check(
            "grade 40 at 150 degC, dynamic viscosity",
            "engine and oil",
            _J300,
            3.7,
            1.5,
            "mPa s",
            "a least value at high shear; the law has no high-shear loss when hot and may only lie above",
            _hot_viscosity,
            sense="at least",
        ),
        Check(
            "grade 40 at 100 degC, kinematic viscosity",
            "engine and oil",
            _J300,
            grade_40,
            half,
            "mm2/s",
            "the grade's band",
            _viscosity_100,
            sense="band",
        ),
    ]


def _compression_rows() -> list[Check]:
    """Compression pressure."""
    d28, half_28 = band(30.0, 32.0)
    return [
        Check(
            "compression pressure, 3.0 l diesel truck engine at 250 rpm",
            "engine and oil",
            "manual fuso-canter-fe85de6slgp p. 11-14 (standard 3100 kPa)",
            31.0,
            3.1,
            "bar",
            f"10 %: {_GAUGE}",
            partial(_gauge, 17.5),
        ),
        Check(
            "compression pressure, 2.8 l marine diesel at 300 rpm",
            "engine and oil",
            "service manual 90-860074 p. 3A-30 (30-32 bar)",
            d28,
            half_28 + 1.5,
            "bar",
            f"the printed band and 5 %: {_GAUGE}",
            partial(_gauge, 17.5),
            sense="band",
        ),
        Check(
            "compression pressure, small indirect-injection diesel at 290 rpm",
            "engine and oil",
            "manual Mitsubishi S3L p. 4-3 (2.9 MPa)",
            29.0,
            2.9,
            "bar",
            "10 %; compression ratio 22 taken (from memory); the exponent of divided chambers is of five other engines",
            partial(_gauge, 22.0),
        ),
    ]


def checks() -> list[Check]:
    """Checks of engine and oil."""
    return [*_cold_demand_rows(), *_oil_rows(), *_compression_rows()]
