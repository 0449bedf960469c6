"""The state that a waiting time asks for (`while`) as a need, for whatever plans or proves an order."""

from collections.abc import Iterable

from msgspec.structs import replace

from benchflow.procedure.plan import Plan, Step, TimeWindow


def with_waits_as_needs(plan: Plan) -> Plan:
    """The plan in which a step needs the state of each `while` of its windows: before that it cannot be started."""
    steps = {name: with_waits(step, step.time) for name, step in plan.steps.items()}
    changed = any(steps[name] is not step for name, step in plan.steps.items())
    return replace(plan, steps=steps) if changed else plan


def with_waits(step: Step, windows: Iterable[TimeWindow]) -> Step:
    """The step with the state of each `while` of ``windows`` as a need. No value is left if two contradict."""
    needs = dict(step.needs)
    for window in windows:
        for name, values in window.while_.items() if window.low is not None else ():
            needs[name] = tuple(value for value in needs.get(name, values) if value in values)
    return step if needs == step.needs else replace(step, needs=needs)
