"""The operations that can be started first, as the bench will show them."""

from msgspec import Struct

from benchflow.procedure.expand import expand
from benchflow.procedure.model import Procedure
from benchflow.session.context import Context
from benchflow.session.log.line_format import ZEROS, Line
from benchflow.session.state.clock import Now
from benchflow.session.state.events import JobOpened
from benchflow.session.state.fold import begin_opened
from benchflow.session.view.build import operation_rows

_AT = "2000-01-01T00:00:00.000Z"
"""An arbitrary time: at the start of a job no clock runs."""


class FirstOperations(Struct, frozen=True):
    """The operations that can be started at the start of a job, as ``number title``, and how many are blocked then.

    ``supposed`` are the assumed answers: the first choice of each option and of each state that is asked for.
    ``reason`` is why the first operation cannot start, if none can.
    """

    ready: tuple[str, ...]
    blocked: int
    supposed: tuple[str, ...] = ()
    reason: str = ""


def first_operations(procedure: Procedure) -> FirstOperations:
    """The operations that the bench offers at the start of a job by this procedure."""
    options = {option.name: option.choices[0] for option in procedure.options if option.choices}
    asked: dict[str, str | None] = {
        one.name: one.values[0] for one in procedure.state if one.start is None and one.values
    }
    opened = JobOpened("", "", "", options, asked, "", "", simulated=True)
    line = Line(1, _AT, "", "opened", {}, ZEROS, ZEROS)
    state = begin_opened(line, opened, expand(procedure, options))
    rows = list(operation_rows(state, Context(Now(_AT)), {}))
    ready = tuple(f"{row.number} {row.title}" for row in rows if row.status == "ready")
    first = next((row for row in rows if row.status == "blocked"), None)
    reason = f"{first.number} {first.title}: {first.reason}" if first is not None and not ready else ""
    supposed = tuple(f"{name} {answer}" for name, answer in {**options, **asked}.items())
    return FirstOperations(ready, sum(row.status == "blocked" for row in rows), supposed, reason)
