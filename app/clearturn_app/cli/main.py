"""The entry of ``clearturn``: finds the command, runs it, turns errors into one sentence."""

from __future__ import annotations

import argparse
import contextlib
import importlib
import os
import re
import sys
from collections.abc import Sequence
from typing import NoReturn, Protocol, cast

from clearturn import __version__
from clearturn.errors import Cancelled, ClearturnError, InputError
from clearturn_app.cli.output import (
    EXIT_BAD_INPUT,
    EXIT_BUG,
    EXIT_CANCELLED,
    EXIT_PIPE_CLOSED,
    say,
)
from clearturn_app.crash_log import write_crash_log

# In the order the help lists them.  Each is a module of this package.
COMMANDS = ("demo", "open", "check", "scan", "fit", "datums", "rescan", "gap", "sums", "scatter")

Subparsers = argparse._SubParsersAction  # argparse gives its own type no public name


class Command(Protocol):
    """What a command's module offers."""

    def add_parser(self, subparsers: Subparsers[argparse.ArgumentParser]) -> None:
        """Add the command with its options; cheap, as it runs at every start."""

    def run(self, args: argparse.Namespace) -> int:
        """Do it and return the exit code."""


class Parser(argparse.ArgumentParser):
    """An argument parser that takes no abbreviations and reports errors as `InputError`."""

    def __init__(self, *args: object, **kwargs: object) -> None:
        kwargs.setdefault("allow_abbrev", False)
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        # Else "-1e-3" is taken for an option (Python below 3.14).
        self._negative_number_matcher = re.compile(r"^-(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?$")

    def error(self, message: str) -> NoReturn:
        """Raise instead of printing the usage and leaving."""
        raise InputError(message, mend=f"see {self.prog} --help")


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code; never raises.

    Parameters
    ----------
    argv : sequence of str, optional
        Arguments without the program's name; the process's own by default.
    """
    try:
        code = _answer(sys.argv[1:] if argv is None else list(argv))
        _flush()
        return code
    except (KeyboardInterrupt, Cancelled):
        say("cancelled")
        return EXIT_CANCELLED
    except BrokenPipeError:
        _silence_stdout()
        return EXIT_PIPE_CLOSED
    except ClearturnError as error:
        say(f"clearturn: {error}")
        return EXIT_BAD_INPUT
    except OSError as error:
        # The disk is full, a folder is closed to us, a file vanished: the user can mend that.
        say(f"clearturn: {_told(error)}")
        return EXIT_BAD_INPUT
    except MemoryError:
        say("clearturn: not enough memory for this input; try a coarser mesh")
        return EXIT_BAD_INPUT
    except Exception as error:
        return _bug(error)


def _answer(argv: list[str]) -> int:
    _make_output_safe()
    # Reading one command's module instead of all keeps the start short.
    wanted = argv[0] if argv and argv[0] in COMMANDS else None
    commands = {name: _load(name) for name in ([wanted] if wanted else COMMANDS)}
    parser = _parser(commands)
    try:
        args, left = parser.parse_known_args(argv)
        if left:
            # argparse's own words would send one to the help of the whole program.
            prog = f"{parser.prog} {args.command}" if args.command else parser.prog
            raise InputError(
                "there is no such option or argument here",
                found=" ".join(left),
                mend=f"see {prog} --help",
            )
    except SystemExit as leave:  # --help and --version
        return int(leave.code or 0)
    if args.command is None:
        parser.print_help(sys.stderr)
        return EXIT_BAD_INPUT
    return commands[args.command].run(args)


def _parser(commands: dict[str, Command]) -> Parser:
    parser = Parser(
        prog="clearturn",
        description="Does the wheel turn clear of the bigger brake: by how much, and how sure.",
        epilog="Exit codes: 0 clears, 1 fails, 3 not proven, 2 bad input, 130 cancelled.",
    )
    parser.add_argument("--version", action="version", version=f"clearturn {__version__}")
    subparsers = parser.add_subparsers(
        dest="command", metavar="COMMAND", title="commands", parser_class=Parser
    )
    for command in commands.values():
        command.add_parser(cast("Subparsers[argparse.ArgumentParser]", subparsers))
    return parser


def _load(name: str) -> Command:
    return cast(Command, importlib.import_module(f"clearturn_app.cli.{name}"))


def _make_output_safe() -> None:
    # A sign the terminal cannot show must not end the program.
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(AttributeError, ValueError, OSError):
            stream.reconfigure(errors="backslashreplace")  # type: ignore[union-attr]


def _flush() -> None:
    # Here and not at exit, where a closed pipe could no longer be caught.
    if sys.stdout is not None:
        sys.stdout.flush()


def _silence_stdout() -> None:
    # Python flushes stdout once more when it leaves; let that go nowhere.
    with contextlib.suppress(OSError, ValueError, AttributeError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())


def _told(error: OSError) -> str:
    reason = error.strerror or str(error) or type(error).__name__
    if error.filename is not None:
        return InputError(reason, file=os.fsdecode(error.filename)).sentence()
    return InputError(reason).sentence()


def _bug(error: Exception) -> int:
    log = write_crash_log(error)
    where = f"the details are in {log}" if log else "no log could be written"
    say(
        "clearturn: something unexpected went wrong, and that is a fault of this program "
        f"({type(error).__name__}); {where}"
    )
    return EXIT_BUG


if __name__ == "__main__":
    sys.exit(main())
