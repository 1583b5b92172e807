# SPDX-License-Identifier: GPL-3.0-or-later
"""Stored key figures of the examples, and what has moved since: ``python -m cranksag.validate.drift FILE [--store]``.

A change of the model shows here first, example by example; whoever makes it looks at the table and stores it anew.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from cranksag.examples import example_names, example_text
from cranksag.scenario import loads_scenario

__all__ = ["TOLERANCES", "Moved", "drift", "drift_table", "example_figures", "figures_of"]

Figures = Mapping[str, float | int | bool | None]

#: figure: (absolute, relative) difference that counts as unmoved; solver versions and processors differ by less than
#: this (the step control alone moves a minimum by a millivolt), a change of any default by more
TOLERANCES: Mapping[str, tuple[float, float]] = {
    "minimum_voltage_v": (0.02, 0.0),
    "margin_v": (0.02, 0.0),
    "time_below_threshold_s": (0.01, 0.02),
    "restarts": (0.0, 0.0),
    "engages": (0.0, 0.0),
    "fires": (0.0, 0.0),
    "battery_minimum_v": (0.02, 0.0),
    "crank_voltage_v": (0.01, 0.0),
    "peak_current_a": (1.0, 0.005),
    "crank_current_a": (1.0, 0.005),
    "crank_speed_rpm": (0.5, 0.005),
}


@dataclass(frozen=True, slots=True)
class Moved:
    """One figure that moved: example, figure, what was stored and what is now."""

    example: str
    figure: str
    stored: float | None
    now: float | None


def figures_of(name: str) -> dict[str, float | int | bool | None]:
    """Key figures of one example, under the keys of the simulate document where it has them."""
    from cranksag.simulate import simulate
    from cranksag.verdict.document import document

    said = document(simulate(loads_scenario(example_text(name))))
    return {
        "minimum_voltage_v": said["display"]["minimum_voltage_v"],
        "margin_v": said["display"]["margin_v"],
        "time_below_threshold_s": said["display"]["time_below_threshold_s"],
        "restarts": sum(display["restarts"] for display in said["displays"]),
        "engages": said["cranks"]["engages"],
        "fires": said["cranks"]["fires"],
        "battery_minimum_v": said["battery"]["minimum_voltage_v"],
        "crank_voltage_v": said["battery"]["crank_voltage_v"],
        "peak_current_a": said["starter"]["peak_current_a"],
        "crank_current_a": said["starter"]["crank_current_a"],
        "crank_speed_rpm": said["starter"]["crank_speed_rpm"],
    }


def example_figures() -> dict[str, dict[str, float | int | bool | None]]:
    """Key figures of every example."""
    return {name: figures_of(name) for name in example_names()}


def drift(stored: Mapping[str, Figures], now: Mapping[str, Figures]) -> list[Moved]:
    """Figures outside their tolerance, and examples or figures that came or went."""
    moved = []
    for example in sorted({*stored, *now}):
        old, new = stored.get(example, {}), now.get(example, {})
        for figure in dict.fromkeys([*TOLERANCES, *old, *new]):
            before, after = old.get(figure), new.get(figure)
            if not _same(figure, before, after):
                moved.append(Moved(example, figure, before, after))
    return moved


def _same(figure: str, before: float | None, after: float | None) -> bool:
    if before is None or after is None:
        return before is after
    absolute, relative = TOLERANCES.get(figure, (0.0, 0.0))
    return abs(after - before) <= absolute + relative * abs(before)


def drift_table(moved: Sequence[Moved]) -> str:
    """The drift as a table; one line if nothing moved."""
    if not moved:
        return "nothing moved"
    rows = [("example", "figure", "stored", "now", "moved by")]
    for one in moved:
        step = "" if one.stored is None or one.now is None else f"{float(one.now) - float(one.stored):+.4g}"
        rows.append((one.example, one.figure, _shown(one.stored), _shown(one.now), step))
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    return "\n".join("  ".join(cell.ljust(w) for cell, w in zip(row, widths, strict=True)).rstrip() for row in rows)


def _shown(value: float | None) -> str:
    if value is None or isinstance(value, bool):
        return "-" if value is None else str(value)
    return f"{value:.5g}"


def main(arguments: Sequence[str]) -> int:
    """Print what moved against a stored file; with ``--store`` write it anew. Returns 1 if something moved."""
    paths = [Path(word) for word in arguments if not word.startswith("--")]
    if len(paths) != 1 or set(arguments) - {str(paths[0]), "--store"}:
        sys.stderr.write("python -m cranksag.validate.drift FILE [--store]\n")
        return 2
    (path,) = paths
    now = example_figures()
    stored = json.loads(path.read_text(encoding="utf-8")) if path.exists() else {}
    moved = drift(stored, now)
    sys.stdout.write(drift_table(moved) + "\n")
    if "--store" in arguments:
        rounded = {name: {k: _rounded(v) for k, v in figures.items()} for name, figures in now.items()}
        path.write_text(json.dumps(rounded, indent=2) + "\n", encoding="utf-8")
        return 0
    return 1 if moved else 0


def _rounded(value: float | None) -> float | None:
    return round(value, 4) if isinstance(value, float) else value


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
