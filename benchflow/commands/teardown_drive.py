"""``drive --teardown``: works on a teardown by JSON lines, and lists its intents."""

import json
import sys
from pathlib import Path

from benchflow.commands.console_output import print_line, print_message, print_warning
from benchflow.commands.crash_report import remember_open_log


def drive_teardown(log: Path, *, simulated: bool) -> int:
    """Answer the intents on standard input. Returns the exit code, always 0: a refusal is a normal answer.

    Raises:
        BenchflowError: the log cannot be used.
    """
    from benchflow.session.head_memory import HeadMemory
    from benchflow.session.json_lines import drive as drive_controller
    from benchflow.session.machine_folders import machine_folders
    from benchflow.session.teardown.teardown_controller import TeardownController

    remember_open_log(log)
    controller = TeardownController.open(log, simulated=simulated)
    controller.memory = HeadMemory(machine_folders().heads)
    if warning := controller.remembered():
        print_warning(warning)
    if controller.journal.torn:
        print_message(f"The last line of {log} was not complete. It was moved to {controller.journal.torn}.")
    if controller.read_only:
        print_message(f"View only: {log}: {controller.read_only}.")
    try:
        return drive_controller(controller, sys.stdin.buffer, sys.stdout.buffer)
    finally:
        controller.close()


def list_teardown_intents() -> None:
    """Print every intent of a teardown with its purpose, its fields and an example."""
    from benchflow.session.intents.intent_types import BaseIntent
    from benchflow.session.intents.parsing import required_by_field
    from benchflow.session.teardown.teardown_intents import (
        TEARDOWN_EXAMPLES,
        TEARDOWN_INTENT_TYPES,
        teardown_intent_purpose,
    )

    common = required_by_field(BaseIntent)
    for name, kind in sorted(TEARDOWN_INTENT_TYPES.items()):
        fields = {field: needed for field, needed in required_by_field(kind).items() if field not in common}
        shown = " ".join(field if needed else f"[{field}]" for field, needed in fields.items())
        print_line(f"{name:<16}{teardown_intent_purpose(name)}")
        print_line(f"{'':<16}Fields: {shown or 'none'}")
        print_line(f"{'':<16}{json.dumps({'intent': name, **TEARDOWN_EXAMPLES[name]}, ensure_ascii=False)}")
        print_line()
    print_line(f"Any intent may also have: {', '.join(common)}. Fields in [ ] are optional.")
