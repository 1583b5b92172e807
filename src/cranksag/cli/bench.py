# SPDX-License-Identifier: GPL-3.0-or-later
"""`cranksag bench`: a starting profile in place of the boat."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Sequence
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, TextIO

import typer

from cranksag.cli import console
from cranksag.cli.options import Catalogues, Overrides, read_catalogue, read_scenario
from cranksag.errors import CheckFailed, InputError

if TYPE_CHECKING:
    from rich.console import RenderableType

    from cranksag.profiles import Profile
    from cranksag.verdict.bench import LevelResult

COLUMNS = {
    "source_v": "source",
    "display_v": "display",
    "feed_v": "feed",
    "start_signal_v": "start_signal",
    "hold_up_v": "hold_up",
    "hold_up_a": "hold_up_current",
}
"""Columns of the waveforms file after `level` and `time_s`, and the signals they hold."""


class Through(StrEnum):
    """Where the source stands."""

    feed = "feed"
    pins = "pins"


def run(
    file: Annotated[
        Path | None,
        typer.Argument(metavar="FILE", help='Scenario file (TOML); "-" reads standard input.', show_default=False),
    ] = None,
    profile: Annotated[
        str | None,
        typer.Option(
            "--profile", metavar="NAME|FILE|list", show_default=False,
            help='A profile by name, your own as CSV (time in s, volts) or TOML; "list" names them.',
        ),
    ] = None,
    points: Annotated[
        str | None,
        typer.Option(
            "--points", metavar="T=V,T=V,...", show_default=False,
            help='Your own profile as breakpoints: "0 s=12 V, 5 ms=8 V, 1 s=8 V, 1.1 s=12 V".',
        ),
    ] = None,
    levels: Annotated[
        list[str] | None,
        typer.Option("--level", metavar="LEVEL", help="One level; all by default. Repeatable.", show_default=False),
    ] = None,
    through: Annotated[
        Through,
        typer.Option("--through", help="Source where the feed is tapped, or at the display's end of the harness."),
    ] = Through.feed,
    start_lead: Annotated[
        str | None,
        typer.Option(
            "--start-lead", metavar="TIME", show_default=False,
            help="Start signal of a hold-up relay before the fall; by default what this boat's start relay and "
            "solenoid take, 0 s is the hardest case.",
        ),
    ] = None,
    overrides: Overrides = None,
    catalogue: Catalogues = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document instead of the table.")] = False,
    waveforms: Annotated[
        Path | None,
        typer.Option(
            "--waveforms", metavar="F.csv", show_default=False,
            help="Write source and display of every level as CSV; time 0 is where the voltage begins to fall.",
        ),
    ] = None,
    check: Annotated[bool, typer.Option("--check", help="Exit 1 if a display restarts at any level.")] = False,
) -> None:  # fmt: skip
    """Put the boat's display, harness and hold-up branch through a starting profile, all its levels at once.

    Exit codes: 0 done, 1 only with --check, 2 usage or input, 3 the simulation failed, 70 a fault of the program,
    130 interrupted. With 2 and 3 nothing is written to standard output.
    """
    if profile == "list":
        _print_list(as_json)
        return
    if file is None:
        raise InputError(["a scenario file is needed; --profile list does without"])
    chosen = _profile(profile, points)
    sources = (file, *(catalogue or []), *([Path(profile)] if profile is not None else []))
    if waveforms is not None:
        console.refuse_input(waveforms, *sources)

    from cranksag.circuit.bench import BenchSetup, boat_lead
    from cranksag.resolve import resolve
    from cranksag.verdict.bench import bench, remarks

    written = None if start_lead is None else _lead(start_lead)
    boat = resolve(read_scenario(file, overrides), read_catalogue(catalogue))
    setup = BenchSetup(through.value, boat_lead(boat) if written is None else written)
    results = list(bench(boat, chosen, levels, setup))
    if waveforms is not None:
        with console.output_file(waveforms, *sources), waveforms.open("w", encoding="utf-8", newline="") as target:
            write_waveforms(results, target)
        console.say(f"{console.plain(str(waveforms))} written")
    found = remarks(boat, chosen, setup)
    if as_json:
        console.json_document(bench_document(boat.title, chosen, setup.through, setup.start_lead, results, found))
    else:
        console.show(*_report(chosen, results, found))
    if check and any(r.functional_class in "CD" for r in results):
        names = ", ".join(r.level.name for r in results if r.functional_class in "CD")
        raise CheckFailed(f"check: a display restarts at {console.plain(names)}")


def _profile(name: str | None, points: str | None) -> Profile:
    from cranksag.profiles import find_profile, points_profile

    if name is not None and points is not None:
        raise InputError(["--profile and --points: give one of them"])
    if points is not None:
        return points_profile(points)
    if name is None:
        raise InputError(["a profile is needed: --profile NAME (--profile list names them) or --points"])
    return find_profile(name)


def _lead(text: str) -> float:
    from cranksag.quantities import TIME, parse_option

    lead = parse_option("--start-lead", text, TIME)
    if lead > 5.0:
        raise InputError([f"--start-lead {console.plain(text)}: at most 5 s"])
    return lead


def bench_document(
    title: str, profile: Profile, through: str, lead: float, results: Sequence[LevelResult], found: Sequence[str]
) -> dict[str, Any]:
    """The JSON document: profile, how it was run, and every level; numbers are finite or null."""
    from cranksag.verdict.bench import CLASS_PROVENANCE, CLASSES, level_document

    return {
        "schema_version": 1,
        "title": title,
        "profile": profile.name,
        "profile_title": profile.title,
        "nominal_voltage_v": profile.nominal_voltage,
        "through": through,
        "start_lead_s": lead,
        "levels": [level_document(result) for result in results],
        "functional_classes": {"provenance": CLASS_PROVENANCE, "source": "ISO 16750-1", "meaning": dict(CLASSES)},
        "remarks": list(found),
    }


def write_waveforms(results: Sequence[LevelResult], target: TextIO) -> None:
    """Source and display of every level as CSV: `level`, `time_s` from where the voltage begins to fall, `COLUMNS`."""
    import numpy as np

    writer = csv.writer(target, lineterminator="\n")
    writer.writerow(["level", "time_s", *COLUMNS])
    for result in results:
        signals = result.traces.signals
        table = [result.traces.time - result.start, *(signals[name] for name in COLUMNS.values())]
        rows = zip(*(np.char.mod("%.9g", column) for column in table), strict=True)
        writer.writerows([result.level.name, *row] for row in rows)


def _print_list(as_json: bool) -> None:
    from cranksag.profiles import load_profile, profile_names

    profiles = [load_profile(name) for name in profile_names()]
    if as_json:
        console.json_document({"profiles": [_listed(profile) for profile in profiles]})
        return
    table = _table("profile", "level", "boats", "rests at", "lowest", "lasts", "figures", "document")
    for profile in profiles:
        for level in profile.levels:
            table.add_row(
                profile.name,
                level.name,
                f"{profile.nominal_voltage:g} V",
                f"{level.rest:g} V",
                f"{_lowest(level):g} V",
                f"{level.duration:.3g} s",
                level.provenance,
                level.source,
            )
    console.show(table)


def _lowest(level: Any) -> float:
    """Lowest voltage of a shipped level [V]: a corner, or the sine's minimum."""
    low = min(volts for _, volts in level.corners)
    for ripple in level.ripples:
        low = min(low, next(v for t, v in level.corners if t >= ripple.begin) - ripple.amplitude)
    return float(low)


def _listed(profile: Profile) -> dict[str, Any]:
    return {
        "profile": profile.name,
        "title": profile.title,
        "nominal_voltage_v": profile.nominal_voltage,
        "levels": [
            {
                "level": level.name,
                "provenance": level.provenance,
                "source": level.source,
                "note": level.note,
                "rest_voltage_v": level.rest,
                "duration_s": level.duration,
                "source_resistance_ohm": level.source_resistance,
            }
            for level in profile.levels
        ],
    }


def _table(*names: str) -> Any:
    from rich.table import Table

    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="dim", show_edge=False)
    for name in names:
        words = name in ("profile", "level", "figures", "document", "fed then by")
        table.add_column(name, justify="left" if words else "right", no_wrap=name != "document")
    return table


def _report(profile: Profile, results: Sequence[LevelResult], found: Sequence[str]) -> Iterator[RenderableType]:
    from rich.text import Text

    yield Text(console.plain(profile.title), style="bold")
    yield _levels_table(results)
    if console.quiet():
        return
    from cranksag.verdict.bench import CLASSES

    yield Text("")
    for letter in sorted({r.functional_class for r in results}):
        yield Text(f"class {letter}: {CLASSES[letter]} (ISO 16750-1, classes from memory)")
    for result in results:
        for note in result.notes:
            yield Text(console.plain(f"{result.level.name}: {note.message}"), style="bold yellow")
    yield Text("")
    for result in results:
        level = result.level
        aside = f"; {level.note}" if level.note else ""
        yield Text(console.plain(f"{level.name} [{level.provenance}]: {level.source}{aside}"), style="dim")
    yield Text("")
    for sentence in found:
        yield Text(console.plain(sentence))


def _seconds(value: float) -> str:
    from cranksag.report.words import seconds

    return seconds(value) if value else "0 s"


def _levels_table(results: Sequence[LevelResult]) -> Any:
    from rich.text import Text

    from cranksag.report.words import margin_words, volts

    table = _table(
        "level", "figures", "source low", "display low", "fed then by", "margin", "below threshold", "restarts",
        "without gauges", "class",
    )  # fmt: skip
    colours = {"A": "bold green", "B": "bold yellow", "C": "bold red", "D": "bold red"}
    for result in results:
        display = result.display
        dark = "does not come back" if display.dark_time is None else _seconds(display.dark_time)
        table.add_row(
            Text(console.plain(result.level.name)),
            result.level.provenance,
            volts(result.source_minimum),
            volts(display.minimum_voltage),
            "the normal feed" if display.source == "feed" else display.source,
            margin_words(display.margin, bool(display.restarts)),
            _seconds(display.time_below_threshold),
            str(display.restarts),
            dark,
            Text(result.functional_class, style=colours[result.functional_class]),
        )
    return table
