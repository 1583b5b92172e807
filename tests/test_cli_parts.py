# SPDX-License-Identifier: GPL-3.0-or-later
"""`cranksag parts`: what it lists, filters and refuses."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from cranksag.catalogue import KINDS, PROVENANCES, load_catalogue
from cranksag.cli.app import app

MINE = """
[[relay]]
name = "my relay"
coil_voltage = "12 V"
coil_resistance = "95 ohm"
must_operate = "7 V"
must_release = "1.2 V"
operate_time = "7 ms"
release_time = "5 ms"
contact = "make"
contact_resistance = "3 mohm"
carry_current = "40 A"
source = "measured on the bench"
provenance = "engineering estimate"
"""


def _run(*words: object) -> Any:
    return CliRunner().invoke(app, ["parts", *(str(word) for word in words)])


def _listed(*words: object) -> list[dict[str, Any]]:
    done = _run(*words, "--json")
    assert (done.exit_code, done.stderr) == (0, "")
    found: list[dict[str, Any]] = json.loads(done.stdout)
    return found


def test_json_lists_the_whole_catalogue() -> None:
    found = _listed()
    assert len(found) == len(list(load_catalogue().entries()))
    for line in found:
        assert {"kind", "name", "values", "source", "provenance"} <= set(line)
        assert line["kind"] in KINDS
        assert line["provenance"] in PROVENANCES
        assert line["values"]
        assert line["tolerances"]
        assert set(line["tolerance"]) <= set(line["tolerances"]) <= set(line["values"])
        for found in line["tolerances"].values():
            assert -1.0 < found["low"] <= 0.0 <= found["high"]
            assert found["source"]
            assert found["provenance"] in PROVENANCES


def test_the_table_shows_tolerances_beside_their_values() -> None:
    shown = " ".join(_run("relay", "--filter", "coil_resistance=90ohm contact=make").stdout.split())
    assert "coil_resistance 90 ohm +-10 %" in shown
    assert "must_operate 6.9 V -35 % +0 %" in shown


@pytest.mark.parametrize("kind", list(KINDS))
def test_a_kind_lists_that_kind_alone(kind: str) -> None:
    found = _listed(kind)
    assert {line["kind"] for line in found} == {kind}
    done = _run(kind)
    assert done.exit_code == 0
    assert all(line["name"] in done.stdout for line in found)
    assert all(line["source"] in done.stdout for line in found)


def test_filters_compare_fields_and_words() -> None:
    strong = _listed("diode", "--filter", "rated_current>=5A construction=schottky")
    names = {line["name"] for line in strong}
    assert "SB560" in names
    assert "1N5822" not in names
    assert _listed("--filter", "relay 24V") == [] or all(
        line["kind"] == "relay" for line in _listed("--filter", "relay 24V")
    )


def test_a_filter_that_fits_nothing_lists_nothing() -> None:
    assert _listed("diode", "--filter", "rated_current>=9000A") == []
    done = _run("diode", "--filter", "rated_current>=9000A")
    assert (done.exit_code, done.stdout) == (0, "")
    assert "no part fits" in done.stderr


def test_estimated_fields_are_marked() -> None:
    done = _run("relay", "--filter", '"100 ohm"'.strip('"'))
    assert "carry_current 40 A*" in done.stdout
    assert "engineering estimate" in done.stdout


def test_a_users_own_file_adds_parts(tmp_path: Path) -> None:
    own = tmp_path / "mine.toml"
    own.write_text(MINE, encoding="utf-8")
    found = _listed("relay", "--catalogue", own)
    assert len(found) == len(_listed("relay")) + 1
    assert found[-1]["name"] == "my relay"
    assert found[-1]["values"]["coil_resistance"] == "95 ohm"


def test_a_bad_line_is_refused_with_file_and_line(tmp_path: Path) -> None:
    own = tmp_path / "mine.toml"
    own.write_text(MINE.replace("95 ohm", "95 V"), encoding="utf-8")
    done = _run("relay", "--catalogue", own)
    assert (done.exit_code, done.stdout) == (2, "")
    assert "mine.toml" in done.stderr
    assert "coil_resistance" in done.stderr


@pytest.mark.parametrize(
    "words", [["rellay"], ["--filter", "rated_curent>=5A"], ["diode", "--filter", "rated_current>=5ohm"]]
)
def test_what_is_not_there_is_refused_with_a_hint(words: list[str]) -> None:
    done = _run(*words)
    assert (done.exit_code, done.stdout) == (2, "")
    assert done.stderr
