# SPDX-License-Identifier: GPL-3.0-or-later
"""Settings that every test shares.

Markers and warnings are in pyproject.toml: an unknown marker is an error, and so is a warning unless it
is listed there with its reason.
"""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator

import pytest
from hypothesis import HealthCheck, settings

from cranksag.scenario import Scenario, loads_scenario
from tests.short_crank import SHORT

# Figures are drawn to files only. Set before any test imports matplotlib.
os.environ.setdefault("MPLBACKEND", "Agg")

# No deadline: one ngspice run costs what the machine makes it cost, and no test asserts seconds.
# too_slow counts seconds as well; it would fail a sound test on a busy machine.
_COMMON = {"deadline": None, "suppress_health_check": [HealthCheck.too_slow], "print_blob": True}

settings.register_profile("dev", max_examples=50, **_COMMON)
# The same cases at every run, so that an unrelated change never meets a new one there;
# `make long-test` looks for new ones.
settings.register_profile("ci", max_examples=30, derandomize=True, **_COMMON)
settings.register_profile("long", max_examples=2000, **_COMMON)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE") or ("ci" if os.environ.get("CI") else "dev"))

# A shell that starts the tests in the background has Ctrl-C ignored, and children inherit that; some tests press it.
signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.fixture(autouse=True)
def _ctrl_c_is_left_as_it_was() -> Iterator[None]:
    """A test that leaves Ctrl-C ignored makes others fail that press it."""
    yield
    left = signal.signal(signal.SIGINT, signal.default_int_handler)
    assert left is signal.default_int_handler


@pytest.fixture(scope="session")
def short() -> Scenario:
    """The boat of `tests.short_crank`."""
    return loads_scenario(SHORT, "short.toml")
