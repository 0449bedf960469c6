"""Variables that may become not known, because their proof can be waived, and the plan in which they may be lost.

A variable whose proof is waived is not known afterwards, and satisfies no `needs` until something sets it again. That
does not matter if the builder can enter the state that he finds (`found`), or if every operation that sets the variable
can be undone and done again. The other variables are explored as lost at any time between operations: also a builder
who doubts a state can declare it not known.
"""

from typing import NamedTuple, cast

from msgspec.structs import replace

from benchflow.ordering.wording import variable_title
from benchflow.procedure.evidence import NEVER, evidence_of
from benchflow.procedure.model import Mark, Move, Settings, Variable
from benchflow.procedure.plan import Plan, Step

_PREFIX = "\0lost "


class LosableVariable(NamedTuple):
    """A variable that may become not known. ``where`` is the operation whose evidence can be lost, at ``mark``."""

    variable: Variable
    where: str
    mark: Mark


def losable_variables(plan: Plan) -> tuple[LosableVariable, ...]:
    """The variables of a plan that may become not known and that nothing is certain to restore."""
    found = []
    for variable in plan.procedure.state:
        setters = [step for step in plan.steps.values() if variable.name in step.sets]
        if variable.found != NEVER or all(step.operation.undo is not None for step in setters):
            continue
        lost = next((place for step in plan.steps.values() for place in _places(plan, step, variable.name)), None)
        if lost is not None:
            found.append(LosableVariable(variable, *lost))
    return tuple(found)


def variables_that_may_be_lost(plan: Plan) -> tuple[LosableVariable, ...]:
    """The variables that may become not known, whether or not something is certain to restore them."""
    found = []
    for variable in plan.procedure.state:
        lost = next((place for step in plan.steps.values() for place in _places(plan, step, variable.name)), None)
        if lost is not None:
            found.append(LosableVariable(variable, *lost))
    return tuple(found)


def _places(plan: Plan, step: Step, variable: str) -> list[tuple[str, Mark]]:
    """Where ``step`` can lose the variable: a proof that can be waived, or an undo after which it is not known."""
    operation = step.operation
    marks = [
        ref.mark
        for evidence in evidence_of(plan.procedure, operation)
        if evidence.waive != NEVER
        for ref in evidence.proves
        if ref.name == variable
    ]
    if operation.undo is not None and step.undo_sets.get(variable, "") is None:
        marks.append(operation.undo.mark)
    return [(operation.id, mark) for mark in marks]


def with_losses(plan: Plan, lost: tuple[LosableVariable, ...]) -> Plan:
    """The plan with a move for each variable after which it is not known."""
    moves = []
    for losable in lost:
        name = losable.variable.name
        title = f"{variable_title(plan.procedure, name)} not known (its proof is waived or in doubt)"
        sets = cast(Settings, {name: None})  # a value that is not known; no author can write this move
        moves.append(Move(_PREFIX + name, title, sets=sets))
    return replace(plan, procedure=replace(plan.procedure, moves=(*plan.procedure.moves, *moves)))


def lost_variable(action: str) -> str | None:
    """The variable that an action of :func:`with_losses` makes unknown; ``None`` for any other action."""
    return action.removeprefix(_PREFIX) if action.startswith(_PREFIX) else None
