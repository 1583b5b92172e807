# SPDX-License-Identifier: GPL-3.0-or-later
"""Commands imported when they run, options that all of them share, and the one place where errors become exit codes."""

from __future__ import annotations

import contextlib
import errno
import inspect
import io
import os
import sys
import traceback
from collections.abc import Callable, MutableMapping, Sequence
from contextlib import suppress
from importlib import import_module
from typing import Annotated, Any, NoReturn

import typer
from typer.core import TyperCommand, TyperGroup

from cranksag.cli import COMMANDS, console
from cranksag.errors import CranksagError, InputError, Interrupted

__all__ = ["CommandGroup", "interrupted", "keep_standard_streams"]

EXIT_INPUT, EXIT_BUG, EXIT_INTERRUPTED = 2, 70, 130
STDOUT_ERRORS = (errno.ENOSPC, errno.EDQUOT, errno.EIO, errno.EBADF)  # the disk behind stdout is full, or it was closed
PICTURES = (
    "simulate, sweep and compare write pictures (cranksag simulate FILE --plot crank.png); "
    "bench writes its curves with --waveforms F.csv."
)
TRACEBACK_VARIABLE = "CRANKSAG_TRACEBACK"


class CommandGroup(TyperGroup):
    """The group of all commands. `get_command` gives stand-ins, so that `--help` imports no command's module."""

    def __init__(self, **attributes: Any) -> None:
        super().__init__(**attributes)
        self.commands: MutableMapping[str, Any] = {
            name: TyperCommand(name=name, help=summary, short_help=summary, rich_markup_mode=None)
            for name, summary in COMMANDS.items()
        }
        self.params.extend(_shared_options())

    def resolve_command(self, ctx: Any, args: list[str]) -> tuple[str | None, Any, list[str]]:
        """The command to run, its module imported now."""
        name, stand_in, rest = super().resolve_command(ctx, args)
        return name, None if stand_in is None or name is None else _real_command(name, stand_in.help), rest

    def main(self, *args: Any, **settings: Any) -> NoReturn:
        """Run, and end the process with the exit code of whatever happened."""
        console.reset(traceback=bool(os.environ.get(TRACEBACK_VARIABLE)))
        settings = {**settings, "prog_name": "cranksag", "standalone_mode": False}
        _leave(_exit_code(lambda: super(CommandGroup, self).main(*args, **settings)))


def _leave(code: int) -> NoReturn:
    """End the process; at once where a run that was given up goes on in it: clean-up under it ends by a signal."""
    solver = sys.modules.get("cranksag.solver")
    if solver is not None and console.owns_process() and solver.get_solver().dead:
        with contextlib.suppress(OSError, ValueError):
            sys.stdout.flush()
            sys.stderr.flush()
        os._exit(code)
    sys.exit(code)


def _real_command(name: str, summary: str | None) -> Any:
    run = import_module(f"cranksag.cli.{name}").run
    single = typer.Typer(add_completion=False, rich_markup_mode=None)
    single.command(name, help=inspect.getdoc(run) or summary)(run)
    command = typer.main.get_command(single)
    command.params.extend(_shared_options())
    command.context_settings.setdefault("help_option_names", ["-h", "--help"])
    return command


def _shared_options() -> list[Any]:
    """Options that every command takes, before or after its name."""
    single = typer.Typer(add_completion=False, rich_markup_mode=None)
    single.command()(_shared)
    return [option for option in typer.main.get_command(single).params if option.name in ("quiet", "show_traceback")]


def _chosen(act: Callable[[], None]) -> Callable[[bool], None]:
    def callback(value: bool) -> None:
        if value:
            act()

    return callback


def _shared(
    quiet: Annotated[
        bool,
        typer.Option(
            "-q", "--quiet", help="Only the result: no hints, no progress.",
            expose_value=False, is_eager=True, callback=_chosen(console.be_quiet),
        ),
    ] = False,
    show_traceback: Annotated[
        bool,
        typer.Option(
            "--traceback", help=f"Show where a fault arose; also {TRACEBACK_VARIABLE}=1.",
            expose_value=False, is_eager=True, callback=_chosen(console.show_traceback),
        ),
    ] = False,
) -> None:  # fmt: skip
    """Carries the options that all commands share."""


def _exit_code(work: Callable[[], Any]) -> int:
    """What the process ends with, after one clear message on stderr where something went wrong."""
    try:
        code = work()
        sys.stdout.flush()
        console.end()
        if code == EXIT_INTERRUPTED:  # typer's own answer to Ctrl-C
            raise KeyboardInterrupt
        return code if isinstance(code, int) else 0
    except CranksagError as error:
        if isinstance(error, Interrupted):
            return interrupted(error)
        console.end()
        return _report(error, _lines(error))
    except typer.TyperException as error:
        return _usage(error)
    except (KeyboardInterrupt, typer.Abort) as error:
        return interrupted(error)
    except (BrokenPipeError, SystemExit):  # typer makes the one into the other, and raises no other SystemExit
        _drop_stdout()  # the reader has had enough, as in `cranksag simulate boat.toml | head -1`
        return 0
    except OSError as error:
        if console.writing() or (error.filename is None and error.errno in STDOUT_ERRORS):
            _drop_stdout()
            return _report(InputError([]), [f"standard output: {error.strerror or error}"])
        return _bug(error)
    except Exception as error:  # noqa: BLE001 (the last resort: a fault of ours ends in a message and exit code 70)
        return _bug(error)


def interrupted(error: BaseException) -> int:
    """The exit code of a Ctrl-C, and its message: what an earlier one that was on its way out had to say."""
    console.end()
    if console.writing():
        _drop_stdout()  # the rest of what was being written, which nobody waits for
    before: BaseException | None = error
    while before is not None and not isinstance(before, Interrupted):
        before = before.__context__
    return _report(Interrupted("interrupted"), ["interrupted"]) if before is None else _report(before, _lines(before))


def _lines(error: CranksagError) -> Sequence[str]:
    if isinstance(error, InputError):
        return error.problems or ["the input cannot be used"]
    return str(error).splitlines() or [type(error).__name__]


def _report(error: CranksagError, lines: Sequence[str]) -> int:
    console.problem(lines)
    if console.wants_traceback() and error.__traceback__ is not None:
        console.problem("".join(traceback.format_exception(error)).splitlines())
    return error.exit_code


def _usage(error: typer.TyperException) -> int:
    context = getattr(error, "ctx", None)
    lines = [error.format_message().replace("Value error, ", "")]
    if getattr(error, "option_name", "") == "--plot":  # what is like it by letters does not draw
        lines = [f"No such option: --plot. {PICTURES}"]
    if context is not None:
        lines += _unquoted(lines[0], context)
        lines.append(f"`{context.command_path} --help` shows what is possible.")
    console.problem(lines)
    return EXIT_INPUT


_SPACED = {"sample": ("latin", "sobol", "saltelli"), "picture": ("map", "band")}
"""First words of options whose value holds a space; the shell hands on the rest as an argument of its own."""


def _unquoted(message: str, context: Any) -> list[str]:
    """A hint where a value of two words stands without quotes."""
    held = {name: context.params.get(name) for name in _SPACED}
    if "extra argument" not in message:
        return []
    wants = {"sample": "N", "picture": "X,Y"}
    return [
        f'A value with a space needs quotes: --{name} "{word} {"X" if word == "band" else wants[name]}".'
        for name, word in held.items()
        if word in _SPACED[name]
    ]


def _bug(error: Exception) -> int:
    console.problem(
        [
            f"a fault in cranksag itself: {type(error).__name__}: {error}",
            f"Please report it with what the same command prints under --traceback (or {TRACEBACK_VARIABLE}=1).",
        ]
    )
    if console.wants_traceback():
        console.problem("".join(traceback.format_exception(error)).splitlines())
    return EXIT_BUG


def _drop_stdout() -> None:
    """Send what is still buffered nowhere, so that Python does not complain about it at exit."""
    with suppress(OSError, ValueError, AttributeError, io.UnsupportedOperation):
        null = os.open(os.devnull, os.O_WRONLY)
        os.dup2(null, sys.stdout.fileno())
        os.close(null)


def keep_standard_streams() -> None:
    """Fill standard streams that the caller closed, and print `?` for what a terminal's encoding lacks.

    A closed descriptor 1 would otherwise be handed to the next file opened, which then collects other output.
    """
    for descriptor in (0, 1, 2):
        try:
            os.fstat(descriptor)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # takes the lowest free number, which is this one
    for name, stream in (("stdout", sys.stdout), ("stderr", sys.stderr)):
        if stream is None:
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115 (lives as long as the process)
        elif isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
