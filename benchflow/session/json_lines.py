"""Drives a session without a screen: one intent per line in, one answer per line out."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import IO, Any

import msgspec

from benchflow.base.errors import BenchflowError
from benchflow.procedure.compiled_cache import Loaded
from benchflow.procedure.model import Procedure
from benchflow.session.controller import Answer, Clock, SessionController
from benchflow.session.refusal import Reason, Refusal
from benchflow.session.shop.live_register import Register

LONGEST = 1_000_000
"""The most bytes that one intent may have."""
BOM = b"\xef\xbb\xbf"
"""The byte-order mark, which some shells write before piped text."""


def as_json(reply: Answer) -> dict[str, Any]:
    """``{"ok": true, "events": [...]}`` or ``{"ok": false, "refused": [...]}``; with the answer of a query added."""
    if isinstance(reply, Refusal):
        return {"ok": False, "refused": msgspec.to_builtins(list(reply.refused))}
    return {"ok": True, "events": msgspec.to_builtins(list(reply.lines)), **reply.answer}


def open_controller(
    source: Loaded,
    file: str,
    log: Path,
    read: Callable[[str], Procedure],
    *,
    simulated: bool,
    clock: Clock | None = None,
    register: Register | None = None,
) -> SessionController:
    """The controller for ``log``: resumed if the log exists, new if not.

    Raises:
        BenchflowError: the log is of another procedure, or simulated where a real one is asked for, or the reverse.
    """
    if not log.exists() or not log.stat().st_size:
        return SessionController.begin(
            log, source, file=file, read=read, clock=clock, register=register, simulated=simulated
        )
    controller = SessionController.resume(log, read=read, clock=clock, register=register)
    problem = ""
    if source.procedure is not None and controller.procedure.id != source.procedure.id:
        problem = f"{log} is a session of {controller.procedure.id}, not of {source.procedure.id}"
    elif controller.simulated != simulated:
        kind = "a simulated" if controller.simulated else "a real"
        problem = f"{log} is {kind} session: drive it {'with' if controller.simulated else 'without'} --simulated"
    if problem:
        controller.close()
        raise BenchflowError(problem)
    return controller


def drive(controller: SessionController, lines: IO[bytes], out: IO[bytes]) -> int:
    """Answer every line until the input ends. Returns the exit status 0: a refusal is an answer."""
    for raw in _lines(lines):
        if not raw.strip():
            continue
        reply = _one(controller, raw)
        out.write(msgspec.json.encode(as_json(reply)) + b"\n")
        out.flush()
    return 0


def _lines(lines: IO[bytes]) -> Iterator[bytes]:
    """The lines of the input. Of a line that is too long only the start is kept; the rest is skipped."""
    first = True
    while raw := lines.readline(LONGEST + 1):
        if first:
            first, raw = False, raw.removeprefix(BOM)
        yield raw
        while len(raw) > LONGEST and not raw.endswith(b"\n"):
            raw = lines.readline(LONGEST + 1)
            if len(raw) <= LONGEST:
                break


def _one(controller: SessionController, raw: bytes) -> Answer:
    if len(raw) > LONGEST:
        return _bad(f"a line of more than {LONGEST} bytes is not an intent")
    try:
        message = msgspec.json.decode(raw)
    except (msgspec.DecodeError, RecursionError, UnicodeDecodeError) as error:
        return _bad(f"not JSON: {error}")
    if not isinstance(message, dict):
        return _bad("an intent is a JSON object")
    return controller.send(message)


def _bad(message: str) -> Refusal:
    return Refusal((Reason("bad-intent", message),))
