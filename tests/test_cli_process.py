# SPDX-License-Identifier: GPL-3.0-or-later
"""The commands as processes: imports, pipes, closed streams, signals, hostile files, the deck in plain ngspice."""

from __future__ import annotations

import json
import os
import pty
import re
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from cranksag.cli import COMMANDS
from cranksag.cli.netlist import netlist_text
from cranksag.examples import example_names, example_text
from cranksag.resolve import resolve
from cranksag.scenario import loads_scenario
from cranksag.simulate import simulate

COMMAND = [sys.executable, "-m", "cranksag"]
Process = subprocess.CompletedProcess[str]


def run(*words: object, **settings: Any) -> Process:
    """A command in a process of its own."""
    given = {"capture_output": True, "text": True, "stdin": subprocess.DEVNULL, "check": False} | settings
    done: Process = subprocess.run([*COMMAND, *map(str, words)], **given)
    return done


def through_shell(line: str, **settings: Any) -> Process:
    """A shell line in which CRANKSAG stands for the command."""
    program = f"'{sys.executable}' -m cranksag"
    done: Process = subprocess.run(
        ["/bin/sh", "-c", line.replace("CRANKSAG", program)], capture_output=True, text=True, check=False, **settings
    )
    return done


@pytest.fixture
def boat(tmp_path: Path) -> Path:
    """A boat whose display restarts."""
    path = tmp_path / "boat.toml"
    path.write_text(example_text("restarting"), encoding="utf-8")
    return path


HEAVY = {"PySpice", "scipy", "matplotlib", "numpy", "cranksag.solver", "cranksag.scenario"}
IMPORTED = (
    "import sys\nfrom cranksag.cli import main\n"
    "try:\n    main()\nexcept SystemExit as end:\n    print(end.code, file=sys.stderr)\n"
    "print(*sys.modules, file=sys.stderr)\n"
)


@pytest.mark.parametrize("words", [["--help"], [], ["--version"], ["bogus"], *([name, "--help"] for name in COMMANDS)])
def test_help_imports_nothing_heavy(words: list[str]) -> None:
    done = subprocess.run([sys.executable, "-c", IMPORTED, *words], capture_output=True, text=True, check=True)
    loaded = set(done.stderr.split())
    assert loaded >= {"typer", "cranksag.cli"}
    assert not loaded & HEAVY


def test_the_installed_command_answers() -> None:
    program = Path(sys.executable).with_name("cranksag")
    done = subprocess.run([program, "--version"], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
    assert re.fullmatch(r"cranksag \d+\.\d+\.\d+\S*\n", done.stdout)


@pytest.mark.parametrize("words", ["simulate {} --no-band", "simulate {} --no-band --json", "netlist {}", "schema"])
def test_a_reader_that_leaves_early_is_no_error(boat: Path, words: str) -> None:
    done = through_shell(f"(CRANKSAG {words.format(boat)}; echo code $? >&2) | head -c 1")
    assert done.stderr == "code 0\n"
    assert len(done.stdout) == 1


def test_a_reader_that_was_never_there_is_no_error(boat: Path) -> None:
    reading, writing = os.pipe()
    os.close(reading)
    done = run("simulate", boat, "--no-band", capture_output=False, stdout=writing, stderr=subprocess.PIPE)
    os.close(writing)
    assert (done.returncode, done.stderr) == (0, "")


def test_closed_standard_streams_harm_no_file(boat: Path, tmp_path: Path) -> None:
    figure, run_file = tmp_path / "crank.png", tmp_path / "run.csv"
    words = f"simulate {boat} --no-band --plot {figure} --waveforms {run_file}"
    done = through_shell(f"CRANKSAG {words} <&- >&- 2>&-")
    assert done.returncode == 0
    assert figure.read_bytes().startswith(b"\x89PNG")
    assert figure.read_bytes().endswith(b"IEND\xaeB`\x82")
    assert run_file.read_text(encoding="utf-8").startswith("time_s,")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a Linux device")
@pytest.mark.parametrize("words", ["simulate {} --no-band", "simulate {} --no-band --json", "--help", "--version"])
def test_a_full_disk_behind_stdout_is_one_line(boat: Path, words: str) -> None:
    done = through_shell(f"CRANKSAG {words.format(boat)} > /dev/full")
    assert (done.returncode, done.stderr.count("\n")) == (2, 1)
    assert done.stderr.startswith("standard output: ")


def test_standard_input_is_a_scenario_too() -> None:
    done = through_shell("CRANKSAG new --example standby-pack | CRANKSAG simulate - --no-band -q")
    assert (done.returncode, done.stderr) == (0, "")
    assert "keeps running" in done.stdout


def test_ctrl_c_ends_with_130() -> None:
    process = subprocess.Popen(
        [*COMMAND, "simulate", "-", "--json"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    assert process.stdin is not None
    # more than a pipe holds: once it is written, the command reads, and it waits for the rest
    process.stdin.write(b"# a comment\n" * 20_000)
    process.stdin.flush()
    process.send_signal(signal.SIGINT)
    out, err = process.communicate()
    assert (process.returncode, out, err) == (130, b"", b"interrupted\n")


def _on_a_terminal(boat: Path, **environment: str) -> str:
    """What a person sees: the command's standard output is a terminal."""
    main_end, other_end = pty.openpty()
    surroundings = {k: v for k, v in os.environ.items() if k not in ("NO_COLOR", "FORCE_COLOR")} | {"TERM": "xterm"}
    process = subprocess.Popen(
        [*COMMAND, "simulate", str(boat), "--no-band"], stdout=other_end, stderr=other_end, stdin=other_end,
        env=surroundings | environment,
    )  # fmt: skip
    os.close(other_end)
    shown = b""
    while True:
        try:
            piece = os.read(main_end, 4096)
        except OSError:  # Linux's way to say that the other end is closed
            break
        if not piece:
            break
        shown += piece
    os.close(main_end)
    assert process.wait() == 0
    return shown.decode()


def _has_terminals() -> bool:
    try:
        ends = os.openpty()
    except OSError:
        return False
    for end in ends:
        os.close(end)
    return True


@pytest.mark.skipif(not _has_terminals(), reason="this system gives out no pseudo-terminals (no /dev/pts)")
def test_colour_on_a_terminal_only_and_never_against_no_color(boat: Path) -> None:
    assert "\x1b[1;31m" in _on_a_terminal(boat)
    assert not re.search(r"\x1b\[[0-9;]*3[0-7]", _on_a_terminal(boat, NO_COLOR="1"))


def _steady(text: str) -> dict[str, Any]:
    """A document without what differs from run to run."""
    document: dict[str, Any] = json.loads(text)
    document["solver"]["solve_s"] = None
    return document


def test_a_hostile_spiceinit_changes_nothing(boat: Path, tmp_path: Path) -> None:
    trap = "shell touch trapped\nset ngbehavior=ps\noption reltol=0.5 method=trap\nset temp=90\nquit\n"
    folder = tmp_path / "hostile"
    folder.mkdir()
    for name in (".spiceinit", "spice.rc", "spinit"):
        (folder / name).write_text(trap, encoding="utf-8")
    surroundings = os.environ | {"HOME": str(folder), "SPICE_SCRIPTS": str(folder), "SPICE_LIB_DIR": str(folder)}
    calm = run("simulate", boat, "--no-band", "--json", cwd=tmp_path)
    trapped = run("simulate", boat, "--no-band", "--json", cwd=folder, env=surroundings)
    assert (trapped.returncode, trapped.stderr) == (0, "")
    assert _steady(trapped.stdout) == _steady(calm.stdout)
    assert not (folder / "trapped").exists()


HOSTILE = (
    ".control shell touch trapped .endc",
    "*# shell touch trapped",
    "*ng_script shell touch trapped",
    "x; shell touch trapped $ {1/0} `touch trapped` \\\\",
    ".include /etc/passwd",
)


def test_text_of_a_scenario_runs_nothing(boat: Path, tmp_path: Path) -> None:
    plain = run("simulate", boat, "--no-band", "--json", cwd=tmp_path)
    places = ("title", "displays.0.name", "loads.0.name", "cables.positive.0.name", "cables.negative.0.name")
    words = [word for path, text in zip(places, HOSTILE, strict=True) for word in ("--set", f"{path}={text}")]
    done = run("simulate", boat, "--no-band", "--json", *words, cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    assert json.loads(done.stdout)["display"] | {"name": ""} == json.loads(plain.stdout)["display"] | {"name": ""}
    assert not (tmp_path / "trapped").exists()


@pytest.mark.parametrize("text", HOSTILE)
def test_text_of_a_scenario_runs_nothing_in_plain_ngspice(tmp_path: Path, text: str) -> None:
    places = ("title", "displays.0.name", "loads.0.name", "cables.positive.0.name")
    scenario = loads_scenario(example_text("restarting")).with_overrides(dict.fromkeys(places, text))
    deck = tmp_path / "boat.cir"
    deck.write_text(netlist_text(resolve(scenario)), encoding="utf-8")
    assert _measured(deck) == pytest.approx(simulate(scenario).display.minimum_voltage, abs=1e-3)
    assert not (tmp_path / "trapped").exists()


@pytest.mark.parametrize("text", ["x\\n.control\\nshell touch trapped\\n.endc", "x\\r.control", "x\\u2028.control"])
def test_a_line_end_in_a_title_has_no_effect(boat: Path, tmp_path: Path, text: str) -> None:
    file = boat.read_text(encoding="utf-8")
    boat.write_text(re.sub(r'(?m)^title = ".*"$', lambda match: f'title = "{text}"', file), encoding="utf-8")
    done = run("simulate", boat, "--no-band", "-q", cwd=tmp_path)
    assert done.returncode in (0, 2)
    assert len(done.stdout.splitlines()) == (1 if done.returncode == 0 else 0)
    assert not (tmp_path / "trapped").exists()


def _measured(deck: Path) -> float:
    """The display's minimum as plain ngspice prints it."""
    done = subprocess.run(
        ["ngspice", "-b", deck.name], cwd=deck.parent, capture_output=True, text=True, check=False,
        env=os.environ | {"HOME": str(deck.parent)},
    )  # fmt: skip
    match = re.search(r"(?m)^display_minimum\s*=\s*(\S+)", done.stdout)
    assert match, done.stdout + done.stderr
    return float(match[1])


@pytest.mark.parametrize("name", example_names())
def test_plain_ngspice_finds_the_same_minimum(tmp_path: Path, name: str) -> None:
    scenario = loads_scenario(example_text(name), name)
    deck = tmp_path / "boat.cir"
    deck.write_text(netlist_text(resolve(scenario)), encoding="utf-8")
    # 1 mV is the contract of the command; ngspice prints seven digits
    assert _measured(deck) == pytest.approx(simulate(scenario).display.minimum_voltage, abs=1e-3)


def test_a_missing_library_says_what_to_install(boat: Path) -> None:
    surroundings = os.environ | {"NGSPICE_LIBRARY_PATH": "/absent/libngspice.so"}
    done = run("simulate", boat, "--json", env=surroundings)
    assert (done.returncode, done.stdout) == (3, "")
    assert "libngspice0" in done.stderr
    assert "Traceback" not in done.stderr
    doctor = run("doctor", env=surroundings)
    assert doctor.returncode == 3
    assert "libngspice0" in doctor.stdout
    assert re.search(r"(?m)^BAD +library", doctor.stdout)


def test_a_folder_that_takes_no_files_is_one_clear_line(boat: Path) -> None:
    done = run("new", "-o", "boat.toml", cwd="/proc/self")
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)
    # reading and computing needs no place to write
    assert run("simulate", boat, "--no-band", "-q", cwd="/proc/self").returncode == 0
