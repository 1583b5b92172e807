# SPDX-License-Identifier: GPL-3.0-or-later
"""A fault in words: its dangers, its warnings, and one sentence for people."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

import numpy as np

from cranksag.parts.fuse import melting_i2t, pulse_use
from cranksag.resolve.model import Bank, Boat, HouseFeed, Note, StandbyPack
from cranksag.studies.faultedits import Fault
from cranksag.studies.faultloads import OVERLOADED, amperes, carries, guard, stands
from cranksag.studies.faultreading import (
    BACK_FEED,
    BRIEF,
    DEAD,
    STARTS,
    Current,
    FaultRow,
    LiveNode,
    Outcome,
    current_of,
    dead_displays,
    left_empty,
)
from cranksag.studies.faultrun import (
    HEATS,
    HELD_UP,
    SETTLED,
    WHEN,
    WORSE,
    Bench,
    Pulse,
    Run,
    heating_current,
    lasting_current,
    windows,
)
from cranksag.studies.faultshorts import WHILE_RUNNING
from cranksag.verdict.series import between
from cranksag.verdict.starting import CONTACT_MADE
from cranksag.verdict.stresses import DISPLAY_HIGHEST_12, DISPLAY_HIGHEST_24, KICK_LIMIT, SPLIT_VOLTAGE

NOTICED = 0.3  # [V] a lower minimum than the sound boat's that is worth saying
CARRIES = 0.1  # [A] a back-feed below this is leakage
MAY_HOLD = 600.0  # [s] a fuse that may take longer counts as holding; engineering estimate
PULLS_IN = 0.5  # [-] of nominal voltage below which no solenoid pulls in from rest; engineering estimate
OVER_VOLTAGE, SURGE = "display_over_voltage", "display_surge"
SHOWS = 1.2  # [-] a front that is more than this above what lasts is told in amperes of its own
SHORT_CRANK = 3.0  # [s] a fuse that takes longer opens in long cranks only; engineering estimate
CONSEQUENCES: Mapping[str, Callable[[str], tuple[str, str]]] = {
    "run solenoid": lambda where: (
        "engine_will_not_stop",
        f"{where}: a run solenoid there stays in and the engine does not stop by the key (keep its hand stop in reach)",
    ),
    "excitation": lambda where: ("excitation_back_fed", f"{where}: the alternator's excitation stays on"),
}


def node_dangers(boat: Boat, live: list[LiveNode], run: Run, by_design: frozenset[str]) -> list[Note]:
    notes = []
    for node in live:
        if node.ended_by is not None:
            continue
        where = f"{node.voltage:.1f} V at the {node.node} {WHEN[node.key]}"
        if node.node in STARTS and node.node not in by_design:
            notes.append(Note("uncommanded_crank", f"{where}: {_engages(boat, run, node.key)}"))
        elif node.node == "feed" and "feed" not in by_design:
            where += _lasts(boat, run)
            feeds = [w for w in node.feeds if w != "run solenoid" or _holds(boat, node)]
            notes += [Note(*CONSEQUENCES[what](where)) for what in feeds]
        elif node.node == HELD_UP and HELD_UP not in by_design:
            where += _lasts(boat, run, "display_supply")
            feeds = list(node.feeds) if _holds(boat, node) else []
            notes += [Note("engine_will_not_stop", f"{where}: {_held(name)}") for name in feeds]
    closed = run.traces.signals["main_contact"][-1] > CONTACT_MADE
    if run.cranked and closed and not any(n.code == "uncommanded_crank" for n in notes):
        notes.append(Note("starter_stays_engaged", "the starter stays engaged after the key is let go"))
    return notes


def _holds(boat: Boat, node: LiveNode) -> bool:
    """Whether a live node may hold a solenoid. Reversed, it lets go as its current passes nought, and has to be pulled
    in anew."""
    return node.voltage > 0.0 or -node.voltage >= PULLS_IN * boat.nominal_voltage


def node_warnings(boat: Boat, live: list[LiveNode], by_design: frozenset[str]) -> list[Note]:
    """Nodes that are live with the key off and yet hold no solenoid."""
    notes = []
    for node in live:
        where = f"{node.voltage:.1f} V at the {node.node} {WHEN[node.key]}"
        if node.key != "off" or node.node in (*STARTS, "display", *by_design):
            continue
        if node.ended_by is not None:
            within = _seconds(node.ended_by.opens[1])
            short = f"until the {node.ended_by.element} opens within {within}, too short to keep a solenoid in"
            notes.append(Note("live_briefly", f"{where} {short}"))
        elif not _holds(boat, node):
            notes.append(Note("live_reversed", f"{where}, reversed and too little to pull a solenoid in"))
    return notes


def _held(name: str) -> str:
    return (
        f"the load {name!r} there stays on, and an engine that needs it to run does not stop by the key (keep its hand "
        "stop in reach); move it to the feed, ahead of the hold-up"
    )


def _engages(boat: Boat, run: Run, key: str) -> str:
    for name, begin, end in windows(run):
        if name == key:
            shift = run.times.key_on
            contact = between(run.traces.time, run.traces.signals["main_contact"], begin - shift, end - shift)[1]
            if float(contact.max()) > CONTACT_MADE:
                switch = any(element.is_switch for element in boat.positive)
                stops = (
                    "only the battery switch stops it" if switch else "there is no battery switch to stop it, fit one"
                )
                return f"the starter engages by itself, {stops}"
    return "not enough to engage this starter, but nothing may be there"


def _lasts(boat: Boat, run: Run, signal: str = "feed") -> str:
    """How long the feed or another node stays live with the key off, where it dies; a bank falls as an exponential."""
    shift = run.times.key_on
    time, feed = between(run.traces.time, np.abs(run.traces.signals[signal]), SETTLED - shift, -1e-3)
    alive = np.flatnonzero(feed >= DEAD)
    if not alive.size:
        return ""
    if alive[-1] < len(feed) - 1:
        return f" for {time[alive[-1]] + shift:.2f} s"
    supplied = float(between(run.traces.time, run.traces.signals["feed_current"], -HEATS, -1e-3)[1].mean())
    if not isinstance(boat.hold_up, Bank) or supplied > CARRIES:
        return ""
    middle, end = 0.5 * float(time[0] + time[-1]), float(feed[-1])
    fall = float(np.log(np.interp(middle, time, feed) / end))
    if fall <= 0.0:
        return ""
    rest = (float(time[-1]) - middle) * float(np.log(end / DEAD)) / fall
    return f" for about {_seconds(float(time[-1]) + shift + rest)} until the {boat.branch} is empty"


def current_warnings(
    bench: Bench, runs: tuple[Run, ...], fault: Fault, currents: list[Current], sound: FaultRow | None
) -> list[Note]:
    """Currents that a fault, or the design, brings over a limit, and what flows back into the boat."""
    notes = []
    usual = {c.element: c.current for c in sound.currents} if sound is not None else {}
    for c in currents:
        if c.current <= WORSE * usual.get(c.element, 0.0):
            continue
        if c.element == BACK_FEED:
            if c.current > CARRIES:
                source = "house bank" if isinstance(bench.boat.hold_up, HouseFeed) else bench.boat.branch
                text = f"the {source} feeds {c.current:.1f} A back into the boat's feed {WHEN[c.key]}"
                notes.append(Note("back_feed", text))
        elif c.limit is not None and c.current > c.limit:
            if c.element.endswith("fuse"):
                bank = isinstance(bench.boat.hold_up, Bank) and c.key == "run"
                notes.append(_fuse(c, c.limit) if c.pulse is None else _fuse_pulse(c, c.limit, c.pulse, bank))
            elif not stands(bench, c.element, c.pulse):
                notes.append(_conductor(bench, runs, fault, c, c.limit, currents))
    return notes


def voltage_warnings(boat: Boat, found: Outcome, currents: list[Current], sound: FaultRow | None) -> list[Note]:
    """A coil's kick when the key is let go, and the displays' highest voltage, where a fault makes them worse.

    `OVER_VOLTAGE` is a danger, unless a fuse surely ends it within `BRIEF`.
    """
    notes = []
    usual = (sound.coil_kick or 0.0, sound.display_highest or 0.0) if sound is not None else (0.0, 0.0)
    kick, highest = found.coil_kick or 0.0, found.display_highest or 0.0
    if kick > max(KICK_LIMIT, WORSE * usual[0]):
        text = f"a coil kicks back {kick:.0f} V onto the start signal when the key is let go"
        notes.append(Note("coil_kick", f"{text} (fit suppression at the coil)"))
    before = sound.display_top if sound is not None else None
    limit = _display_limit(boat, (before or found.display_top or (0.0, ""))[0])
    top, key = found.display_top or (0.0, "run")
    if top > max(limit, WORSE * (before[0] if before else 0.0)):
        text = f"{top:.1f} V at the display {WHEN[key]}, above {limit:g} V{_until(currents, key)}"
        ending = _ending(currents, key)
        brief = ending is not None and ending.opens[1] < BRIEF
        notes.append(Note(SURGE if brief else OVER_VOLTAGE, text))
    elif highest > max(limit, WORSE * usual[1]):
        notes.append(Note("release_over_voltage", f"{highest:.1f} V at the display when the key is let go"))
    return notes


def _until(currents: list[Current], key: str) -> str:
    """What becomes of an over-voltage: the fuse that opens first with the same key, or that has opened before."""
    ending = _ending(currents, key)
    if ending is None:
        return ", which can destroy it"
    if ending.key == key:
        return f" until the {ending.element} opens"
    return f", unless the {ending.element} has opened {WHEN[ending.key]} before"


def _ending(currents: list[Current], key: str) -> Current | None:
    opening = sorted((c for c in currents if c.opens[1] < MAY_HOLD), key=lambda c: c.opens[1])
    order = list(WHEN)
    same = [c for c in opening if c.key == key]
    before = [c for c in opening if order.index(c.key) < order.index(key)]
    return next(iter([*same, *before]), None)


def _display_limit(boat: Boat, usual: float) -> float:
    """What the displays stand [V]: the lowest plate; without one, what such devices stand on a 12 V or 24 V supply,
    told apart by what they `usual`ly get."""
    plates = [boat.values[f"{display.path}.maximum_supply"].value for display in boat.displays]
    known = [plate for plate in plates if isinstance(plate, float)]
    usual = max(usual, *(d.circuit.restarts_above for d in boat.displays))
    unknown = DISPLAY_HIGHEST_24 if usual > SPLIT_VOLTAGE else DISPLAY_HIGHEST_12
    return min([*known, *([unknown] if len(known) < len(plates) else [])])


def _conductor(
    bench: Bench, runs: tuple[Run, ...], fault: Fault, current: Current, limit: float, currents: list[Current]
) -> Note:
    text = f"{amperes(current.current, limit)} {WHEN[current.key]} through the {current.element}, "
    text += f"which carries {carries(bench, current.element, limit)}"
    signal = bench.limits[current.element][0]
    reaches = [r for r in runs if current.key in {key for key, _, _ in windows(r)}]  # a charge ends with RUN
    run = max(reaches, key=lambda r: lasting_current(r, r.traces.signals[signal], current.key))
    found = guard(bench, run, fault, current.element, current.current, limit, current.key, currents)
    if found.fuse and found.within < MAY_HOLD:
        text += f", until the {found.fuse} opens within {_seconds(found.within)}"
    return Note(OVERLOADED, text)


def _fuse(current: Current, limit: float) -> Note:
    """A current that lasts, and ahead of it its front where that opens the fuse by itself."""
    latest, front = current.opens[1], current.front
    cranking = " of cranking" if current.key == "start" and latest > SHORT_CRANK else ""
    opens = f"opens within {_seconds(latest)}{cranking}"
    text = f"{amperes(current.lasting, limit)} {WHEN[current.key]} through the {current.element} of {limit:g} A, which "
    if front is not None and front.current > SHOWS * current.lasting:
        length = front.must if front.must < math.inf else front.may
        lasting = f"{amperes(current.lasting, limit)} in the end"
        text = f"{amperes(front.current, limit)} for {_seconds(length)} and {lasting}{text.partition(' A')[2]}"
    if front is not None and latest > SHORT_CRANK:
        may = f"may open{_lost(current.element, 'take')}"
        return Note("fuse_overloaded", f"{text}{may}" + (f", and {opens}" if latest < MAY_HOLD else ""))
    opens += _lost(current.element)
    return Note("fuse_overloaded", text + (opens if latest < MAY_HOLD else "may hold for long"))


def fuse_opens(current: Current) -> str | None:
    """Whether a fuse opens, as its sentence has it: "no", "may" or "yes"; None where no fuse is meant."""
    limit = current.limit
    if limit is None or not current.element.endswith("fuse"):
        return None
    if current.current <= limit:
        return "no"
    if current.opens[1] < MAY_HOLD:
        return "yes"
    if current.pulse is not None:
        return "may" if current.pulse.i2t > melting_i2t(current.fuse, limit)[0] else "no"
    return "may" if current.front is not None or math.isfinite(current.opens[0]) else "no"


def _lost(fuse: str, takes: str = "takes") -> str:
    lost = {"hold-up fuse": "the hold-up", "display feed fuse": "the display's normal feed"}.get(fuse, "")
    return f" and {takes} {lost} away" if lost else ""


def _fuse_pulse(current: Current, limit: float, over: Pulse, bank: bool) -> Note:
    """A pulse judged by its I2t: whether the fuse stands it, ages by it, or melts."""
    low, _, high = melting_i2t(current.fuse, limit)
    what = "charging pulse of the bank" if bank else "pulse"
    text = (
        f"a {what} {WHEN[current.key]}, {over.peak:.0f} A and over in {_seconds(over.duration)}, through the "
        f"{current.element} of {limit:g} A: {over.i2t:.2g} A2s of the {low:.2g} A2s that may melt it"
    )
    if over.i2t > high and current.opens[1] < MAY_HOLD:  # a long pulse loses heat: its I2t alone is not enough
        return Note("fuse_overloaded", f"{text}, so it opens{_lost(current.element)}")
    if over.i2t > low:
        return Note("fuse_overloaded", f"{text}, so it may open{_lost(current.element, 'take')}")
    if pulse_use(current.fuse, limit, over.i2t) > 1.0:
        cure = ": limit the inrush" if bank else ""
        return Note("fuse_ages", f"{text}, so it ages with every start and opens one day{cure}")
    return Note("fuse_pulse", f"{text}, which it stands")


def _seconds(value: float) -> str:
    if value >= 100.0:
        return f"{value / 60.0:.0f} min"
    return f"{value * 1e3:.0f} ms" if value < 0.5 else f"{value:.0f} s" if value >= 10.0 else f"{value:.1f} s"


def _told(warning: Note, dangers: tuple[Note, ...]) -> bool:
    """Whether a warning of a conductor is among the dangers too, which say what to do about it."""
    element = _element(warning)
    return element != "" and any(n.code == warning.code and _element(n) == element for n in dangers)


def _element(note: Note) -> str:
    return note.message.partition(" through the ")[2].partition(", which carries")[0] if note.code == OVERLOADED else ""


def _sentences(notes: tuple[Note, ...]) -> list[str]:
    """The notes' messages without repeating a place or a cure, nor a conductor behind its own overloaded fuse."""
    fuses = [n.message for n in notes if n.code == "fuse_overloaded"]
    behind = {f"through the {m.split(' fuse of')[0].rsplit(' through the ', 1)[-1]} conductor" for m in fuses}
    said: list[str] = []
    for note in notes:
        place, colon, rest = note.message.partition(": ")
        if note.code == OVERLOADED and not colon and any(name in note.message for name in behind):
            continue
        before, same, cure = said[-1].partition(": ") if said else ("", "", "")
        if colon and same and before == place:
            said[-1] += f", and {rest}"
        elif colon and same and cure == rest:
            said[-1] = f"{before}, and {place}: {rest}"
        else:
            said.append(note.message)
    return said


def message(
    bench: Bench,
    run: Run,
    fault: Fault,
    row: FaultRow,
    sound: FaultRow | None,
    by_design: frozenset[str],
    trouble: str,
) -> str:
    said = [fault.note] if fault.note else []
    known = {n.code for n in sound.dangers} if sound is not None else set()
    fresh = tuple(n for n in row.dangers if n.code not in known)
    if len(fresh) < len(row.dangers):
        said.append("as dangerous as the boat is without this fault")
    running = [n.message for n in row.warnings if n.code in WHILE_RUNNING]
    at_key = (n for n in row.warnings if not _told(n, row.dangers) and n.code not in WHILE_RUNNING)
    said += _sentences((*fresh, *at_key))
    if trouble:
        said.append(f"the crank could not be computed ({trouble})")
    display = next((n for n in row.live_nodes if n.node == "display" and n.key == "off"), None)
    usual = by_design if sound is None else {n.node for n in sound.live_nodes} | by_design
    if display is not None and "display" not in usual:
        said.append(f"{_stays(bench.boat, display.voltage)}{_flat(bench, run)}")
    if sound is not None and left_empty(row.charge, sound) and fault.part != "capacitor bank":
        said.append(f"the {bench.boat.branch} is not charged any more")
    if run.cranked and not row.cranks and (sound is None or sound.cranks):
        said.append("the engine does not turn")
    if sound is None:
        holds = "holds" if row.display_holds else "restarts"
        return "; ".join([*said, f"no fault: the display {holds} (minimum {row.display_minimum:.1f} V in START)"])
    if run.cranked and sound.display_alive and not row.display_alive:
        said.append(f"{_dead(bench.boat, run)} dead in RUN")
    elif run.cranked and not row.display_holds and (sound.display_holds or _lower(row, sound)):
        said.append(f"the display restarts in START (minimum {row.display_minimum:.1f} V)")
    if said == ([fault.note] if fault.note else []):
        said.append("nothing shows with the engine stopped" if running and row.display_holds else _hidden(row, sound))
    return "; ".join([*said, *running])


def _dead(boat: Boat, run: Run) -> str:
    names = dead_displays(boat, run)
    if len(boat.displays) == 1:
        return "the display is"
    if len(names) == len(boat.displays):
        return "all displays are"
    return f"{' and '.join(f'display {name!r}' for name in names)} {'is' if len(names) == 1 else 'are'}"


def _stays(boat: Boat, volts: float) -> str:
    if volts >= min(display.circuit.brownout for display in boat.displays):
        return "the display stays on with the key off"
    return f"the display keeps {volts:.1f} V with the key off, too little for it to run,"


def _hidden(row: FaultRow, sound: FaultRow) -> str:
    low = "" if row.display_minimum is None else f" (display minimum {row.display_minimum:.1f} V)"
    same = []
    if row.cranks is False and sound.cranks is False:
        same.append("the engine does not turn")
    if row.display_holds is False and sound.display_holds is False:
        same.append("the display restarts in START")
    if same:
        return f"nothing changes: {' and '.join(same)}, as without this fault{low}"
    return f"nothing shows{low}: it may stay hidden until a second part fails; test it once a season"


def _lower(row: FaultRow, sound: FaultRow) -> bool:
    return (row.display_minimum or 0.0) < (sound.display_minimum or 0.0) - NOTICED


def _flat(bench: Bench, run: Run) -> str:
    hold = bench.boat.hold_up
    if isinstance(hold, Bank):
        return f" until the {bench.boat.branch} is empty"
    if not isinstance(hold, StandbyPack):
        return ""
    if hold.fuse_rating is not None:
        opens = current_of(bench, run, "hold-up fuse", "off").opens[1]
        if opens < MAY_HOLD:
            return f" until the hold-up fuse opens within {_seconds(opens)}"
    drain = heating_current(run, run.traces.signals["pack_current"], SETTLED, run.times.key_on - 1e-3)
    if drain <= 1e-3:
        return ""
    return f" and empties the pack in {_hours(hold.pack.capacity_ah / drain)}"


def _hours(hours: float) -> str:
    return f"{hours:.0f} h" if hours >= 1.5 else f"{hours * 60.0:.0f} min"
