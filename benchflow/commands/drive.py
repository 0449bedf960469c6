"""The command ``drive``: a job run by JSON lines, without a screen."""

import sys
from pathlib import Path

import click

from benchflow.base.errors import BenchflowError
from benchflow.commands.exits import UNUSABLE, working_on
from benchflow.commands.finding import find_procedure
from benchflow.commands.output import remark, say


def _list_intents(ctx: click.Context, option: click.Parameter, wanted: bool) -> None:
    if not wanted or ctx.resilient_parsing:
        return
    from benchflow.session.intents.intent_types import INTENT_TYPES, BaseIntent
    from benchflow.session.intents.parsing import required_by_field

    everywhere = required_by_field(BaseIntent)
    for name, kind in sorted(INTENT_TYPES.items()):
        fields = {field: must for field, must in required_by_field(kind).items() if field not in everywhere}
        told = " ".join(field if must else f"[{field}]" for field, must in fields.items())
        say(f"{name:<16}{told}".rstrip())
    say()
    say(f"Any intent may also have: {', '.join(everywhere)}. Fields in [ ] are optional.")
    ctx.exit()


@click.command()
@click.option(
    "--intents", is_flag=True, is_eager=True, expose_value=False, callback=_list_intents,
    help="List every intent with its fields, and exit.",
)  # fmt: skip
@click.argument("procedure")
@click.option(
    "--log",
    type=click.Path(path_type=Path),
    required=True,
    help="The log: started, or continued.",
)
@click.option("--simulated", is_flag=True, help="Take the time from `at` in each intent; the log says so.")
@click.option("--shop", type=click.Path(path_type=Path), help="The shop file, instead of the one in its usual place.")
def drive(procedure: str, log: Path, simulated: bool, shop: Path | None) -> int:
    """Run a job of PROCEDURE by intents: one JSON object per line on standard input, one line of answer for each.

    \b
    {"intent": "open", "by": "...", "unit": "job 1", "options": {}, "start": {"pistons": "at-deck"}}
    {"intent": "start", "operation": "..."}      {"intent": "why", "operation": "..."}
    {"intent": "record", "name": "...", "value": "0.12 mm"}      {"intent": "finish"}
    {"intent": "status"}      (all of them: benchflow drive --intents)

    The screen sends the same intents. A refusal is an answer, not a failure of the command.
    """
    from benchflow.session.json_lines import drive as drive_controller
    from benchflow.session.json_lines import open_controller
    from benchflow.session.machine_folders import places
    from benchflow.session.procedure_loading import load_procedure, reader
    from benchflow.session.shop.live_register import Register

    path = find_procedure(procedure)
    source = load_procedure(path)
    if source.procedure is None:
        for problem in source.problems:
            remark(str(problem))
        return UNUSABLE
    working_on(log)
    if shop is not None and not shop.exists():
        raise BenchflowError(f"There is no shop file {shop}.")
    register = Register(shop or places().shop, places().compiled)
    controller = open_controller(source, path.name, log, reader(), simulated=simulated, register=register)
    if controller.journal.torn:
        remark(f"The last line of {log} was not complete. It was moved to {controller.journal.torn}.")
    if controller.read_only:
        remark(f"View only: {log}: {controller.read_only}.")
    try:
        return drive_controller(controller, sys.stdin.buffer, sys.stdout.buffer)
    finally:
        controller.close()
