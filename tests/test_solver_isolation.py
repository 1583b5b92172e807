# SPDX-License-Identifier: GPL-3.0-or-later
"""The solver in processes of its own: hostile start-up files, a dead library, interrupts, memory."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import cranksag
from cranksag.errors import LibraryDead

PACKAGE_ROOT = str(Path(cranksag.__file__).resolve().parent.parent)
PRELUDE = """
import os, pathlib, signal, sys, threading
from cranksag import errors
from cranksag.solver import Deck, STANDARD, get_solver, library_info

def deck(text, *vectors, **changes):
    wanted = vectors or ("v(a)",)
    limits = dict.fromkeys(wanted, (-1e3, 1e3))
    fields = dict(vectors=wanted, stop_time=0.1, envelope=limits, step_ceiling=1e-3)
    return Deck(text, **{**fields, **changes})

GOOD = deck("V1 a 0 sin(0 10 50)\\nR1 a b 1\\nC1 b 0 1m ic=0", "v(b)")
RUNAWAY = deck("V1 a 0 12\\nR1 a b 1\\nB1 b 0 I=v(b)>6 ? 100 : 0\\nC1 b 0 1u ic=0")

def answer():
    result = get_solver().run(GOOD)
    return result.points, float(result.vectors["v(b)"].max())
"""


def run_python(
    script: str, folder: Path, flags: tuple[str, ...] = ("-W", "error"), **variables: str
) -> subprocess.CompletedProcess[str]:
    """Run a script after the prelude, in a folder, with changed environment variables."""
    environment = {**os.environ, "PYTHONPATH": PACKAGE_ROOT, **variables}
    return subprocess.run(
        [sys.executable, *flags, "-c", PRELUDE + script],
        cwd=folder,
        env=environment,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


def output(script: str, folder: Path, **variables: str) -> list[str]:
    """Lines a script prints; it must succeed and say nothing on stderr."""
    done = run_python(script, folder, **variables)
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    return done.stdout.splitlines()


# Each line would be seen: other results, a file, or a renamed command.
HOSTILE = """* hostile start-up file
set numdgt=3
set interp
option reltol=0.5
option method=trap
option temp=200
set ngbehavior=ps
alias run echo
alias destroy echo
shell touch {mark}
"""
SHOW = """
home, here, scripts = os.environ.get("HOME"), os.getcwd(), os.environ.get("SPICE_SCRIPTS")
print(answer())
assert (os.environ.get("HOME"), os.getcwd(), os.environ.get("SPICE_SCRIPTS")) == (home, here, scripts)
"""


@pytest.fixture(scope="module")
def expected(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """What SHOW prints where nothing is hostile."""
    clean = tmp_path_factory.mktemp("clean")
    return output(SHOW, clean, HOME=str(clean))


@pytest.mark.parametrize("place", ["working directory", "home", "both"])
def test_hostile_start_up_files_have_no_effect(tmp_path: Path, place: str, expected: list[str]) -> None:
    here, home, mark = (tmp_path / n for n in ("here", "home", "mark"))
    for folder in (here, home):
        folder.mkdir()
    for folder, used in ((here, place != "home"), (home, place != "working directory")):
        if used:
            (folder / ".spiceinit").write_text(HOSTILE.format(mark=mark))
    assert output(SHOW, here, HOME=str(home)) == expected
    assert not mark.exists()


@pytest.mark.parametrize(
    ("file", "variables"),
    [
        (".spiceinit", {}),
        ("spinit", {"SPICE_SCRIPTS": "."}),
        ("scripts/spinit", {"SPICE_LIB_DIR": "."}),
    ],
)
def test_the_hostile_file_would_act_if_it_were_read(tmp_path: Path, file: str, variables: dict[str, str]) -> None:
    """Proves that these are files which the library reads, so that the tests around this one can fail."""
    mark = tmp_path / "mark"
    (tmp_path / file).parent.mkdir(exist_ok=True)
    (tmp_path / file).write_text(HOSTILE.format(mark=mark))
    script = """
from cranksag.solver.binding import NgSpice
from cranksag.solver.library import _first_that_opens
NgSpice(_first_that_opens())
"""
    run_python(script, tmp_path, HOME=str(tmp_path), **variables)
    assert mark.exists()


def test_hostile_variables_have_no_effect(tmp_path: Path, expected: list[str]) -> None:
    mark, scripts = tmp_path / "mark", tmp_path / "lib" / "scripts"
    scripts.mkdir(parents=True)
    for folder in (scripts, scripts.parent):
        (folder / "spinit").write_text(HOSTILE.format(mark=mark))
    changed = output(
        SHOW,
        tmp_path,
        SPICE_SCRIPTS=str(scripts),
        SPICE_LIB_DIR=str(scripts.parent),
        SPICE_PATH=str(tmp_path),
        SPICE_ASCIIRAWFILE="1",
        NGSPICE_MEAS_PRECISION="2",
        NGSPICE_INPUT_DIR=str(tmp_path),
    )
    assert changed == expected
    assert not mark.exists()


def test_works_from_a_deleted_directory(tmp_path: Path) -> None:
    script = """
os.mkdir("gone"); os.chdir("gone"); os.rmdir("../gone")
print(answer()[0] > 100)
"""
    assert output(script, tmp_path) == ["True"]


def test_unknown_parameter_leaves_a_dead_library_that_says_so(tmp_path: Path) -> None:
    script = """
print(answer()[0] > 100, get_solver().dead)
for text in ("V1 a 0 12\\nR1 a 0 {nowhere}", "V1 a 0 5\\nR1 a 0 1"):
    try:
        print(get_solver().run(deck(text, title="my boat")).vectors)
    except errors.LibraryDead as error:
        print(error.title, get_solver().dead, "Undefined parameter [nowhere]" in str(error))
"""
    assert output(script, tmp_path) == ["True False", "my boat True True", "my boat True False"]


def test_a_run_that_does_not_come_back_is_given_up(tmp_path: Path) -> None:
    script = """
try:
    get_solver().run(RUNAWAY, wall_limit=0.02)
except errors.LibraryDead as error:
    print("0.02 s" in str(error), get_solver().dead)
try:
    get_solver().run(GOOD)
except errors.LibraryDead:
    print("still", flush=True)
os._exit(0)  # as `LibraryDead` says: the run goes on, and the interpreter's clean-up under it may crash
"""
    assert output(script, tmp_path) == ["True True", "still"]


def test_the_command_line_ends_with_its_code_while_a_given_up_run_goes_on(tmp_path: Path) -> None:
    """Never with that of a signal: interpreter and library are not cleaned up under it."""
    script = """
from cranksag.cli import console, group
console.own_process()

def work():
    get_solver().run(RUNAWAY, wall_limit=0.02)

group._leave(group._exit_code(work))
"""
    for _ in range(5):
        done = run_python(script, tmp_path)
        assert done.returncode == LibraryDead.exit_code, done.stderr
        assert "0.02 s" in done.stderr


@pytest.mark.skipif(os.name == "nt", reason="POSIX signals")
def test_interrupt_reaches_the_caller_and_the_next_run_is_right(tmp_path: Path) -> None:
    script = """
expected = answer()
threading.Timer(0.2, os.kill, (os.getpid(), signal.SIGINT)).start()
try:
    while True:
        get_solver().run(RUNAWAY, ladder=(STANDARD,))
except KeyboardInterrupt:
    print("interrupted")
except errors.IncompleteError as error:
    print("missed", error)
print(answer() == expected)
"""
    assert output(script, tmp_path) == ["interrupted", "True"]


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
def test_forked_child_has_a_working_solver(tmp_path: Path) -> None:
    script = """
expected = answer()
child = os.fork()
if child == 0:
    os._exit(0 if answer() == expected else 1)
print(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), answer() == expected)
"""
    assert output(script, tmp_path) == ["0 True"]


@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="needs /proc")
def test_memory_does_not_grow(tmp_path: Path) -> None:
    """300 runs and 100 refused ones; 2 MB is the tool's limit for 2,000 runs, a leaked run costs 0.06 MB."""
    script = """
def resident():
    with open("/proc/self/statm") as file:
        return int(file.read().split()[1]) * os.sysconf("SC_PAGE_SIZE")

wanted = ("v(b)", "v(a)", "i(v1)")
text = "V1 a 0 sin(0 10 50)\\nR1 a b 1\\nC1 b 0 1m ic=0"
long = Deck(text, wanted, 2.0, dict.fromkeys(wanted, (-1e3, 1e3)), 1e-3)

def work(times):
    for k in range(times):
        assert get_solver().run(long).points > 2000
        if k % 6 == 0:
            for bad in ("V1 a 0 12\\nX1 a 0 nowhere", "V1 a 0 12\\nV2 a 0 11"):
                try:
                    get_solver().run(deck(bad))
                except errors.SimulationError:
                    pass

work(30)
before = resident()
work(300)
print((resident() - before) / 2**20)
"""
    (grown,) = output(script, tmp_path)
    assert float(grown) < 2.0


def test_importing_the_room_leaves_pyspice_alone(tmp_path: Path) -> None:
    script = 'print([m for m in ("PySpice", "scipy", "matplotlib", "cffi") if m in sys.modules])'
    assert output(script, tmp_path) == ["[]"]


def test_missing_library_says_what_to_install(tmp_path: Path) -> None:
    script = """
try:
    answer()
except errors.LibraryMissing as error:
    print(error.exit_code, "apt-get install libngspice0" in str(error), "NGSPICE_LIBRARY_PATH" in str(error))
"""
    assert output(script, tmp_path, NGSPICE_LIBRARY_PATH="/nowhere/libngspice.so.0") == ["3 True True"]


def test_file_that_is_no_library(tmp_path: Path) -> None:
    (tmp_path / "libngspice.so.0").write_text("not a library")
    script = """
try:
    answer()
except errors.LibraryMissing as error:
    print(error.exit_code)
"""
    assert output(script, tmp_path, NGSPICE_LIBRARY_PATH=str(tmp_path / "libngspice.so.0")) == ["3"]
    if sys.platform == "linux":  # a library, but another one
        assert output(script, tmp_path, NGSPICE_LIBRARY_PATH="libm.so.6") == ["3"]


def test_library_of_the_users_choice(tmp_path: Path) -> None:
    script = "print(answer()[0] > 100, library_info().path)"
    (path,) = output("print(library_info().path)", tmp_path)
    copy = tmp_path / "libngspice-mine.so"
    shutil.copy(path, copy)
    assert output(script, tmp_path, NGSPICE_LIBRARY_PATH=str(copy)) == [f"True {copy}"]


def test_missing_pyspice_says_what_to_install(tmp_path: Path) -> None:
    script = """
sys.modules["PySpice"] = None
try:
    answer()
except errors.LibraryMissing as error:
    print("pip install" in str(error))
"""
    assert output(script, tmp_path) == ["True"]


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="needs the ngspice program")
def test_complete_deck_gives_plain_ngspice_the_same_extremes(tmp_path: Path) -> None:
    script = """
wanted = ("v(b)", "v(a)", "i(v1)")
text = "V1 a 0 sin(0 10 50)\\nR1 a b 1\\nC1 b 0 1m ic=0"
d = Deck(text, wanted, 0.1, dict.fromkeys(wanted, (-1e3, 1e3)), 1e-3, title="plain")
pathlib.Path("d.cir").write_text(d.complete())
result = get_solver().run(d)
print(float(result.vectors["v(b)"].min()), float(result.vectors["i(v1)"].max()))
"""
    (line,) = output(script, tmp_path)
    lowest, highest = (float(word) for word in line.split())
    done = subprocess.run(
        ["ngspice", "-b", "d.cir"], cwd=tmp_path, capture_output=True, text=True, timeout=60, check=False
    )
    values = {
        words[0]: float(words[2])
        for text in done.stdout.splitlines()
        if len(words := text.split()) > 2 and words[1] == "="
    }
    # `.meas` prints seven digits.
    assert values["min_v_b"] == pytest.approx(lowest, rel=2e-6)
    assert values["max_i_v1"] == pytest.approx(highest, rel=2e-6)


def locale_with_comma(folder: Path) -> dict[str, str]:
    """Variables under which de_DE.UTF-8 can be set, compiled for the purpose where the system can."""
    if shutil.which("localedef"):
        command = ["localedef", "-f", "UTF-8", "-i", "de_DE", str(folder / "de_DE.UTF-8")]
        if subprocess.run(command, capture_output=True, timeout=60, check=False).returncode == 0:
            return {"LOCPATH": str(folder)}
    return {}


def test_decimal_comma_of_the_host_program_does_not_reach_ngspice(tmp_path: Path) -> None:
    # ngspice prints the value of an expression into the netlist and reads it again through the C library.
    script = """
import locale
divided = deck("V1 a 0 {25/2}\\nR1 a b {1/3}\\nR2 b 0 {1/7}", "v(b)")
def middle():
    return float(get_solver().run(divided).vectors["v(b)"][-1])
expected = middle()
try:
    locale.setlocale(locale.LC_NUMERIC, "de_DE.UTF-8")
except locale.Error:
    sys.exit(0)
print(middle() == expected, locale.setlocale(locale.LC_NUMERIC), locale.localeconv()["decimal_point"])
"""
    lines = output(script, tmp_path, **locale_with_comma(tmp_path))
    if not lines:
        pytest.skip("no locale with a decimal comma")
    assert lines == ["True de_DE.UTF-8 ,"]
