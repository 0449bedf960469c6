"""Answers to the queries `status`, `why`, `route` and `rework-plan`. A query writes nothing to the log."""

from typing import Any

import msgspec

from benchflow.procedure.plan import Step
from benchflow.session.context import Context, unknown_operation
from benchflow.session.intents import intent_types as intents
from benchflow.session.log.line_format import Damage
from benchflow.session.refusal import Reason, Refusal
from benchflow.session.rules.action_reasons import move_reasons, start_reasons
from benchflow.session.rules.choice_tables import table_proposal
from benchflow.session.rules.open_items import finish_reasons
from benchflow.session.rules.reopened_operations import done_operations, reopened_operations
from benchflow.session.rules.rework_plans import rework_plan
from benchflow.session.rules.safe_routes import safe_route
from benchflow.session.rules.takeover_list import operations_to_take_over
from benchflow.session.state.state import State
from benchflow.session.view.clock_rows import clock_rows, latest_start_times
from benchflow.session.view.figure_rows import figure_rows
from benchflow.session.view.joint_inputs import tighten_input
from benchflow.session.view.match_inputs import match_inputs


def answer_query(
    state: State, query: intents.Intent, context: Context, damage: Damage | None = None, untrusted: int = 0
) -> dict[str, Any] | Refusal:
    """The answer to a query, as plain JSON under the name of the query; or the refusal.

    ``damage`` is the damage of the log, and ``untrusted`` the number of lines from there on that can be read.
    """
    match query:
        case intents.AskStatus():
            answer = {"status": status(state, context)}
            return answer if damage is None else answer | {"damage": damage_status(state, damage, untrusted)}
        case intents.AskWhy():
            reasons = why(state, query.operation, context)
            if isinstance(reasons, Refusal):
                return reasons
            rows = figure_rows(state, state.plan.steps[query.operation])
            return {"why": reasons_as_json(reasons), "figures": msgspec.to_builtins(list(rows))}
        case intents.AskRoute():
            actions = route(state, query.operation)
            return actions if isinstance(actions, Refusal) else {"route": list(actions)}
        case intents.AskReworkPlan():
            plan = rework_plan(state, query.operation)
            return plan if isinstance(plan, Refusal) else {"rework-plan": msgspec.to_builtins(plan)}
        case _:
            raise AssertionError(query)


def reasons_as_json(reasons: tuple[Reason, ...]) -> list[dict[str, Any]]:
    """The reasons as plain JSON."""
    plain: list[dict[str, Any]] = msgspec.to_builtins(list(reasons))
    return plain


def why(state: State, step_id: str, context: Context) -> tuple[Reason, ...] | Refusal:
    """The reasons why an operation cannot start; if it is in progress, why it cannot be finished.

    Of one that is reopened, the first reasons are why.
    """
    step = state.plan.steps.get(step_id)
    if step is None:
        return unknown_operation(state, step_id)
    if state.in_progress == step_id:
        return finish_reasons(state, step, context.now)
    reopened = reopened_operations(state)
    return (*reopened.get(step_id, ()), *start_reasons(state, step_id, context, reopened))


def route(state: State, step_id: str) -> tuple[str, ...] | Refusal:
    """Ids of the operations and moves of the shortest safe route; the operation itself is the last."""
    step = state.plan.steps.get(step_id)
    if step is None:
        return unknown_operation(state, step_id)
    return safe_route(state, step_id)


def proposed_choices(state: State, step: Step) -> dict[str, list[str]]:
    """The parts that the choice tables and the part matching propose, by the name of the choice."""
    inputs = match_inputs(state, step) if step.operation.match else []
    matched = {one.name: list(one.proposed) for one in inputs}
    return {
        **{table.name: list(table_proposal(state, step, table).takes) for table in step.operation.choose},
        **matched,
    }


def joint_status(state: State, step: Step, context: Context) -> dict[str, Any] | None:
    """The progress of the joint of ``step``, as plain JSON; ``None`` if it has no joint."""
    view = tighten_input(state, step, context)
    if view is None:
        return None
    return {
        "joint": view.joint,
        "stage": view.stage,
        "stages": list(view.stages),
        "next": view.next,
        "done": view.done,
        "of": view.of,
        "wanted": [value.field for value in view.tick_values],
        "again": list(view.reread),
        "draw_down": None if view.draw_down is None else msgspec.to_builtins(view.draw_down),
        "settings": [*(f"CAUTION: {text}" for text in view.warnings), *view.settings],
        "background": list(view.background),
        "wrench_setting": view.wrench_setting,
        "words": view.progress,
        "rest": list(view.rest),
        "stage_again": view.stage_again,
        "resume": view.resume_text,
        "stopped": view.stopped,
        "failed": {str(one.number): one.failed for one in view.fasteners if one.failed},
        "asked_stage": view.asked_stage or None,
        "remedy": None
        if view.remedied is None
        else {"fastener": view.remedied, "do": view.remedy, "stop": view.must_stop},
    }


def damage_status(state: State, damage: Damage, untrusted: int) -> dict[str, Any]:
    """The damage of the log, as plain JSON: the state is only the least that was done."""
    return {
        "line": damage.line,
        "what": damage.what,
        "untrusted": untrusted,
        "words": f"at least {len(done_operations(state))} of {len(state.plan.steps)} done, the rest is not known",
    }


def status(state: State, context: Context) -> dict[str, Any]:
    """The state of the job, as plain JSON."""
    plan, reopened = state.plan, reopened_operations(state)
    blocked: dict[str, list[dict[str, Any]]] = {}
    available: list[str] = []
    for name in plan.steps:
        if (name in state.done and name not in reopened) or name == state.in_progress:
            continue
        reasons = tuple(r for r in start_reasons(state, name, context, reopened) if r.code != "operation-in-progress")
        if reasons:
            blocked[name] = reasons_as_json(reasons)
        else:
            available.append(name)
    moves = [move.id for move in plan.procedure.moves if not move_reasons(state, move.id)]
    step = None if state.in_progress is None else plan.steps[state.in_progress]
    return {
        "procedure": plan.procedure.id,
        "revision": plan.procedure.revision,
        "unit": state.opened.unit,
        "by": state.by,
        "options": dict(plan.options),
        "operations": list(plan.steps),
        "done": [name for name in state.done if name not in reopened],
        "reopened": {name: reasons_as_json(reasons) for name, reasons in reopened.items()},
        "in_progress": state.in_progress,
        "paused": list(state.paused),
        "available": available,
        "blocked": blocked,
        "moves": moves,
        "state": dict(state.valuation),
        "joint": None if step is None else joint_status(state, step, context),
        "proposed": {} if step is None else proposed_choices(state, step),
        "missing": [] if step is None else reasons_as_json(finish_reasons(state, step, context.now)),
        "rework": None if state.rework is None else msgspec.to_builtins(state.rework),
        "clocks": msgspec.to_builtins(list(clock_rows(state, context))),
        "latest_begin": {name: round(left) for name, left in latest_start_times(state, context).items()},
        "closed": bool(state.closed),
        "simulated": state.opened.simulated,
        **_to_take_over(state),
    }


def _to_take_over(state: State) -> dict[str, Any]:
    """In a job that continues another log: the operations that can be taken over from it."""
    if state.opened.continues is None:
        return {}
    return {"to_take_over": [each.operation for each in operations_to_take_over(state)]}
