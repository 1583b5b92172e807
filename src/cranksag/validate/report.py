# SPDX-License-Identifier: GPL-3.0-or-later
"""The rows as text: cells of the table, counts, and the whole report as Markdown."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from cranksag.validate.records import FAMILIES, Check, Row

DIGITS = 4  # significant digits of every figure shown
WHOLE_FROM, WHOLE_BELOW = 10**DIGITS, 10**6  # figures between are shown as whole numbers rather than as powers of ten


def number(value: float | None) -> str:
    """A figure with `DIGITS` significant digits, or all of a whole number's; a dash where there is none."""
    if value is None:
        return "-"
    return f"{value:.0f}" if WHOLE_FROM <= abs(value) < WHOLE_BELOW else f"{value:.{DIGITS}g}"


def published(check: Check) -> str:
    """The published cell: a value, a band or a limit, with its unit."""
    unit = "" if check.unit == "-" else f" {check.unit}"
    if check.sense == "band":
        return f"{number(check.published - check.allowed)} to {number(check.published + check.allowed)}{unit}"
    word = {"at most": "at most ", "at least": "at least "}.get(check.sense, "")
    return f"{word}{number(check.published)}{unit}"


def allowed(check: Check) -> str:
    """The allowed cell."""
    if check.sense == "band":
        return "inside"
    sign = {"at most": "-", "at least": "+"}.get(check.sense, "+-")
    return f"{sign}{number(check.allowed)}"


def difference(row: Row) -> str:
    """Computed less published; for a band its middle."""
    return "-" if row.computed is None else f"{row.computed - row.check.published:+.{DIGITS - 1}g}"


def verdict(row: Row) -> str:
    """The last cell."""
    return "yes" if row.passed else "MISS"


def mark(check: Check) -> str:
    """How the figure was come by, as shown."""
    return check.status


def counts(rows: Sequence[Row]) -> list[tuple[str, int]]:
    """What the closing lines count."""

    def count(test: Callable[[Row], bool]) -> int:
        return sum(1 for row in rows if test(row))

    return [
        ("outside checks", len(rows)),
        ("published, seen in the source named", count(lambda r: r.check.status == "seen")),
        ("published, derived by arithmetic from figures seen", count(lambda r: r.check.status == "derived")),
        ("published, read at second hand", count(lambda r: r.check.status == "second hand")),
        ("common practice", count(lambda r: r.check.status == "common practice")),
        ("from memory", count(lambda r: r.check.status == "memory")),
        ("run through ngspice", count(lambda r: r.check.spice)),
        (
            "circular: the model takes the figure itself, the row guards its way through",
            count(lambda r: r.check.circular),
        ),
        ("about the whole circuit", count(lambda r: r.check.whole)),
        ("misses", count(lambda r: not r.passed)),
        (
            "misses among common practice and memory",
            count(lambda r: not r.passed and r.check.provenance != "published"),
        ),
    ]


def misses(rows: Sequence[Row]) -> list[str]:
    """One line for each row that misses: what, by how much, why."""
    lines = []
    for row in rows:
        if row.passed:
            continue
        unit = "" if row.check.unit == "-" else f" {row.check.unit}"
        why = _sentence(row.failure or row.check.miss or "not explained yet")
        lines.append(
            f"{row.check.name}: published {published(row.check)}, computed {number(row.computed)}{unit}. {why}"
        )
    return lines


def _sentence(text: str) -> str:
    return text[0].upper() + text[1:] + ("" if text.endswith(".") else ".")


def _cell(text: str) -> str:
    return text.replace("|", "\\|")


def markdown(rows: Sequence[Row]) -> str:
    """The report: counts, one table for each part family, misses with their reasons, figures as found."""
    lines = [
        "# Outside checks",
        "",
        "Published figures against what the model makes of them. Written by `make validate`; do not edit.",
        "",
        (
            "How a figure was come by: *seen* in the source named; *derived* from figures seen there by arithmetic; "
            "*second"
        ),
        (
            "hand*, in a summary of the source; *common practice* of the trade; from *memory*. The last two are "
            "counted apart."
        ),
        (
            "A band's difference is against its middle. *S*: the figure comes from an ngspice run of the netlists "
            "in `circuits/`."
        ),
        "",
        *(f"- {what}: {how_many}" for what, how_many in counts(rows)),
    ]
    for family in FAMILIES:
        of_family = [row for row in rows if row.check.family == family]
        if of_family:
            lines += ["", f"## {family[0].upper()}{family[1:]}", "", *_table(of_family)]
    lines += ["", "## Misses", ""]
    lines += [f"- {line}" for line in misses(rows)] or ["None."]
    lines += ["", *as_found()]
    return "\n".join(lines) + "\n"


def _table(rows: Sequence[Row]) -> list[str]:
    head = ("check", "source", "come by", "published", "computed", "difference", "allowed", "because", "pass")
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    for row in rows:
        check = row.check
        computed = number(row.computed) + (" S" if check.spice else "")
        cells = (
            check.name,
            check.source,
            mark(check),
            published(check),
            computed,
            difference(row),
            allowed(check),
            check.reason,
            verdict(row),
        )
        lines.append("| " + " | ".join(_cell(cell) for cell in cells) + " |")
    return lines


def as_found() -> list[str]:
    """Figures without a published counterpart that a reader of the checks will want."""
    from cranksag.parts.load_test import load_test_table
    from cranksag.validate import boats

    lines = [
        "## As found",
        "",
        "Half-rating load test, 15 s: health of a full battery at which each published limit is crossed.",
        "",
        "| temperature [degC] | limit [V] | a sound battery reads [V] | health at the limit [%] |",
        "|---|---|---|---|",
        *(
            f"| {r.temperature:g} | {r.limit:g} | {r.voltage_at_full_health:.2f} | {100.0 * r.health:.0f} |"
            for r in load_test_table()
        ),
        "",
        (
            "Sound boats of the crank-voltage bands: lowest voltage of the inrush beside the settled plateau the "
            "bands are held to."
        ),
        "",
        "| boat | temperature [degC] | inrush minimum [V] | plateau [V] |",
        "|---|---|---|---|",
    ]
    for boat in (boats.DIESEL_12, boats.DIESEL_24):
        for temperature in (-15.0, 1.5, 18.5):
            one = boats.at(boat, temperature)
            low, plateau = boats.figure(one, "minimum"), boats.figure(one, "volts")
            lines.append(f"| {boat.volts} V | {temperature:g} | {low:.2f} | {plateau:.2f} |")
    lines += [
        "",
        "The measured cranks: their logger renews its voltage every 0.27 s, so the inrush dip cannot be checked",
        "against them.",
    ]
    return lines
