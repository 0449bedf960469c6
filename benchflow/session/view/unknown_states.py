"""The states that block an operation because they are not known: they have to be looked at and entered."""

from collections.abc import Iterable, Iterator

from benchflow.ordering.wording import variable_title
from benchflow.procedure.evidence import NEVER
from benchflow.session.refusal import Reason
from benchflow.session.state.state import State


def unknown_states(state: State, reasons: Iterable[Reason]) -> tuple[str, ...]:
    """The titles of the variables that ``reasons`` are about, that are not known, and that may be entered as found."""
    procedure = state.plan.procedure
    names = dict.fromkeys(name for reason in reasons for name in _variables_of(state, reason))
    found = {name: procedure.variables_by_name[name].found for name in names if state.valuation.get(name) is None}
    return tuple(variable_title(procedure, name) for name, role in found.items() if role != NEVER)


def _variables_of(state: State, reason: Reason) -> Iterator[str]:
    if reason.code == "state-not-met" and reason.state is not None:
        yield reason.state
    if reason.code == "interference" and reason.rule is not None:
        yield from state.plan.procedure.interference[reason.rule].never
