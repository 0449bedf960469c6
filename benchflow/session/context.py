"""What every decision shares: what surrounds it, what it answers with, and how it says no."""

from collections.abc import Iterable
from difflib import get_close_matches
from typing import TYPE_CHECKING

from msgspec import Struct

from benchflow.procedure.plan import Step
from benchflow.quantity import QuantityError
from benchflow.quantity.types import printable
from benchflow.session.refusal import Code, Reason, Refusal
from benchflow.session.state.clock import Now
from benchflow.session.state.events import Event
from benchflow.session.state.state import State

if TYPE_CHECKING:
    from benchflow.session.shop.register import Shop


class Context(Struct, frozen=True):
    """What a decision may look at besides the state: the moment, and who and what the shop has."""

    now: Now
    shop: "Shop | None" = None


class Entry(Struct, frozen=True):
    """An event about to be written, and who it is by."""

    by: str
    event: Event


Decision = tuple[Entry, ...] | Refusal


def refuse(code: Code, message: str, **names: str | int | None) -> Refusal:
    return Refusal((Reason(code, message, **names),))  # type: ignore[arg-type]  # the names are Reason's fields


def refusal_or_none(reasons: Iterable[Reason]) -> Refusal | None:
    found = tuple(reasons)
    return Refusal(found) if found else None


def unknown_name(what: str, name: str, known: Iterable[str]) -> Refusal:
    """``no such operation: "set-haed" (did you mean set-head?)``"""
    names = list(known)
    near = get_close_matches(name[:80], names, 1, 0.5)
    if near:
        hint = f" (did you mean {near[0]}?)"
    elif names:
        hint = f" (there is {', '.join(names[:8])}{' …' if len(names) > 8 else ''})"
    else:
        hint = " (there is none here)"
    return refuse("unknown-name", f'no such {what}: "{printable(name)}"{hint}', name=name[:200])


def unreadable_quantity(error: QuantityError, name: str) -> Refusal:
    """A refusal of what was typed, pointing at the character that it turns on."""
    code: Code = "wrong-dimension" if error.code == "wrong-dimension" else "bad-quantity"
    return Refusal((Reason(code, str(error), name=name, at=error.at),))


def title_of(state: State, step_id: str) -> str:
    """An operation as the bench names it: its title."""
    step = state.plan.steps.get(step_id)
    return step_id if step is None else step.title


def operation_in_progress(state: State, named: str | None) -> Step | Refusal:
    """The operation in progress; a refusal when there is none, or when ``named`` is another one."""
    if named is not None and named not in state.plan.steps:
        return unknown_name("operation", named, state.plan.steps)
    if state.in_progress is None:
        if named is None:
            return refuse("not-started", "No operation is in progress. Start one first")
        if named in state.done:
            return refuse("already-done", f"{title_of(state, named)} is done already", operation=named)
        return refuse("not-started", f"{title_of(state, named)} is not in progress. Start it first", operation=named)
    if state.rework is not None:
        message = f"{title_of(state, state.in_progress)} is being reworked"
        return refuse("not-allowed", message, operation=state.in_progress)
    if named is not None and named != state.in_progress:
        return refuse(
            "not-started",
            f"{title_of(state, named)} is not in progress. {title_of(state, state.in_progress)} is",
            operation=named,
        )
    return state.plan.steps[state.in_progress]
