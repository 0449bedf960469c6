"""The messages of the findings about the order. Each names the steps that lead to the problem."""

from collections.abc import Sequence

from benchflow.base.plaintext import sentence
from benchflow.ordering.actions import DoOperation, RouteStep
from benchflow.ordering.configuration import Configuration, after_setting
from benchflow.ordering.interlock import (
    AfterMissing,
    Blocked,
    after_action,
    after_move,
    after_step,
    forbidden,
    reason_text,
    while_in_progress,
)
from benchflow.ordering.proof.order_completion import Witness
from benchflow.ordering.proof.proof_findings import SuggestedLine
from benchflow.ordering.proof.window_feasibility import WindowConflict
from benchflow.ordering.route import NoRoute, route
from benchflow.ordering.wording import (
    all_of,
    in_a_sentence,
    move_title,
    step_title,
    variable_title,
    variable_value_text,
)
from benchflow.procedure.model import Mark, Procedure
from benchflow.procedure.plan import Plan

_MOST_NAMED = 8
_MOST_OF_LONG_ORDER = 6
_MOST_SUSPECTS = 12
_ROUTE_LIMIT = 200
"""The most configurations searched for the reason why a step cannot be done. That it cannot is already proven."""


def order_text(plan: Plan, order: Sequence[RouteStep]) -> str:
    """The titles of an order, such as ``“Fit the head”, then “Seat the cam”``.

    For a long order, only the last actions that change or need a state are named.
    """
    if len(order) <= _MOST_NAMED:
        return _titles(plan, order)
    named = [action for action in order if _uses_states(plan, action)][-_MOST_OF_LONG_ORDER:]
    return f"{len(order)} steps (the last ones that change or need a state: {_titles(plan, named)})"


def _titles(plan: Plan, order: Sequence[RouteStep]) -> str:
    return ", then ".join(f"“{_action_title(plan, action)}”" for action in order)


def _action_title(plan: Plan, action: RouteStep) -> str:
    if isinstance(action, DoOperation):
        return step_title(plan, action.operation)
    return move_title(plan.procedure, action.move)


def _uses_states(plan: Plan, action: RouteStep) -> bool:
    if not isinstance(action, DoOperation):
        return True
    step = plan.steps[action.operation]
    return bool(step.needs or step.during or step.sets)


def _asked_start(plan: Plan, start: dict[str, str]) -> str:
    """The start values that are asked for, such as ``pistons at the deck``."""
    procedure = plan.procedure
    asked = [v.name for v in procedure.state if v.start is None]
    return all_of(_state_phrase(procedure, name, start[name]) for name in asked)


def _configuration_after(plan: Plan, start: dict[str, str], order: Sequence[RouteStep]) -> Configuration:
    here = Configuration(frozenset(), dict(start))
    for action in order:
        here = after_action(plan, here, action)
    return here


# --- interlock-needed -------------------------------------------------------------------------------


def breach_message(plan: Plan, witness: Witness) -> str:
    """The order, how its last action breaks the rule, and the author's reason for the rule."""
    procedure = plan.procedure
    assert witness.rule is not None
    rule = procedure.interference[witness.rule]
    last = witness.order[-1]
    here = _configuration_after(plan, witness.start, witness.order[:-1])
    if isinstance(last, DoOperation):
        then, when = while_in_progress(plan, here, last.operation), "while it is in progress"
        if witness.rule not in forbidden(plan, then):
            then, when = after_step(plan, here, last.operation).valuation, "when it is done"
    else:
        during = procedure.moves_by_id[last.move].during
        then, when = after_setting(here.valuation, during), "while it is made"
        if not during or witness.rule not in forbidden(plan, then):
            then, when = after_move(plan, here, last.move).valuation, "when it is made"
    changed = [name for name in rule.never if then[name] != here.valuation[name]]
    unchanged = [name for name in rule.never if name not in changed]
    current = all_of(_state_phrase(procedure, name, then[name]) for name in unchanged)
    result = all_of(_state_phrase(procedure, name, then[name]) for name in changed)
    clause = f"“{_action_title(plan, last)}” leaves {result or current} {when}"
    if changed and unchanged:
        clause = f"{clause}, together with {current}"
    earlier = order_text(plan, witness.order[:-1])
    asked = _asked_start(plan, witness.start)
    sentences = [
        f"Start with {asked}" if asked else "",
        f"Do {earlier}" if earlier else "",
        f"Then {clause}" if asked or earlier else clause,
        rule.because,
    ]
    return " ".join(sentence(text) for text in sentences if text)


def fix_message(procedure: Procedure, lines: Sequence[SuggestedLine], *, smallest: bool) -> str:
    """The lines to add, and where. ``smallest`` is false if fewer lines may be enough."""
    if not lines:
        return "No `after` or `needs` line can prevent it, because the operation sets all the values itself."
    listed = all_of(f"`{line}` at {_place_in_file(procedure, line.to)}{_instead_of(procedure, line)}" for line in lines)
    if len(lines) == 1:
        count = "this line"
    else:
        count = f"these {len(lines)} lines, which are the fewest possible" if smallest else f"these {len(lines)} lines"
    hedge = "" if smallest else " (fewer may be enough)"
    return f"To make it safe on paper, add {count}{hedge}: {listed}."


def _instead_of(procedure: Procedure, line: SuggestedLine) -> str:
    """What the line replaces, if the author has a `needs` for this variable there already."""
    owner = procedure.operations_by_id.get(line.to) or procedure.moves_by_id[line.to]
    written = owner.needs.get(line.variable)
    return "" if written is None else f" instead of `{line.variable}: [{', '.join(written)}]`"


def _place_in_file(procedure: Procedure, name: str) -> str:
    mark = mark_of(procedure, name)
    return f"{name} (line {mark.line})" if mark.line else name


def mark_of(procedure: Procedure, name: str) -> Mark:
    """The place of an operation or a move in the file."""
    marks = {move.id: move.mark for move in procedure.moves}
    marks.update({operation.id: operation.mark for operation in procedure.operations})
    return marks.get(name, Mark())


# --- time-conflict ----------------------------------------------------------------------------------


def conflict_message(plan: Plan, conflict: WindowConflict) -> str:
    """The windows that contradict each other, and the durations that they depend on."""
    clauses = [
        f"“{step_title(plan, name)}” has to be done {window.text} after “{step_title(plan, window.operation)}”"
        for name, window in conflict.windows
    ]
    for name in conflict.takes:
        takes = plan.steps[name].operation.takes
        entered = takes.entered if takes else f"{plan.steps[name].takes:g} s"
        clauses.append(f"“{step_title(plan, name)}” takes at least {entered}")
    subject = "No order keeps this time" if len(clauses) == 1 else "No order keeps all these times"
    return " ".join(sentence(text) for text in [subject, *clauses])


# --- dead-end and unreachable -----------------------------------------------------------------------


def dead_end_message(plan: Plan, witness: Witness, suspects: Sequence[str]) -> str:
    """The order that leads to the dead end, and one step that cannot be done after it.

    At least one of the steps in ``suspects`` can no longer be done.
    """
    here = _configuration_after(plan, witness.start, witness.order)
    asked = _asked_start(plan, witness.start)
    opening = f"Start with {asked}" if asked else "From the start"
    after = f"After {order_text(plan, witness.order)}" if witness.order else opening
    if witness.order and asked:
        after = f"{opening}. {after}"
    never = "can no longer" if witness.order else "can never"
    return f"{after}, the procedure {never} be finished. {_blocked_step(plan, here, suspects)}"


def _blocked_step(plan: Plan, here: Configuration, suspects: Sequence[str]) -> str:
    for step_id in [name for name in suspects if name not in here.done][:_MOST_SUSPECTS]:
        found = route(plan, here, step_id, limit=_ROUTE_LIMIT)
        if isinstance(found, NoRoute) and found.certain:
            return f"“{step_title(plan, step_id)}” is then blocked. {_reasons_text(plan, found.reasons)}"
    return "Each remaining step can still be done, but no order does all of them."


def unreachable_message(
    plan: Plan, step_ids: Sequence[str], never_done: frozenset[str], start: dict[str, str] | None
) -> str:
    """The reason why the steps are never done. ``never_done`` are all steps that are never done."""
    name = step_title(plan, step_ids[0]) if len(step_ids) == 1 else plan.steps[step_ids[0]].operation.id
    earlier = [other for other in plan.steps[step_ids[0]].after if other in never_done]
    if earlier:
        others = all_of(f"“{step_title(plan, other)}”" for other in earlier[:3])
        return (
            f"“{name}” cannot be done in any allowed order, because it comes after {others}, which is never done either"
        )
    if start is None:
        return f"“{name}” cannot be done in any allowed order"
    found = route(plan, Configuration(frozenset(), dict(start)), step_ids[0], limit=_ROUTE_LIMIT)
    reasons = found.reasons if isinstance(found, NoRoute) else ()
    return f"“{name}” cannot be done in any allowed order. {_reasons_text(plan, reasons) if reasons else ''}".rstrip()


def _reasons_text(plan: Plan, reasons: Sequence[Blocked]) -> str:
    # States and rules tell a mechanic more than steps that are not done yet.
    chosen: list[Blocked] = [reason for reason in reasons if not isinstance(reason, AfterMissing)]
    chosen = chosen or list(reasons)
    return " ".join(sentence(reason_text(plan, reason)) for reason in chosen[:2]) or "It is always blocked."


def _state_phrase(procedure: Procedure, name: str, value: str | None) -> str:
    return f"{in_a_sentence(variable_title(procedure, name))} {variable_value_text(procedure, name, value)}"
