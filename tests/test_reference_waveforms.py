# SPDX-License-Identifier: GPL-3.0-or-later
"""ngspice against an independent integration of the same equations, for every branch."""

from __future__ import annotations

import pytest

from tests.reference.cases import CASES
from tests.reference.compare import reference, rms_apart, simulated, size

MINIMUM = 0.020  # [V] on the display's minimum
WAVEFORM = 0.050  # [V] RMS on the display's whole waveform from START on
STUD = 0.100  # [V] RMS; the spike of tens of volts and microseconds when the main contact opens counts here too
SHARE = 0.01  # [-] RMS on starter current and engine speed, of their own RMS
ALWAYS = ("none", "standby pack", "standby pack, changeover", "reservoir", "supercapacitor", "house feed",
          "converter 24 V", "key cut", "surface charge", "paralleled banks", "two displays", "sense pin",
          "two attempts")  # fmt: skip


def _cases() -> list[object]:
    return [name if name in ALWAYS else pytest.param(name, marks=pytest.mark.long) for name in CASES]


@pytest.mark.parametrize("case", _cases())
def test_minimum_and_waveforms_agree(case: str) -> None:
    """Display minimum, display waveform, stud, starter current, engine speed, and the number of restarts."""
    expected, result = reference(case), simulated(case)
    traces = result.traces
    _, pins = expected.since_start("display")
    assert result.display.minimum_voltage == pytest.approx(float(pins.min()), abs=MINIMUM)
    apart = {
        name: rms_apart(expected, traces.time, traces.signals[name], name)
        for name in ("display", "starter_stud", "starter_current", "motor_speed", "engine_speed")
    }
    assert apart["display"] < WAVEFORM
    assert apart["starter_stud"] < STUD
    for name in ("starter_current", "motor_speed", "engine_speed"):
        assert apart[name] < SHARE * size(expected, name) + 0.05, name


@pytest.mark.parametrize("case", _cases())
def test_the_same_things_switch(case: str) -> None:
    """Resets of each display, firing, and closings of the main contact are the same on both sides."""
    expected, result = reference(case), simulated(case)
    start = expected.starts[0] - result.boat.feed.key_break - 1e-3
    for k, display in enumerate(result.displays):
        resets = [e for e in expected.events if e[1] == f"on {k}" and not e[2] and e[0] > start]
        assert display.restarts == len(resets)
    assert result.cranks.fires == any(flag == "fire" for _, flag, _ in expected.events)
    assert result.cranks.engages == any(flag == "solenoid" and on for _, flag, on in expected.events)


def test_the_reference_has_converged() -> None:
    """Ten times tighter tolerances move the reference's minimum by less than a tenth of a millivolt."""
    from tests.reference.cases import boat_of
    from tests.reference.solution import solve

    coarse = float(reference("none").since_start("display")[1].min())
    fine = float(solve(boat_of("none"), rtol=1e-6, atol=1e-7).since_start("display")[1].min())
    assert fine == pytest.approx(coarse, abs=2e-4)
