"""The names in an intent while a copy (`again`) is in progress: a plain name of a value or check means the copy's."""

from typing import TypeVar

from msgspec.structs import replace

from benchflow.procedure.identity import ValueRef
from benchflow.procedure.model import Operation, parts_of, values_of
from benchflow.session.intents import intent_types as intents
from benchflow.session.state.state import State

IntentT = TypeVar("IntentT", bound=intents.Intent)
_FIELDS = ("name", "about", "check")


def with_names_of_copy(state: State, intent: IntentT) -> IntentT:
    """The intent with the own names of the operation that it is about, if that is a copy."""
    step = state.plan.steps.get(getattr(intent, "operation", None) or state.in_progress or "")
    if step is None or step.operation.again is None:
        return intent
    own = _own_names(step.operation)
    changed = {}
    for field in _FIELDS:
        written = getattr(intent, field, None)
        if not isinstance(written, str):
            continue
        ref = ValueRef.parse(written)
        if ref.name in own:
            changed[field] = str(ref._replace(name=own[ref.name]))
    return replace(intent, **changed) if changed else intent


def _own_names(operation: Operation) -> dict[str, str]:
    """The own name for each plain name of a value, a choice or a check of a copy."""
    named = [ValueRef.parse(each.name).name for each in (*values_of(operation), *parts_of(operation))]
    named += [point.id for point in operation.check if point.id]
    return {name.removeprefix(f"{operation.id}."): name for name in named}
