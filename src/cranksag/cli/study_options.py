# SPDX-License-Identifier: GPL-3.0-or-later
"""Options that the studies share."""

from __future__ import annotations

from typing import Annotated

import typer

Workers = Annotated[
    int | None,
    typer.Option("--workers", min=1, help="Worker processes.", show_default="one for each processor"),
]
Scheduler = Annotated[
    str | None,
    typer.Option(
        "--on", metavar="dask://HOST:PORT", help="Run on the workers of a dask scheduler.", show_default=False
    ),
]
USUAL_LIMIT = "20 for each second simulated, 60 at least"
RunLimit = Annotated[
    float | None,
    typer.Option("--run-limit", metavar="SECONDS", min=0.01, help="Longest a run may take.", show_default=USUAL_LIMIT),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON document instead of the report.")]
