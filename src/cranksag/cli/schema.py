# SPDX-License-Identifier: GPL-3.0-or-later
"""`cranksag schema`: JSON Schemas for editors and scripts."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated

import typer

from cranksag.cli import console


class Subject(StrEnum):
    """What a schema can be asked of."""

    SCENARIO = "scenario"
    SIMULATE = "simulate"


def run(
    of: Annotated[
        Subject, typer.Option("--of", help="The scenario file, or the document of `simulate --json`.")
    ] = Subject.SCENARIO,
) -> None:
    """Print a JSON Schema (draft 2020-12)."""
    if of is Subject.SCENARIO:
        from cranksag.scenario import scenario_schema

        console.json_document(scenario_schema())
    else:
        from cranksag.verdict.document import document_schema

        console.json_document(document_schema())
