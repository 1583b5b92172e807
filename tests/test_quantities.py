# SPDX-License-Identifier: GPL-3.0-or-later
"""Quantities and conductor sizes: exact factors, the strict grammar, the way back."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cranksag import quantities as q
from cranksag.errors import InputError

DIMENSIONS = sorted(q.DIMENSIONS.values(), key=lambda d: d.name)


def refusals(read: Callable[..., object], *given: object) -> list[str]:
    """The problems that reading ends in; none if it succeeds. Any other exception is a failure."""
    try:
        read(*given)
    except InputError as error:
        return error.problems
    return []


def problem(text: str, dimension: q.Dimension) -> str:
    with pytest.raises(InputError) as caught:
        q.parse(text, dimension)
    assert len(caught.value.problems) == 1
    assert "\n" not in caught.value.problems[0]
    return caught.value.problems[0]


# NIST Special Publication 811 (2008), Appendix B.8: the factors in bold there are exact, the others rounded
# to the digits printed. Ours against the printed figure: equal, or half a unit of its last digit apart.
@pytest.mark.parametrize(
    ("text", "dimension", "published", "digit"),
    [
        ("1 ft", q.LENGTH, 0.3048, 0.0),
        ("1 in", q.LENGTH, 0.0254, 0.0),
        ("1 lbf ft", q.TORQUE, 1.355818, 5e-7),
        ("1 lbf in", q.TORQUE, 0.1129848, 5e-8),
        ("1 kgf m", q.TORQUE, 9.80665, 0.0),
        ("1 hp", q.POWER, 745.6999, 5e-5),
        ("1 PS", q.POWER, 735.4988, 5.1e-5),  # printed 735.4988; 75 kgf m/s is 735.49875, rounded half up
        ("1 lb", q.MASS, 0.45359237, 0.0),
        ("1 in3", q.VOLUME, 1.638706e-5, 5e-12),
        ("1 in2", q.AREA, 6.4516e-4, 1e-19),  # exact there; ours is a product of binary fractions
        ("1 rpm", q.SPEED, 0.1047198, 5e-8),
        ("1 Wh", q.ENERGY, 3600.0, 0.0),
        ("1 Ah", q.CAPACITY, 3600.0, 0.0),
        ("212 degF", q.TEMPERATURE, 100.0, 0.0),
        ("-40 degF", q.TEMPERATURE, -40.0, 1e-14),  # binary rounding of 5/9
        ("0 K", q.TEMPERATURE, -273.15, 0.0),
    ],
)
def test_published_factors(text: str, dimension: q.Dimension, published: float, digit: float) -> None:
    assert abs(q.parse(text, dimension) - published) <= digit


@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        ("30 ft", q.LENGTH, 9.144),
        ("30ft", q.LENGTH, 9.144),
        ("30 feet", q.LENGTH, 9.144),
        ("1 foot", q.LENGTH, 0.3048),
        ("10 inches", q.LENGTH, 0.254),
        ("1 inch", q.LENGTH, 0.0254),
        (" 30   ft ", q.LENGTH, 9.144),
        ("-10 degC", q.TEMPERATURE, -10.0),
        ("−10 °C", q.TEMPERATURE, -10.0),
        ("50 F", q.TEMPERATURE, 10.0),
        ("0.5 F", q.CAPACITANCE, 0.5),
        ("85 %", q.SHARE, 0.85),
        ("85%", q.SHARE, 0.85),
        ("+1e3 A", q.CURRENT, 1000.0),
        ("1.5E-3 A", q.CURRENT, 0.0015),
        (".5 V", q.VOLTAGE, 0.5),
        ("5. V", q.VOLTAGE, 5.0),
        ("220 µF", q.CAPACITANCE, 220e-6),
        ("220 μF", q.CAPACITANCE, 220e-6),
        ("30 mΩ", q.RESISTANCE, 0.03),
        ("30 m\u2126", q.RESISTANCE, 0.03),
        ("8.2 Nm", q.TORQUE, 8.2),
        ("8.2 N·m", q.TORQUE, 8.2),
        ("8.2 N  m", q.TORQUE, 8.2),
        ("6 lb ft", q.TORQUE, 6 * 0.3048 * 4.4482216152605),
        ("4200 cc", q.VOLUME, 0.0042),
        ("12\u00a0V", q.VOLTAGE, 12.0),
        ("0 V", q.VOLTAGE, 0.0),
        ("-0 V", q.VOLTAGE, 0.0),
    ],
)
def test_accepted_spellings(text: str, dimension: q.Dimension, value: float) -> None:
    got = q.parse(text, dimension)
    assert got == pytest.approx(value, rel=4e-16, abs=0.0)  # one rounding of the last binary digit
    assert math.copysign(1.0, got) == math.copysign(1.0, value)


@pytest.mark.parametrize(
    ("text", "dimension", "says"),
    [
        ("1,5 V", q.VOLTAGE, "comma"),
        ("1,000 V", q.VOLTAGE, "comma"),
        ("1.000,5 V", q.VOLTAGE, "comma"),
        (",5 V", q.VOLTAGE, "comma"),
        ("14 F", q.VOLTAGE, "F measures a capacitance"),
        ("14 V", q.CURRENT, "units that fit: A, mA, uA, kA"),
        ("14", q.VOLTAGE, "the unit is missing"),
        ("V", q.VOLTAGE, "the number is missing"),
        ("12 v", q.VOLTAGE, 'did you mean "V"?'),
        ("12 volts", q.VOLTAGE, "unknown unit"),
        ("25'", q.LENGTH, 'write "25 ft"'),
        ("25’", q.LENGTH, 'write "25 ft"'),
        ("25 ′", q.LENGTH, 'write "25 ft"'),
        ('9.5"', q.LENGTH, 'write "9.5 in"'),
        ("25'6\"", q.LENGTH, "marks for feet and inches"),
        ("25'", q.VOLTAGE, "unknown unit"),
        ("25 Feet", q.LENGTH, 'did you mean "feet"?'),
        ("25 yards", q.LENGTH, "unknown unit"),
        ("0.85", q.SHARE, "the unit is missing"),
        ("inf V", q.VOLTAGE, "finite"),
        ("-Infinity V", q.VOLTAGE, "finite"),
        ("nan V", q.VOLTAGE, "finite"),
        ("1e999 V", q.VOLTAGE, "outside"),
        ("1e-999 V", q.VOLTAGE, "outside"),
        ("1e1000 V", q.VOLTAGE, "unknown unit"),
        ("10**10**10 V", q.VOLTAGE, "unknown unit"),
        ("1 + 1 V", q.VOLTAGE, "unknown unit"),
        ("0x10 V", q.VOLTAGE, "unknown unit"),
        ("1_000 V", q.VOLTAGE, "unknown unit"),
        ("١٢ V", q.VOLTAGE, "not a quantity"),
        ("", q.VOLTAGE, "not a quantity"),
        ("-1 ohm", q.RESISTANCE, "cannot be negative"),
        ("9" * 65 + " V", q.VOLTAGE, "longer than 64"),
        ("1 " + "V" * 1_000_000, q.VOLTAGE, "longer than 64"),
        ("1 V\n.control", q.VOLTAGE, "unknown unit"),
    ],
)
def test_refused_spellings(text: str, dimension: q.Dimension, says: str) -> None:
    assert says in problem(text, dimension)


@given(st.text(max_size=80), st.sampled_from(DIMENSIONS))
def test_any_text_is_read_or_refused_in_one_line(text: str, dimension: q.Dimension) -> None:
    found = refusals(q.parse, text, dimension)
    assert len(found) <= 1
    assert all(line.isprintable() for line in found)
    assert found or math.isfinite(q.parse(text, dimension))


@given(st.from_regex(r"[-+.,0-9eE* ]{0,12}[a-zA-Z%µΩ°/* ]{0,8}", fullmatch=True), st.sampled_from(DIMENSIONS))
def test_any_near_miss_is_read_or_refused(text: str, dimension: q.Dimension) -> None:
    found = refusals(q.parse, text, dimension)
    assert all(line.isprintable() for line in found)
    assert found or math.isfinite(q.parse(text, dimension))


@given(st.sampled_from(DIMENSIONS), st.data())
def test_what_is_written_in_full_reads_back(dimension: q.Dimension, data: st.DataObject) -> None:
    size = data.draw(st.floats(1e-9, 1e9))
    sign = data.draw(st.sampled_from([1.0, -1.0])) if dimension.signed else 1.0
    unit = data.draw(st.sampled_from([None, *dimension.listed]))
    text = q.format_quantity(sign * size, dimension, unit, digits=None)
    # Two conversions, each a few roundings; the offset of degF and K costs absolute digits.
    slack = 1e-12 if dimension is q.TEMPERATURE else 0.0
    assert q.parse(text, dimension) == pytest.approx(sign * size, rel=1e-14, abs=slack)


@given(st.sampled_from(DIMENSIONS), st.floats(1e-7, 1e7))
def test_what_people_read_is_right_to_its_digits(dimension: q.Dimension, size: float) -> None:
    text = q.format_quantity(size, dimension)
    assert "e" not in text.split()[0] or size < 1e-4 or size > 1e4
    # Four digits: half a unit of the fourth is 5e-4 at worst.
    assert q.parse(text, dimension) == pytest.approx(size, rel=5.01e-4)


@pytest.mark.parametrize(
    ("value", "dimension", "unit", "text"),
    [
        (0.0012, q.RESISTANCE, None, "1.2 mohm"),
        (0.0, q.RESISTANCE, None, "0 ohm"),
        (0.99999, q.VOLTAGE, None, "1 V"),
        (12.6, q.VOLTAGE, None, "12.6 V"),
        (-0.35, q.VOLTAGE, None, "-350 mV"),
        (396000.0, q.CAPACITY, None, "110 Ah"),
        (0.85, q.SHARE, None, "85 %"),
        (9.144, q.LENGTH, "ft", "30 ft"),
        (9.144, q.LENGTH, None, "9.144 m"),
        (120 * math.pi / 30, q.SPEED, None, "120 rpm"),
        (-18.0, q.TEMPERATURE, None, "-18 degC"),
        (-17.77777777777778, q.TEMPERATURE, "degF", "0 degF"),
        (250e-6, q.CAPACITANCE, None, "250 uF"),
        (90.0, q.TIME, None, "1.5 min"),
        (12345.6, q.VOLTAGE, "V", "12350 V"),
        (math.inf, q.TIME, None, "inf s"),
    ],
)
def test_format(value: float, dimension: q.Dimension, unit: str | None, text: str) -> None:
    assert q.format_quantity(value, dimension, unit) == text


@pytest.mark.parametrize("dimension", DIMENSIONS, ids=lambda d: d.name)
def test_tables_agree_with_themselves(dimension: q.Dimension) -> None:
    assert q.DIMENSIONS[dimension.name] is dimension
    assert set(dimension.shown) <= set(dimension.units)
    assert set(dimension.listed) <= set(dimension.units)
    assert q.parse(dimension.example, dimension)
    if dimension is not q.SHARE:
        assert q.parse(f"7 {dimension.si}", dimension) == 7.0 or dimension is q.TEMPERATURE


# --- conductor sizes ------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "system", "name"),
    [
        ("16 AWG", "AWG", "16"),
        ("16AWG", "AWG", "16"),
        ("AWG 16", "AWG", "16"),
        ("2/0 AWG", "AWG", "2/0"),
        ("16 awg", "AWG", "16"),
        ("16 Awg", "AWG", "16"),
        ("2/0awg", "AWG", "2/0"),
        ("awg 16", "AWG", "16"),
        ("sae 2/0", "SAE", "2/0"),
        ("0 AWG", "AWG", "1/0"),
        ("00 AWG", "AWG", "2/0"),
        ("0000 AWG", "AWG", "4/0"),
        ("70 mm2", "mm2", "70"),
        ("70mm²", "mm2", "70"),
        ("1.0 mm2", "mm2", "1"),
        ("0.75 mm2", "mm2", "0.75"),
        ("SAE 2/0", "SAE", "2/0"),
        ("2/0 SAE", "SAE", "2/0"),
    ],
)
def test_sizes(text: str, system: str, name: str) -> None:
    size = q.parse_conductor_size(text)
    assert (size.system, size.name) == (system, name)
    assert q.parse_conductor_size(str(size)) == size


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("2 mm2", "the neighbours are 1.5 mm2 and 2.5 mm2"),
        ("500 mm2", "0.5 to 400 mm2"),
        ("0.1 mm2", "0.5 to 400 mm2"),
        ("3 SAE", "the neighbours are 4 SAE and 2 SAE"),
        ("23 AWG", "22 to 4/0 AWG"),
        ("5/0 AWG", "22 to 4/0 AWG"),
        ("1.5 AWG", "22 to 4/0 AWG"),
        ("2/0 mm2", "0.5 to 400 mm2"),
        ("2,5 mm2", "comma"),
        ("16", "not a conductor size"),
        ("AWG 16 AWG", "not a conductor size"),
        ("16 awgs", "not a conductor size"),
        ("70 MM2", "not a conductor size"),
        ("16 gauge", "not a conductor size"),
        ("70 m2", "not a conductor size"),
        ("-4 AWG", "not a conductor size"),
        ("", "not a conductor size"),
        ("1" * 100, "longer than 64"),
    ],
)
def test_refused_sizes(text: str, says: str) -> None:
    with pytest.raises(InputError) as caught:
        q.parse_conductor_size(text)
    assert says in caught.value.problems[0]


@given(st.sampled_from(("AWG", "SAE")), st.data())
def test_a_gauge_is_its_name_in_any_case_of_letters(system: str, data: st.DataObject) -> None:
    name = data.draw(st.sampled_from(q.SIZE_NAMES[system]))
    word = "".join(c.lower() if data.draw(st.booleans()) else c for c in system)
    space = " " * data.draw(st.integers(0, 2))
    text = f"{name}{space}{word}" if data.draw(st.booleans()) else f"{word}{space}{name}"
    assert q.parse_conductor_size(text) == q.parse_conductor_size(f"{name} {system}")


@given(st.floats(0.01, 1e4), st.sampled_from(("feet", "foot", "ft", "inch", "inches", "in")), st.integers(0, 2))
def test_a_length_spelled_out_is_the_same_length(number: float, word: str, spaces: int) -> None:
    symbol = "ft" if word.startswith("f") else "in"
    assert q.parse(f"{number!r}{' ' * spaces}{word}", q.LENGTH) == q.parse(f"{number!r} {symbol}", q.LENGTH)


@given(st.integers(1, 10**6), st.sampled_from("'’′\"”″"), st.text(max_size=8))
def test_a_mark_for_feet_is_never_taken_for_a_length(number: int, mark: str, more: str) -> None:
    assert "marks for feet and inches" in problem(f"{number}{mark}{more}", q.LENGTH)


@pytest.mark.parametrize("system", sorted(q.SIZE_NAMES))
def test_every_name_reads_back(system: str) -> None:
    for name in q.SIZE_NAMES[system]:
        assert q.parse_conductor_size(f"{name} {system}").name == name


@given(st.text(max_size=70))
def test_any_text_is_a_size_or_refused_in_one_line(text: str) -> None:
    assert all(line.isprintable() for line in refusals(q.parse_conductor_size, text))


def test_shelf_sizes_are_names_of_the_standard() -> None:
    assert set(q.AWG_SHELF_NAMES) <= set(q.AWG_NAMES)
    assert len(q.AWG_NAMES) == 26


def test_shown_is_short_and_printable() -> None:
    assert q.shown("a\nb\x00") == '"a\\nb\\x00"'
    assert len(q.shown("x" * 1000)) == 42
