"""The input and the result of a decision, and the refusals that several decisions share."""

from collections.abc import Callable, Iterable
from datetime import date
from difflib import get_close_matches
from typing import TYPE_CHECKING

from msgspec import Struct

from benchflow.ordering.wording import step_title
from benchflow.procedure.expand import everything_possible, holds
from benchflow.procedure.identity import StepId
from benchflow.quantity import Quantity, QuantityError
from benchflow.quantity.types import printable
from benchflow.session.log.timestamps import local_date
from benchflow.session.pictures.picture_file import PictureFacts
from benchflow.session.refusal import Code, Reason, Refusal
from benchflow.session.state.clock import Now
from benchflow.session.state.events import Event, InstrumentUsed
from benchflow.session.state.state import State

if TYPE_CHECKING:
    from benchflow.session.shop.register import Person, Shop


def _pin_matches(person: "Person", pin: str) -> bool:
    """True if ``pin`` is the PIN of ``person`` by the hash in the register."""
    from benchflow.session.shop.register import pin_matches  # imported late: only a signature needs it

    return pin_matches(pin, person.pin)


class ToolUse(Struct, frozen=True):
    """One use of an instrument: the id of its need in the procedure, what the intent names, and the reading or setting.

    ``stretch`` is true for the gauge that reads the stretch beside the torque. ``index`` is the number of the
    instrument, from 0, if several are used together for one reading.
    """

    need: str | None
    given: str | None
    required: Quantity | None
    stretch: bool = False
    index: int | None = None


class RecordedTool(Struct, frozen=True):
    """The instrument that a log names for one use, with the standard uncertainty of the reading.

    ``used`` is the event before it that describes the instrument; ``None`` if it was described earlier.
    """

    need: str | None
    serial: str | None
    uncertainty: Quantity | None = None
    used: InstrumentUsed | None = None


class Context(Struct, frozen=True):
    """The input of a decision besides state and intent.

    ``now`` is the time, ``shop`` the register (``None`` without one). ``pin_fits`` answers whether a typed PIN is that
    of a person; an audit answers it from the log. So does ``recorded_tool`` for the instruments.
    ``day`` is the date, if it is not that of this machine. ``started_again`` is true if the program was started again,
    and the log does not have the event of that start yet.
    """

    now: Now
    shop: "Shop | None" = None
    pin_fits: "Callable[[Person, str], bool]" = _pin_matches
    recorded_tool: Callable[[State, ToolUse], RecordedTool | Refusal] | None = None
    day: date | None = None
    started_again: bool = False
    picture: PictureFacts | Refusal | None = None

    @property
    def today(self) -> date:
        """The present date, by default in the time zone of the machine. Dates in the register are compared with it."""
        return local_date(self.now.at) if self.day is None else self.day


class Entry(Struct, frozen=True):
    """An event to log, and the name of the person who made it."""

    by: str
    event: Event


Decision = tuple[Entry, ...] | Refusal
"""The result of a decision: the events to log, or a refusal."""


def refuse(code: Code, message: str, **names: str | int | None) -> Refusal:
    """A refusal with one reason. ``names`` are the other fields of :class:`Reason`."""
    return Refusal((Reason(code, message, **names),))  # type: ignore[arg-type]  # the names are Reason's fields


def refusal_or_none(reasons: Iterable[Reason]) -> Refusal | None:
    """A refusal with these reasons; ``None`` if there are none."""
    found = tuple(reasons)
    return Refusal(found) if found else None


def unknown_name(what: str, name: str, known: Iterable[str]) -> Refusal:
    """A refusal of a name: ``Unknown operation: “set-haed”. Did you mean set-head?``"""
    names = list(known)
    near = get_close_matches(name[:80], names, 1, 0.5)
    if near:
        hint = f"Did you mean {near[0]}?"
    elif names:
        hint = f"Possible: {', '.join(names[:8])}{' …' if len(names) > 8 else ''}"
    else:
        hint = "There is nothing to choose from"
    return refuse("unknown-name", f"Unknown {what}: “{printable(name)}”. {hint}", name=name[:200])


def unknown_operation(state: State, name: str) -> Refusal:
    """A refusal of the id of an operation: there is none, or this build leaves it out."""
    operation = state.plan.procedure.operations_by_id.get(StepId.parse(name).operation)
    is_possible = name in state.plan.numbers
    in_plan = operation is not None and any(step.operation.id == operation.id for step in state.plan.steps.values())
    if operation is None or (in_plan and not is_possible):
        return unknown_name("operation", name, state.plan.steps)
    title = operation.title
    if is_possible:
        title = step_title(everything_possible(state.plan.procedure, state.plan.options), name)
    options = [f"{option} is {state.plan.options.get(option, 'not chosen')}" for option in operation.when]
    why = ", ".join(options)
    if operation.if_needed:
        why = "no remedy calls for it"
    if operation.findings and holds(operation.when, state.plan.options):
        made = state.plan.findings.answers.items()
        named = {StepId.parse(name).operation for name in operation.findings}
        why = ", ".join(f"{key} is {' and '.join(got)}" for key, got in made if StepId.parse(key).operation in named)
    message = f"“{title}” is not part of this build{f' ({why})' if why else ''}. Leave it out"
    return refuse("unknown-name", message, name=name[:200])


def unreadable_quantity(error: QuantityError, name: str) -> Refusal:
    """A refusal of a typed quantity, with the position of the wrong character."""
    return Refusal((quantity_problem(error, name),))


def quantity_problem(error: QuantityError, name: str) -> Reason:
    """What is wrong with a typed quantity, with the position of the wrong character."""
    code: Code = "wrong-dimension" if error.code == "wrong-dimension" else "bad-quantity"
    return Reason(code, str(error), name=name, at=error.at)


def finish_first(state: State) -> str:
    """What to do about the operation in progress before something else: ``Finish or pause “Lower the head” first``."""
    assert state.in_progress is not None  # the caller has found one in progress
    ways = "Finish" if state.step(state.in_progress).during else "Finish or pause"
    return f"{ways} {quoted_title(state, state.in_progress)} first"


def quoted_title(state: State, step_id: str) -> str:
    """The title of an operation in quotation marks, for messages."""
    step = state.plan.steps.get(step_id)
    return f"“{step_id if step is None else step.title}”"
