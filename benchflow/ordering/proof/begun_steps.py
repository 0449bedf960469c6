"""Steps of the proof for operations that were begun, and whose remedy then called for other work."""

from msgspec.structs import replace

from benchflow.procedure.model import Operation
from benchflow.procedure.plan import Plan, Step

_BEGUN = "\0begun "


def is_begun_step(step_id: str) -> bool:
    """True for a step that :func:`with_begun_steps` adds. It is no operation of the procedure."""
    return step_id.startswith(_BEGUN)


def with_begun_steps(plan: Plan) -> Plan:
    """The plan with a step for the beginning of each operation whose remedy calls for another one.

    The called operation comes after it: the calling one was in progress, so its `needs` were met.
    """
    steps = dict(plan.steps)
    for name, callers in plan.findings.called.items():
        for caller in callers:
            step = plan.steps.get(caller)
            if step is None or name not in steps:
                continue
            begun = _BEGUN + caller
            title = f"{step.title} (begun; its remedy calls for other work)"
            operation = Operation(step.operation.id, title, step.operation.section, step.operation.number)
            after = tuple(one for one in step.after if one not in plan.findings.called)
            steps[begun] = Step(begun, operation, step.place, after, step.needs, step.during, {}, (), 0.0)
            steps[name] = replace(steps[name], after=(*steps[name].after, begun))
            steps[caller] = replace(steps[caller], after=tuple(dict.fromkeys((*steps[caller].after, begun))))
    return replace(plan, steps=steps) if len(steps) > len(plan.steps) else plan
