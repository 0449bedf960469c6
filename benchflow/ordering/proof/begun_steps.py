"""The proof's picture of work that a remedy calls for: a step for the beginning of the operation with the remedy.

An operation that is done if needed is called while the one with the remedy is in progress, so it comes after the
beginning of that one, whose `needs` were met. What names it in `after` waits for it only once it is called. A hidden
state variable says so: ``no`` before the call, ``pending`` after it, and ``done``.
"""

from collections.abc import Mapping

from msgspec.structs import replace

from benchflow.ordering.proof.order_completion import Witness
from benchflow.ordering.state_machine import bits, closure
from benchflow.procedure.model import Variable
from benchflow.procedure.plan import Plan, Step

_HIDDEN = "\0"
_BEGUN = f"{_HIDDEN}begun "
_CALL = f"{_HIDDEN}call for "


def is_hidden(name: str) -> bool:
    """True for a step or a variable that :func:`with_begun_steps` adds. The procedure has no such name."""
    return name.startswith(_HIDDEN)


def with_begun_steps(plan: Plan) -> Plan:
    """The plan with the beginning of each operation whose remedy calls for other work."""
    steps, state = dict(plan.steps), list(plan.procedure.state)
    before = _all_before(steps)
    # The later ones first: what waits for one of them then also waits for the earlier ones only once they are called.
    for name in sorted(plan.findings.called, key=lambda name: len(before.get(name, ())), reverse=True):
        present = [caller for caller in plan.findings.called[name] if caller in plan.steps]
        if name not in plan.steps or not present:
            continue
        variable = _CALL + name
        waiting = [
            step.id
            for step in steps.values()
            if name in step.after and step.id not in present and not before.get(step.id, set()).issuperset(present)
        ]
        if waiting:
            title = f"work called for by {plan.steps[present[0]].title}"
            state.append(Variable(variable, ("no", "pending", "done"), "no", title=title))
        for caller in present:
            begun = _begun(plan, caller)
            known = steps.get(begun.id, begun)
            sets = {**known.sets, variable: "pending"} if waiting else known.sets
            steps[begun.id] = replace(known, sets=sets)
            steps[name] = replace(steps[name], after=_with(steps[name].after, begun.id))
            steps[caller] = replace(steps[caller], after=_with(steps[caller].after, begun.id))
        if waiting:
            steps[name] = replace(steps[name], sets={**steps[name].sets, variable: "done"})
        for one in waiting:
            after = tuple(each for each in steps[one].after if each != name)
            needs = {**steps[one].needs, variable: ("no", "done")}
            steps[one] = replace(steps[one], after=_with(after, *plan.steps[name].after), needs=needs)
    if len(steps) == len(plan.steps):
        return plan
    return replace(plan, steps=steps, procedure=replace(plan.procedure, state=tuple(state)))


def _begun(plan: Plan, caller: str) -> Step:
    step = plan.steps[caller]
    title = f"{step.title} (begun; its remedy calls for other work)"
    operation = replace(
        step.operation, title=title, record=(), work_out=(), choose=(), match=(), tighten=None, check=(), time=()
    )
    after = tuple(one for one in step.after if one not in plan.findings.called)
    return Step(_BEGUN + caller, operation, step.place, after, step.needs, step.during, {}, (), 0.0)


def _all_before(steps: Mapping[str, Step]) -> dict[str, set[str]]:
    """For each step all steps that it comes after."""
    names = list(steps)
    numbers = {name: number for number, name in enumerate(names)}
    before = closure([sum({1 << numbers[one] for one in step.after if one in numbers}) for step in steps.values()])
    return {name: {names[number] for number in bits(mask)} for name, mask in zip(names, before, strict=True)}


def _with(after: tuple[str, ...], *more: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys((*after, *more)))


def at_the_bench(plan: Plan) -> Plan:
    """The plan without what :func:`with_begun_steps` added."""
    if not any(is_hidden(name) for name in plan.steps):
        return plan
    steps = {
        name: replace(
            step,
            after=tuple(one for one in step.after if not is_hidden(one)),
            needs={variable: wanted for variable, wanted in step.needs.items() if not is_hidden(variable)},
            sets={variable: value for variable, value in step.sets.items() if not is_hidden(variable)},
        )
        for name, step in plan.steps.items()
        if not is_hidden(name)
    }
    state = tuple(variable for variable in plan.procedure.state if not is_hidden(variable.name))
    return replace(plan, steps=steps, procedure=replace(plan.procedure, state=state))


def order_at_the_bench(witness: Witness) -> Witness:
    """The order without the steps that :func:`with_begun_steps` added."""
    return replace(
        witness,
        start={name: value for name, value in witness.start.items() if not is_hidden(name)},
        order=tuple(action for action in witness.order if not is_hidden(action.id)),
    )
