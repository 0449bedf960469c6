"""``attach`` for the log of a teardown: keeps pictures of a line or of the whole assembly."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from benchflow.base.errors import BenchflowError
from benchflow.commands.console_output import print_json, print_line, print_warning
from benchflow.commands.exit_codes import PROBLEM_FOUND, SUCCESS


def attach_to_teardown(log: Path, files: Sequence[str], *, line: str, text: str, by: str, as_json: bool) -> int:
    """Attach pictures to a teardown, also after its end. Returns the exit code.

    Raises:
        BenchflowError: the log cannot be written, or it is simulated.
    """
    from benchflow.session.head_memory import HeadMemory
    from benchflow.session.machine_folders import machine_folders
    from benchflow.session.refusal import Refusal
    from benchflow.session.teardown.teardown_controller import TeardownController

    controller = TeardownController.open(log)
    controller.memory = HeadMemory(machine_folders().heads)
    try:
        if controller.read_only:
            raise BenchflowError(f"Nothing was attached. {log}: {controller.read_only}.")
        about = {name: given for name, given in (("line", line), ("text", text), ("by", by)) if given}
        worst = SUCCESS
        for file in files:
            answer = controller.send({"intent": "attach", "file": file, **about})
            if isinstance(answer, Refusal):
                worst = PROBLEM_FOUND
                _report_refusal(file, answer.refused[0].message, as_json=as_json)
            else:
                _report(answer.lines[-1].seq, answer.lines[-1].data, as_json=as_json)
    finally:
        controller.close()
    return worst


def _report_refusal(file: str, why: str, *, as_json: bool) -> None:
    if as_json:
        print_json({"attached": False, "file": file, "why": why})
    else:
        print_warning(why)


def _report(event: int, data: dict[str, Any], *, as_json: bool) -> None:
    from benchflow.session.teardown.teardown_events import teardown_event_of
    from benchflow.session.teardown.teardown_history import teardown_event_text

    if as_json:
        shown = {key: value for key, value in data.items() if key not in ("clock", "intent", "of", "sent")}
        print_json({"attached": True, "event": event, **shown})
        return
    logged = teardown_event_of("attached", data)
    assert logged is not None  # this version has written it
    print_line(f"Event {event}: {teardown_event_text(logged)}")
