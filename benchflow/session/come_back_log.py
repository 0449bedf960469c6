"""Adds a complaint or a finding of a come-back to the log of its job, long after the job was closed."""

from collections.abc import Sequence
from datetime import UTC, datetime
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Any

from msgspec import Struct

from benchflow.base.errors import BenchflowError
from benchflow.base.plaintext import clean_line
from benchflow.session.controller import SessionController
from benchflow.session.head_memory import HeadMemory
from benchflow.session.log.journal import Journal
from benchflow.session.log.log_heads import compare_heads, head_of_log
from benchflow.session.log.timestamps import format_timestamp
from benchflow.session.log_writer import Answer
from benchflow.session.procedure_loading import ProcedureReader
from benchflow.session.shop.live_register import Register

_SAME = ("complaint", "finding", "outcome", "operation", "date", "hours")
"""The fields in which two entries of one finding agree."""


class LaterCopy(BenchflowError):
    """The log is an earlier copy: this machine remembers a later one, which still exists."""


class AlreadyInLog(Struct, frozen=True):
    """The log has the same finding already, in the event ``seq``."""

    seq: int


def add_to_log(
    path: Path, messages: Sequence[dict[str, Any]], read: ProcedureReader, register: Register, memory: HeadMemory
) -> tuple[list[Answer | AlreadyInLog], str]:
    """Send intents to the log at ``path``, and close it again. The events are on disk before this returns.

    A refused intent does not stop the others. In a simulated job each intent gets the present time. A finding that the
    log has already is not added again. The second value is a warning about a log that is behind what this machine
    remembers, or forked from it; "" if it is neither.

    Raises:
        LaterCopy: the log is an earlier copy. It is not changed.
        BenchflowError: the log cannot be read or continued. It is not changed.
    """
    controller = SessionController.resume(path, read=read, register=register)
    controller.memory = memory
    try:
        warning = controller.remembered()
        if warning:
            _refuse_earlier_copy(controller, warning)
        return [_answer(controller, message) for message in messages], warning
    finally:
        controller.close()


def _answer(controller: SessionController, message: dict[str, Any]) -> Answer | AlreadyInLog:
    known = _same_finding(controller, message)
    if known is not None:
        return AlreadyInLog(known)
    if controller.simulated:
        message = {**message, "at": format_timestamp(datetime.now(UTC))}
    return controller.send(message)


def _refuse_earlier_copy(controller: SessionController, warning: str) -> None:
    """Raise :class:`LaterCopy` if the later copy that this machine remembers is a file that grew from this log."""
    journal, memory = controller.journal, controller.memory
    found = None if memory is None else memory.compare(journal.lines, journal.path)
    if found is None or found[1].status != "behind":
        return
    known, later = found[0], Path(found[0].path)
    if not known.path or later == journal.path.absolute() or not later.is_file():
        return
    with Journal.open(later, read_only=True) as other:
        if other.lines and compare_heads(head_of_log(other.lines), known).status in ("same", "grown"):
            raise LaterCopy(f"{warning} Add the entry to the later copy.")


def _same_finding(controller: SessionController, message: dict[str, Any]) -> int | None:
    """The event that counts with the same finding as the intent ``message``; ``None`` if there is none."""
    if message["intent"] != "found" or message.get("replaces") is not None:
        return None
    given = {name: clean_line(str(message.get(name) or "")).strip() for name in _SAME}
    given["date"] = given["date"] or f"{datetime.now(UTC):%Y-%m-%d}"
    for seq, cause in controller.state.causes.items() if controller.state is not None else ():
        recorded = {name: getattr(cause, name) for name in _SAME}
        if {**recorded, "hours": _hours(cause.hours)} == {**given, "hours": _hours(given["hours"])}:
            return seq
    return None


def _hours(text: str) -> Decimal | str:
    """Hours of work as a number, or the text as it is if it is none."""
    try:
        return Decimal(text.removesuffix("hours").removesuffix("h").strip())
    except InvalidOperation:
        return text
