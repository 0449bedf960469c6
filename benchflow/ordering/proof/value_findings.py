"""Finds values that are not there where a formula, a choice, a matching or a relative limit needs them."""

from collections.abc import Iterator
from typing import NamedTuple

from benchflow.ordering.proof.finding_messages import order_text
from benchflow.ordering.proof.order_completion import Witness
from benchflow.ordering.proof.precedence import Precedence
from benchflow.ordering.proof.proof_findings import OrderFinding, finding
from benchflow.ordering.proof.witness import Undecided
from benchflow.ordering.wording import all_of, step_title
from benchflow.procedure.identity import ValueRef
from benchflow.procedure.model import AboveReading, Mark, Operation, Procedure, RecordedValue, bounds_of, values_of
from benchflow.procedure.plan import Plan, Step
from benchflow.procedure.variants import every_variant


class ValueUse(NamedTuple):
    """The use of a value: ``user`` needs ``ref``. ``where`` is the place in the file."""

    user: str
    ref: ValueRef
    where: str
    mark: Mark


def absent_values(precedence: Precedence, reported: set[tuple[str, str, bool]]) -> Iterator[OrderFinding]:
    """A finding for each use of a value that is not there in this build, or not in every order.

    ``reported`` are the uses that other builds have reported: place, name, and if there is an order that shows it. New
    ones are added.
    """
    plan = precedence.analysis.plan
    for step in plan.steps.values():
        if not precedence.is_done(step.id):
            continue
        uses = [
            *value_uses(plan, step),
            *(use for use in uses_before(plan, step) if not steps_with_value(plan, use.ref)),
        ]
        for use in uses:
            found = _finding_on(precedence, step, use)
            key = use.where, use.ref.name, found is not None and isinstance(found.order, tuple)
            if found is not None and key not in reported:
                reported.add(key)
                yield found


def _finding_on(precedence: Precedence, step: Step, use: ValueUse) -> OrderFinding | None:
    plan = precedence.analysis.plan
    sources = steps_with_value(plan, use.ref)
    if not sources:
        return _not_in_build(plan, step, use)
    for source in sources:
        if source.id != step.id:
            witness = precedence.order_without(source.id, step.id)
            if witness is not None:
                return _not_before(precedence, step, source, use, witness)
    return None


def value_uses(plan: Plan, step: Step) -> Iterator[ValueUse]:
    """Every use of a value in a step, each value once for each user. Values of the round before are left out."""
    operation = step.operation
    yield from _uses_in_formulas(plan, step, before=False)
    for value in values_of(operation):
        kind = "record" if isinstance(value, RecordedValue) else "work-out"
        further = value.also if isinstance(value, RecordedValue) else ()
        limits = [(f"also[{number}].limit", limit.bound) for number, limit in enumerate(further, 1)]
        for bound in bounds_of(value):
            used = isinstance(value, RecordedValue) and bound == value.used
            limits.append(("used" if used else "limit", bound))
        for limit, bound in limits:
            if isinstance(bound, AboveReading):
                where = f"{operation.id}.{kind}.{_plain(value.name)}.{limit}"
                yield ValueUse(value.name, plan.ref(bound.name), where, value.mark)
    for choose in operation.choose:
        where = f"{operation.id}.choose.{_plain(choose.name)}.by"
        yield ValueUse(choose.name, plan.ref(choose.by), where, choose.mark)
    for match in operation.match:
        where = f"{operation.id}.match.{_plain(match.name)}"
        yield ValueUse(match.name, ValueRef.parse(match.so_that), f"{where}.so that", match.mark)
        if match.measured not in plan.procedure.kit_by_id:
            yield ValueUse(match.name, ValueRef.parse(match.measured), f"{where}.measured", match.mark)


def uses_before(plan: Plan, step: Step) -> Iterator[ValueUse]:
    """Every use of a value of the round before in a step. It does not have to be there."""
    return _uses_in_formulas(plan, step, before=True)


def _uses_in_formulas(plan: Plan, step: Step, *, before: bool) -> Iterator[ValueUse]:
    for work_out in step.operation.work_out:
        from benchflow.procedure.formula import names  # late import: most procedures have no formula

        sizes = {match.name for match in step.operation.match if match.so_that == work_out.name}
        where = f"{step.operation.id}.work-out.{_plain(work_out.name)}"
        found = (ref for ref in names(plan.formula(work_out)) if ref.before == before and ref.name not in sizes)
        used = (ValueRef(ref.name, ref.place) for ref in found)
        for ref in dict.fromkeys(one for name in used for one in plan.refs(name)):
            yield ValueUse(work_out.name, ref, f"{where}.is", work_out.mark)


def steps_with_value(plan: Plan, ref: ValueRef) -> tuple[Step, ...]:
    """The steps of this build that have a value; several if the value is repeated and ``ref`` has no place."""
    name = str(ValueRef(ref.name, ref.place))
    found = []
    for value in plan.values(name):
        at = plan.record(value.name) or plan.work_out(value.name)
        if at is not None:
            found.append(at.step)
    return tuple(found)


def _plain(name: str) -> str:
    return ValueRef.parse(name).name


def _not_in_build(plan: Plan, step: Step, use: ValueUse) -> OrderFinding:
    name = use.ref.name
    source = operation_with_value(plan.procedure, name)
    title = f"“{source.title}”" if source is not None else "its operation"
    options = {option for operation in (step.operation, source) if operation is not None for option in operation.when}
    build = all_of(f"{option} is {plan.options[option]}" for option in plan.options if option in options)
    message = (
        f"`{use.user}` in “{step.title}” needs `{name}`. But {title} is not part of the build"
        f"{f' where {build}' if build else ''}. Measure it in that build too, or leave out what needs it (`when`)"
    )
    return finding("value-absent", use.where, use.mark, message, options=dict(plan.options))


def _not_before(
    precedence: Precedence, step: Step, source: Step, use: ValueUse, witness: Witness | Undecided
) -> OrderFinding:
    plan = precedence.analysis.plan
    name, title = str(ValueRef(use.ref.name, use.ref.place)), _title_with_place(plan, source)
    advice = _advice(precedence, step, source, use)
    if isinstance(witness, Undecided):
        message = (
            f"It is not proven that `{name}`, which `{use.user}` in “{step.title}” needs, is there in every order, "
            f"because there are too many orders to try. {advice}"
        )
        return finding("not-explored", use.where, use.mark, message, options=dict(plan.options))
    message = (
        f"`{use.user}` in “{step.title}” needs `{name}`. But {title} is not always done before: an order is "
        f"{order_text(plan, witness.order)}. {advice}"
    )
    order = tuple(action.id for action in witness.order)
    return finding(
        "value-absent", use.where, use.mark, message, order=order, start=witness.start, options=dict(plan.options)
    )


def _title_with_place(plan: Plan, step: Step) -> str:
    title = f"“{step_title(plan, step.id)}”"
    return title if step.place is None or step.place in title else f"{title} (`{step.id}`)"


def _advice(precedence: Precedence, step: Step, source: Step, use: ValueUse) -> str:
    """What to do so that ``source`` is done before ``step``. An `after` that makes a circle is not advised."""
    plan = precedence.analysis.plan
    user, operation = step.operation, source.operation
    entry = _after_entry(plan, step, source, use)
    if operation.id == user.id:
        return f"Move `{_plain(use.user)}` to an operation with `after: ['{operation.id}[*]']`"
    order = precedence.analysis.order
    if order.before[order.index[source.id]] >> order.index[step.id] & 1 or _needs(plan, operation.id, user.id):
        return (
            f"An `after` would be a circle, because `{operation.id}` needs `{user.id}` before it. Move "
            f"`{_plain(use.user)}` to an operation with `after: ['{entry}']`"
        )
    return f"Add `{entry}` to `after` of `{user.id}`"


def _after_entry(plan: Plan, step: Step, source: Step, use: ValueUse) -> str:
    """How `after` names the operation of a value: ``seat``, ``seat[2]`` or ``seat[*]``."""
    operation = source.operation
    if operation.each is None or (operation.each == step.operation.each and source.place == step.place):
        return operation.id
    places = {
        other.place
        for each in value_uses(plan, step)
        if each.where == use.where
        for other in steps_with_value(plan, each.ref)
        if other.operation.id == operation.id
    }
    return f"{operation.id}[*]" if len(places) > 1 else source.id


def _needs(plan: Plan, operation: str, other: str) -> bool:
    """True if ``operation`` comes after ``other``, or needs a value that comes after it."""
    waiting = [step for step in plan.steps.values() if step.operation.id == operation]
    seen = {step.id for step in waiting}
    while waiting:
        step = waiting.pop()
        before = {*step.after}
        before.update(at.id for use in value_uses(plan, step) for at in steps_with_value(plan, use.ref))
        for name in before - seen:
            seen.add(name)
            if name in plan.steps:
                waiting.append(plan.steps[name])
    return any(plan.steps[name].operation.id == other for name in seen if name in plan.steps)


def operation_with_value(procedure: Procedure, name: str) -> Operation | None:
    """The operation that has the value ``name``, without its place; ``None`` if there is none."""
    for operation in every_variant(procedure):
        if any(value.name == name for value in values_of(operation)):
            return operation
    return None
