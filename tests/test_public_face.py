# SPDX-License-Identifier: GPL-3.0-or-later
"""The names of `cranksag/__init__.py`: complete, loaded at first use, and never hidden by a module."""

from __future__ import annotations

import subprocess
import sys
from types import ModuleType

import pytest

import cranksag


def _fresh(program: str) -> str:
    """What `program` prints in a Python that has imported nothing yet."""
    done = subprocess.run([sys.executable, "-c", program], check=True, capture_output=True, text=True)
    return done.stdout.strip()


def test_names_are_sorted_and_listed() -> None:
    assert list(cranksag.__all__) == sorted(cranksag.__all__)
    assert set(cranksag.__all__) <= set(dir(cranksag))


@pytest.mark.parametrize("name", cranksag.__all__)
def test_every_name_is_there_and_is_no_module(name: str) -> None:
    assert not isinstance(getattr(cranksag, name), ModuleType)


@pytest.mark.parametrize(
    "program",
    [
        "import cranksag.simulate; import cranksag; print(cranksag.simulate.__qualname__)",
        "import cranksag; cranksag.simulate; import cranksag.simulate; print(cranksag.simulate.__qualname__)",
        "from cranksag import simulate; import cranksag.simulate; print(simulate.__qualname__)",
        "from cranksag.simulate import simulate; print(simulate.__qualname__)",
    ],
)
def test_simulate_is_the_function_whichever_is_imported_first(program: str) -> None:
    assert _fresh(program) == "simulate"


def test_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no attribute 'simulat'"):
        _ = cranksag.simulat


def test_importing_the_package_stays_light() -> None:
    heavy = "{'PySpice', 'scipy', 'matplotlib', 'numpy', 'pydantic', 'typer'}"
    assert _fresh(f"import sys, cranksag; print(sorted({heavy} & set(sys.modules)))") == "[]"
