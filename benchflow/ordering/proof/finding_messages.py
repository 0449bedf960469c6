"""Findings about an order, told so that a mechanic can follow them step by step."""

from collections.abc import Sequence

from benchflow.ordering.actions import DoOperation, RouteStep
from benchflow.ordering.configuration import Configuration
from benchflow.ordering.interlock import (
    AfterMissing,
    Blocked,
    after_move,
    after_step,
    forbidden,
    reason_text,
    while_in_progress,
)
from benchflow.ordering.proof.proof_findings import SuggestedLine
from benchflow.ordering.proof.static_checks import sentence
from benchflow.ordering.proof.window_feasibility import WindowConflict
from benchflow.ordering.proof.witness import Witness
from benchflow.ordering.route import NoRoute, route
from benchflow.ordering.wording import (
    all_of,
    in_a_sentence,
    move_title,
    step_title,
    value_words,
    variable_title,
)
from benchflow.procedure.model import Mark, Procedure
from benchflow.procedure.plan import Plan

_MOST_NAMED = 8
_MOST_TOLD = 6
_MOST_SUSPECTS = 12
_MOST_LOOKED_AT = 200
"""Configurations looked at to tell why something can't be done; that it can't is proven elsewhere."""


def name_of(plan: Plan, go: RouteStep) -> str:
    return step_title(plan, go.operation) if isinstance(go, DoOperation) else move_title(plan.procedure, go.move)


def told_order(plan: Plan, order: Sequence[RouteStep]) -> str:
    """``“Fit the head”, then “Seat the cam”``; of a long order the last steps that have to do with states."""
    if len(order) <= _MOST_NAMED:
        return _one_after_the_other(plan, order)
    telling = [go for go in order if _has_to_do_with_states(plan, go)][-_MOST_TOLD:]
    return f"{len(order)} steps (those that tell, last: {_one_after_the_other(plan, telling)})"


def _one_after_the_other(plan: Plan, order: Sequence[RouteStep]) -> str:
    return ", then ".join(f"“{name_of(plan, go)}”" for go in order)


def _has_to_do_with_states(plan: Plan, go: RouteStep) -> bool:
    if not isinstance(go, DoOperation):
        return True
    step = plan.steps[go.operation]
    return bool(step.needs or step.during or step.sets)


def opened_with(plan: Plan, start: dict[str, str]) -> str:
    """``with pistons at the deck``: what was asked for when the session opened."""
    procedure = plan.procedure
    asked = [v.name for v in procedure.state if v.start is None]
    return all_of(_stands_at(procedure, name, start[name]) for name in asked)


def end_of(plan: Plan, start: dict[str, str], order: Sequence[RouteStep]) -> Configuration:
    here = Configuration(frozenset(), dict(start))
    for go in order:
        here = after_step(plan, here, go.operation) if isinstance(go, DoOperation) else after_move(plan, here, go.move)
    return here


# --- interlock-needed -------------------------------------------------------------------------------


def tell_breach(plan: Plan, witness: Witness) -> str:
    """What happens at the end of the order."""
    procedure = plan.procedure
    assert witness.rule is not None
    rule = procedure.interference[witness.rule]
    last = witness.order[-1]
    here = end_of(plan, witness.start, witness.order[:-1])
    then, when = here.valuation, "when it is done"
    if isinstance(last, DoOperation):
        meanwhile = while_in_progress(plan, here, last.operation)
        if witness.rule in forbidden(plan, meanwhile):
            then, when = meanwhile, "while it is in hand"
        else:
            then = after_step(plan, here, last.operation).valuation
    else:
        then, when = after_move(plan, here, last.move).valuation, "when it is made"
    brought = [name for name in rule.never if then[name] != here.valuation[name]]
    standing = [name for name in rule.never if name not in brought]
    with_what = all_of(_stands_at(procedure, name, then[name]) for name in standing)
    becomes = all_of(_stands_at(procedure, name, then[name]) for name in brought)
    what = f"“{name_of(plan, last)}” leaves {becomes or with_what} {when}"
    if brought and standing:
        what = f"with {with_what}, {what}"
    earlier = told_order(plan, witness.order[:-1])
    opened = opened_with(plan, witness.start)
    opening = f"Opened with {opened}: " if opened else ""
    lead = f"{earlier}; then, " if earlier else ""
    told = f"{opening}{lead}{what}"
    return f"{told[:1].upper()}{told[1:]}. {sentence(rule.because)}"


def tell_mending(procedure: Procedure, lines: Sequence[SuggestedLine], *, smallest: bool) -> str:
    if not lines:
        return "No `after` or `needs` can mend it: the operation brings all of it about by itself."
    told = all_of(f"`{line}` at {_place(procedure, line.to)}" for line in lines)
    count = "this line" if len(lines) == 1 else f"these {len(lines)} lines"
    rest = ", and nothing less" if smallest and len(lines) > 1 else ""
    hedge = "" if smallest else " (fewer might do)"
    return f"Safe on paper with {count} added{rest}{hedge}: {told}."


def _place(procedure: Procedure, name: str) -> str:
    mark = mark_of(procedure, name)
    return f"{name} (line {mark.line})" if mark.line else name


def mark_of(procedure: Procedure, name: str) -> Mark:
    """Where an operation or a move is written."""
    marks = {move.id: move.mark for move in procedure.moves}
    marks.update({operation.id: operation.mark for operation in procedure.operations})
    return marks.get(name, Mark())


# --- time-conflict ----------------------------------------------------------------------------------


def tell_conflict(plan: Plan, conflict: WindowConflict) -> str:
    told = [
        f"“{step_title(plan, name)}” {window.text} since “{step_title(plan, window.operation)}”"
        for name, window in conflict.windows
    ]
    for name in conflict.takes:
        takes = plan.steps[name].operation.takes
        entered = takes.entered if takes else f"{plan.steps[name].takes:g} s"
        told.append(f"“{step_title(plan, name)}” takes at least {entered}")
    what = "This cannot be kept" if len(told) == 1 else "These cannot be kept together"
    return f"{what}, whatever the order and however the work is timed: {'; '.join(told)}"


# --- dead-end and unreachable -----------------------------------------------------------------------


def tell_dead_end(plan: Plan, witness: Witness, suspects: Sequence[str]) -> str:
    """``suspects`` are the steps of which one or more can then not be done any more."""
    here = end_of(plan, witness.start, witness.order)
    opened = opened_with(plan, witness.start)
    opening = f"Opened with {opened}" if opened else "From the start"
    after = f"After {told_order(plan, witness.order)}" if witness.order else opening
    if witness.order and opened:
        after = f"{opening}: after {told_order(plan, witness.order)}"
    never = "can no longer" if witness.order else "can never"
    return f"{after} the procedure {never} be finished. {_what_is_stuck(plan, here, suspects)}"


def _what_is_stuck(plan: Plan, here: Configuration, suspects: Sequence[str]) -> str:
    for step_id in [name for name in suspects if name not in here.done][:_MOST_SUSPECTS]:
        found = route(plan, here, step_id, limit=_MOST_LOOKED_AT)
        if isinstance(found, NoRoute) and found.certain:
            return f"“{step_title(plan, step_id)}” can then never be done: {_why(plan, found.reasons)}."
    return "Of what is left each may still be done, but not all of it in any order."


def tell_unreachable(plan: Plan, step_ids: Sequence[str], lost: frozenset[str], start: dict[str, str] | None) -> str:
    """``lost`` are all the steps that are never done."""
    name = step_title(plan, step_ids[0]) if len(step_ids) == 1 else plan.steps[step_ids[0]].operation.id
    waits = [other for other in plan.steps[step_ids[0]].after if other in lost]
    if waits:
        others = all_of(f"“{step_title(plan, other)}”" for other in waits[:3])
        return f"No allowed order ever does “{name}”: it comes after {others}, never done either"
    if start is None:
        return f"No allowed order ever does “{name}”"
    found = route(plan, Configuration(frozenset(), dict(start)), step_ids[0], limit=_MOST_LOOKED_AT)
    reasons = found.reasons if isinstance(found, NoRoute) else ()
    why = f": however far one gets, {_why(plan, reasons)}" if reasons else ""
    return f"No allowed order ever does “{name}”{why}"


def _why(plan: Plan, reasons: Sequence[Blocked]) -> str:
    # What a mechanic can see comes before what is merely waited for.
    telling: list[Blocked] = [reason for reason in reasons if not isinstance(reason, AfterMissing)]
    telling = telling or list(reasons)
    return (
        "; ".join(in_a_sentence(reason_text(plan, reason)) for reason in telling[:2])
        or "something always stands against it"
    )


def _stands_at(procedure: Procedure, name: str, value: str | None) -> str:
    return f"{in_a_sentence(variable_title(procedure, name))} {value_words(procedure, name, value)}"
