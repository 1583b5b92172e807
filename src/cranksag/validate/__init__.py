# SPDX-License-Identifier: GPL-3.0-or-later
"""The outside checks: published figures against what this model makes of them, as data and as a table.

Every row names its source and says how its figure was come by; rows from common practice or memory are marked and
counted apart. A row that misses stays in the table with the reason.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from cranksag.errors import CranksagError, LibraryMissing
from cranksag.validate.records import FAMILIES, PROVENANCE, Check, Row

__all__ = ["FAMILIES", "PROVENANCE", "Check", "Row", "all_checks", "rows_document", "run_checks"]


def all_checks() -> list[Check]:
    """Every check, family by family."""
    from cranksag.validate import battery, boats, currents, engine, loads, measured, starter, storage, switching, wiring

    found = [
        *battery.checks(),
        *starter.starter_checks(),
        *starter.solenoid_checks(),
        *engine.checks(),
        *wiring.conductor_checks(),
        *wiring.joint_checks(),
        *switching.relay_checks(),
        *switching.diode_checks(),
        *storage.capacitor_checks(),
        *storage.supercapacitor_checks(),
        *storage.pack_checks(),
        *loads.converter_checks(),
        *loads.display_checks(),
        *loads.fuse_checks(),
        *boats.checks(),
        *currents.checks(),
        *measured.checks(),
    ]
    return sorted(found, key=lambda check: FAMILIES.index(check.family))


def run_checks(checks: Iterable[Check], progress: Callable[[int, Check], None] | None = None) -> list[Row]:
    """Compute checks, one after the other; one that fails to compute is a miss and does not stop the rest.

    Parameters
    ----------
    checks : what to compute
    progress : called before each with its number from 1

    Returns
    -------
    one `Row` for each

    Raises
    ------
    LibraryMissing
        ngspice is not there: no row that needs it could be computed.
    """
    rows = []
    for number, check in enumerate(checks, start=1):
        if progress is not None:
            progress(number, check)
        try:
            rows.append(Row(check, check.compute()))
        except LibraryMissing:
            raise
        except (CranksagError, ValueError, ArithmeticError) as error:
            rows.append(Row(check, None, str(error).splitlines()[0] if str(error) else type(error).__name__))
    return rows


def rows_document(rows: Sequence[Row]) -> list[dict[str, object]]:
    """The rows as the JSON contract has them, with more keys behind.

    `published` is the middle of a band and the limit of a limit; `sense` says which ("value", "band", "at most",
    "at least"); `pass` holds when `computed` lies within `allowed` of it, and for limits on the right side.
    """
    return [
        {
            "check": row.check.name,
            "source": row.check.source,
            "provenance": row.check.provenance,
            "published": row.check.published,
            "computed": row.computed,
            "allowed": row.check.allowed,
            "unit": row.check.unit,
            "pass": row.passed,
            "family": row.check.family,
            "status": row.check.status,
            "sense": row.check.sense,
            "table": row.check.printed_in,
            "ngspice": row.check.spice,
            "whole_circuit": row.check.whole,
            "circular": row.check.circular,
            "allowed_because": row.check.reason,
            "missed_because": (row.failure or row.check.miss or None) if not row.passed else None,
        }
        for row in rows
    ]
