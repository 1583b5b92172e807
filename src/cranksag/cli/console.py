# SPDX-License-Identifier: GPL-3.0-or-later
"""What is printed, and where: data to stdout, messages to stderr; colour for people, plain text when piped."""

from __future__ import annotations

import io
import json
import os
import signal
import sys
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

from cranksag.errors import InputError

if TYPE_CHECKING:
    from rich.console import Console, RenderableType

WIDTH_PIPED = 100_000  # [characters] no line is broken when a program reads it


@dataclass(slots=True)
class _State:
    quiet: bool = False
    traceback: bool = False
    writing: bool = False
    process: bool = False


_state = _State()


def reset(traceback: bool = False) -> None:
    """Back to the state before any option was read."""
    _state.quiet, _state.traceback, _state.writing = False, traceback, False


def be_quiet() -> None:
    """From now on no hints and no progress."""
    _state.quiet = True


def quiet() -> bool:
    """Whether ``-q`` was given."""
    return _state.quiet


def show_traceback() -> None:
    """From now on a fault shows where it arose."""
    _state.traceback = True


def wants_traceback() -> bool:
    """Whether ``--traceback`` or its variable was given."""
    return _state.traceback


def writing() -> bool:
    """Whether stdout is being written."""
    return _state.writing


def own_process() -> None:
    """This process is the command's own, so that its signals are ours."""
    _state.process = True


def owns_process() -> bool:
    """Whether this process is the command's own."""
    return _state.process


def end() -> None:
    """What was done is done: from now on a Ctrl-C takes neither the last message nor the exit code with it."""
    if _state.process:
        signal.signal(signal.SIGINT, signal.SIG_IGN)


def plain(text: str) -> str:
    """One line of printable text: what a file's author wrote must not steer the reader's terminal."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


@contextmanager
def _to_stdout() -> Iterator[None]:
    _state.writing = True
    yield
    sys.stdout.flush()
    _state.writing = False


def show(*parts: RenderableType) -> None:
    """Print text and tables to stdout, styled on a terminal only."""
    if sys.stdout.isatty():
        with _to_stdout():
            _console(sys.stdout, None).print(*parts, sep="\n")
        return
    kept = io.StringIO()
    _console(kept, WIDTH_PIPED).print(*parts, sep="\n")
    data("\n".join(line.rstrip() for line in kept.getvalue().splitlines()))


def _console(file: TextIO, width: int | None) -> Console:
    from rich.console import Console

    no_color = True if os.environ.get("NO_COLOR") else None  # else rich looks at the terminal
    return Console(file=file, width=width, markup=False, highlight=False, emoji=False, no_color=no_color)


def data(text: str) -> None:
    """Write text to stdout as it is."""
    with _to_stdout():
        sys.stdout.write(text if text.endswith("\n") else text + "\n")


def json_document(document: Mapping[str, Any]) -> None:
    """Write one JSON document to stdout."""
    encoding = (getattr(sys.stdout, "encoding", None) or "ascii").lower().replace("-", "")
    data(json.dumps(document, indent=2, ensure_ascii=encoding != "utf8", allow_nan=False))


def say(text: str) -> None:
    """A hint or a note of progress on stderr; nothing with ``-q``."""
    if not _state.quiet:
        _stderr(text)


def problem(lines: Iterable[str]) -> None:
    """What went wrong, on stderr, whatever the options."""
    for line in lines:
        _stderr(line)


def _stderr(text: str) -> None:
    try:
        sys.stderr.write(text.rstrip("\n") + "\n")
        sys.stderr.flush()
    except (OSError, ValueError):
        pass  # nobody listens; the exit code still tells


@contextmanager
def output_file(path: Path, *inputs: Path | None) -> Iterator[Path]:
    """A file about to be written: operating-system errors become input errors, an input is never overwritten."""
    refuse_input(path, *inputs)
    try:
        yield path
    except OSError as error:
        raise InputError([f"{plain(str(path))}: cannot be written: {_reason(path, error)}"]) from error


def refuse_input(path: Path, *inputs: Path | None) -> None:
    """Refuse to write over a file that was read, or where nothing can be written: before anything is computed."""
    folder = path.absolute().parent
    if not path.exists() and not folder.is_dir():
        raise InputError([f"{plain(str(path))}: cannot be written: there is no directory {plain(str(path.parent))}"])
    if not path.is_dir() and not os.access(path if path.exists() else folder, os.W_OK):
        raise InputError([f"{plain(str(path))}: cannot be written: permission denied"])
    for source in inputs:
        if source is not None and path.exists() and source.exists() and path.samefile(source):
            raise InputError([f"{plain(str(path))}: is read by this command and would be overwritten"])


def _reason(path: Path, error: OSError) -> str:
    if isinstance(error, FileNotFoundError) and not path.parent.is_dir():
        return f"there is no directory {plain(str(path.parent))}"
    if isinstance(error, IsADirectoryError):
        return "it is a directory"
    return (error.strerror or str(error)).lower()
