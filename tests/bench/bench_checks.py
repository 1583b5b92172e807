# SPDX-License-Identifier: GPL-3.0-or-later
"""What loading the catalogue and running the outside checks cost.

1. All kinds of the shipped catalogue in fresh processes (target: under 50 ms), over the time the same processes take to
   read the same files with the standard library's TOML reader: a ratio that another machine should give as well.
2. `cranksag validate` (target: under 60 s on two cores), over the time of a bare run of the standby-pack example.
"""

from __future__ import annotations

import json
import statistics
import subprocess
import sys
import time

TURNS = 9
CATALOGUE_TARGET, VALIDATE_TARGET = 0.050, 60.0  # [s]

CATALOGUE = """
import time, tomllib
from importlib import resources
from cranksag.catalogue import KINDS, load_catalogue
begin = time.perf_counter()
lines = len(list(load_catalogue().entries()))
loaded = time.perf_counter() - begin
texts = [(resources.files("cranksag.catalogue") / f"{kind}.toml").read_text(encoding="utf-8") for kind in KINDS]
begin = time.perf_counter()
for text in texts:
    tomllib.loads(text)
print(lines, loaded, time.perf_counter() - begin)
"""

EXAMPLE = """
import time
from cranksag.examples import example_text
from cranksag.scenario import loads_scenario
from cranksag.simulate import simulate
boat = loads_scenario(example_text("standby-pack"), "standby-pack")
simulate(boat)
begin = time.perf_counter()
simulate(boat)
print(time.perf_counter() - begin)
"""


def _run(code: str) -> list[float]:
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return [float(word) for word in done.stdout.split()]


def _missed(value: float, target: float) -> str:
    return "" if value < target else ": MISSED"


def catalogue() -> None:
    """Every line of the catalogue, read and checked."""
    turns = [_run(CATALOGUE) for _ in range(TURNS)]
    loaded, plain = (sorted(turn[k] for turn in turns) for k in (1, 2))
    middle = statistics.median(loaded)
    print(f"1. catalogue, {turns[0][0]:.0f} lines, {TURNS} fresh processes")
    print(f"   best {1e3 * loaded[0]:.1f} ms, median {1e3 * middle:.1f} ms   (target {1e3 * CATALOGUE_TARGET:.0f} ms"
          f"{_missed(middle, CATALOGUE_TARGET)})")  # fmt: skip
    print(f"   over tomllib alone on the same text: {middle / statistics.median(plain):.2f}")


def validate() -> None:
    """The outside checks as a person runs them."""
    begin = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-m", "cranksag", "validate", "--json", "-q"], capture_output=True, text=True, check=False
    )
    seconds = time.perf_counter() - begin
    (each,), rows = _run(EXAMPLE), len(json.loads(done.stdout))
    print(f"\n2. validate, {rows} rows, exit code {done.returncode} (1: some miss)")
    print(f"   {seconds:.1f} s   (target {VALIDATE_TARGET:.0f} s{_missed(seconds, VALIDATE_TARGET)})")
    print(f"   over one run of the standby-pack example: {seconds / each:.0f}")


if __name__ == "__main__":
    catalogue()
    validate()
