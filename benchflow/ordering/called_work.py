"""The plan with everything that can become part of a build, and the remedies that call for work."""

from collections.abc import Iterator, Mapping

from msgspec.structs import replace

from benchflow.ordering.remedy_scope import steps_called
from benchflow.procedure.expand import everything_possible, expand
from benchflow.procedure.model import Operation, Procedure, Remedy, remedies_of
from benchflow.procedure.plan import Findings, Plan


def whole_plan(procedure: Procedure, options: Mapping[str, str]) -> Plan:
    """The plan with every operation that can become part of the build, and the order of called work."""
    plan = everything_possible(procedure, options)
    if not plan.findings.called:
        return plan
    return expand(procedure, options, Findings({}, _callers(plan)))


def plan_to_draw(procedure: Procedure, options: Mapping[str, str]) -> Plan:
    """The plan with everything that can become part of the build, for a picture of the order.

    The operations with remedies do not wait for what these may call for.
    """
    plan = everything_possible(procedure, options)
    return replace(plan, findings=Findings({}, _callers(plan))) if plan.findings.called else plan


def remedies_with_redo(operation: Operation) -> Iterator[Remedy]:
    return (remedy for remedy in remedies_of(operation) if remedy.redo)


def _callers(plan: Plan) -> dict[str, tuple[str, ...]]:
    """For each step that is done if needed, the steps with a remedy that calls for it."""
    found: dict[str, tuple[str, ...]] = {name: () for name in plan.findings.called if name in plan.steps}
    for step in plan.steps.values():
        for remedy in remedies_with_redo(step.operation):
            for name in steps_called(plan, step, remedy):
                if name in found and step.id not in found[name] and name != step.id:
                    found[name] = (*found[name], step.id)
    return found
