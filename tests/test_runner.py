# SPDX-License-Identifier: GPL-3.0-or-later
"""The runner: a fault costs one job and nothing else; what is done is kept and not done again."""

from __future__ import annotations

import ast
import io
import json
import math
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import cranksag
from cranksag.errors import InputError, SimulationError
from cranksag.runner import Job, Journal, Outcome, Progress, StopRequest, run_many
from cranksag.runner.child import one_line
from cranksag.runner.keys import _ROOMS, digest, model_fingerprint

TESTS = str(Path(__file__).parent)
END = 1.0 - math.exp(-10.0)  # [-] of the source, after ten time constants


@pytest.fixture(autouse=True)
def _path(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.syspath_prepend(TESTS)


def jobs(*faults: str) -> list[Job]:
    return [Job(digest("divider", str(k), fault), (1.0 + k, fault)) for k, fault in enumerate(faults)]


def work(notes: object = "") -> object:
    from faulty_work import Dividers

    return Dividers(str(notes))


def outcomes(*faults: str, workers: int = 2, **options: object) -> dict[int, Outcome]:
    found = list(run_many(jobs(*faults), work(), workers, **options))  # type: ignore[arg-type]
    assert len({o.number for o in found}) == len(found)
    return {o.number: o for o in found}


def test_every_job_once_and_right() -> None:
    found = outcomes(*[""] * 40)
    assert sorted(found) == list(range(40))
    for number, outcome in found.items():
        # ngspice's default relative tolerance is 1e-3
        assert outcome.payload == pytest.approx((1.0 + number) * END, rel=2e-3)
        assert not outcome.failure


def test_one_worker_and_no_job_at_all() -> None:
    assert len(outcomes("", "", workers=1)) == 2
    assert outcomes() == {}


FAULTS = {
    "abort": ("died", "SIGABRT"),
    "exit": ("died", "exit code 7"),
    "hang": ("hung", "no answer within 2 s"),
    "converge": ("convergence", "ngspice gave up"),
    "dead": ("library", "ngspice does not accept the netlist"),
    "bug": ("bug", "ZeroDivisionError: of the test"),
}


def test_a_fault_loses_itself_and_says_why() -> None:
    kinds = dict(zip((7, 8, 9, 20, 21, 40), FAULTS, strict=True))
    found = outcomes(*[kinds.get(k, "") for k in range(60)], wall_limit=2.0)
    assert sorted(found) == list(range(60))
    assert {k for k, o in found.items() if o.failure} == set(kinds)
    for number, fault in kinds.items():
        failure, words = FAULTS[fault]
        assert (found[number].failure, found[number].payload) == (failure, None)
        assert words in found[number].reason
        assert "\n" not in found[number].reason


def test_a_job_says_how_long_it_may_take() -> None:
    patient = [Job("aa", (1.0, "hang"), 1.0), Job("bb", (2.0, "slow"), 60.0), Job("cc", (3.0, "hang"), 0.5)]
    found = {o.number: o for o in run_many(patient, work(), 1)}  # type: ignore[arg-type]
    assert [found[k].failure for k in range(3)] == ["hung", "", "hung"]
    assert "no answer within 1 s" in found[0].reason
    assert (found[0].seconds, found[2].seconds) == (1.0, 0.5)
    (alone,) = run_many([Job("aa", (1.0, "hang"))], work(), 1, wall_limit=0.5)  # type: ignore[arg-type]
    assert (alone.failure, alone.seconds) == ("hung", 0.5), "the limit of a run stands before that of its jobs"


def test_every_worker_dies_and_the_rest_is_done() -> None:
    found = outcomes("abort", "abort", "", "", workers=2)
    assert [found[k].failure for k in range(4)] == ["died", "died", "", ""]


def test_a_worker_killed_from_outside_costs_nothing(tmp_path: Path) -> None:
    notes = tmp_path / "notes"
    killed = False
    found = {}
    for outcome in run_many(jobs(*["slow"] * 12), work(notes), 2):  # type: ignore[arg-type]
        found[outcome.number] = outcome
        if not killed:
            pid = int(notes.read_text().split()[-1])
            os.kill(pid, signal.SIGKILL)
            killed = True
    assert sorted(found) == list(range(12))
    assert not any(o.failure for o in found.values())


def test_equal_jobs_are_done_once(tmp_path: Path) -> None:
    notes = tmp_path / "notes"
    twins = [Job("aa", (1.0, "")), Job("bb", (2.0, "")), Job("aa", (1.0, "")), Job("aa", (1.0, "converge"))] * 5
    found = list(run_many(twins, work(notes), 2))  # type: ignore[arg-type]
    assert sorted(o.number for o in found) == list(range(20))
    assert len(notes.read_text().splitlines()) == 2
    assert sum(not o.recalled for o in found) == 2
    assert {o.payload for o in found if o.key == "aa"} == {next(o.payload for o in found if o.number == 0)}


def test_work_that_cannot_be_prepared_ends_the_run() -> None:
    from faulty_work import Unfit

    with pytest.raises(OSError, match="nothing works here"):
        list(run_many([Job("aa", 1)], Unfit(), 1))


def test_a_process_that_cannot_start_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "executable", "/bin/false")
    with pytest.raises(SimulationError, match="does not start"):
        list(run_many(jobs(""), work(), 1))  # type: ignore[arg-type]


def test_workers_must_be_at_least_one() -> None:
    with pytest.raises(InputError, match="at least one"):
        run_many([], work(), 0)  # type: ignore[arg-type]
    with pytest.raises(InputError, match="unknown kind of scheduler"):
        run_many([], work(), on="ftp://x")  # type: ignore[arg-type]


def test_closing_early_ends_the_workers(tmp_path: Path) -> None:
    notes = tmp_path / "notes"
    run = run_many(jobs(*["slow"] * 50), work(notes), 2)  # type: ignore[arg-type]
    next(run)
    run.close()
    for pid in {int(line.split()[1]) for line in notes.read_text().splitlines()}:
        with pytest.raises(ProcessLookupError):
            os.kill(pid, 0)


def test_stop_keeps_what_is_done() -> None:
    stop = StopRequest()
    found = []
    for outcome in run_many(jobs(*["slow"] * 50), work(), 2, stop=stop):  # type: ignore[arg-type]
        found.append(outcome)
        stop.ask()
    assert 1 <= len(found) < 50


def test_first_interrupt_is_a_request_and_the_second_is_not() -> None:
    with StopRequest() as stop:
        assert not stop()
        os.kill(os.getpid(), signal.SIGINT)
        assert stop()
        with pytest.raises(KeyboardInterrupt):
            os.kill(os.getpid(), signal.SIGINT)
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler


def test_workers_end_with_a_killed_parent(tmp_path: Path) -> None:
    notes = tmp_path / "notes"
    script = (
        f"import sys; sys.path.insert(0, {TESTS!r})\n"
        "from faulty_work import Dividers\nfrom cranksag.runner import Job, run_many\n"
        f"for _ in run_many((Job(str(k), (1.0, 'hang')) for k in range(2)), Dividers({str(notes)!r}), 2): pass\n"
    )
    parent = subprocess.Popen([sys.executable, "-c", script])
    _until(lambda: notes.exists() and len(notes.read_text().splitlines()) == 2)
    pids = [int(line.split()[1]) for line in notes.read_text().splitlines()]
    parent.kill()
    parent.wait()
    _until(lambda: not any(_alive(pid) for pid in pids))


def _until(met: object, seconds: float = 60.0) -> None:
    end = time.monotonic() + seconds
    while not met():  # type: ignore[operator]
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.05)


def _alive(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().split(") ")[1][0] != "Z"
    except (FileNotFoundError, ProcessLookupError):
        return False


# --- journal -------------------------------------------------------------------------------------------------


def test_journal_recalls_and_nothing_is_done_twice(tmp_path: Path) -> None:
    path, notes = tmp_path / "j", tmp_path / "notes"
    faults = ["", "converge", "", ""]
    journal = Journal(path)
    first = {o.number: o for o in run_many(jobs(*faults)[:3], work(notes), 1, journal=journal)}  # type: ignore[arg-type]
    journal.close()
    with path.open("ab") as file:
        file.write(b'{"key":"torn')  # as a kill in the middle of a write leaves it
    journal = Journal(path, resume=True)
    assert len(journal) == 3
    again = {o.number: o for o in run_many(jobs(*faults), work(notes), 1, journal=journal)}  # type: ignore[arg-type]
    journal.close()
    assert [again[k].recalled for k in range(4)] == [True, True, True, False]
    assert len(notes.read_text().splitlines()) == 4
    for k in range(3):
        assert (again[k].payload, again[k].failure, again[k].reason) == (
            first[k].payload, first[k].failure, first[k].reason,
        )  # fmt: skip
    lines = [json.loads(line) for line in path.read_text().splitlines()]
    assert len({line.get("key") for line in lines[1:]}) == 4


def test_what_hung_is_tried_again_when_it_may_take_longer(tmp_path: Path) -> None:
    notes = tmp_path / "notes"

    def run(limit: float) -> Outcome:
        journal = Journal(tmp_path / "j", resume=True)
        (found,) = run_many([Job("aa", (1.0, "hang"))], work(notes), 1, wall_limit=limit, journal=journal)  # type: ignore[arg-type]
        journal.close()
        return found

    found = [run(limit) for limit in (0.5, 0.5, 0.8, 0.5)]
    assert [o.recalled for o in found] == [False, True, False, True]
    assert [o.seconds for o in found] == [0.5, 0.5, 0.8, 0.8]
    assert len(notes.read_text().splitlines()) == 2


@given(limit=st.floats(1e-9, 1e6))
def test_what_hung_is_settled_for_the_very_limit_it_had(tmp_path_factory: pytest.TempPathFactory, limit: float) -> None:
    path = tmp_path_factory.mktemp("journal") / "j"
    journal = Journal(path)
    journal.add(Outcome(0, "ab", None, "hung", "no answer", limit))
    journal.close()
    journal = Journal(path, resume=True)
    assert journal.settles("ab", limit)
    assert not journal.settles("ab", math.nextafter(limit, math.inf))
    journal.close()


def test_journal_refuses_what_is_not_its_own(tmp_path: Path) -> None:
    path = tmp_path / "j"
    path.write_text("a,b\n1,2\n")
    with pytest.raises(InputError, match="not a journal"):
        Journal(path, resume=True)
    assert path.read_text() == "a,b\n1,2\n"
    path.write_text("no line end")
    with pytest.raises(InputError, match="not a journal"):
        Journal(path, resume=True)
    assert path.read_text() == "no line end"


def test_journal_is_written_by_one_run_at_a_time(tmp_path: Path) -> None:
    journal = Journal(tmp_path / "j")
    with pytest.raises(InputError, match="another run"):
        Journal(tmp_path / "j")
    journal.add(Outcome(0, "ab", [1.0]))
    journal.close()
    with pytest.raises(InputError, match="carry on with --resume"):
        Journal(tmp_path / "j")


payloads = st.lists(st.one_of(st.none(), st.text(), st.floats(allow_nan=False, allow_infinity=False)), max_size=5)


@given(entries=st.dictionaries(st.binary(min_size=32, max_size=32), payloads, max_size=8), cut=st.integers(0, 10_000))
def test_journal_survives_a_cut_anywhere(
    tmp_path_factory: pytest.TempPathFactory, entries: dict[bytes, list[object]], cut: int
) -> None:
    path = tmp_path_factory.mktemp("journal") / "j"
    journal = Journal(path)
    for key, payload in entries.items():
        journal.add(Outcome(0, key.hex(), payload, seconds=0.5))
    journal.close()
    whole = path.read_bytes()
    path.write_bytes(whole[: min(cut, len(whole))])
    journal = Journal(path, resume=True)
    kept = [key for key in entries if key.hex() in journal]
    assert kept == list(entries)[: len(kept)]  # a prefix: nothing between is lost
    assert len(kept) >= whole[: min(cut, len(whole))].count(b"\n") - 1
    for key in kept:
        assert journal.recall(key.hex(), 3).payload == entries[key]
    journal.add(Outcome(0, "ff" * 32, [2.0]))
    assert journal.recall("ff" * 32, 0).payload == [2.0]
    journal.close()


# --- small things --------------------------------------------------------------------------------------------


@given(st.text(max_size=1000))
def test_a_reason_is_one_printable_line(text: str) -> None:
    line = one_line(text)
    assert line.isprintable()
    assert len(line) <= 400


@given(st.lists(st.text(), max_size=4), st.lists(st.text(), max_size=4))
def test_digest_tells_lists_apart(a: list[str], b: list[str]) -> None:
    assert (digest(*a) == digest(*b)) == (a == b)


def test_model_fingerprint_is_stable() -> None:
    model_fingerprint.cache_clear()
    assert model_fingerprint() == model_fingerprint.__wrapped__()


def test_model_fingerprint_knows_all_that_its_files_import() -> None:
    """Classes of errors apart, and the reader of a price: what it reads is in the key itself."""
    package = Path(cranksag.__file__).parent
    known = {package / room for room in _ROOMS}
    missed = set()
    for room in sorted(known):
        for file in [room] if room.is_file() else sorted(room.rglob("*.py")):
            for found in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
                if not isinstance(found, ast.ImportFrom) or not (found.module or "").startswith("cranksag."):
                    continue
                names = {f"{found.module}: {alias.name}" for alias in found.names}
                place = package.joinpath(*str(found.module).split(".")[1:])
                if not {place, place.with_suffix(".py"), *place.parents} & known:
                    missed |= names
    assert {name for name in missed if not name.startswith("cranksag.errors: ")} == {"cranksag.runner: read_value"}


def test_progress_tells_rate_and_time_left(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("cranksag.runner.progress.LINE_EVERY", 0.0)
    stream = io.StringIO()
    with Progress(4, stream=stream) as bar:
        bar.step()
        bar.step(failed=True)
    lines = stream.getvalue().splitlines()
    assert lines[0].startswith("sweep: 1 of 4 done, ")
    assert "left" in lines[0]
    assert lines[1].endswith("1 failed")
    stream = io.StringIO()
    with Progress(4, quiet=True, stream=stream) as bar:
        bar.step()
    assert stream.getvalue() == ""


def test_progress_bar_on_a_terminal() -> None:
    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    stream = Terminal()
    with Progress(3, stream=stream) as bar:
        for _ in range(3):
            bar.step()
    assert "3/3" in stream.getvalue()
