"""The command line: the table of commands, and the entry point. A command is imported only when it runs."""

import errno
import io
import os
import sys
from collections.abc import Sequence
from importlib import import_module
from typing import Any

import click

from benchflow import __version__
from benchflow.base.errors import BenchflowError, InternalError
from benchflow.commands.crash_report import report_crash
from benchflow.commands.exit_codes import CANNOT_RUN, INTERRUPTED, SUCCESS, exit_code_help

GROUPS = {
    "At the bench": {
        "run": "Start a job at the bench, or continue one.",
        "teardown": "Log what comes off, line by line, or continue a teardown.",
        "attach": "Attach pictures to a job, also after its end.",
        "drive": "Work on a job by JSON lines, without a screen.",
    },
    "Write a procedure": {
        "draft": "Draft a procedure from a teardown, a table or a list.",
        "check": "Find the mistakes in a procedure, and prove that its order is safe.",
        "order": "Show the order of a procedure as a graph, or as a sheet to print.",
        "blocks": "List the building blocks of procedures, and show which procedures use them.",
        "expand": "Print a procedure with its blocks written out.",
        "revise": "Revise a procedure from the logs of its jobs.",
        "guide": "Print the author's guide: how to write a procedure, and every key.",
        "schema": "Print the JSON Schema of the procedure file, for editors.",
    },
    "Logs": {
        "sessions": "List the jobs and teardowns on this machine.",
        "log": "Show a log as readable text.",
        "verify": "Check that a log is complete and unchanged.",
        "audit": "Check that the rules allow every entry of a log.",
        "export": "Export logs as tables, event logs, calendars or Markdown.",
    },
    "After the job": {
        "sheet": "Make the build sheet of a job: a copy for the customer, and one for the shop.",
        "hours": "Show the worked hours of a job by section, or the medians of several jobs.",
        "review": "Review a job that came back, the weakest evidence first.",
        "found": "Record what a come-back turned out to be.",
        "compare": "Compare two builds.",
        "trace": "Find every job with a given instrument, lot, person or reading.",
        "trend": "Show one reading over all builds, and any drift.",
        "archive": "Keep an index of many logs, to search them together.",
    },
    "The shop and this program": {
        "shop": "Show or change the register of people and instruments.",
        "calc": "Calculate: bolts, torque wrench, clearances, shims, cam timing and more.",
        "where": "Show where the logs, settings and procedures are.",
        "completion": "Print a script for command completion in a shell.",
    },
}
"""The commands with their purposes, as the help shows them."""
COMMANDS = {name: purpose for group in GROUPS.values() for name, purpose in group.items()}
"""The purpose of each command. A command is in the module of its name: ``check`` in ``commands/check.py``."""
_MODULES = {"expand": "expand_command"}
"""The modules of commands whose name another module of the package has."""


class Commands(click.Group):
    """The group of all commands in :data:`COMMANDS`. It imports a command only when it is needed."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
            code = super().invoke(ctx)
            sys.stdout.flush()
        except BrokenPipeError:  # caught here, because click would report an error
            _discard_output()
            return SUCCESS
        return code

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = getattr(
            import_module(f"benchflow.commands.{_MODULES.get(cmd_name, cmd_name)}"), cmd_name
        )
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        name = args[0]
        if name not in COMMANDS and not name.startswith("-"):
            from benchflow.procedure.problems import hint_for

            hint = hint_for(name, COMMANDS) or "To list the commands: benchflow --help"
            ctx.fail(f"There is no command {name!r}. {hint}")
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        width = max(map(len, COMMANDS))
        for title, commands in GROUPS.items():
            with formatter.section(title):
                formatter.write_dl([(name.ljust(width), purpose) for name, purpose in commands.items()])


def _discard_output() -> None:
    """Redirect standard output to the null device. Otherwise Python reports the unwritten output again on exit."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _reopen_closed_streams() -> None:
    """Reopen standard streams that were closed (``>&-``). Otherwise the next file to be opened, perhaps a log, gets the
    number of the stream, and the output is written into it."""
    for number in (0, 1, 2):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # gets the lowest free number, which is this one
    sys.stdin = sys.stdin or os.fdopen(0, encoding="utf-8")
    sys.stdout = sys.stdout or os.fdopen(1, "w", encoding="utf-8")
    sys.stderr = sys.stderr or os.fdopen(2, "w", encoding="utf-8")


def _buffer_output() -> None:
    """Give an unbuffered standard output (``PYTHONUNBUFFERED``) a buffer. Without one, Python drops without an error
    what a full disk does not take."""
    raw: object = getattr(sys.stdout, "buffer", None)
    own = sys.stdout is sys.__stdout__  # a program that calls `main` may have put another stream there
    if own and isinstance(raw, io.RawIOBase) and isinstance(sys.stdout, io.TextIOWrapper):
        encoding = sys.stdout.encoding
        sys.stdout.detach()
        sys.stdout = io.TextIOWrapper(io.BufferedWriter(raw), encoding, write_through=True)
        sys.__stdout__ = sys.stdout  # type: ignore[misc]  # the size of the terminal is read from it


@click.group(
    cls=Commands,
    invoke_without_command=True,
    epilog=exit_code_help("A problem was found, such as an error in a procedure or a damaged log."),
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(__version__, "-V", "--version", message="benchflow %(version)s")
@click.pass_context
def benchflow(ctx: click.Context) -> None:
    """Guides you through an assembly procedure at the bench. It shows what can be done now, blocks what must not be
    done yet, judges measurements, and keeps a log for later questions.

    To start: benchflow run. For help with a command: benchflow COMMAND --help
    """
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())


def main(arguments: Sequence[str] | None = None) -> None:
    """Run one command and exit with its exit code (:mod:`benchflow.commands.exit_codes`)."""
    _reopen_closed_streams()
    _buffer_output()
    sys.excepthook = report_crash
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(
                errors="backslashreplace"
            )  # a character that the terminal lacks must not end the program
    try:
        code = benchflow.main(arguments, prog_name="benchflow", standalone_mode=False)
        sys.stdout.flush()
    except click.ClickException as error:
        error.show()
        code = error.exit_code
    except InternalError:
        raise
    except BenchflowError as error:
        from benchflow.commands.console_output import print_warning

        print_warning(str(error))
        code = CANNOT_RUN
    except BrokenPipeError:
        _discard_output()  # the reader of the output, such as `head`, has closed it
        code = SUCCESS
    except OSError as error:
        if error.errno not in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
            raise
        _discard_output()
        sys.stderr.write(f"benchflow: The output cannot be written: {error.strerror}. The output is not complete.\n")
        code = CANNOT_RUN
    except (click.Abort, KeyboardInterrupt):
        code = INTERRUPTED
    sys.exit(code or SUCCESS)
