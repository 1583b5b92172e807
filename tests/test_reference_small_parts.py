# SPDX-License-Identifier: GPL-3.0-or-later
"""The small subcircuits against their closed forms: they agree, and with 2 % on one of their values they do not."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import pytest

from cranksag.circuit.netlists import read_netlist
from cranksag.circuit.network import THERMAL_VOLTAGE_DECK
from cranksag.solver import Deck, get_solver

AGREE = 2e-3  # [-] of the expected value; the 2 % of the deliberate error is ten times that


@dataclass(frozen=True, slots=True)
class Bench:
    """`lines` around the part; `reads` what is compared with `expected`; `wrong` finds the value to put 2 % wrong."""

    part: str
    lines: str
    reads: str
    expected: float
    wrong: str


DIODE_DROP = 1.9 * THERMAL_VOLTAGE_DECK * math.log1p(0.1 / 1e-9) + 0.1 * 50e-3  # [V] at 0.1 A
BENCHES = (
    Bench("contact_make", "I1 0 a 1\nVx xs 0 1000\nX1 a 0 xs contact_make r=0.003", "v(a)", 3e-3, r"\br=(0\.003)"),
    Bench("contact_rest", "I1 0 a 1\nVx xs 0 0\nX1 a 0 xs contact_rest r=0.003", "v(a)", 3e-3, r"\br=(0\.003)"),
    Bench("contact_keyed", "I1 0 a 1\nVk k 0 1\nX1 a 0 k contact_keyed r=0.002", "v(a)", 2e-3, r"\br=(0\.002)"),
    Bench("suppress_none", "I1 0 a 1u\nX1 a 0 suppress_none", "v(a)", 1.0, r"Rs c1 c2 (1meg)"),
    Bench("suppress_diode", "I1 0 a 0.1\nX1 0 a suppress_diode", "v(a)", DIODE_DROP, r"n=(1\.9)"),
    Bench(
        "charger",
        "Va a 0 14\nVb b1 0 12.6\nVs b b1 0\nX1 a b charger vset=13.6 r=10 imax=0.2",
        "i(vs)",
        0.1,
        r"\br=(10)",
    ),
    # the pin climbs by 1 V/ms: x is up until it has passed the threshold by half the hysteresis and 20 us of the filter
    Bench(
        "sense",
        "Vone one 0 1\nVs s 0 pwl(0 0 10m 10)\nX1 s 0 x one sense vsen=6\nG1 0 c x 0 1\nC1 c 0 1 ic=0\nRc c 0 1g",
        "v(c)",
        6.12e-3 / 1.001,
        r"vsen=(6)",
    ),
    # a gate opens over a millisecond of the engine's running time: half open half a millisecond after its offset
    Bench(
        "gate_from_fire", "Vg ga 0 1\nVt tf 0 0.0405\nX1 g ga tf gate_from_fire toff=0.04", "v(g)", 0.5, r"toff=(0\.04)"
    ),
    Bench(
        "gate_until_fire",
        "Vg ga 0 1\nVt tf 0 0.0405\nX1 g ga tf gate_until_fire toff=0.04",
        "v(g)",
        0.5,
        r"toff=(0\.04)",
    ),
)
SCALES = {"meg": 1e6}


def measured(bench: Bench, factor: float) -> float:
    """What the bench reads at the end of 10 ms, with the value of `wrong` multiplied by `factor`."""
    text = f"{read_netlist('standby_pack').subcircuits[bench.part].text}\n{bench.lines}"

    def changed(match: re.Match[str]) -> str:
        number = re.fullmatch(r"([0-9.]+)(meg)?", match[1])
        assert number is not None
        value = float(number[1]) * SCALES.get(number[2], 1.0) * factor
        return match[0].replace(match[1], repr(value))

    pattern = re.compile(bench.wrong)
    assert pattern.search(text)
    places = list(pattern.finditer(text))
    last = places[-1]
    text = text[: last.start()] + changed(last) + text[last.end() :]
    deck = Deck(text, (bench.reads,), 0.01, {bench.reads: (-1e3, 1e3)}, 1e-3)
    return float(get_solver().run(deck).vectors[bench.reads][-1])


@pytest.mark.parametrize("bench", BENCHES, ids=lambda b: b.part)
def test_a_small_part_meets_its_closed_form_and_not_with_two_percent(bench: Bench) -> None:
    assert measured(bench, 1.0) == pytest.approx(bench.expected, rel=AGREE)
    assert measured(bench, 1.02) != pytest.approx(bench.expected, rel=AGREE)
