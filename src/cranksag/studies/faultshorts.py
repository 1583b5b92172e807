# SPDX-License-Identifier: GPL-3.0-or-later
"""Shorts that no fuse ends, what the batteries get of the alternator, and what an alternator without a battery does."""

from __future__ import annotations

from collections.abc import Iterator

from cranksag.errors import SimulationError
from cranksag.parts.conductors import conductor_area
from cranksag.parts.fuse import ADIABATIC_LONGEST, conductor_withstand_time
from cranksag.quantities import ConductorSize
from cranksag.resolve.model import Boat, Note
from cranksag.studies.faultedits import SOUND, Added, Edit, Fault, Port, Unfused
from cranksag.studies.faultrun import HEATS, WHEN, Bench, Run, heating_current, run_fault, windows
from cranksag.verdict.series import between
from cranksag.verdict.stresses import SPLIT_VOLTAGE

SHORTED = "main_cable_shorted"
CHARGE, LOAD_DUMP = "charge_changed", "load_dump"
WHILE_RUNNING = (CHARGE, LOAD_DUMP)
"""Codes about the running engine, told after what the key's three positions show."""
BURNS = 50.0  # [A] a short below this is no matter of a main cable; engineering estimate
LASTS = 0.3  # [s] a short is told by its rms over so long
LONG_AGO = 1000.0  # [s] since firing: past any alternator's ramp; engineering estimate
RUNNING: tuple[Edit, ...] = (Port("Xalternator", 2, "running"), Added(f"Vrunning running 0 {LONG_AGO!r}"))
"""The alternator as long after firing, whatever the engine does."""
NOTICED_SHARE = 0.1  # [-] of the alternator's rating: a change of what a battery gets that is worth saying
LOAD_DUMPS = {12: "79 to 101 V for 40 to 400 ms on 12 V", 24: "151 to 202 V for 100 to 350 ms on 24 V"}
"""Test A of ISO 16750-2 (4.6.4, no suppression in the alternator), as printed in an instrument's manual."""


def short_dangers(bench: Bench, run: Run, fault: Fault) -> list[Note]:
    """A danger where a short draws from a battery and no fuse of the scenario stands in its way."""
    if fault.unfused is None:
        return []
    found = _drawn(bench, run, fault.unfused)
    key = max(found, key=lambda k: sum(found[k].values()))
    currents = {name: current for name, current in found[key].items() if current > BURNS}
    if not currents:
        return []
    where = " and ".join(_from(name, current) for name, current in currents.items())
    least = "up to " if fault.unfused.upper else ""
    text = f"{least}{where} {WHEN[key]}: no fuse stands in the way{_ends(fault.unfused, key)}"
    return [Note(SHORTED, text + _burns(bench.boat, fault.unfused, sum(currents.values())) + f"; {fault.unfused.cure}")]


def _drawn(bench: Bench, run: Run, unfused: Unfused) -> dict[str, dict[str, float]]:
    """Highest rms current of each source over `LASTS`, for each position of the key [A]."""
    signals = {name: run.traces.signals[bench.limits[name][0]] for name in unfused.sources}
    return {
        key: {name: heating_current(run, values, begin, end, length=LASTS) for name, values in signals.items()}
        for key, begin, end in windows(run)
    }


def _from(name: str, current: float) -> str:
    preposition = "through" if name.startswith("wire") else "out of"
    return f"{current:.0f} A {preposition} the {name}"


def _ends(unfused: Unfused, key: str) -> str:
    if key == "start":
        return ", and letting go of the key ends it only if the relay's contact has not welded by then"
    if unfused.switched:
        return ", and only the battery switch ends it, if it breaks that much"
    if unfused.switched is None:
        return ", and there is no battery switch to end it"
    return ", and it lies ahead of the battery switch: nothing ends it but the burning cable"


def _burns(boat: Boat, unfused: Unfused, current: float) -> str:
    """How long the thinnest cable of known size stands a short."""
    areas = {}
    for path in unfused.paths:
        value = boat.values.get(f"{path}.size")
        if value is not None and isinstance(value.value, ConductorSize):
            areas[path] = (conductor_area(value.value), value.value)
    if unfused.upper:
        return "; fire: its own cable, of a size that is not written, burns first"
    if not areas:
        return "; fire, and a battery that may burst"
    area, size = min(areas.values(), key=lambda pair: pair[0])
    stands = conductor_withstand_time(area, current)
    about = "after" if stands <= ADIABATIC_LONGEST else "no sooner than after"
    return f"; fire, and a battery that may burst: copper of {size} in PVC is at its limit {about} {stands:.2g} s"


def load_dump_warnings(boat: Boat, fault: Fault) -> Iterator[Note]:
    """What an alternator does that loses its batteries, which the model's, held at its set voltage, does not show."""
    if not fault.load_dump:
        return
    volts = LOAD_DUMPS[24 if boat.nominal_voltage > SPLIT_VOLTAGE else 12]
    where = (
        "the display and all else there"
        if fault.load_dump == "display"
        else "all that hangs on it there, but not at the display"
    )
    yield Note(
        LOAD_DUMP,
        f"with the engine running the alternator loses its battery (load dump): its voltage surges at {where}, which "
        f"is not computed here; ISO 16750-2 tests with {volts}; stop the engine before that circuit is opened",
    )


def charge_warnings(bench: Bench, fault: Fault) -> list[Note]:
    """What the batteries get of an alternator at work, key off, where a fault changes it."""
    if not fault.charging:
        return []
    try:
        before, after = (_charge(bench, f) for f in (Fault(*SOUND, ()), fault))
    except SimulationError:
        return [Note(CHARGE, "what the batteries get of the alternator could not be computed")]
    least = NOTICED_SHARE * bench.boat.alternator.rating
    told = [
        f"the {name} gets {max(after[name], 0.0):.0f} A instead of {before[name]:.0f} A"
        for name in before
        if abs(max(after[name], 0.0) - before[name]) > least
    ]
    return [Note(CHARGE, f"while the alternator charges {' and '.join(told)}")] if told else []


def _charge(bench: Bench, fault: Fault) -> dict[str, float]:
    """Mean charging current of each bank with the alternator at work [A]."""
    run = run_fault(bench, fault, phases=1, more=RUNNING)
    end = run.times.key_on - 1e-3
    signals = {"start battery": "battery_current", "house bank": "house_current"}
    found = {}
    for name, signal in signals.items():
        if signal in run.traces.signals:
            shift = run.times.key_on
            found[name] = float(
                between(run.traces.time, run.traces.signals[signal], end - HEATS - shift, -1e-3)[1].mean()
            )
    return found
