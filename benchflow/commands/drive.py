"""The command ``drive``: works on a job by JSON lines, without a screen."""

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import clean_line
from benchflow.commands.common_options import CONTINUE_FROM_HELP, OTHER_REGISTER_HELP
from benchflow.commands.console_output import print_line, print_message, print_warning
from benchflow.commands.crash_report import remember_open_log
from benchflow.commands.exit_codes import CANNOT_RUN, exit_code_help
from benchflow.commands.file_lookup import find_procedure
from benchflow.commands.teardown_drive import drive_teardown, list_teardown_intents

if TYPE_CHECKING:
    from benchflow.procedure.compiled_cache import Loaded
    from benchflow.session.continuation import LogToContinue
    from benchflow.session.controller import SessionController


_ARGUMENTS = "benchflow.drive.arguments"


class DriveCommand(click.Command):
    """The command ``drive``. It keeps its arguments, because ``--intents`` depends on ``--teardown``."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        ctx.meta[_ARGUMENTS] = tuple(args)
        return super().parse_args(ctx, args)


def _list_intents(context: click.Context, option: click.Parameter, chosen: bool) -> None:
    """Print every intent with its purpose, its fields and an example, and exit. The callback of ``--intents``."""
    if not chosen or context.resilient_parsing:
        return
    if "--teardown" in context.meta[_ARGUMENTS]:
        list_teardown_intents()
        context.exit()
    from benchflow.session.intents.intent_examples import intent_example, intent_purpose
    from benchflow.session.intents.intent_types import INTENT_TYPES, BaseIntent
    from benchflow.session.intents.parsing import required_by_field

    common = required_by_field(BaseIntent)
    for name, kind in sorted(INTENT_TYPES.items()):
        required = {field: needed for field, needed in required_by_field(kind).items() if field not in common}
        fields = " ".join(field if needed else f"[{field}]" for field, needed in required.items())
        print_line(f"{name:<16}{intent_purpose(name)}")
        print_line(f"{'':<16}Fields: {fields or 'none'}")
        print_line(f"{'':<16}{json.dumps(intent_example(name), ensure_ascii=False)}")
        print_line()
    print_line(f"Any intent may also have: {', '.join(common)}. Fields in [ ] are optional.")
    context.exit()


@click.command(cls=DriveCommand, epilog=exit_code_help())
@click.option(
    "--intents", is_flag=True, is_eager=True, expose_value=False, callback=_list_intents,
    help="List every intent with its purpose, its fields and an example, and exit.",
)  # fmt: skip
@click.argument("procedure", required=False)
@click.option(
    "--log", type=click.Path(path_type=Path), required=True,
    help="The file of the log. It is made, or continued if it exists.",
)  # fmt: skip
@click.option("--teardown", is_flag=True, help="Work on a teardown instead of a job. It has no PROCEDURE.")
@click.option("--simulated", is_flag=True, help="Take the time from `at` in each intent. The log records this.")
@click.option("--shop", type=click.Path(path_type=Path), help="Use this shop file instead of the usual one.")
@click.option("--other-register", metavar="REASON", default="", help=OTHER_REGISTER_HELP)
@click.option("--continue-from", "old_log", metavar="LOG", type=click.Path(path_type=Path), help=CONTINUE_FROM_HELP)
def drive(
    procedure: str | None,
    log: Path,
    teardown: bool,
    simulated: bool,
    shop: Path | None,
    other_register: str,
    old_log: Path | None,
) -> int:
    """Work on a job by PROCEDURE without a screen. Intents come as JSON, one per line of standard input. Each gets
    one line of JSON as its answer on standard output.

    \b
    {"intent": "open", "by": "...", "unit": "job 1", "options": {}, "start": {"pistons": "at-deck"}}
    {"intent": "start", "operation": "..."}      {"intent": "why", "operation": "..."}
    {"intent": "record", "name": "...", "value": "0.12 mm"}      {"intent": "finish"}
    {"intent": "status"}      (all of them: benchflow drive --intents)

    With --continue-from, PROCEDURE is left out unless the first line of that log is damaged. Start the job with `open`
    (the state of the engine is asked again), then take over what was done with `take-over`.

    With --teardown, the log is that of a teardown: {"intent": "open", "by": "...", "unit": "...", "what": "gearbox"},
    then {"intent": "off", "text": "rocker cover, 8x M6x1 30 mm, bag 3"}. All of its intents: benchflow drive
    --teardown --intents

    The bench screen sends the same intents. A refused intent is a normal answer, and does not change the exit code.
    """
    if teardown:
        if procedure is not None or shop is not None or old_log is not None or other_register:
            raise BenchflowError("A teardown has no procedure, register or earlier log: drive --teardown --log FILE")
        return drive_teardown(log, simulated=simulated)
    has_job = log.is_file() and log.stat().st_size > 0  # the log of a job has its procedure
    if procedure is None and old_log is None and not has_job:
        raise BenchflowError("Name the procedure of the job: benchflow drive PROCEDURE --log FILE")
    given, old = _source(procedure, log, old_log, simulated=simulated)
    if given is not None and given[0].procedure is None and not _is_replaced_by_log(given, has_job=has_job):
        return CANNOT_RUN
    remember_open_log(log)
    controller = _opened(log, given, old, shop, other_register, simulated=simulated)
    if procedure is not None and given is not None:
        for note in controller.compare_blocks(given[0]):
            print_message(note)
    if controller.read_only:
        print_message(f"View only: {log}: {controller.read_only}.")
    from benchflow.session.json_lines import drive as drive_controller

    try:
        return drive_controller(controller, sys.stdin.buffer, sys.stdout.buffer)
    finally:
        controller.close()


def _source(
    procedure: str | None, log: Path, old_log: Path | None, *, simulated: bool
) -> "tuple[tuple[Loaded, str] | None, LogToContinue | None]":
    """The procedure with the name of its file, ``None`` if it is only in the log; and the log that is continued.

    Raises:
        BenchflowError: the procedure or the old log cannot be used.
    """
    from benchflow.session.continuation import log_to_continue
    from benchflow.session.procedure_loading import load_procedure, procedure_reader

    given: tuple[Loaded, str] | None = None
    if procedure is not None:
        path = find_procedure(procedure)
        given = load_procedure(path), path.name
    if old_log is None:
        return given, None
    old = log_to_continue(old_log, given, procedure_reader())
    _check_old_log(old, log, simulated)
    return (old.source, old.procedure_file), old


def _is_replaced_by_log(given: "tuple[Loaded, str]", *, has_job: bool) -> bool:
    """Print the errors of a procedure. Returns true if the job can continue with the procedure in its log."""
    source, file = given
    for problem in source.problems:
        print_message(str(problem))
    if source.source_map is None or not has_job:
        return False
    print_message(f"{file} has errors. The job continues with the procedure in its log.")
    return True


def _opened(
    log: Path, given: "tuple[Loaded, str] | None", old: "LogToContinue | None", shop: Path | None, other_register: str,
    *, simulated: bool,
) -> "SessionController":  # fmt: skip
    """The controller of the job. What was found about its log is printed.

    Raises:
        BenchflowError: there is no such shop file, or the log cannot be used.
    """
    from benchflow.procedure.compiled_cache import Loaded
    from benchflow.session.head_memory import HeadMemory
    from benchflow.session.json_lines import open_controller
    from benchflow.session.machine_folders import machine_folders
    from benchflow.session.procedure_loading import procedure_reader
    from benchflow.session.shop.live_register import Register

    if shop is not None and not shop.exists():
        raise BenchflowError(f"There is no shop file {shop}. Name an existing one.")
    folders = machine_folders()
    source, file = given or (Loaded(None, "", "", ()), "")
    controller = open_controller(
        source, file, log, procedure_reader(), simulated=simulated,
        register=Register(shop or folders.shop, folders.compiled), other_register=clean_line(other_register),
        continue_from=old,
    )  # fmt: skip
    controller.memory = HeadMemory(folders.heads)
    if warning := controller.remembered():
        print_warning(warning)
    if controller.journal.torn:
        print_message(f"The last line of {log} was not complete. It was moved to {controller.journal.torn}.")
    return controller


def _check_old_log(old: "LogToContinue", log: Path, simulated: bool) -> None:
    """Check that the new log is another file, and simulated if the old one is.

    Raises:
        BenchflowError: it is not.
    """
    if log.exists() and log.samefile(old.path):
        raise BenchflowError(f"{log} cannot continue itself. Name another file with --log.")
    if old.simulated is not None and old.simulated != simulated:
        raise BenchflowError(
            f"{old.path} is a log of {'a simulated' if old.simulated else 'a real'} session. Drive the new one "
            f"{'with' if old.simulated else 'without'} --simulated."
        )
