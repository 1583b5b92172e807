# SPDX-License-Identifier: GPL-3.0-or-later
"""No magic number in the parts: every constant has a name, and a comment with unit and source beside it."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import cranksag.parts

FILES = sorted(Path(cranksag.parts.__file__).parent.glob("*.py"))

#: what formulas are made of: zero, one, halves, doubles, the 3 and 4 of cubes, circles and square roots, base ten
PLAIN = frozenset({0, 1, 2, 3, 4, 10, 0.5})


def magic_numbers(text: str) -> list[tuple[int, float]]:
    """Line and value of every numeric literal inside a function, its defaults included, that is not `PLAIN`."""
    found: dict[int, tuple[int, float]] = {}
    for function in ast.walk(ast.parse(text)):
        if not isinstance(function, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda):
            continue
        for node in ast.walk(function):
            if isinstance(node, ast.Constant) and type(node.value) in (int, float) and node.value not in PLAIN:
                found[id(node)] = (node.lineno, node.value)
    return sorted(found.values())


def bare_constants(text: str) -> list[str]:
    """Module-level names for numbers without a comment on their lines or in the lines right above them."""
    lines = text.splitlines()
    bare = []
    for node in ast.parse(text).body:
        if not isinstance(node, ast.Assign | ast.AnnAssign) or node.value is None:
            continue
        if not any(isinstance(n, ast.Constant) and type(n.value) in (int, float) for n in ast.walk(node.value)):
            continue
        first = node.lineno - 1
        while first > 0 and lines[first - 1].strip():
            first -= 1
        if not any("#" in line for line in lines[first : node.end_lineno]):
            bare.append(lines[node.lineno - 1])
    return bare


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_functions_hold_no_magic_number(path: Path) -> None:
    found = magic_numbers(path.read_text(encoding="utf-8"))
    assert not found, f"name these with unit and source: {found}"


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_every_constant_has_a_comment(path: Path) -> None:
    assert bare_constants(path.read_text(encoding="utf-8")) == []


def test_the_tests_see_what_they_are_for() -> None:
    text = (
        "A = 7.0\n\nB = 8.0  # [V] source\n\n\ndef f(x, y=9.81):\n    return 0.5 * x * 1.23 + (lambda z: z * 4.56)(y)\n"
    )
    assert magic_numbers(text) == [(6, 9.81), (7, 1.23), (7, 4.56)]
    assert bare_constants(text) == ["A = 7.0"]
    assert magic_numbers("X = 5\n\n\ndef f(x):\n    return -1 * x / 2\n") == []
