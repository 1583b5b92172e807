# SPDX-License-Identifier: GPL-3.0-or-later
"""A result in plain sentences, and the cautions that go with every page."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from cranksag.parts.coil import same_power
from cranksag.parts.display import DisplayCircuit
from cranksag.resolve.fields import COIL_NOMINAL
from cranksag.resolve.model import ConverterAhead
from cranksag.verdict.display import first_runs
from cranksag.verdict.results import BudgetLine, DisplayResult, Result
from cranksag.verdict.shortfall import charging_advice, shortfalls, uncharged
from cranksag.verdict.starting import RELAY_COIL
from cranksag.verdict.wiring import PLUS_SIDE, RETURN_SIDES, START_DROP

__all__ = [
    "CAUTIONS",
    "CAUTIONS_LINE",
    "FIGURE_TYPES",
    "brief_verdict",
    "margin_words",
    "next_steps",
    "not_written",
    "seconds",
    "verdict",
    "volts",
]

CAUTIONS = (
    "Batteries and starter circuits can deliver hundreds of amperes, and batteries give off explosive gas.",
    "Fuse every added conductor at its source. Keep clear of rotating parts.",
    "Do not crank for long or often with the raw-water seacock open: the engine can fill through a wet exhaust.",
    "Keep to the starter's rest times. Results are estimates to be confirmed by measurement.",
    "Follow the local electrical code and boat-wiring standard, have the work done or checked by a qualified person.",
)
"""What every page says; the only copy in the package."""

CAUTIONS_LINE = "Cautions: " + " ".join(CAUTIONS)
"""The cautions as one paragraph."""

FIGURE_TYPES = (".png", ".svg", ".pdf")
"""Endings of the files a figure can be saved to."""

START_RELAY = 85.0  # [ohm] coil of a start relay on a 12 V boat: the default of start_circuit.relay
LARGE_DROP = 0.3  # [V] a single element of the budget worth naming; engineering estimate
OWN_ORIGINS = ("default", "estimate")


def seconds(value: float | None) -> str:
    """A duration for people; None is one that does not end."""
    if value is None:
        return "for good"
    if abs(value) < 0.9995:
        return f"{value * 1e3:.3g} ms"
    return f"{value:.3g} s" if value < 999.5 else f"{value:.0f} s"


def volts(value: float, digits: int = 2, sign: bool = False) -> str:
    """A voltage for people; never "-0.00 V"."""
    rounded = round(value, digits) + 0.0  # turns -0.0 into 0.0
    return f"{rounded:{'+' if sign else ''}.{digits}f} V"


def margin_words(margin: float, restarts: bool) -> str:
    """A margin for people [V]; beside a restart never "+0.00 V": with millivolts, or "-0.00 V" where it has none."""
    told = volts(margin, sign=True)
    if not restarts or told != "+0.00 V":
        return told
    finer = volts(margin, 3, sign=True)
    return "-0.00 V" if finer == "+0.000 V" else finer


def _times(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def _cranks(result: Result) -> str:
    cranks = result.cranks
    if not cranks.engages or not cranks.turns:
        return f"The engine does not crank: {cranks.reason}"
    if not cranks.fires:
        return f"The engine turns but does not fire: {cranks.reason}"
    return "The engine cranks and fires"


def _supply(result: Result) -> str:
    """The minimum with its band."""
    lowest, band = volts(result.display.minimum_voltage), result.estimate
    if band is None or volts(band.low) == volts(band.high):
        return lowest
    return f"{lowest} (estimated {volts(band.low).removesuffix(' V')} to {volts(band.high)})"


def _display(result: Result, display: DisplayResult) -> str:
    """What becomes of the display, after "The engine cranks and fires,"."""
    threshold = f"its {display.brownout:.4g} V brown-out threshold"
    name, inside = _name(result, display), _circuit(result, display).at == "internal"
    supply = f"at {_supply(result)} at the lowest"
    if display.restarts == 0 and not display.holds:
        return f"{name} never starts: its supply stays below its restart voltage, {supply}"
    if not display.holds:
        dark = "does not come back" if display.dark_time is None else f"is dark for {seconds(display.dark_time)}"
        cause = _below(display, threshold, inside) if display.margin < 0.0 else _other_cause(result, display, threshold)
        return f"{name} restarts {_times(display.restarts)} and {dark}: its supply is {supply}, {cause}"
    name += _late(result, display)
    if inside:
        left = max(display.margin, 0.0)
        return f"{name} keeps running: its supply is {supply}, which inside leaves it {left:.2f} V above {threshold}"
    if display.minimum_voltage < display.brownout:
        return f"{name} keeps running: its supply is {supply}, below {threshold} but too briefly to reset it"
    above = display.minimum_voltage - display.brownout  # of the lowest that is told; the margin leaves out spikes
    return f"{name} keeps running: its supply is {supply}, {above:.2f} V above {threshold}"


def _late(result: Result, display: DisplayResult) -> str:
    """That a display which holds was not running yet at START, as behind a converter with the key turned through."""
    after = first_runs(result.traces, result.displays.index(display)) - result.boat.crank.key_on_before
    return f" first runs {seconds(after)} after START and then" if after > 0.0 else ""


def _circuit(result: Result, display: DisplayResult) -> DisplayCircuit:
    return result.boat.displays[result.displays.index(display)].circuit


def _below(display: DisplayResult, threshold: str, inside: bool) -> str:
    """How a supply that resets the display stands to the threshold; inside it stands behind diode and capacitor."""
    if not inside:
        return f"below {threshold}"
    short = f"{-display.margin:.2f} V" if display.margin <= -0.005 else "millivolts"
    return f"which inside leaves it {short} below {threshold}"


def _other_cause(result: Result, display: DisplayResult, threshold: str) -> str:
    """Why a display restarts whose supply is not held below the threshold for its minimum duration."""
    circuit = _circuit(result, display)
    return "its sense pin resets it" if circuit.sense_threshold is not None else f"just at {threshold}"


def _name(result: Result, display: DisplayResult) -> str:
    name = " ".join("".join(c if c.isprintable() else " " for c in display.name).split())
    return f"display {name}" if len(result.displays) > 1 else "the display"


def verdict(result: Result) -> str:
    """The headline: whether it cranks, whether the display restarts, the minimum with its band.

    Parameters
    ----------
    result : of a simulation

    Returns
    -------
    str : one sentence, and one more where there are dangers.
    """
    cranks, display = _cranks(result), _display(result, result.display) + _lacks(result) + _others(result)
    if not result.cranks.turns:
        return f"{cranks}. Until that is repaired the rest means little: {display}.{_dangers(result)}"
    if not result.cranks.fires:
        return f"{cranks}; {display}.{_dangers(result)}"
    return f"{cranks}, {'and' if result.display.holds else 'but'} {display}.{_dangers(result)}"


def _dangers(result: Result) -> str:
    """What can hurt or burn, by name, after any verdict: a display that runs on is no good news beside it."""
    names = dict.fromkeys(note.code.replace("_", " ") for note in result.dangers)
    return f" DANGER: {', '.join(names)}." if names else ""


def _lacks(result: Result) -> str:
    """Why a fitted hold-up does not help, after the verdict on the display; where that holds, only an empty bank."""
    if result.display.holds and not uncharged(result):
        return ""
    found = list(shortfalls(result))
    if not found:
        return ""
    if result.display.holds:
        return f"; {found[0]}"
    return "; the hold-up falls short: " + ", ".join(found)


def brief_verdict(result: Result) -> str:
    """The verdict in a few words, for a figure."""
    display, cranks = result.display, result.cranks
    if not cranks.turns:
        engine = f"does not crank ({cranks.reason})"
    else:
        engine = "cranks and fires" if cranks.fires else "cranks, does not fire"
    name = _name(result, display)
    supply = f"minimum {_supply(result)}, margin {margin_words(display.margin, bool(display.restarts))}"
    told = f"{name[0].upper()}{name[1:]} {_state(result, display)}: {supply}"
    return f"Engine {engine}. {told}{_others(result)}.{_dangers(result)}"


def _state(result: Result, display: DisplayResult) -> str:
    """What becomes of a display, after its name."""
    if display.holds:
        return f"{_late(result, display)} keeps running".strip()
    if display.restarts == 0:
        return "never starts"
    dark = "stays dark" if display.dark_time is None else f"dark {seconds(display.dark_time)}"
    return f"restarts {_times(display.restarts)}, {dark}"


def _others(result: Result) -> str:
    """What becomes of the displays beside the one that the verdict is about."""
    others = [d for d in result.displays if d is not result.display]
    return "".join(f"; {_name(result, d)} {_state(result, d)}" for d in others)


def not_written(result: Result) -> tuple[list[str], int]:
    """Fields behind the band, and how many fields in all took a default or an estimate."""
    moved = list(result.estimate.fields) if result.estimate is not None else []
    return moved, sum(value.origin in OWN_ORIGINS for value in result.boat.values.values())


def next_steps(result: Result) -> list[str]:
    """What to do next, repairs before cures before measurements.

    Parameters
    ----------
    result : of a simulation

    Returns
    -------
    list of str : sentences, the most useful first.
    """
    return [*_repairs(result), *_cures(result), *_measurements(result)]


def _repairs(result: Result) -> Iterator[str]:
    cranks = result.cranks
    if not cranks.engages:
        yield from _start_circuit(result)
        yield from _start_drop(result)
        return
    if not cranks.turns or not cranks.fires:
        yield (
            "Make the engine start first (charge and test the battery, check its cables): no hold-up cures a boat that "
            "does not start."
        )
    yield from _start_drop(result)
    if not result.display.holds:
        named = _largest(result.demand_budget)
        if named:
            yield f"Look at the largest drops first, a repair there comes before any hold-up: {named}."


def _start_drop(result: Result) -> Iterator[str]:
    """How to measure a start circuit that drops more than any published limit, with the limits of each side."""
    if all(note.code != START_DROP for note in result.warnings):
        return
    check = next(check for check in result.wiring if check.code == START_DROP)
    sides = (("battery + to the starter stud", (PLUS_SIDE,)), ("engine block to battery -", RETURN_SIDES))
    told = []
    for name, parts in sides:
        limits = [limit for limit in check.limits if limit.part in parts]
        published = " and ".join(f"{limit.limit:g} V" for limit in limits)
        here = "" if limits[0].value is None else f"{volts(limits[0].value)} by this estimate, "
        told.append(f"{name} ({here}published {'limit' if len(limits) == 1 else 'limits'} {published})")
    yield (
        f"Measure the start circuit with a meter on the posts and studs themselves while someone cranks: {told[0]}, "
        f"then {told[1]}; go along the side that drops more, joint by joint."
    )


def _start_circuit(result: Result) -> Iterator[str]:
    """What to repair where the starter does not engage."""
    boat, budget = result.boat, result.start_budget
    if not boat.start.neutral_closed:
        yield "Take the gear out, or find why the neutral switch does not close; nothing else is to be repaired first."
        return
    if not budget.falls_short:
        yield (
            "The start circuit gives the solenoid enough: hold the key in START until the engine turns, or find what "
            "takes the supply away as the solenoid closes (battery, its cables and their joints)."
        )
        return
    if budget.across == RELAY_COIL:
        load, way = "across the coil of the start relay", "along the start wire back to the key"
    else:
        load, way = "from the solenoid's S terminal to the engine block", "along the wire back to the key"
        if boat.start.relay is not None:
            way = "along the wire back to the start relay's contact and to the battery"
    yield (
        f"Repair the start circuit first: with the key held in START measure the voltage {load}, then {way}, and look "
        "for the largest drop."
    )
    lost = _largest(budget.lines)
    if lost:
        yield f"By this estimate it lies in: {lost}."
    elif budget.across == RELAY_COIL:
        yield f"No drop stands out: this relay asks for {volts(budget.needed, 1)}, fit one that closes at less."
    if boat.start.relay is None:
        coil = same_power(START_RELAY, COIL_NOMINAL, boat.nominal_voltage)
        yield f'See what a start relay would bring: --set "start_circuit.relay={coil:g} ohm".'


def _largest(lines: Sequence[BudgetLine]) -> str:
    """The largest drops of a budget that somebody can do something about."""
    drops = sorted((b for b in lines if b.path and not b.blocking), key=lambda b: -b.drop)
    return ", ".join(f"{b.element} {b.drop:.2f} V" for b in drops[:3] if b.drop > LARGE_DROP)


def _cures(result: Result) -> Iterator[str]:
    boat, feed = result.boat, result.boat.feed
    if result.display.holds or not result.cranks.engages:
        return
    if feed.dead_in_start:
        unbroken = ' --set "feed.key_break=0 ms"' if feed.key_break > 0.0 else ""
        live = f"--set feed.dead_in_start=false{unbroken}"
        yield f"The key cuts the feed in START; see what a live terminal brings: {live}"
    if boat.link.kind == "closed" and boat.house is not None:
        yield "The banks are paralleled while cranking; see what parting them brings: --set link.kind=open"
    if feed.source in ("starter stud", "s terminal") and boat.branch in ("none", "reservoir"):
        yield (
            "See what a feed straight from the battery posts brings: --set feed.from=battery "
            '--set "feed.return_to=battery negative"'
        )
    if boat.branch == "none" and result.cranks.fires:
        yield "See what a hold-up brings: `cranksag new --list` names boats with one, such as standby-pack."
    if boat.branch != "none":
        yield from _fitted(result)


SIZED = {
    "standby pack": "hold_up.pack",
    "reservoir": "hold_up.capacitance",
    "supercapacitor": "hold_up.capacitance",
    "house feed": "hold_up.size",
    "converter": "feed.size",
}
"""The field that decides how far each branch holds."""


def _fitted(result: Result) -> Iterator[str]:
    """What to do about a hold-up that is fitted and does not hold."""
    boat = result.boat
    if uncharged(result):
        yield f"The {boat.branch} is not charged at START: {charging_advice(boat)}."
    if isinstance(boat.hold_up, ConverterAhead) and result.hold_up.get("cut_outs"):
        cut_out = boat.hold_up.converter.cut_out
        yield (
            f"The converter stops because its input falls below {cut_out:.3g} V: see what one that runs lower brings "
            "(`cranksag parts converter`, hold_up.converter), or a feed from where the supply stays above that."
        )
    path = SIZED[boat.branch]
    if boat.branch == "standby pack" and "the hold-up relay never closes" in shortfalls(result):
        path = "hold_up.relay"
    yield (
        "Find the smallest that holds in the cold, after a hot restart and with age: "
        f"`cranksag size FILE --for {path}`; then the share of real boats that hold: `cranksag tolerance FILE`."
    )


ASKED = {"starter characteristic": "starter.points"}
"""The field that settles a doubt which is no field itself; what nobody can write, as a law, is not asked for."""


def _measurements(result: Result) -> Iterator[str]:
    band, display = result.estimate, result.display
    if band is not None and band.fields and band.low < display.brownout < band.high:
        asked = [ASKED.get(name, name) for name in band.fields if "." in name or name in ASKED]
        find = f" Write what you can find out of: {', '.join(asked)}." if asked else ""
        yield f"The band spans the threshold.{find}"
    if result.near_switching:
        yield "The result stands near a switching point: a small change of the boat tips it, treat it as undecided."
    yield (
        "Confirm it on the boat: the lowest voltage across the display's own pins during a crank, with a scope or a "
        "meter that holds the minimum."
    )
