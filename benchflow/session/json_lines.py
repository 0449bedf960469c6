"""Drives a session by JSON lines: one intent per line in, one answer per line out."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any, Protocol

import msgspec

from benchflow.base.errors import BenchflowError
from benchflow.procedure.compiled_cache import Loaded
from benchflow.quantity.types import printable
from benchflow.session.continuation import LogToContinue, earlier_jobs_in
from benchflow.session.controller import SessionController
from benchflow.session.log_opening import NoEvent
from benchflow.session.log_writer import Answer
from benchflow.session.machine_clock import Clock
from benchflow.session.procedure_loading import ProcedureReader
from benchflow.session.refusal import Reason, Refusal
from benchflow.session.shop.live_register import Register

MAX_LINE_BYTES = 1_000_000
"""The maximum size of one intent, in bytes."""
BOM = b"\xef\xbb\xbf"
"""The byte-order mark, which some shells write before piped text."""


def answer_as_json(reply: Answer) -> dict[str, Any]:
    """``{"ok": true, "events": [...]}`` with the answer of a query, or ``{"ok": false, "refused": [...]}``."""
    if isinstance(reply, Refusal):
        return {"ok": False, "refused": msgspec.to_builtins(list(reply.refused))}
    return {"ok": True, "events": msgspec.to_builtins(list(reply.lines)), **reply.answer}


def open_controller(
    source: Loaded,
    file: str,
    log: Path,
    read: ProcedureReader,
    *,
    simulated: bool,
    clock: Clock | None = None,
    register: Register | None = None,
    other_register: str = "",
    continue_from: LogToContinue | None = None,
) -> SessionController:
    """The controller for ``log``: resumed if the log exists, otherwise new. A new job can continue another log.

    Raises:
        OtherRegister: the log was written with another register, and ``other_register`` gives no reason.
        BenchflowError: the log is of another procedure, or ``simulated`` does not match the log.
    """

    def new_controller() -> SessionController:
        return SessionController.begin(
            log, source, file=file, read=read, clock=clock, register=register, simulated=simulated,
            continues=None if continue_from is None else continue_from.continues,
            earlier_jobs=earlier_jobs_in(log.absolute().parent, read, simulated=simulated),
        )  # fmt: skip

    if not log.exists() or not log.stat().st_size:
        return new_controller()
    try:
        controller = SessionController.resume(
            log, read=read, clock=clock, register=register, other_register=other_register
        )
    except NoEvent:
        if log.stat().st_size:  # its incomplete first line could not be moved
            raise
        return new_controller()
    problem = ""
    if source.procedure is not None and controller.procedure.id != source.procedure.id:
        problem = f"{log} is a log of {controller.procedure.id}, not of {source.procedure.id}. Choose another log."
    elif continue_from is not None and not _continues(controller, continue_from):
        problem = f"{log} does not continue {continue_from.path}. Name a file that does not exist yet."
    elif controller.simulated != simulated:
        kind = "a simulated" if controller.simulated else "a real"
        problem = (
            f"{log} is a log of {kind} session. Drive it {'with' if controller.simulated else 'without'} --simulated."
        )
    if problem:
        controller.close()
        raise BenchflowError(problem)
    return controller


def _continues(controller: SessionController, old: LogToContinue) -> bool:
    """True if the job of ``controller`` continues the log ``old``."""
    continues = None if controller.state is None else controller.state.opened.continues
    return continues is not None and continues.sha256 == old.continues.sha256


class AnswersIntents(Protocol):
    """A controller, of a job or of a teardown, that answers one intent at a time."""

    def send(self, message: dict[str, Any]) -> Answer:
        """Carry out one intent, given as JSON data."""
        ...


def drive(controller: AnswersIntents, lines: IO[bytes], out: IO[bytes]) -> int:
    """Answer every line until the input ends. Returns the exit status, always 0: a refusal is a normal answer."""
    for raw in _lines(lines):
        if not raw.strip():
            continue
        reply = _answer_line(controller, raw)
        out.write(msgspec.json.encode(answer_as_json(reply)) + b"\n")
        out.flush()
    return 0


def _lines(lines: IO[bytes]) -> Iterator[bytes]:
    """The lines of the input. A line that is too long is cut; the rest of it is skipped."""
    first = True
    while raw := lines.readline(MAX_LINE_BYTES + 1):
        if first:
            first, raw = False, raw.removeprefix(BOM)
        yield raw
        while len(raw) > MAX_LINE_BYTES and not raw.endswith(b"\n"):
            raw = lines.readline(MAX_LINE_BYTES + 1)
            if len(raw) <= MAX_LINE_BYTES:
                break


def _answer_line(controller: AnswersIntents, raw: bytes) -> Answer:
    if len(raw) > MAX_LINE_BYTES:
        return _bad_intent(f"The line is too long. An intent has at most {MAX_LINE_BYTES} bytes.")
    try:
        message = msgspec.json.decode(raw)
    except (msgspec.DecodeError, RecursionError, UnicodeDecodeError) as error:
        return _bad_intent(f"The line is not JSON: {error}. Send one JSON object per line.")
    repeated = _repeated_key(raw)
    if repeated is not None:
        return _bad_intent(f"The key “{printable(repeated)}” occurs twice in one object. Send each key once.")
    if not isinstance(message, dict):
        return _bad_intent("The line is not a JSON object. Send one JSON object per line.")
    return controller.send(message)


def _repeated_key(raw: bytes) -> str | None:
    """The first key that occurs twice in an object of the JSON ``raw``. ``raw`` can be decoded."""
    repeated: list[str] = []

    def members(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        found = dict(pairs)
        if len(found) != len(pairs):
            keys = [key for key, _ in pairs]
            repeated.append(next(key for key in keys if keys.count(key) > 1))
        return found

    try:
        json.loads(raw, object_pairs_hook=members, parse_int=str, parse_float=str)
    except (ValueError, RecursionError):
        return None
    return repeated[0] if repeated else None


def _bad_intent(message: str) -> Refusal:
    return Refusal((Reason("bad-intent", message),))
