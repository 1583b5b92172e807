# SPDX-License-Identifier: GPL-3.0-or-later
"""Sweep with faults: of 1,000 combinations 10 abort their process, 10 hang, 10 do not converge; what is left of them.

The command itself runs, on a crank cut to its first tenths of a second; the faults are those of `tests/faulty_work.py`,
real ones, at ratings that end in 1, 2 and 3 A past a hundred. A miss is printed as one.
`CRANKSAG_BENCH_FAULTS` is another number of combinations.
"""

from __future__ import annotations

import collections
import csv
import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from cranksag.examples import example_text

TESTS = Path(__file__).resolve().parent.parent
COUNT = int(os.environ.get("CRANKSAG_BENCH_FAULTS", "1000"))
FIRST = 501
ROW_LIMIT = 5.0  # [s] after which a row counts as hung; a good one takes a tenth of a second
SHORT = {
    "crank.key_on_before": "0.1 s",
    "crank.key_held": "0.2 s",
    "crank.after": "0.05 s",
    "engine.fires_after": "never",
}
FAULTS = {1: "died", 2: "hung", 3: "convergence"}
"""Last two digits of a rating [A] and what becomes of its row."""


def command(boat: Path, out: Path) -> list[str]:
    """The sweep's command line with the simulation of `tests/faulty_work.py`."""
    code = (
        f"import sys; sys.path.insert(0, {str(TESTS)!r}); from faulty_work import faulty_boat; "
        "from cranksag.studies.sweep import sweep; sweep.__kwdefaults__['simulate'] = faulty_boat; "
        "sys.argv[0] = 'cranksag'; from cranksag.cli import main; main()"
    )
    axis = f"battery.rating={FIRST} A:{FIRST + COUNT - 1} A:{COUNT}"
    sets = [word for path, text in SHORT.items() for word in ("--set", f"{path}={text}")]
    words = ["sweep", str(boat), *sets, "--axis", axis, "--out", str(out), "--json", "--row-limit", str(ROW_LIMIT)]
    return [sys.executable, "-c", code, *words]


def as_wanted(row: dict[str, str]) -> bool:
    """Whether a row says what became of its boat: a named failure without figures, or a voltage."""
    kind = FAULTS.get(int(float(row["battery.rating [A]"])) % 100)
    if kind is None:
        return row["status"] != "failed" and 0.0 < float(row["minimum_voltage_v"]) < 14.0
    return row["status"] == "failed" and row["reason"].startswith(f"{kind}: ") and row["minimum_voltage_v"] == ""


def main() -> None:
    wanted = collections.Counter(FAULTS.get(rating % 100, "good") for rating in range(FIRST, FIRST + COUNT))
    with tempfile.TemporaryDirectory() as folder:
        boat, out = Path(folder) / "boat.toml", Path(folder) / "rows.csv"
        boat.write_text(example_text("restarting"), encoding="utf-8")
        began = time.perf_counter()
        done = subprocess.run(command(boat, out), capture_output=True, text=True, check=False)
        seconds = time.perf_counter() - began
        if done.returncode != 0:
            print(f"exit code {done.returncode} (target 0: MISSED): {done.stderr.strip()}")
            return
        told = json.loads(done.stdout)
        with out.open(newline="") as file:
            rows = list(csv.DictReader(file))
    failed = COUNT - wanted["good"]
    kinds = {kind: wanted[kind] for kind in FAULTS.values() if wanted[kind]}
    right = sum(map(as_wanted, rows))
    found = [
        ("exit code", done.returncode, 0),
        ("rows in the table", len(rows), COUNT),
        ("good rows", sum(row["status"] != "failed" for row in rows), wanted["good"]),
        ("named failures", sum(bool(row["reason"]) for row in rows if row["status"] == "failed"), failed),
        ("rows that say what became of their boat", right, COUNT),
        ("summary: combinations", told["combinations"], COUNT),
        ("summary: held and restarted", told["held"] + told["restarted"], wanted["good"]),
        ("summary: failed", told["failed"], failed),
        ("summary: failures", told["failures"], kinds),
    ]
    for name, value, target in found:
        print(f"{name:<41} {value}   (target {target}{'' if value == target else ': MISSED'})")
    print(f"{'time':<41} {seconds:.0f} s, {told['workers']} workers, {failed} of them waited for or replaced")


if __name__ == "__main__":
    main()
