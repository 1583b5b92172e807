# SPDX-License-Identifier: GPL-3.0-or-later
"""Line numbers: the scanner against documents whose lines are known because the test wrote them."""

from __future__ import annotations

import json
import tomllib
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cranksag.scenario.positions import find_positions

Path = tuple[str | int, ...]

_names = st.one_of(
    st.sampled_from(["a", "b-c", "d_1", "0", "from"]),
    st.text(st.characters(codec="utf-8", exclude_categories=["Cs"]), max_size=4),
)


class Writer:
    """Writes TOML piece by piece and notes the line of everything it writes."""

    def __init__(self, draw: Any) -> None:
        self.draw = draw
        self.text = ""
        self.lines: dict[Path, int] = {}

    @property
    def line(self) -> int:
        return self.text.count("\n") + 1

    def note(self, path: Path) -> None:
        self.lines.setdefault(path, self.line)

    def key(self, name: str) -> None:
        plain = name.isascii() and name.replace("-", "").replace("_", "").isalnum()
        style = self.draw(st.sampled_from(["bare", "basic", "literal"] if plain else ["basic"]))
        far = any(ord(c) > 0xFFFF or ord(c) == 0x7F for c in name)  # JSON writes these as TOML does not
        quoted = '"' + "".join(f"\\U{ord(c):08X}" for c in name) + '"' if far else json.dumps(name)
        self.text += {"bare": name, "basic": quoted, "literal": f"'{name}'"}[style]

    def gap(self, newlines: bool = False) -> None:
        choices = ["", " ", "\t "] + (["\n", ' # ] """ } [x]\n', "\n\n  "] if newlines else [])
        self.text += self.draw(st.sampled_from(choices))

    def scalar(self) -> None:
        self.text += self.draw(
            st.sampled_from(
                [
                    '"x"',
                    "'#'",
                    '""',
                    "''",
                    '"\\"#]"',
                    '"""a\n\n"b" # = """',
                    '"""x""""',
                    "'''\n[a]\nb = 1\n'''",
                    "''''x'''''",
                    '"""\\\n  a \\""" b"""',
                    "1",
                    "-1.5e3",
                    "true",
                    "nan",
                    "1979-05-27 07:32:00Z",
                    "1979-05-27",
                    "0x1F",
                    "[]",
                    "{}",
                ]
            )
        )

    def value(self, path: Path, depth: int) -> None:
        kind = self.draw(st.sampled_from(["scalar"] * 4 + (["array", "inline"] if depth else [])))
        if kind == "scalar":
            self.scalar()
        elif kind == "array":
            self.text += "["
            for index in range(count := self.draw(st.integers(1, 3))):
                self.gap(newlines=True)
                self.note((*path, index))
                self.value((*path, index), depth - 1)
                self.gap(newlines=True)
                if index < count - 1 or self.draw(st.booleans()):
                    self.text += ","
            self.gap(newlines=True)
            self.text += "]"
        else:
            self.text += "{"
            names = self.draw(st.lists(_names, max_size=3, unique=True))
            for position, name in enumerate(names):
                self.gap()
                self.pair(path, [name], depth - 1)
                self.gap()
                if position < len(names) - 1:
                    self.text += ","
            self.text += "}"

    def pair(self, table: Path, names: list[str], depth: int) -> None:
        for end in range(1, len(names) + 1):
            self.note((*table, *names[:end]))
        for position, name in enumerate(names):
            if position:
                self.gap()
                self.text += "."
                self.gap()
            self.key(name)
        self.gap()
        self.text += "="
        self.gap()
        self.value((*table, *names), depth)

    def body(self, table: Path) -> None:
        for name in self.draw(st.lists(_names, max_size=4, unique=True)):
            names = [name, *self.draw(st.lists(_names, max_size=2))]
            self.gap(newlines=True)
            self.pair(table, names, 2)
            self.gap()
            self.text += self.draw(st.sampled_from(["\n", " # a = [\n", "\n\n"]))

    def header(self, path: Path, double: bool) -> None:
        self.gap(newlines=True)
        if self.text and not self.text.endswith("\n"):
            self.text += "\n"
        names = [part for part in path if isinstance(part, str)]
        for end in range(1, len(path) + 1):
            self.note(path[:end])
        self.text += "[[" if double else "["
        for position, name in enumerate(names):
            self.text += "." if position else ""
            self.key(name)
        self.text += ("]]" if double else "]") + "\n"


@st.composite
def documents(draw: st.DrawFn) -> Writer:
    writer = Writer(draw)
    writer.body(())
    taken = {path[0] for path in writer.lines}
    for name in draw(st.lists(_names.filter(lambda n: n not in taken), max_size=4, unique=True)):
        if draw(st.booleans()):
            path: Path = (name, *draw(st.lists(_names, max_size=1)))
            writer.header(path, double=False)
            writer.body(path)
            continue
        for index in range(draw(st.integers(1, 3))):
            writer.header((name, index), double=True)
            writer.body((name, index))
            inner = draw(_names)
            if (name, index, inner) not in writer.lines and draw(st.booleans()):
                writer.header((name, index, inner), double=False)
                writer.body((name, index, inner))
    return writer


def paths(value: Any, path: Path = ()) -> set[Path]:
    below = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return {path} - {()} | {p for key, inner in below for p in paths(inner, (*path, key))}


@given(documents(), st.booleans())
def test_every_line_is_exact(writer: Writer, windows: bool) -> None:
    text = writer.text.replace("\n", "\r\n") if windows else writer.text
    values = tomllib.loads(text)
    found = find_positions(text)
    assert set(found.lines) == paths(values)
    assert found.lines == writer.lines
    assert not found.twice


@given(st.text(max_size=200))
def test_any_text_ends(text: str) -> None:
    find_positions(text)


@given(st.text(st.sampled_from("[]{}\"'=.,#\n ab1\\"), max_size=60))
def test_any_toml_like_text_ends_and_knows_its_keys(text: str) -> None:
    found = find_positions(text)
    try:
        values = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return
    assert set(found.lines) == paths(values)


@pytest.mark.parametrize(
    ("text", "twice"),
    [
        ("a = 1\n\na = 2\n", [(("a",), 3, 1)]),
        ("[t]\nx = 1\n[u]\n[t]\n", [(("t",), 4, 1)]),
        ("[[t]]\nx = 1\nx = 2\n[[t]]\nx = 3\n", [(("t", 0, "x"), 3, 2)]),
        ("a = {b = 1, b = 2}\n", [(("a", "b"), 1, 1)]),
    ],
)
def test_keys_written_twice_are_found(text: str, twice: list[Any]) -> None:
    assert find_positions(text).twice == twice


def test_nearest_is_the_closest_thing_around() -> None:
    found = find_positions('[a]\nb = ["x",\n  "y"]\n')
    assert found.nearest(("a", "b", 1)) == 3
    assert found.nearest(("a", "missing")) == 1
    assert found.nearest(("missing",)) is None
