"""The command line. The module of a command is imported only when the command is run (fast start-up)."""

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
from benchflow.commands.exits import BROKEN_OFF, EPILOG, FINE, UNUSABLE, say_where_the_log_is

COMMANDS = {
    "run": ("run", "Start a job at the bench, or continue one."),
    "check": ("check", "Prove that a procedure is sound and its order safe."),
    "order": ("order", "Show a procedure as a graph, or as a sheet in one safe order."),
    "drive": ("drive", "Run a job by JSON lines, without a screen."),
    "log": ("logs", "Show a log as readable text."),
    "verify": ("logs", "Check that a log is complete and unchanged."),
    "sessions": ("logs", "List the jobs on this machine."),
    "sheet": ("review", "Make the build sheet of a job: one page for the customer."),
    "review": (
        "review",
        "Review a job that came back: steps that should have prevented it, weakest first.",
    ),
    "compare": ("review", "Compare two builds."),
    "trace": ("archive", "Find every job with a given instrument, lot, person or reading."),
    "trend": ("archive", "Show one reading over all builds, and whether it drifts."),
    "archive": ("archive", "Keep an index of many logs, to search them together."),
    "export": ("review", "Export logs for other programs: tables, event logs, calendars."),
    "shop": ("shop", "Show or change the register of people and instruments."),
    "calc": ("calc", "Calculate: bolts, torque wrench, clearances, shims, cam timing and more."),
    "schema": ("about", "Print the JSON Schema of the procedure file, for editors."),
    "guide": ("about", "Print the author's guide: how to write a procedure, and every key."),
    "where": ("about", "Show where logs, settings and procedures are."),
    "completion": ("about", "Print a script for command completion in a shell."),
}
"""By the name of a command: its module under ``benchflow.commands``, and its purpose."""


class Commands(click.Group):
    """The commands of :data:`COMMANDS`. Each is imported only when it is needed."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
            code = super().invoke(ctx)
            sys.stdout.flush()
        except BrokenPipeError:  # here, since click would make an error of it
            _forget_output()
            return FINE
        return code

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        module = import_module(f"benchflow.commands.{COMMANDS[cmd_name][0]}")
        return next(each for each in vars(module).values() if isinstance(each, click.Command) and each.name == cmd_name)

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        name = args[0]
        if name not in COMMANDS and not name.startswith("-"):
            from benchflow.procedure.problems import hint_for

            ctx.fail(f"There is no command {name!r}. {hint_for(name, COMMANDS)}".rstrip())
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, purpose) for name, (_, purpose) in COMMANDS.items()])


def _forget_output() -> None:
    """Send standard output to nowhere: otherwise Python reports the unwritten rest again on exit."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _three_streams() -> None:
    """Reopen standard streams that were closed (``>&-``). Otherwise the next file opened, perhaps a log, would get the
    number of the stream and everything written to it."""
    for number in (0, 1, 2):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # takes the lowest number that is free: this one
    sys.stdin = sys.stdin or os.fdopen(0, encoding="utf-8")
    sys.stdout = sys.stdout or os.fdopen(1, "w", encoding="utf-8")
    sys.stderr = sys.stderr or os.fdopen(2, "w", encoding="utf-8")


@click.group(
    cls=Commands,
    invoke_without_command=True,
    epilog=EPILOG,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(__version__, "-V", "--version", message="benchflow %(version)s")
@click.pass_context
def benchflow(ctx: click.Context) -> None:
    """Guides a builder through an assembly procedure at the bench: shows what can be done now, blocks what must not be
    done yet, judges measurements, and keeps a log for later questions.

    Start with: benchflow run
    """
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())


def main(arguments: Sequence[str] | None = None) -> None:
    """Run one command and exit with its exit code (:mod:`benchflow.commands.exits`)."""
    _three_streams()
    sys.excepthook = say_where_the_log_is
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")  # a terminal without a middle dot must not end the program
    try:
        code = benchflow.main(arguments, prog_name="benchflow", standalone_mode=False)
        sys.stdout.flush()
    except click.ClickException as wrong:
        wrong.show()
        code = wrong.exit_code
    except InternalError:
        raise
    except BenchflowError as wrong:
        from benchflow.commands.output import remark

        remark(f"benchflow: {wrong}")
        code = UNUSABLE
    except BrokenPipeError:
        _forget_output()  # the reader of the output has closed it
        code = FINE
    except OSError as wrong:
        if wrong.errno not in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
            raise
        _forget_output()
        sys.stderr.write(f"benchflow: The output cannot be written: {wrong.strerror}. It is not complete.\n")
        code = UNUSABLE
    except (click.Abort, KeyboardInterrupt):
        code = BROKEN_OFF
    sys.exit(code or FINE)
