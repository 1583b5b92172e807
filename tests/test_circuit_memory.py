# SPDX-License-Identifier: GPL-3.0-or-later
"""Two thousand simulations in one process leave less than 2 MB behind."""

from __future__ import annotations

import resource
from pathlib import Path

import pytest

from cranksag.scenario import loads_scenario
from cranksag.simulate import simulate

BOAT = """
title = "test boat"
[crank]
key_on_before = "100 ms"
key_held = "500 ms"
after = "100 ms"
"""
RUNS, WARM_UP, LIMIT = 2000, 100, 2e6  # runs counted, runs before (caches and arenas), growth allowed [bytes]


def resident() -> int:
    """Resident memory of this process now [bytes]."""
    return int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1]) * resource.getpagesize()


@pytest.mark.long
@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="reads the memory of the process from /proc")
def test_resident_memory_does_not_grow() -> None:
    boat = loads_scenario(BOAT)
    for _ in range(WARM_UP):
        simulate(boat)
    before = resident()
    for _ in range(RUNS):
        simulate(boat)
    assert resident() - before < LIMIT
