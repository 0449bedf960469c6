"""Adds a complaint or a finding of a come-back to the log of its job, long after the job was closed."""

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from benchflow.session.controller import Answer, SessionController
from benchflow.session.head_memory import HeadMemory
from benchflow.session.log.timestamps import format_timestamp
from benchflow.session.procedure_loading import ProcedureReader
from benchflow.session.shop.live_register import Register


def add_to_log(
    path: Path, message: dict[str, Any], read: ProcedureReader, register: Register, memory: HeadMemory
) -> Answer:
    """Send one intent to the log at ``path``, and close it again. The events are on disk before this returns.

    In a simulated job the intent gets the present time.

    Raises:
        BenchflowError: the log cannot be read or continued. It is not changed.
    """
    controller = SessionController.resume(path, read=read, register=register)
    controller.memory = memory
    try:
        if controller.simulated:
            message = {**message, "at": format_timestamp(datetime.now(UTC))}
        return controller.send(message)
    finally:
        controller.close()
