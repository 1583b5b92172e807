# SPDX-License-Identifier: GPL-3.0-or-later
"""Ctrl-C more than once: whenever it comes, the command ends with 130 and says what is kept."""

from __future__ import annotations

import array
import fcntl
import os
import signal
import subprocess
import sys
import termios
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from cranksag.errors import Interrupted
from cranksag.examples import example_text
from cranksag.runner import StopRequest
from cranksag.studies import read_table

COMMAND = [sys.executable, "-c", "from cranksag.cli import main; main()"]
SMALL = 4096  # [bytes] smallest pipe of Linux: a report does not fit, so that its writer waits


@pytest.fixture
def boat(tmp_path: Path) -> Path:
    path = tmp_path / "boat.toml"
    path.write_text(example_text("restarting"), encoding="utf-8")
    return path


def sweep_of(boat: Path, rows: int, stdout: int, *words: object) -> subprocess.Popen[bytes]:
    """A sweep under way."""
    axis = f"battery.rating=1000 A:1400 A:{rows}"
    command = [*COMMAND, "sweep", boat, "--axis", axis, "--out", boat.parent / "rows.csv", *words]
    return subprocess.Popen([*map(str, command)], stdout=stdout, stderr=subprocess.PIPE)


def until(true: Callable[[], bool], process: subprocess.Popen[bytes]) -> None:
    """Wait for something while the process runs."""
    end = time.monotonic() + 60.0
    while not true():
        assert process.poll() is None, process.communicate()
        assert time.monotonic() < end
        time.sleep(0.002)


def journalled(boat: Path) -> bool:
    """Whether some rows are done."""
    journal = boat.parent / "rows.csv.journal"
    return journal.exists() and journal.read_bytes().count(b"\n") > 8


def waiting(end: int) -> int:
    """Bytes in a pipe."""
    held = array.array("i", [0])
    fcntl.ioctl(end, termios.FIONREAD, held)
    return held[0]


def test_a_second_ctrl_c_leaves_with_what_is_kept() -> None:
    def pressed_twice() -> None:
        with StopRequest(lambda: "three of four") as stop:
            os.kill(os.getpid(), signal.SIGINT)
            assert stop()
            os.kill(os.getpid(), signal.SIGINT)

    with pytest.raises(Interrupted, match="three of four"):
        pressed_twice()
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler


INSIDE = """
import os, signal, sys
from cranksag.errors import Interrupted
from cranksag.runner import StopRequest

def press_at(line):
    seen = 0

    def trace(frame, event, arg):
        nonlocal seen
        handler = frame
        while handler and handler.f_code.co_name != "_heard":
            handler = handler.f_back
        seen += handler is not None
        if handler and seen == line:
            os.kill(os.getpid(), signal.SIGINT)
        return trace

    return trace

for line in range(1, 20):
    try:
        with StopRequest() as stop:
            sys.settrace(press_at(line))
            os.kill(os.getpid(), signal.SIGINT)
            sys.settrace(None)
            assert stop()
    except Interrupted:
        sys.settrace(None)
print("ended")
"""


def test_a_second_ctrl_c_inside_the_handler_of_the_first_stops_nothing() -> None:
    """At every line of the handler: a lock taken there would be waited for by the one who holds it."""
    done = subprocess.run([sys.executable, "-c", INSIDE], capture_output=True, text=True, timeout=60.0, check=False)
    assert done.stdout == "ended\n", done.stderr


@pytest.mark.parametrize("delay", [0.0, 0.03, 0.06, 0.1, 0.15, 0.2])
def test_a_second_ctrl_c_at_any_moment_ends_cleanly(boat: Path, delay: float) -> None:
    """While workers end, while the table is written, while it is reported, while Python ends; a third is no worse."""
    process = sweep_of(boat, 300, subprocess.DEVNULL)
    until(lambda: journalled(boat), process)
    for pause in (delay, 0.01, 0.0):
        process.send_signal(signal.SIGINT)
        time.sleep(pause)
    told = process.communicate(timeout=60.0)[1].decode().splitlines()
    assert process.returncode == 130
    assert "of 300 rows done; the same command with --resume carries on" in told[-1]
    assert not any("Traceback" in line for line in told)


@pytest.mark.skipif(not hasattr(fcntl, "F_SETPIPE_SZ"), reason="pipes of a chosen size are Linux's")
@pytest.mark.parametrize(("rows", "told"), [(300, "of 300 rows done"), (12, "all 12 rows are in")])
def test_ctrl_c_in_the_middle_of_the_last_report(boat: Path, rows: int, told: str) -> None:
    """The report waits for a reader that does not read. A sweep that is done keeps all its rows."""
    reading, writing = os.pipe()
    fcntl.fcntl(writing, fcntl.F_SETPIPE_SZ, SMALL)
    every = ("--set", "displays.0.brownout=4 V", "--pareto", "margin_v:max", "--pareto", "battery.rating:min")
    process = sweep_of(boat, rows, writing, "--json", *every)  # no row beats another: all of them are printed
    if rows > 100:
        until(lambda: journalled(boat), process)
        process.send_signal(signal.SIGINT)
    until(lambda: waiting(reading) == SMALL, process)
    process.send_signal(signal.SIGINT)
    assert process.wait(timeout=60.0) == 130
    assert process.stderr is not None
    said = process.stderr.read().decode().splitlines()
    assert told in said[-1]
    assert ("--resume" if rows > 100 else "--show") in said[-1]
    assert len(read_table(boat.parent / "rows.csv")) >= 4
    process.stderr.close()
    os.close(reading)
    os.close(writing)
